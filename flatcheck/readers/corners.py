"""Heights at the corners of tiles: one row for each tile.

`x`, `y` is the tile's south-west corner; `sw`, `se`, `ne` and `nw` are the readings at its corners,
blank where one was not read. The table's `east` and `north` are the tile's size that way.
"""

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.readers.columns import rows_of, said_length
from flatcheck.survey import Reading, Table, height_from, sense_of, setup_named

KIND = "corners"
OPTIONS = ("east", "north")

CORNERS = {"sw": (0, 0), "se": (1, 0), "ne": (1, 1), "nw": (0, 1)}


def read(table: Table) -> tuple[Reading, ...]:
    """The readings at all corners, tile by tile. Raises SurveyError naming the bad cell."""
    size = {}
    for side in OPTIONS:
        length = said_length(table, side, table.offset_unit)
        if length is None:
            raise SurveyError(
                say(
                    "table {table}: {side}, the tile's size that way, is missing.",
                    table=table.name,
                    side=side,
                )
            )
        if not length > 0:
            raise SurveyError(
                say("table {table}: {side} must be larger than zero.", table=table.name, side=side)
            )
        size[side] = length
    sense = sense_of(table)
    readings = []
    for row in rows_of(
        table, say("a table of tile corners"), ("x", "y", *CORNERS), ("tile", "setup", "note")
    ):
        x, y = row.place("x", "y")
        setup = setup_named(table, row.text("setup"), row.where("setup"))
        for corner, (east, north) in CORNERS.items():
            if row.text(corner):
                readings.append(
                    Reading(
                        x_mm=x + east * size["east"],
                        y_mm=y + north * size["north"],
                        height_mm=height_from(sense, row.length(corner, table.unit)),
                        u_mm=table.u_mm,
                        setup=f"{sense} {setup}",
                        where=row.where(corner),
                        text=row.text(corner),
                        sense=sense,
                        unit=table.unit,
                    )
                )
    if not readings:
        raise SurveyError(say("{table} holds no readings.", table=table.name))
    return tuple(readings)
