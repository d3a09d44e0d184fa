"""A list of points: one row for each reading, with named columns.

`x` (to the east), `y` (to the north) and `reading` are needed; `setup` and `note` are not. A note
that begins with `tie` says that the place was read from another setup too. The table's
`warmed_up = true` says that each setup's last reading repeats its first, and that what they differ
by came on steadily; its `collimation` (a slope, positive where the sight rises) and `level_at` (the
instrument's place) correct readings for a line of sight that is not level.
"""

import math
from collections.abc import Sequence

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.instrument import corrected, drift
from flatcheck.readers.columns import Row, rows_of
from flatcheck.survey import Reading, Table, height_from, sense_of, setup_named
from flatcheck.units import parse_length, parse_slope

KIND = "points"
OPTIONS = ("warmed_up", "collimation", "level_at")


def read(table: Table) -> tuple[Reading, ...]:
    """The readings of a list of points, in order. Raises SurveyError naming the bad cell."""
    sense = sense_of(table)
    rows = rows_of(table, "a list of points", ("x", "y", "reading"), ("setup", "note"))
    setups = [setup_named(table, row.text("setup"), row.where("setup")) for row in rows]
    values = [row.length("reading", table.unit) for row in rows]
    values = _levelled(table, rows, values)
    shares = _gone_by(table, rows, setups)
    values = _cooled(rows, setups, values, shares)
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
        )
        for row, setup, value, share in zip(rows, setups, values, shares, strict=True)
        if share < 1  # the closing reading has served: it agrees with the first by construction
    )


def _levelled(table: Table, rows: Sequence[Row], values: Sequence[float]) -> list[float]:
    """Readings freed from the collimation of the level, by their distance from it."""
    options = dict(table.options)
    if "collimation" not in options:
        return list(values)
    try:
        ratio = parse_slope(str(options["collimation"]), "ratio")
        x, y = (parse_length(str(v), table.offset_unit) for v in options.get("level_at", ()))
    except (UnitsError, TypeError, ValueError) as error:
        raise SurveyError(
            f"table {table.name}: collimation needs level_at, two offsets, beside it ({error})."
        ) from None
    # A sight that rises strikes the rod too high, and makes an elevation too low.
    ratio = ratio if table.sense == "rod" else -ratio
    return [
        corrected(value, math.dist(row.place("x", "y"), (x, y)), ratio)
        for row, value in zip(rows, values, strict=True)
    ]


def _gone_by(table: Table, rows: Sequence[Row], setups: Sequence[str]) -> list[float]:
    """The share of its setup's time gone by at each reading; zero where nothing drifts."""
    shares = [0.0] * len(rows)
    if not dict(table.options).get("warmed_up"):
        return shares
    for setup in dict.fromkeys(setups):
        own = [k for k, name in enumerate(setups) if name == setup]
        first, last = rows[own[0]], rows[own[-1]]
        if len(own) < 2 or math.dist(first.place("x", "y"), last.place("x", "y")) > 1:
            raise last.error(
                "x", f"the last reading of setup {setup!r} was expected to repeat its first."
            )
        for order, k in enumerate(own):
            shares[k] = order / (len(own) - 1)
    return shares


def _cooled(
    rows: Sequence[Row], setups: Sequence[str], values: Sequence[float], shares: Sequence[float]
) -> list[float]:
    """Readings freed from the drift of each setup between its opening and its closing reading."""
    result = list(values)
    for setup in dict.fromkeys(setups):
        own = [k for k, name in enumerate(setups) if name == setup]
        if shares[own[-1]] == 1:
            opening, closing = values[own[0]], values[own[-1]]
            for k, add in zip(own, drift(opening, closing, range(len(own))), strict=True):
                result[k] += float(add)
    return result
