"""The command line: what it prints, what it returns, what it refuses."""

import argparse
import importlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from flatcheck.cli import COMMANDS, main
from flatcheck.commands.said import tile_section
from flatcheck.errors import SurveyError

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_surveys"
BARE = ["--sense", "rod", "--readings", "in", "--offsets", "ft", "--uncertainty", "1/64 in"]
GRID = ",0,1,2\n0,40,40,40\n1,40,40,40\n2,40,40,40\n"


def test_status_and_words_of_a_floor_that_is_out(capsys: pytest.CaptureFixture[str]) -> None:
    """A floor that is out returns 1 and says where, measured from two named walls."""
    assert main(["check", str(SAMPLES / "millbrook-plywood")]) == 1
    said = capsys.readouterr().out
    assert said.startswith('OUT for 12" x 24" tile')
    assert 'low, 5/16" against 1/8"' in said
    assert "from the porch wall" in said
    assert "Certainty:" in said


def test_json_is_complete_and_plain(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON carries the outcome under both decisions, every rule and every spot, in mm."""
    assert main(["check", str(SAMPLES / "millbrook-plywood"), "--json"]) == 1
    got = json.loads(capsys.readouterr().out)

    assert got["outcome"] == "out"
    assert got["as_read"] == "out"
    assert {rule["rule"] for rule in got["rules"]} == {"10ft", "short"}
    assert got["rules"][0]["worst"]["limit_mm"] == 3.175
    assert got["spots"][0]["number"] == 1


def test_bare_grid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bare table is judged once its sense, units and uncertainty are said."""
    path = tmp_path / "grid.csv"
    path.write_text(GRID)

    assert main(["check", str(path), *BARE, "--standard", "din-18202:3"]) == 0
    assert capsys.readouterr().out.startswith("WITHIN: grid.csv")


@pytest.mark.parametrize(
    ("stated", "sight", "said"),
    [
        ("reading to 1/16", None, 'reading to 1/16: 0.062" / √12 = 0.018"'),
        ("1/8 in at 30 ft", "15 ft", '1/8 in at 30 ft: 0.062" at 15\', 0.062" / √3 = 0.036"'),
        ("+-2 mm at 30 m", "15 m", '0.039" at 49\' 2 9/16", 0.039" / √3 = 0.023"'),
        ("0.3 mm/m", "10 m", '0.12" at 32\' 9 11/16", 0.12" / √3 = 0.068"'),
        ("0.3 mm/m", None, None),
        ("good", None, None),
    ],
)
def test_a_makers_words_for_a_bare_grid(
    stated: str,
    sight: str | None,
    said: str | None,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A maker's words are taken on the command line; what grows with distance asks for that."""
    path = tmp_path / "grid.csv"
    path.write_text(GRID)
    command = ["check", str(path), *BARE, "--standard", "din-18202:3", "--uncertainty", stated]
    status = main([*command, *(["--sight", sight] if sight else [])])
    streams = capsys.readouterr()
    if said is None:
        assert status == 2
        assert streams.err.startswith("flatcheck: --uncertainty")
        assert ("say --sight too" in streams.err) is (stated == "0.3 mm/m")
    else:
        assert status in (0, 1, 3)
        assert f"One reading: {stated}: " in streams.out.replace("\n", " ")
        assert said in streams.out.replace("\n", " ")


def test_bare_grid_without_its_sense(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Rod or elevation is never guessed: without it nothing is judged."""
    path = tmp_path / "grid.csv"
    path.write_text(GRID)

    assert main(["check", str(path), *BARE[2:]]) == 2
    assert "--sense" in capsys.readouterr().err


def test_pasted_cells(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Cells pasted from a spreadsheet come on standard input."""
    stdin = io.TextIOWrapper(io.BytesIO(GRID.replace(",", "\t").encode()))
    monkeypatch.setattr(sys, "stdin", stdin)

    assert main(["check", "-", *BARE, "--standard", "din-18202:3"]) == 0
    assert capsys.readouterr().out.startswith("WITHIN: pasted cells")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b",0,1\n0,4O,40\n", "row 2, cell B2"),
        (b",0,1\n0,40\n", "row 2"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not a table"),
        (b",0\n0,40\n", "two readings"),
    ],
)
def test_bad_input_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, said: str
) -> None:
    """Bad input returns 2 with one sentence on stderr and nothing on stdout."""
    path = tmp_path / "grid.csv"
    path.write_bytes(content)

    assert main(["check", str(path), *BARE]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert said in streams.err
    assert streams.err.count("\n") == 1


def test_standards_are_listed_with_their_source(capsys: pytest.CaptureFixture[str]) -> None:
    """The list names every standard, its grades, its words and its certainty."""
    assert main(["standards"]) == 0
    said = capsys.readouterr().out
    for name in (
        "us-tile:bar",
        "us-tile:plane",
        "bs-8204:SR2",
        "din-18202:3",
        "bs-5385-3:finished",
    ):
        assert name in said
    assert "Certainty: agreed" in said


@pytest.mark.parametrize(
    ("written", "section"),
    [
        ("12 x 24 in", {"length": "12 in", "width": "24 in"}),
        ("600x300mm", {"length": "600 mm", "width": "300mm"}),
        ('12" × 24"', {"length": '12"', "width": '24"'}),
        ("12 by 24", {"length": "12", "width": "24"}),
    ],
)
def test_tile_sizes(written: str, section: dict[str, str]) -> None:
    """A tile is written with its unit once or twice."""
    assert tile_section(written) == section


def test_tile_of_one_edge() -> None:
    """A tile with one edge is refused."""
    with pytest.raises(SurveyError, match="two edges"):
        tile_section("12 in")


def test_a_fault_of_ours_is_no_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bug shows as one, and does not end with 1, which would call the floor out."""
    monkeypatch.setattr("flatcheck.commands.check.text", lambda _: 1 / 0)

    assert main(["check", str(SAMPLES / "saltmarsh-l-shaped")]) == 70
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_reader_that_goes_away() -> None:
    """Where nobody reads on, as behind `| head -1`, flatcheck ends without a word."""
    ran = subprocess.run(
        ["/bin/sh", "-c", f"{sys.executable} -m flatcheck standards | head -1; sleep 0.1"],
        cwd=ROOT,
        capture_output=True,
        check=False,
        text=True,
    )
    assert ran.stderr == ""
    assert ran.stdout.count("\n") == 1
    gone, ours = os.pipe()
    os.close(gone)
    with os.fdopen(ours, "wb") as pipe:
        ran = subprocess.run(
            [sys.executable, "-m", "flatcheck", "check", str(SAMPLES / "millbrook-plywood")],
            stdout=pipe,
            stderr=subprocess.PIPE,
            check=False,
            text=True,
        )
    # A shell reports 128 + 13 of a program that SIGPIPE ended; 0 and 1 would judge the floor.
    assert (ran.returncode, ran.stderr) == (141, "")


@pytest.mark.parametrize("command", [["standards"], ["check", "sample_surveys/millbrook-plywood"]])
def test_a_disk_that_is_full(command: list[str]) -> None:
    """Where no more can be written that is said in a sentence: it is no fault, and no verdict."""
    with open("/dev/full", "w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "flatcheck", *command],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
            text=True,
        )
    assert ran.returncode == 2
    assert ran.stderr == "flatcheck: there is no room left for what it has to say.\n"


PLAN = ["plan", "9 x 9 ft", "--uncertainty", "1 mm", "--tile", "12x12in"]


@pytest.mark.parametrize("name", ["sheet.htm", "sheet.pdf", "sheet", "sheet.html.bak", ".html"])
def test_a_sheet_of_another_kind(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sheet that is to be neither HTML nor CSV by its name is refused, and nothing is written."""
    assert main([*PLAN, "--sheet", str(tmp_path / name)]) == 2
    assert f"{name}: a sheet is a .html or .csv file." in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["sheet.html", "sheet.csv", "Sheet.CSV"])
def test_a_sheet_in_the_place_of_a_file(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file that is there already is kept, unless it is said that it may be overwritten."""
    sheet = tmp_path / name
    sheet.write_text("mine")
    assert main([*PLAN, "--sheet", str(sheet)]) == 2
    assert "is there already; say --overwrite" in capsys.readouterr().err
    assert sheet.read_text() == "mine"
    assert main([*PLAN, "--sheet", str(sheet), "--overwrite"]) == 0
    assert sheet.read_text().startswith("<!DOCTYPE html>") is name.endswith("html")
    assert "mine" not in sheet.read_text()


@pytest.mark.parametrize(
    ("room", "said"),
    [
        ("-12 x 14 ft", "room '-12 x 14 ft': both sides were expected to be larger than zero."),
        ("12 x -14 ft", "room '12 x -14 ft': both sides were expected to be larger than zero."),
        ("0 x 14 ft", "room '0 x 14 ft': both sides were expected to be larger than zero."),
        ("12 x 14", "room '12 x 14': '12' cannot be read: expected a unit"),
        ("nan x 14 ft", "room 'nan x 14 ft': 'nan' cannot be read"),
        ("12 ft", "'12 ft' is neither a survey folder nor the size of a room"),
        ("no such folder", "'no such folder' is neither a survey folder nor the size of a room"),
    ],
)
def test_a_room_that_is_none(room: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A room of a bad size is refused as a room, by what was written."""
    assert main(["plan", room, *PLAN[2:]]) == 2
    streams = capsys.readouterr()
    assert streams.err.startswith(f"flatcheck: {said}")
    assert (streams.out, streams.err.count("\n")) == ("", 1)


@pytest.mark.parametrize("name", ["pasted cells", "grid.xlsx", "grid.dat"])
def test_messages_call_a_table_by_its_name(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A bare table is called in messages as the person calls it."""
    bad = GRID.replace("40", "4O", 1)
    path = tmp_path / name
    path.write_text(bad)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(bad.encode())))
    assert main(["check", "-" if name == "pasted cells" else str(path), *BARE]) == 2
    assert capsys.readouterr().err.startswith(f"flatcheck: {name}, row 2, cell B2: '4O'")


def test_a_file_with_a_line_end_in_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A message about it stays one line."""
    (tmp_path / "a\nb.csv").write_text(GRID.replace("40", "4O", 1))
    assert main(["check", str(tmp_path / "a\nb.csv"), *BARE]) == 2
    assert capsys.readouterr().err.startswith("flatcheck: a?b.csv, row 2, cell B2: '4O'")


def test_the_document_in_place_of_its_folder(capsys: pytest.CaptureFixture[str]) -> None:
    """A survey may be named by its survey.toml."""
    assert main(["check", str(SAMPLES / "millbrook-plywood" / "survey.toml")]) == 1
    assert capsys.readouterr().out.startswith("OUT for")


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_is_no_table(device: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A device, which may have no end, is refused before anything is read from it."""
    assert main(["check", device, *BARE]) == 2
    assert f"{device} is a device or a pipe; a file was expected." in capsys.readouterr().err


def test_a_stream_without_end(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No more of standard input is read than a table can hold."""
    with open("/dev/zero") as zeros:
        monkeypatch.setattr(sys, "stdin", zeros)
        assert main(["check", "-", *BARE]) == 2
    assert "pasted cells is 16 MB; a table of readings has at most 16 MB" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("closed", "command", "status"),
    [("stdin", ["check", "-", *BARE], 2), ("stdout", ["standards"], 0)],
)
def test_streams_that_are_closed(
    closed: str,
    command: list[str],
    status: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Standard input that is closed is bad input, and closed output is nobody's fault."""
    monkeypatch.setattr(sys, closed, None)
    assert main(command) == status
    assert ("standard input is closed" in capsys.readouterr().err) is (status == 2)


def test_a_pipe_by_its_name() -> None:
    """Cells that a shell hands over as a pipe, as bash does with <( ), are read like a file."""
    ours, theirs = os.pipe()
    os.write(theirs, GRID.encode())
    os.close(theirs)
    ran = subprocess.run(
        [
            *(sys.executable, "-m", "flatcheck", "check", f"/dev/fd/{ours}"),
            *(*BARE, "--standard", "din-18202:3"),
        ],
        pass_fds=[ours],
        capture_output=True,
        check=False,
        text=True,
    )
    os.close(ours)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("WITHIN")


def test_a_pipe_in_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A table of a survey folder is a file: a pipe there, which nobody may feed, is refused."""
    (tmp_path / "survey.toml").write_text(
        (SAMPLES / "millbrook-plywood" / "survey.toml").read_text(encoding="utf-8")
    )
    os.mkfifo(tmp_path / "laser.csv")
    assert main(["check", str(tmp_path)]) == 2
    assert "laser.csv is a device or a pipe; a file was expected." in capsys.readouterr().err


def test_a_sheet_that_cannot_be_written(capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet in a folder that is not there is refused in one sentence."""
    assert main([*PLAN, "--sheet", "/no such folder/sheet.html"]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_a_terminal_that_knows_only_ascii() -> None:
    """Signs that a terminal cannot say are replaced; the verdict is said all the same."""
    ran = subprocess.run(
        [
            *(sys.executable, "-m", "flatcheck", "check"),
            *("sample_surveys/millbrook-plywood", "--show", "mm"),
        ],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=False,
    )

    assert ran.returncode == 1
    assert ran.stdout.startswith(b"OUT")
    assert ran.stderr == b""


@pytest.mark.parametrize("file", COMMANDS)
def test_every_command_is_where_it_is_said_to_be(file: str) -> None:
    """A file of commands has those that it is loaded for, and no other."""
    verbs = argparse.ArgumentParser().add_subparsers()
    importlib.import_module(f"flatcheck.commands.{file}").add(verbs)
    assert tuple(verbs.choices) == COMMANDS[file]


def test_page_loads_nothing_to_begin() -> None:
    """The page's server is started before anything that takes long to load."""
    said = "import sys; from flatcheck.cli import _parser; _parser('page'); print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", said], capture_output=True, text=True, check=True
    )
    assert not {"numpy", "scipy", "streamlit"} & set(loaded.stdout.split())
