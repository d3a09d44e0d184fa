"""The command line: what it prints, what it returns, what it refuses."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from flatcheck.cli import main, tile_section
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
    monkeypatch.setattr("flatcheck.cli.text", lambda _: 1 / 0)

    assert main(["check", str(SAMPLES / "saltmarsh-l-shaped")]) == 70
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_sheet_that_cannot_be_written(capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet in a folder that is not there is refused in one sentence."""
    command = ["plan", "9 x 9 ft", "--uncertainty", "1 mm", "--tile", "12x12in"]

    assert main([*command, "--sheet", "/no such folder/sheet.html"]) == 2
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
