"""Steps between the edges of tiles, read with a gauge across joints: one row for each.

`x`, `y` is the place on the joint; `step` is positive where the tile on the side that `proud` names
(such as "north") stands higher than its neighbor. `joint` is the joint's width there, where it is
not that of the tile. In the table's entry, `joints` is how many places there are on the whole
floor of which these were read.
"""

from flatcheck.compass import SIDES
from flatcheck.language import say
from flatcheck.readers.columns import rows_of
from flatcheck.survey import Step, Table

KIND = "steps"
OPTIONS = ("joints",)

LARGEST_MM = 50.0
"""A larger step between two tiles is a slip of the pen, such as a wrong unit [mm]."""


def read(table: Table) -> tuple[Step, ...]:
    """The steps, in order. Raises SurveyError naming the bad cell."""
    found = []
    for row in rows_of(
        table, say("a table of steps"), ("x", "y", "step"), ("proud", "joint", "note")
    ):
        x, y = row.place("x", "y")
        step = row.length("step", table.unit)
        if abs(step) > LARGEST_MM:
            raise row.error("step", say("a step between two tiles was expected to be below 50 mm."))
        proud = row.text("proud").lower()
        if proud and proud not in SIDES:
            raise row.error(
                "proud",
                say(
                    "{side!r} was expected as a side, such as north or south-west.",
                    side=proud[:40],
                ),
            )
        if step < 0 and not proud:
            raise row.error(
                "step", say("a step below zero needs the side that it is counted from.")
            )
        joint = row.length("joint", table.unit) if row.text("joint") else None
        if joint is not None and joint < 0:
            raise row.error("joint", say("a joint must not be narrower than nothing."))
        found.append(
            Step(x, y, step, table.u_mm, proud, joint, row.where("step"), row.text("step"))
        )
    return tuple(found)
