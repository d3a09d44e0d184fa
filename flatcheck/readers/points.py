"""A list of points: one row for each reading, with named columns.

`x` (to the east), `y` (to the north) and `reading` are needed; `setup` and `note` are not.
"""

from flatcheck.readers.columns import rows_of
from flatcheck.survey import Reading, Table, height_from, sense_of

KIND = "points"
OPTIONS = ()


def read(table: Table) -> tuple[Reading, ...]:
    """The readings of a list of points, in order. Raises SurveyError naming the bad cell."""
    sense = sense_of(table)
    readings = []
    for row in rows_of(table, "a list of points", ("x", "y", "reading"), ("setup", "note")):
        x, y = row.place("x", "y")
        readings.append(
            Reading(
                x_mm=x,
                y_mm=y,
                height_mm=height_from(sense, row.length("reading", table.unit)),
                u_mm=table.u_mm,
                setup=f"{sense} {row.text('setup') or table.setup}",
                where=row.where("reading"),
                text=row.text("reading"),
                sense=sense,
            )
        )
    return tuple(readings)
