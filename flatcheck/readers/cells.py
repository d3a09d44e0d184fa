"""From a file, or text pasted from a spreadsheet, to the cells of a table, as written.

Commas, semicolons (with decimal commas) and tabs are told apart by the first line that has any.
"""

import csv
import io
import zipfile
from datetime import date, datetime, time

from flatcheck.errors import SurveyError
from flatcheck.survey import Cells

MOST_BYTES = 16_000_000
"""A larger file is not a survey; it is refused before it is read."""


def cells_of(name: str, data: bytes) -> Cells:
    """The cells of a CSV, tab-separated or XLSX file (its first sheet), by content, not by name.

    Raises SurveyError for a file that is too large, empty, or of another kind, and for a cell that
    a spreadsheet has turned into a date.
    """
    if len(data) > MOST_BYTES:
        raise SurveyError(
            f"{name} is {len(data) / 1e6:,.0f} MB; a table of readings has at most "
            f"{MOST_BYTES / 1e6:,.0f} MB."
        )
    cells = _xlsx(name, data) if data[:4] == b"PK\x03\x04" else pasted(name, _text(name, data))
    if not cells:
        raise SurveyError(f"{name} is empty; readings were expected.")
    return cells


def pasted(name: str, text: str) -> Cells:
    """The cells of a text, blank lines at its end taken off."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in "\t;," if mark in first), ",")
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=mark))
    except csv.Error as error:
        raise SurveyError(f"{name} cannot be read as a table: {error}.") from None
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    return tuple(tuple(row) for row in rows)


def csv_text(cells: Cells) -> str:
    """The cells as the text of a CSV file that `cells_of` reads back unchanged."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(cells)
    return out.getvalue()


def _text(name: str, data: bytes) -> str:
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    if wide or b"\x00" not in data:
        # Old spreadsheets write Windows-1252, where an inch mark or ½ is one byte.
        for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
            try:
                return data.decode(encoding)
            except UnicodeDecodeError:
                continue
    raise SurveyError(f"{name} is not a table of text; CSV, tab-separated or XLSX is read.")


def _xlsx(name: str, data: bytes) -> Cells:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(item.file_size for item in packed.infolist()) > 10 * MOST_BYTES:
                raise SurveyError(f"{name} unpacks to far more than a table of readings holds.")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        rows = [
            [_cell(name, r, c, value) for c, value in enumerate(row, 1)]
            for r, row in enumerate(book.worksheets[0].iter_rows(values_only=True), 1)
        ]
    except SurveyError:
        raise
    except (InvalidFileException, zipfile.BadZipFile, KeyError, IndexError, OSError, ValueError):
        raise SurveyError(
            f"{name} is not a spreadsheet that can be read; save it as XLSX."
        ) from None
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((c for row in rows for c, cell in enumerate(row, 1) if cell), default=0)
    return tuple(tuple(row[:width]) for row in rows)


def _cell(name: str, row: int, column: int, value: object) -> str:
    """One cell as text; numbers without the noise that binary fractions bring."""
    if value is None:
        return ""
    if isinstance(value, datetime | date | time):
        raise SurveyError(
            f"{name}, row {row}, column {column}: the spreadsheet made a date of it ({value}); "
            "format the column as text and type the fraction again."
        )
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value)
