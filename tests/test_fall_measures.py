"""Measures of fall and water against hand formulas, and their uncertainty against simulation."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from basins import POINT, SQUARE, on, pan, scattered, survey

from flatcheck.assess import Assessment, assess
from flatcheck.drain import falls_to
from flatcheck.evidence import Evidence, Ground, View, decided_rows
from flatcheck.facet import Falls, one_fall
from flatcheck.intent import Intent
from flatcheck.level import lay
from flatcheck.measures import fall_least, fall_most, ponding, step, valley_line, wall_level
from flatcheck.parts import view_of
from flatcheck.readers.folder import edited, read_folder
from flatcheck.room import Room, inside, rectangle
from flatcheck.surface import part, surface
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
SIDE, STEP, FALL, LEVEL = 1000.0, 100.0, 0.02, 610.0
TICKS = np.arange(0, SIDE + 1, STEP)
XY = np.stack(np.meshgrid(TICKS, TICKS), axis=-1).reshape(-1, 2)
ROOM = Room(rectangle(0, 0, SIDE, SIDE, "floor"))
PAN = pan(FALL)
PLANES = np.array([on(PAN)(x, y) for x, y in XY])
CENTER = int(np.argmin(np.hypot(*(XY - SIDE / 2).T)))
U_MM = 0.1


def at(x: float, y: float) -> int:
    """The station of the grid at a place."""
    return int(np.argmin(np.hypot(*(XY - (x, y)).T)))


def seen(
    z: Floats, falls: Falls = PAN, cov: Floats | None = None, drained: tuple[int, ...] = (CENTER,)
) -> View:
    """The whole of a zone, with its planes, read on the grid."""
    cov = np.full(len(XY), U_MM**2) if cov is None else cov
    whole = surface(ROOM, XY, z, cov, [""] * len(XY))
    views = []
    for facet in falls.facets:
        own, kept = part(whole, replace(ROOM, zone=facet.outline))
        views.append((replace(view_of(own, Intent()), flow_deg=facet.bearing_deg), kept))
    on_drain = np.full(len(XY), -1)
    on_drain[list(drained)] = 0
    return replace(view_of(whole, Intent()), ground=Ground(falls, tuple(views), on_drain))


def face(z: Floats, number: int = 0, cov: Floats | None = None) -> View:
    """One plane of the pan."""
    view = seen(z, cov=cov)
    assert view.ground is not None
    found = view.ground.views[number]
    assert found is not None
    return found[0]


def measured(found: Evidence | None) -> Evidence:
    assert found is not None
    return found


# Least and most fall


@pytest.mark.parametrize("number", range(4))
def test_least_fall_of_a_pan(number: int) -> None:
    """On its planes a pan rises by minus the fall times the level's length, all over."""
    found = measured(fall_least.measure(face(PLANES, number), LEVEL))
    assert found.value_mm == pytest.approx(-FALL * LEVEL)
    assert len(found.value_mm) > 10
    assert np.all(found.span_mm == LEVEL)


@pytest.mark.parametrize("turn", [0, 30, 60, 90, 150])
def test_least_fall_is_along_the_flow(turn: float) -> None:
    """A floor that falls askew falls along its flow by the cosine of the angle between."""
    slope = FALL * np.array([math.sin(math.radians(turn)), math.cos(math.radians(turn))])
    view = replace(view_of(surface(ROOM, XY, -XY @ slope, np.ones(121), [""] * 121), Intent()))
    found = measured(fall_least.measure(replace(view, flow_deg=0.0), LEVEL))
    assert found.value_mm / LEVEL == pytest.approx(-FALL * math.cos(math.radians(turn)))
    steep = measured(fall_most.measure(replace(view, flow_deg=0.0), LEVEL))
    assert steep.value_mm / LEVEL == pytest.approx(FALL)


def test_uphill_is_positive() -> None:
    """Where the floor rises along the flow the value is its rise."""
    found = measured(fall_least.measure(face(-PLANES), LEVEL))
    assert found.value_mm == pytest.approx(FALL * LEVEL)


def test_no_flow_no_least_fall() -> None:
    """A plane that is not meant to fall has no least fall, and still a steepest one."""
    view = replace(face(PLANES), flow_deg=None)
    assert fall_least.measure(view, LEVEL) is None
    assert measured(fall_most.measure(view, LEVEL)).value_mm == pytest.approx(FALL * LEVEL)


def test_a_level_floor_has_no_steepest_way() -> None:
    """On an exactly level floor the drop is zero, not a number that is none."""
    found = measured(fall_most.measure(face(np.zeros(len(XY))), LEVEL))
    assert np.all(found.value_mm == 0)
    assert np.all(found.u_mm > 0)


def test_a_bend_shows_in_parts() -> None:
    """Where a fall flattens half way, parts there fall less, though the plane as a whole does not.

    A level of 300 mm sees the readings 100 mm up and down from its middle.
    """
    y = XY[:, 1]
    z = np.where(y < 500, FALL * y, FALL * 500 + 0.01 * (y - 500))
    floor = surface(ROOM, XY, z, np.ones(len(XY)), [""] * len(XY))
    view = replace(view_of(floor, Intent()), flow_deg=180.0)
    found = measured(fall_least.measure(view, 300.0))
    ratio = dict(zip(found.stations[:, 1].tolist(), -found.value_mm / 300, strict=True))
    assert ratio[at(500, 200)] == pytest.approx(FALL)
    assert ratio[at(500, 800)] == pytest.approx(0.01)
    assert ratio[at(500, 500)] == pytest.approx((FALL + 0.01) / 2)


def test_a_level_longer_than_the_plane() -> None:
    """Where a plane is shorter than the level, all of its length will do."""
    found = lay(face(PLANES), 2000.0, 0.0)
    assert len(found.slope) == len(face(PLANES).surface.xy_mm)
    assert found.slope[:, 1] == pytest.approx(-FALL)


@pytest.mark.parametrize(
    ("places", "why"),
    [
        ([(0, 0), (0, 300)], "two readings"),
        ([(0, 0), (0, 150), (0, 300), (0, 450)], "one line along the flow"),
        ([(0, 0), (150, 0), (300, 0), (150, 20)], "hardly any way along the flow"),
    ],
)
def test_places_where_no_level_lies(places: list[tuple[float, float]], why: str) -> None:
    """A level is not laid where its readings would not tell: two, on a line, or across the flow."""
    far = [(900.0, 900.0)]  # makes the plane as long as the level
    xy = np.array([*places, *far], dtype=float)
    floor = surface(ROOM, xy, np.zeros(len(xy)), np.ones(len(xy)), [""] * len(xy))
    laid = lay(view_of(floor, Intent()), 600.0, 0.0)
    assert len(laid.slope) == 0, why
    assert laid.weights.shape[:2] == (0, 2)


# Ponding


def test_a_pit_holds_water() -> None:
    """A pit 5 mm below its lowest neighbor holds 5 mm; a place on a slope drains by its drop."""
    z = PLANES.copy()
    pit = at(300, 200)
    around = [at(x, y) for x in (200, 300, 400) for y in (100, 200, 300)]
    z[pit] = min(z[k] for k in around if k != pit) - 5
    found = measured(ponding.measure(seen(z), None))
    value = dict(zip(found.stations[:, 1].tolist(), found.value_mm.tolist(), strict=True))
    assert value[pit] == pytest.approx(5)
    # 100 mm from the rim of the drain water drops to it by 100 mm's fall.
    assert value[at(500, 300)] == pytest.approx(-FALL * 100)
    assert max(v for k, v in value.items() if k != pit) <= 1e-9
    assert CENTER not in value


def test_water_leaves_over_the_lowest_way() -> None:
    """Behind a dam the depth is the dam's height less the floor's, wherever the dam is lowest."""
    y = XY[:, 1]
    z = FALL * y
    z[y == 300] = 30.0
    z[at(700, 300)] = 20.0
    falls = one_fall(ROOM.outline, FALL, 180.0)
    view = seen(z, falls, drained=tuple(np.flatnonzero(y == 0)))
    found = measured(ponding.measure(view, None))
    value = dict(zip(found.stations[:, 1].tolist(), found.value_mm.tolist(), strict=True))
    gate = dict(zip(found.stations[:, 1].tolist(), found.stations[:, 0].tolist(), strict=True))
    for x in (0, 500, 1000):
        assert value[at(x, 400)] == pytest.approx(20 - FALL * 400)
        assert gate[at(x, 400)] == at(700, 300)
    assert value[at(500, 200)] == pytest.approx(-FALL * 100)


def test_no_drain_read() -> None:
    """Without a reading on the drain nothing tells where water stands."""
    assert len(measured(ponding.measure(seen(PLANES, drained=()), None)).value_mm) == 0


# Walls


def test_wall_off_level() -> None:
    """A wall that rises 3 mm in a meter is off level by 3 mm from corner to corner."""
    z = PLANES.copy()
    south = XY[:, 1] == 0
    z[south] += 0.003 * XY[south, 0]
    found = measured(wall_level.measure(seen(z), None))
    along = found.direction == 0
    assert found.value_mm[along].max() == pytest.approx(3)
    assert found.value_mm[along] == pytest.approx(0.003 * found.span_mm[along])
    worst = np.argmax(np.where(along, found.value_mm, -1))
    assert found.stations[worst, [0, 1]].tolist() == [at(1000, 0), at(0, 0)]
    assert found.reach_ratio == 1


def test_walls_up_to_a_length() -> None:
    """Over a length only readings so close are compared."""
    z = PLANES + 0.003 * XY[:, 0]
    found = measured(wall_level.measure(seen(z), 300.0))
    assert found.span_mm.max() == pytest.approx(300)
    assert found.value_mm.max() == pytest.approx(0.9)


def test_only_level_walls_count() -> None:
    """A wall that is to fall along a channel's zone is no level wall."""
    channel = rectangle(0, 900, SIDE, SIDE, "channel")
    falls = falls_to(ROOM.outline, channel, FALL, linear=True)
    z = np.array([on(falls)(x, y) for x, y in XY])
    found = measured(wall_level.measure(seen(z, falls, drained=(at(500, 1000),)), None))
    used = set(found.stations.ravel().tolist())
    assert {tuple(XY[k]) for k in used} == {(x, y) for x in TICKS for y in (0.0, SIDE)}
    assert found.value_mm == pytest.approx(0, abs=1e-9)


def test_reach_of_walls() -> None:
    """Walls that were read half their length are judged half."""
    some = surface(ROOM, XY[XY[:, 1] <= 400], PLANES[XY[:, 1] <= 400], np.ones(55), [""] * 55)
    view = replace(view_of(some, Intent()), ground=Ground(PAN, (None,) * 4, np.full(55, -1)))
    found = measured(wall_level.measure(view, None))
    # The south wall whole, of two walls 400 mm and what a corner lends them, of the north none.
    assert found.reach_ratio == pytest.approx((1000 + 2 * (400 + 4 * wall_level.ALONG_MM)) / 4000)


# Valleys


@pytest.mark.parametrize("moved", [0.0, 8.0, -15.0])
def test_valley_off_its_line(moved: float) -> None:
    """A south plane that is too low by f d moves its valleys sideways by d / √2.

    South z = f (400 - y - d), east z = f (x - 600): equal where y = 1000 - d - x.
    """
    z = PLANES.copy()
    view = seen(PLANES)
    assert view.ground is not None
    south = view.ground.views[0]
    assert south is not None
    inner = np.zeros(len(XY), dtype=bool)
    inner[south[1]] = True
    for other in view.ground.views[1:]:
        assert other is not None
        inner[other[1]] = False
    z[inner] -= FALL * moved
    # On the crease itself a reading belongs to both planes; without it the planes are exact.
    shared = np.array([sum(k in v[1] for v in view.ground.views if v) > 1 for k in range(len(XY))])
    kept = ~shared
    whole = surface(ROOM, XY[kept], z[kept], np.full(kept.sum(), 0.01), [""] * int(kept.sum()))
    views = []
    for facet in PAN.facets:
        own, numbers = part(whole, replace(ROOM, zone=facet.outline))
        views.append((replace(view_of(own, Intent()), flow_deg=facet.bearing_deg), numbers))
    ground = Ground(PAN, tuple(views), np.full(int(kept.sum()), -1))
    found = measured(valley_line.measure(replace(view_of(whole, Intent()), ground=ground), None))
    assert len(found.value_mm) == 8
    assert found.signed
    assert found.reach_ratio == 1
    # Crease 0 is between south and east, 3 between west and south: positive toward the first.
    expected = {0: moved / math.sqrt(2), 1: 0.0, 2: 0.0, 3: -moved / math.sqrt(2)}
    for crease, value in expected.items():
        assert found.value_mm[2 * crease : 2 * crease + 2] == pytest.approx(value, abs=1e-6)


def test_far_floor_moves_no_valley() -> None:
    """What the floor does more than a foot from a valley does not move it."""
    width = 3000.0
    falls = falls_to(rectangle(0, 0, width, width), rectangle(1450, 1450, 1550, 1550, "d"), FALL)
    ticks = np.arange(0, width + 1, 100.0)
    xy = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)
    z = np.array([on(falls)(x, y) for x, y in xy])
    away = np.abs(np.abs(xy[:, 0] - 1500) - np.abs(xy[:, 1] - 1500)) / math.sqrt(2)
    z[away > valley_line.BESIDE_MM + 1] += 4.0
    room = Room(rectangle(0, 0, width, width))
    whole = surface(room, xy, z, np.full(len(xy), 0.01), [""] * len(xy))
    views = []
    for facet in falls.facets:
        own, numbers = part(whole, replace(room, zone=facet.outline))
        views.append((view_of(own, Intent()), numbers))
    ground = Ground(falls, tuple(views), np.full(len(xy), -1))
    found = measured(valley_line.measure(replace(view_of(whole, Intent()), ground=ground), None))
    assert found.value_mm == pytest.approx(0, abs=1e-6)


def test_valleys_with_one_side_unread() -> None:
    """Of four valleys, two beside an unread plane cannot be judged: half the length is."""
    view = seen(PLANES)
    assert view.ground is not None
    ground = replace(view.ground, views=(None, *view.ground.views[1:]))
    found = measured(valley_line.measure(replace(view, ground=ground), None))
    assert len(found.value_mm) == 4
    assert found.reach_ratio == pytest.approx(0.5)


def test_no_valleys_to_look_at() -> None:
    """One fall has no valley, and a floor not meant to fall has no water to judge."""
    plain = seen(PLANES, one_fall(ROOM.outline, FALL, 180.0))
    assert valley_line.measure(plain, None) is None
    bare = replace(plain, ground=None)
    for measure in (valley_line, wall_level, ponding):
        assert measure.measure(bare, None) is None


def test_two_level_planes_meet_nowhere() -> None:
    """Where both sides are one plane no line is where they meet, and nothing is judged."""
    found = measured(valley_line.measure(seen(np.zeros(len(XY))), None))
    assert len(found.value_mm) == 0
    assert found.reach_ratio == 0


# Steps


def test_step_across_an_edge() -> None:
    """Two readings 40 mm apart on both sides of an edge show its height; far ones do not."""
    places = [(500.0, 480.0), (500.0, 520.0), (700.0, 480.0), (700.0, 580.0)]
    xy = np.array(places)
    floor = surface(ROOM, xy, np.array([7.0, 1.0, 50.0, 0.0]), np.full(4, 0.04), [""] * 4)
    found = step.measure(view_of(floor, Intent()), 50.8)
    assert found.value_mm.tolist() == [6.0]
    assert found.stations[0].tolist() == [0, 1, 1]
    assert found.u_mm == pytest.approx([math.sqrt(2) * 0.2])
    assert found.reach_ratio == 1


def test_no_edge_read() -> None:
    """Without two readings close together nothing is judged."""
    found = step.measure(face(PLANES), 50.8)
    assert len(found.value_mm) == 0
    assert found.reach_ratio == 0


# Uncertainty

TILTED = PLANES + 0.004 * XY[:, 0] + 0.003 * XY[:, 1]
"""Walls off level by far more than reading error, so that none changes its sign."""


def covariance(seed: int = 3) -> Floats:
    """Readings that share some of their error."""
    root = np.random.default_rng(seed).normal(0, 0.02, (len(XY), 6))
    return root @ root.T + U_MM**2 * np.eye(len(XY))


Measure = Callable[[View], Evidence | None]
MEASURES: dict[str, Measure] = {
    "least": lambda view: fall_least.measure(east_plane(view), LEVEL),
    "most": lambda view: fall_most.measure(east_plane(view), LEVEL),
    "ponds": lambda view: ponding.measure(view, None),
    "walls": lambda view: wall_level.measure(view, None),
    "valleys": lambda view: valley_line.measure(view, None),
    "steps": lambda view: step.measure(view, 101.0),
}


def east_plane(view: View) -> View:
    assert view.ground is not None
    found = view.ground.views[1]
    assert found is not None
    return found[0]


def again(view: View, z: Floats) -> View:
    """The same places with other heights."""
    assert view.ground is not None
    views = tuple(
        (replace(own, surface=replace(own.surface, height_mm=z[kept])), kept)
        for own, kept in (found for found in view.ground.views if found)
    )
    floor = replace(view.surface, height_mm=z.copy())
    return replace(view, surface=floor, ground=replace(view.ground, views=views))


@pytest.mark.parametrize("name", MEASURES)
@pytest.mark.parametrize("tied", [False, True], ids=["independent", "tied"])
def test_uncertainty_by_simulation(name: str, tied: bool) -> None:
    """Values from 600 simulated surveys scatter as their standard uncertainty says."""
    full = covariance() if tied else np.full(len(XY), U_MM**2)
    measure, z = MEASURES[name], TILTED.copy()
    z[at(200, 500)] -= 12  # a pit whose lowest way out reading error does not change
    view = seen(z, cov=full)
    exact = measured(measure(view))
    rng = np.random.default_rng(5)
    root = np.linalg.cholesky(full) if tied else U_MM * np.eye(len(XY))
    errors = (root @ rng.standard_normal((len(XY), 600))).T
    values = np.array([measured(measure(again(view, z + error))).value_mm for error in errors])
    rows = np.ones(len(exact.value_mm), dtype=bool)
    if name == "ponds":
        rows = exact.stations[:, 1] == at(200, 500)
    elif name in ("walls", "steps"):
        rows = np.abs(exact.value_mm) > 8 * exact.u_mm  # a difference that never changes its sign
    assert np.count_nonzero(rows) >= 1
    scatter = values.std(axis=0, ddof=1)[rows] / exact.u_mm[rows]
    # The standard deviation of 600 values is good to 1/sqrt(1200), 3 %; four of these.
    assert scatter == pytest.approx(1, abs=0.12)
    assert scatter.mean() == pytest.approx(1, abs=0.12 if name == "ponds" else 0.05)


@pytest.mark.parametrize("name", MEASURES)
@pytest.mark.parametrize("tied", [False, True], ids=["independent", "tied"])
def test_uncertainty_by_propagation(name: str, tied: bool) -> None:
    """u² is w'Cw with the whole covariance, of the very form that is handed on."""
    full = covariance() if tied else np.diag(np.full(len(XY), U_MM**2))
    view = seen(TILTED, cov=full if tied else np.diag(full).copy())
    found = measured(MEASURES[name](view))
    stations = np.arange(len(XY))
    if name in ("least", "most"):
        assert view.ground is not None
        assert view.ground.views[1] is not None
        stations = view.ground.views[1][1]
    form = np.zeros((len(found.forms), len(XY)))
    rows = np.repeat(np.arange(len(found.forms)), found.forms.shape[1])
    np.add.at(form, (rows, stations[found.forms].ravel()), found.weights.ravel())
    assert found.u_mm == pytest.approx(np.sqrt(np.einsum("ki,ij,kj->k", form, full, form)))
    # What is linear is its own form; so is a valley's distance, its slopes taken as they are.
    assert found.value_mm == pytest.approx(form @ TILTED)
    assert form.sum(axis=1) == pytest.approx(0, abs=1e-9)
    assert decided_rows(view, replace(found, forms=stations[found.forms])).all()


# What readings leave open


def findings(found: Assessment) -> dict[str, Outcome]:
    return {finding.rule.id: finding.outcome for finding in found.verdict.findings}


WET = {"rule": "none", "falls": ["bs-falls", "wet-practice", "ada-floors:vertical"]}


def test_bars_alone_tell_no_fall() -> None:
    """Gaps under bars leave the slope open: fall, water, walls and steps are not assessed."""
    bars = read_folder(SAMPLES / "tern-quay-bars-only")
    for toward in ("south", "east"):
        found = assess(
            edited(
                bars,
                {"intent": {"kind": "fall", "fall": "2 %", "toward": toward}, "standard": WET},
            )
        )
        assert set(findings(found)) == {"least", "most", "ponds", "walls", "step"}
        assert set(findings(found).values()) == {Outcome.NOT_ASSESSED}
        assert found.verdict.guarded is found.verdict.as_read is Outcome.NOT_ASSESSED
        least = next(f for f in found.verdict.findings if f.rule.id == "least")
        assert least.left_open > 0
        assert least.placements == 0


def test_heights_tell_fall() -> None:
    """The same rules on heights are judged."""
    found = assess(survey(on(pan()), standard=WET))
    expected = dict.fromkeys(("least", "most", "ponds", "walls", "valleys"), Outcome.WITHIN)
    assert findings(found) == expected | {"step": Outcome.NOT_ASSESSED}


def test_too_few_readings_on_a_plane() -> None:
    """A plane with too few readings is no reason to call the floor within."""
    height = on(pan())
    places = [
        (x, y, height(x, y))
        for x in range(0, 1001, 100)
        for y in range(0, 1001, 100)
        if y <= 500 or not 400 <= x <= 600
    ]
    kept = [p for p in places if not inside(Room(pan().facets[2].outline), np.array([p[:2]]))[0]]
    found = assess(scattered(kept, room=SQUARE, intent=POINT))
    (whole,) = found.parts
    assert [ring.name for ring in whole.bare] == ["north plane"]
    assert found.verdict.guarded is Outcome.NOT_ASSESSED


def test_every_plane_counts() -> None:
    """One plane too flat makes the floor out, whatever the others do."""
    falls = pan()
    steep, flat = on(falls), on(pan(1 / 200))

    def height(x: float, y: float) -> float:
        in_north = inside(Room(falls.facets[2].outline), np.array([[x, y]]))[0]
        return flat(x, y) if in_north and y > 500 else steep(x, y)

    verdict = assess(survey(height)).verdict
    least = next(f for f in verdict.findings if f.rule.id == "least")
    assert least.outcome is Outcome.OUT
    assert least.worst is not None
    assert least.worst.face == "north plane"
