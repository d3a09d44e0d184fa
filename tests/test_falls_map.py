"""Falls and planned heights as drawn: true to the geometry, and told without color."""

import math
import re
from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import Assessment, assess, reads_floor
from flatcheck.compass import side_of
from flatcheck.drain import falls_to
from flatcheck.facet import Falls, height_at
from flatcheck.falls import drainage, plane_falls
from flatcheck.readers.folder import checked, read_folder
from flatcheck.report.falls import water_words
from flatcheck.report.relief import departures_of
from flatcheck.room import EDGE_MM, Ring, Room, inside, rectangle, ring_area
from flatcheck.screed import screeds
from flatcheck.ui.drainage import falls_key, falls_map, head_of, rims
from flatcheck.ui.drawing import Drawing, Line, Signs, Words
from flatcheck.ui.figures import floor_map, raster
from flatcheck.ui.heights import height_words, heights_plan, key_words, walls_tables, written
from flatcheck.ui.plan import middle_of, reach_of, write_beside
from flatcheck.ui.planes import (
    LONGEST,
    SHORTEST,
    arrows_of,
    called_words,
    fall_words,
    letter_of,
    planes_table,
)
from flatcheck.ui.svg import markup, places
from flatcheck.units import STYLES
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
FALLING = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if reads_floor(read_folder(path.parent))
    and any(part.view.ground for part in assess(read_folder(path.parent)).parts)
)

PAN = rectangle(0, 0, 2000, 1500)
DRAIN = rectangle(1040, 690, 1160, 810, "drain")
FALL = 0.02

HEAD = """
flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
show = "{show}"
[instrument]
uncertainty = "0.05"
[standard]
rule = "none"
falls = ["bs-falls", "wet-practice"]
"""

ONE = """
[room]
outline = [[0, 0], [2000, 0], [2000, 1500], [0, 1500]]
[intent]
kind = "to drain"
[[drain]]
name = "drain"
outline = [[1040, 690], [1160, 690], [1160, 810], [1040, 810]]
"""

TWO = """
[room]
outline = [[0, 0], [4000, 0], [4000, 2000], [0, 2000]]
[[zone]]
name = "west"
outline = [[0, 0], [2000, 0], [2000, 2000], [0, 2000]]
intent = { kind = "to drain" }
[[zone]]
name = "east"
outline = [[2000, 0], [4000, 0], [4000, 2000], [2000, 2000]]
intent = { kind = "to drain" }
[[drain]]
name = "first"
center = [1000, 1000]
size = [100, 100]
[[drain]]
name = "second"
center = [3000, 1000]
size = [100, 100]
"""

TABLE = """
[[table]]
file = "floor.csv"
kind = "grid"
sense = "elevation"
"""


def read(
    document: str, heights: np.ndarray, step_mm: float = 100, show: str = "mm/0.1"
) -> Assessment:
    """A floor whose heights [mm] were read on a grid from the zero corner; NaN was not read."""
    cells = [("", *(f"{k * step_mm:g}" for k in range(heights.shape[1])))]
    cells += [
        (f"{k * step_mm:g}", *("" if math.isnan(z) else f"{z:.7f}" for z in row))
        for k, row in enumerate(heights)
    ]
    text = HEAD.replace("{show}", show) + document + TABLE
    return assess(checked(text, {"floor.csv": tuple(cells)}))


def grid(east: int, north: int, step_mm: float = 100) -> np.ndarray:
    """Places (north, east, 2) on a grid from the zero corner."""
    return step_mm * np.stack(np.meshgrid(np.arange(east), np.arange(north)), axis=-1)


def exact() -> tuple[Assessment, Falls]:
    """A pan that falls to its drain just as planned, and the plan."""
    falls = falls_to(PAN, DRAIN, FALL)
    heights = height_at(falls, grid(21, 16).reshape(-1, 2).astype(float)).reshape(16, 21)
    return read(ONE, np.nan_to_num(heights)), falls


def two(dent_mm: float = 0.0) -> Assessment:
    """Two pans side by side, each with its drain; the first with a dent near its zero corner."""
    xy = grid(41, 21)
    away = [np.abs(xy - middle).max(axis=-1) for middle in ((1000, 1000), (3000, 1000))]
    heights = FALL * np.minimum(*away)
    heights[2:5, 2:5] -= dent_mm
    return read(TWO, heights)


def sample(name: str) -> Assessment:
    return assess(read_folder(SAMPLES / name))


def drawn(found: Assessment) -> Drawing:
    return falls_map(found, drainage(found))


def line(drawing: Drawing, name: str) -> Line:
    """The one line with a name."""
    found = drawing.layer(name)
    assert isinstance(found, Line)
    return found


def signs(drawing: Drawing, name: str) -> Signs:
    """The signs with a name."""
    found = drawing.layer(name)
    assert isinstance(found, Signs)
    return found


def xy_of(drawn: Line | Signs) -> set[tuple[float, ...]]:
    """The places of a layer, without the lifts of the pen."""
    return {tuple(xy) for xy in drawn.xy[np.isfinite(drawn.xy[:, 0])].tolist()}


def notes(drawing: Drawing) -> list[str]:
    """All words on a drawing."""
    return [words.text for words in drawing.words]


def heights_on(drawing: Drawing) -> list[Words]:
    """The heights that are written at corners and marks."""
    found = drawing.said("height")
    assert all(re.fullmatch(r"(<b>)?[0-9.]+(</b>)?", words.text) for words in found)
    return found


def filled(drawing: Drawing) -> list[Line]:
    """What is colored within, but for the room and what stands on it."""
    lines = [layer for layer in drawing.layers if isinstance(layer, Line)]
    return [
        each for each in lines if each.fill != "none" and not each.name.startswith("ground of ")
    ]


def test_departures_are_from_each_plane() -> None:
    """On a pan just as planned every reading lies in its plane, valleys too, but on no drain.

    A reading less than EDGE_MM beyond a valley counts on both sides of it.
    """
    found, falls = exact()
    off = 2 * EDGE_MM * max(facet.fall_ratio for facet in falls.facets)
    above = departures_of(found)
    xy = found.surface.xy_mm
    on_drain = np.all(np.abs(xy - (1100, 750)) < 60 - 1, axis=1)
    assert on_drain.any()
    assert np.isnan(above[on_drain]).all()
    assert np.abs(above[~on_drain]).max() <= off
    assert np.median(np.abs(above[~on_drain])) < 1e-3
    colors = raster(found).above_mm
    assert np.nanmax(np.abs(colors)) <= off
    assert np.isfinite(colors).mean() > 0.95


def test_a_reading_on_two_planes_counts_for_the_farther() -> None:
    """A reading in a valley has the departure from that of its planes that it is farther from."""
    found = sample("cressbrook-pan")
    above = departures_of(found)
    (part,) = found.parts
    told: dict[int, list[float]] = {}
    for face in part.faces:
        own = face.view
        for k, z in zip(
            face.stations,
            departures(own),
            strict=True,
        ):
            told.setdefault(int(part.stations[k]), []).append(z)
    assert any(len(values) > 1 for values in told.values())
    for station, values in told.items():
        assert abs(above[station]) == pytest.approx(max(map(abs, values)))


def departures(view: object) -> np.ndarray:
    """Heights less the plane of a view, worked out by hand."""
    floor, plane = view.surface, view.plane
    away = floor.xy_mm - plane.middle
    return floor.height_mm - plane.coef[0] - away[:, 0] * plane.coef[1] - away[:, 1] * plane.coef[2]


def test_drain_on_the_map() -> None:
    """The map has the drain in its outline with its name, and tells a reading on it apart."""
    found, _ = exact()
    drawing = floor_map(found)
    grate = line(drawing, "drain drain")
    assert xy_of(grate) == set(DRAIN.corners_mm)
    assert grate.hatch
    assert "drain" in notes(drawing)
    assert any("on no plane" in text for text in signs(drawing, "readings").told)


def test_arrows_run_down() -> None:
    """On an exact pan an arrow drops by its length times the fall: it is the steepest way."""
    found, falls = exact()
    for arrow in arrows_of(found):
        ends = np.array((arrow.tail, arrow.head))
        tail, head = height_at(falls, ends)
        assert arrow.told
        assert arrow.fall.fall_ratio is not None
        assert tail - head == pytest.approx(arrow.fall.fall_ratio * math.dist(*ends), rel=1e-3)
        assert side_of(arrow.fall.bearing_deg) == side_of(arrow.fall.meant_deg)


@pytest.mark.parametrize("name", FALLING)
def test_arrows_are_as_long_as_planes_fall(name: str) -> None:
    """Lengths are to one another as falls are, and the longest is a tenth of the room or more."""
    found = sample(name)
    arrows = [arrow for arrow in arrows_of(found) if arrow.told]
    size = np.ptp(np.array(found.surface.room.outline.corners_mm), axis=0).min()
    per_fall = [math.dist(a.tail, a.head) / a.fall.fall_ratio for a in arrows]
    assert per_fall == pytest.approx([per_fall[0]] * len(arrows))
    steepest = max(FALL, *(a.fall.fall_ratio for a in arrows), 0)
    assert SHORTEST * size * 0.999 <= per_fall[0] * steepest <= LONGEST * size * 1.001


@pytest.mark.parametrize("name", FALLING)
def test_arrows_lie_in_their_planes(name: str) -> None:
    """Each arrow lies in its own plane, whole but on slivers, where its middle does."""
    found = sample(name)
    corners = np.array(found.surface.room.outline.corners_mm)
    for arrow in arrows_of(found):
        ends = np.array((arrow.tail, arrow.head))
        assert inside(Room(arrow.outline), ends.mean(axis=0)[None])[0]
        sliver = min(reach_of(arrow.outline, arrow.fall.bearing_deg)) < np.ptp(corners) / 30
        assert sliver or inside(Room(arrow.outline), ends).all()


@pytest.mark.parametrize("name", FALLING)
def test_arrows_are_drawn_as_worked_out(name: str) -> None:
    """The drawn shaft goes from tail to head; there its head is, turned the way it goes."""
    found = sample(name)
    drawing = drawn(found)
    for arrow in arrows_of(found):
        assert arrow.told
        shaft = line(drawing, f"fall of {arrow.letter}")
        assert shaft.xy.tolist() == [list(arrow.tail), list(arrow.head)]
        head = signs(drawing, f"head of {arrow.letter}")
        assert head.sign == "arrow"
        assert head.xy.tolist() == [list(arrow.head)]
        east, north = np.subtract(arrow.head, arrow.tail)
        (turn,) = head.turn_deg
        assert turn % 360 == pytest.approx(math.degrees(math.atan2(east, north)) % 360, abs=1e-6)


def test_no_fall_no_arrow() -> None:
    """A level floor that should fall has an open circle and no arrow, and the key says so."""
    found = read(ONE, np.zeros((16, 21)))
    arrows = arrows_of(found)
    assert not any(arrow.told for arrow in arrows)
    assert all(arrow.tail == arrow.head for arrow in arrows)
    drawing = drawn(found)
    circle = signs(drawing, "fall of A")
    assert (circle.sign, circle.fill) == ("dot", "white")
    assert circle.edge_px > 0
    assert "head of A" not in [layer.name for layer in drawing.layers]
    assert "open circle" in falls_key(found, drainage(found))


def test_letters() -> None:
    """Planes have letters; after Z they are doubled, and no two are the same."""
    letters = [letter_of(k) for k in range(60)]
    assert letters[:3] == ["A", "B", "C"]
    assert letters[25:27] == ["Z", "AA"]
    assert len(set(letters)) == 60


@pytest.mark.parametrize("name", FALLING)
def test_every_plane_on_plan_and_table(name: str) -> None:
    """Each plane's letter stands once on the plan and once in the table, with what it falls."""
    found = sample(name)
    drawing, table = drawn(found), planes_table(found)
    wide, _, narrow = table.partition('<div class="narrow">')
    planes = plane_falls(found)
    assert wide.count("<tr>") == len(planes) + 1
    for number, plane in enumerate(planes):
        mark = f"<b>{letter_of(number)}</b>"
        assert len([text for text in notes(drawing) if text.startswith(mark)]) == 1
        assert mark in wide
        assert mark in narrow
        assert plane.name in wide
        assert f"{plane.fall_ratio:.2%}" in wide
        assert f"{plane.fall_ratio:.2%}" in narrow
        assert f"to the {side_of(plane.bearing_deg)}" in wide


def test_fall_in_the_units_of_the_person() -> None:
    """1:48 is 2.08 % in millimeters and 0.25 in per ft in inches."""
    assert fall_words(1 / 48, STYLES["mm"]) == ("2.08%",)
    assert fall_words(1 / 48, STYLES["in/16"]) == ('0.25"/ft', "0.25")


def test_pond_is_numbered_as_told() -> None:
    """A dent is drawn in its shores with a number, and the words of that number tell its depth."""
    found = two(dent_mm=12)
    west, _ = drainage(found)
    drawing = drawn(found)
    assert len(west.ponds) == 1
    (pond,) = west.ponds
    shores = {tuple(p) for shore in pond.shores for p in shore.tolist()}
    assert xy_of(line(drawing, "pond 1")) == shores
    number = signs(drawing, "number of pond 1")
    assert number.xy.tolist() == [list(pond.at)]
    (written_on,) = drawing.said("number of pond 1")
    assert (written_on.at, written_on.text) == (pond.at, "<b>1</b>")
    words = water_words(west, found.surface.room, found.survey.show)[0]
    assert words.startswith(f"Pond 1: {pond.depth_mm:.1f} mm deep")
    assert f"{pond.volume_mm3 / 1e6:.2f} l" in words
    assert number.told == [words]


def test_doubtful_pond_is_dashed() -> None:
    """Water shallower than the readings can tell has a dashed shore, other water a solid one."""
    told = {}
    for name in ("cressbrook-pan", "linden-weir-recess"):
        found = sample(name)
        (zone,) = drainage(found)
        told[name] = zone.ponds[0].told
        dash = line(drawn(found), "pond 1").dash
        assert dash == ("solid" if zone.ponds[0].told else "dash")
    assert set(told.values()) == {True, False}


def test_each_zone_drains_to_its_own() -> None:
    """With two drains the ground of each has a pattern of its own and says where it drains to."""
    drawing = drawn(two())
    grounds = [line(drawing, f"to {name}") for name in ("first", "second")]
    assert all(ground.hatch for ground in grounds)
    assert len({ground.hatch for ground in grounds}) == 2
    for name, ground, middle in zip(("first", "second"), grounds, (1000, 3000), strict=True):
        assert f"<i>to {name}</i>" in notes(drawing)
        assert np.nanmax(np.abs(ground.xy[:, 0] - middle)) == pytest.approx(1000)
    assert "one pattern" in falls_key(two(), drainage(two()))


def test_one_drain_needs_no_ground() -> None:
    """Where all of the floor goes to one drain no ground is shaded."""
    found, _ = exact()
    drawing = drawn(found)
    assert not any(text.startswith("<i>") for text in notes(drawing))
    assert "pattern" not in falls_key(found, drainage(found))


def test_floor_that_drains_nowhere() -> None:
    """Floor behind a wall without a gap, and so without a drain, says that it drains nowhere."""
    wall = (
        '[[room.cutout]]\nname = "wall"\noutline = [[520, 0], [580, 0], [580, 1500], [520, 1500]]'
    )
    falls = falls_to(PAN, DRAIN, FALL)
    heights = np.nan_to_num(height_at(falls, grid(21, 16).reshape(-1, 2) * 1.0)).reshape(16, 21)
    found = read(ONE.replace("[intent]", f"{wall}\n[intent]"), heights)
    drawing = drawn(found)
    lost = line(drawing, "drains nowhere")
    assert np.nanmax(lost.xy[:, 0]) == 500
    assert "<i>drains nowhere</i>" in notes(drawing)
    assert lost.hatch
    assert lost.hatch != line(drawing, "to drain").hatch


def test_rims_enclose_their_triangles() -> None:
    """Around a patch with a hole the rings enclose its area; the hole's is taken off."""
    xy = np.array([[x, y] for y in range(4) for x in range(4)], float)
    cells = [(i, j) for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    corners = [4 * j + i for i, j in cells]
    triangles = np.array(
        [t for k in corners for t in ((k, k + 1, k + 5), (k, k + 5, k + 4))], dtype=np.int64
    )
    rings = rims(xy, triangles)
    assert sorted(ring_area(ring[:-1]) for ring in rings) == pytest.approx([-1, 9])
    assert all((ring[0] == ring[-1]).all() for ring in rings)


@pytest.mark.parametrize("found", [two(dent_mm=12), sample("linden-weir-recess"), exact()[0]])
def test_nothing_is_told_by_color_alone(found: Assessment) -> None:
    """Every ground has a pattern, every pond a number, every crossed place its word."""
    drawing = drawn(found)
    assert filled(drawing)
    for ground in filled(drawing):
        assert ground.hatch
    names = [layer.name for layer in drawing.layers]
    ponds = [name for name in names if re.fullmatch("pond [0-9]+", name)]
    numbers = [name for name in names if name.startswith("number of ")]
    assert numbers == [f"number of {name}" for name in ponds]
    assert all(drawing.said(number) for number in numbers)
    crosses = signs(drawing, "worst places")
    assert crosses.sign == "cross"
    words = drawing.said("worst")
    assert all(worst.text for worst in words)
    assert [list(worst.at) for worst in words] == crosses.xy.tolist()
    creases = [layer for layer in drawing.layers if isinstance(layer, Line)]
    assert {crease.dash for crease in creases if crease.name == "valleys"} == {"solid"}
    assert {crease.dash for crease in creases if crease.name == "ridges"} == {"dash"}


def test_valleys_where_planes_meet() -> None:
    """The drawn valleys are the creases of the plan, from the drain's corners to the room's."""
    found, _ = exact()
    drawing = drawn(found)
    assert xy_of(line(drawing, "valleys")) == {*PAN.corners_mm, *DRAIN.corners_mm}
    assert not len(line(drawing, "ridges").xy)


@pytest.mark.parametrize("name", FALLING)
def test_runs_go_down(name: str) -> None:
    """The drawn ways of water are those worked out, and none has a head off its line."""
    found = sample(name)
    water = drainage(found)
    drawing = falls_map(found, water)
    drawn_x = line(drawing, "runs").xy[:, 0]
    lines = [run for zone in water for run in zone.lines]
    assert np.count_nonzero(np.isnan(drawn_x)) == len(lines)
    heads = signs(drawing, "heads of runs")
    worked = dict(head_of(run.xy_mm) for run in lines if len(run.xy_mm) > 1)
    assert heads.sign == "arrow"
    assert len(heads.xy) > 0
    for (x, y), angle in zip(heads.xy.tolist(), heads.turn_deg, strict=True):
        assert math.cos(math.radians(angle - worked[x, y])) == pytest.approx(1)


def test_head_halfway() -> None:
    """The head of a way of 300 mm north, then 500 mm east stands after 400 mm and points east."""
    at, bearing = head_of(np.array([[0.0, 0.0], [0.0, 300.0], [500.0, 300.0]]))
    assert at == pytest.approx((100, 300))
    assert bearing == pytest.approx(90)


@pytest.mark.parametrize("name", FALLING)
def test_drawn_to_scale(name: str) -> None:
    """Both plans have equal axes, and no more places to point at than can be told apart."""
    found = sample(name)
    plans = screeds(found.survey, 300, found)
    outlines = [found.surface.room.outline.corners_mm, *(plan.falls.corners for plan in plans)]
    drawings = [drawn(found), *(heights_plan(plan, found.survey, 1) for plan in plans)]
    for drawing, corners in zip(drawings, outlines, strict=True):
        wide, tall = np.ptp(np.array(corners), axis=0)
        assert f"aspect-ratio:{wide / tall:.4f};" in markup(drawing)
        assert 0 < len(places(drawing)) <= 1000


def test_called_by_the_rules() -> None:
    """The plane with the worst place has the rule's outcome; a within rule makes all within."""
    found = sample("cressbrook-pan")
    by_name = {plane.name: called_words(plane, found) for plane in plane_falls(found)}
    least, most = (
        next(f for f in found.verdict.findings if f.rule.measure == measure)
        for measure in ("fall_least", "fall_most")
    )
    assert least.outcome is most.outcome is Outcome.OUT
    assert least.worst
    assert most.worst
    assert "out (least 1.25%), the worst place" in by_name[least.worst.face]
    assert "out (most 2.00%), the worst place" in by_name[most.worst.face]
    assert by_name["west plane"] == "no part of it out as read"
    wet = sample("linden-weir-wet-room")
    assert [called_words(plane, wet) for plane in plane_falls(wet)] == ["within"]


def test_planned_heights_stand_at_their_places() -> None:
    """Each corner and mark has the height of the plan there, which is its fall times the way."""
    found, _ = exact()
    (plan,) = screeds(found.survey, 250, found)
    drawing = heights_plan(plan, found.survey, 1)
    style = found.survey.show
    placed = {words.at: re.sub("<[^>]*>", "", words.text) for words in heights_on(drawing)}
    assert set(placed) == xy_of(signs(drawing, "marks"))
    # All walls are level: the flattest plane, to the west wall, decides their height.
    least = 1 / 80
    for words in placed.values():
        assert words == height_words(least * 1040, style)
    assert set(PAN.corners_mm) <= set(placed)


def test_heights_fall_along_a_wall() -> None:
    """On a floor of one fall each mark is as much above the low side as it lies away from it."""
    found = sample("ashlar-court-roll-in")
    (plan,) = screeds(found.survey, 300, found)
    drawing = heights_plan(plan, found.survey, 1)
    heights = heights_on(drawing)
    for words in heights:
        said = float(re.sub("<[^>]*>", "", words.text))
        assert said == pytest.approx(0.0204 * words.at[1], abs=0.05 + 1e-9)
    assert len(heights) == 4 + 4 * 4
    assert "lowest corner" in key_words(plan, found.survey, 1)


def test_marks_too_near_for_words() -> None:
    """Where marks stand too near every so many have words, the key says so, the table has all."""
    falls = read(TWO, np.zeros((21, 41)))
    plans = screeds(falls.survey, 50, falls)
    every = written(plans[0], 50)
    assert every > 1
    assert f"Every {every} marks" in key_words(plans[0], falls.survey, every)
    marks = [mark for mark in plans[0].marks if mark.wall == "south"]
    few = heights_plan(plans[0], falls.survey, every)
    words = [w for w in heights_on(few) if re.fullmatch(r"[0-9.]+", w.text) and w.at[1] == 0]
    assert len(words) == (len(marks) - 2) // every
    assert written(plans[0], 600) == 1


def test_tables_by_wall() -> None:
    """A level wall is one line; along another each mark has a row with its height."""
    found = sample("hollin-ghyll-shower")
    (plan,) = screeds(found.survey, 304.8, found)
    told = walls_tables(plan, found.survey.show)
    assert len(re.findall("<p><b>(curb|back) wall</b>: level, ", told)) == 2
    assert told.count("<table>") == 2
    assert told.count("<caption><b>tub wall</b>") == 1
    tub = [mark for mark in plan.marks if mark.wall == "tub wall"]
    assert len(tub) == 5
    table = told.partition("<b>tub wall</b>")[2].partition("</table>")[0]
    assert table.count("<tr><td>") == 5


def test_middle_of_a_bent_floor() -> None:
    """The middle of an L whose center of area lies outside it is a place in the L."""
    bent = Ring("L", ((0, 0), (1000, 0), (1000, 50), (50, 50), (50, 1000), (0, 1000)))
    assert inside(Room(bent), middle_of(bent)[None])[0]
    assert middle_of(rectangle(0, 0, 300, 100)) == pytest.approx([150, 50])


@pytest.mark.parametrize("bearing", [0.0, 30.0, 90.0, 215.0])
def test_reach(bearing: float) -> None:
    """From the middle of a rectangle both ways reach as far, to the side that is met first."""
    turn = math.radians(bearing)
    expected = min(
        150 / abs(math.sin(turn)) if abs(math.sin(turn)) > 1e-9 else math.inf,
        50 / abs(math.cos(turn)) if abs(math.cos(turn)) > 1e-9 else math.inf,
    )
    assert reach_of(rectangle(0, 0, 300, 100), bearing) == pytest.approx((expected, expected))


def test_hostile_names_are_text() -> None:
    """A drain, a zone and walls whose names are markup show as text on every drawing and table."""
    hostile = "<b>x</b><a href='javascript:alert(1)'>x</a>"
    named = TWO.replace('"first"', f'"{hostile}"').replace('"west"', f'"{hostile}"')
    walls = f'walls = ["{hostile} 1", "{hostile} 2", "{hostile} 3", "{hostile} 4"]'
    named = named.replace("[[zone]]", f"{walls}\n[[zone]]", 1)
    xy = grid(41, 21)
    away = [np.abs(xy - middle).max(axis=-1) for middle in ((1000, 1000), (3000, 1000))]
    found = read(named, FALL * np.minimum(*away))
    plans = screeds(found.survey, 300, found)
    drawings = [drawn(found), floor_map(found)]
    drawings += [heights_plan(plan, found.survey, 1) for plan in plans]
    shown = [
        *map(markup, drawings),
        *(told for drawing in drawings for _, _, told, _ in places(drawing)),
        planes_table(found),
        *(walls_tables(plan, found.survey.show) for plan in plans),
    ]
    for text in shown:
        assert "<a " not in text
        assert "<b>x" not in text
        assert "&amp;lt;" not in text
    for drawing in drawings[:3]:
        assert "&lt;b&gt;x&lt;/b&gt;&lt;a href" in markup(drawing)


@pytest.mark.parametrize(("px_per_mm", "told"), [(1.0, "A 0.47"), (0.3, "A"), (0.1, "A")])
def test_words_stay_within_a_plane_that_narrows(px_per_mm: float, told: str) -> None:
    """Beside an arrow in a triangle stand the words that lie in it, not those across its side."""
    sliver = Ring("plane", ((0, 0), (120, 400), (0, 400)))
    drawing = Drawing("a sliver")
    write_beside(drawing, sliver, True, ("A 0.47", "A"), px_per_mm)
    (words,) = drawing.words
    assert words.text == told
    drawing = Drawing("a sliver")
    write_beside(drawing, sliver, True, ("A 0.47", ""), 0.3)
    assert not drawing.words
