"""Corrections a person asks for: drift, collimation, a bowed bar, a maker's words."""

import math
import re
from pathlib import Path
from typing import Any

import pytest

from flatcheck.adjust import adjust
from flatcheck.cli import main
from flatcheck.document import build
from flatcheck.errors import SurveyError
from flatcheck.instrument import standard_uncertainty, statement
from flatcheck.readers.points import drift_words, drifts
from flatcheck.survey import Cells, Gap, Reading, Table
from flatcheck.tables import readings_of
from flatcheck.units import STYLES, parse_slope

HEADER = ("x", "y", "reading", "setup", "note")


def points(rows: list[tuple[str, ...]], table: str = "", instrument: str = "") -> list[Any]:
    """The readings of a list of points, in mm, with further keys for its table."""
    cells: Cells = (HEADER, *rows)
    return list(
        readings_of(build(document("points", 'sense = "rod"', table, instrument), {"t.csv": cells}))
    )


def document(kind: str, *lines: str) -> str:
    """A survey document around one table; the last line goes to [instrument]."""
    *table, instrument = lines
    return "\n".join(
        (
            "flatcheck = 1",
            "[units]",
            'readings = "mm"',
            'offsets = "mm"',
            "[instrument]",
            instrument if "uncertainty" in instrument else f'uncertainty = "0.5 mm"\n{instrument}',
            "[[table]]",
            'file = "t.csv"',
            f'kind = "{kind}"',
            *table,
        )
    )


def test_drift_is_spread_over_the_readings() -> None:
    """A laser that sank 3 mm over three steps is put back by 0, 1, 2 and 3 mm in turn."""
    rows = [("0", "0", "1000", "", ""), ("500", "0", "1010", "", ""), ("900", "0", "1020", "", "")]
    read = points([*rows, ("0", "0", "1003", "", "closing")], "warmed_up = true")

    # The closing reading has served, and is no second look at its place.
    assert [r.height_mm for r in read] == pytest.approx([-1000, -1009, -1018])
    assert [r.u_mm for r in read] == pytest.approx(
        [0.5 * math.hypot(1, share * math.sqrt(2)) for share in (0, 1 / 3, 2 / 3)]
    )


def test_drift_needs_a_closing_reading() -> None:
    """Without a last reading where the first was taken nothing is spread."""
    rows = [("0", "0", "1000", "", ""), ("500", "0", "1010", "", "")]
    with pytest.raises(SurveyError, match=r"row 3.*repeat its first"):
        points(rows, "warmed_up = true")


@pytest.mark.parametrize("given", ['"no"', '"yes"', "0", "1", "[]"])
def test_warmed_up_is_yes_or_no(given: str) -> None:
    """Only true and false say whether there was a drift: words and numbers are refused."""
    rows = [("0", "0", "1000", "", ""), ("0", "0", "1003", "", "")]
    with pytest.raises(SurveyError, match=r"^table t\.csv: warmed_up = .* to be true or false"):
        points(rows, f"warmed_up = {given}")


def test_no_drift_to_take_off() -> None:
    """A table that was not warmed up for is read as it stands."""
    rows = [("0", "0", "1000", "", ""), ("0", "0", "1003", "", "")]
    assert [r.height_mm for r in points(rows, "warmed_up = false")] == [-1000, -1003]


def drifted(last: str, table: str = "warmed_up = true") -> Table:
    cells: Cells = (
        HEADER,
        ("0", "0", "1000", "A", ""),
        ("500", "0", "1010", "A", ""),
        ("500", "0", "1210", "B", "tie"),
        ("0", "0", last, "A", ""),
        ("500", "0", "1210", "B", "closing"),
    )
    return build(document("points", 'sense = "rod"', table, ""), {"t.csv": cells}).tables[0]


def test_drift_is_told() -> None:
    """Each setup's drift is the difference of its last and first reading, with √2 u; it is said."""
    moved, still = drifts(drifted("1003"))
    assert (moved.setup, moved.change_mm, moved.u_mm) == ("A", 3, pytest.approx(0.5 * math.sqrt(2)))
    assert (still.setup, still.change_mm) == ("B", 0)
    assert drift_words(drifted("1003"), STYLES["mm/0.1"]) == [
        "Setup A drifted 3 mm between its first and last reading; it was spread over the readings "
        "in between.",
        "Setup B changed by 0 mm between its first and last reading, which reading error alone can "
        "do; it was spread over the readings in between all the same.",
    ]


def test_a_small_drift_is_no_proof() -> None:
    """Up to 2 √2 u, here 1.41 mm, two readings of one place differ without any drift."""
    for last, word in (("1001.4", "reading error alone"), ("998.6", "reading error alone")):
        assert word in drift_words(drifted(last), STYLES["mm/0.1"])[0]
    for last in ("1001.5", "998.5"):
        said = drift_words(drifted(last), STYLES["mm/0.1"])[0]
        assert said.startswith("Setup A drifted 1.5 mm between")


def test_no_word_of_drift_where_none_is_taken_off() -> None:
    """A table that says nothing of drift, or of another kind, has no drift to tell."""
    assert drift_words(drifted("1003", ""), STYLES["mm"]) == []
    assert drift_words(Table("g.csv", "grid", "rod", "1", "mm", "mm", 1, ()), STYLES["mm"]) == []


def test_collimation_by_distance() -> None:
    """A sight that rises 0.5 mm in a meter reads 2 mm too much at 4 m (3 east, 4 - 4 north)."""
    rows = [("0", "0", "1000", "", ""), ("4000", "0", "1000", "", "")]
    keys = 'collimation = "0.5 mm/m"\nlevel_at = ["0", "0"]'
    near, far = points(rows, keys)

    assert near.height_mm == pytest.approx(-1000)
    assert far.height_mm == pytest.approx(-998)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('collimation = "0.5 mm/m"', "collimation and level_at belong together"),
        ("level_at = [0, 0]", "collimation and level_at belong together"),
        ('collimation = "0.5 mm/m"\nlevel_at = [0]', "collimation and level_at belong together"),
        ('collimation = "0.5 mm/m"\nlevel_at = "x"', "collimation and level_at belong together"),
        ('collimation = "0.5 mm/m"\nlevel_at = [0, "x"]', "level_at: 'x' cannot be read"),
        ('collimation = "up"\nlevel_at = [0, 0]', "collimation: 'up' cannot be read"),
        ("collimation = true\nlevel_at = [0, 0]", "collimation = True was expected to be a slope"),
        ("collimation = 0.5\nlevel_at = [0, 0]", "collimation was expected to be at most 10 mm in"),
        ('collimation = "-2%"\nlevel_at = [0, 0]', "collimation was expected to be at most 10 mm"),
    ],
)
def test_a_collimation_that_is_none(keys: str, said: str) -> None:
    """A collimation without the level's place, no slope, or too steep is refused by its key."""
    with pytest.raises(SurveyError) as caught:
        points([("0", "0", "1", "", ""), ("1", "9", "1", "", "")], keys)
    assert str(caught.value).startswith(f"table t.csv: {said}")


def test_a_tie_needs_a_partner() -> None:
    """A place marked as a tie that no other setup read is refused, by its row."""
    rows = [("0", "0", "10", "A", ""), ("500", "0", "10", "A", "tie"), ("900", "0", "9", "B", "")]
    with pytest.raises(SurveyError, match=r"row 3.*'10' has no partner"):
        adjust(points(rows))
    rows.append(("500", "0", "8", "B", "tie"))

    assert len(adjust(points(rows)).xy_mm) == 3


def test_setups_that_are_listed() -> None:
    """Where the document lists its setups another name is a slip of the pen."""
    rows = [("0", "0", "10", "A", ""), ("500", "0", "10", "AA", "")]
    with pytest.raises(SurveyError, match=r"row 3.*setup 'AA' is not one of A, B"):
        points(rows, instrument='setups = ["A", "B"]')


def test_a_bowed_bar_is_allowed_for() -> None:
    """An arch of 1 mm at the middle is 0.75 mm at a quarter and nothing at the ends."""
    cells: Cells = (
        ("bar", "x1", "y1", "x2", "y2", "at", "gap"),
        ("a", "0", "0", "2000", "0", "0", "2"),
        ("a", "", "", "", "", "500", "2"),
        ("a", "", "", "", "", "1000", "2"),
        ("a", "", "", "", "", "2000", "2"),
    )
    read = readings_of(build(document("gaps", 'bow = "1 mm"', ""), {"t.csv": cells}))

    assert [g.gap_mm for g in read if isinstance(g, Gap)] == pytest.approx([2, 1.25, 1, 2])


@pytest.mark.parametrize(
    ("words", "u_mm"),
    [
        ('uncertainty = "1/32 in"', 25.4 / 32),
        ('uncertainty = "+-2 mm"', 2 / math.sqrt(3)),
        ('uncertainty = "+-2 mm at 30 m"\nsight = "15 m"', 1 / math.sqrt(3)),
        ('uncertainty = "0.3 mm/m"\nsight = "10 m"', 3 / math.sqrt(3)),
        ('uncertainty = "0.3 mm, reading to 1 mm"', math.hypot(0.3, 1 / math.sqrt(12))),
        ('uncertainty = "0.3 mm"\nreads_to = "1 mm"', math.hypot(0.3, 1 / math.sqrt(12))),
    ],
)
def test_uncertainty_in_everyday_words(words: str, u_mm: float) -> None:
    """What a maker or a setter says becomes a standard uncertainty (JCGM 100:2008, 4.3.7)."""
    (one, _) = points([("0", "0", "1", "", ""), ("9", "9", "1", "", "")], instrument=words)

    assert isinstance(one, Reading)
    assert one.u_mm == pytest.approx(u_mm)


def test_a_bound_at_a_distance_needs_the_sight() -> None:
    """A statement that grows with distance says which key is missing."""
    with pytest.raises(SurveyError, match=r"instrument\.sight"):
        points([("0", "0", "1", "", "")], instrument='uncertainty = "+-2 mm at 30 m"')


def test_two_peg_from_the_shell(capsys: pytest.CaptureFixture[str]) -> None:
    """The published example of 0.05 m in 100 m (see tests/validation/test_two_peg.py), as words."""
    command = ["two-peg", "1.32 m", "1.56 m", "1.11 m", "1.39 m", "10 m", "90 m"]

    assert main(command) == 0
    said = capsys.readouterr().out
    assert "rises 5 mm in 10.00 m" in said
    assert 'collimation = "0.5000 mm/m"' in said


TYPED = ["two-peg", "48 in", "49 in", "47 in", "48 3/4 in", "10 ft", "90 ft"]
"""B is 1 in above A from midway and 1 3/4 in from elsewhere: 3/4 in in 80 ft, 9/32 in in 30 ft."""


def test_units_that_were_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Plan, two pegs and bar answer in the units that were typed, unless others are asked for."""
    table = tmp_path / "bar.csv"
    table.write_text("at,first,turned\n1 ft,1/8 in,1/16\n3 ft,3/16 in,1/16 in\n")
    for command, typed, other in (
        (TYPED, "rises 0.28\" in 30'", "7.1 mm in 9.14 m"),
        (["bar", str(table), "6 ft", "--readings", "in"], "0.0", " mm (give"),
        (["plan", "12 x 10 ft", "--tile", "12 x 24 in", "--uncertainty", "1 mm"], "2' 4\"", " mm"),
    ):
        assert main(command) == 0
        said = capsys.readouterr().out
        assert typed in said
        assert other not in said.replace(": 1 mm", "").replace("1 mm:", "")
        assert main([*command, "--show", "mm/0.1"]) == 0
        assert " mm" in capsys.readouterr().out
    metric = ["plan", "4 x 5 m", "--tile", "600 x 300 mm", "--uncertainty", "0.3 mm/m"]
    assert main([*metric, "--standard", "bs-8204:SR1"]) == 0
    assert '"' not in capsys.readouterr().out


def test_the_slope_to_write_is_read_back(capsys: pytest.CaptureFixture[str]) -> None:
    """The collimation that two pegs give, in inches too, is read as the slope that it is."""
    for command, ratio in ((TYPED, 0.75 / (80 * 12)), ([*TYPED, "--show", "mm"], 0.75 / 960)):
        assert main(command) == 0
        (written,) = re.findall(r'collimation = "(.+?)"', " ".join(capsys.readouterr().out.split()))
        assert parse_slope(written) == pytest.approx(ratio, rel=1e-3)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (("1 m", "1 m", "1 m", "1 m"), "is level, to 0.5 mm in 10.00 m."),
        (("1 m", "1 m", "1 m", "1.0001 m"), "is level, to 0.5 mm in 10.00 m."),
        (("1 m", "1 m", "1 m", "1.001 m"), "rises 0.12 mm in 10.00 m (give or take 0.5 mm)."),
        (("1 m", "1 m", "1 m", "0.999 m"), "falls 0.12 mm in 10.00 m (give or take 0.5 mm)."),
    ],
)
def test_a_level_that_is_true(
    readings: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where two pegs show no angle beyond the readings nothing is to be corrected."""
    assert main(["two-peg", *readings, "10 m", "90 m"]) == 0
    told = capsys.readouterr().out
    assert said in told
    assert "collimation" not in told


@pytest.mark.parametrize(
    ("maker", "said"),
    [
        ("+-2 mm at 30 m", "It does not keep to '+-2 mm at 30 m': have it adjusted."),
        ("1 mm/m, reading to 1 mm", "It keeps to '1 mm/m'."),
        ("0.5 mm/m", "Whether it keeps to '0.5 mm/m' these readings cannot tell."),
    ],
)
def test_what_the_maker_says_of_a_level(
    maker: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A level whose sight rises 0.5 mm in a meter is held against what was said of it."""
    command = ["two-peg", "1.32 m", "1.56 m", "1.11 m", "1.39 m", "10 m", "90 m"]
    assert main([*command, "--uncertainty", maker]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert said in told
    rod = "reading to 1 mm: 1 mm / √12" if "reading" in maker else "1 mm: taken as it stands, 1 mm"
    assert f"One reading of a rod: {rod}" in told


@pytest.mark.parametrize(
    "stated", ["1/8 in at 30 ft", "+-2 mm at 30 m", "0.3 mm/m", "reading to 1/16"]
)
def test_a_makers_statement_in_a_plan(stated: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each statement is understood by a plan, which shows how it became an uncertainty."""
    size = ["12 x 14 ft", "--tile", "12 x 24 in", "--rule", "24in"]
    assert main(["plan", *size, "--uncertainty", stated]) == 0
    told = capsys.readouterr().out
    sight = math.hypot(12, 14) * 304.8  # from one corner of the room to the other
    u = standard_uncertainty(statement(stated), sight) / 25.4
    assert f"One reading: {stated}: " in told
    assert f'= {u:.2g}" (' in told
    assert f'with readings good to {u:.2g}"' in told
    assert "10'" not in told


def test_a_gap_is_read_from_no_distance(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A maker's words on a level say nothing of a gap under a bar; its step does."""
    table = tmp_path / "bar.csv"
    table.write_text("at,first,turned\n500,3,3.2\n900,3,3.4\n")
    assert main(["bar", str(table), "2 m", "--uncertainty", "0.3 mm/m"]) == 2
    assert "a gap under a bar has none" in capsys.readouterr().err
    assert main(["bar", str(table), "2 m", "--uncertainty", "reading to 1/64"]) == 0
    told = capsys.readouterr().out
    assert "One gap: reading to 1/64: 0.4 mm / √12 = 0.11 mm (rounding to a step)" in told


def test_a_bar_from_the_shell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bar with an arch of 0.5 mm on a flat floor reads +arch one way up and -arch the other."""
    rows = ["at,first,turned"]
    for at in range(0, 2001, 250):
        arch = 0.5 * 4 * (at / 2000) * (1 - at / 2000)
        rows.append(f"{at},{3 + arch:.6f},{3 - arch:.6f}")
    table = tmp_path / "bar.csv"
    table.write_text("\n".join(rows))

    assert main(["bar", str(table), "2 m"]) == 0
    assert "arch at the middle: 0.5 mm" in capsys.readouterr().out
    reordered = [",".join(reversed(row.split(","))) for row in ["", *rows]]
    table.write_text("\n".join([*reordered, ",,"]))
    assert main(["bar", str(table), "2 m"]) == 0
    assert "arch at the middle: 0.5 mm" in capsys.readouterr().out
    assert main(["bar", str(table), "2 m", "--turn", "end for end"]) == 0
    assert "upside down" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("at,first,turned\n500,3,3\n1500,4O,3\n", "bar.csv, row 3, cell B3: '4O' cannot be read"),
        ("at,first,turned\n500,3\n", "bar.csv, row 2, cell C2: '' cannot be read"),
        ("at,first,turned\n2001,3,3\n", "bar.csv, row 2, cell A2: '2001' is off the bar, which is"),
        ("at,first,turned\n-1,3,3\n", "bar.csv, row 2, cell A2: '-1' is off the bar"),
        ("at,first,turned\n500,1e9,3\n", "bar.csv, row 2, cell B2: '1e9' cannot be read"),
        ("at,first,turned\n500,999999,3\n", "bar.csv, row 2, cell B2: the gap '999999' is longer"),
        ("at,first,turned\n500,3,3,3\n", "bar.csv, row 2: 4 cells under 3 columns"),
        ("at,first,back\n500,3,3\n", "bar.csv, row 1, cell C1: 'back' is not a column of a table"),
        ("at,first\n500,3\n", "bar.csv, row 1: the column 'turned' is missing"),
        ("at,first,turned\n", "bar.csv holds no readings"),
        ("", "bar.csv is empty"),
    ],
)
def test_a_bar_that_cannot_be_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    """What cannot be read of a turned bar is named by its row and cell, as in any table."""
    (tmp_path / "bar.csv").write_text(text)
    assert main(["bar", str(tmp_path / "bar.csv"), "2 m"]) == 2
    streams = capsys.readouterr()
    assert streams.err.startswith(f"flatcheck: {said}")
    assert (streams.out, streams.err.count("\n")) == ("", 1)


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (["bar", "bar.csv", "-2 m"], "a bar was expected to have a length larger than zero"),
        (
            ["bar", "bar.csv", "2 m", "--uncertainty", "0 mm"],
            "'0 mm': an uncertainty was expected to be larger",
        ),
        (
            ["two-peg", "1 m", "1 m", "1 m", "1 m", "1 m", "9 m", "--uncertainty=-1 mm"],
            "'-1 mm': an uncertainty was expected to be larger than zero",
        ),
    ],
)
def test_checks_of_less_than_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: list[str],
    said: str,
) -> None:
    """A bar of no length, and an uncertainty of nothing, are refused."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bar.csv").write_text("at,first,turned\n500,3,3\n")
    assert main(command) == 2
    assert said in capsys.readouterr().err


def test_a_plan_from_the_shell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan says how many readings each rule takes, and writes the sheet it names."""
    sheet = tmp_path / "sheet.html"
    command = ["plan", "12 x 10 ft", "--tile", "12 x 24 in", "--uncertainty", "1/64 in"]

    assert main([*command, "--sheet", str(sheet)]) == 0
    said = capsys.readouterr().out
    assert "a reading every 2' 4\" (2' 6\" at most)" in said
    assert 'a reading every 6"' in said
    assert sheet.read_text().startswith("<!DOCTYPE html>")
    assert main([*command, "--rule", "11ft"]) == 2
