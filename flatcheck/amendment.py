"""Changes to the tables of a survey by hand: cells written, a table replaced, a bar laid.

Each takes the files of a survey and returns them changed. What the reader of the table cannot read
is refused, so that what is kept can always be read.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace

import tomli_w

from flatcheck.document import DOCUMENT, build
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.fields import length_of
from flatcheck.language import say
from flatcheck.readers.cells import cells_of, csv_text, pasted
from flatcheck.readers.gaps import KIND as GAPS
from flatcheck.readers.gaps import NEEDED
from flatcheck.survey import Cells, Survey, Table
from flatcheck.tables import readings_of

Files = Mapping[str, bytes]
Place = tuple[int, int]
"""A cell by its row and column, both counted from 1."""

BARS = "straightedge.csv"
"""The table that is made for the first bar that is laid."""

COLUMNS = ("bar", "x1", "y1", "x2", "y2", "at", "gap", "block")

MOST_TRIED = 500
"""Of more cells than this that cannot be read together none is taken: a block in a wrong place."""


@dataclass(frozen=True)
class Bar:
    """A straightedge where it was laid, each length as it was typed.

    Its ends are offsets east and north; a gap is how far from the start it was read, and the gap.
    `block` is the height of the two blocks it stood on, "" where it rests on the floor.
    """

    start: tuple[str, str]
    end: tuple[str, str]
    gaps: tuple[tuple[str, str], ...]
    block: str = ""


def built(files: Files) -> Survey:
    """The survey in its files, its readings not yet read. Raises FlatcheckError as `build`."""
    document = files[DOCUMENT].decode("utf-8-sig")
    tables = {name: cells_of(name, data) for name, data in files.items() if name != DOCUMENT}
    return build(document, tables)


def table_of(files: Files, name: str) -> Table:
    """One table of the survey in its files, as `table_in`. Raises FlatcheckError as `built`."""
    return table_in(built(files), files, name)


def table_in(survey: Survey, files: Files, name: str) -> Table:
    """One table, to be written in. Raises SurveyError where it is not there, or a spreadsheet."""
    found = [table for table in survey.tables if table.name == name]
    if not found:
        raise SurveyError(say("this survey has no table {table!r}.", table=name[:40]))
    if files[name].startswith(b"PK"):
        raise SurveyError(
            say(
                "{table} is a spreadsheet, into which nothing can be written here; save it as CSV.",
                table=name,
            )
        )
    return found[0]


def amended(
    files: Files, name: str, texts: Mapping[Place, str]
) -> tuple[dict[str, bytes], dict[Place, str]]:
    """The files with the cells of a table written, and why some of them were not.

    All are taken if they can be read together, else those that can be read one after the other; of
    each that cannot the sentence says why. Raises SurveyError as `table_of`.
    """
    table = table_of(files, name)
    try:
        return _kept(files, name, _with(table.cells, texts)), {}
    except FlatcheckError as error:
        if len(texts) > MOST_TRIED:
            return dict(files), dict.fromkeys(texts, str(error))
    after, refused = dict(files), {}
    for place, text in texts.items():
        try:
            cells = _with(cells_of(name, after[name]), {place: text})
            after = _kept(after, name, cells)
        except FlatcheckError as error:
            refused[place] = str(error)
    return after, refused


def replaced(files: Files, name: str, text: str) -> dict[str, bytes]:
    """The files with all cells of a table replaced by a block pasted from a spreadsheet.

    Raises SurveyError for a block that holds nothing, or that the table's reader cannot read.
    """
    table_of(files, name)
    cells = pasted(name, text)
    if not cells:
        raise SurveyError(say("nothing was pasted; cells copied from a spreadsheet were expected."))
    return _kept(files, name, cells)


def bars_of(files: Files, uncertainty: str = "") -> tuple[dict[str, bytes], Table]:
    """The table that a bar laid by hand is written in, and the files with it.

    It is made where the survey has none; `uncertainty` is then how far a gap read in it may be off,
    as typed, and that of the survey's instrument where it is blank. Raises SurveyError for a survey
    whose bars were drawn by lot, where one laid by choice has no place.
    """
    survey = built(files)
    if survey.sample:
        raise SurveyError(
            say(
                "the bars of this survey were drawn by lot; one laid by choice does not belong "
                "there."
            )
        )
    found = [table for table in survey.tables if table.kind == GAPS]
    if found:
        return dict(files), table_in(survey, files, found[0].name)
    if BARS in files:
        raise SurveyError(
            say("this survey has another table called {table}; give it another name.", table=BARS)
        )
    head = tomllib.loads(files[DOCUMENT].decode("utf-8-sig"))
    entry = {"file": BARS, "kind": GAPS}
    if uncertainty.strip():
        entry["uncertainty"] = uncertainty.strip()
    head["table"] = [*head.get("table", []), entry]
    after = {**files, DOCUMENT: tomli_w.dumps(head).encode(), BARS: csv_text((COLUMNS,)).encode()}
    return after, table_of(after, BARS)


def laid(files: Files, bar: Bar, uncertainty: str = "") -> dict[str, bytes]:
    """The files with a bar and its gaps below the bars that were laid before, as `bars_of`.

    Raises SurveyError for a bar or a gap that cannot be read.
    """
    after, table = bars_of(files, uncertainty)
    if not bar.gaps:
        raise SurveyError(
            say("no gap was written; say how far from the first end, and the gap there.")
        )
    unit = table.offset_unit
    length_of(bar.start[0], say("first end, x"), unit)
    length_of(bar.start[1], say("first end, y"), unit)
    length_of(bar.end[0], say("second end, x"), unit)
    length_of(bar.end[1], say("second end, y"), unit)
    return _kept(after, table.name, _with_bar(table.cells, bar))


def _with_bar(cells: Cells, bar: Bar) -> Cells:
    """The cells of a table of gaps with one bar more, in the columns that it has."""
    first = next((n for n, row in enumerate(cells) if any(cell.strip() for cell in row)), 0)
    header = [cell.strip().lower() for cell in cells[first]]
    asked = [*NEEDED, "x1", "y1", "x2", "y2", *(["block"] if bar.block.strip() else [])]
    header += [column for column in asked if column not in header]
    named = header.index("bar")
    taken = {row[named].strip() for row in cells[first + 1 :] if len(row) > named}
    name = next(f"B{n}" for n in range(1, len(cells) + 2) if f"B{n}" not in taken)
    ends = dict(zip(("x1", "y1", "x2", "y2"), (*bar.start, *bar.end), strict=True))
    rows = []
    for at, gap in bar.gaps:
        said = {"bar": name, "at": at, "gap": gap, "block": bar.block.strip(), **ends}
        ends = {}
        rows.append(tuple(said.get(column, "") for column in header))
    return (*cells[:first], tuple(header), *cells[first + 1 :], *rows)


def _with(cells: Cells, texts: Mapping[Place, str]) -> Cells:
    """The cells with some of them written; rows below the last are as wide as the first."""
    changed = list(map(list, cells))
    for (row, column), text in texts.items():
        while len(changed) < row:
            changed.append([""] * len(changed[0]))
        line = changed[row - 1]
        line += [""] * (column - len(line))
        line[column - 1] = text.strip()
    return tuple(map(tuple, changed))


def _kept(files: Files, name: str, cells: Cells) -> dict[str, bytes]:
    """The files with a table written anew, once its reader has understood it."""
    after = {**files, name: csv_text(cells).encode()}
    survey = built(after)
    readings_of(replace(survey, tables=(table_in(survey, after, name),)))
    return after
