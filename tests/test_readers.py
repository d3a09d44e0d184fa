"""Readers: from files and pasted text to cells, and from cells to readings."""

import io
import math
import tempfile
import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest
import tomli_w
from hypothesis import example, given, settings
from hypothesis import strategies as st

from flatcheck.document import build
from flatcheck.errors import SurveyError
from flatcheck.readers import (
    bench,
    benchmarks,
    corners,
    gaps,
    grid,
    pairs,
    points,
    steps,
    tilts,
)
from flatcheck.readers.cells import cells_of, csv_text, pasted
from flatcheck.readers.folder import bare, edited, read_folder, write_folder
from flatcheck.survey import Cells, Survey, Table
from flatcheck.tables import MOST_READINGS, kinds, readings_of

GRID: Cells = (("", "0", "500"), ("0", "10", "11"), ("500", "12", "x"))

# What people write in tables, and what breaks tables. No NUL and no byte order mark: a file that
# holds the one is no text, and the other at its start is not part of its text.
MARKS = "0123456789 .,;:/'\"′″½¼-–=+x\t\n\r|\\äμ\u2028€水"
CELL = st.text(st.sampled_from(MARKS), max_size=6) | st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufeff"), max_size=4
)
TAME = CELL.filter(lambda cell: not set("\t;\r") & set(cell))


def table_of(cells: st.SearchStrategy[str]) -> st.SearchStrategy[Cells]:
    """Tables of 1 to 4 columns whose last row is not blank: blank rows at the end are cut."""
    rows = st.lists(cells, min_size=1, max_size=4).map(tuple)
    tables = st.lists(rows, min_size=1, max_size=5).map(tuple)
    return tables.filter(lambda table: any(cell.strip() for cell in table[-1]))


def a_table(cells: Cells, kind: str = "grid", sense: str = "elevation", unit: str = "mm") -> Table:
    return Table("t.csv", kind, sense, "1", unit, unit, 0.3, cells)


def book(rows: list[list[object]]) -> bytes:
    """An XLSX file with these rows, as a spreadsheet writes it."""
    made = openpyxl.Workbook()
    sheet = made.active
    for row in rows:
        sheet.append(row)
    packed = io.BytesIO()
    made.save(packed)
    return packed.getvalue()


# Cells: text


@given(table_of(TAME))
@settings(max_examples=300, deadline=None)
def test_cells_come_back(cells: Cells) -> None:
    """Cells written as CSV and read again are the same: marks, quotes, commas, all scripts."""
    assert cells_of("t.csv", csv_text(cells).encode()) == cells


@example(((" a;b", "c"), ("1", "2")))
@given(table_of(CELL))
@settings(max_examples=300, deadline=None)
def test_all_cells_come_back(cells: Cells) -> None:
    """So are cells with semicolons, tabs and line ends of any kind in them."""
    assert cells_of("t.csv", csv_text(cells).encode()) == cells


@pytest.mark.parametrize("label", ["north; east", "n\te"])
def test_a_label_with_a_mark_in_it(label: str) -> None:
    """A corner label with a semicolon or a tab, in quotes, does not change what separates cells."""
    cells = ((label, "0", "500"), ("0", "1", "2"))
    assert cells_of("t.csv", csv_text(cells).encode()) == cells


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be with mark"])
def test_encodings(encoding: str) -> None:
    """A table is read the same from UTF-8 and UTF-16, with a byte order mark or without."""
    cells = (("½", "0″", "500"), ("0", "1", "2′ 3″"))
    text = csv_text(cells)
    data = b"\xfe\xff" + text.encode("utf-16-be") if "with" in encoding else text.encode(encoding)
    assert cells_of("t.csv", data) == cells


def test_windows_1252() -> None:
    """Bytes that are no UTF-8 are read as Windows-1252, where ½ and ’ are single bytes."""
    cells = (("", "1’", "2’"), ("1’", "47½", "47¼"))
    data = csv_text(cells).encode("cp1252")
    assert data.count(b"\xbd") == 1
    assert cells_of("t.csv", data) == cells
    assert [r.height_mm for r in grid.read(a_table(cells, unit="in"))] == [
        47.5 * 25.4,
        pytest.approx(47.25 * 25.4),
    ]


@pytest.mark.parametrize(
    "text",
    [
        ";0;500\n0;1,5;2,25\n500;3;x\n",
        "\t0\t500\n0\t1,5\t2,25\n500\t3\tx\n",
        ',0,500\n0,"1,5","2,25"\n500,3,x\n',
        ',0,500\r\n0,1.5,2.25\r\n500,"3",x\r\n\r\n,,\r\n',
        "\n\n;0;500\n0;1.5;2.25\n\n500;3;\n",
    ],
    ids=["semicolons", "tabs", "commas", "line ends", "blank lines"],
)
def test_separators(text: str) -> None:
    """Semicolons with decimal commas, tabs and commas give the same readings."""
    readings = grid.read(a_table(pasted("pasted", text)))
    assert [(r.x_mm, r.y_mm, r.height_mm) for r in readings] == [
        (0, 0, 1.5),
        (500, 0, 2.25),
        (0, 500, 3),
    ]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"\n \n,,\n", "is empty"),
        (b"\xff\xfea", "is not a table of text"),
        (b",0\n0,\x00\n", "is not a table of text"),
        (b",0\n0,\x81\n", "is not a table of text"),
    ],
)
def test_what_is_no_text(data: bytes, said: str) -> None:
    """Data that is empty or no text is refused by the name of the file."""
    with pytest.raises(SurveyError, match=rf"^t\.csv {said}"):
        cells_of("t.csv", data)


def test_line_ends_of_an_old_macintosh() -> None:
    """Rows that end in a carriage return alone, as one kind of CSV has them, are rows."""
    assert cells_of("t.csv", b",0,500\r0,1,2\r") == (("", "0", "500"), ("0", "1", "2"))


def test_a_title_above_the_table() -> None:
    """The first line that has any mark tells the separator, not a title above it."""
    assert pasted("t", "Kitchen\n;0;500\n0;1,5;2\n")[1] == ("", "0", "500")


# Cells: spreadsheets


def test_spreadsheet() -> None:
    """An XLSX file gives the cells a person sees: text as typed, numbers without noise."""
    rows = [["n\\e", 0, 0.1 + 0.2, "1' 3\""], ['6"', 47.5, "47 9/16", 1 / 3], [500, None, "x", -2]]
    assert cells_of("t.xlsx", book(rows)) == (
        ("n\\e", "0", "0.3", "1' 3\""),
        ('6"', "47.5", "47 9/16", "0.333333333333"),
        ("500", "", "x", "-2"),
    )


def test_spreadsheet_by_content() -> None:
    """An XLSX file is known by what it holds, whatever it is called; a CSV called XLSX too."""
    rows: list[list[object]] = [["", 0, 500], [0, 1, 2]]
    assert cells_of("t.csv", book(rows)) == cells_of("t.xlsx", b",0,500\n0,1,2\n")


def test_blank_rim_of_a_spreadsheet() -> None:
    """Blank rows and columns around the table are cut on the far sides."""
    rows: list[list[object]] = [["", 0, "", ""], [0, 1, None, ""], ["", "", "", ""], [None] * 4]
    assert cells_of("t.xlsx", book(rows)) == (("", "0"), ("0", "1"))


def test_a_fraction_turned_into_a_date() -> None:
    """A fraction that the spreadsheet took for a date is refused with its row and column."""
    with pytest.raises(SurveyError, match=r"^t\.xlsx, row 2, cell C2: .*made a date of it"):
        cells_of("t.xlsx", book([["", 0, 500], [0, "1/2", date(2026, 3, 16)]]))


@pytest.mark.parametrize("rows", [[], [["", None]]])
def test_empty_spreadsheet(rows: list[list[object]]) -> None:
    """A spreadsheet without cells is refused."""
    with pytest.raises(SurveyError, match=r"^t\.xlsx is empty"):
        cells_of("t.xlsx", book(rows))


def test_a_formula_without_a_value() -> None:
    """A formula whose value the file does not hold is refused by its cell, not left unread."""
    with pytest.raises(SurveyError, match="row 2"):
        cells_of("t.xlsx", book([["", 0, 500], [0, 1, "=B2+1"]]))


# Grids


def test_grid_is_read_row_by_row() -> None:
    """Readings come row by row with their place, cell and text; blanks and x are left out."""
    cells = (("n\\e", "0", "1' 6\""), ("250", " 3/16 in ", "X"), ("", "", ""), ("500", "", "-2"))
    first, last = grid.read(a_table(cells, sense="rod"))
    assert (first.x_mm, first.y_mm, first.height_mm) == (0, 250, pytest.approx(-3 / 16 * 25.4))
    assert (first.where, first.text) == ("t.csv, row 2, cell B2", "3/16 in")
    assert (last.x_mm, last.y_mm, last.height_mm) == (pytest.approx(18 * 25.4), 500, 2)
    assert (last.where, last.u_mm, last.setup) == ("t.csv, row 4, cell C4", 0.3, first.setup)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ((("", "0"), ("0", "high")), r"row 2, cell B2: 'high' cannot be read"),
        ((("", "0"), ("a", "1")), r"row 2, cell A2: 'a' cannot be read"),
        ((("", "east"), ("0", "1")), r"row 1, cell B1: 'east' cannot be read"),
        ((("", "0", ""), ("0", "1", "")), r"row 1, cell C1: '' cannot be read"),
        ((("", "0", "500"), ("0", "1")), "row 2: 2 cells where the first row has 3"),
        ((("", "0", "500"), ("0", "1", "2", "3")), "row 2: 4 cells where the first row has 3"),
        ((("", "0", "0"), ("0", "1", "2")), "row 1, cell C1: the offset '0' stands there twice"),
        ((("", "0"), ("5", "1"), ("5.0", "1")), "row 3, cell A3: the offset '5.0' stands there"),
        ((("", "0", "500"),), "is no grid"),
        ((("0",), ("1",)), "is no grid"),
        ((("", "0"), ("0", "x")), "holds no readings"),
        ((("", ""), (" ",)), "is empty"),
    ],
)
def test_what_is_no_grid(cells: Cells, said: str) -> None:
    """What cannot be read in a grid is named by its row and cell."""
    with pytest.raises(SurveyError, match=rf"^t\.csv[:,]? {said}"):
        grid.read(a_table(cells))


# Points


def test_points_are_read_in_order() -> None:
    """Points have named columns in any order; setup and note may be left out or blank."""
    cells = (
        ("Note", "reading", " Y ", "x", "setup"),
        ("by the door", "12", "250", "1000", "B"),
        ("", "", "", "", ""),
        ("", "13", "500", "0", ""),
        ("", "14", "500", "500"),
    )
    found = points.read(a_table(cells, "points", "rod"))
    assert [(r.x_mm, r.y_mm, r.height_mm) for r in found] == [
        (1000, 250, -12),
        (0, 500, -13),
        (500, 500, -14),
    ]
    assert [r.where for r in found] == [f"t.csv, row {n}, cell B{n}" for n in (2, 4, 5)]
    assert found[0].setup != found[1].setup == found[2].setup


def test_points_without_a_setup_stand_on_that_of_the_table() -> None:
    """A blank setup is the table's own, the same as when it is written out."""
    cells = (("x", "y", "reading", "setup"), ("0", "0", "1", ""), ("9", "0", "1", "1"))
    assert len({r.setup for r in points.read(a_table(cells, "points"))}) == 1


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ((("x", "y", "reading"), ("0", "0", "?")), r"row 2, cell C2: '\?' cannot be read"),
        ((("x", "y", "reading"), ("0", "0")), "holds no readings"),
        ((("x", "y", "reading"), ("0", "q", "1")), "row 2, cell B2: 'q' cannot be read"),
        ((("x", "y"), ("0", "0")), "row 1: the column 'reading' is missing"),
        ((("x", "y", "height"), ("0", "0", "1")), "row 1, cell C1: 'height' is not a column"),
        ((("x", "y", "X", "reading"),), "row 1, cell C1: the column 'x' stands there twice"),
        ((("x", "y", "reading"), ("0", "0", "1", "2")), "row 2: 4 cells under 3 columns"),
        ((("x", "y", "reading"),), "holds no readings"),
        ((("",),), "is empty"),
    ],
)
def test_what_is_no_list_of_points(cells: Cells, said: str) -> None:
    """What cannot be read in a list of points is named by its row and cell."""
    with pytest.raises(SurveyError, match=rf"^t\.csv[:,]? {said}"):
        points.read(a_table(cells, "points"))


@pytest.mark.parametrize("kind", ["points", "corners", "grid"])
def test_heights_need_a_sense(kind: str) -> None:
    """Whether a larger reading is lower or higher is never guessed: the table must say it."""
    cells = {"points": POINTS, "corners": CORNERS, "grid": GRID}[kind]
    options = (("east", "400"), ("north", "300")) if kind == "corners" else ()
    table = replace(a_table(cells, kind, sense=""), options=options)
    with pytest.raises(SurveyError, match=r"^table t\.csv: sense = nothing was expected to be"):
        kinds()[kind].read(table)


POINTS: Cells = (("x", "y", "reading"), ("0", "0", "1"))


# Gaps under a bar

GAPS: Cells = (
    ("bar", "x1", "y1", "x2", "y2", "at", "gap", "block", "note"),
    ("a", "100", "200", "1300", "1800", "0", "2", "", "tight"),
    ("a", "", "", "", "", "500", "1/8 in", "", ""),
    ("b", "0", "0", "0", "2000", "500", "23", "20", ""),
    ("a", "", "", "", "", "2000", "0", "", ""),
)


def test_gaps_are_read_in_order() -> None:
    """A placement's ends stand on its first row; its gaps come with their place along the bar."""
    first, second, on_blocks, last = gaps.read(a_table(GAPS, "gaps", sense=""))
    assert (first.start, first.end) == ((100, 200), (1300, 1800))
    assert {(g.start, g.end, g.placement) for g in (first, second, last)} == {
        (first.start, first.end, "t.csv a")
    }
    assert [g.along_mm for g in (first, second, last)] == [0, 500, 2000]
    assert [g.gap_mm for g in (first, second, last)] == [2, pytest.approx(25.4 / 8), 0]
    assert (on_blocks.gap_mm, on_blocks.block_mm, first.block_mm) == (3, 20, None)
    assert (second.where, second.text, second.u_mm) == ("t.csv, row 3, cell G3", "1/8 in", 0.3)
    assert on_blocks.placement == "t.csv b"


@pytest.mark.parametrize(
    ("toward", "end"),
    [
        ("north", (100, 2200)),
        ("east", (2100, 200)),
        ("South", (100, -1800)),
        ("270", (-1900, 200)),
        ("north-east", (100 + 2000 * 0.5**0.5, 200 + 2000 * 0.5**0.5)),
        ("30°", (1100, 200 + 2000 * 0.75**0.5)),
    ],
)
def test_a_bar_by_the_way_it_points(toward: str, end: tuple[float, float]) -> None:
    """A bar may be given by its start, a compass side or degrees from north, and its length."""
    head = ("bar", "x1", "y1", "toward", "length", "at", "gap")
    cells = (head, ("1", "100", "200", toward, "2 m", "0", "1"), ("1", "", "", "", "", "9", "2"))
    for seen in gaps.read(a_table(cells, "gaps")):
        assert seen.start == (100, 200)
        assert seen.end == pytest.approx(end)


def test_units_of_a_table_of_gaps() -> None:
    """Bare places are in the unit of offsets, bare gaps and blocks in that of readings."""
    cells = (
        ("bar", "x1", "y1", "x2", "y2", "at", "gap", "block"),
        ("1", "1", "2", "9", "2", "4", "7/8", "3/4"),
    )
    table = Table("t.csv", "gaps", "", "1", "in", "ft", 0.3, cells)
    (seen,) = gaps.read(table)
    assert (*seen.start, *seen.end) == pytest.approx((304.8, 2 * 304.8, 9 * 304.8, 2 * 304.8))
    assert (seen.along_mm, seen.block_mm) == pytest.approx((4 * 304.8, 0.75 * 25.4))
    assert seen.gap_mm == pytest.approx(25.4 / 8)


def test_the_feet_of_a_bar_say_nothing() -> None:
    """At a foot the gap is the block: it is checked, and is no reading of the floor."""
    head = ("bar", "x1", "y1", "x2", "y2", "at", "gap", "block")
    feet = (head, ("1", "0", "0", "900", "0", "0", "20.4", "20"))
    feet += (("1", "", "", "", "", "300", "22", "20"), ("1", "", "", "", "", "900.5", "20", "20"))
    assert [(g.along_mm, g.gap_mm) for g in gaps.read(a_table(feet, "gaps"))] == [(300, 2)]
    with pytest.raises(SurveyError, match=r"^t\.csv holds no gaps between the feet"):
        gaps.read(a_table(feet[:2], "gaps"))
    wrong = (*feet[:2], ("1", "", "", "", "", "900", "22", "20"))
    with pytest.raises(SurveyError, match=r"^t\.csv, row 3, cell G3: at its foot the bar is as"):
        gaps.read(a_table(wrong, "gaps"))


def test_a_tape_is_no_better_than_a_millimeter() -> None:
    """A place a hair beyond the end of the bar is at its end."""
    head = ("bar", "x1", "y1", "x2", "y2", "at", "gap")
    rows = [("1", "0", "0", "900", "0", at, "1") for at in ("-0.9", "900.9")]
    assert [g.along_mm for g in gaps.read(a_table((head, *rows), "gaps"))] == [0, 900]


def changed(cells: Cells, row: int, column: str, text: str) -> Cells:
    """The cells with one of them written otherwise; rows count from 1, the header's."""
    at = cells[0].index(column)
    rows = [list(r) for r in cells]
    rows[row - 1][at] = text
    return tuple(map(tuple, rows))


@pytest.mark.parametrize(
    ("row", "column", "text", "said"),
    [
        (2, "bar", "", "row 2, cell A2: the bar has no name; rows of one placement share a name."),
        (4, "bar", "a", "row 4, cell A4: the bar 'a' was laid elsewhere above; give it another"),
        (4, "x1", "?", "row 4, cell B4: '?' cannot be read"),
        (4, "y2", "", "row 4, cell E4: '' cannot be read"),
        (4, "y2", "0.5", "row 4, cell A4: both ends of the bar 'b' are at one place."),
        (3, "bar", "c", "row 3, cell A3: the bar 'c' has no ends yet; write x1, y1, x2 and y2."),
        (3, "at", "2001.1", "row 3, cell F3: '2001.1' is off the bar, which is 2.00 m long."),
        (3, "at", "-1.1", "row 3, cell F3: '-1.1' is off the bar"),
        (3, "at", "7'", 'row 3, cell F3: "7\'" is off the bar, which is 6\' 6 3/4" long.'),
        (3, "at", "", "row 3, cell F3: '' cannot be read"),
        (3, "gap", "2001", "row 3, cell G3: the gap '2001' is longer than the bar."),
        (3, "gap", "-1", "row 3, cell G3: '-1' is below zero; the floor is never above the bar."),
        (3, "gap", "tight", "row 3, cell G3: 'tight' cannot be read"),
        (4, "block", "one", "row 4, cell H4: 'one' cannot be read"),
        (1, "gap", "depth", "row 1, cell G1: 'depth' is not a column of a table of gaps"),
        (1, "x2", "x1", "row 1, cell D1: the column 'x1' stands there twice"),
        (1, "at", "", "row 1: the column 'at' is missing"),
    ],
)
def test_what_is_no_table_of_gaps(row: int, column: str, text: str, said: str) -> None:
    """What cannot be a gap under a bar is named by its row and cell, in one sentence."""
    with pytest.raises(SurveyError) as caught:
        gaps.read(a_table(changed(GAPS, row, column, text), "gaps"))
    assert str(caught.value).startswith(f"t.csv, {said}")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("toward", "length", "said"),
    [
        ("drain", "2000", "row 2, cell D2: 'drain' was expected as a side such as"),
        ("", "2000", "row 2, cell D2: '' was expected as a side such as"),
        ("400", "2000", "row 2, cell D2: '400' was expected as a side such as"),
        ("north", "", "row 2, cell E2: '' cannot be read"),
        ("north", "1", "row 2, cell A2: both ends of the bar '1' are at one place"),
    ],
)
def test_a_bar_that_points_nowhere(toward: str, length: str, said: str) -> None:
    """A way that is none, or a bar without a length, is named by its cell."""
    head = ("bar", "x1", "y1", "toward", "length", "at", "gap")
    with pytest.raises(SurveyError) as caught:
        gaps.read(a_table((head, ("1", "0", "0", toward, length, "0", "1")), "gaps"))
    assert str(caught.value).startswith(f"t.csv, {said}")


@pytest.mark.parametrize(
    ("x2", "y2", "said"),
    [
        ("0", "900", "row 2, cell D2: '0' gives the far end of the bar a second time"),
        ("", "900", "row 2, cell E2: '900' gives the far end of the bar a second time"),
    ],
)
def test_a_bar_with_two_far_ends(x2: str, y2: str, said: str) -> None:
    """A bar whose far end is given in two ways, in part or in full, is refused by its cell."""
    head = ("bar", "x1", "y1", "x2", "y2", "toward", "length", "at", "gap")
    with pytest.raises(SurveyError, match=rf"^t\.csv, {said}"):
        gaps.read(a_table((head, ("1", "0", "0", x2, y2, "east", "900", "0", "1")), "gaps"))


@pytest.mark.parametrize(
    ("length", "block", "said"),
    [
        ("-2000", "20", "cell E2: a bar was expected to have a length larger than zero"),
        ("0", "20", "cell E2: a bar was expected to have a length larger than zero"),
        ("2000", "-20", "cell H2: '-20' is no height of a block"),
        ("2000", "0", "cell H2: '0' is no height of a block"),
    ],
)
def test_what_is_less_than_nothing(length: str, block: str, said: str) -> None:
    """A bar or a block of no length, or of less, is refused by its cell."""
    head = ("bar", "x1", "y1", "toward", "length", "at", "gap", "block")
    cells = (head, ("1", "0", "0", "north", length, "500", "22", block))
    with pytest.raises(SurveyError, match=rf"^t\.csv, row 2, {said}"):
        gaps.read(a_table(cells, "gaps"))


@pytest.mark.parametrize("blocks", [("20", ""), ("", "20"), ("20", "25")])
@pytest.mark.parametrize("ends", [[""] * 4, ["0", "0", "900", "0"]])
def test_a_bar_half_on_blocks(blocks: tuple[str, str], ends: list[str]) -> None:
    """A placement stands on equal blocks in all its rows or in none; another is refused."""
    head = ("bar", "x1", "y1", "x2", "y2", "at", "gap", "block")
    first, second = blocks
    cells = (
        head,
        ("1", "0", "0", "900", "0", "300", "22", first),
        ("1", *ends, "600", "23", second),
    )
    with pytest.raises(SurveyError, match=r"^t\.csv, row 3, cell H3: the bar '1' stands on two eq"):
        gaps.read(a_table(cells, "gaps"))


@pytest.mark.parametrize("bow", ["11 mm", "-0.5 in", "1 ft"])
def test_a_bow_that_is_none(bow: str) -> None:
    """An arch that no straightedge has, such as one in another unit, is refused by its key."""
    table = replace(a_table(GAPS, "gaps"), options=(("bow", bow),))
    with pytest.raises(SurveyError, match=r"^table t\.csv: bow was expected to be the arch"):
        gaps.read(table)


@pytest.mark.parametrize("bow", [True, ["1"], "bent"])
def test_a_bow_that_is_no_length(bow: object) -> None:
    """So is one that is no length."""
    with pytest.raises(SurveyError, match=r"^table t\.csv: bow"):
        gaps.read(replace(a_table(GAPS, "gaps"), options=(("bow", bow),)))


# Tilts

TILTS: Cells = (
    ("x", "y", "toward", "reading", "length", "note"),
    ("100", "200", "east", "0.5", "", "by the door"),
    ("100", "200", "0", "-1:80", "1.2 m", ""),
    ("0", "0", "south-west", "1/4 in per ft", "", ""),
)


def tilt_table(cells: Cells = TILTS, **options: object) -> Table:
    given = {"slope": "deg", "length": "600 mm", "tilt_uncertainty": "0.1 deg"} | options
    kept = tuple((key, value) for key, value in given.items() if value is not None)
    return replace(a_table(cells, "tilts", sense=""), options=kept)


def test_tilts_are_rises_over_the_level() -> None:
    """A tilt is how much higher the floor is at the level's far end: slope times length."""
    east, north, diagonal = tilts.read(tilt_table())
    assert (east.start, east.end) == ((100, 200), pytest.approx((700, 200)))
    assert east.rise_mm == pytest.approx(600 * math.tan(math.radians(0.5)))
    assert east.u_mm == pytest.approx(600 * math.tan(math.radians(0.1)))
    assert (north.end, north.rise_mm) == (pytest.approx((100, 1400)), pytest.approx(-15))
    assert north.u_mm == pytest.approx(2 * east.u_mm)
    assert diagonal.end == pytest.approx((-600 * 0.5**0.5, -600 * 0.5**0.5))
    assert diagonal.rise_mm == pytest.approx(600 / 48)
    assert (east.where, east.text) == ("t.csv, row 2, cell D2", "0.5")


@pytest.mark.parametrize(
    ("slope", "reading", "ratio"),
    [("deg", "45", 1), ("%", "2", 0.02), ("mm/m", "10", 0.01), ("in/ft", "1/4", 1 / 48)],
)
def test_units_of_a_tilt(slope: str, reading: str, ratio: float) -> None:
    """Bare tilts are in the slope unit of their table."""
    cells = (("x", "y", "toward", "reading"), ("0", "0", "north", reading))
    (seen,) = tilts.read(tilt_table(cells, slope=slope, tilt_uncertainty="1 mm/m"))
    assert seen.rise_mm == pytest.approx(600 * ratio)
    assert seen.u_mm == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"slope": None}, "slope = nothing was expected to be one of %, ratio, in/ft, mm/m, deg."),
        ({"slope": "grad"}, "slope = 'grad' was expected to be one of"),
        ({"slope": ["deg"]}, "slope = ['deg'] was expected to be one of"),
        ({"tilt_uncertainty": None}, "tilt_uncertainty is missing; say it as"),
        ({"tilt_uncertainty": "good"}, "tilt_uncertainty: 'good' cannot be read"),
        ({"tilt_uncertainty": "0 deg"}, "tilt_uncertainty must be larger than zero."),
        ({"tilt_uncertainty": "-1 deg"}, "tilt_uncertainty must be larger than zero."),
        ({"length": "long"}, "length: 'long' cannot be read"),
        ({"length": True}, "length = True was expected to be a length."),
        ({"length": "-600 mm"}, "length: a level was expected to have a length between 50 mm and"),
        ({"length": "24 ft"}, "length: a level was expected to have a length between 50 mm and"),
    ],
)
def test_what_a_table_of_tilts_must_say(options: dict[str, object], said: str) -> None:
    """A slope unit, an uncertainty or a length that is missing or none is named by the table."""
    with pytest.raises(SurveyError) as caught:
        tilts.read(tilt_table(**options))
    assert str(caught.value).startswith(f"table t.csv: {said}")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("row", "column", "text", "said"),
    [
        (2, "toward", "", "row 2, cell C2: '' was expected as a side such as"),
        (2, "toward", "uphill", "row 2, cell C2: 'uphill' was expected as a side such as"),
        (2, "reading", "flat", "row 2, cell D2: 'flat' cannot be read"),
        (2, "reading", "90", "row 2, cell D2: '90' cannot be read"),
        (3, "length", "?", "row 3, cell E3: '?' cannot be read"),
        (3, "length", "0.5", "row 3, cell E3: a level was expected to have a length between 50 mm"),
        (3, "length", "-600", "row 3, cell E3: a level was expected to have a length between"),
        (3, "length", "24 ft", "row 3, cell E3: a level was expected to have a length between"),
        (2, "x", "", "row 2, cell A2: '' cannot be read"),
        (1, "reading", "tilt", "row 1, cell D1: 'tilt' is not a column of a table of tilts"),
    ],
)
def test_what_is_no_table_of_tilts(row: int, column: str, text: str, said: str) -> None:
    """What cannot be a tilt is named by its row and cell, in one sentence."""
    with pytest.raises(SurveyError) as caught:
        tilts.read(tilt_table(changed(TILTS, row, column, text)))
    assert str(caught.value).startswith(f"t.csv, {said}")
    assert str(caught.value).endswith(".")


def test_a_level_of_no_known_length() -> None:
    """A level whose length neither the table nor the row says is named by the row."""
    with pytest.raises(SurveyError, match=r"^t\.csv, row 2, cell D2: the length of the level is m"):
        tilts.read(tilt_table(length=None))


def test_a_bare_length_of_the_level() -> None:
    """A bare length is in the unit of offsets in the table's entry as in its rows."""
    one, other = (("x", "y", "toward", "reading", "length"), ("0", "0", "east", "1", "2"))
    by_row = replace(tilt_table((one, other)), offset_unit="ft")
    by_table = replace(tilt_table((one, (*other[:4], "")), length=2), offset_unit="ft")
    assert tilts.read(by_table) == tilts.read(by_row)


# Corners of tiles

CORNERS: Cells = (
    ("tile", "x", "y", "sw", "se", "ne", "nw", "setup", "note"),
    ("A1", "5", "5", "1", "2", "3", "4", "", ""),
    ("A2", "408", "5", "5", "", "7", "", "B", "half"),
)


def corner_table(cells: Cells = CORNERS, **options: object) -> Table:
    given = {"east": "400", "north": "300 mm"} | options
    kept = tuple((key, value) for key, value in given.items() if value is not None)
    return replace(a_table(cells, "corners", "rod"), options=kept)


def test_corners_are_heights_around_a_tile() -> None:
    """A tile's readings stand at its corners, from the south-west one; blanks were not read."""
    found = corners.read(corner_table())
    assert [(r.x_mm, r.y_mm, r.height_mm) for r in found] == [
        (5, 5, -1),
        (405, 5, -2),
        (405, 305, -3),
        (5, 305, -4),
        (408, 5, -5),
        (808, 305, -7),
    ]
    assert [r.where.rsplit(" ", 1)[1] for r in found] == ["D2", "E2", "F2", "G2", "D3", "F3"]
    assert {r.setup for r in found[:4]} == {"rod 1"}
    assert {r.setup for r in found[4:]} == {"rod B"}
    assert [r.text for r in found] == ["1", "2", "3", "4", "5", "7"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"east": None}, "table t.csv: east, the tile's size that way, is missing."),
        ({"north": None}, "table t.csv: north, the tile's size that way, is missing."),
        ({"east": ["400"]}, "table t.csv: east = ['400'] was expected to be a length."),
        ({"north": "tall"}, "table t.csv: north: 'tall' cannot be read"),
        ({"east": "0"}, "table t.csv: east must be larger than zero."),
        ({"north": "-300"}, "table t.csv: north must be larger than zero."),
    ],
)
def test_what_a_table_of_corners_must_say(options: dict[str, object], said: str) -> None:
    """The size of the tile is needed both ways, and named where it is none."""
    with pytest.raises(SurveyError) as caught:
        corners.read(corner_table(**options))
    assert str(caught.value).startswith(said)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("row", "column", "text", "said"),
    [
        (2, "sw", "low", "t.csv, row 2, cell D2: 'low' cannot be read"),
        (2, "y", "", "t.csv, row 2, cell C2: '' cannot be read"),
        (1, "nw", "no", "t.csv, row 1, cell G1: 'no' is not a column of a table of tile corners"),
    ],
)
def test_what_is_no_table_of_corners(row: int, column: str, text: str, said: str) -> None:
    """What cannot be a corner's height is named by its row and cell."""
    with pytest.raises(SurveyError) as caught:
        corners.read(corner_table(changed(CORNERS, row, column, text)))
    assert str(caught.value).startswith(said)


def test_tiles_without_a_reading() -> None:
    """Tiles of which no corner was read are no readings."""
    cells = (CORNERS[0], ("A1", "5", "5", "", " ", "", "", "", ""))
    with pytest.raises(SurveyError, match=r"^t\.csv holds no readings"):
        corners.read(corner_table(cells))


# Benchmarks

MARKS: Cells = (
    ("x", "y", "height", "uncertainty", "note"),
    ("5", "6", "100", "0.3", "door sill"),
    ("900", "0", "4 in", "", ""),
)


def test_benchmarks_are_known_heights() -> None:
    """A benchmark's height is larger where it is higher; without an uncertainty it is exact."""
    sill, nail = benchmarks.read(a_table(MARKS, "benchmarks", sense=""))
    assert (sill.x_mm, sill.y_mm, sill.height_mm, sill.u_mm) == (5, 6, 100, 0.3)
    assert (nail.height_mm, nail.u_mm) == (pytest.approx(101.6), 0)
    assert (sill.where, sill.text) == ("t.csv, row 2, cell C2", "100")
    assert benchmarks.read(a_table(MARKS, "benchmarks", sense="rod")) == (sill, nail)


def test_uncertainty_of_a_table_of_benchmarks() -> None:
    """An uncertainty in the entry of a table holds for its benchmarks, but for a row's own."""
    head = tomllib.loads(survey_of("t.csv").document)
    head["table"] = [{"file": "t.csv", "kind": "benchmarks", "uncertainty": "0.5 mm"}]
    cells = (("x", "y", "height", "uncertainty"), ("0", "0", "100", ""), ("9", "0", "100", "0"))
    found = readings_of(build(tomli_w.dumps(head), {"t.csv": cells}))
    assert [seen.u_mm for seen in found] == [0.5, 0]
    del head["table"][0]["uncertainty"]
    found = readings_of(build(tomli_w.dumps(head), {"t.csv": cells}))
    assert [seen.u_mm for seen in found] == [0, 0]  # that of the instrument is none of theirs


@pytest.mark.parametrize("key", ["uncertainty", "reads_to"])
def test_uncertainty_of_a_table_of_tilts(key: str) -> None:
    """A length is no uncertainty of a level: where a table of tilts gives one it is refused."""
    head = tomllib.loads(survey_of("t.csv").document)
    options = dict(tilt_table().options)
    head["table"] = [{"file": "t.csv", "kind": "tilts", key: "0.5 mm"} | options]
    with pytest.raises(SurveyError, match=r"^table t\.csv: .* by tilt_uncertainty, not by"):
        readings_of(build(tomli_w.dumps(head), {"t.csv": TILTS}))


@pytest.mark.parametrize(
    ("row", "column", "text", "said"),
    [
        (2, "uncertainty", "-0.3", "row 2, cell D2: an uncertainty must not be negative."),
        (2, "uncertainty", "small", "row 2, cell D2: 'small' cannot be read"),
        (2, "height", "", "row 2, cell C2: '' cannot be read"),
        (3, "x", "?", "row 3, cell A3: '?' cannot be read"),
        (1, "height", "z", "row 1, cell C1: 'z' is not a column of a table of benchmarks"),
    ],
)
def test_what_is_no_table_of_benchmarks(row: int, column: str, text: str, said: str) -> None:
    """What cannot be a known height is named by its row and cell."""
    with pytest.raises(SurveyError) as caught:
        benchmarks.read(a_table(changed(MARKS, row, column, text), "benchmarks"))
    assert str(caught.value).startswith(f"t.csv, {said}")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("kind", "cells"),
    [("gaps", GAPS), ("tilts", TILTS), ("corners", CORNERS), ("benchmarks", MARKS)],
)
def test_tables_with_columns_and_no_rows(kind: str, cells: Cells) -> None:
    """A table of a header alone, or of nothing, holds no readings."""
    table = tilt_table() if kind == "tilts" else corner_table()
    table = replace(
        table, kind=kind, options=() if kind in ("gaps", "benchmarks") else table.options
    )
    for rows, said in ((cells[:1], "holds no readings"), ((), "is empty")):
        with pytest.raises(SurveyError, match=rf"^t\.csv {said}"):
            kinds()[kind].read(replace(table, cells=rows))


@pytest.mark.parametrize("kind", ["benchmarks", "gaps", "grid", "points"])
@pytest.mark.parametrize("key", ["slope", "east", "lenght"])
def test_keys_of_another_kind(kind: str, key: str) -> None:
    """A table's entry may hold the keys of its own kind only; others are named with those known."""
    head = tomllib.loads(survey_of("t.csv").document)
    head["table"][0] |= {"kind": kind, key: "1"}
    cells = {"benchmarks": MARKS, "gaps": GAPS, "grid": GRID, "points": POINTS}[kind]
    with pytest.raises(
        SurveyError, match=rf"^table t\.csv: '{key}' is not known here; known are f"
    ):
        readings_of(build(tomli_w.dumps(head), {"t.csv": cells}))


def test_a_table_stands_by_itself() -> None:
    """Without a setup of its own a table is a setup, called as its file."""
    head = tomllib.loads(survey_of("t.csv").document)
    head["table"].append({"file": "p.csv", "kind": "points", "sense": "rod"})
    found = readings_of(build(tomli_w.dumps(head), {"t.csv": GRID, "p.csv": POINTS}))
    assert [r.setup for r in found] == ["rod t.csv"] * 3 + ["rod p.csv"]
    for table in head["table"]:
        table["setup"] = 1
    joined = readings_of(build(tomli_w.dumps(head), {"t.csv": GRID, "p.csv": POINTS}))
    assert {r.setup for r in joined} == {"rod 1"}


# Folders and bare tables


def test_a_bare_table_is_a_survey() -> None:
    """A table without a document, with what must be known, is a survey like any other."""
    survey = bare(
        "kitchen",
        GRID,
        kind="grid",
        sense="rod",
        readings="in",
        offsets="cm",
        uncertainty="1/32 in",
        sections={"tile": {"length": "12 in", "width": "24 in"}, "units": {"show": "in/64"}},
    )
    assert build(survey.document, {"kitchen": GRID}) == survey
    assert (survey.title, survey.tables[0].u_mm) == ("kitchen", pytest.approx(25.4 / 32))
    assert [r.height_mm for r in readings_of(survey)] == pytest.approx(
        [-25.4 * v for v in (10, 11, 12)]
    )


@given(table_of(TAME), TAME)
@settings(max_examples=60, deadline=None)
def test_folders_come_back(cells: Cells, note: str) -> None:
    """A survey written and read again is the same survey, whatever stands in its notes."""
    named = (
        ("x", "y", "reading", "note"),
        *((str(n), "0", "1 1/2 in", row[0]) for n, row in enumerate(cells)),
    )
    survey = bare(
        "t",
        named,
        kind="points",
        sense="rod",
        readings="mm",
        offsets="mm",
        uncertainty="1",
        sections={"survey": {"notes": note}},
    )
    with tempfile.TemporaryDirectory() as folder:
        write_folder(survey, Path(folder) / "new")
        assert read_folder(Path(folder) / "new") == survey


def test_a_folder_with_a_spreadsheet(tmp_path: Path) -> None:
    """A table may be an XLSX file; such a survey is read, and refused when it is to be written."""
    document = survey_of("t.xlsx").document
    (tmp_path / "survey.toml").write_text(document)
    (tmp_path / "t.xlsx").write_bytes(book([["", 0, 500], [0, 10, 11], [500, 12, "x"]]))
    survey = read_folder(tmp_path)
    assert survey.tables[0].cells == GRID
    with pytest.raises(SurveyError, match=r"t\.xlsx: only text tables are written"):
        write_folder(survey, tmp_path / "copy")
    assert not (tmp_path / "copy").exists()


def survey_of(file: str) -> Survey:
    document = bare(
        "t.csv", GRID, kind="grid", sense="rod", readings="mm", offsets="mm", uncertainty="1"
    ).document
    return build(document.replace("t.csv", file), {file: GRID})


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("../t.csv", "table '../t.csv': a table is a file in the survey's own folder"),
        ("/etc/hostname", "table '/etc/hostname': a table is a file in the survey's own folder"),
        ("sub/t.csv", "table 'sub/t.csv': a table is a file in the survey's own folder"),
        (r"..\t.csv", r"t.csv': a table is a file in the survey's own folder"),
        (".", "table '.': a table is a file in the survey's own folder"),
        ("", "table '': a table is a file in the survey's own folder"),
        ("..", ".. cannot be read: Is a directory"),
    ],
)
def test_tables_lie_in_the_folder(name: str, said: str, tmp_path: Path) -> None:
    """A table outside the survey's own folder is refused by its name, and not read."""
    (tmp_path / "t.csv").write_text(csv_text(GRID))
    folder = tmp_path / "survey"
    folder.mkdir()
    document = survey_of("t.csv").document.replace('"t.csv"', f"'{name}'")
    (folder / "survey.toml").write_text(document)
    with pytest.raises(SurveyError) as caught:
        read_folder(folder)
    assert said in str(caught.value)


def test_nothing_is_written_outside_the_folder(tmp_path: Path) -> None:
    """A table whose name leads out of the folder is refused when the survey is written."""
    with pytest.raises(SurveyError, match="own folder"):
        write_folder(survey_of("../t.csv"), tmp_path / "survey")
    assert not (tmp_path / "t.csv").exists()


def test_a_file_name_with_a_nul(tmp_path: Path) -> None:
    """A table whose name no file can have is refused by its name."""
    document = survey_of("t.csv").document.replace("t.csv", "t\\u0000.csv")
    (tmp_path / "survey.toml").write_text(document)
    with pytest.raises(SurveyError, match="t"):
        read_folder(tmp_path)


@pytest.mark.parametrize("missing", ["survey.toml", "t.csv"])
def test_a_file_that_is_missing(missing: str, tmp_path: Path) -> None:
    """A survey without its document, or without a table it names, is refused by the file."""
    write_folder(survey_of("t.csv"), tmp_path)
    (tmp_path / missing).unlink()
    with pytest.raises(SurveyError, match=rf"{missing} cannot be read: No such file"):
        read_folder(tmp_path)


def test_an_edit_is_checked() -> None:
    """An edit that cannot be used is refused as it would be in a file."""
    with pytest.raises(SurveyError, match="'px' is not a unit"):
        edited(survey_of("t.csv"), {"units": {"readings": "px"}})


def test_kinds() -> None:
    """Every kind of table is found by its name, and nothing else is one."""
    assert kinds() == {
        "bench": bench,
        "benchmarks": benchmarks,
        "corners": corners,
        "gaps": gaps,
        "grid": grid,
        "pairs": pairs,
        "points": points,
        "steps": steps,
        "tilts": tilts,
    }


def test_several_tables() -> None:
    """The readings of all tables come in the order of the tables, each with its own sense."""
    head = tomllib.loads(survey_of("t.csv").document)
    head["table"].append({"file": "p.csv", "kind": "points", "sense": "elevation"})
    document = tomli_w.dumps(head)
    listed = (("x", "y", "reading"), ("0", "0", "7"))
    found = readings_of(build(document, {"t.csv": GRID, "p.csv": listed}))
    assert [r.height_mm for r in found] == [-10, -11, -12, 7]


def test_too_many_readings() -> None:
    """More readings than a survey by hand can have are refused with both numbers."""
    side = 224
    assert side**2 > MOST_READINGS
    offsets = tuple(map(str, range(side)))
    cells = (("", *offsets), *((y, *("1",) * side) for y in offsets))
    survey = build(survey_of("t.csv").document, {"t.csv": cells})
    with pytest.raises(SurveyError, match=rf"^{side**2:,} readings are more than the 50,000"):
        readings_of(survey)


def test_a_table_is_read_once() -> None:
    """The same table in another survey is not read anew; with another cell it is."""
    folder = Path(__file__).parents[1] / "sample_surveys" / "millbrook-plywood"
    first, again = (readings_of(read_folder(folder)) for _ in range(2))
    assert all(one is other for one, other in zip(first, again, strict=True))
    survey = read_folder(folder)
    (table,) = survey.tables
    rows = [list(row) for row in table.cells]
    rows[3][4] = "48 3/4"
    changed = replace(table, cells=tuple(map(tuple, rows)))
    read = readings_of(replace(survey, tables=(changed,)))
    differ = [other for one, other in zip(first, read, strict=True) if one != other]
    assert [one.text for one in differ] == ["48 3/4"]
