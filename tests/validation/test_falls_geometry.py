"""Falls against geometry: exact planes, truncated pyramids, and valleys where setters cut them.

Sources: plane geometry; the volume of a truncated pyramid h/3 (A1 + A2 + sqrt(A1 A2)); common
practice without a source for valleys at 45 degrees where both runs are equal; and a published
statement (NCC 2022, 10.2.12, as two pages give it) that a floor of 1800 by 900 mm with one waste
in its middle cannot fall 1:80 to 1:50, each plane measured square to its wall.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from basins import CHANNEL, SIDE, SQUARE, creases, on, pan, size, survey, unread
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from flatcheck.assess import assess
from flatcheck.drain import falls_to
from flatcheck.errors import SurveyError
from flatcheck.evidence import View
from flatcheck.facet import Falls, height_at
from flatcheck.intent import Intent
from flatcheck.level import lay
from flatcheck.measures import fall_least, fall_most
from flatcheck.parts import best_fall, view_of
from flatcheck.room import Ring, Room, inside, onto, rectangle
from flatcheck.screed import screeds
from flatcheck.surface import surface
from flatcheck.verdict import Outcome

XY = np.stack(np.meshgrid(np.arange(8) * 150.0, np.arange(7) * 150.0), axis=-1).reshape(-1, 2)
SLOPES = st.floats(-0.2, 0.2)
EDGE_MM = 2.0


def seen(east: float, north: float, height: float, flow_deg: float) -> View:
    """A plane read exactly, on which water is meant to run toward `flow_deg`."""
    floor = surface(
        Room(rectangle(0, 0, 1050, 900)),
        XY,
        height + XY @ np.array([east, north]),
        np.full(len(XY), 0.01),
        [""] * len(XY),
    )
    return replace(view_of(floor, Intent()), flow_deg=flow_deg)


# Slope and direction


@settings(max_examples=60, deadline=None)
@given(SLOPES, SLOPES, st.floats(-2000, 2000), st.floats(0, 360), st.sampled_from([305, 610, 3000]))
def test_any_plane(east: float, north: float, height: float, flow: float, length: int) -> None:
    """Every window on a plane has its slope to 1e-9, and its fall along the flow."""
    view = seen(east, north, height, flow)
    laid = lay(view, length, flow)
    assert len(laid.slope) > 20
    assert laid.slope[:, 0] == pytest.approx(east, abs=1e-9)
    assert laid.slope[:, 1] == pytest.approx(north, abs=1e-9)
    most = fall_most.measure(view, length)
    least = fall_least.measure(view, length)
    assert most is not None
    assert least is not None
    assert most.value_mm / length == pytest.approx(math.hypot(east, north), abs=1e-9)
    turn = math.radians(flow)
    along = east * math.sin(turn) + north * math.cos(turn)
    assert least.value_mm / length == pytest.approx(along, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(SLOPES, SLOPES, st.floats(-2000, 2000))
def test_any_plane_as_a_whole(east: float, north: float, height: float) -> None:
    """The best plane falls as steeply as the floor, toward atan2(-east, -north) from north."""
    assume(math.hypot(east, north) > 1e-3)
    found = best_fall(seen(east, north, height, 0.0).surface)
    assert found is not None
    ratio, bearing, _ = found
    assert ratio == pytest.approx(math.hypot(east, north), abs=1e-9)
    turn = math.radians(bearing)
    assert -ratio * math.sin(turn) == pytest.approx(east, abs=1e-9)
    assert -ratio * math.cos(turn) == pytest.approx(north, abs=1e-9)


# Where valleys lie


@settings(max_examples=40, deadline=None)
@given(st.floats(60, 900), st.floats(60, 300), st.floats(60, 900), st.floats(60, 900))
def test_equal_runs_turn_at_45_degrees(
    run: float, side: float, beyond_east: float, beyond_north: float
) -> None:
    """Where two walls of a corner are as far from the drain the valley runs at 45 degrees."""
    room = rectangle(0, 0, run + side + beyond_east, run + side + beyond_north)
    falls = falls_to(room, rectangle(run, run, run + side, run + side, "drain"), 0.02)
    (valley,) = (c for c in falls.creases if c.start == (0.0, 0.0))
    across, up = (e - s for s, e in zip(valley.start, valley.end, strict=True))
    assert valley.valley
    assert math.degrees(math.atan2(up, across)) == pytest.approx(45)
    one, other = (falls.facets[k].fall_ratio for k in valley.planes)
    assert one == pytest.approx(other)


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.floats(30, 1500), st.floats(40, 400), st.floats(30, 1500)),
    st.tuples(st.floats(30, 1500), st.floats(40, 400), st.floats(30, 1500)),
)
def test_valleys_join_the_corners(
    east: tuple[float, float, float], north: tuple[float, float, float]
) -> None:
    """With a rectangular drain each valley joins a corner of the drain to the room's corner."""
    (w, s), (e, n) = (east[0], north[0]), (east[0] + east[1], north[0] + north[1])
    width, depth = sum(east), sum(north)
    falls = falls_to(rectangle(0, 0, width, depth), rectangle(w, s, e, n, "drain"), 0.02)
    expected = {
        ((0, 0), (w, s)),
        ((width, 0), (e, s)),
        ((width, depth), (e, n)),
        ((0, depth), (w, n)),
    }
    assert creases(falls) == {(tuple(np.round(a, 3)), tuple(np.round(b, 3))) for a, b in expected}
    assert all(crease.valley for crease in falls.creases)
    # Each plane starts at a wall of one height, so its fall is that height over its run.
    runs = dict(zip(("south", "north", "west", "east"), (s, north[2], w, east[2]), strict=True))
    for facet in falls.facets:
        run = runs[facet.name.split()[0]]
        assert facet.run_mm == pytest.approx(run)
        assert facet.fall_ratio == pytest.approx(0.02 * max(runs.values()) / run)


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.floats(30, 600), st.floats(300, 1500), st.floats(30, 600)),
    st.tuples(st.floats(80, 1500), st.floats(40, 90), st.floats(80, 1500)),
)
def test_channel_valleys_join_its_ends_to_the_corners(
    east: tuple[float, float, float], north: tuple[float, float, float]
) -> None:
    """Off the wall, valleys join each end of a channel to the two corners of the room behind it."""
    west_end, east_end, width = east[0], east[0] + east[1], sum(east)
    channel = rectangle(west_end, north[0], east_end, north[0] + north[1], "channel")
    falls = falls_to(rectangle(0, 0, width, sum(north)), channel, 0.02, linear=True)
    joined = {(start[0], start[1], end[0]) for start, end in creases(falls)}
    assert joined == {
        (round(x, 3), round(y, 3), round(end, 3))
        for x, end in ((0.0, west_end), (width, east_end))
        for y in (0.0, sum(north))
    }
    assert all(crease.valley for crease in falls.creases)
    assert min(facet.fall_ratio for facet in falls.facets) == pytest.approx(0.02)


# What the planes are together


def ell() -> Ring:
    return Ring("room", ((0, 0), (2000, 0), (2000, 900), (900, 900), (900, 2000), (0, 2000)))


def polygon(count: int, middle: float, radius: float, name: str) -> Ring:
    turns = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return Ring(
        name, tuple((middle + radius * math.cos(t), middle + radius * math.sin(t)) for t in turns)
    )


SHAPES = {
    "square": (rectangle(0, 0, 1000, 1000), rectangle(450, 450, 550, 550, "drain"), False),
    "offset": (rectangle(0, 0, 1800, 900), rectangle(300, 500, 420, 600, "drain"), False),
    "turned": (rectangle(0, 0, 1200, 900), polygon(4, 450, 80, "drain"), False),
    "octagon": (rectangle(0, 0, 1200, 900), polygon(8, 450, 80, "drain"), False),
    "ell": (ell(), rectangle(400, 400, 500, 500, "drain"), False),
    "triangle": (polygon(3, 900, 900, "room"), rectangle(850, 850, 950, 950, "drain"), False),
    "round": (polygon(24, 900, 900, "room"), rectangle(700, 850, 800, 950, "drain"), False),
    "on the wall": (rectangle(0, 0, 1000, 1400), rectangle(300, 0, 400, 100, "drain"), False),
    "channel off": (rectangle(0, 0, 1500, 1100), rectangle(200, 700, 1300, 770, "drain"), True),
    "channel short": (rectangle(0, 0, 1500, 1100), rectangle(600, 700, 1000, 770, "drain"), True),
    "channel gaps": (rectangle(0, 0, 1500, 1100), rectangle(90, 1030, 1410, 1100, "drain"), True),
    "channel along": (rectangle(0, 0, 1500, 1100), rectangle(0, 1030, 1500, 1100, "drain"), True),
    "channel skew": (
        Ring("room", ((0, 0), (1500, 150), (1600, 1200), (-100, 1000))),
        rectangle(300, 600, 1200, 660, "drain"),
        True,
    ),
}


def laid(shape: str) -> tuple[Falls, Ring, Ring]:
    room, drain, linear = SHAPES[shape]
    return falls_to(room, drain, 0.02, linear), room, drain


def places(room: Ring, drain: Ring, seed: int = 7) -> np.ndarray:
    """Places of the floor beside the drain, at random."""
    corners = np.array(room.corners_mm)
    spots = np.random.default_rng(seed).uniform(corners.min(axis=0), corners.max(axis=0), (4000, 2))
    floor = inside(Room(room), spots) & ~inside(Room(drain), spots)
    clear = np.hypot(*(spots - onto(room, spots)).T) > EDGE_MM
    return spots[floor & clear & (np.hypot(*(spots - onto(drain, spots)).T) > EDGE_MM)]


@pytest.mark.parametrize("shape", SHAPES)
def test_planes_tile_the_floor(shape: str) -> None:
    """The planes cover the floor beside the drain: no place twice, none left, areas add up."""
    falls, room, drain = laid(shape)
    total = sum(size(facet.outline) for facet in falls.facets)
    assert total == pytest.approx(size(room) - size(drain), rel=1e-9)
    spots = places(room, drain)
    held = np.zeros(len(spots), dtype=int)
    beside = np.zeros(len(spots), dtype=bool)
    for facet in falls.facets:
        held += inside(Room(facet.outline), spots)
        beside |= np.hypot(*(spots - onto(facet.outline, spots)).T) <= EDGE_MM
    assert len(spots) > 1000
    assert np.all(held[~beside] == 1)
    assert np.all(held >= 1)


@pytest.mark.parametrize("shape", SHAPES)
def test_heights_meet_at_the_creases(shape: str) -> None:
    """On both sides of every crease the floor has one height, and the rim's at the drain."""
    falls, _, _ = laid(shape)
    for crease in falls.creases:
        ends = np.array((crease.start, crease.end))
        along = np.vstack((ends, ends.mean(axis=0)))
        one, other = (
            coef[0] + along @ np.array(coef[1:])
            for coef in (falls.facets[k].coef for k in crease.planes)
        )
        assert one == pytest.approx(other, abs=1e-9)
        assert one[1] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_heights_at_the_corners(shape: str) -> None:
    """At the room's corners the planes are as high as the table of corners says."""
    falls, _, _ = laid(shape)
    told = dict(zip(falls.corners, falls.corner_mm, strict=True))
    for facet in falls.facets:
        for corner in facet.outline.corners_mm:
            height = facet.coef[0] + float(np.dot(facet.coef[1:], corner))
            assert height == pytest.approx(told.get(corner, 0.0), abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_every_plane_falls_toward_its_bearing(shape: str) -> None:
    """A step along a plane's bearing goes down by the step times its fall."""
    falls, _, _ = laid(shape)
    step = 3.0
    for facet in falls.facets:
        spots = places(facet.outline, rectangle(-9000, -9000, -8000, -8000))[:200]
        turn = math.radians(facet.bearing_deg)
        on_down = spots + step * np.array([math.sin(turn), math.cos(turn)])
        still = inside(Room(facet.outline), on_down)
        still &= np.hypot(*(on_down - onto(facet.outline, on_down)).T) > EDGE_MM
        before, after = height_at(falls, spots[still]), height_at(falls, on_down[still])
        assert after == pytest.approx(before - step * facet.fall_ratio)
        assert np.count_nonzero(still) > len(spots) / 2
        assert facet.fall_ratio >= 0.02 - 1e-12


@pytest.mark.parametrize("shape", SHAPES)
def test_no_plane_sends_water_into_a_wall(shape: str) -> None:
    """At every wall water runs off it or along it."""
    falls, room, _ = laid(shape)
    corners = np.array(falls.corners)
    for facet in falls.facets:
        ring = np.array(facet.outline.corners_mm)
        for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            on_wall = np.hypot(*(((p + q) / 2) - onto(room, ((p + q) / 2)[None])[0])) < 1e-6
            if on_wall and any(np.allclose(p, c) for c in corners):
                outward = np.array([q[1] - p[1], p[0] - q[0]]) / math.dist(p, q)
                turn = math.radians(facet.bearing_deg)
                assert outward @ np.array([math.sin(turn), math.cos(turn)]) < 1e-9


@pytest.mark.parametrize("shape", SHAPES)
def test_water_reaches_the_drain(shape: str) -> None:
    """From anywhere, steps downhill on the planes end at the drain."""
    falls, room, drain = laid(shape)
    spots, step = places(room, drain)[:15], 4.0
    down = np.array(
        [
            (math.sin(math.radians(f.bearing_deg)), math.cos(math.radians(f.bearing_deg)))
            for f in falls.facets
        ]
    )
    steepest = max(facet.fall_ratio for facet in falls.facets)
    far = float(np.ptp(np.array(room.corners_mm), axis=0).sum())
    for _ in range(int(8 * far / step)):
        near = np.hypot(*(spots - onto(drain, spots)).T) <= 2 * step
        spots = spots[~near & ~inside(Room(drain), spots)]
        if not len(spots):
            break
        own = np.full(len(spots), -1)
        for k, facet in enumerate(falls.facets):
            own[(own < 0) & inside(Room(facet.outline), spots)] = k
        assert np.all(own >= 0), "water left the floor"
        before = height_at(falls, spots)
        spots = spots + step * down[own]
        spots = np.where(inside(Room(room), spots)[:, None], spots, onto(room, spots))
        # Across a valley a step may end on the rise beyond, never by more than that.
        assert np.all(height_at(falls, spots) <= before + 2 * step * steepest)
    assert not len(spots)


# Volumes


@settings(max_examples=30, deadline=None)
@given(st.floats(400, 3000), st.floats(50, 300), st.floats(0.005, 0.05))
def test_a_pan_is_a_truncated_pyramid(side: float, drain: float, fall: float) -> None:
    """Between the level of its walls and its floor a square pan holds h/3 (A1 + A2 + √(A1 A2))."""
    low, high = (side - drain) / 2, (side + drain) / 2
    falls = falls_to(rectangle(0, 0, side, side), rectangle(low, low, high, high, "drain"), fall)
    height = fall * low
    assert falls.corner_mm == pytest.approx([height] * 4)
    # Exactly: a plane's mean height is that of its centroid, here a trapezoid's.
    held = height * drain**2
    for facet in falls.facets:
        corners = np.array(facet.outline.corners_mm)
        for k in range(1, len(corners) - 1):
            triangle = corners[[0, k, k + 1]]
            mean = facet.coef[0] + triangle.mean(axis=0) @ np.array(facet.coef[1:])
            held += (height - mean) * size(Ring("triangle", tuple(map(tuple, triangle))))
    assert held == pytest.approx(height / 3 * (side**2 + drain**2 + side * drain), rel=1e-9)


def test_a_pan_on_a_fine_grid() -> None:
    """The same volume comes out of heights on a fine grid, to the width of its cells."""
    falls, cell = pan(), 4.0
    ticks = (np.arange(SIDE / cell) + 0.5) * cell
    spots = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)
    depth = falls.corner_mm[0] - np.nan_to_num(height_at(falls, spots))
    exact = falls.corner_mm[0] / 3 * (SIDE**2 + 100**2 + SIDE * 100)
    assert float(depth.sum()) * cell**2 == pytest.approx(exact, rel=1e-3)


# Published statements

NCC = {"rule": "none", "falls": ["au-wet:ncc-2022"]}


def wet_room(east: float, north: float, waste: float) -> dict[str, object]:
    return {
        "room": {"outline": [[0, 0], [east, 0], [east, north], [0, north]]},
        "drain": [{"center": [east / 2, north / 2], "size": [waste, waste]}],
        "standard": NCC,
    }


@pytest.mark.parametrize("waste", [65, 80, 100, 150])
def test_ncc_1800_by_900(waste: float) -> None:
    """NCC 2022, 10.2.12: 1800 x 900 with one central waste cannot fall 1:80 to 1:50."""
    with pytest.raises(SurveyError, match=r"must fall .*%, and the rule allows 2\.00%") as caught:
        screeds(unread(**wet_room(1800, 900, waste)), 300, None)
    said = str(caught.value)
    runs = (1800 - waste) / 2, (900 - waste) / 2
    assert f"run of {runs[0]:.0f} mm falls 1.25%" in said
    assert f"must fall {runs[0] / runs[1] / 80:.2%}" in said


def test_ncc_rooms_that_can() -> None:
    """Runs that differ by less than 80:50 can; so can a channel along the long wall."""
    (plan,) = screeds(unread(**wet_room(1300, 900, 100)), 300, None)
    ratios = sorted(facet.fall_ratio for facet in plan.falls.facets)
    assert ratios == pytest.approx([1 / 80, 1 / 80, 600 / 400 / 80, 600 / 400 / 80])
    assert ratios[-1] <= 1 / 50
    channel = {"outline": [[0, 830], [1800, 830], [1800, 900], [0, 900]]}
    sections = wet_room(1800, 900, 100) | {"drain": [channel], "intent": CHANNEL}
    (plan,) = screeds(unread(**sections), 300, None)
    assert [facet.fall_ratio for facet in plan.falls.facets] == pytest.approx([1 / 80])


BOTH = {"rule": "none", "falls": ["irc-shower:percent", "ada-floors:slope"]}
FINE = {"uncertainty": "0.2 mm", "reads_to": "0.1 mm"}


@pytest.mark.parametrize(
    ("fall", "guarded", "as_read"),
    [
        (0.0190, Outcome.OUT, Outcome.OUT),
        (0.0199, Outcome.CLOSE, Outcome.OUT),
        (0.0201, Outcome.CLOSE, Outcome.WITHIN),
        (0.0204, Outcome.WITHIN, Outcome.WITHIN),
        (0.0208, Outcome.CLOSE, Outcome.WITHIN),
        (0.0209, Outcome.CLOSE, Outcome.OUT),
        (0.0220, Outcome.OUT, Outcome.OUT),
    ],
)
def test_two_sided(fall: float, guarded: Outcome, as_read: Outcome) -> None:
    """At least 2.00 % to drain and at most 1:48 (2.08 %) for access is judged on both sides."""
    ticks = range(0, 1501, 75)
    found = assess(
        survey(
            lambda x, y: fall * y,
            ticks,
            ticks,
            room={"outline": [[0, 0], [1500, 0], [1500, 1500], [0, 1500]]},
            drain=None,
            intent={"kind": "fall", "fall": "2.04 %", "toward": "south"},
            standard=BOTH,
            instrument={"uncertainty": "0.08 mm"},
        )
    ).verdict
    assert (found.guarded, found.as_read) == (guarded, as_read)


@pytest.mark.parametrize("fall", ["1.99 %", "2.09 %"])
def test_two_sided_plans(fall: str) -> None:
    """No plan falls less than 2.00 % or more than 2.08 % where both are asked for."""
    intent = {"kind": "fall", "toward": "south"}
    with pytest.raises(SurveyError, match=r"and the rule (asks for 2\.00%|allows 2\.08%); "):
        screeds(unread(intent=intent | {"fall": fall}, standard=BOTH), 300, None)
    (plan,) = screeds(unread(intent=intent | {"fall": "2.04 %"}, standard=BOTH), 300, None)
    assert plan.falls.corner_mm == pytest.approx([0, 0, 20.4, 20.4])


@pytest.mark.parametrize(("north", "fits"), [(1520, True), (1600, False)])
def test_two_sided_pan(north: float, fits: bool) -> None:
    """A pan falls 2.00 to 2.08 % only where its runs differ by less than one part in 24."""
    survey_ = unread(**(wet_room(1500, north, 100) | {"standard": BOTH}))
    assert ((north - 100) / 1400 <= (1 / 48) / 0.02) is fits
    if fits:
        (plan,) = screeds(survey_, 300, None)
        assert max(f.fall_ratio for f in plan.falls.facets) <= 1 / 48
    else:
        with pytest.raises(SurveyError, match=r"the rule allows 2\.08%"):
            screeds(survey_, 300, None)


def test_read_pans_fall_as_planned() -> None:
    """A pan read on its planes is as it was planned: bearings and falls, plane by plane."""
    falls = pan()
    (part,) = assess(survey(on(falls), room=SQUARE)).parts
    assert [face.name for face in part.faces] == [facet.name for facet in falls.facets]
    for face, facet in zip(part.faces, falls.facets, strict=True):
        found = best_fall(face.view.surface)
        assert found is not None
        assert found[0] == pytest.approx(facet.fall_ratio, abs=1e-6)
        assert math.cos(math.radians(found[1] - facet.bearing_deg)) == pytest.approx(1)
