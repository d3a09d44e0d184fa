"""One survey against every standard: each row ends as `check` does, and what it would carry."""

import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.compare import Comparison, Row, compare, share_of
from flatcheck.errors import FlatcheckError
from flatcheck.lippage import judge_steps
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.compare import carry_words, compare_record, compare_text
from flatcheck.rules import standards
from flatcheck.survey import Survey
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


def grooved(depth_mm: float, **sections: Any) -> Survey:
    """A level floor read every 250 mm in a room of 4 m by 3 m with one groove from wall to wall."""
    given: dict[str, Any] = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.01 mm"},
        "room": {"outline": [[0, 0], [4000, 0], [4000, 3000], [0, 3000]]},
        "intent": {"kind": "level"},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "elevation"}],
    }
    cells = [("", *(str(250 * k) for k in range(17)))]
    row = ["0"] * 17
    row[8] = f"{-depth_mm:g}"
    cells += [(str(250 * k), *row) for k in range(13)]
    return checked(tomli_w.dumps(given | sections), {"t.csv": tuple(cells)})


def row_of(found: Comparison, name: str) -> Row:
    (row,) = (row for row in (*found.rows, *found.aside) if row.name == name)
    return row


@pytest.mark.parametrize("name", ["millbrook-plywood", "cressbrook-pan", "withy-end-wall"])
def test_every_row_ends_as_check_does(name: str) -> None:
    """Each grade ends as the survey does that names it alone; what does not apply is refused."""
    survey = read_folder(SAMPLES / name)
    found = compare(survey)
    for row in (*found.rows, *found.aside):
        if row.standard.about == "lippage":
            continue
        falls = row.standard.about == "falls"
        asked: dict[str, Any] = {"rule": "none" if falls else row.name}
        asked |= {"falls": [row.name]} if falls else {"falls": []}
        edge = "100 mm" if row.edge_from_mm == 0 else "800 mm"
        tile = {"length": edge, "width": edge}
        other = edited(survey, {"standard": asked | {"lippage": ""}, "tile": tile})
        if row.why:
            with pytest.raises(FlatcheckError):
                assess(other)
            continue
        verdict = assess(other).verdict
        assert (row.guarded, row.as_read) == (verdict.guarded, verdict.as_read), row.name
        assert row.findings == verdict.findings, row.name


def test_every_grade_has_a_row() -> None:
    """No grade is left out: it has a row, or a reason why it does not apply."""
    found = compare(grooved(1))
    named = {row.name for row in (*found.rows, *found.aside)}
    assert named == {f"{s.id}:{g.id}" for s in standards().values() for g in s.grades}
    assert all(row.why for row in found.aside)
    assert not any(row.why for row in found.rows)


def test_how_far_over() -> None:
    """A groove of 4 mm is a third over 3 mm, a fifth inside 5 mm, three fifths inside 10 mm."""
    found = compare(grooved(4))
    for grade, share, outcome in (
        ("SR1", 4 / 3 - 1, Outcome.OUT),
        ("SR2", 4 / 5 - 1, Outcome.WITHIN),
        ("SR3", 4 / 10 - 1, Outcome.WITHIN),
    ):
        row = row_of(found, f"bs-8204:{grade}")
        assert row.share == pytest.approx(share)
        assert row.outcome is outcome


def test_share_of_a_fall() -> None:
    """A floor that falls 1.5 % is a quarter short of 2 %, and half over what 1 % asks for."""
    z = [[f"{100 - 0.015 * 250 * k:.4f}" for k in range(9)]] * 9
    cells = [("", *(str(250 * k) for k in range(9)))]
    cells += [(str(250 * k), *z[k]) for k in range(9)]
    head = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.01 mm"},
        "room": {"outline": [[0, 0], [2000, 0], [2000, 2000], [0, 2000]]},
        "intent": {"kind": "fall", "fall": "1.5 %", "toward": "east"},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "elevation"}],
    }
    found = compare(checked(tomli_w.dumps(head), {"t.csv": tuple(cells)}))
    assert row_of(found, "din-falls:shower").share == pytest.approx(0.25, abs=1e-6)
    assert row_of(found, "din-falls:shower-flat").share == pytest.approx(-0.5, abs=1e-6)
    assert row_of(found, "ada-routes:running").share == pytest.approx(0.015 / 0.05 - 1, abs=1e-6)
    worst = row_of(found, "din-falls:shower").worst
    assert worst is not None
    assert share_of(worst) > 0


def test_strictest_class() -> None:
    """Of classes of one bar the strictest within is the one with the smallest limit over the value.

    A groove of 4 mm: SR2 (5 mm) of 3, 5 and 10 mm; Belgian class 3 (6 mm) of 3, 4 and 6 mm, as the
    4 mm of class 2 is too close to call.
    """
    held = {(one.standard.id, one.held) for one in compare(grooved(4)).strictest}
    assert ("bs-8204", "SR2") in held
    assert ("be-tile", "class-3") in held
    none = {(one.standard.id, one.held) for one in compare(grooved(40)).strictest}
    assert ("bs-8204", None) in none


@pytest.mark.parametrize(
    ("depth_mm", "largest"),
    [(0.5, (381.0, math.inf)), (4.0, (0.0, 0.0))],
    ids=["any tile", "none"],
)
def test_largest_tile(depth_mm: float, largest: tuple[float, float]) -> None:
    """The largest tile is of the widest range of edges whose every rule the floor is within.

    Read every 76 mm, so that the rule over 12 in can be judged: a groove of 0.5 mm is within
    1/16 in, one of 4 mm is not.
    """
    step = 76.2
    cells = [("", *(f"{step * k:g}" for k in range(21)))]
    row = ["0"] * 21
    row[10] = f"{-depth_mm:g}"
    cells += [(f"{step * k:g}", *row) for k in range(21)]
    side = 20 * step
    survey = grooved(0, room={"outline": [[0, 0], [side, 0], [side, side], [0, side]]})
    found = compare(checked(survey.document, {"t.csv": tuple(cells)}))
    by_name = {name: (low, high) for name, low, high in found.largest}
    assert by_name["us-tile:bar"] == largest
    assert any("us-tile:bar: any size" in said for said in carry_words(found)) is (depth_mm < 1)


def test_lippage_rows() -> None:
    """Where steps were read each grade for lippage ends as its own verdict; where not, it says."""
    survey = read_folder(SAMPLES / "tansy-row-steps")
    found = compare(survey)
    for row in found.rows:
        assert row.steps == judge_steps(replace(survey, lippage=row.name), None)
    assert len(found.rows) > 15
    assert all(row.why == "no heights were read" for row in found.aside if row.name == "tr34:FM2")
    assert row_of(compare(grooved(1)), "bs-lippage:tile").why == "no step across a joint was read"


# Told


@pytest.mark.parametrize(
    "name", ["millbrook-plywood", "cressbrook-pan", "withy-end-wall", "tansy-row-steps"]
)
def test_text_keeps_to_80_columns(name: str) -> None:
    """No line is longer than 80 columns, and every judged grade has a line of its own.

    What is not assessed stands under its reason and in no table.
    """
    found = compare(read_folder(SAMPLES / name))
    lines = compare_text(found).splitlines()
    assert max(map(len, lines)) <= 80
    for row in found.rows:
        same = [other for other in found.rows if other.name == row.name]
        judged = sum(other.outcome is not Outcome.NOT_ASSESSED for other in same)
        told = [line for line in lines if re.match(rf"[ *?] {re.escape(row.name)} .*%", line)]
        assert len(told) == judged, row.name


def test_text_marks_its_own_and_doubtful_numbers() -> None:
    """The survey's own standard has a star; a number from memory or in dispute a question mark."""
    said = compare_text(compare(grooved(4, standard={"rule": "bs-8204"})))
    assert re.search(r"^\* bs-8204:SR2 ", said, re.M)
    assert re.search(r"^  bs-8204:SR1 ", said, re.M)
    assert re.search(r"^\? be-tile:class-3 ", said, re.M)
    assert re.search(r"^\? din-18202:4 ", said, re.M)


def test_record() -> None:
    """The record is plain data: every grade, certainty and disagreement, and no endless number."""
    found = compare(grooved(4))
    record = json.loads(json.dumps(compare_record(found), allow_nan=False))
    by_name = {one["grade"]: one for one in record["grades"]}
    assert len(record["grades"]) == len(found.rows) + len(found.aside)
    assert by_name["bs-8204:SR1"]["outcome"] == "out"
    assert by_name["bs-8204:SR1"]["over_by_ratio"] == pytest.approx(0.3333)
    assert by_name["bs-8204:SR1"]["at_mm"] == [2000.0, 0.0]
    assert by_name["be-tile:class-1"]["certainty"] == ["from memory"]
    assert "Sources disagree" in by_name["au-tile:substrate-2m"]["sources_disagree"]
    assert by_name["din-18202:6"]["applies"] is False
    assert by_name["din-18202:6"]["outcome"] is None
    assert by_name["us-modular:edges"]["why_not"].startswith("no two readings")


def test_from_the_shell(capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints the table, or JSON, and ends with 0: a comparison is no verdict."""
    folder = str(SAMPLES / "larkfield-coarse")
    assert main(["compare", folder]) == 0
    assert capsys.readouterr().out.startswith("COMPARED with ")
    assert main(["compare", folder, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["grades"]
    assert main(["compare", str(SAMPLES / "nowhere")]) == 2


def test_a_sample_drawn_by_lot(capsys: pytest.CaptureFixture[str]) -> None:
    """Bars laid by lot say nothing of a floor place by place, and what does is named."""
    assert main(["compare", str(SAMPLES / "bracken-mill-lots")]) == 2
    assert "judge it with `flatcheck tally`" in capsys.readouterr().err


@pytest.mark.parametrize(
    "heights",
    [np.zeros((2, 2)), np.zeros((1, 3)), np.full((4, 4), 1e6)],
    ids=["four", "a line", "high"],
)
def test_little_was_read(heights: np.ndarray) -> None:
    """From a few readings nothing is within that was not seen, and every row has its reason."""
    rows, columns = heights.shape
    cells = [("", *(str(900 * k) for k in range(columns)))]
    cells += [(str(900 * k), *(f"{v:.1f}" for v in heights[k])) for k in range(rows)]
    outline = [[0, 0], [6000, 0], [6000, 6000], [0, 6000]]
    survey = checked(grooved(0, room={"outline": outline}).document, {"t.csv": tuple(cells)})
    found = compare(survey)
    assert not any(row.outcome is Outcome.WITHIN for row in found.rows)
    assert compare_text(found)
