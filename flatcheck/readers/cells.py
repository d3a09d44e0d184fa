"""From a file, or text pasted from a spreadsheet, to the cells of a table, as written.

Commas, semicolons (with decimal commas) and tabs are told apart by the first line that has any.
"""

import csv
import io
import re
import zipfile
from datetime import date, datetime, time
from typing import Any

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.survey import Cells, cell_name

MOST_BYTES = 16_000_000
"""A larger file is not a survey; it is refused before it is read."""

MOST_CELLS = 2_000_000
"""A sheet that spans more cells is refused; a far cell alone can make it span billions."""

MARKS = "\t;,"
"""What may separate cells, the least likely in a text first."""


def cells_of(name: str, data: bytes) -> Cells:
    """The cells of a CSV, tab-separated or XLSX file (its first sheet), by content, not by name.

    Raises SurveyError for a file that is too large, empty, or of another kind, and for a cell that
    a spreadsheet has turned into a date.
    """
    if len(data) > MOST_BYTES:
        raise SurveyError(
            say(
                "{file} is {size}; a table of readings has at most {most}.",
                file=name,
                size=size_words(len(data)),
                most=size_words(MOST_BYTES),
            )
        )
    cells = _xlsx(name, data) if data[:4] == b"PK\x03\x04" else pasted(name, _text(name, data))
    if not cells:
        raise SurveyError(say("{file} is empty; readings were expected.", file=name))
    return cells


def pasted(name: str, text: str) -> Cells:
    """The cells of a text, blank lines at its end taken off.

    The separator is the first of tab, semicolon and comma that stands outside quotes in the first
    line that has any.
    """
    lines = re.split(r"[\r\n]+", re.sub(r'"[^"]*"', "", text))
    first = next((line for line in lines if any(mark in line for mark in MARKS)), "")
    mark = next((mark for mark in MARKS if mark in first), ",")
    rows, count = [], 0
    try:
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark):
            count += len(row) or 1
            if count > MOST_CELLS:
                raise SurveyError(
                    say("{file} spans more cells than a table of readings holds.", file=name)
                )
            rows.append(row)
    except csv.Error as error:
        raise SurveyError(
            say("{file} cannot be read as a table: {reason}.", file=name, reason=error)
        ) from None
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    return tuple(tuple(row) for row in rows)


def size_words(count: int) -> str:
    """How large a file is, as a person says it."""
    return f"{count / 1e6:,.0f} MB" if count >= 1_000_000 else f"{count / 1000:,.0f} kB"


def shown(text: str) -> str:
    """A text that a person typed, as a spreadsheet shows it and does not work it out."""
    starts = text.lstrip().startswith(tuple("=+-@＝＋－＠")) or text.startswith(("\t", "\r", "\n"))
    return f"'{text}" if starts else text


def csv_text(cells: Cells) -> str:
    """The cells as the text of a CSV file that `cells_of` reads back unchanged."""
    out = io.StringIO()
    # Cells that hold another separator or a line end would be read back as something else.
    odd = any(mark in cell for row in cells for cell in row for mark in "\t;\r\n")
    writer = (
        csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
        if odd
        else csv.writer(out, lineterminator="\n")
    )
    writer.writerows(cells)
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
    raise SurveyError(
        say("{file} is not a table of text; CSV, tab-separated or XLSX is read.", file=name)
    )


def _xlsx(name: str, data: bytes) -> Cells:
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(item.file_size for item in packed.infolist()) > 10 * MOST_BYTES:
                raise SurveyError(
                    say("{file} unpacks to far more than a table of readings holds.", file=name)
                )
        values, formulas = (
            _sheet(name, openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=only))
            for only in (True, False)
        )
    except SurveyError:
        raise
    except Exception:
        # The parsers under openpyxl raise a dozen kinds of error on damaged files.
        raise SurveyError(
            say("{file} is no spreadsheet that can be read; save it as XLSX.", file=name)
        ) from None
    rows = [
        [
            _cell(cell_name(name, r, c), value, formula)
            for c, (value, formula) in enumerate(zip(row, asked, strict=True), 1)
        ]
        for r, (row, asked) in enumerate(zip(values, formulas, strict=True), 1)
    ]
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((c for row in rows for c, cell in enumerate(row, 1) if cell), default=0)
    return tuple(tuple((row + [""] * width)[:width]) for row in rows)


def _sheet(name: str, book: Any) -> list[list[object]]:
    """The first sheet's values. What the file says of its own size is not believed."""
    sheet = book.worksheets[0]
    sheet.reset_dimensions()
    rows, count = [], 0
    for row in sheet.iter_rows(values_only=True):
        count += len(row)
        if count > MOST_CELLS:
            raise SurveyError(
                say("{file} spans more cells than a table of readings holds.", file=name)
            )
        rows.append(list(row))
    return rows


def _cell(where: str, value: object, formula: object) -> str:
    """One cell as text; numbers without the noise that binary fractions bring."""
    if value is None:
        if formula is not None:
            raise SurveyError(
                say("{cell}: the formula has no value; open and save it once more.", cell=where)
            )
        return ""
    if isinstance(value, datetime | date | time):
        raise SurveyError(
            say(
                "{cell}: the spreadsheet made a date of it ({date}); format the column as text "
                "and type the fraction again.",
                cell=where,
                date=value,
            )
        )
    if isinstance(value, float):
        return f"{value:.12f}".rstrip("0").rstrip(".") if abs(value) < 1e12 else str(value)
    return str(value)
