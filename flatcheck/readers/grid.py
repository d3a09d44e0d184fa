"""A bare grid: the first row holds offsets to the east, the first column offsets to the north.

The corner cell is free for a label. A blank cell, or an `x`, is a place that could not be read.
"""

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.readers.columns import UNREAD
from flatcheck.survey import (
    Reading,
    Table,
    cell_error,
    cell_length,
    cell_name,
    height_from,
    sense_of,
)

KIND = "grid"
OPTIONS = ()


def read(table: Table) -> tuple[Reading, ...]:
    """The readings of a grid, row by row.

    Raises SurveyError naming the cell for text that is no length, a row of another width, an
    offset given twice, and a grid without readings.
    """
    rows, east, north = offsets_of(table)
    readings = [
        _reading(table, number, column, x, y, cell)
        for (number, row), y in zip(rows[1:], north, strict=True)
        for column, (x, cell) in enumerate(zip(east, row[1:], strict=True), 2)
        if cell.strip() not in UNREAD
    ]
    if not readings:
        raise SurveyError(say("{table} holds no readings.", table=table.name))
    return tuple(readings)


def offsets_of(
    table: Table,
) -> tuple[list[tuple[int, tuple[str, ...]]], list[float], list[float]]:
    """The rows that are not blank with their numbers, and the offsets east and north [mm].

    The first of the rows is that of the offsets to the east. Raises SurveyError as `read`.
    """
    rows = [(n, row) for n, row in enumerate(table.cells, 1) if any(cell.strip() for cell in row)]
    if not rows:
        raise SurveyError(
            say(
                "{table} is empty; {what} was expected.",
                table=table.name,
                what=say("a grid of readings"),
            )
        )
    header_row, header = rows[0]
    if len(rows) < 2 or len(header) < 2:
        raise SurveyError(
            say(
                "{table} is no grid: it needs a first row of offsets, a first column of offsets, "
                "and readings.",
                table=table.name,
            )
        )
    east = [
        cell_length(table, header_row, c, cell, table.offset_unit)
        for c, cell in enumerate(header[1:], 2)
    ]
    _no_twice(table, east, [(header_row, c, cell) for c, cell in enumerate(header[1:], 2)])
    north = []
    for number, row in rows[1:]:
        if len(row) != len(header):
            raise SurveyError(
                say(
                    "{table}, row {row}: {cells} cells where the first row has {columns}; leave a "
                    "blank cell for a place that could not be read.",
                    table=table.name,
                    row=number,
                    cells=len(row),
                    columns=len(header),
                )
            )
        north.append(cell_length(table, number, 1, row[0], table.offset_unit))
    _no_twice(table, north, [(n, 1, row[0]) for n, row in rows[1:]])
    return rows, east, north


def _reading(table: Table, row: int, column: int, x: float, y: float, cell: str) -> Reading:
    return Reading(
        x_mm=x,
        y_mm=y,
        height_mm=height_from(sense_of(table), cell_length(table, row, column, cell, table.unit)),
        u_mm=table.u_mm,
        setup=f"{table.sense} {table.setup}",
        where=cell_name(table.name, row, column),
        text=cell.strip(),
        sense=table.sense,
        unit=table.unit,
    )


def _no_twice(table: Table, offsets: list[float], cells: list[tuple[int, int, str]]) -> None:
    seen: set[float] = set()
    for offset, (row, column, cell) in zip(offsets, cells, strict=True):
        if offset in seen:
            raise cell_error(
                table,
                row,
                column,
                say(
                    "the offset {offset!r} stands there twice; each row and column has its own.",
                    offset=cell.strip(),
                ),
            )
        seen.add(offset)
