"""The plan of work and the map of change: marks where the work is, depths in the person's units."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import plotly.graph_objects as go
import pytest

from flatcheck.assess import Assessment, assess
from flatcheck.change import changed
from flatcheck.correction import MARK_MM, Choice, Fix, correct, fix_named
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.room import Room, inside
from flatcheck.survey import Hold
from flatcheck.ui.depths import (
    LETTERS_PX,
    Sign,
    covers,
    map_of_change,
    plan_of_work,
    work_key,
    written,
)
from flatcheck.ui.figures import raster_of
from flatcheck.ui.plan import LETTER_PX, NARROW_PX
from flatcheck.units import parse_length

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
WORKED = ("gorse-yard-humps", "withy-lane-dips", "marram-hall-waves", "in inches")
HEARTH = """
[[keep]]
name = "<b>hearth</b>"
outline = [[500, 500], [1900, 500], [1900, 1900], [500, 1900]]
grind = false
fill = true
"""


def sample(name: str, more: str = "") -> Assessment:
    """A sample, with more written at the end of its document."""
    survey = read_folder(SAMPLES / name)
    cells = {table.name: table.cells for table in survey.tables}
    return assess(checked(survey.document + more, cells))


@pytest.fixture(scope="module")
def choices() -> dict[str, Choice]:
    """The corrections of the samples."""
    found = {name: correct(sample(name)) for name in WORKED[:3]}
    inches = assess(edited(read_folder(SAMPLES / "withy-lane-dips"), {"units": {"show": "in/16"}}))
    return found | {"in inches": correct(inches)}


def trace(figure: go.Figure, name: str) -> go.Scatter:
    """The one trace with a name."""
    (found,) = [t for t in figure.data if t.name == name]
    return found


def named(choice: Choice, remedy: str) -> Fix:
    """The fix of a remedy."""
    fix = fix_named(choice, remedy)
    assert fix
    return fix


@pytest.mark.parametrize("name", WORKED)
def test_marks_are_where_the_work_is(choices: dict[str, Choice], name: str) -> None:
    """An X at every station that is ground, an O or a dot at all others that are filled."""
    choice = choices[name]
    assert choice.fixes
    for fix in choice.fixes:
        figure = plan_of_work(choice, fix)
        xy = choice.site.floor.xy_mm
        ground = fix.proposal.grind_mm >= MARK_MM
        filled = (fix.proposal.fill_mm >= MARK_MM) & ~ground
        for called, worked in (("grind", ground), ("fill", filled)):
            signs = trace(figure, called)
            assert sorted(zip(signs.x, signs.y, strict=True)) == sorted(map(tuple, xy[worked]))
        assert trace(figure, "grind").marker.symbol == "x-thin"
        symbol = "circle" if covers(fix) else "circle-open"
        assert trace(figure, "fill").marker.symbol == symbol


@pytest.mark.parametrize("name", WORKED)
def test_depths_are_told(choices: dict[str, Choice], name: str) -> None:
    """A mark that is pointed at tells its depth to the last step of the style, and its place."""
    choice = choices[name]
    style = choice.site.assessment.survey.show
    step = 25.4 / style.denominator if style.unit == "in" else 10.0**-style.decimals
    fix = choice.fixes[0]
    figure, xy = plan_of_work(choice, fix), choice.site.floor.xy_mm
    depth = {"grind": fix.proposal.grind_mm, "fill": fix.proposal.fill_mm}
    for called in depth:
        signs = trace(figure, called)
        for x, y, words in zip(signs.x, signs.y, signs.hovertext, strict=True):
            (i,) = np.flatnonzero((xy == (x, y)).all(axis=1))
            said = re.search(r"<b>(?:grind )?([0-9 /.]+(?:\"| mm))", words)
            assert said
            assert abs(parse_length(said[1]) - depth[called][i]) <= step / 2 + 1e-9
            assert "wall" in words


def test_fractions_on_the_plan(choices: dict[str, Choice]) -> None:
    """The depths written on a plan of a survey in inches are fractions of them."""
    choice = choices["in inches"]
    figure = plan_of_work(choice, choice.fixes[0])
    texts = [*trace(figure, "depths written").text, *trace(figure, "more depths written").text]
    assert any("/" in text for text in texts)
    assert all(re.fullmatch(r'<b>[0-9 /]+"</b>', text) for text in texts)


@pytest.mark.parametrize("name", WORKED)
def test_colors_are_centered(choices: dict[str, Choice], name: str) -> None:
    """Zero is in the middle of the colors, their ends are alike far, and say which is which."""
    choice = choices[name]
    for fix in choice.fixes:
        colors = trace(plan_of_work(choice, fix), "depths")
        assert colors.zmin == -colors.zmax
        change = fix.proposal.fill_mm - fix.proposal.grind_mm
        assert colors.zmax >= np.abs(change).max()
        grid = raster_of(choice.site.assessment, change)
        np.testing.assert_array_equal(np.asarray(colors.z), grid.above_mm)
        deepest = int(np.argmax(np.abs(change)))
        x, y = choice.site.floor.xy_mm[deepest]
        column = min(int(x / grid.step_mm), len(grid.x_mm) - 1)
        row = min(int(y / grid.step_mm), len(grid.y_mm) - 1)
        assert grid.above_mm[row, column] == pytest.approx(change[deepest])
        assert colors.colorbar.ticktext[0].startswith("grind<br>")
        assert colors.colorbar.ticktext[-1].startswith("fill<br>")
        middle = dict(colors.colorscale)[0.5].lstrip("#")
        red, green, blue = (int(middle[k : k + 2], 16) for k in (0, 2, 4))
        assert red == green == blue


@pytest.mark.parametrize("name", WORKED)
def test_finger_passes(choices: dict[str, Choice], name: str) -> None:
    """The plan has equal axes and leaves the finger to the page."""
    figure = plan_of_work(choices[name], choices[name].fixes[0])
    assert figure.layout.dragmode is False
    assert figure.layout.xaxis.fixedrange
    assert figure.layout.yaxis.fixedrange
    assert figure.layout.yaxis.scaleanchor == "x"
    assert figure.layout.yaxis.scaleratio == 1


def test_what_is_ground_before_a_pour(choices: dict[str, Choice]) -> None:
    """Where a leveler is poured over what is ground first, its mark tells both depths."""
    choice = choices["marram-hall-waves"]
    fix = named(choice, "pour")
    assert (fix.proposal.grind_mm >= MARK_MM).any()
    for words in trace(plan_of_work(choice, fix), "grind").hovertext:
        assert re.match(r"<b>grind [0-9.]+ mm off, then [0-9.]+ mm of self-leveler</b>", words)
    assert "how thick the material is" in work_key(choice, fix)


def test_parts_to_keep_and_heights_to_hold() -> None:
    """A part that is not ground is drawn with its reason, holds no X, and its name is text."""
    choice = correct(sample("gorse-yard-humps", HEARTH))
    room = Room(choice.site.terms.keeps[0].outline)
    for fix in choice.fixes:
        figure = plan_of_work(choice, fix)
        keep = trace(figure, "keep &lt;b&gt;hearth&lt;/b&gt;")
        assert {*zip(keep.x, keep.y, strict=True)} == {*room.outline.corners_mm}
        marks = trace(figure, "grind")
        xy = np.column_stack((marks.x, marks.y)).astype(float).reshape(-1, 2)
        assert not inside(room, xy).any()
        texts = [a.text for a in figure.layout.annotations]
        assert "&lt;b&gt;hearth&lt;/b&gt;:<br>no grinding" in texts
        held = trace(figure, "held")
        assert (*held.x, *held.y, *held.text) == (0, 1500, "hall door")
        assert "must stay" in held.hovertext[0]
        assert "Hatched" in work_key(choice, fix)


def test_held_names_are_text(choices: dict[str, Choice]) -> None:
    """The name of a height that must not change is drawn letter by letter."""
    choice = choices["gorse-yard-humps"]
    survey = replace(
        choice.site.assessment.survey, holds=(Hold("<img src=x>", (4000.0, 0.0), 25.4),)
    )
    site = replace(choice.site, assessment=replace(choice.site.assessment, survey=survey))
    held = trace(plan_of_work(replace(choice, site=site), choice.fixes[0]), "held")
    assert held.text == ("&lt;img src=x&gt;",)
    assert "<img" not in held.hovertext[0]
    assert "may rise 25.4 mm" in held.hovertext[0]


def boxes_of(found: dict[int, str], signs: list[Sign], px_per_mm: float) -> np.ndarray:
    """The boxes of depths below their signs (k, 4): west, south, east, north [px]."""
    rows = []
    for i, side in found.items():
        x, y = np.array(signs[i].at) * px_per_mm
        wide = LETTER_PX * len(f"{abs(signs[i].depth_mm):.1f}")
        west = {"left": x - wide, "center": x - wide / 2, "right": x}[side.split()[1]]
        rows.append((west, y - LETTERS_PX, west + wide, y))
    return np.array(rows)


@pytest.mark.parametrize("step_mm", [250, 500])
def test_written_depths_are_apart(step_mm: int) -> None:
    """No depth lies on another, each is below its sign, and the deepest of far ones is written."""
    assessment = sample("gorse-yard-humps")
    places = [(x, y) for x in range(0, 4001, step_mm) for y in range(0, 3001, step_mm)]
    random = np.random.default_rng(5)
    signs = [Sign((float(x), float(y)), float(random.uniform(1, 9)), "") for x, y in places]
    found = written(assessment, signs, NARROW_PX, 2.0)
    assert found
    assert all(side.startswith("bottom") for side in found.values())
    box = boxes_of(found, signs, NARROW_PX / 4000)
    for k, one in enumerate(box):
        others = np.delete(box, k, axis=0)
        apart = (one[:2] >= others[:, 2:] - 1e-9) | (one[2:] <= others[:, :2] + 1e-9)
        assert apart.any(axis=1).all()
    more = written(assessment, signs, 3 * NARROW_PX, 2.0, found)
    assert found.items() <= more.items()
    assert len(more) > len(found)


def test_deepest_is_written_first() -> None:
    """Of two signs too close for two depths the deeper one has its depth written."""
    assessment = sample("gorse-yard-humps")
    signs = [Sign((2000.0, 2000.0), 2.0, ""), Sign((2050.0, 2000.0), -3.0, "")]
    # At the reach of a point neither covers the other's depth.
    assert list(written(assessment, signs, NARROW_PX, 0.0)) == [1]


def test_change_that_was_measured() -> None:
    """The two humps that were ground are an X with the depth that was taken off; nothing else."""
    before = sample("gorse-yard-humps")
    choice = correct(before)
    fix = named(choice, "grind")
    change = changed(before, sample("gorse-yard-ground"), fix)
    figure = map_of_change(before, change)
    marks = trace(figure, "grind")
    worked = fix.proposal.grind_mm >= MARK_MM
    assert {*zip(marks.x, marks.y, strict=True)} == {*map(tuple, before.surface.xy_mm[worked])}
    assert not len(trace(figure, "fill").x)
    sure = np.abs(change.rise_mm) > 2 * change.u_mm
    told = [float(re.match(r"<b>(-[0-9.]+) mm</b>, planned -", w)[1]) for w in marks.hovertext]
    np.testing.assert_allclose(sorted(told), sorted(change.rise_mm[sure]), atol=0.05 + 1e-9)
    assert all("within reading error" in words for words in trace(figure, "left").hovertext)
    colors = trace(figure, "depths")
    assert colors.zmin == -colors.zmax
    assert colors.colorbar.ticktext[0].startswith("lower<br>")


def test_places_that_were_not_read_again_have_no_color() -> None:
    """What was read only once has no color on the map of change, and no mark."""
    before = sample("gorse-yard-humps")
    survey = read_folder(SAMPLES / "gorse-yard-ground")
    cells = survey.tables[0].cells
    after = assess(checked(survey.document, {survey.tables[0].name: cells[:7]}))
    north = max(y for _, y in after.surface.xy_mm)
    figure = map_of_change(before, changed(before, after))
    colors = trace(figure, "depths")
    rows = np.asarray(colors.y) > north + 250
    assert np.isnan(np.asarray(colors.z, float)[rows]).all()
    assert not np.isnan(np.asarray(colors.z, float)).all()
    for name in ("left", "grind", "fill"):
        assert all(y <= north for y in trace(figure, name).y)
