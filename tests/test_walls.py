"""Walls: judged as floors turned upright, with plumb in the place of level, and told as walls."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tomli_w

from flatcheck.assess import assess
from flatcheck.correction import correct
from flatcheck.errors import RuleError, SurveyError
from flatcheck.evidence import View
from flatcheck.intent import Intent, departures, fit
from flatcheck.measures import datum, lean
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.text import record, text
from flatcheck.room import Room, rectangle, wall_names
from flatcheck.surface import lines, surface
from flatcheck.survey import Survey
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]
WALL = Path(__file__).parents[1] / "sample_surveys" / "withy-end-wall"


def wall(heights: Floats, **sections: Any) -> Survey:
    """A wall read every 500 mm, rows upward, with plumb asked for."""
    rows, columns = heights.shape
    given: dict[str, Any] = {
        "flatcheck": 1,
        "survey": {"about": "wall"},
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.1 mm"},
        "room": {"outline": [[0, 0], [500 * columns - 500, 0]]},
        "intent": {"kind": "plumb"},
        "standard": {"rule": "ama-hus:wall"},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "elevation"}],
    }
    right, top = 500 * columns - 500, 500 * rows - 500
    given["room"] = {"outline": [[0, 0], [right, 0], [right, top], [0, top]]}
    given = {k: v for k, v in (given | sections).items() if v is not None}
    cells = [("", *(str(500 * k) for k in range(columns)))]
    cells += [(str(500 * k), *(f"{v:.4f}" for v in heights[k])) for k in range(rows)]
    return checked(tomli_w.dumps(given), {"t.csv": tuple(cells)})


def places(columns: int = 7, rows: int = 6) -> Floats:
    ticks = np.meshgrid(np.arange(columns) * 500.0, np.arange(rows) * 500.0)
    return np.stack(ticks, axis=-1).reshape(-1, 2)


def view(intent: Intent, height: Floats, cov: Floats | None = None) -> View:
    xy = places()
    cov = np.full(len(xy), 0.25) if cov is None else cov
    floor = surface(Room(rectangle(0, 0, 3000, 2500)), xy, height, cov, [""] * len(xy))
    return View(floor, lines(floor), fit(intent, xy, height))


# The measures of level and plumb


def test_plumb_plane_turns_but_does_not_lean() -> None:
    """Of a plane that turns by a and leans by b the plumb plane takes a off and leaves b."""
    xy = places()
    height = 7.0 + 0.003 * xy[:, 0] + 0.002 * xy[:, 1]
    plane = fit(Intent("plumb"), xy, height)
    assert plane.coef[1:].tolist() == pytest.approx([0.003, 0.0], abs=1e-12)
    left = departures(plane, xy, height)
    assert left == pytest.approx(0.002 * (xy[:, 1] - xy[:, 1].mean()), abs=1e-9)
    assert plane.form @ height == pytest.approx(plane.coef, abs=1e-9)


@pytest.mark.parametrize(
    ("intent", "ways"),
    [
        (Intent("level"), {"row": 0.003 * 3000, "column": 0.002 * 2500}),
        (Intent("plumb"), {"column": 0.002 * 2500}),
        (Intent("fall", 0.004, 270.0), {"row": (0.003 - 0.004) * 3000, "column": 0.002 * 2500}),
        (Intent("best fit"), {}),
        (Intent("minimum zone"), {}),
    ],
    ids=lambda value: value.kind if isinstance(value, Intent) else "",
)
def test_lean_of_a_plane(intent: Intent, ways: dict[str, float]) -> None:
    """On z = a x + b y a row ends a L higher than it began, a column b L, less the intent's fall.

    Only along the ways whose slope the intent fixes; the value is positive where the end is low.
    """
    xy = places()
    seen = view(intent, 0.003 * xy[:, 0] + 0.002 * xy[:, 1])
    found = lean.measure(seen, None)
    names = [family.direction for family in seen.lines]
    assert {names[k] for k in found.direction} == ways.keys()
    for way, rise in ways.items():
        mine = found.direction == names.index(way)
        assert found.value_mm[mine] == pytest.approx(np.full(mine.sum(), -rise), abs=1e-9)
        assert np.count_nonzero(mine) == len(xy)
    assert set(found.span_mm) <= {3000.0, 2500.0}


@pytest.mark.parametrize("measure", [lean, datum], ids=["lean", "datum"])
def test_uncertainty_of_level(measure: Any) -> None:
    """u² is w'Cw with the whole covariance, by simulation of the heights."""
    rng = np.random.default_rng(4)
    xy = places()
    root = rng.normal(0, 0.1, (len(xy), len(xy)))
    cov = root @ root.T + 0.05 * np.eye(len(xy))
    height = rng.normal(0, 20, len(xy))  # far apart: which is highest stays the same
    found = measure.measure(view(Intent("level"), height, cov), None)
    draws = rng.multivariate_normal(height, cov, 600)
    level = Intent("level")
    values = [measure.measure(view(level, one, cov), None).value_mm for one in draws]
    assert np.std(values, axis=0) == pytest.approx(found.u_mm, rel=0.2)


def test_datum_is_half_the_range() -> None:
    """The farthest place off the middle level is half of highest less lowest, at both ends."""
    rng = np.random.default_rng(5)
    height = rng.normal(0, 5, len(places()))
    found = datum.measure(view(Intent("level"), height), None)
    assert np.abs(found.value_mm).max() == pytest.approx(np.ptp(height) / 2)
    middle = (height.max() + height.min()) / 2
    assert found.value_mm == pytest.approx(middle - height)
    assert len(datum.measure(view(Intent("fall", 0.02, 90.0), height), None).value_mm) == 0


# A wall judged


def test_a_wall_out_of_plumb() -> None:
    """A wall that leans 7 mm in 2.5 m is out, as L/600 is 4.2 mm and 5 mm the least; 4 is not."""
    up = np.linspace(0, 1, 6)[:, None] * np.ones(7)
    for lean_mm, expected in ((7.0, Outcome.OUT), (4.0, Outcome.WITHIN)):
        verdict = assess(wall(lean_mm * up)).verdict
        (found,) = (f for f in verdict.findings if f.rule.id == "plumb")
        assert found.outcome is expected
        assert found.worst is not None
        assert found.worst.value_mm == pytest.approx(-lean_mm)
        assert found.worst.limit_mm == 5


def test_turning_is_no_lean() -> None:
    """A wall that is plumb but stands at an angle to the laser's plane is plumb."""
    along = 20 * np.linspace(0, 1, 7) * np.ones((6, 1))
    (found,) = (f for f in assess(wall(along)).verdict.findings if f.rule.id == "plumb")
    assert found.outcome is Outcome.WITHIN
    assert found.worst is not None
    assert found.worst.value_mm == pytest.approx(0, abs=1e-9)


def test_plumb_is_judged_where_it_is_asked() -> None:
    """Without plumb as the intent the rule is not assessed and says what to write; never within."""
    assessment = assess(wall(np.zeros((6, 7)), intent={"kind": "best fit"}))
    (found,) = (f for f in assessment.verdict.findings if f.rule.id == "plumb")
    assert (found.outcome, found.as_read) == (Outcome.NOT_ASSESSED, Outcome.NOT_ASSESSED)
    assert 'say kind = "plumb"' in " ".join(text(assessment).split())


def test_level_is_judged_where_it_is_asked() -> None:
    """The same for a floor that is not said to be level."""
    flat = wall(np.zeros((6, 7)), survey=None, intent=None, standard={"rule": "din-18202:angle"})
    assert assess(flat).verdict.outcome is Outcome.NOT_ASSESSED
    level = wall(
        np.zeros((6, 7)),
        survey=None,
        intent={"kind": "level"},
        standard={"rule": "din-18202:angle"},
    )
    assert assess(level).verdict.outcome is Outcome.WITHIN


def test_gaps_tell_nothing_of_plumb() -> None:
    """Bars alone leave open how a wall stands, and plumb is then not assessed."""
    cells = [("bar", "x1", "y1", "x2", "y2", "at", "gap")]
    for k in range(5):
        row, column = (0, 500 * k, 2000, 500 * k), (500 * k, 0, 500 * k, 2000)
        for bar, ends in ((f"r{k}", row), (f"c{k}", column)):
            cells += [(bar, *map(str, ends), str(at), "0") for at in range(0, 2001, 500)]
    survey = wall(np.zeros((5, 5)))
    given = tomllib.loads(survey.document) | {"table": [{"file": "t.csv", "kind": "gaps"}]}
    document = tomli_w.dumps(given)
    verdict = assess(checked(document, {"t.csv": tuple(cells)})).verdict
    (found,) = (f for f in verdict.findings if f.rule.id == "plumb")
    assert found.outcome is Outcome.NOT_ASSESSED


# At the door


def test_a_floor_rule_judges_no_wall() -> None:
    """A rule for floors is refused for a wall, one for walls for a floor, one for both is not."""
    zero = np.zeros((6, 7))
    with pytest.raises(RuleError, match="ns-3420: the rule is for a floor, and this survey is of"):
        assess(wall(zero, standard={"rule": "ns-3420"}))
    with pytest.raises(RuleError, match="for a wall, and this survey is of a floor"):
        assess(wall(zero, survey=None, intent=None))
    with pytest.raises(RuleError, match="for a floor"):
        assess(wall(zero, standard={"rule": "none", "falls": ["irc-shower"]}))
    tile = {"length": "12 in", "width": "12 in"}
    assert assess(wall(zero, standard={"rule": "us-tile"}, tile=tile)).verdict.findings


@pytest.mark.parametrize(
    ("sections", "said"),
    [
        ({"survey": {"about": "ceiling"}}, 'expected to be "floor" or "wall"'),
        ({"survey": {"about": ["wall"]}}, 'expected to be "floor" or "wall"'),
        ({"room": None}, "needs its outline"),
        ({"intent": {"kind": "level"}}, "kind 'level' is for floors"),
        ({"intent": {"kind": "fall", "fall": "2 %", "toward": "east"}}, "is for floors"),
        ({"survey": None}, "is for a wall"),
        ({"drain": [{"center": [500, 500], "size": [50, 50]}]}, "drains are for floors"),
    ],
)
def test_what_is_no_wall(sections: dict[str, Any], said: str) -> None:
    """What only a floor has is refused of a wall, and plumb of a floor, each in a sentence."""
    with pytest.raises(SurveyError, match=said):
        wall(np.zeros((6, 7)), **sections)


# Told as a wall


def test_edges_of_a_wall() -> None:
    """The sides of a wall's plan are its bottom, right, top and left edges."""
    room = Room(rectangle(0, 0, 3000, 2400), upright=True)
    assert wall_names(room) == ("bottom edge", "right edge", "top edge", "left edge")


def test_the_sample_is_told_as_a_wall() -> None:
    """No word of floors, walls' compass sides, highs or lows is said of a wall."""
    survey = edited(read_folder(WALL), {"standard": {"rule": "ama-hus:wall"}})
    said = " ".join(text(assess(survey)).split()).split("Rests on")[0]
    for word in ("the floor as", "of the floor could", " east", "north", " high (", "corner wall"):
        assert word not in said
    assert "As a whole the wall leans into the room toward its top" in said
    assert "proud" in said
    assert record(assess(survey))["about"] == "wall"


def test_nothing_is_poured_on_a_wall() -> None:
    """A self-leveler and a screed are refused on a wall."""
    bump = np.zeros((6, 7))
    bump[3, 3] = -6.0
    choice = correct(assess(wall(bump, standard={"rule": "dtu-tile:wall", "decision": "as read"})))
    why = {refusal.id: refusal.why for refusal in choice.refused}
    assert "not on a wall" in why["pour"]
    assert "not on a wall" in why["screed"]
    assert all(name.startswith(("us-", "din-18202:5", "ca-")) for name in choice.instead)
