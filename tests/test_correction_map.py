"""The plan of work and the map of change: marks where the work is, depths in the person's units."""

import re
from collections.abc import Iterable
from dataclasses import replace
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import Assessment, assess
from flatcheck.change import changed
from flatcheck.correction import MARK_MM, Choice, Fix, correct, fix_named
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.room import Room, inside
from flatcheck.survey import Hold
from flatcheck.ui.depths import (
    LETTERS_PX,
    WIDE_PX,
    Sign,
    covers,
    map_of_change,
    plan_of_work,
    work_key,
    written,
)
from flatcheck.ui.drawing import INK, Colors, Drawing, Line, Signs, Words
from flatcheck.ui.figures import raster_of
from flatcheck.ui.plan import LETTER_PX, LINE_PX, NARROW_PX
from flatcheck.ui.svg import markup, places
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


def signs_of(drawing: Drawing, name: str) -> Signs:
    """The one layer of signs with a name."""
    layer = drawing.layer(name)
    assert isinstance(layer, Signs)
    return layer


def places_of(drawing: Drawing, name: str) -> list[tuple[float, float]]:
    """Where the signs of a name are, in order."""
    return sorted((float(x), float(y)) for x, y in signs_of(drawing, name).xy)


def colors_of(drawing: Drawing) -> Colors:
    """The depths in color."""
    layer = drawing.layer("depths")
    assert isinstance(layer, Colors)
    return layer


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
        drawing = plan_of_work(choice, fix)
        xy = choice.site.floor.xy_mm
        ground = fix.proposal.grind_mm >= MARK_MM
        filled = (fix.proposal.fill_mm >= MARK_MM) & ~ground
        for called, worked in (("grind", ground), ("fill", filled)):
            assert places_of(drawing, called) == sorted(map(tuple, xy[worked].tolist()))
        assert signs_of(drawing, "grind").sign == "cross"
        fills = signs_of(drawing, "fill")
        assert (fills.sign, fills.fill) == ("dot", INK if covers(fix) else "none")
        assert covers(fix) or fills.edge_px


@pytest.mark.parametrize("name", WORKED)
def test_depths_are_told(choices: dict[str, Choice], name: str) -> None:
    """A mark that is pointed at tells its depth to the last step of the style, and its place."""
    choice = choices[name]
    style = choice.site.assessment.survey.show
    step = 25.4 / style.denominator if style.unit == "in" else 10.0**-style.decimals
    fix = choice.fixes[0]
    drawing, xy = plan_of_work(choice, fix), choice.site.floor.xy_mm
    depth = {"grind": fix.proposal.grind_mm, "fill": fix.proposal.fill_mm}
    for called in depth:
        signs = signs_of(drawing, called)
        for at, words in zip(signs.xy, signs.told, strict=True):
            (i,) = np.flatnonzero((xy == at).all(axis=1))
            said = re.search(r"<b>(?:grind )?([0-9 /.]+(?:\"| mm))", words)
            assert said
            assert abs(parse_length(said[1]) - depth[called][i]) <= step / 2 + 1e-9
            assert "wall" in words


def test_fractions_on_the_plan(choices: dict[str, Choice]) -> None:
    """The depths written on a plan of a survey in inches are fractions of them."""
    choice = choices["in inches"]
    drawing = plan_of_work(choice, choice.fixes[0])
    texts = [words.text for words in drawing.said("depths written")]
    assert any("/" in text for text in texts)
    assert all(re.fullmatch(r'<b>[0-9 /]+"</b>', text) for text in texts)


@pytest.mark.parametrize("name", WORKED)
def test_colors_are_centered(choices: dict[str, Choice], name: str) -> None:
    """Zero is in the middle of the colors, their ends are alike far, and say which is which."""
    choice = choices[name]
    for fix in choice.fixes:
        colors = colors_of(plan_of_work(choice, fix))
        most = colors.marks[-1]
        assert colors.marks[0] == -most
        change = fix.proposal.fill_mm - fix.proposal.grind_mm
        assert most >= np.abs(change).max()
        grid = raster_of(choice.site.assessment, change)
        np.testing.assert_array_equal(colors.value, grid.above_mm)
        deepest = int(np.argmax(np.abs(change)))
        x, y = choice.site.floor.xy_mm[deepest]
        column = min(int(x / grid.step_mm), len(grid.x_mm) - 1)
        row = min(int(y / grid.step_mm), len(grid.y_mm) - 1)
        assert grid.above_mm[row, column] == pytest.approx(change[deepest])
        assert colors.words[0].startswith("grind<br>")
        assert colors.words[-1].startswith("fill<br>")
        middle = dict(colors.scale)[0.5].lstrip("#")
        red, green, blue = (int(middle[k : k + 2], 16) for k in (0, 2, 4))
        assert red == green == blue


@pytest.mark.parametrize("name", WORKED)
def test_equal_axes(choices: dict[str, Choice], name: str) -> None:
    """The plan is to scale, both ways alike, from one end of the room to the other."""
    drawing = plan_of_work(choices[name], choices[name].fixes[0])
    corners = np.array(choices[name].site.floor.room.outline.corners_mm)
    assert drawing.times == 1
    assert drawing.shape == pytest.approx(np.divide(*np.ptp(corners, axis=0)))


def test_what_is_ground_before_a_pour(choices: dict[str, Choice]) -> None:
    """Where a leveler is poured over what is ground first, its mark tells both depths."""
    choice = choices["marram-hall-waves"]
    fix = named(choice, "pour")
    assert (fix.proposal.grind_mm >= MARK_MM).any()
    for words in signs_of(plan_of_work(choice, fix), "grind").told:
        assert re.match(r"<b>grind [0-9.]+ mm off, then [0-9.]+ mm of self-leveler</b>", words)
    assert "how thick the material is" in work_key(choice, fix)


def test_parts_to_keep_and_heights_to_hold() -> None:
    """A part that is not ground is drawn with its reason, holds no X, and its name is text."""
    choice = correct(sample("gorse-yard-humps", HEARTH))
    room = Room(choice.site.terms.keeps[0].outline)
    for fix in choice.fixes:
        drawing = plan_of_work(choice, fix)
        keep = drawing.layer("keep <b>hearth</b>")
        assert isinstance(keep, Line)
        assert keep.hatch
        assert {(x, y) for x, y in keep.xy.tolist()} == {*room.outline.corners_mm}
        assert not inside(room, signs_of(drawing, "grind").xy).any()
        (named,) = drawing.said("keep")
        assert named.text == "&lt;b&gt;hearth&lt;/b&gt;:<br>no grinding"
        (held,) = drawing.said("held")
        assert (held.at, held.text) == ((0, 1500), "hall door")
        assert places_of(drawing, "held") == [(0, 1500)]
        assert "must stay" in signs_of(drawing, "held").told[0]
        assert "Hatched" in work_key(choice, fix)


def test_held_names_are_text(choices: dict[str, Choice]) -> None:
    """The name of a height that must not change is drawn letter by letter."""
    choice = choices["gorse-yard-humps"]
    survey = replace(
        choice.site.assessment.survey, holds=(Hold("<img src=x>", (4000.0, 0.0), 25.4),)
    )
    site = replace(choice.site, assessment=replace(choice.site.assessment, survey=survey))
    drawing = plan_of_work(replace(choice, site=site), choice.fixes[0])
    assert [words.text for words in drawing.said("held")] == ["&lt;img src=x&gt;"]
    (told,) = signs_of(drawing, "held").told
    assert "<img" not in told
    assert "may rise 25.4 mm" in told
    assert "<img" not in markup(drawing)
    assert all("<img" not in words for _, _, words, _ in places(drawing))


def yard() -> Drawing:
    """A drawing with nothing on it, 4 m wide and 3 m tall."""
    return Drawing("", low=np.array([0.0, 0.0]), high=np.array([4000.0, 3000.0]))


def boxes_of(words: Iterable[Words], px_per_mm: float) -> np.ndarray:
    """The boxes of words (k, 4): west, south, east, north [px]."""
    rows = []
    for said in words:
        lines = unescape(re.sub("</?b>", "", said.text)).split("<br>")
        scale, (across, up) = said.size_px / 12, said.side
        wide = LETTER_PX * scale * max(map(len, lines))
        tall = LETTERS_PX * scale * len(lines)
        x, y = np.array(said.at) * px_per_mm + said.off_px
        west = {-1: x - wide, 0: x - wide / 2, 1: x}[across]
        south = {-1: y - tall, 0: y - tall / 2, 1: y}[up]
        rows.append((west, south, west + wide, south + tall))
    return np.array(rows)


def apart(box: np.ndarray, others: np.ndarray) -> bool:
    """Whether a box (4,) lies on none of the others (n, 4)."""
    clear = (box[:2] >= others[:, 2:] - 1e-9) | (box[2:] <= others[:, :2] + 1e-9)
    return bool(clear.any(axis=1).all())


@pytest.mark.parametrize("step_mm", [250, 500])
def test_written_depths_are_apart(step_mm: int) -> None:
    """No depth lies on another, each is below its sign, and the deepest of far ones is written."""
    style = sample("gorse-yard-humps").survey.show
    corners = [(x, y) for x in range(0, 4001, step_mm) for y in range(0, 3001, step_mm)]
    random = np.random.default_rng(5)
    signs = [Sign((float(x), float(y)), float(random.uniform(1, 9)), "") for x, y in corners]
    found = written(yard(), signs, style, NARROW_PX, 2.0)
    assert found
    for i, words in found.items():
        assert words.at == signs[i].at
        assert words.text == f"<b>{signs[i].depth_mm:.1f}</b>"
        assert words.side[1] == -1
        assert words.off_px[1] <= -2.0
    box = boxes_of(found.values(), NARROW_PX / 4000)
    assert box[:, 0].min() >= 0
    assert box[:, 2].max() <= NARROW_PX
    for k, one in enumerate(box):
        assert apart(one, np.delete(box, k, axis=0))
    at = np.array([sign.at for sign in signs]) * NARROW_PX / 4000
    for i, one in zip(found, box, strict=True):
        assert apart(one, np.delete(np.hstack((at - 2.0, at + 2.0)), i, axis=0))
    more = written(yard(), signs, style, 3 * NARROW_PX, 2.0, found)
    assert found.items() <= more.items()
    assert len(more) == len(signs)
    assert (len(found) < len(signs)) is (step_mm == 250)


def test_deepest_is_written_first() -> None:
    """Of two signs too close for two depths the deeper one has its depth written."""
    style = sample("gorse-yard-humps").survey.show
    signs = [Sign((2000.0, 2000.0), 2.0, ""), Sign((2050.0, 2000.0), -3.0, "")]
    # At the reach of a point neither covers the other's depth.
    assert list(written(yard(), signs, style, NARROW_PX, 0.0)) == [1]


def test_depths_are_not_written_on_words() -> None:
    """No depth lies on the name of a part to keep, of a held height or of a wall, at any size."""
    choice = correct(sample("gorse-yard-humps", HEARTH.replace("<b>hearth</b>", "hearth")))
    for fix in choice.fixes:
        drawing = plan_of_work(choice, fix)
        depths = drawing.said("depths written")
        others = [words for words in drawing.words if words not in depths and not words.upright]
        assert {"keep", "held", "side"} <= {words.name for words in others}
        for px, shown in ((NARROW_PX, [w for w in depths if not w.spare]), (WIDE_PX, depths)):
            assert shown
            for box in boxes_of(shown, px / 4000):
                assert apart(box, boxes_of(others, px / 4000))


def test_fewer_depths_on_a_phone(choices: dict[str, Choice]) -> None:
    """Depths for which a phone has no room are spare; those that it has room for are not."""
    choice = choices["marram-hall-waves"]
    depths = plan_of_work(choice, named(choice, "pour")).said("depths written")
    assert 0 < sum(words.spare for words in depths) < len(depths)


def test_room_for_the_bar_of_colors(choices: dict[str, Choice]) -> None:
    """The bar of colors, with both rows of its words, is below the marks and above the end."""
    choice = choices["marram-hall-waves"]
    drawing = plan_of_work(choice, choice.fixes[0])
    (found,) = re.findall(r'class="key" style="top:calc\(100% \+ ([0-9.]+)px\)', markup(drawing))
    marks = [words.off_px[1] for words in drawing.said("across")]
    assert marks
    assert float(found) >= -min(marks) + LINE_PX
    # A bar of 12 in a border of 1, words 2 below it, two lines of 14.4.
    assert float(found) + 12 + 2 + 2 + 2 * 14.4 <= drawing.margin_px[3]


def test_change_that_was_measured() -> None:
    """The two humps that were ground are an X with the depth that was taken off; nothing else."""
    before = sample("gorse-yard-humps")
    choice = correct(before)
    fix = named(choice, "grind")
    change = changed(before, sample("gorse-yard-ground"), fix)
    drawing = map_of_change(before, change)
    marks = signs_of(drawing, "grind")
    worked = fix.proposal.grind_mm >= MARK_MM
    assert places_of(drawing, "grind") == sorted(map(tuple, before.surface.xy_mm[worked].tolist()))
    assert not len(signs_of(drawing, "fill").xy)
    sure = np.abs(change.rise_mm) > 2 * change.u_mm
    told = [float(re.match(r"<b>(-[0-9.]+) mm</b>, planned -", w)[1]) for w in marks.told]
    np.testing.assert_allclose(sorted(told), sorted(change.rise_mm[sure]), atol=0.05 + 1e-9)
    assert all("within reading error" in words for words in signs_of(drawing, "left").told)
    colors = colors_of(drawing)
    assert colors.marks[0] == -colors.marks[-1]
    assert colors.words[0].startswith("lower<br>")


def test_places_that_were_not_read_again_have_no_color() -> None:
    """What was read only once has no color on the map of change, and no mark."""
    before = sample("gorse-yard-humps")
    survey = read_folder(SAMPLES / "gorse-yard-ground")
    cells = survey.tables[0].cells
    after = assess(checked(survey.document, {survey.tables[0].name: cells[:7]}))
    north = max(y for _, y in after.surface.xy_mm)
    drawing = map_of_change(before, changed(before, after))
    colors = colors_of(drawing)
    rows = colors.y_mm > north + 250
    assert np.isnan(colors.value[rows]).all()
    assert not np.isnan(colors.value).all()
    for name in ("left", "grind", "fill"):
        assert all(y <= north for _, y in places_of(drawing, name))


def test_marks_stand_out(choices: dict[str, Choice]) -> None:
    """Each mark has a rim of white, and none of the rims covers another mark."""
    choice = choices["marram-hall-waves"]
    for remedy in ("pour", "patch"):
        drawing = plan_of_work(choice, named(choice, remedy))
        for name in ("grind", "fill"):
            signs = signs_of(drawing, name)
            drawn = markup(replace(drawing, layers=[signs], words=[]))
            strokes = re.findall(r'stroke="(white|#1f2328)" stroke-width="([0-9.]+)"', drawn)
            half = len(strokes) // 2
            assert bool(half) is bool(len(signs.xy))
            assert [color for color, _ in strokes] == ["white"] * half + [INK] * half
            assert all(
                float(rim) > float(own)
                for (_, rim), (_, own) in zip(strokes[:half], strokes[half:], strict=True)
            )


def test_words_on_a_part_to_keep_leave_marks_free() -> None:
    """What must not be done on a part stands in the room, on fewer marks than in its middle."""
    drawing = plan_of_work(
        choice := correct(sample("gorse-yard-humps", HEARTH)), named(choice, "patch")
    )
    (words,) = drawing.said("keep")
    per_mm = NARROW_PX / 4000
    at = np.vstack([signs_of(drawing, name).xy for name in ("grind", "fill")]) * per_mm

    def covered(words: Words) -> int:
        (box,) = boxes_of([words], per_mm)
        return int(((at > box[:2]) & (at < box[2:])).all(axis=1).sum())

    middle = replace(words, at=(1200.0, 1200.0), side=(0, 0), off_px=(0.0, 0.0))
    assert covered(words) < covered(middle)
    (box,) = boxes_of([words], per_mm)
    assert (box[:2] >= drawing.low * per_mm).all()
    assert (box[2:] <= drawing.high * per_mm).all()
