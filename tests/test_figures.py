"""The drawings: true shapes and colors, the bar on its contacts, words in the person's units."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import Assessment, assess, reads_floor
from flatcheck.intent import Intent
from flatcheck.judgment import NO_FLATNESS
from flatcheck.parts import Face, Part, view_of
from flatcheck.readers.folder import bare, checked, edited, read_folder
from flatcheck.report.relief import departures_of, thinned, worst_of
from flatcheck.report.section import exaggeration, profile_of
from flatcheck.report.text import SPOTS
from flatcheck.report.ticks import distance_steps, height_steps, ticks
from flatcheck.room import Room, rectangle
from flatcheck.surface import surface
from flatcheck.survey import Cells
from flatcheck.ui.drawing import Colors, Drawing, Line, Signs
from flatcheck.ui.figures import floor_map, outline_of, owners_of, raster
from flatcheck.ui.section import profile_figure
from flatcheck.ui.solid import solid_figure
from flatcheck.ui.svg import markup, places
from flatcheck.units import STYLES, parse_length

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if reads_floor(read_folder(path.parent))
)
FLATNESS = [n for n in NAMES if read_folder(SAMPLES / n).standard != NO_FLATNESS]
FALLING = [n for n in NAMES if read_folder(SAMPLES / n).falls]
FLOORS = [n for n in NAMES if not read_folder(SAMPLES / n).room.upright]
STANDARDS = ("us-tile:bar", "us-tile:plane", "bs-5385-3:finished", "din-18202:3-grid")


def sample(name: str, standard: str | None = None) -> Assessment:
    """A sample, judged by its own standard or another, for its own tile or a large one."""
    survey = read_folder(SAMPLES / name)
    sections = {"standard": {"rule": standard}} if standard else {}
    if not survey.tile:
        sections["tile"] = {"length": "600 mm", "width": "300 mm"}
    return assess(edited(survey, sections))


def grid(heights: np.ndarray, step_mm: int = 500) -> Cells:
    """A grid of heights [mm] as cells, row after row from the south."""
    offsets = [str(step_mm * k) for k in range(max(heights.shape))]
    rows = [("", *offsets[: heights.shape[1]])]
    rows += [(offsets[k], *(f"{z:.6f}" for z in row)) for k, row in enumerate(heights)]
    return tuple(rows)


def judged(heights: np.ndarray, standard: str = "bs-8204:SR1") -> Assessment:
    """A bare grid of heights [mm], 500 mm apart, as read with a very good instrument."""
    return assess(
        bare(
            "floor.csv",
            grid(heights),
            kind="grid",
            sense="elevation",
            readings="mm",
            offsets="mm",
            uncertainty="0.01",
            sections={"standard": {"rule": standard}},
        )
    )


def signs(drawing: Drawing, name: str) -> Signs:
    """The signs of a name."""
    found = drawing.layer(name)
    assert isinstance(found, Signs)
    return found


def line(drawing: Drawing, name: str) -> Line:
    """The line of a name."""
    found = drawing.layer(name)
    assert isinstance(found, Line)
    return found


@pytest.mark.parametrize("name", NAMES)
def test_equal_axes(name: str) -> None:
    """On the map a foot east is as long as a foot north, and it is as wide as the room is."""
    found = sample(name)
    drawing = floor_map(found)
    assert drawing.times == 1
    wide, tall = np.ptp(np.array(found.surface.room.outline.corners_mm), axis=0)
    assert drawing.shape == pytest.approx(wide / tall)


def test_hover_in_fractions() -> None:
    """Each reading of a survey in inches tells its departure as a signed fraction, to 1/16."""
    found = sample("millbrook-plywood")
    texts = signs(floor_map(found), "readings").told
    above = departures_of(found)
    assert len(texts) == len(above) == 108
    assert any("/16" in text for text in texts)
    for text, value in zip(texts, above, strict=True):
        said = re.match(r"<b>\+?(-?[0-9 /]+\")</b> from the required plane<br>", text)
        assert said
        assert abs(parse_length(said[1]) - value) <= 25.4 / 32 + 1e-9
        assert "wall" in text
        assert "laser.csv, row" in text


def test_hover_in_millimeters() -> None:
    """A survey in millimeters is told in millimeters."""
    texts = signs(floor_map(sample("saltmarsh-l-shaped")), "readings").told
    assert all(re.match(r"<b>[+-]?[0-9]+\.[0-9] mm</b>", text) for text in texts)


def test_nothing_drawn_outside() -> None:
    """The color ends where the L-shaped room ends, and at its counter and column."""
    found = raster(sample("saltmarsh-l-shaped"))
    x, y = np.meshgrid(found.x_mm, found.y_mm)
    notch = (x > 3600 + 1) & (y > 2600 + 1)
    counter = (x > 1501) & (x < 2399) & (y > 1001) & (y < 1599)
    column = (x > 4601) & (x < 4899) & (y > 1101) & (y < 1399)
    for hole in (notch, counter, column):
        assert hole.any()
        assert np.isnan(found.above_mm[hole]).all()
    read = (x > 250) & (x < 1100) & (y > 250) & (y < 4600)
    assert np.isfinite(found.above_mm[read]).all()


def test_pipe_between_readings() -> None:
    """A pipe that stands between readings, touching no line of them, is not colored over."""
    document = """
flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
[instrument]
uncertainty = "0.01"
[standard]
rule = "bs-8204:SR1"
[room]
outline = [[0, 0], [2000, 0], [2000, 2000], [0, 2000]]
[[room.cutout]]
name = "pipe"
outline = [[560, 725], [620, 725], [620, 775], [560, 775]]
[[table]]
file = "floor.csv"
kind = "grid"
sense = "elevation"
"""
    found = raster(assess(checked(document, {"floor.csv": grid(np.zeros((5, 5)))})))
    x, y = np.meshgrid(found.x_mm, found.y_mm)
    pipe = (x > 561) & (x < 619) & (y > 726) & (y < 774)
    near = (x > 520) & (x < 980) & (y > 520) & (y < 980) & (np.hypot(x - 590, y - 750) > 60)
    assert pipe.any()
    assert np.isnan(found.above_mm[pipe]).all()
    assert np.isfinite(found.above_mm[near]).all()


def test_no_color_beyond_readings() -> None:
    """Between the outer readings and the walls nothing is colored: that would be a guess."""
    found = raster(sample("larkfield-coarse"))
    foot = 304.8
    inner = (found.x_mm > foot) & (found.x_mm < 15 * foot)
    # A cell that holds an outer reading is colored whole.
    beyond = found.x_mm < foot - found.step_mm
    assert np.isfinite(found.above_mm[:, inner]).any()
    assert np.isnan(found.above_mm[:, beyond]).all()


def test_linear_between_readings() -> None:
    """Over a ridge along a row of readings the color is the ridge less the plane, to a cell."""
    slope = 0.01
    y = 500.0 * np.arange(7)
    heights = np.repeat((20 - slope * np.abs(y - 1500))[:, None], 5, axis=1)
    found = judged(heights)
    colors = raster(found)
    # The plane of best fit of a symmetric ridge is level, at the mean height.
    expected = 20 - slope * np.abs(colors.y_mm - 1500) - heights.mean()
    assert np.isfinite(colors.above_mm).all()
    off = np.abs(colors.above_mm - expected[:, None])
    assert off.max() <= slope * colors.step_mm / 2 + 1e-9
    assert np.median(off) < 1e-9


@pytest.mark.parametrize("name", NAMES)
def test_thinning_hides_no_peak(name: str) -> None:
    """The highest and lowest reading are in the colors, and no color is beyond them."""
    found = sample(name)
    above, colors = departures_of(found), raster(found).above_mm
    assert np.nanmax(colors) == pytest.approx(np.nanmax(above), abs=1e-9)
    assert np.nanmin(colors) == pytest.approx(np.nanmin(above), abs=1e-9)


def test_dense_readings_keep_the_peak() -> None:
    """Of readings denser than the cells the farthest from the plane gives the color."""
    x, y = np.arange(600) * 100.0, np.arange(8) * 100.0
    xy = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    heights = np.zeros(len(xy))
    heights[2777] = 9.0
    room = Room(rectangle(0, 0, x[-1], y[-1]))
    floor = surface(room, xy, heights, np.ones(len(xy)), ["a reading"] * len(xy))
    view, every = view_of(floor, Intent("level")), np.arange(len(xy))
    piece = Part("floor", view, every, (Face("floor", view, every),))
    found = replace(judged(np.zeros((4, 4))), surface=floor, parts=(piece,))
    above, colors = departures_of(found), raster(found).above_mm
    assert colors.size < len(xy) / 10
    assert np.nanmax(colors) == pytest.approx(9 - 9 / len(xy))
    kept = thinned(xy, above, 1000)
    # A strip of 59.9 m by 0.7 m: the squares that its edges cut count whole.
    square = math.sqrt(59_900 * 700 / 1000)
    assert 500 < len(kept) <= (59_900 / square + 1) * (700 / square + 1)
    assert 2777 in kept


@pytest.mark.parametrize("name", NAMES)
def test_colors_centered(name: str) -> None:
    """White is the required plane: the scale runs as far down as up, and holds every reading."""
    found = sample(name)
    colors = floor_map(found).layer("departures")
    assert isinstance(colors, Colors)
    assert colors.marks[0] == -colors.marks[-1]
    assert colors.marks[-1] >= np.nanmax(np.abs(departures_of(found)))
    assert colors.scale[len(colors.scale) // 2] == (0.5, "#f7f7f7")
    assert len(set(colors.words)) == len(colors.marks) == 5


@pytest.mark.parametrize("name", FLOORS)
@pytest.mark.parametrize("standard", STANDARDS)
def test_bar_lies_on_its_contacts(name: str, standard: str) -> None:
    """At both contacts the floor is at the line, at the place of the gap it is the gap below."""
    found = sample(name, standard)
    finding = worst_of(found)
    assert finding
    assert finding.worst
    drawn = profile_of(found, finding)
    assert drawn.span_mm == pytest.approx(math.dist(finding.worst.start, finding.worst.end), abs=1)
    at = {float(x): float(z) for x, z in zip(drawn.along_mm, drawn.floor_mm, strict=True)}
    assert at[0.0] == pytest.approx(0, abs=1e-9)
    assert at[drawn.at_mm] == pytest.approx(-finding.worst.value_mm, abs=1e-6)
    assert 0 < drawn.at_mm <= drawn.span_mm
    if finding.rule.measure != "plane":
        assert at[drawn.span_mm] == pytest.approx(0, abs=1e-9)
    assert np.all(np.diff(drawn.along_mm) > 0)
    on_map = line(floor_map(found), "worst")
    assert on_map.xy.tolist() == [[*finding.worst.start], [*finding.worst.end]]


@pytest.mark.parametrize("name", FLOORS)
def test_nothing_pierces_a_resting_bar(name: str) -> None:
    """Between the contacts of a resting bar no reading stands above it."""
    found = sample(name, "us-tile:bar")
    finding = worst_of(found)
    assert finding
    assert finding.rule.measure == "resting"
    drawn = profile_of(found, finding)
    under = (drawn.along_mm >= 0) & (drawn.along_mm <= drawn.span_mm)
    assert drawn.floor_mm[under].max() <= 1e-6


def test_crown_is_drawn_above() -> None:
    """On equal blocks a crown of 6 mm stands 6 mm above the bar, and the drawing says above."""
    heights = np.zeros((5, 5))
    heights[2, 2] = 6.0
    found = judged(heights, "bs-5385-3:finished")
    finding = worst_of(found)
    assert finding
    drawn = profile_of(found, finding)
    assert drawn.gap_mm == pytest.approx(-6)
    assert drawn.floor_mm[drawn.along_mm == drawn.at_mm] == pytest.approx(6)
    (said,) = profile_figure(drawn, found.survey.show).said("gap")
    assert said.text == "<b>6.0 mm</b> above the bar"


@pytest.mark.parametrize("name", FLATNESS)
def test_exaggeration_is_stated(name: str) -> None:
    """The axes are tied by the very number that the drawing states."""
    found = sample(name)
    finding = worst_of(found)
    assert finding
    drawing = profile_figure(profile_of(found, finding), found.survey.show)
    (said,) = drawing.said("stated")
    stated = re.search(r"heights drawn ([0-9]+) times as tall", said.text)
    assert stated
    wide, tall = drawing.high - drawing.low
    assert f"aspect-ratio:{wide / (tall * float(stated[1])):.4f};" in markup(drawing)


@pytest.mark.parametrize("name", FLATNESS)
def test_exaggeration_fits(name: str) -> None:
    """The profile fills more than half of the height given, and never more than all of it."""
    found = sample(name)
    finding = worst_of(found)
    assert finding
    drawn = profile_of(found, finding)
    tall = max(drawn.floor_mm.max(), 0) - min(drawn.floor_mm.min(), -drawn.limit_mm)
    pixels = exaggeration(drawn, 600, 200) * tall * 600 / np.ptp(drawn.along_mm)
    assert 100 < pixels <= 200 * (1 + 1e-9)


def test_spots_on_the_map() -> None:
    """Each spot has its number; highs point up, lows down, hollow where it may be reading error."""
    found = sample("millbrook-plywood")
    figure = floor_map(found)
    assert 1 <= len(found.verdict.spots) <= SPOTS
    numbers = set()
    for name, shape in (("high", "up"), ("low", "down")):
        marks, said = signs(figure, name), figure.said(name)
        assert marks.sign == shape
        for words, color, at in zip(said, marks.fill, marks.xy.tolist(), strict=True):
            number = int(re.sub(r"\D", "", words.text))
            spot = found.verdict.spots[number - 1]
            assert spot.high is (name == "high")
            assert [*spot.at] == [*words.at] == at
            assert (color == "white") is not spot.proven
            numbers.add(number)
    assert numbers == {spot.number for spot in found.verdict.spots}


def test_outline_of_one_reading() -> None:
    """A spot of one reading on a grid is outlined halfway to its neighbors: a square of a step."""
    heights = np.zeros((9, 9))
    heights[4, 4] = -8.0
    found = judged(heights)
    (spot,) = found.verdict.spots
    assert len(spot.stations) == 1
    colors = raster(found)
    x, y = outline_of(owners_of(found, colors), colors, spot).T
    assert np.nanmin(x) == pytest.approx(2000 - 250, abs=colors.step_mm)
    assert np.nanmax(x) == pytest.approx(2000 + 250, abs=colors.step_mm)
    assert np.nanmin(y) == pytest.approx(2000 - 250, abs=colors.step_mm)
    assert np.nanmax(y) == pytest.approx(2000 + 250, abs=colors.step_mm)


def test_outline_closes() -> None:
    """Every corner of a spot's outline is shared by an even number of its edges."""
    found = sample("millbrook-plywood")
    colors = raster(found)
    for spot in found.verdict.spots:
        x, y = outline_of(owners_of(found, colors), colors, spot).T
        ends = np.round(np.column_stack((x, y)) / colors.step_mm * 2).astype(object)
        corners, count = np.unique(
            np.array([tuple(p) for p in ends[np.isfinite(x)]], dtype=float),
            axis=0,
            return_counts=True,
        )
        assert len(corners) >= 4
        assert np.all(count % 2 == 0)


def test_walls_by_name() -> None:
    """Walls stand beside the map by the names they were given."""
    notes = [words.text for words in floor_map(sample("millbrook-plywood")).said("side")]
    assert notes == ["sink wall", "pantry wall", "porch wall", "stair wall"]


def test_cutouts_by_name() -> None:
    """A counter and a column are drawn where they stand, by name."""
    drawing = floor_map(sample("saltmarsh-l-shaped"))
    notes = {words.text: words.at for words in drawing.said("cutout")}
    assert notes["counter"] == ((1500 + 2400) / 2, (1000 + 1600) / 2)
    assert notes["column"] == ((4600 + 4900) / 2, (1100 + 1400) / 2)


def test_hostile_names_are_text() -> None:
    """A wall or a cutout whose name is markup shows as text."""
    survey = read_folder(SAMPLES / "saltmarsh-l-shaped")
    hostile = "<a href='javascript:alert(1)'>x</a>"
    document = survey.document.replace('name = "counter"', f'name = "{hostile}"')
    assert hostile in document
    found = assess(checked(document, {t.name: t.cells for t in survey.tables}))
    drawing = floor_map(found)
    drawn = markup(drawing) + str(places(drawing))
    assert "<a " not in drawn
    assert "&lt;a href" in drawn


def test_a_wall_called_by_two_words_joined() -> None:
    """What is told of a spot breaks where it is a new thing that is said, not within a name."""
    survey = read_folder(SAMPLES / "millbrook-plywood")
    document = survey.document.replace('"stair wall"', '"stair & hall"')
    found = assess(checked(document, {t.name: t.cells for t in survey.tables}))
    drawing = floor_map(found)
    told = [*signs(drawing, "high").told, *signs(drawing, "low").told]
    assert any("<br>" in words for words in told)
    assert any("stair &amp; hall" in words for words in told)
    assert not any("&amp<br>" in words for words in told)


def test_assumed_outline_has_no_walls() -> None:
    """An outline that nobody gave is dashed, and none of its sides is called a wall."""
    drawing = floor_map(judged(np.zeros((4, 4))))
    assert not drawing.said("side")
    assert line(drawing, "the readings").dash == "dash"


def test_zones_by_their_own_plane() -> None:
    """Two flat zones that fall apart are both at their planes: no color crosses the break."""
    x = 500.0 * np.arange(9)
    heights = np.repeat((10 + 0.02 * np.abs(x - 1750))[None, :], 5, axis=0)
    document = """
flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
[instrument]
uncertainty = "0.01"
[standard]
rule = "bs-8204:SR1"
[[zone]]
name = "west"
outline = [[0, 0], [1750, 0], [1750, 2000], [0, 2000]]
apart = true
[[zone]]
name = "east"
outline = [[1750, 0], [4000, 0], [4000, 2000], [1750, 2000]]
[[table]]
file = "floor.csv"
kind = "grid"
sense = "elevation"
"""
    found = assess(checked(document, {"floor.csv": grid(heights)}))
    assert np.abs(departures_of(found)).max() < 1e-6
    colors = raster(found)
    assert np.nanmax(np.abs(colors.above_mm)) < 1e-6
    between = (colors.x_mm > 1500 + colors.step_mm) & (colors.x_mm < 2000 - colors.step_mm)
    assert np.isnan(colors.above_mm[:, between]).all()
    finding = worst_of(found)
    assert finding
    assert profile_of(found, finding).along_mm.size >= 3


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
@pytest.mark.parametrize(("low", "high"), [(0, 3000), (-12.3, 400), (0.2, 91_000)])
def test_ticks(style: object, low: float, high: float) -> None:
    """Ticks are whole multiples of a step, inside the range, and at most one more than asked."""
    for steps in (distance_steps(style), height_steps(style)):
        if steps[-1] < (high - low) / 5:
            continue
        found = ticks(low, high, steps, 5)
        assert len(found) <= 6
        assert all(low - 1e-6 <= v <= high + 1e-6 for v in found)
        step = min(s for s in steps if s >= (high - low) / 5 * (1 - 1e-9))
        assert all(abs(v / step - round(v / step)) < 1e-9 for v in found)


@pytest.mark.parametrize("name", NAMES)
def test_solid_is_as_tall_as_it_says(name: str) -> None:
    """The solid's heights are the departures times what is stated, on axes of one scale."""
    found = sample(name)
    above = departures_of(found)
    figure, times = solid_figure(found, 200)
    assert times >= 1
    for piece, mesh in zip(found.parts, figure.data, strict=False):
        drawn, known = np.array(mesh.z), np.isfinite(above[piece.stations])
        assert np.allclose(drawn[known], times * above[piece.stations][known])
    ratio, scene = figure.layout.scene.aspectratio, figure.layout.scene
    across = float(np.ptp(np.array(found.surface.room.outline.corners_mm)[:, 0]))
    tall = scene.zaxis.range[1] - scene.zaxis.range[0]
    assert ratio.z / tall == pytest.approx(ratio.x / across)
