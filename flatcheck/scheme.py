"""How many placements of a straightedge a document asks for, and what share is to be within."""

import math
from dataclasses import dataclass

from flatcheck.errors import RuleError
from flatcheck.language import say
from flatcheck.rules import Citation, check_on, grade_of, rules_for
from flatcheck.tile import Tile
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH


@dataclass(frozen=True)
class Bar:
    """One bar of a scheme and its limits.

    `shares` are (share, limit [mm]): of the placements at least that share is within the limit. On
    equal `blocks` high counts as low does; else the bar rests on the floor.
    """

    length_mm: float
    blocks: bool
    shares: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Scheme:
    """How a standard samples a floor.

    One placement of each bar for every `each_mm2` of floor, rounded up, and at least `fewest`;
    `each_mm2` is None where the document leaves the number to be agreed. `citation` is of the
    limits, `how_many` of the number.
    """

    standard: str
    title: str
    bars: tuple[Bar, ...]
    each_mm2: float | None
    fewest: int
    citation: Citation
    how_many: Citation


_ACI_COUNT = Citation(
    document="ACI 117",
    edition="edition not stated by the page seen",
    clause="at least 0.01 placements for each square foot of floor",
    source="US Access Board, report on surface roughness, part III",
    certainty="single source",
)

_BS_COUNT = Citation(
    document="BS 8204-1, BS 8204-2 and BS 8204-7",
    edition="edition not stated by the pages seen",
    clause="the number of places is agreed beforehand",
    source="technical pages of two screeding firms",
    certainty="agreed",
    note=say(
        "One place for every 20 m² is what one firm does, no more: agree another with --count."
    ),
)

_DTU_COUNT = Citation(
    document="NF DTU 13.3",
    edition="edition not stated by the pages seen",
    clause="at least 10 places, one for every 100 m² (article number not seen)",
    source="dtu.golgoth.org (two documents)",
    certainty="agreed",
    note=say(
        "That a hump counts against the limit as a dip does follows from the blocks; it was not "
        "read in so many words."
    ),
)

_HOW_MANY = {
    "aci-bar": (100 * MM_PER_FOOT**2, 1, _ACI_COUNT),
    "bs-8204": (20e6, 1, _BS_COUNT),
    "dtu-slabs:slab": (100e6, 10, _DTU_COUNT),
}
"""By standard or grade: floor for each placement [mm²], fewest placements, and its source."""

_MOST = {
    "aci-bar:conventional": (0.9, MM_PER_INCH / 2),
    "aci-bar:moderately-flat": (0.9, MM_PER_INCH * 3 / 8),
    "aci-bar:flat": (0.9, MM_PER_INCH / 4),
}
"""By grade: the share of a sample that must be within a tighter limit [mm] than all of it. From
memory, as the limits for all."""


def scheme_named(name: str, tile: Tile | None = None, about: str = "floor") -> Scheme:
    """How a `standard:grade` is sampled: by its straightedge rules that hold for this tile.

    A rule asks every place to be within its limit, so all placements of a sample must be. Raises
    RuleError for a standard whose rules are not of a straightedge with one limit, that depends on a
    tile nobody said, or that is for walls where `about` is "floor".
    """
    standard, grade = grade_of(name)
    full = f"{standard.id}:{grade.id}"
    check_on(grade, about, full)
    rules = () if standard.about != "flatness" else rules_for(grade, tile)
    bars = []
    for rule in rules:
        if rule.measure in ("resting", "blocks") and rule.length_mm and rule.limit.fixed:
            shares = [(1.0, rule.limit.anchors[0][1])]
            if full in _MOST:
                shares.insert(0, _MOST[full])
            bars.append(Bar(rule.length_mm, rule.measure == "blocks", tuple(shares)))
    if len(bars) < max(len(rules), 1):
        raise RuleError(
            say(
                "{rule}: what is not a rule of a straightedge with one limit cannot be "
                "sampled; {known} can.",
                rule=full,
                known=", ".join(_HOW_MANY),
            )
        )
    citation = rules[0].citation
    agreed = _HOW_MANY.get(standard.id, (None, 1, citation))
    each, fewest, how_many = _HOW_MANY.get(full, agreed)
    title = f"{standard.title} - {grade.title}"
    return Scheme(full, title, tuple(bars), each, fewest, citation, how_many)


def asked(scheme: Scheme, floor_mm2: float) -> int:
    """How many placements of each bar the standard asks of a floor of this area.

    Raises RuleError where it leaves the number to be agreed.
    """
    if scheme.each_mm2 is None:
        raise RuleError(
            say(
                "{standard} does not say how many places to try; say --count.",
                standard=scheme.standard,
            )
        )
    # The billionth keeps a floor of just so many parts from taking one more.
    return max(scheme.fewest, math.ceil(floor_mm2 / scheme.each_mm2 - 1e-9))
