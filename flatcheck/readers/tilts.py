"""Tilts: a digital level of known length laid at a place, read the way it points.

One row for each reading. `x`, `y` is the near end of the level, `toward` the way it points (a side
such as "north", or degrees clockwise from north), `reading` positive where the floor rises that
way. `length` is the level's, blank where the table's own `length` says it. The table's `slope` is
the unit of bare readings (deg, %, mm/m, in/ft or ratio), its `tilt_uncertainty` how far one
reading may be off.
"""

from flatcheck.errors import SurveyError
from flatcheck.fields import quoted
from flatcheck.language import say
from flatcheck.readers.columns import far_end, rows_of, said_length, said_slope
from flatcheck.survey import Table, Tilt
from flatcheck.units import SLOPE_UNITS

KIND = "tilts"
OPTIONS = ("slope", "length", "tilt_uncertainty")

SHORTEST_MM = 50.0
LONGEST_MM = 5000.0
"""A level that is shorter or longer is a slip of the pen: a wrong unit, or a sign [mm]."""

NO_LEVEL = say("a level was expected to have a length between 50 mm and 5 m.")


def read(table: Table) -> tuple[Tilt, ...]:
    """The tilts, in order, as rises over the level's length. Raises SurveyError naming the cell."""
    unit = dict(table.options).get("slope")
    if unit not in SLOPE_UNITS:
        raise SurveyError(
            say(
                "table {table}: slope = {unit} was expected to be one of {units}.",
                table=table.name,
                unit=quoted(unit),
                units=", ".join(SLOPE_UNITS),
            )
        )
    if table.own_u:
        raise SurveyError(
            say(
                "table {table}: how well a level reads is said by tilt_uncertainty, not by "
                "uncertainty or reads_to.",
                table=table.name,
            )
        )
    u_ratio = said_slope(table, "tilt_uncertainty", str(unit))
    if u_ratio is None:
        raise SurveyError(
            say(
                'table {table}: tilt_uncertainty is missing; say it as "0.1 deg", for example.',
                table=table.name,
            )
        )
    if not u_ratio > 0:
        raise SurveyError(
            say("table {table}: tilt_uncertainty must be larger than zero.", table=table.name)
        )
    usual = said_length(table, "length", table.offset_unit)
    if usual is not None and not SHORTEST_MM <= usual <= LONGEST_MM:
        raise SurveyError(
            say("table {table}: length: {problem}", table=table.name, problem=NO_LEVEL)
        )
    tilts = []
    for row in rows_of(
        table, say("a table of tilts"), ("x", "y", "toward", "reading"), ("length", "note")
    ):
        start = row.place("x", "y")
        length = usual
        if row.text("length"):
            length = row.length("length", table.offset_unit)
        if length is None:
            raise row.error("reading", say("the length of the level is missing."))
        if not SHORTEST_MM <= length <= LONGEST_MM:
            raise row.error("length", NO_LEVEL)
        end = far_end(row, start, "toward", length)
        tilts.append(
            Tilt(
                start=start,
                end=end,
                rise_mm=row.slope("reading", str(unit)) * length,
                u_mm=u_ratio * length,
                where=row.where("reading"),
                text=row.text("reading"),
            )
        )
    return tuple(tilts)
