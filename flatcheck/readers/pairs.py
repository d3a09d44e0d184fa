"""Tiles held face to face, two at a time: one row for each pair.

`one` and `two` name the tiles; `gap` is how far their longest edges stand apart in the middle.
Where they touch there, write half of what they stand apart at both ends together, with a minus.
Three tiles in all three pairs tell the bow of each.
"""

from flatcheck.language import say
from flatcheck.readers.columns import rows_of
from flatcheck.survey import Table
from flatcheck.warpage import Pair

KIND = "pairs"
OPTIONS = ("product",)

LARGEST_MM = 50.0
"""A larger gap between two faces is a slip of the pen, such as a wrong unit [mm]."""


def read(table: Table) -> tuple[Pair, ...]:
    """The pairs, in order. Raises SurveyError naming the bad cell."""
    found = []
    for row in rows_of(table, say("a table of tiles in pairs"), ("one", "two", "gap"), ("note",)):
        one, two = row.text("one"), row.text("two")
        for column, name in (("one", one), ("two", two)):
            if not name:
                raise row.error(column, say("the tile's name or number is missing."))
        if one == two:
            raise row.error(
                "two", say("tile {tile!r} was expected to face another tile.", tile=two[:40])
            )
        gap = row.length("gap", table.unit)
        if abs(gap) > LARGEST_MM:
            raise row.error("gap", say("a gap between two tiles was expected to be below 50 mm."))
        found.append(Pair(one, two, gap, table.u_mm, row.where("gap"), row.text("gap")))
    return tuple(found)
