"""Steps across joints on the page: shown, entered on a joint, kept, and refused in a sentence."""

from pathlib import Path

import pytest
from test_kept import address, opened
from test_page import drawings, errors, go, said, seen, widget

from flatcheck.document import DOCUMENT
from flatcheck.lippage import judge_steps
from flatcheck.readers.folder import folder_files, read_folder, survey_of
from flatcheck.steps import joints_of, sides_of
from flatcheck.store import Store
from flatcheck.tables import steps_of
from flatcheck.tiling import laid
from flatcheck.ui import serve
from flatcheck.ui.drawing import Signs
from flatcheck.ui.joints import SIGNS, joints_figure

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
FLOOR = folder_files(SAMPLES / "tansy-ford-roll")


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """The store that the page opens, empty."""
    monkeypatch.setenv(serve.FOLDER, str(tmp_path / "kept"))
    return Store(tmp_path / "kept")


@pytest.mark.parametrize(
    ("name", "words"),
    [("tansy-row-steps", "That proves 99% within"), ("quillet-lane-steps", "5 out (91.7% within)")],
)
def test_steps_alone_are_shown(store: Store, name: str, words: str) -> None:
    """A finished floor where only steps were read is judged and drawn; its report can be taken."""
    page = opened()
    widget(page, "Survey").set_value(name).run()
    assert not page.exception
    assert not errors(page)
    assert words in seen(page)
    assert drawings(page)
    assert "Make the survey yours" in seen(page)


def test_the_first_step_of_a_floor(store: Store) -> None:
    """A step is entered at a joint of a floor without any: table, gauge and standard are kept."""
    key = store.create(FLOOR, "", "begun")
    page = go(opened(survey=key), "tile")
    widget(page, "Joint").set_value(7).run()
    widget(page, "Step").set_value("3/64 in")
    widget(page, "How far a reading of the gauge may be off").set_value("0.002 in")
    widget(page, "Standard for lippage").set_value("us-lippage:floor")
    widget(page, "Keep this step").click().run()
    assert not page.exception
    assert not errors(page)
    kept = store.head(key)
    survey = survey_of(kept.files)
    (step,) = steps_of(survey)
    laying = laid(survey, survey.room)
    assert (step.x_mm, step.y_mm) == pytest.approx(tuple(laying.joints_mm[6].mean(axis=0)), abs=0.1)
    assert step.step_mm == pytest.approx(3 / 64 * 25.4)
    assert step.proud == sides_of(laying, 6)[0]
    assert survey.lippage == "us-lippage:floor"
    assert kept.last.what.startswith("step at joint 7: 3/64 in")
    counted = joints_of(survey, steps_of(survey))
    assert counted is not None
    assert counted.on == (6,)
    assert "for lippage" in seen(page)


def test_a_further_step(store: Store) -> None:
    """A further step goes into the table that is there, under its own columns."""
    files = folder_files(SAMPLES / "quillet-lane-steps")
    key = store.create(files, "", "begun")
    page = opened(survey=key)
    sides = widget(page, "The tile that stands proud is to the")
    sides.set_value(sides.options[1])
    widget(page, "Step").set_value("0.25")
    widget(page, "Keep this step").click().run()
    assert not errors(page)
    found = store.head(key).files
    assert found[DOCUMENT] == files[DOCUMENT]
    before, after = (found_["steps.csv"].decode().splitlines() for found_ in (files, found))
    assert after[: len(before)] == before
    assert len(after) == len(before) + 1
    assert "54 within" not in seen(page)
    assert "55 within, 6 out" in seen(page)
    assert widget(page, "Step").value == ""


@pytest.mark.parametrize("typed", ["<b>x</b>", "=1+1", "1e9", "nan", "90 mm"])
def test_what_is_no_step(store: Store, typed: str) -> None:
    """What is no step is refused in a sentence, and nothing is kept."""
    key = store.create(folder_files(SAMPLES / "quillet-lane-steps"), "", "begun")
    page = opened(survey=key)
    widget(page, "Step").set_value(typed)
    widget(page, "Keep this step").click().run()
    assert "steps.csv, row 62" in said(page)
    assert store.head(key).last.number == 1


def test_nothing_typed(store: Store) -> None:
    """Without a step nothing is kept, and what is missing is said."""
    key = store.create(FLOOR, "", "begun")
    page = go(opened(survey=key), "tile")
    widget(page, "Keep this step").click().run()
    assert "Say the step" in said(page)
    assert store.head(key).last.number == 1
    assert address(page, "survey") == key


def test_the_figure_tells_outcomes_by_shape() -> None:
    """Every joint can be chosen by its number; those read have a sign for each outcome."""
    survey = read_folder(SAMPLES / "quillet-lane-steps")
    assert survey.room is not None
    verdict, laying = judge_steps(survey), laid(survey, survey.room)
    assert verdict is not None
    drawing = joints_figure(survey, survey.room, verdict, laying)
    joints, out, within = (drawing.layer(name) for name in ("joints", "out", "within"))
    for layer in (joints, out, within):
        assert isinstance(layer, Signs)
    assert list(joints.numbers) == list(range(len(laying.joints_mm)))
    assert len(out.xy) == 5
    assert len(within.xy) == 55
    assert len({sign for sign, _ in SIGNS.values()}) == len(SIGNS)
