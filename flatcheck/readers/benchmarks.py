"""Benchmarks: places whose height is known, such as a door sill or a nail from another day.

`x`, `y` and `height` (larger is higher) are needed; where `uncertainty` is blank it is the one that
the table's own entry gives, and where that gives none the height counts as exact.
"""

from flatcheck.language import say
from flatcheck.readers.columns import rows_of
from flatcheck.survey import Benchmark, Table

KIND = "benchmarks"
OPTIONS = ()


def read(table: Table) -> tuple[Benchmark, ...]:
    """The benchmarks, in order. Raises SurveyError naming the bad cell."""
    found = []
    for row in rows_of(
        table, say("a table of benchmarks"), ("x", "y", "height"), ("uncertainty", "note")
    ):
        x, y = row.place("x", "y")
        u = table.u_mm if table.own_u else 0.0
        if row.text("uncertainty"):
            u = row.length("uncertainty", table.unit)
        if u < 0:
            raise row.error("uncertainty", say("an uncertainty must not be negative."))
        height = row.length("height", table.unit)
        written = row.text("height")
        found.append(Benchmark(x, y, height, u, row.where("height"), written, table.unit))
    return tuple(found)
