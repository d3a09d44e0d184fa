"""Benchmarks: places whose height is known, such as a door sill or a nail from another day.

`x`, `y` and `height` (larger is higher) are needed; `uncertainty` is blank where the height counts
as exact.
"""

from flatcheck.readers.columns import rows_of
from flatcheck.survey import Benchmark, Table

KIND = "benchmarks"
OPTIONS = ()


def read(table: Table) -> tuple[Benchmark, ...]:
    """The benchmarks, in order. Raises SurveyError naming the bad cell."""
    found = []
    for row in rows_of(
        table, "a table of benchmarks", ("x", "y", "height"), ("uncertainty", "note")
    ):
        x, y = row.place("x", "y")
        u = row.length("uncertainty", table.unit) if row.text("uncertainty") else 0.0
        if u < 0:
            raise row.error("uncertainty", "an uncertainty must not be negative.")
        height = row.length("height", table.unit)
        written = row.text("height")
        found.append(Benchmark(x, y, height, u, row.where("height"), written, table.unit))
    return tuple(found)
