"""A straightedge read twice: one row for each place, `at`, and the gaps `first` and `turned`.

`at` is how far the place is from the bar's start. This is a test of the bar and no kind of table
that a survey may name.
"""

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.readers.columns import rows_of
from flatcheck.survey import Cells, Table
from flatcheck.units import format_distance, typed_style

COLUMNS = ("at", "first", "turned")


def read(name: str, cells: Cells, unit: str, length_mm: float) -> Cells:
    """The cells of the table, once each has been understood, its columns in the order above.

    A bare number is in `unit`. Raises SurveyError naming the cell that is no length, and a place
    off the bar, which is `length_mm` long.
    """
    if not length_mm > 0:
        raise SurveyError(say("a bar was expected to have a length larger than zero."))
    table = Table(name, "", "", "", unit, unit, 0.0, cells)
    rows = rows_of(table, say("a table of a turned bar"), COLUMNS, ())
    for row in rows:
        for column in COLUMNS:
            found = row.length(column, unit)
            if column == "at" and not 0 <= found <= length_mm:
                style = typed_style([row.text("at")], unit)
                long = format_distance(length_mm, style)
                raise row.error(
                    "at",
                    say(
                        "{cell!r} is off the bar, which is {length} long.",
                        cell=row.text("at"),
                        length=long,
                    ),
                )
            if abs(found) > length_mm:
                raise row.error(
                    column, say("the gap {gap!r} is longer than the bar.", gap=row.text(column))
                )
    return (COLUMNS, *(tuple(row.text(column) for column in COLUMNS) for row in rows))
