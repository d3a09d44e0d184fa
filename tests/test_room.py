"""Rooms: what is floor, where a bar can lie, and how a place is told."""

import math

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.errors import RoomError
from flatcheck.room import (
    EDGE_MM,
    Ring,
    Room,
    area,
    clear,
    from_walls,
    inside,
    rectangle,
    ring_area,
    wall_names,
)

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Box = tuple[float, float, float, float]

L_CORNERS = ((0, 0), (3000, 0), (3000, 1500), (1500, 1500), (1500, 3000), (0, 3000))
L_BOXES: tuple[Box, ...] = ((0, 0, 3000, 1500), (0, 0, 1500, 3000))
L_WALLS = ("porch", "yard", "step", "stair", "attic", "street")
PILLAR: Box = (400, 500, 800, 700)
U_CORNERS = (
    (0, 0),
    (4000, 0),
    (4000, 2000),
    (1600, 2000),
    (1600, 1000),
    (1000, 1000),
    (1000, 2000),
    (0, 2000),
)


def ell(*cutouts: Ring, walls: tuple[str, ...] = ()) -> Room:
    return Room(Ring("ell", L_CORNERS), cutouts, walls)


def points(*xy: tuple[float, float]) -> Floats:
    return np.array(xy, dtype=float)


def in_boxes(xy: Floats, boxes: tuple[Box, ...], grow: float) -> Mask:
    """Whether points (..., 2) lie in any of some boxes, written without rings."""
    x, y = xy[..., 0], xy[..., 1]
    return np.any(
        [
            (x >= w - grow) & (x <= e + grow) & (y >= s - grow) & (y <= n + grow)
            for w, s, e, n in boxes
        ],
        axis=0,
    )


# Rings and rooms


@pytest.mark.parametrize("sides", [3, 4, 7, 60])
def test_area_of_a_regular_polygon(sides: int) -> None:
    """The area of n equal sides in a circle of radius r is n/2 r² sin(2π/n), wherever it lies."""
    turn = 2 * np.pi * np.arange(sides) / sides
    corners = np.column_stack((np.cos(turn), np.sin(turn))) * 1000 + (5e6, -3e6)
    expected = sides / 2 * 1000**2 * math.sin(2 * math.pi / sides)
    assert ring_area(corners) == pytest.approx(expected, rel=1e-9)
    assert ring_area(corners[::-1]) == pytest.approx(-expected, rel=1e-9)


def test_area_takes_off_cutouts() -> None:
    """The floor of an L is its two boxes less their overlap, less what is cut out."""
    w, s, e, n = PILLAR
    expected = 3000 * 1500 + 1500 * 3000 - 1500 * 1500 - (e - w) * (n - s)
    assert area(ell(rectangle(*PILLAR, "pillar"))) == pytest.approx(expected)


@pytest.mark.parametrize(
    "other",
    [(100, 100, 900, 900), (300, 300, 400, 400), (800, 800, 1000, 1000), (500, 0, 600, 1000)],
    ids=["the same", "within", "corner on corner", "across"],
)
def test_overlapping_cutouts(other: Box) -> None:
    """Two cutouts that share floor are refused by both names, whichever comes first."""
    one, two = rectangle(100, 100, 900, 900, "a"), rectangle(*other, "b")
    for first, second in ((one, two), (two, one)):
        with pytest.raises(RoomError, match=f"^{second.name}: .* overlaps {first.name}; "):
            Room(rectangle(0, 0, 1000, 1000), (first, second))


def test_cutouts_side_by_side() -> None:
    """Cutouts that touch along a side are two, and both are missing from the floor."""
    beside = (rectangle(100, 100, 500, 900, "a"), rectangle(500, 100, 900, 900, "b"))
    assert area(Room(rectangle(0, 0, 1000, 1000), beside)) == pytest.approx(1000**2 - 800**2)


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (((0, 0), (1000, 0)), "at least three corners"),
        (((0, 0), (1000, 0), (math.nan, 1000)), "not a finite number"),
        (((0, 0), (1000, 0), (0, math.inf)), "not a finite number"),
        (((0, 0), (1000, 1000), (1000, 0), (0, 1000)), "between corners 1 and 3"),
        (((0, 0), (1000, 0), (2000, 0)), "encloses no area"),
        (((0, 0), (1000, 0), (1000, 0.5), (0, 1000)), "two corners in a row are at one place"),
        (((0, 0), (1000, 0), (1000, 1000), (0, 0)), "two corners in a row are at one place"),
    ],
)
def test_what_is_no_outline(corners: tuple[tuple[float, float], ...], said: str) -> None:
    """An outline that is too short, infinite, crossed or flat is refused by its name."""
    with pytest.raises(RoomError, match=rf"^bath: .*{said}"):
        Ring("bath", corners)


def test_every_wall_has_a_name() -> None:
    """Wall names that are too few are refused, with both counts."""
    with pytest.raises(RoomError, match="5 wall names for 6 walls"):
        ell(walls=("a", "b", "c", "d", "e"))


@pytest.mark.parametrize("box", [(1000, 1000, 2000, 2000), (-500, 0, 100, 100)])
def test_cutout_outside(box: Box) -> None:
    """A cutout with a corner outside the room is refused by its name."""
    with pytest.raises(RoomError, match=r"^island: .* does not lie inside the room"):
        ell(rectangle(*box, "island"))


def test_cutout_across_a_notch() -> None:
    """A cutout whose corners are on the floor and whose middle is not does not lie in the room."""
    with pytest.raises(RoomError, match="does not lie inside the room"):
        ell(Ring("island", ((100, 2900), (2900, 100), (2950, 150), (150, 2950))))


# Floor or not


@pytest.mark.parametrize("turn", [1, -1], ids=["counter-clockwise", "clockwise"])
def test_inside_agrees_with_boxes(turn: int) -> None:
    """Of places all over an L with a pillar, those in its boxes and not in the pillar are floor."""
    room = Room(Ring("ell", L_CORNERS[::turn]), (rectangle(*PILLAR, "pillar"),))
    xy = np.random.default_rng(1).uniform(-200, 3200, (4000, 2))
    expected = in_boxes(xy, L_BOXES, 0) & ~in_boxes(xy, (PILLAR,), 0)
    rim = in_boxes(xy, L_BOXES, EDGE_MM) != in_boxes(xy, L_BOXES, -EDGE_MM)
    rim |= in_boxes(xy, (PILLAR,), EDGE_MM) != in_boxes(xy, (PILLAR,), -EDGE_MM)
    assert np.array_equal(inside(room, xy)[~rim], expected[~rim])
    assert 0.3 < expected.mean() < 0.9


def test_walls_belong_to_the_floor() -> None:
    """A rod held against a wall, a corner or a pillar stands on the floor, a hair off it too."""
    room = ell(rectangle(*PILLAR, "pillar"))
    on = points((0, 0), (1500, 3000), (1500, 2000), (1500, 1500), (3000.9, 700), (400, 600))
    off = points((-1.1, 0), (1502, 1502), (600, 600), (3002, 700))
    assert inside(room, on).all()
    assert not inside(room, off).any()


# Bars


@pytest.mark.parametrize(
    ("start", "end", "free"),
    [
        ((100, 100), (2900, 100), True),
        ((100, 0), (2900, 0), True),  # along a wall
        ((1500, 1500), (1500, 3000), True),  # along the notch
        ((0, 3000), (3000, 0), True),  # touches the inner corner
        ((100, 2900), (2900, 200), False),  # over the notch
        ((1400, 2900), (2900, 1400), False),
        ((300, 600), (900, 600), False),  # over the pillar
        ((300, 500), (900, 500), True),  # along its side
        ((300, 400), (900, 800), False),
        ((100, 100), (100, 3100), False),  # through the outer wall
    ],
)
def test_where_a_bar_can_lie(
    start: tuple[float, float], end: tuple[float, float], free: bool
) -> None:
    """A bar may run along walls and touch a corner; it may not lie over what is no floor."""
    room = ell(rectangle(*PILLAR, "pillar"))
    assert clear(room, points(start), points(end)).tolist() == [free]
    assert clear(room, points(end), points(start)).tolist() == [free]


def test_clear_agrees_with_steps_along_the_bar() -> None:
    """A bar is clear when every step along it is on the floor, told from boxes alone."""
    rng = np.random.default_rng(7)
    room = ell(rectangle(*PILLAR, "pillar"))
    start, end = rng.uniform(0, 3000, (2, 1500, 2))
    steps = start[:, None] + np.linspace(0, 1, 3001)[:, None] * (end - start)[:, None]
    off = ~in_boxes(steps, L_BOXES, 0) | in_boxes(steps, (PILLAR,), 0)
    floor = ~off[:, [0, -1]].any(axis=1)
    deep = (~in_boxes(steps, L_BOXES, 3) | in_boxes(steps, (PILLAR,), -3)).any(axis=1)
    plain = floor & (deep == off.any(axis=1))  # bars that graze a corner are a matter of taste
    expected = ~off.any(axis=1)[plain]
    assert np.array_equal(clear(room, start, end)[plain], expected)
    assert 0.2 < expected.mean() < 0.8


def test_a_bar_over_the_mouth_of_an_alcove() -> None:
    """A bar along a wall line does not lie over the gap where the wall steps back."""
    room = Room(Ring("horseshoe", U_CORNERS))
    assert not clear(room, points((500, 2000)), points((3000, 2000)))[0]


def test_a_bar_over_a_column_from_corner_to_corner() -> None:
    """A bar that enters a column at one corner and leaves at the opposite one lies over it."""
    room = Room(rectangle(0, 0, 3000, 3000), (rectangle(200, 200, 700, 700, "column"),))
    assert not clear(room, points((0, 0)), points((1500, 1500)))[0]


# Words for a place


@pytest.mark.parametrize("turn", [1, -1], ids=["counter-clockwise", "clockwise"])
def test_walls_are_called_by_their_compass_side(turn: int) -> None:
    """Without names a wall is called by the side its outer face looks to, however it is listed."""
    diamond = ((0, -1000), (1000, 0), (0, 1000), (-1000, 0))
    names = wall_names(Room(Ring("diamond", diamond[::turn])))
    assert sorted(names) == ["north-east", "north-west", "south-east", "south-west"]
    box = Room(Ring("box", rectangle(0, 0, 4000, 3000).corners_mm[::turn]))
    expected = (
        ("south", "east", "north", "west") if turn > 0 else ("north", "east", "south", "west")
    )
    assert wall_names(box) == expected


def test_given_names_are_kept() -> None:
    """Walls that were named keep their names, wall i from corner i to the next."""
    assert wall_names(ell(walls=L_WALLS)) == L_WALLS


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ((700, 2800), (("attic", 200), ("street", 700))),
        ((2800, 700), (("yard", 200), ("porch", 700))),
        ((1400, 1900), (("stair", 100), ("attic", 1100))),
        ((2000, 1400), (("step", 100), ("yard", 1000))),
        # The step is no help where it cannot be reached squarely: the far wall is told.
        ((1400, 1450), (("street", 1400), ("porch", 1450))),
    ],
)
def test_from_walls_in_an_ell(
    place: tuple[float, float], expected: tuple[tuple[str, float], ...]
) -> None:
    """A place is told from the nearest wall in reach of a square, then from one across it."""
    assert from_walls(ell(walls=L_WALLS), place) == tuple(
        (name, pytest.approx(away)) for name, away in expected
    )


def test_from_walls_round_trip() -> None:
    """In a box the two distances say which place was meant."""
    room = Room(rectangle(100, 200, 4100, 3200))
    for place in np.random.default_rng(2).uniform((100, 200), (4100, 3200), (50, 2)):
        told = dict(from_walls(room, place))
        x = 100 + told["west"] if "west" in told else 4100 - told["east"]
        y = 200 + told["south"] if "south" in told else 3200 - told["north"]
        assert (x, y) == (pytest.approx(place[0]), pytest.approx(place[1]))


def test_from_walls_of_an_assumed_room() -> None:
    """Where nobody gave an outline there are no walls: offsets from the zero corner are told."""
    room = Room(rectangle(0, 0, 4000, 3000), assumed=True)
    assert from_walls(room, (3900, 2900)) == (("west", 3900), ("south", 2900))


STAIRS = ((0, 0), (3000, 0), (3000, 1000), (2000, 1000), (2000, 2000), (1000, 2000), (1000, 3000))


@pytest.mark.parametrize("turn", [1, -1], ids=["counter-clockwise", "clockwise"])
@pytest.mark.parametrize(
    ("corners", "names"),
    [
        (L_CORNERS, ("south", "east", "inner north", "inner east", "north", "west")),
        (
            (*STAIRS, (0, 3000)),
            (
                "south",
                "east",
                "inner north 2",
                "inner east 1",
                "inner north 1",
                "inner east 2",
                "north",
                "west",
            ),
        ),
    ],
    ids=["ell", "stairs"],
)
def test_wall_names_are_unambiguous(
    corners: tuple[tuple[float, float], ...], names: tuple[str, ...], turn: int
) -> None:
    """Of walls that look one way the farthest out has the plain name, the others are inner."""
    found = wall_names(Room(Ring("room", corners[::turn])))
    # Backwards the walls come in reverse, from the second corner's.
    assert found == (names if turn > 0 else (*names[-2::-1], names[-1]))
    assert len(set(names)) == len(names)


def test_from_the_inner_walls_of_an_ell() -> None:
    """A place in an arm of an L is told from the wall that it is near, by a name of its own."""
    assert from_walls(ell(), (1400, 1900)) == (("inner east", 100), ("north", 1100))
    assert from_walls(ell(), (2000, 1400)) == (("inner north", 100), ("east", 1000))


def test_an_outline_that_repeats_its_first_corner() -> None:
    """A ring that says its first corner again is refused: a side of no length faces nowhere."""
    box = rectangle(0, 0, 4000, 3000).corners_mm
    with pytest.raises(RoomError, match=r"^room: two corners in a row are at one place"):
        Ring("room", (*box, box[0]))


# Zones


def test_a_zone_narrows_the_floor() -> None:
    """Floor of a zone is what lies in the zone and in the room, and in no cutout."""
    zone = rectangle(200, 300, 2800, 2800, "zone")
    room = Room(Ring("ell", L_CORNERS), (rectangle(*PILLAR, "pillar"),), zone=zone)
    xy = np.random.default_rng(3).uniform(-200, 3200, (4000, 2))
    box = ((200.0, 300.0, 2800.0, 2800.0),)
    expected = in_boxes(xy, L_BOXES, 0) & in_boxes(xy, box, 0) & ~in_boxes(xy, (PILLAR,), 0)
    rim = np.zeros(len(xy), dtype=bool)
    for boxes in (L_BOXES, box, (PILLAR,)):
        rim |= in_boxes(xy, boxes, EDGE_MM) != in_boxes(xy, boxes, -EDGE_MM)
    assert np.array_equal(inside(room, xy)[~rim], expected[~rim])
    assert 0.2 < expected.mean() < 0.8


@pytest.mark.parametrize(
    ("start", "end", "free"),
    [
        ((100, 100), (1400, 100), True),
        ((100, 100), (1600, 100), False),  # out of the zone, on the floor
        ((1500, 100), (1500, 1400), True),  # along the zone's edge
        ((100, 600), (1400, 600), False),  # over the pillar, which lies in another zone too
        ((1500, 1600), (1500, 2900), True),  # along the wall and the zone's edge at once
    ],
)
def test_bars_stay_in_their_zone(
    start: tuple[float, float], end: tuple[float, float], free: bool
) -> None:
    """A bar may run along the edge of its zone; it may not cross it."""
    room = Room(
        Ring("ell", L_CORNERS),
        (rectangle(*PILLAR, "pillar"),),
        zone=rectangle(0, 0, 1500, 3000, "west"),
    )
    assert clear(room, points(start), points(end)).tolist() == [free]
    assert clear(room, points(end), points(start)).tolist() == [free]


def test_walls_are_those_of_the_room() -> None:
    """A zone has no walls of its own: a place in it is told from the walls of the room."""
    room = Room(rectangle(0, 0, 4000, 3000), zone=rectangle(1000, 1000, 2000, 2000, "bay"))
    assert wall_names(room) == ("south", "east", "north", "west")
    assert from_walls(room, (1100, 1200)) == (("west", 1100), ("south", 1200))


def test_bars_cross_a_slit() -> None:
    """A slit that joins a hole to the outline stops no bar; the hole does."""
    around = ((0, 0), (3000, 0), (3000, 3000), (0, 3000), (0, 1000))
    hole = ((1000, 1000), (1000, 2000), (2000, 2000), (2000, 1000), (1000, 1000))
    room = Room(Ring("ring", (*around, *hole, (0, 1000))))
    start = np.array([(500.0, 500.0), (100.0, 1500.0), (500.0, 500.0)])
    end = np.array([(500.0, 2500.0), (2900.0, 1500.0), (1500.0, 1100.0)])
    assert clear(room, start, end).tolist() == [True, False, False]
