"""Steps across joints: what a table of them says, and that they stand beside the heights."""

from pathlib import Path

import numpy as np
import pytest
from layouts import PATTERNS

from flatcheck.assess import assess
from flatcheck.bond import Pattern
from flatcheck.compass import parse_bearing
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.pattern import lay
from flatcheck.readers.folder import bare, checked
from flatcheck.room import Room, rectangle
from flatcheck.steps import on_joints, sides_of, with_step
from flatcheck.survey import Step, Survey
from flatcheck.tables import readings_of, steps_of
from flatcheck.tile import Tile

HEAD = """flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
[instrument]
uncertainty = "0.1 mm"
[tile]
length = "600 mm"
width = "300 mm"
joint = "3 mm"
[standard]
rule = "bs-8204:SR1"
lippage = "bs-lippage"
"""
ENTRY = '[[table]]\nfile = "steps.csv"\nkind = "steps"\n'
GRID = '[[table]]\nfile = "grid.csv"\nkind = "grid"\nsense = "elevation"\n'
GRID_CELLS = tuple(
    tuple(str(v) for v in row) for row in (("", 0, 500, 1000), (0, 1, 1, 1), (500, 1, 2, 1))
)
ROOM = Room(rectangle(0, 0, 3000, 2500, "room"))
STEPS = (("x", "y", "step", "proud", "joint", "note"), ("100", "200", "0.4", "north", "", ""))


def survey_of(*rows: tuple[str, ...], entry: str = ENTRY) -> Survey:
    return checked(HEAD + entry, {"steps.csv": (STEPS[0], *rows)})


def test_a_step_keeps_its_sign_and_side() -> None:
    """A step below zero means that the neighbor of the named side stands proud, and stays so."""
    north, south = steps_of(
        survey_of(("1", "2", "0.4", "North", "", ""), ("3", "4", "-1/64 in", "east", "5 mm", "x"))
    )
    assert (north.x_mm, north.y_mm, north.step_mm, north.proud) == (1, 2, 0.4, "north")
    assert north.joint_mm is None
    assert (south.step_mm, south.proud, south.joint_mm) == (-25.4 / 64, "east", 5)
    assert (south.where, south.text) == ("steps.csv, row 3, cell C3", "-1/64 in")
    assert north.u_mm == 0.1


def test_a_step_without_a_side_is_a_size() -> None:
    """Without a side a step says how much, and below zero it would say nothing."""
    (step,) = steps_of(survey_of(("1", "2", "0.4", "", "", "")))
    assert (step.step_mm, step.proud) == (0.4, "")
    with pytest.raises(SurveyError, match=r"row 2, cell C2: a step below zero needs the side"):
        survey_of(("1", "2", "-0.4", "", "", ""))


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (("1", "2", "0.4", "up", "", ""), r"cell D2: 'up' was expected as a side"),
        (("1", "2", "0.4", "45", "", ""), r"cell D2: '45' was expected as a side"),
        (("1", "2", "0.4", "east", "-1", ""), r"cell E2: a joint must not be narrower"),
        (("1", "2", "51", "east", "", ""), r"cell C2: a step between two tiles was expected"),
        (("1", "2", "", "east", "", ""), r"cell C2: "),
        (("", "2", "1", "east", "", ""), r"cell A2: "),
    ],
)
def test_what_is_no_step(row: tuple[str, ...], said: str) -> None:
    """What cannot be read in a table of steps is named by its row and cell."""
    with pytest.raises(SurveyError, match=rf"^steps\.csv, row 2, {said}"):
        survey_of(row)


def test_steps_are_no_heights() -> None:
    """Steps beside heights change nothing of the surface; each is asked for by itself."""
    heights = {"grid.csv": GRID_CELLS}
    both = checked(HEAD + GRID + ENTRY, {**heights, "steps.csv": STEPS})
    alone = checked(HEAD + GRID, heights)
    assert readings_of(both) == readings_of(alone)
    assert len(steps_of(both)) == 1
    assert steps_of(alone) == ()
    assert assess(both).verdict == assess(alone).verdict


def test_steps_alone_make_no_surface() -> None:
    """A survey of steps alone has no heights, and asked for flatness it says so in a sentence."""
    survey = survey_of(("1", "2", "0.4", "", "", ""))
    assert readings_of(survey) == ()
    with pytest.raises(SurveyError, match=r"no heights were read; steps across joints"):
        assess(survey)


def test_unknown_keys_of_the_table() -> None:
    """A key of the table's entry that nobody knows is refused, and those of steps are named."""
    with pytest.raises(SurveyError, match=r"'joint' is not known here.*joints\."):
        survey_of(("1", "2", "0.4", "", "", ""), entry=f"{ENTRY}joint = 3\n")


def test_a_bare_table_of_heights_is_as_before(tmp_path: Path) -> None:
    """A survey built around one bare table names no standard for lippage."""
    survey = bare(
        "grid.csv",
        GRID_CELLS,
        kind="grid",
        sense="elevation",
        readings="mm",
        offsets="mm",
        uncertainty="1 mm",
    )
    assert survey.lippage == ""


@pytest.mark.parametrize("name", PATTERNS)
def test_a_step_at_every_joint_finds_it(name: str) -> None:
    """In every pattern a step in the middle of a joint, read across it, is found on that joint."""
    laying = lay(ROOM, *PATTERNS[name])
    middle = laying.joints_mm.mean(axis=1)
    steps = [
        Step(float(x), float(y), 0.5, 0.1, sides_of(laying, k)[1], None, "t", "")
        for k, (x, y) in enumerate(middle)
    ]
    found = laying.joints_mm[on_joints(laying, steps)].mean(axis=1)
    assert found == pytest.approx(middle, abs=1e-9)


def test_sides_lie_across_the_joint() -> None:
    """The two sides are opposite, and the tiles of the joint lie there."""
    laying = lay(ROOM, Tile(400, 200, joint_mm=4), Pattern(rotation_deg=30.0))
    for k, tiles in enumerate(laying.joint_tiles.tolist()):
        one, other = (parse_bearing(side) for side in sides_of(laying, k))
        assert abs(one - other) == 180
        apart = laying.corners_mm[tiles[1]].mean(axis=0) - laying.corners_mm[tiles[0]].mean(axis=0)
        ends = laying.joints_mm[k]
        across = np.array([ends[1, 1] - ends[0, 1], ends[0, 0] - ends[1, 0]])
        way = np.array([np.sin(np.radians(one)), np.cos(np.radians(one))])
        assert abs(across @ way) > 0.9 * np.hypot(*across)
        assert abs(apart @ across) > 0


def test_a_step_is_written_under_the_columns_that_are_there() -> None:
    """A further step stands below the others, whatever the order of columns; a side gets one."""
    cells = (("step", "note", "y", "x"), ("0.4", "first", "200", "100"))
    survey = checked(HEAD + ENTRY, {"steps.csv": cells})
    after = with_step(survey, (300.0, 400.0), "-1/64 in", "east")
    (table,) = after.tables
    assert table.cells == (
        ("step", "note", "y", "x", "proud"),
        cells[1],
        ("-1/64 in", "", "400.0 mm", "300.0 mm", "east"),
    )
    assert after.document == survey.document
    assert [step.step_mm for step in steps_of(after)] == [0.4, -25.4 / 64]


def test_the_first_step_begins_a_table() -> None:
    """Without a table of steps one is begun, under a name that is free, with the gauge's words."""
    survey = checked(HEAD + GRID, {"grid.csv": GRID_CELLS})
    after = with_step(survey, (100.0, 200.0), "0.4", "north", "0.05 mm")
    assert [table.name for table in after.tables] == ["grid.csv", "steps.csv"]
    (step,) = steps_of(after)
    assert (step.x_mm, step.y_mm, step.step_mm, step.u_mm) == (100, 200, 0.4, 0.05)
    taken = HEAD + GRID.replace("grid.csv", "steps.csv")
    other = checked(taken, {"steps.csv": GRID_CELLS})
    assert with_step(other, (1.0, 2.0), "0.4", "north").tables[1].name == "steps2.csv"
    with pytest.raises(FlatcheckError, match=r"steps\.csv: uncertainty"):
        with_step(survey, (100.0, 200.0), "0.4", "north", 'good" enough')
