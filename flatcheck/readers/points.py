"""A list of points: one row for each reading, with named columns.

`x` (to the east), `y` (to the north) and `reading` are needed; `setup` and `note` are not.
"""

from flatcheck.errors import SurveyError
from flatcheck.survey import Reading, Table, cell_error, cell_length, cell_name, height_from

KIND = "points"

NEEDED = ("x", "y", "reading")
OPTIONAL = ("setup", "note")


def read(table: Table) -> tuple[Reading, ...]:
    """The readings of a list of points, in order.

    Raises SurveyError naming the cell for text that is no length, and for a header that lacks a
    needed column, repeats one or has an unknown one.
    """
    rows = [(n, row) for n, row in enumerate(table.cells, 1) if any(cell.strip() for cell in row)]
    if not rows:
        raise SurveyError(f"{table.name} is empty; a list of points was expected.")
    column = _columns(table, rows[0][0], rows[0][1])
    readings = []
    for number, row in rows[1:]:
        if len(row) > len(rows[0][1]) and any(cell.strip() for cell in row[len(rows[0][1]) :]):
            raise SurveyError(
                f"{table.name}, row {number}: {len(row)} cells under {len(rows[0][1])} columns."
            )
        cells = {name: row[at] if at < len(row) else "" for name, at in column.items()}
        x, y, value = (
            cell_length(table, number, column[name] + 1, cells[name], unit)
            for name, unit in zip(
                NEEDED, (table.offset_unit, table.offset_unit, table.unit), strict=True
            )
        )
        setup = cells.get("setup", "").strip() or table.setup
        readings.append(
            Reading(
                x_mm=x,
                y_mm=y,
                height_mm=height_from(table.sense, value),
                u_mm=table.u_mm,
                setup=f"{table.sense} {setup}",
                where=cell_name(table, number, column["reading"] + 1),
                text=cells["reading"].strip(),
            )
        )
    if not readings:
        raise SurveyError(f"{table.name} holds no readings.")
    return tuple(readings)


def _columns(table: Table, number: int, header: tuple[str, ...]) -> dict[str, int]:
    column: dict[str, int] = {}
    for at, cell in enumerate(header):
        name = cell.strip().lower()
        if not name and at >= len(NEEDED):
            continue
        if name not in NEEDED + OPTIONAL:
            raise cell_error(
                table,
                number,
                at + 1,
                f"{cell.strip()!r} is not a column of a list of points; the columns are "
                f"{', '.join(NEEDED + OPTIONAL)}.",
            )
        if name in column:
            raise cell_error(table, number, at + 1, f"the column {name!r} stands there twice.")
        column[name] = at
    missing = [name for name in NEEDED if name not in column]
    if missing:
        raise SurveyError(f"{table.name}, row {number}: the column {missing[0]!r} is missing.")
    return column
