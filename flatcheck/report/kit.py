"""What the checks of an instrument say: the level by two pegs, the straightedge by turning it."""

from collections.abc import Sequence

from flatcheck.errors import SurveyError
from flatcheck.instrument import Pair, bow, fine, two_peg
from flatcheck.survey import Cells
from flatcheck.units import Style, format_distance, parse_length

WORDS = {"bow": "arch at the middle", "lopsided": "lopsided part, high toward the far end"}


def two_peg_words(midway: Pair, other: Pair, sights: Pair, u_mm: float, style: Style) -> list[str]:
    """What a two-peg test says of a level, and what to write in a survey for it. All in mm."""
    found = two_peg(midway, other, sights, u_mm)
    base = 10_000.0
    way = "rises" if found.ratio > 0 else "falls"
    said = [
        f"The line of sight {way} {fine(abs(found.ratio) * base, style)} in "
        f"{format_distance(base, style)} (give or take {fine(2 * found.u_ratio * base, style)})."
    ]
    if abs(found.ratio) <= 2 * found.u_ratio:
        said.append("That is no more than the readings can tell: the level may be true.")
    said.append(
        f'In the table of its readings: collimation = "{found.ratio * 1000:.4f} mm/m" with '
        "level_at. Sights of equal length need no correction."
    )
    return said


def bar_words(
    cells: Cells, length_mm: float, turn: str, u_mm: float, unit: str, style: Style
) -> list[str]:
    """What turning a straightedge says of it, from a table of `at`, `first` and `turned`."""
    header = tuple(cell.strip().lower() for cell in cells[0])
    if sorted(header) != ["at", "first", "turned"]:
        raise SurveyError("a table of a turned bar has the columns at, first and turned.")
    columns: dict[str, list[float]] = {name: [] for name in header}
    for number, row in enumerate(cells[1:], 2):
        if len(row) != len(header):
            raise SurveyError(f"row {number}: {len(row)} cells where the first row has 3.")
        for name, cell in zip(header, row, strict=True):
            columns[name].append(parse_length(cell, unit))
    bar = bow(columns["first"], columns["turned"], columns["at"], length_mm, turn, u_mm)
    said = _shape(bar.told, bar.size_mm.tolist(), bar.cov_mm2.diagonal().tolist(), style)
    if "bow" in bar.told:
        size = bar.size_mm[bar.told.index("bow")]
        said.append(f'In its table of gaps: bow = "{size:.3f} mm".')
    else:
        said.append(
            "Turning it end for end cannot show an even bow: turn it upside down, or hold it "
            "against a level line."
        )
    return said


def _shape(
    told: Sequence[str], sizes: Sequence[float], spread: Sequence[float], style: Style
) -> list[str]:
    said = []
    for name, size, square in zip(told, sizes, spread, strict=True):
        give_or_take = fine(2 * square**0.5, style)
        said.append(f"The bar's {WORDS[name]}: {fine(size, style)} (give or take {give_or_take}).")
    return said
