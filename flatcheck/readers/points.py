"""A list of points: one row for each reading, with named columns.

`x` (to the east), `y` (to the north) and `reading` are needed; `setup`, `line` and `note` are not.
A blank reading, or an `x`, is a place that was not read.
`line` names the straight line that a reading belongs to. A note that begins with `tie` says that
the place was read from another setup too. The table's `warmed_up = true` says that each setup's
last reading repeats its first, and that what they differ by came on steadily; its `collimation` (a
slope, positive where the sight rises) and `level_at` (the instrument's place) correct readings for
a line of sight that is not level.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.fields import length_of, quoted
from flatcheck.instrument import fine
from flatcheck.kit import MOST_COLLIMATION_RATIO, corrected, drift
from flatcheck.language import say
from flatcheck.readers.columns import UNREAD, Row, rows_of, said_slope
from flatcheck.survey import Reading, Table, height_from, sense_of, setup_named
from flatcheck.units import Style

KIND = "points"
OPTIONS = ("warmed_up", "collimation", "level_at")

NEEDED = ("x", "y", "reading")
OPTIONAL = ("setup", "line", "note")
"""Its columns."""


@dataclass(frozen=True)
class Drift:
    """How much more a setup's last reading says than its first, of the same place [mm].

    `u_mm` is the standard uncertainty of that difference, √2 that of a reading.
    """

    setup: str
    change_mm: float
    u_mm: float


def read(table: Table) -> tuple[Reading, ...]:
    """The readings of a list of points, in order. Raises SurveyError naming the bad cell."""
    sense = sense_of(table)
    rows, setups, values = _levelled(table)
    shares = _gone_by(table, rows, setups)
    values = _cooled(setups, values, shares)
    return tuple(
        Reading(
            *row.place("x", "y"),
            height_mm=height_from(sense, value),
            # The drift is the difference of two readings, and so is as uncertain as they are.
            u_mm=table.u_mm * math.hypot(1, share * math.sqrt(2)),
            setup=f"{sense} {setup}",
            where=row.where("reading"),
            text=row.text("reading"),
            sense=sense,
            unit=table.unit,
            tie=row.text("note").lower().startswith("tie"),
            line=row.text("line"),
        )
        for row, setup, value, share in zip(rows, setups, values, shares, strict=True)
        if share < 1  # the closing reading has served: it agrees with the first by construction
    )


def drifts(table: Table) -> tuple[Drift, ...]:
    """How far each setup of a table had drifted when it was closed; none unless `warmed_up`.

    Raises SurveyError as `read`.
    """
    if not _warmed_up(table):
        return ()
    rows, setups, values = _levelled(table)
    _gone_by(table, rows, setups)
    return tuple(
        Drift(setup, values[own[-1]] - values[own[0]], math.sqrt(2) * table.u_mm)
        for setup, own in _by_setup(setups).items()
    )


def drift_words(table: Table, style: Style) -> list[str]:
    """What was done about the drift of each setup of a table, a sentence each; none for others."""
    said = []
    for seen in drifts(table):
        change = fine(abs(seen.change_mm), style)
        # A smaller difference is no proof of drift (see `flatcheck.kit.drift`).
        if abs(seen.change_mm) > 2 * seen.u_mm:
            said.append(
                say(
                    "Setup {setup} drifted {change} between its first and last reading; it was "
                    "spread over the readings in between.",
                    setup=seen.setup,
                    change=change,
                )
            )
        else:
            said.append(
                say(
                    "Setup {setup} changed by {change} between its first and last reading, which "
                    "reading error alone can do; it was spread over the readings in between all "
                    "the same.",
                    setup=seen.setup,
                    change=change,
                )
            )
    return said


def _levelled(table: Table) -> tuple[list[Row], list[str], list[float]]:
    """Rows, their setups, and their readings freed from the collimation of the level [mm]."""
    rows = rows_of(table, say("a list of points"), NEEDED, OPTIONAL)
    rows = [row for row in rows if row.text("reading") not in UNREAD]
    if not rows:
        raise SurveyError(say("{table} holds no readings.", table=table.name))
    setups = [setup_named(table, row.text("setup"), row.where("setup")) for row in rows]
    values = [row.length("reading", table.unit) for row in rows]
    options, name = dict(table.options), say("table {table}", table=table.name)
    ratio = said_slope(table, "collimation", "ratio")
    place = options.get("level_at")
    if ratio is None and place is None:
        return rows, setups, values
    if ratio is None or not isinstance(place, list) or len(place) != 2:
        raise SurveyError(
            say(
                '{table}: collimation and level_at belong together, as collimation = "0.5 mm/m" '
                'and level_at = ["3\'", "4\'"].',
                table=name,
            )
        )
    if abs(ratio) > MOST_COLLIMATION_RATIO:
        raise SurveyError(
            say(
                "{table}: collimation was expected to be at most {most:g} mm in a meter, as "
                '"0.5 mm/m"; {given} is {slope:,.0f} mm in a meter.',
                table=name,
                most=1000 * MOST_COLLIMATION_RATIO,
                given=quoted(options["collimation"]),
                slope=1000 * ratio,
            )
        )
    x, y = (length_of(offset, f"{name}: level_at", table.offset_unit) for offset in place)
    # A sight that rises strikes the rod too high, and makes an elevation too low.
    ratio = ratio if table.sense == "rod" else -ratio
    values = [
        corrected(value, math.dist(row.place("x", "y"), (x, y)), ratio)
        for row, value in zip(rows, values, strict=True)
    ]
    return rows, setups, values


def _by_setup(setups: Sequence[str]) -> dict[str, list[int]]:
    """Which readings each setup took, in order."""
    found: dict[str, list[int]] = {}
    for k, setup in enumerate(setups):
        found.setdefault(setup, []).append(k)
    return found


def _warmed_up(table: Table) -> bool:
    given = dict(table.options).get("warmed_up", False)
    if not isinstance(given, bool):
        raise SurveyError(
            say(
                "table {table}: warmed_up = {given} was expected to be true or false, without "
                "quotes.",
                table=table.name,
                given=quoted(given),
            )
        )
    return given


def _gone_by(table: Table, rows: Sequence[Row], setups: Sequence[str]) -> list[float]:
    """The share of its setup's time gone by at each reading; zero where nothing drifts."""
    shares = [0.0] * len(rows)
    if not _warmed_up(table):
        return shares
    for setup, own in _by_setup(setups).items():
        first, last = rows[own[0]], rows[own[-1]]
        if len(own) < 2 or math.dist(first.place("x", "y"), last.place("x", "y")) > 1:
            raise last.error(
                "x",
                say(
                    "the last reading of setup {setup} was expected to repeat its first.",
                    setup=quoted(setup),
                ),
            )
        for order, k in enumerate(own):
            shares[k] = order / (len(own) - 1)
    return shares


def _cooled(setups: Sequence[str], values: Sequence[float], shares: Sequence[float]) -> list[float]:
    """Readings freed from the drift of each setup between its opening and its closing reading."""
    result = list(values)
    for own in _by_setup(setups).values():
        if shares[own[-1]] == 1:
            opening, closing = values[own[0]], values[own[-1]]
            for k, add in zip(own, drift(opening, closing, range(len(own))), strict=True):
                result[k] += float(add)
    return result
