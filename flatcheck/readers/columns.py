"""Tables with named columns: the header is checked once, then cells are asked for by name."""

import math
from dataclasses import dataclass

from flatcheck.compass import parse_bearing
from flatcheck.errors import SurveyError, UnitsError
from flatcheck.fields import length_of, quoted, slope_of
from flatcheck.language import say
from flatcheck.survey import Table, cell_error, cell_length, cell_name
from flatcheck.units import parse_slope

UNREAD = ("", "x", "X")
"""What stands in place of a reading where none was taken."""


@dataclass(frozen=True)
class Row:
    """One row of a table: its number, its cells by column name, and where each stands."""

    table: Table
    number: int
    cells: dict[str, str]
    at: dict[str, int]

    def text(self, name: str) -> str:
        """A cell's text, empty where the column or the cell is."""
        return self.cells.get(name, "").strip()

    def length(self, name: str, unit: str) -> float:
        """A cell as a length [mm]; a bare number is in `unit`."""
        return cell_length(self.table, self.number, self.at.get(name, 1), self.text(name), unit)

    def place(self, x: str, y: str) -> tuple[float, float]:
        """Two cells as a place on the plan [mm]."""
        unit = self.table.offset_unit
        return self.length(x, unit), self.length(y, unit)

    def slope(self, name: str, unit: str) -> float:
        """A cell as a slope [ratio]; a bare number is in `unit`."""
        try:
            return parse_slope(self.text(name), unit)
        except UnitsError as error:
            raise self.error(name, str(error)) from None

    def where(self, name: str) -> str:
        """How the cell is called in messages."""
        return cell_name(self.table.name, self.number, self.at.get(name, 1))

    def error(self, name: str, problem: str) -> SurveyError:
        """One sentence about the cell."""
        return cell_error(self.table, self.number, self.at.get(name, 1), problem)


def rows_of(
    table: Table, what: str, needed: tuple[str, ...], optional: tuple[str, ...]
) -> list[Row]:
    """The rows of a table whose first row names the columns, in any order.

    Raises SurveyError naming the cell for a header that lacks a needed column, repeats one or has
    an unknown one, and for a row with more cells than the header; SurveyError for an empty table.
    """
    rows = [(n, row) for n, row in enumerate(table.cells, 1) if any(cell.strip() for cell in row)]
    if not rows:
        raise SurveyError(
            say("{table} is empty; {what} was expected.", table=table.name, what=what)
        )
    first, header = rows[0]
    at: dict[str, int] = {}
    for column, cell in enumerate(header, 1):
        name = cell.strip().lower()
        if not name and column > len(needed):
            continue
        if name not in needed + optional:
            raise cell_error(
                table,
                first,
                column,
                say(
                    "{column} is not a column of {what}; the columns are {columns}.",
                    column=quoted(cell.strip()),
                    what=what,
                    columns=", ".join(needed + optional),
                ),
            )
        if name in at:
            raise cell_error(
                table, first, column, say("the column {column!r} stands there twice.", column=name)
            )
        at[name] = column
    missing = [name for name in needed if name not in at]
    if missing:
        raise SurveyError(
            say(
                "{table}, row {row}: the column {column!r} is missing.",
                table=table.name,
                row=first,
                column=missing[0],
            )
        )
    found = []
    for number, row in rows[1:]:
        if any(cell.strip() for cell in row[len(header) :]):
            raise SurveyError(
                say(
                    "{table}, row {row}: {cells} cells under {columns} columns.",
                    table=table.name,
                    row=number,
                    cells=len(row),
                    columns=len(header),
                )
            )
        cells = {name: row[c - 1] if c <= len(row) else "" for name, c in at.items()}
        found.append(Row(table, number, cells, at))
    if not found:
        raise SurveyError(say("{table} holds no readings.", table=table.name))
    return found


def said_length(table: Table, key: str, unit: str) -> float | None:
    """A length in the table's own entry [mm], None where it is not said there.

    A bare number is in `unit`. Raises SurveyError naming the table and the key.
    """
    for name, given in table.options:
        if name == key:
            return length_of(given, say("table {table}: {key}", table=table.name, key=key), unit)
    return None


def said_slope(table: Table, key: str, unit: str) -> float | None:
    """A slope in the table's own entry [ratio], as `said_length`."""
    for name, given in table.options:
        if name == key:
            return slope_of(given, say("table {table}: {key}", table=table.name, key=key), unit)
    return None


def far_end(
    row: Row, start: tuple[float, float], toward: str, length_mm: float
) -> tuple[float, float]:
    """The place `length_mm` from `start`, the way the cell says.

    The cell holds a compass side, or degrees clockwise from north.
    """
    try:
        turn = math.radians(parse_bearing(row.text(toward)))
    except UnitsError as error:
        raise row.error(toward, str(error)) from None
    return start[0] + length_mm * math.sin(turn), start[1] + length_mm * math.cos(turn)
