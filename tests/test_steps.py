"""Steps across joints: what a table of them says, and that they stand beside the heights."""

from pathlib import Path

import pytest

from flatcheck.assess import assess
from flatcheck.errors import SurveyError
from flatcheck.readers.folder import bare, checked
from flatcheck.survey import Survey
from flatcheck.tables import readings_of, steps_of

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
