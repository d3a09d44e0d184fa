"""Bad input: one sentence that names what cannot be used, never a crash, never a good verdict."""

import copy
import io
import os
import random
import re
import time
import zipfile
from collections.abc import Callable
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import tomli_w
from hypothesis import example, given, settings
from hypothesis import strategies as st

from flatcheck import fields
from flatcheck import survey as survey_module
from flatcheck.adjust import WHOLE
from flatcheck.assess import Assessment, assess
from flatcheck.covariance import Factored
from flatcheck.errors import FlatcheckError
from flatcheck.readers import cells as cells_module
from flatcheck.readers import folder as folder_module
from flatcheck.readers.cells import MOST_BYTES, cells_of, pasted
from flatcheck.readers.folder import checked, read_folder
from flatcheck.report.text import text
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
        (b"PK\x03\x04 but no more", "t.csv is no spreadsheet that can be read"),
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


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(archive(notes=b"hello"), id="no workbook"),
        pytest.param(b"PK\x03\x04" + b"\0" * 99, id="nothing behind the mark"),
        pytest.param(spoiled(SHEET, b"<sheetData>", b"<sheetData"), id="broken sheet"),
        pytest.param(spoiled("xl/styles.xml", b"<styleSheet", b"<styleShee"), id="broken styles"),
    ],
)
def test_archives_that_are_no_spreadsheet(data: bytes) -> None:
    """An archive that is no spreadsheet, or a broken one, is refused by its name."""
    with pytest.raises(FlatcheckError) as caught:
        cells_of("t.xlsx", data)
    one_sentence(str(caught.value), "t.xlsx is no spreadsheet that can be read")


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


@pytest.mark.parametrize(
    ("side", "said", "most"),
    [
        (399, "160,000 readings are more than the 50,000", 161_000),
        (599, "361,200 cells are more than the 50,000 readings that a survey may hold can", 0),
    ],
)
def test_too_many_readings(
    side: int, said: str, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More readings than a survey holds are refused, and far more before any is worked out."""
    parsed = []
    real = survey_module.parse_length

    def counted(text: str, default: str | None = None) -> float:
        parsed.append(text)
        return real(text, default)

    monkeypatch.setattr(survey_module, "parse_length", counted)
    refused(frozen(grid(side, side)), said)
    assert len(parsed) <= most
    assert (side + 1) ** 2 > MOST_READINGS


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


def with_sill(sill: tuple[str, str], rods: list[list[str]]) -> Assessment:
    """A level floor read by the rod, tied to a benchmark that lies 60 mm above it."""
    marks = (("x", "y", "height"), (*sill, "160"))
    entries = [
        {"file": "t.csv", "kind": "points", "sense": "elevation"},
        {"file": "b.csv", "kind": "benchmarks"},
    ]
    typed = document(table=entries, room=ROOM)
    return assess(checked(typed, {"t.csv": frozen(rods), "b.csv": marks}))


def test_a_benchmark_is_no_floor() -> None:
    """A sill, outside the room or in it, gives the height and is not judged as floor."""
    rods = [["x", "y", "reading"]]
    rods += [[str(x), str(y), "5"] for x in range(0, SIDE + 1, STEP) for y in range(0, 3001, STEP)]
    for sill in (("-50", "1500"), ("1550", "1500")):
        found = with_sill(sill, [*rods, [*sill, "65"]])
        assert len(found.surface.xy_mm) == 121
        assert found.surface.height_mm == pytest.approx(np.full(121, 100), abs=1e-3)
        assert found.verdict.guarded is Outcome.WITHIN


def test_benchmarks_and_nothing_else() -> None:
    """Benchmarks alone, or with one place that was read, are no floor."""
    cells = frozen([["x", "y", "height"], ["0", "0", "1"], ["300", "0", "1"], ["0", "300", "1"]])
    refused(cells, "besides the benchmarks fewer than two places were read", "benchmarks")


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


@pytest.mark.parametrize("kind", ["best fit", "minimum zone", "level"])
def test_two_readings_on_a_slant(kind: str) -> None:
    """Two readings make no floor within, wherever they lie and whatever is asked of it."""
    cells = (("", "0", "300"), ("0", "5", "x"), ("300", "x", "5"))
    verdict = judged(cells, intent={"kind": kind}).verdict
    assert verdict.guarded is verdict.as_read is Outcome.NOT_ASSESSED


# Pieces


def two_setups(step: str, tie: bool = False) -> list[list[str]]:
    """A level floor, its west half read from setup A and its east half from B, at a step."""
    rows = [["x", "y", "reading", "setup"]]
    for x in range(0, SIDE + 1, STEP):
        for y in range(0, SIDE + 1, STEP):
            west = x <= SIDE / 2
            rows.append([str(x), str(y), "5" if west else step, "A" if west else "B"])
    return [*rows, ["0", "0", "105", "B"]] if tie else rows


def test_setups_without_a_common_place() -> None:
    """Readings from two setups that share no place are two pieces, each judged by itself."""
    found = judged(frozen(two_setups("105")), "points", room=ROOM)
    assert [part.name for part in found.parts] == ["floor, piece 1", "floor, piece 2"]
    assert [f.zone for f in found.verdict.findings] == ["floor, piece 1", "floor, piece 2"]
    held = [set(part.stations.tolist()) for part in found.parts]
    assert held[0] | held[1] == set(range(121))
    for part, stations in zip(found.parts, held, strict=True):
        assert len({found.readings[i].setup for i in stations}) == 1
        assert len(part.rivals) == 121 - len(stations)
    for finding in found.verdict.findings:
        assert finding.worst is not None
        ends = (finding.worst.start, finding.worst.at, finding.worst.end)
        assert len({x <= SIDE / 2 for x, _ in ends}) == 1  # no bar lies over the gap


@pytest.mark.parametrize("step", ["105", "155"])
def test_a_floor_in_pieces_is_not_within(step: str) -> None:
    """Where nothing tells how two pieces of a floor lie to each other it is not within."""
    assert judged(frozen(two_setups(step)), "points", room=ROOM).verdict.guarded is not (
        Outcome.WITHIN
    )


def test_a_tie_joins_the_pieces() -> None:
    """One place read from both setups makes one piece, and a step at their border shows."""
    for step, expected in (("105", Outcome.WITHIN), ("125", Outcome.OUT)):
        found = judged(frozen(two_setups(step, tie=True)), "points", room=ROOM)
        assert [part.name for part in found.parts] == ["floor"]
        assert found.verdict.guarded is expected


def test_a_piece_out_is_out() -> None:
    """A piece that is out by itself makes the floor out, whatever lies between the pieces."""
    rows = two_setups("105")
    at = next(n for n, row in enumerate(rows) if row[:2] == ["2400", "1500"])
    rows[at][2] = "95"
    found = judged(frozen(rows), "points", room=ROOM)
    assert found.verdict.guarded is Outcome.OUT
    assert found.verdict.spots[0].at == (2400, 1500)


BARS = {"kind": "gaps", "file": "t.csv"}


def bars_over(east: int, length: int, hair: float = 0.0) -> list[list[str]]:
    """Bars of one length resting on a true floor 2 m deep: first along its columns, then end to
    end along its rows, a place every 250 mm; `hair` is how far off along a bar it may be read."""
    rows = [HEADERS["gaps"].split(",")]
    off = random.Random(1)
    ticks = range(0, length + 1, 250)
    for x in range(0, east + 1, 250):
        for at in range(0, 2001, 250):
            read = min(max(at + off.uniform(-hair, hair), 0), 2000)
            rows.append([f"n{x}", str(x), "0", str(x), "2000", f"{read:.2f}", "0", ""])
    for y in range(0, 2001, 250):
        for x in range(0, east, length):
            ends = [str(v) for v in (x, y, x + length, y)]
            rows += [[f"e{x} {y}", *ends, str(at), "0", ""] for at in ticks]
    return rows


def diagonal(twist: float) -> list[list[str]]:
    """A bar laid across the middle of the same floor, where z = twist x y mm (x, y in meters)."""
    along = [0.25 * 2**0.5 * n for n in range(6)]
    ends = [str(v) for v in (250, 250, 1500, 1500)]
    gaps = [twist / 2 * at * (along[-1] - at) for at in along]
    return [
        ["d", *ends, f"{1000 * at:.1f}", f"{gap:.2f}", ""]
        for at, gap in zip(along, gaps, strict=True)
    ]


def test_bars_both_ways() -> None:
    """Bars along rows and columns alone leave a twist open, so that the floor is not assessed.

    z = 12 x y mm (x and y in meters) shows no gap under any of them, and 12 L²/8 mm under a bar
    of L meters on the diagonal: 6 mm under 2 m, against a limit of 3 mm.
    """
    found = judged(frozen(bars_over(2000, 2000)), table=[BARS])
    xy = found.surface.xy_mm / 1000
    twist = 12 * xy[:, 0] * xy[:, 1]
    free = found.adjusted.free
    assert np.abs(twist - free @ np.linalg.lstsq(free, twist, rcond=None)[0]).max() < 1e-6
    assert found.verdict.guarded is found.verdict.as_read is Outcome.NOT_ASSESSED
    assert "laid on the diagonal" in " ".join(text(found).split())


@pytest.mark.parametrize(("twist", "expected"), [(0, Outcome.WITHIN), (12, Outcome.OUT)])
def test_a_bar_on_the_diagonal_shows_a_twist(twist: float, expected: Outcome) -> None:
    """One bar on the diagonal decides what rows and columns leave open."""
    found = judged(frozen(bars_over(2000, 2000) + diagonal(twist)), table=[BARS])
    assert found.verdict.guarded is expected


@pytest.mark.parametrize(
    ("at", "away", "expected"),
    [
        ((3000, 3000), 450, Outcome.WITHIN),
        ((3000, 3000), 1050, Outcome.NOT_ASSESSED),
        ((0, 0), 500, Outcome.WITHIN),
        ((0, 0), 1050, Outcome.NOT_ASSESSED),
    ],
)
def test_a_hole_that_hides_a_dip(at: tuple[int, int], away: int, expected: Outcome) -> None:
    """A square left unread that is as wide as a bar, or half that in a corner, is not within."""
    rows = [["x", "y", "reading"]]
    for x in range(0, 6001, STEP):
        for y in range(0, 6001, STEP):
            if max(abs(x - at[0]), abs(y - at[1])) >= away:
                rows.append([str(x), str(y), "5"])
    room = {"outline": [[0, 0], [6000, 0], [6000, 6000], [0, 6000]]}
    found = judged(frozen(rows), "points", room=room)
    assert found.verdict.guarded is found.verdict.as_read is expected
    assert ("wide enough to hide a dip" in " ".join(text(found).split())) is (
        expected is Outcome.NOT_ASSESSED
    )


def test_bars_end_to_end() -> None:
    """Where bars lie end to end the floor may fold between them unseen: it is not within."""
    found = judged(frozen(bars_over(4000, 2000)), table=[BARS])
    x = found.surface.xy_mm[:, 0]
    fold = np.where(x > 2000, 0.02 * (x - 2000), 0)
    # Every gap that was read is 0 on this floor too, and a bar across shows 10 mm.
    free = found.adjusted.free
    assert np.abs(fold - free @ np.linalg.lstsq(free, fold, rcond=None)[0]).max() < 1e-6
    assert found.verdict.guarded is not Outcome.WITHIN


def test_a_hair_along_the_bar() -> None:
    """Places read half a millimeter off along a bar leave the verdict and what is open."""
    true, read = (judged(frozen(bars_over(2000, 2000, hair)), table=[BARS]) for hair in (0.0, 0.45))
    assert read.adjusted.free.shape == true.adjusted.free.shape
    assert read.verdict.guarded is true.verdict.guarded


@pytest.mark.parametrize("side", [10, 40])
@pytest.mark.parametrize("step", [0, 9])
def test_many_places_from_two_setups(side: int, step: int) -> None:
    """Few places or many, a floor read from two setups is judged with what its readings tell."""
    rows = [["x", "y", "reading", "setup"]]
    for i in range(side):
        for j in range(side):
            west = i < side / 2
            rows.append(
                [str(i * 100), str(j * 100), "5" if west else str(5 + step), "AB"[not west]]
            )
    rows.append(["0", "0", "5", "B"])
    found = judged(frozen(rows), "points")
    assert isinstance(found.adjusted.cov_mm2, Factored) is (side**2 > WHOLE)
    assert found.verdict.guarded is (Outcome.OUT if step else Outcome.WITHIN)


# Zones

WEST = {"name": "west", "outline": [[0, 0], [1500, 0], [1500, SIDE], [0, SIDE]]}
EAST = {"name": "east", "outline": [[1500, 0], [SIDE, 0], [SIDE, SIDE], [1500, SIDE]]}


def test_zones_judge_the_whole_floor() -> None:
    """Zones apart that cover the floor are judged each by itself; readings between are of both."""
    zones = [WEST | {"apart": True}, EAST]
    verdict = judged(frozen(grid()), room=ROOM, zone=zones).verdict
    assert [f.zone for f in verdict.findings] == ["west", "east"]
    assert verdict.guarded is Outcome.WITHIN


def strips(*lines: float) -> list[dict[str, Any]]:
    """Zones alike, side by side from west to east between these lines."""
    return [
        {"name": f"strip {k}", "outline": [[a, 0], [b, 0], [b, SIDE], [a, SIDE]]}
        for k, (a, b) in enumerate(pairwise((0, *lines, SIDE)), 1)
    ]


def stepped(step: float) -> Cells:
    """The even floor with everything east of its middle higher by a step."""
    cells = [list(row) for row in frozen(grid())]
    for row in cells[1:]:
        for k in range(1, len(row)):
            row[k] = str(float(row[k]) + (step if float(cells[0][k]) > SIDE / 2 else 0.0))
    return frozen(cells)


@pytest.mark.parametrize(
    "zones",
    [
        strips(1500),
        strips(*range(300, SIDE, 300)),
        [WEST, EAST | {"outline": [[1501, 0], [SIDE, 0], [SIDE, SIDE], [1501, SIDE]]}],
    ],
    ids=["two", "many", "with a slit between"],
)
def test_a_step_between_zones_alike(zones: list[dict[str, Any]]) -> None:
    """A step of 15 mm where zones alike meet is out, as it is without zones."""
    assert judged(stepped(15), room=ROOM).verdict.guarded is Outcome.OUT
    cut = judged(stepped(15), room=ROOM, zone=zones).verdict
    assert cut.guarded is cut.as_read is Outcome.OUT
    assert judged(stepped(0), room=ROOM, zone=zones).verdict.guarded is Outcome.WITHIN


def test_a_zone_apart() -> None:
    """The step is meant where one of the zones is said to stand apart; that must be true or not."""
    zones = [WEST, EAST | {"apart": True}]
    assert judged(stepped(15), room=ROOM, zone=zones).verdict.guarded is Outcome.WITHIN
    refused(
        frozen(grid()),
        "east.apart = 'yes' was expected to be true or false",
        room=ROOM,
        zone=[WEST, EAST | {"apart": "yes"}],
    )


def test_zones_around_another() -> None:
    """Zones alike around one that is not are one floor with a hole."""
    third = SIDE / 3
    ring = [
        {"name": name, "outline": [[a, b], [c, b], [c, d], [a, d]]}
        for name, a, b, c, d in (
            ("south", 0, 0, SIDE, third),
            ("north", 0, 2 * third, SIDE, SIDE),
            ("west", 0, third, third, 2 * third),
            ("east", 2 * third, third, SIDE, 2 * third),
            ("middle", third, third, 2 * third, 2 * third),
        )
    ]
    ring[-1]["intent"] = {"kind": "minimum zone"}
    found = judged(frozen(grid()), room=ROOM, zone=ring)
    assert [part.name for part in found.parts] == ["south, north, west and east", "middle"]
    assert found.verdict.guarded is Outcome.WITHIN
    assert judged(stepped(15), room=ROOM, zone=ring).verdict.guarded is Outcome.OUT


def test_zones_cover_the_room() -> None:
    """Floor that lies in no zone, or in two, is named by a place on it."""
    middle = {"name": "mid", "outline": [[1200, 0], [1800, 0], [1800, SIDE], [1200, SIDE]]}
    for zones, said in (([WEST], "lies in no zone"), ([WEST, EAST, middle], "lies in two zones")):
        with pytest.raises(FlatcheckError) as caught:
            judged(frozen(grid()), room=ROOM, zone=zones)
        one_sentence(str(caught.value), f"{said}; zones cover the room, each place once.")
        east = float(re.search(r"around (\d+) mm east", str(caught.value)).group(1))
        assert east > 1500 if len(zones) == 1 else 1200 < east < 1800


def test_zones_that_miss_a_reading() -> None:
    """A reading in a slit between two zones is refused by its cell."""
    west = {"name": "west", "outline": [[0, 0], [1498, 0], [1498, SIDE], [0, SIDE]]}
    east = {"name": "east", "outline": [[1502, 0], [SIDE, 0], [SIDE, SIDE], [1502, SIDE]]}
    west["apart"] = True
    refused(
        frozen(grid()),
        "t.csv, row 2, cell G2: the reading lies in none of the zones",
        room=ROOM,
        zone=[west, east],
    )


def test_a_zone_without_readings() -> None:
    """A zone that holds fewer than two readings is refused by its name."""
    nook = {"name": "nook", "outline": [[10, 10], [200, 10], [200, 200], [10, 200]]}
    refused(frozen(grid()), "zone 'nook' holds fewer than two readings", room=ROOM, zone=[nook])


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


def test_a_zone_larger_than_the_room() -> None:
    """A zone drawn over a wall is cut to the room: no bar lies through a wall."""
    whole = judged(fold(), room=ELL)
    zoned = judged(fold(), room=ELL, zone=[{"name": "floor", "outline": ROOM["outline"]}])
    assert zoned.verdict == whole.verdict
    assert whole.verdict.findings[0].placements > 300


def test_floor_that_is_in_no_zone() -> None:
    """A room of which three quarters lie in no zone is refused, and not within without zones."""
    corner = {"outline": [[0, 0], [1500, 0], [1500, 1500], [0, 1500]]}
    without = judged(frozen(grid(5, 5)), room=ROOM).verdict
    assert without.guarded is Outcome.NOT_ASSESSED
    refused(frozen(grid(5, 5)), "lies in no zone", room=ROOM, zone=[corner])


@pytest.mark.parametrize("kind", ["best fit", "minimum zone", "level"])
def test_a_zone_read_along_one_line(kind: str) -> None:
    """A zone whose readings lie in one line is not assessed, and says so by its name."""
    strip = {"name": "strip", "outline": [[0, 0], [SIDE, 0], [SIDE, 100], [0, 100]]}
    rest = {"name": "rest", "outline": [[0, 100], [SIDE, 100], [SIDE, SIDE], [0, SIDE]]}
    zones = [zone | {"intent": {"kind": kind}, "apart": True} for zone in (strip, rest)]
    verdict = judged(frozen(grid()), room=ROOM, zone=zones).verdict
    assert {f.zone: f.outcome for f in verdict.findings} == {
        "strip": Outcome.NOT_ASSESSED,
        "rest": Outcome.WITHIN,
    }
    assert verdict.guarded is verdict.as_read is Outcome.NOT_ASSESSED


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


@pytest.mark.parametrize("given", [[], {"a": 1}], ids=["list", "section"])
def test_a_unit_of_another_type(given: object) -> None:
    """A list or a section in place of a unit is refused by its field."""
    head = least(units={"readings": given, "offsets": "mm"})
    with pytest.raises(FlatcheckError, match=r"units\.readings"):
        checked(tomli_w.dumps(head), {"t.csv": frozen(grid(2, 2))})


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
        pytest.param("x = " + "9" * 5000, id="an integer of 5,000 digits"),
        pytest.param("x = " + "[" * 5000 + "]" * 5000, id="5,000 lists in one another"),
        pytest.param("x = " + "." * 5000, id="dots"),
        pytest.param('x = "\\ud800"', id="half a character"),
        pytest.param("x = 1\nx = 2", id="a key twice"),
    ],
)
def test_hostile_text(line: str) -> None:
    """A document made to break the parser is refused as one that cannot be read."""
    with pytest.raises(FlatcheckError, match=r"^survey\.toml"):
        checked(f"{line}\n{document()}", {"t.csv": frozen(grid(2, 2))})


JOINED = {
    "one key": ".".join("a" * 50_000) + " = 1\n",
    "quoted": ".".join(["'a b'"] * 20_000) + " = 1\n",
    "escaped": " . ".join(['"\\""'] * 15_000) + " = 1\n",
    "header": "[" + ".".join("a" * 50_000) + "]\n",
    "inline": "x = {" + ".".join("1" * 50_000) + " = 1}\n",
    "under a header": f"[{'.'.join('a' * 200)}]\n" + f"{'.'.join('b' * 200)}.c = 1\n" * 200,
}


@pytest.mark.parametrize("line", JOINED.values(), ids=JOINED)
def test_names_joined_without_end(line: str) -> None:
    """Keys of thousands of names joined by dots are refused at once, by their line."""
    started = time.process_time()
    with pytest.raises(FlatcheckError) as caught:
        checked(f"{document()}\n{line}", {"t.csv": frozen(grid(2, 2))})
    assert time.process_time() - started < 2
    at = document().count("\n") + 2
    one_sentence(str(caught.value), f"line {at} joins more names by dots than any key has.")


WORST = {
    "many keys": lambda n: "".join(f"{'.'.join('a' * 15)}.b{i}=1\n" for i in range(n // 38)),
    "under a header": lambda n: (
        f"[{'.'.join('a' * 15)}]\n"
        + "".join(f"c{i}.{'.'.join('b' * 14)}=1\n" for i in range(n // 37))
    ),
    "headers": lambda n: "".join(f"[c{i}.{'.'.join('b' * 14)}]\n" for i in range(n // 37)),
    "words": lambda n: f"notes = '{'a ' * (n // 2 - 9)}'\n",
    "escapes": lambda n: 'x = "' + '\\"' * (n // 2 - 9) + '"\n',
    "quotes": lambda n: "#" + '"' * (n - 9) + "\n",
    "one word": lambda n: f"{'a' * (n - 9)} = 1\n",
    "lists": lambda n: "".join(f"x{i} = {'[' * 100}{']' * 100}\n" for i in range(n // 210)),
}


@pytest.mark.parametrize("made", WORST.values(), ids=WORST)
def test_the_longest_document(made: Callable[[int], str]) -> None:
    """The longest document that is read takes no longer than a person waits, whatever it holds."""
    typed = made(fields.MOST_BYTES)
    assert fields.MOST_BYTES * 0.9 < len(typed) <= fields.MOST_BYTES
    started = time.process_time()
    judged_or_refused(lambda: fields.parsed(typed))
    assert time.process_time() - started < 2


def test_a_document_that_is_too_long() -> None:
    """A longer one is refused by its length, from a file and from elsewhere."""
    typed = document() + "#" * fields.MOST_BYTES
    with pytest.raises(FlatcheckError) as caught:
        checked(typed, {"t.csv": frozen(grid(2, 2))})
    one_sentence(str(caught.value), f"a survey document has at most {fields.MOST_BYTES:,}.")


@pytest.mark.parametrize(
    ("section", "key"),
    [("survey", "title"), ("survey", "date"), ("instrument", "uncertainty"), ("tile", "length")],
)
def test_whole_numbers_without_end(section: str, key: str) -> None:
    """A number of thousands of digits, which Python does not write out, is refused by its key."""
    head = least()
    head.setdefault(section, {})[key] = 4711
    typed = tomli_w.dumps(head).replace("4711", "0x" + "f" * 9000)
    with pytest.raises(FlatcheckError) as caught:
        checked(typed, {"t.csv": frozen(grid(2, 2))})
    one_sentence(str(caught.value), f"{section}.{key} is a whole number of too many digits.")


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('"' + "k" * 9000 + '" = 1', "kkk...' is not known here"),
        ("[survey]\ntitle = [" + "1, " * 9000 + "]", "survey.title = [1, 1,"),
        ("[[zone]]\n" * 101, "[[zone]] stands there 101 times; up to 100 are read."),
        ('[[drain]]\nname="a"\n' * 101, "[[drain]] stands there 101 times; up to 100 are read."),
    ],
)
def test_messages_stay_short(lines: str, said: str) -> None:
    """However much there is of what cannot be used, a message is a sentence."""
    typed = f"{document()}\n{lines}\n" if lines[0] == "[" else f"{lines}\n{document()}"
    with pytest.raises(FlatcheckError) as caught:
        checked(typed, {"t.csv": frozen(grid(2, 2))})
    one_sentence(str(caught.value), said)
    assert len(str(caught.value)) < 300


def round_ring(corners: int, east: float = 1500, radius: float = 1500) -> list[list[float]]:
    turns = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    ring = np.column_stack((east + radius * np.cos(turns), 1500 + radius * np.sin(turns)))
    return ring.round(3).tolist()


def test_an_outline_of_too_many_corners() -> None:
    """Plans that would take minutes to look through are refused by their corners."""
    ring = {"outline": round_ring(501)}
    refused(frozen(grid()), "room: an outline has at most 500 corners", room=ring)
    posts = [{"outline": round_ring(20, 100 + 56 * n, 12)} for n in range(25)]
    refused(frozen(grid()), "at most 500 corners altogether", room=ROOM | {"cutout": posts})


def test_a_survey_of_too_many_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables that are each small enough, and together too large, are refused."""
    monkeypatch.setattr(folder_module, "MOST_BYTES", 100)
    entry = {"kind": "points", "sense": "rod"}
    entries = [{"file": f"{n}.csv"} | entry for n in range(3)]
    (tmp_path / "survey.toml").write_text(document(table=entries))
    for n in range(3):
        (tmp_path / f"{n}.csv").write_text("x,y,reading\n" + f"{n},0,1\n" * 5)
    with pytest.raises(FlatcheckError) as caught:
        read_folder(tmp_path)
    one_sentence(str(caught.value), "of tables; a survey has at most that.")


def test_a_table_of_blank_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blank lines count as cells: millions of them fill no memory."""
    monkeypatch.setattr(cells_module, "MOST_CELLS", 1000)
    assert pasted("t.csv", "\n" * 900 + "1,2\n") != ()
    with pytest.raises(FlatcheckError, match=r"^t\.csv spans more cells than a table of readings"):
        pasted("t.csv", "\n" * 1001)


def test_points_of_many_setups() -> None:
    """As many setups as points are told apart without holding each against each."""
    rows = [["x", "y", "reading", "setup"]]
    rows += [[str(n), "0", "5", f"S{n}"] for n in range(20_000)]
    started = time.process_time()
    checked(document("points"), {"t.csv": frozen(rows)})
    assert time.process_time() - started < 5


WORDS = (
    "title place date by surface notes readings offsets show name uncertainty reads_to rule "
    "decision outline walls cutout kind fall toward length width joint file sense setup intent "
    "slope tilt_uncertainty east north"
)
KEYS = sorted(WORDS.split())
TEXTS = (
    "mm in ft m rod elevation grid points gaps tilts corners benchmarks level deg fall 2% 1:80 "
    "north 1/8″ t.csv in/16 mm/0.1 us-tile us-tile:plane bs-5385-3:finished din-18202 bs-8204 "
    "1e400 -5 999999999999m"
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
    more = draw(st.sampled_from([{}, {"zone": [{"outline": ROOM["outline"]}]}, {"survey": {}}]))
    head = copy.deepcopy(least(**more))  # what is replaced in it must not change ROOM
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


@example(least(units={"readings": [], "offsets": "mm"}))
@example(least(intent=FALL | {"toward": {}}))
@given(heads())
@settings(max_examples=300, deadline=None)
def test_any_document(head: dict[str, Any]) -> None:
    """Whatever a document says it is judged, or refused in words: no other exception comes out."""
    rows = grid(2, 2)
    rows[2][2] = "9"
    judged_or_refused(lambda: assess(checked(tomli_w.dumps(head), {"t.csv": frozen(rows)})))


HEADERS = {
    "grid": ",0,300",
    "points": "x,y,reading",
    "gaps": "bar,x1,y1,x2,y2,at,gap,block",
    "tilts": "x,y,toward,reading,length",
    "corners": "x,y,sw,se,ne,nw",
    "benchmarks": "x,y,height,uncertainty",
}
OPTIONS = {
    "tilts": {"slope": "%", "length": "300 mm", "tilt_uncertainty": "0.1 %"},
    "corners": {"east": 300, "north": 300},
}
FEW = "0 1 2 5 300 600 -300 -1 0.5 x north east 45 1/8″ 1:80 2%"
SMALL = st.sampled_from([*FEW.split(), ""])


@given(st.lists(st.lists(LEAF.map(str) | SMALL, min_size=2, max_size=8), max_size=6))
@settings(max_examples=120, deadline=None)
@pytest.mark.parametrize("kind", HEADERS)
def test_any_cells(kind: str, rows: list[list[str]]) -> None:
    """Whatever stands in the cells they are read, or refused in words."""
    table = {"file": "t.csv", "kind": kind, "sense": "rod"} | OPTIONS.get(kind, {})
    typed = document(table=[table])
    for cells in (frozen(rows), frozen([HEADERS[kind].split(","), *rows])):
        refusal = judged_or_refused(lambda cells=cells: checked(typed, {"t.csv": cells}))
        assert refusal.startswith("t.csv") or not refusal


def tables_of(
    heights: list[tuple[int, int, int, int]],
    bars: list[tuple[int, int, int, list[int]]],
    levels: list[tuple[int, int, int, int]],
    marks: list[tuple[int, int, int]],
) -> dict[str, list[list[str]]]:
    """Tables of every kind over a grid of 5 x 5 places 300 mm apart, from numbers drawn at will."""
    rows = {kind: [HEADERS[kind].split(",")] for kind in ("points", "gaps", "tilts", "benchmarks")}
    rows["points"][0].append("setup")
    for x, y, height, setup in heights:
        rows["points"].append([str(x * STEP), str(y * STEP), str(height), "ABC"[setup]])
    for number, (way, line, block, values) in enumerate(bars):
        ends = {
            0: [0, line * STEP, 4 * STEP, line * STEP],
            1: [line * STEP, 0, line * STEP, 4 * STEP],
            2: [0, 0, 4 * STEP, 4 * STEP],
        }[way]
        length = 4 * STEP * (2**0.5 if way == 2 else 1)
        for k, value in enumerate(values):
            at = f"{length * k / 4:.9f}"
            on = str(20 * block) if block else ""
            if not (block and k in (0, 4)):
                gap = str(value + 20 * block)
                rows["gaps"].append([f"{number}", *map(str, ends), at, gap, on])
    for x, y, way, reading in levels:
        toward = ("north", "east", "south", "45")[way]
        rows["tilts"].append([str(x * STEP), str(y * STEP), toward, str(reading), ""])
    for x, y, u in marks:
        rows["benchmarks"].append([str(x * STEP), str(y * STEP), "100", ("", "0.3")[u]])
    return {kind: cells for kind, cells in rows.items() if len(cells) > 1}


AT = st.integers(0, 4)
OFF = st.sampled_from([0, 0, 0, 1, 2, 40])
SURVEYS = st.builds(
    tables_of,
    st.lists(st.tuples(AT, AT, OFF, st.integers(0, 2)), max_size=20),
    st.lists(
        st.tuples(st.integers(0, 2), AT, st.integers(0, 1), st.lists(OFF, min_size=5, max_size=5)),
        max_size=8,
    ),
    st.lists(st.tuples(AT, AT, st.integers(0, 3), st.sampled_from([0, 1, -2])), max_size=6),
    st.lists(st.tuples(AT, AT, st.integers(0, 1)), max_size=3),
)


@example(tables_of([], [(0, 0, 0, [0, 0, 0, 0, 0]), (0, 0, 0, [0, 0, 2, 40, 0])], [], []))
@example(tables_of([(0, 0, 0, 0), (1, 0, 0, 0)], [], [(0, 0, 1, 0)], []))
@example(tables_of([(0, 0, 0, 0), (3, 1, 0, 1), (3, 1, 1, 1)], [], [], []))
@given(SURVEYS)
@settings(max_examples=60, deadline=None)
def test_any_mix_of_readings(tables: dict[str, list[list[str]]]) -> None:
    """Whatever mix of readings there is it is judged and told, or refused in words."""
    entries = [
        {"file": f"{kind}.csv", "kind": kind} | OPTIONS.get(kind, {}) | {"sense": "elevation"}
        for kind in tables
    ]
    if not entries:
        return
    cells = {f"{kind}.csv": frozen(rows) for kind, rows in tables.items()}
    words: list[str] = []
    judged_or_refused(lambda: words.append(text(assess(checked(document(table=entries), cells)))))
    assert not re.search(r"\b(nan|inf)\b", " ".join(words))


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
