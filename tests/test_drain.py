"""Drains and the planes that fall to them: every form of room and drain, named and refused."""

import math
from itertools import permutations

import numpy as np
import pytest
from basins import creases, on, pan, size

from flatcheck.drain import MOST_CORNERS, TOUCHES_MM, Bed, falls_to
from flatcheck.errors import RoomError
from flatcheck.facet import Falls, height_at, one_fall, scaled
from flatcheck.room import Ring, rectangle

FALL = 0.02
METER = rectangle(0, 0, 1000, 1000, "floor")


def drain(west: float, south: float, east: float, north: float) -> Ring:
    return rectangle(west, south, east, north, "drain")


def told(falls: Falls) -> dict[str, tuple[float, float, float]]:
    """Planes by name: fall, bearing and longest run."""
    return {
        facet.name: (facet.fall_ratio, facet.bearing_deg, facet.run_mm) for facet in falls.facets
    }


def agree(one: Falls, other: Falls) -> None:
    """Two layouts are the same planes, wherever their lists start."""
    assert told(one).keys() == told(other).keys()
    for name, values in told(one).items():
        assert values == pytest.approx(told(other)[name], abs=1e-6)
    assert creases(one) == creases(other)


# Drains within the room


def test_middle_of_a_rectangle() -> None:
    """In 1200 x 900 the long runs fall as asked, short ones more in proportion."""
    falls = falls_to(rectangle(0, 0, 1200, 900), drain(550, 400, 650, 500), FALL)
    assert told(falls) == {
        "south plane": pytest.approx((FALL * 550 / 400, 0, 400)),
        "east plane": pytest.approx((FALL, 270, 550)),
        "north plane": pytest.approx((FALL * 550 / 400, 180, 400)),
        "west plane": pytest.approx((FALL, 90, 550)),
    }
    assert falls.corner_mm == pytest.approx([FALL * 550] * 4)
    assert [crease.planes for crease in falls.creases] == [(0, 1), (1, 2), (2, 3), (3, 0)]


def test_off_the_middle() -> None:
    """An offset drain's longest run governs; all walls stay level at one height."""
    falls = falls_to(METER, drain(100, 300, 200, 400), FALL)
    height = FALL * 800
    assert falls.corner_mm == pytest.approx([height] * 4)
    runs = {"south plane": 300, "east plane": 800, "north plane": 600, "west plane": 100}
    for name, (fall, _, run) in told(falls).items():
        assert run == pytest.approx(runs[name])
        assert fall == pytest.approx(height / run)


def test_turned_square() -> None:
    """A square drain on its corner makes eight planes: one from each wall, one to each side."""
    falls = falls_to(METER, Ring("drain", ((500, 400), (600, 500), (500, 600), (400, 500))), FALL)
    bearings = sorted(round(facet.bearing_deg) % 360 for facet in falls.facets)
    assert bearings == list(range(0, 360, 45))
    # From a room's corner to the side that faces it: the corner's offset on the diagonal.
    run = (1000 - 600 + 500 - 0) / math.sqrt(2)
    corner = told(falls)["south-east corner plane"]
    assert corner == pytest.approx((FALL, 315, run))
    assert falls.corner_mm == pytest.approx([FALL * run] * 4)
    assert told(falls)["south plane"] == pytest.approx((FALL * run / 400, 0, 400))
    assert len(falls.creases) == 8


def test_many_sided() -> None:
    """A drain of n corners makes a plane per wall and a plane per side that faces no wall."""
    turns = np.linspace(0, 2 * math.pi, 16, endpoint=False)
    ring = Ring("drain", tuple((500 + 60 * math.cos(t), 500 + 60 * math.sin(t)) for t in turns))
    falls = falls_to(METER, ring, FALL)
    assert len(falls.facets) == 4 + 16
    assert len({facet.name for facet in falls.facets}) == 20
    assert sum(size(facet.outline) for facet in falls.facets) == pytest.approx(1e6 - size(ring))


def test_longest_run_is_a_way_that_water_takes() -> None:
    """A plane's run is the longest way down inside it, which a channel's end walls cut short."""
    falls = falls_to(METER, drain(100, 700, 900, 800), FALL, linear=True)
    east = next(facet for facet in falls.facets if facet.name == "east plane")
    # The triangle (1000, 0), (1000, 1000), (900, 700): back up the fall from its low corner.
    turn = math.radians(east.bearing_deg)
    assert east.run_mm == pytest.approx(100 / -math.sin(turn))
    assert east.run_mm * east.fall_ratio < max(falls.corner_mm)


# Rooms with corners that point inward

ELL = Ring("floor", ((0, 0), (2000, 0), (2000, 900), (900, 900), (900, 2000), (0, 2000)))


def test_ell_with_the_drain_in_its_corner_square() -> None:
    """An L-shaped room falls to a drain that sees every wall: five valleys and a ridge."""
    falls = falls_to(ELL, drain(400, 400, 500, 500), FALL)
    assert {facet.name for facet in falls.facets} == {
        "south plane",
        "east plane",
        "inner north plane",
        "inner east plane",
        "north plane",
        "west plane",
    }
    ridges = [crease for crease in falls.creases if not crease.valley]
    assert [(ridge.start, ridge.end) for ridge in ridges] == [((900, 900), (500, 500))]
    assert len(falls.creases) == 6
    assert falls.corner_mm == pytest.approx([FALL * 1500] * 6)


def test_ell_with_the_drain_in_an_arm() -> None:
    """A drain that a wall hides from another is refused, and told what would help."""
    with pytest.raises(RoomError, match=r"does not see every wall squarely; give the part of the"):
        falls_to(ELL, drain(1400, 400, 1500, 500), FALL)


# Drains at walls


def test_on_a_wall() -> None:
    """A drain on a wall leaves that wall without a plane; the others meet in two valleys."""
    falls = falls_to(METER, drain(450, 0, 550, 100), FALL)
    assert told(falls) == {
        "east plane": pytest.approx((FALL * 900 / 450, 270, 450)),
        "north plane": pytest.approx((FALL, 180, 900)),
        "west plane": pytest.approx((FALL * 900 / 450, 90, 450)),
    }
    assert creases(falls) == {((1000, 1000), (550, 100)), ((0, 1000), (450, 100))}


def test_in_a_corner() -> None:
    """A drain in a corner has two planes and one valley."""
    falls = falls_to(METER, drain(0, 0, 100, 100), FALL)
    assert told(falls) == {
        "east plane": pytest.approx((FALL, 270, 900)),
        "north plane": pytest.approx((FALL, 180, 900)),
    }
    assert creases(falls) == {((1000, 1000), (100, 100))}


@pytest.mark.parametrize("gap", [0.0, 3.0, TOUCHES_MM])
def test_nearly_on_a_wall(gap: float) -> None:
    """A drain within 25 mm of a wall reaches it: the rest is joint, and no plane."""
    falls = falls_to(METER, drain(450, gap, 550, 100), FALL)
    agree(falls, falls_to(METER, drain(450, 0, 550, 100), FALL))


def test_not_quite_on_a_wall() -> None:
    """A drain farther from the wall than that has a plane on that side too, and a steep one."""
    falls = falls_to(METER, drain(450, 26, 550, 100), FALL)
    assert told(falls)["south plane"] == pytest.approx((FALL * 900 / 26, 0, 26))


@pytest.mark.parametrize("wide", [8.0, 20.0])
@pytest.mark.parametrize("gap", [0.0, 4.0])
def test_slot_narrower_than_what_is_near(wide: float, gap: float) -> None:
    """A slot of 20 mm along a wall keeps its width: only its wall side is taken to the wall."""
    slot = rectangle(0, gap, 1000, gap + wide, "slot")
    falls = falls_to(METER, slot, FALL, linear=True)
    assert told(falls) == {"north plane": pytest.approx((FALL, 180, 1000 - gap - wide))}


# Channels


def test_channel_from_wall_to_wall() -> None:
    """A channel along a whole wall has one plane, and no valley."""
    falls = falls_to(METER, drain(0, 930, 1000, 1000), FALL, linear=True)
    assert told(falls) == {"south plane": pytest.approx((FALL, 0, 930))}
    assert falls.creases == ()
    assert dict(zip(falls.corners, falls.corner_mm, strict=True)) == {
        (0.0, 0.0): pytest.approx(FALL * 930),
        (1000.0, 0.0): pytest.approx(FALL * 930),
        (1000.0, 1000.0): 0,
        (0.0, 1000.0): 0,
    }


def test_channel_off_the_wall_from_wall_to_wall() -> None:
    """On both sides of a channel the floor falls alike, so the walls are of two heights."""
    falls = falls_to(METER, drain(0, 600, 1000, 660), FALL, linear=True)
    assert told(falls) == {
        "south plane": pytest.approx((FALL, 0, 600)),
        "north plane": pytest.approx((FALL, 180, 340)),
    }
    assert falls.corner_mm == pytest.approx([FALL * 600] * 2 + [FALL * 340] * 2)


def test_channel_with_gaps_at_its_ends() -> None:
    """Past the ends of a channel along a wall the floor falls to them along that wall too."""
    falls = falls_to(METER, drain(100, 900, 900, 1000), FALL, linear=True)
    corners = dict(zip(falls.corners, falls.corner_mm, strict=True))
    assert corners[0.0, 0.0] == corners[1000.0, 0.0] == pytest.approx(FALL * 900)
    assert corners[0.0, 1000.0] == corners[1000.0, 1000.0] == pytest.approx(FALL * 100)
    assert told(falls)["south plane"] == pytest.approx((FALL, 0, 900))
    for side, bearing in (("east", 270), ("west", 90)):
        assert told(falls)[f"{side} corner plane"][:2] == pytest.approx((FALL, bearing))
        assert told(falls)[f"{side} plane"][0] > FALL


def test_channel_far_from_the_end_walls() -> None:
    """Where the way past a channel's end is the longer, that way decides the walls' height."""
    falls = falls_to(METER, drain(400, 700, 600, 730), FALL, linear=True)
    assert dict(zip(falls.corners, falls.corner_mm, strict=True))[1000.0, 1000.0] == pytest.approx(
        FALL * 400
    )
    assert told(falls)["north plane"] == pytest.approx((FALL * 400 / 270, 180, 270))


def test_channel_walls_are_level() -> None:
    """The walls that run with a channel are level, even where its two ends are not alike."""
    falls = falls_to(METER, drain(50, 700, 700, 760), FALL, linear=True)
    height = dict(zip(falls.corners, falls.corner_mm, strict=True))
    assert height[0.0, 0.0] == height[1000.0, 0.0] == pytest.approx(FALL * 700)
    assert height[0.0, 1000.0] == height[1000.0, 1000.0] == pytest.approx(FALL * 300)


# How an outline is written


@pytest.mark.parametrize("linear", [False, True])
def test_clockwise(linear: bool) -> None:
    """Corners listed clockwise, of room, drain or both, give the same planes."""
    room, hole = rectangle(0, 0, 1200, 900, "floor"), drain(300, 500, 800, 560)
    usual = falls_to(room, hole, FALL, linear)
    back, back_hole = (Ring(ring.name, ring.corners_mm[::-1]) for ring in (room, hole))
    for one, other in ((back, hole), (room, back_hole), (back, back_hole)):
        agree(falls_to(one, other, FALL, linear), usual)


@pytest.mark.parametrize("room", [rectangle(0, 0, 1200, 900, "floor"), ELL], ids=["four", "ell"])
@pytest.mark.parametrize("linear", [False, True])
def test_from_any_corner(room: Ring, linear: bool) -> None:
    """Corners listed from any of them on give the same planes."""
    hole = drain(350, 400, 500, 450)
    usual = falls_to(room, hole, FALL, linear)
    for k in range(len(room.corners_mm)):
        turned = Ring("floor", room.corners_mm[k:] + room.corners_mm[:k])
        agree(falls_to(turned, hole, FALL, linear), usual)
    for k in range(4):
        turned = Ring("drain", hole.corners_mm[k:] + hole.corners_mm[:k])
        agree(falls_to(room, turned, FALL, linear), usual)


def test_corners_that_go_straight_on() -> None:
    """A corner in the middle of a straight wall, or of a drain's side, changes nothing."""
    room = Ring("floor", ((500, 0), (1000, 0), (1000, 300), (1000, 1000), (0, 1000), (0, 0)))
    hole = Ring("drain", ((450, 450), (500, 450), (550, 450), (550, 550), (450, 550)))
    falls = falls_to(room, hole, FALL)
    assert len(falls.facets) == 4
    assert creases(falls) == creases(pan(FALL))
    assert [facet.run_mm for facet in falls.facets] == pytest.approx([450] * 4)


def test_moved_and_turned() -> None:
    """Anywhere on the plan and turned by a right angle the planes are the same."""
    usual = falls_to(rectangle(0, 0, 1200, 900), drain(300, 500, 400, 560), FALL)
    moved = falls_to(
        rectangle(-900 + 7e5, 0, 7e5, 1200, "room"), drain(7e5 - 560, 300, 7e5 - 500, 400), FALL
    )
    ratios, runs = (
        [sorted(getattr(facet, key) for facet in falls.facets) for falls in (usual, moved)]
        for key in ("fall_ratio", "run_mm")
    )
    assert ratios[0] == pytest.approx(ratios[1])
    assert runs[0] == pytest.approx(runs[1])


# Names


def test_named_after_walls() -> None:
    """Planes are called after the walls' names as given, in the order of the corners."""
    names = ("curb", "niche wall", "back wall", "window wall")
    falls = falls_to(METER, drain(450, 450, 550, 550), FALL, names=names)
    assert [facet.name for facet in falls.facets] == [f"{name} plane" for name in names]
    assert [facet.bearing_deg for facet in falls.facets] == pytest.approx([0, 270, 180, 90])


def test_names_are_told_apart() -> None:
    """Two planes from walls of one name are numbered."""
    names = ("tile", "tile", "glass", "tile")
    falls = falls_to(METER, drain(450, 450, 550, 550), FALL, names=names)
    assert [facet.name for facet in falls.facets] == [
        "tile plane",
        "tile plane 2",
        "glass plane",
        "tile plane 3",
    ]


# One fall


@pytest.mark.parametrize(("bearing", "run"), [(0, 900), (90, 1200), (180, 900), (270, 1200)])
def test_one_fall(bearing: float, run: float) -> None:
    """One fall across a room is zero along its low side and the fall times its length above."""
    falls = one_fall(rectangle(0, 0, 1200, 900), 0.015, bearing)
    (facet,) = falls.facets
    assert (facet.fall_ratio, facet.bearing_deg, facet.run_mm) == pytest.approx(
        (0.015, bearing, run)
    )
    assert sorted(falls.corner_mm) == pytest.approx([0, 0, 0.015 * run, 0.015 * run])
    assert falls.creases == ()


def test_one_slanted_fall() -> None:
    """Slanted across a room the longest run is the longest line in that direction in it."""
    falls = one_fall(rectangle(0, 0, 1200, 900), 0.01, 45)
    assert falls.facets[0].run_mm == pytest.approx(900 * math.sqrt(2))
    assert max(falls.corner_mm) == pytest.approx(0.01 * (1200 + 900) / math.sqrt(2))


def test_one_fall_in_an_ell() -> None:
    """In an L-shaped room a run ends where it meets a wall, on whichever side of the corner."""
    past_the_corner = one_fall(ELL, 0.01, 135).facets[0]
    assert past_the_corner.run_mm == pytest.approx(1800 * math.sqrt(2))
    into_the_corner = one_fall(ELL, 0.01, 45).facets[0]
    assert into_the_corner.run_mm == pytest.approx(900 * math.sqrt(2))
    assert one_fall(ELL, 0.01, 0).facets[0].run_mm == pytest.approx(2000)


# Heights anywhere


def test_heights_outside_and_on_the_drain() -> None:
    """On the drain and outside the room no plane tells a height."""
    falls = pan(FALL)
    inner = np.array([[500.0, 500.0], [-50.0, 500.0], [500.0, 1200.0]])
    assert np.isnan(height_at(falls, inner)).all()
    assert height_at(falls, np.array([[500.0, 0.0], [500.0, 225.0]])) == pytest.approx(
        [FALL * 450, FALL * 225]
    )


def test_scaled() -> None:
    """Twice the fall is twice every height; the planes lie where they lay."""
    once, twice = pan(0.01), scaled(pan(0.01), 2)
    spots = np.array([[100.0, 300.0], [700.0, 650.0], [20.0, 980.0]])
    assert height_at(twice, spots) == pytest.approx(2 * height_at(once, spots))
    assert twice.corner_mm == pytest.approx([2 * h for h in once.corner_mm])
    assert twice.creases == once.creases
    agree(twice, pan(0.02))
    assert on(twice)(500, 500) == 0


# Refused


@pytest.mark.parametrize(
    ("hole", "said"),
    [
        (drain(2000, 400, 2100, 500), "drain: the drain lies outside floor"),
        (drain(960, 400, 1060, 500), "drain: the drain reaches outside floor"),
        (drain(-200, 400, 1200, 500), "drain: the drain reaches outside floor"),
        (drain(0, 0, 1000, 1000), "drain: the drain fills floor"),
        (drain(10, 10, 990, 990), "drain: the drain fills floor"),
        (Ring("drain", ((400, 400), (600, 400), (600, 600), (500, 450))), "points inward"),
    ],
    ids=["outside", "partly", "longer than the room", "fills", "nearly fills", "concave"],
)
def test_drains_refused(hole: Ring, said: str) -> None:
    """A drain that is not all in the room, fills it or has an inward corner is refused."""
    with pytest.raises(RoomError, match=said):
        falls_to(METER, hole, FALL)


def test_too_many_corners() -> None:
    """A circle drawn with hundreds of corners would be hundreds of planes, and is refused."""
    turns = np.linspace(0, 2 * math.pi, MOST_CORNERS - 3, endpoint=False)
    ring = Ring("drain", tuple((500 + 90 * math.cos(t), 500 + 90 * math.sin(t)) for t in turns))
    with pytest.raises(RoomError, match="floor and drain have 65 corners together"):
        falls_to(METER, ring, FALL)


@pytest.mark.parametrize(("least", "most", "cover"), [(-1, 20, 0), (30, 20, 0), (20, 30, -1)])
def test_beds_refused(least: float, most: float, cover: float) -> None:
    """A bed that is thinner than nothing, or thinner at most than at least, is refused."""
    with pytest.raises(RoomError, match="bed: "):
        Bed(least, most, cover)


@pytest.mark.parametrize("order", list(permutations(range(3)))[:3])
def test_triangle(order: tuple[int, ...]) -> None:
    """A triangular room has three planes, one from each wall, and one to each side left over."""
    corners = ((0.0, 0.0), (1200.0, 0.0), (0.0, 1200.0))
    room = Ring("floor", tuple(corners[k] for k in order))
    falls = falls_to(room, drain(300, 300, 400, 400), FALL)
    walls = [facet for facet in falls.facets if "corner" not in facet.name]
    assert sorted(facet.name for facet in walls) == [
        "north-east plane",
        "south plane",
        "west plane",
    ]
    slanted = next(facet for facet in walls if facet.name == "north-east plane")
    assert slanted.bearing_deg == pytest.approx(225)
    assert slanted.run_mm == pytest.approx((1200 - 800) / math.sqrt(2))
