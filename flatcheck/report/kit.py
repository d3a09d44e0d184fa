"""What the checks of an instrument say: the level by two pegs, the straightedge by turning it."""

from collections.abc import Sequence

from flatcheck.errors import SurveyError
from flatcheck.instrument import (
    Part,
    Statement,
    describe,
    fine,
    standard_uncertainty,
    statement,
)
from flatcheck.kit import Collimation, Pair, bow, two_peg
from flatcheck.language import say
from flatcheck.survey import Cells
from flatcheck.units import LENGTH_UNITS, Style, format_distance, parse_length

RODS = "1 mm"
"""How near one reading of a rod through a level is taken to be to the truth.

Common practice, no source."""

WORDS = {
    "bow": say("arch at the middle"),
    "lopsided": say("lopsided part, high toward the far end"),
}


def two_peg_words(
    midway: Pair, other: Pair, sights: Pair, stated: Statement, style: Style
) -> list[str]:
    """What a two-peg test says of a level, and what to write in a survey for it. All in mm.

    Of what is `stated` the parts that grow with the distance are what is tested; the others say how
    near one reading of the rod is, RODS where there are none.
    """
    plain = tuple(part for part in stated.parts if not part.by_distance)
    rods = Statement(stated.text, plain) if plain else statement(RODS)
    found = two_peg(midway, other, sights, standard_uncertainty(rods, 0))
    inches = style.unit == "in"
    base = 30 * LENGTH_UNITS["ft"] if inches else 10 * LENGTH_UNITS["m"]
    said = [_sight(found, base, style)]
    if found.u_ratio / 10 <= abs(found.ratio) <= 2 * found.u_ratio:
        said.append(say("That is no more than the readings can tell: the level may be true."))
    elif abs(found.ratio) > 2 * found.u_ratio:
        slope = f"{found.ratio * 1000:.4f} mm/m"
        if inches:
            slope = f"{found.ratio * LENGTH_UNITS['ft'] / LENGTH_UNITS['in']:.5f} in per ft"
        said.append(
            say(
                'In the table of its readings: collimation = "{slope}" with level_at. Sights of '
                "equal length need no correction.",
                slope=slope,
            )
        )
    for part in stated.parts:
        if part.by_distance:
            said.append(_kept(part, found, style))
    said.append(say("One reading of a rod: {statement}", statement=describe(rods, 0, style)))
    return said


def _sight(found: Collimation, base_mm: float, style: Style) -> str:
    """How far the line of sight rises or falls over a distance."""
    away, spread = format_distance(base_mm, style), fine(2 * found.u_ratio * base_mm, style)
    if abs(found.ratio) < found.u_ratio / 10:
        return say("The line of sight is level, to {spread} in {away}.", spread=spread, away=away)
    off = fine(abs(found.ratio) * base_mm, style)
    if found.ratio > 0:
        return say(
            "The line of sight rises {off} in {away} (give or take {spread}).",
            off=off,
            away=away,
            spread=spread,
        )
    return say(
        "The line of sight falls {off} in {away} (give or take {spread}).",
        off=off,
        away=away,
        spread=spread,
    )


def _kept(part: Part, found: Collimation, style: Style) -> str:
    """Whether the level keeps to what was said of its angle."""
    beyond, sure = abs(found.ratio) - part.size, 2 * found.u_ratio
    if beyond > sure:
        return say("It does not keep to {stated!r}: have it adjusted.", stated=part.text)
    if beyond > -sure:
        return say("Whether it keeps to {stated!r} these readings cannot tell.", stated=part.text)
    return say("It keeps to {stated!r}.", stated=part.text)


def bar_words(
    cells: Cells, length_mm: float, turn: str, stated: Statement, unit: str, style: Style
) -> list[str]:
    """What turning a straightedge says of it, from a table of `at`, `first` and `turned`.

    `stated` is what is said of how near one gap is to the truth. Raises SurveyError where that
    depends on a distance, which a gap under a bar has none of.
    """
    if stated.by_distance:
        raise SurveyError(
            say(
                "{stated!r} grows with the distance from an instrument, and a gap under a bar has "
                'none; say how near a gap is read, as "0.1 mm" or "reading to 1/64".',
                stated=stated.text,
            )
        )
    u_mm = standard_uncertainty(stated, 0)
    header = tuple(cell.strip().lower() for cell in cells[0])
    if sorted(header) != ["at", "first", "turned"]:
        raise SurveyError(say("a table of a turned bar has the columns at, first and turned."))
    columns: dict[str, list[float]] = {name: [] for name in header}
    for number, row in enumerate(cells[1:], 2):
        if len(row) != len(header):
            raise SurveyError(
                say(
                    "row {row}: {cells} cells where the first row has 3.",
                    row=number,
                    cells=len(row),
                )
            )
        for name, cell in zip(header, row, strict=True):
            columns[name].append(parse_length(cell, unit))
    bar = bow(columns["first"], columns["turned"], columns["at"], length_mm, turn, u_mm)
    said = _shape(bar.told, bar.size_mm.tolist(), bar.cov_mm2.diagonal().tolist(), style)
    if "bow" in bar.told:
        size = bar.size_mm[bar.told.index("bow")]
        arch = f"{size / LENGTH_UNITS['in']:.4f} in" if style.unit == "in" else f"{size:.3f} mm"
        said.append(say('In its table of gaps: bow = "{arch}".', arch=arch))
    else:
        said.append(
            say(
                "Turning it end for end cannot show an even bow: turn it upside down, or hold it "
                "against a level line."
            )
        )
    said.append(say("One gap: {statement}", statement=describe(stated, 0, style)))
    return said


def _shape(
    told: Sequence[str], sizes: Sequence[float], spread: Sequence[float], style: Style
) -> list[str]:
    return [
        say(
            "The bar's {part}: {size} (give or take {spread}).",
            part=WORDS[name],
            size=fine(size, style),
            spread=fine(2 * square**0.5, style),
        )
        for name, size, square in zip(told, sizes, spread, strict=True)
    ]
