"""Bad input: one sentence that names what cannot be used, never a crash, never a good verdict."""

import copy
import io
import os
import re
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import tomli_w
from hypothesis import example, given, settings
from hypothesis import strategies as st

from flatcheck import survey as survey_module
from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.readers import cells as cells_module
from flatcheck.readers.cells import MOST_BYTES, cells_of, pasted
from flatcheck.readers.folder import checked, read_folder
from flatcheck.survey import Cells
from flatcheck.tables import MOST_READINGS
from flatcheck.verdict import Outcome

SENTENCE_END = re.compile(r"[.!?] [A-Z]")

STEP = 300
SIDE = 3000
ROOM = {"outline": [[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]]}
ELL = {
    "outline": [[0, 0], [SIDE, 0], [SIDE, 1500], [1500, 1500], [1500, SIDE], [0, SIDE]],
}


def document(kind: str = "grid", **sections: Any) -> str:
    """A survey document for one table t.csv, judged by one rule: 3 mm under 2 m."""
    head = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.3 mm"},
        "standard": {"rule": "bs-5385-3:substrate"},
        "table": [{"file": "t.csv", "kind": kind, "sense": "elevation"}],
    }
    return tomli_w.dumps(head | sections)


def judged(cells: Cells, kind: str = "grid", **sections: Any) -> Assessment:
    return assess(checked(document(kind, **sections), {"t.csv": cells}))


def grid(x_steps: int = 10, y_steps: int = 10, height: str = "5") -> list[list[str]]:
    """A grid of equal readings every 300 mm."""
    xs = [str(n * STEP) for n in range(x_steps + 1)]
    ys = [str(n * STEP) for n in range(y_steps + 1)]
    return [["", *xs], *([y, *[height] * len(xs)] for y in ys)]


def frozen(rows: list[list[str]]) -> Cells:
    return tuple(map(tuple, rows))


def refused(cells: Cells, said: str, kind: str = "grid", **sections: Any) -> None:
    """The survey is refused in one sentence that says `said`."""
    with pytest.raises(FlatcheckError) as caught:
        judged(cells, kind, **sections)
    one_sentence(str(caught.value), said)


def one_sentence(message: str, said: str) -> None:
    assert said in message
    assert message.endswith(".")
    assert "\n" not in message
    assert not SENTENCE_END.search(message.replace("1' 4-3/16", ""))


def judged_or_refused(work: Callable[..., object]) -> str:
    """What a refusal says, or nothing; any exception of another kind is let through."""
    try:
        work()
    except FlatcheckError as error:
        return str(error)
    return ""


# Files


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "t.csv is empty"),
        (b"\n\n", "t.csv is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00", "t.csv is not a table of text"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "t.csv is no grid"),
        (b"PK\x03\x04 but no more", "t.csv is not a spreadsheet that can be read"),
    ],
)
def test_files_of_another_kind(data: bytes, said: str, tmp_path: Path) -> None:
    """An empty file, a picture, a page or half an archive in place of a table is refused."""
    (tmp_path / "survey.toml").write_text(document())
    (tmp_path / "t.csv").write_bytes(data)
    with pytest.raises(FlatcheckError) as caught:
        read_folder(tmp_path)
    one_sentence(str(caught.value), said)


def archive(**members: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in members.items():
            made.writestr(name.replace("__", "/").replace("_xml", ".xml"), data)
    return packed.getvalue()


def spoiled(member: str, old: bytes, new: bytes) -> bytes:
    """A good spreadsheet with something replaced in one of its members."""
    book = openpyxl.Workbook()
    book.active.append(["", 0, 500])
    book.active.append([0, 1, 2])
    packed = io.BytesIO()
    book.save(packed)
    made = io.BytesIO()
    with zipfile.ZipFile(packed) as good, zipfile.ZipFile(made, "w") as bad:
        for name in good.namelist():
            data = good.read(name)
            if name == member:
                assert old in data
                data = data.replace(old, new)
            bad.writestr(name, data)
    return made.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
ESCAPES = "cells._xlsx lets {} out; catch what zipfile and the XML parser raise"


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(archive(notes=b"hello"), id="no workbook"),
        pytest.param(b"PK\x03\x04" + b"\0" * 99, id="nothing behind the mark"),
        pytest.param(
            spoiled(SHEET, b"<sheetData>", b"<sheetData"),
            id="broken sheet",
            marks=pytest.mark.xfail(strict=True, reason=ESCAPES.format("ElementTree.ParseError")),
        ),
        pytest.param(
            spoiled("xl/styles.xml", b"<styleSheet", b"<styleShee"),
            id="broken styles",
            marks=pytest.mark.xfail(strict=True, reason=ESCAPES.format("ElementTree.ParseError")),
        ),
    ],
)
def test_archives_that_are_no_spreadsheet(data: bytes) -> None:
    """An archive that is no spreadsheet, or a broken one, is refused by its name."""
    with pytest.raises(FlatcheckError) as caught:
        cells_of("t.xlsx", data)
    one_sentence(str(caught.value), "t.xlsx is not a spreadsheet that can be read")


@pytest.mark.xfail(strict=True, reason=ESCAPES.format("zlib.error and NotImplementedError"))
def test_a_spreadsheet_with_flipped_bytes() -> None:
    """A spreadsheet damaged on its way is read or refused, whichever byte was hit."""
    book = openpyxl.Workbook()
    for n in range(40):
        book.active.append([n, n * 37 % 11, "text"])
    packed = io.BytesIO()
    book.save(packed)
    data = packed.getvalue()
    for at in range(4, len(data), len(data) // 150):
        damaged = data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :]
        refusal = judged_or_refused(lambda damaged=damaged: cells_of("t.xlsx", damaged))
        assert refusal.startswith("t.xlsx") or not refusal


def test_an_archive_that_unpacks_to_too_much() -> None:
    """A small archive of a very large sheet is refused before it is unpacked."""
    data = archive(xl__worksheets__sheet1_xml=b" " * (10 * MOST_BYTES + 1))
    assert len(data) < 1_000_000
    with pytest.raises(FlatcheckError, match="unpacks to far more than a table"):
        cells_of("t.xlsx", data)


@pytest.mark.xfail(
    strict=True,
    reason="cells._xlsx: every row is padded to the width the sheet claims, 16,384 cells",
)
def test_a_sheet_that_claims_to_be_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sheet of a few cells that says it is 16,384 columns wide is not filled up to that."""
    claimed = spoiled(SHEET, b'<dimension ref="A1:C2"', b'<dimension ref="A1:XFD2"')
    made: list[object] = []
    monkeypatch.setattr(cells_module, "_cell", lambda *cell: made.append(cell) or str(cell[-1]))
    assert len(cells_of("t.xlsx", claimed)) == 2
    assert len(made) <= 6


@pytest.mark.parametrize(
    ("name", "size", "said"),
    [
        ("t.csv", 200_000_000, "t.csv is 200 MB; "),
        ("survey.toml", 200_000_000, "survey.toml is 200 MB; "),
        ("t.csv", 2_000_000_000, "t.csv is 2,000 MB; "),  # a billion digits and commas
    ],
)
def test_a_very_large_file(name: str, size: int, said: str, tmp_path: Path) -> None:
    """A file of 200 MB, or of a billion readings, is refused by its size, before it is read."""
    (tmp_path / "survey.toml").write_text(document())
    (tmp_path / "t.csv").write_text(",0\n0,1\n")
    os.truncate(tmp_path / name, size)
    with pytest.raises(FlatcheckError) as caught:
        read_folder(tmp_path)
    one_sentence(str(caught.value), said)


def test_pasted_text_that_is_too_large() -> None:
    """Text pasted beyond the size of a survey is refused by its size as well."""
    with pytest.raises(FlatcheckError, match=r"^t\.csv is 17 MB"):
        cells_of("t.csv", b"1," * 8_500_000)


@pytest.mark.parametrize("name", ["t.csv", "survey.toml"])
def test_a_directory_in_place_of_a_file(name: str, tmp_path: Path) -> None:
    """A directory where a file was expected is refused by its name."""
    (tmp_path / "survey.toml").write_text(document())
    (tmp_path / name).unlink(missing_ok=True)
    (tmp_path / name).mkdir()
    with pytest.raises(FlatcheckError) as caught:
        read_folder(tmp_path)
    one_sentence(str(caught.value), f"{name} cannot be read: Is a directory")


def test_a_file_in_place_of_a_folder(tmp_path: Path) -> None:
    """A file where a survey folder was expected is refused, and so is a folder that is missing."""
    (tmp_path / "t.csv").write_text(",0\n0,1\n")
    for folder, said in (("t.csv", "Not a directory"), ("none", "No such file")):
        with pytest.raises(FlatcheckError) as caught:
            read_folder(tmp_path / folder)
        one_sentence(str(caught.value), f"survey.toml cannot be read: {said}")


# Readings


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("high", "'high' cannot be read: expected a length"),
        ("12 mmm", "'12 mmm' cannot be read"),
        ("12 parsec", "unit"),
        ("nan", "'nan' cannot be read"),
        ("inf", "'inf' cannot be read"),
        ("-Infinity", "'-Infinity' cannot be read"),
        ("1e400", "'1e400' cannot be read"),
        ("=B2+1", "'=B2+1' cannot be read"),
        ("@SUM(1)", "'@SUM(1)' cannot be read"),
        ("1,234", "no comma that may mean thousands"),
        ("3/0 in", "a denominator that is not zero"),
        ("<script>alert(1)</script>", "'<script>alert(1)</script>' cannot be read"),
        ("9" * 5000, "999...' cannot be read"),
        ("#N/A", "'#N/A' cannot be read"),
        ("16-Mar", "'16-Mar' cannot be read"),
        ("१२", "'१२' cannot be read"),
    ],
)
def test_a_cell_that_is_no_reading(cell: str, said: str) -> None:
    """Text in a reading's cell is refused with its row, its cell, what was read and expected."""
    rows = grid()
    rows[3][4] = cell
    with pytest.raises(FlatcheckError) as caught:
        judged(frozen(rows))
    assert str(caught.value).startswith("t.csv, row 4, cell E4: ")
    one_sentence(str(caught.value), said)
    assert len(str(caught.value)) < 250


@pytest.mark.xfail(
    strict=True, reason="points._columns quotes a header cell whole; units._refusal shortens it"
)
def test_a_long_header_is_quoted_short() -> None:
    """A message stays a sentence, however long the text that it quotes."""
    with pytest.raises(FlatcheckError) as caught:
        judged((("x", "y", "z" * 100_000), ("0", "0", "1")), "points")
    assert len(str(caught.value)) < 500


def test_one_reading() -> None:
    """One reading is no surface."""
    refused((("", "0"), ("0", "5")), "at least two readings; there is 1")


def test_a_ragged_grid() -> None:
    """A row of another width is refused by its number."""
    rows = grid()
    rows[5].pop()
    refused(frozen(rows), "t.csv, row 6: 11 cells where the first row has 12")


def test_points_that_disagree() -> None:
    """Two readings of one place that cannot both be right are refused, both cells named."""
    cells = (("x", "y", "reading"), ("0", "0", "5"), ("300", "0", "5"), ("0", "0", "9"))
    refused(
        cells, "t.csv, row 4, cell C4: '9' disagrees with '5' in t.csv, row 2, cell C2", "points"
    )


def test_a_reading_outside_the_room() -> None:
    """A reading beyond a wall, or under a cutout, is refused by its cell."""
    refused(frozen(grid(11)), "t.csv, row 2, cell M2: the reading lies outside", room=ROOM)
    island = {"name": "bar", "outline": [[400, 400], [1000, 400], [1000, 800], [400, 800]]}
    refused(
        frozen(grid()),
        "t.csv, row 4, cell D4: the reading lies outside the room or inside a cutout",
        room=ROOM | {"cutout": [island]},
    )


def test_setups_without_a_common_place() -> None:
    """Readings from two setups that share no place are refused, both named."""
    rows = [["x", "y", "reading", "setup"]]
    rows += [[str(n * STEP), "0", "5", "A" if n < 5 else "B"] for n in range(10)]
    refused(frozen(rows), "no place in common with setup", "points")


@pytest.mark.parametrize("unit", ["furlong", "", "MM", "inch"])
def test_unknown_units(unit: str) -> None:
    """A unit that is none is refused with those that are."""
    refused(
        frozen(grid()),
        f"units.readings = {unit!r} is not a unit of length; known are mm, cm, m, in, ft",
        units={"readings": unit, "offsets": "mm"},
    )


def test_a_tile_of_size_zero() -> None:
    """A tile without a size is refused by the edge."""
    refused(
        frozen(grid()), "tile: the width must be larger than zero", tile={"length": 300, "width": 0}
    )


def test_a_rule_that_needs_the_tile() -> None:
    """A rule that depends on the tile is not guessed where no tile is given."""
    refused(frozen(grid()), "the rule depends on the tile", standard={"rule": "us-tile"})


@pytest.mark.parametrize("name", ["", "us", "us-tile:", "din-18202:9", "us-tile:bar:bar"])
def test_a_standard_that_does_not_exist(name: str) -> None:
    """A standard or grade that is not there is refused with those that are; `x:` is x."""
    if name == "us-tile:":
        tile = {"length": 300, "width": 300}
        assert judged(frozen(grid()), standard={"rule": name}, tile=tile).verdict.grade == "bar"
        return
    with pytest.raises(FlatcheckError, match=r"is not one of|has no"):
        judged(frozen(grid()), standard={"rule": name})


@pytest.mark.xfail(
    strict=True, reason="tables.readings_of counts after all cells were parsed: 16 MB take minutes"
)
def test_too_many_readings_are_not_parsed(monkeypatch: pytest.MonkeyPatch) -> None:
    """More readings than a survey holds are refused before each of them is worked out."""
    parsed = []
    real = survey_module.parse_length

    def counted(text: str, default: str | None = None) -> float:
        parsed.append(text)
        return real(text, default)

    monkeypatch.setattr(survey_module, "parse_length", counted)
    refused(frozen(grid(399, 399)), "160,000 readings are more than the 50,000")
    assert len(parsed) <= MOST_READINGS + 1000


# Floors that are odd, and are judged


def test_all_readings_equal() -> None:
    """A floor on which all readings are equal is within, in any unit and from any height."""
    for height in ("0", "5", "-123456.7", "47 9/16 in"):
        verdict = judged(frozen(grid(height=height)), room=ROOM).verdict
        assert (verdict.guarded, verdict.as_read) == (Outcome.WITHIN, Outcome.WITHIN)
        assert verdict.spots == ()


def test_swapped_axes() -> None:
    """Offsets taken the wrong way round are refused in an oblong room; in a square one the
    verdict stays and the spots change places, which no reading can tell.
    """
    oblong = {"outline": [[0, 0], [SIDE, 0], [SIDE, 2100], [0, 2100]]}
    assert judged(frozen(grid(10, 7)), room=oblong).verdict.guarded is Outcome.WITHIN
    refused(frozen(grid(7, 10)), "lies outside the room", room=oblong)
    rows = grid()
    rows[3][9] = "-5"
    swapped = [list(row) for row in zip(*rows, strict=True)]
    one, other = (judged(frozen(r), room=ROOM).verdict for r in (rows, swapped))
    assert one.guarded is other.guarded is Outcome.OUT
    assert one.spots[0].at == other.spots[0].at[::-1] == (2400, 600)


@pytest.mark.parametrize("shape", ["one", "scattered", "quarter", "two rows"])
def test_a_grid_with_holes(shape: str) -> None:
    """Places not read are no fault where the rest judges the floor; a large hole is not judged."""
    rows = grid()
    holes = {
        "one": [(5, 5)],
        "scattered": [(2, 2), (2, 8), (5, 5), (8, 2), (8, 8)],
        "quarter": [(r, c) for r in range(1, 7) for c in range(1, 7)],
        "two rows": [(r, c) for r in range(1, 5) for c in range(1, 12)],
    }[shape]
    for r, c in holes:
        rows[r][c] = "x"
    verdict = judged(frozen(rows), room=ROOM).verdict
    few = shape in ("one", "scattered")
    assert verdict.guarded is (Outcome.WITHIN if few else Outcome.NOT_ASSESSED)


@pytest.mark.parametrize("steps", [(1, 1), (10, 0), (0, 10)])
def test_readings_too_few_to_judge(steps: tuple[int, int]) -> None:
    """Four readings, a single row or a single column never make a floor within."""
    verdict = judged(frozen(grid(*steps)), intent={"kind": "level"}).verdict
    assert verdict.guarded is verdict.as_read is Outcome.NOT_ASSESSED


@pytest.mark.xfail(
    strict=True, reason="intent._least_squares: two places off row and column are a LinAlgError"
)
def test_two_readings_on_a_slant() -> None:
    """Two readings are refused where a plane must be fitted, wherever they lie."""
    refused((("", "0", "300"), ("0", "5", "x"), ("300", "x", "5")), "do not span a plane")


# Zones

WEST = {"name": "west", "outline": [[0, 0], [1500, 0], [1500, SIDE], [0, SIDE]]}
EAST = {"name": "east", "outline": [[1500, 0], [SIDE, 0], [SIDE, SIDE], [1500, SIDE]]}


def test_zones_judge_the_whole_floor() -> None:
    """Zones that cover the floor are judged each by itself; readings between belong to both."""
    verdict = judged(frozen(grid()), room=ROOM, zone=[WEST, EAST]).verdict
    assert [f.zone for f in verdict.findings] == ["west", "east"]
    assert verdict.guarded is Outcome.WITHIN


def test_zones_that_miss_a_reading() -> None:
    """A reading that lies in none of the zones is refused by its cell."""
    refused(
        frozen(grid()),
        "t.csv, row 2, cell H2: the reading lies in none of the zones",
        room=ROOM,
        zone=[WEST],
    )


def test_a_zone_without_readings() -> None:
    """A zone that holds fewer than two readings is refused by its name."""
    nook = {"name": "nook", "outline": [[10, 10], [200, 10], [200, 200], [10, 200]]}
    refused(frozen(grid()), "zone 'nook' holds fewer than two readings", room=ROOM, zone=[nook])


@pytest.mark.xfail(
    strict=True, reason="assess._parts keeps all cutouts for every zone, and Room refuses those out"
)
@pytest.mark.parametrize(("west", "east"), [(320, 580), (1320, 1680)], ids=["in one", "across"])
def test_zones_beside_a_cutout(west: float, east: float) -> None:
    """A cutout that lies in one zone is no fault of the other, nor is one across their border."""
    island = {"name": "bar", "outline": [[west, 320], [east, 320], [east, 580], [west, 580]]}
    room = ROOM | {"cutout": [island]}
    verdict = judged(frozen(grid()), room=room, zone=[WEST, EAST]).verdict
    assert verdict.guarded is Outcome.WITHIN


def fold() -> Cells:
    """An L of readings, its two arms falling 1 % to each other: a valley at the inner corner."""
    rows = grid()
    for r, row in enumerate(rows[1:]):
        for c in range(len(row) - 1):
            row[c + 1] = "x" if r > 5 and c > 5 else f"{abs(r - c) * STEP * 0.01:g}"
    return frozen(rows)


@pytest.mark.xfail(
    strict=True, reason="assess._parts takes a zone's outline for the room: walls are forgotten"
)
def test_a_zone_larger_than_the_room() -> None:
    """A zone drawn over a wall is refused, or cut to the room: no bar lies through a wall."""
    whole = judged(fold(), room=ELL).verdict.findings[0]
    try:
        zoned = judged(fold(), room=ELL, zone=[{"outline": ROOM["outline"]}]).verdict.findings[0]
    except FlatcheckError:
        return
    assert zoned.placements == whole.placements


@pytest.mark.xfail(
    strict=True,
    reason="assess judges zones only; floor that is in no zone and has no readings "
    "counts for nothing",
)
def test_floor_that_is_in_no_zone() -> None:
    """A room of which three quarters lie in no zone, unread, is not within."""
    corner = {"outline": [[0, 0], [1500, 0], [1500, 1500], [0, 1500]]}
    without = judged(frozen(grid(5, 5)), room=ROOM).verdict
    assert without.guarded is Outcome.NOT_ASSESSED
    try:
        zoned = judged(frozen(grid(5, 5)), room=ROOM, zone=[corner]).verdict
    except FlatcheckError:
        return
    assert zoned.guarded is not Outcome.WITHIN


@pytest.mark.xfail(
    strict=True, reason="intent.fit does not know which zone it fits; the message names none"
)
def test_a_zone_that_spans_no_plane() -> None:
    """A zone whose readings lie in one line is refused by its name."""
    strip = {"name": "strip", "outline": [[0, 0], [SIDE, 0], [SIDE, 100], [0, 100]]}
    rest = {"name": "rest", "outline": [[0, 100], [SIDE, 100], [SIDE, SIDE], [0, SIDE]]}
    refused(frozen(grid()), "strip", room=ROOM, zone=[strip, rest])


# Hostile documents


def least(**sections: Any) -> dict[str, Any]:
    """A small survey that is judged, as the head of its document."""
    return {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.3 mm"},
        "room": {"outline": [[0, 0], [600, 0], [600, 600], [0, 600]]},
        "intent": {"kind": "best fit"},
        "tile": {"length": 300, "width": 300},
        "standard": {"rule": "us-tile"},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "rod"}],
    } | sections


FALL = {"kind": "fall", "fall": "2%"}


@pytest.mark.xfail(strict=True, reason="survey._unit looks a list up in a dict: TypeError")
@pytest.mark.parametrize("given", [[], {"a": 1}], ids=["list", "section"])
def test_a_unit_of_another_type(given: object) -> None:
    """A list or a section in place of a unit is refused by its field."""
    head = least(units={"readings": given, "offsets": "mm"})
    with pytest.raises(FlatcheckError, match=r"units\.readings"):
        checked(tomli_w.dumps(head), {"t.csv": frozen(grid(2, 2))})


@pytest.mark.xfail(
    strict=True, reason="survey._intent: math.isfinite raises Type- or OverflowError"
)
@pytest.mark.parametrize(
    "given", [[1], {}, date(2026, 5, 4), 10**400], ids=["list", "section", "date", "huge"]
)
def test_a_side_of_another_type(given: object) -> None:
    """What is neither a compass side nor degrees that a number can hold is refused by its field."""
    head = least(intent=FALL | {"toward": given})
    with pytest.raises(FlatcheckError, match=r"intent\.toward"):
        checked(tomli_w.dumps(head), {"t.csv": frozen(grid(2, 2))})


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(
            "x = " + "9" * 5000,
            id="an integer of 5,000 digits",
            marks=pytest.mark.xfail(strict=True, reason="survey._parsed: ValueError from int()"),
        ),
        pytest.param(
            "x = " + "[" * 5000 + "]" * 5000,
            id="5,000 lists in one another",
            marks=pytest.mark.xfail(strict=True, reason="survey._parsed: RecursionError"),
        ),
        pytest.param("x = " + "." * 5000, id="dots"),
        pytest.param('x = "\\ud800"', id="half a character"),
        pytest.param("x = 1\nx = 2", id="a key twice"),
    ],
)
def test_hostile_text(line: str) -> None:
    """A document made to break the parser is refused as one that cannot be read."""
    with pytest.raises(FlatcheckError, match=r"^survey\.toml"):
        checked(f"{line}\n{document()}", {"t.csv": frozen(grid(2, 2))})


WORDS = (
    "title place date by surface notes readings offsets show name uncertainty reads_to rule "
    "decision outline walls cutout kind fall toward length width joint file sense setup intent"
)
KEYS = sorted(WORDS.split())
TEXTS = (
    "mm in ft m rod elevation grid points level fall 2% 1:80 north 1/8″ t.csv in/16 mm/0.1 us-tile "
    "us-tile:plane bs-5385-3:finished din-18202 bs-8204 1e400 -5 999999999999m"
)
LEAF = st.one_of(
    st.booleans(),
    st.integers(),
    st.integers(-2, 900),
    st.floats(),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
    st.dates(),
    st.times(),
    st.datetimes(),
    st.sampled_from(TEXTS.split()),
    st.sampled_from(["best fit", "minimum zone", "as read", "0.000000000000000000000001 mm"]),
)
CORNERS = st.lists(
    st.lists(st.sampled_from([0, 300, 600, -300, "1 ft", 0.5]), min_size=2, max_size=2), max_size=6
)
VALUE = st.recursive(
    LEAF | CORNERS,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4)
    ),
    max_leaves=8,
)


@st.composite
def heads(draw: st.DrawFn) -> dict[str, Any]:
    """A good document of which one to three values were replaced by anything that TOML can say."""
    head = copy.deepcopy(least())
    head |= draw(st.sampled_from([{}, {"zone": [{"outline": ROOM["outline"]}]}, {"survey": {}}]))
    for _ in range(draw(st.integers(1, 3))):
        node: Any = head
        while True:
            keys = list(range(len(node))) if isinstance(node, list) else [*node, *KEYS[:3]]
            key = draw(st.sampled_from(keys))
            known = isinstance(node, list) or key in node
            if known and isinstance(node[key], list | dict) and node[key] and draw(st.booleans()):
                node = node[key]
                continue
            node[key] = draw(VALUE)
            break
    return head


@pytest.mark.xfail(
    strict=True,
    reason="a unit or a side of another type, two readings on a slant: see the tests of that name",
)
@example(least(units={"readings": [], "offsets": "mm"}))
@example(least(intent=FALL | {"toward": {}}))
@given(heads())
@settings(max_examples=300, deadline=None)
def test_any_document(head: dict[str, Any]) -> None:
    """Whatever a document says it is judged, or refused in words: no other exception comes out."""
    rows = grid(2, 2)
    rows[2][2] = "9"
    judged_or_refused(lambda: assess(checked(tomli_w.dumps(head), {"t.csv": frozen(rows)})))


@given(st.lists(st.lists(LEAF.map(str) | st.integers(0, 900).map(str), max_size=5), max_size=6))
@settings(max_examples=150, deadline=None)
@pytest.mark.parametrize("kind", ["grid", "points"])
def test_any_cells(kind: str, rows: list[list[str]]) -> None:
    """Whatever stands in the cells they are read, or refused in words."""
    head = ["x", "y", "reading"] if kind == "points" else ["", "0", "300"]
    with_head = frozen([head, *rows])
    for cells in (frozen(rows), with_head):
        refusal = judged_or_refused(lambda cells=cells: checked(document(kind), {"t.csv": cells}))
        assert refusal.startswith("t.csv") or not refusal


@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
@settings(max_examples=200, deadline=None)
def test_any_bytes(data: bytes) -> None:
    """Whatever bytes a file holds they give cells, or are refused in words."""
    read: list[Cells] = []
    refusal = judged_or_refused(lambda: read.append(cells_of("t.csv", data)))
    assert refusal.startswith("t.csv") or any(cell.strip() for row in read[0] for cell in row)


def test_names_may_look_like_markup() -> None:
    """A name that looks like markup is a name like any other, and judged is the floor."""
    hostile = "<script>alert('x')</script>"
    room = ROOM | {"walls": [hostile, "b", "c", "d"]}
    found = judged(frozen(grid()), room=room, survey={"title": hostile, "by": "=1+1"})
    assert found.survey.title == hostile
    assert found.surface.room.walls[0] == hostile
    assert found.verdict.guarded is Outcome.WITHIN


def test_an_outline_of_many_corners() -> None:
    """An outline as round as a plan can draw it is a room."""
    ring = [
        [1500 + 1500 * x, 1500 + 1500 * y]
        for x, y in (
            (round(v.real, 6), round(v.imag, 6))
            for v in (complex(0, 1) ** (4 * n / 90) for n in range(90))
        )
    ]
    rows = [["x", "y", "reading"]]
    rows += [
        [str(x), str(y), "5"]
        for x in range(0, SIDE + 1, STEP)
        for y in range(0, SIDE + 1, STEP)
        if (x - 1500) ** 2 + (y - 1500) ** 2 < 1495**2
    ]
    verdict = judged(frozen(rows), "points", room={"outline": ring}).verdict
    assert verdict.guarded is Outcome.WITHIN


def test_pasted_text_of_no_table() -> None:
    """A letter pasted in place of a table is refused in words."""
    refused(
        pasted("t.csv", "Dear all,\n\nthe floor is fine.\n"), "row 1, cell B1: '' cannot be read"
    )
