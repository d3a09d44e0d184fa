"""Tilts: a digital level of known length laid at a place, read the way it points.

One row for each reading. `x`, `y` is the near end of the level, `toward` the way it points (a side
such as "north", or degrees clockwise from north), `reading` positive where the floor rises that
way. `length` is the level's, blank where the table's own `length` says it. The table's `slope` is
the unit of bare readings (deg, %, mm/m, in/ft or ratio), its `tilt_uncertainty` how far one
reading may be off.
"""

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.readers.columns import far_end, rows_of
from flatcheck.survey import Table, Tilt
from flatcheck.units import SLOPE_UNITS, parse_length, parse_slope

KIND = "tilts"
OPTIONS = ("slope", "length", "tilt_uncertainty")

SHORTEST_MM = 50.0
"""A shorter level is a slip of the pen: a wrong unit, or a sign [mm]."""


def read(table: Table) -> tuple[Tilt, ...]:
    """The tilts, in order, as rises over the level's length. Raises SurveyError naming the cell."""
    options = dict(table.options)
    unit = options.get("slope")
    if unit not in SLOPE_UNITS:
        raise SurveyError(
            f"table {table.name}: slope = {unit!r} was expected to be one of "
            f"{', '.join(SLOPE_UNITS)}."
        )
    if "tilt_uncertainty" not in options:
        raise SurveyError(
            f'table {table.name}: tilt_uncertainty is missing; say it as "0.1 deg", for example.'
        )
    try:
        u_ratio = parse_slope(str(options["tilt_uncertainty"]), str(unit))
        usual = (
            parse_length(str(options["length"]), table.offset_unit) if "length" in options else None
        )
    except UnitsError as error:
        raise SurveyError(f"table {table.name}: {error}") from None
    if not u_ratio > 0:
        raise SurveyError(f"table {table.name}: tilt_uncertainty must be larger than zero.")
    tilts = []
    for row in rows_of(
        table, "a table of tilts", ("x", "y", "toward", "reading"), ("length", "note")
    ):
        start = row.place("x", "y")
        length = usual
        if row.text("length"):
            length = row.length("length", table.offset_unit)
        if length is None:
            raise row.error("reading", "the length of the level is missing.")
        if length < SHORTEST_MM:
            raise row.error("length", f"a level is at least {SHORTEST_MM:g} mm long.")
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
