"""Which tile and pattern to lay: each foreseen on a floor as it is, and as remedies would leave it.

What can be tiled comes first, then what has the least lippage in an even bed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.correction import Choice
from flatcheck.forecast import Answer, Bed, Forecast, Progress, forecast
from flatcheck.language import say
from flatcheck.plates import Laid
from flatcheck.site import corrected
from flatcheck.surface import Surface

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Option:
    """A tile in a pattern, to be compared: its name, as laid, the limit at joints, its bow."""

    name: str
    laying: Laid
    limit_mm: float | Floats
    bow_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Row:
    """A line of the comparison: an option on a floor, `remedy` by what it was made so.

    `pieces` are all that are laid, `cuts` those of them that are cut.
    """

    remedy: str
    option: str
    pieces: int
    cuts: int
    found: Forecast


def floors(choice: Choice) -> tuple[tuple[str, Surface], ...]:
    """A floor as it is, and as each remedy that passes would leave it."""
    site = choice.site
    after = [
        (fix.proposal.title, corrected(site, fix.proposal.fill_mm, fix.proposal.grind_mm))
        for fix in choice.fixes
        if fix.proposal.id != "nothing"
    ]
    return ((say("as it is"), site.floor), *after)


def choose(
    surfaces: Iterable[tuple[str, Surface]],
    options: Sequence[Option],
    bed: Bed | None = None,
    required_mm: Floats | None = None,
    best: bool = True,
    progress: Progress | None = None,
) -> tuple[Row, ...]:
    """Every option on every floor: what can be tiled first, then by the worst lippage.

    The best way is worked out, unless `best` is false, where an even bed will not do. `surfaces`
    are named floors, as `floors` gives them. Floors are compared in their own order.
    """
    rows: list[Row] = []
    for remedy, floor in surfaces:
        here: list[Row] = []
        for option in options:
            if progress is not None:
                progress(len(rows) + len(here), f"{option.name}, {remedy}")
            given = floor, option.laying, option.limit_mm, bed, option.bow_mm, required_mm
            found = forecast(*given, best=False)
            if best and not found.good(found.even):
                found = forecast(*given)
            cuts = int(np.count_nonzero(option.laying.cut))
            here.append(Row(remedy, option.name, len(option.laying.pieces), cuts, found))
        ranks = list(Answer)
        here.sort(key=lambda row: (ranks.index(row.found.answer), row.found.even.worst_mm))
        rows += here
    return tuple(rows)
