"""Volumes against published earthwork examples, and against cones, bowls and wedges by formula.

Volumes are found in several ways here, and all are checked: the area around each station times its
depth (`quantities`, `Site.area_mm2`, `station_areas`) and `water.flood`, which cuts triangles at a
level. The surface between readings is straight, so what each gives is exact for
a solid of flat faces, and so is the average of two end areas where areas grow evenly.

Published, each named beside its check: Wikibooks, "Fundamentals of Transportation/Earthwork";
a prismoidal bank and a Simpson column of two teaching pages (curioustab.com, howtoexcel.info);
Vose, "Handbook of Railroad Construction", 1857, art. 108; a borrow pit cell (expertsmind.com) and
the four-point rule. Two published answers are wrong, and stand here as such.
"""

import itertools
import math

import numpy as np
import numpy.typing as npt
import pytest
from slabs import scattered, site_of

from flatcheck.quantities import quantities
from flatcheck.room import Ring, Room, area, rectangle
from flatcheck.site import Proposal, Site
from flatcheck.surface import Surface, station_areas, surface
from flatcheck.terms import PATCH
from flatcheck.water import flood

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CUBIC_FEET_IN_CUBIC_YARD = 27.0


def by_stations(xy: Floats, depth: Floats, triangles: Ints) -> float:
    """The area around each station times its depth."""
    room = Room(Ring("all", tuple((float(x), float(y)) for x, y in hull(xy))))
    floor = Surface(room, xy, 0 * depth, 0 * depth, ("",) * len(xy), triangles)
    return float(station_areas(floor) @ depth)


def hull(xy: Floats) -> Floats:
    """A rectangle around places."""
    (west, south), (east, north) = xy.min(axis=0), xy.max(axis=0)
    return np.array([(west, south), (east, south), (east, north), (west, north)])


def every_way(xy: Floats, depth: Floats, triangles: Ints) -> tuple[float, float]:
    """The volume of a solid of flat faces by stations, and as a flood."""
    return by_stations(xy, depth, triangles), flood(xy, -depth, triangles, 0.0).volume_mm3


def split(quads: Ints) -> Ints:
    """Four-sided faces (q, 4) as triangles."""
    return np.concatenate((quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]))


def read_depths(corners: list[list[float]], places: Floats, depth: Floats) -> tuple[Site, float]:
    """A survey of a room, and the liters that `quantities` finds for a depth at its places."""
    site = site_of(scattered(np.column_stack((places, np.zeros(len(places)))), corners))
    order = [int(np.argmin(np.hypot(*(places - at).T))) for at in site.floor.xy_mm]
    fill = depth[order]
    takes = quantities(site, Proposal("fill", "Filling", fill, 0 * fill, PATCH))
    return site, takes.fill_l


def strip(stations: list[float], areas: list[float]) -> float:
    """Liters on a strip a meter wide whose depth [mm] is an area [m²] at stations [m].

    A cross-section of A m² over a length in meters is a depth of A mm over square meters: liters.
    """
    x = 1000.0 * np.array(stations)
    places = np.concatenate([np.column_stack((x, np.full(len(x), y))) for y in (0.0, 1000.0)])
    corners = [[x[0], 0], [x[-1], 0], [x[-1], 1000], [x[0], 1000]]
    return read_depths(corners, places, np.tile(np.array(areas, float), 2))[1]


def wedge_end(stations: list[float], areas: list[float]) -> float:
    """The same where the first area is nothing: there both the width and the depth run out."""
    x = 1000.0 * np.array(stations)
    both = np.concatenate([np.column_stack((x[1:], np.full(len(x) - 1, y))) for y in (0.0, 1000.0)])
    places = np.vstack(([x[0], 500.0], both))
    corners = [[x[0], 500], [x[1], 0], [x[-1], 0], [x[-1], 1000], [x[1], 1000]]
    if len(x) == 2:
        corners = [[x[0], 500], [x[1], 0], [x[1], 1000]]
    depth = np.concatenate(([0.0], areas[1:], areas[1:]))
    return read_depths(corners, places, depth)[1]


# A line of cross-sections


def test_wikibooks_cut_and_fill() -> None:
    """Wikibooks' line of cross-sections: fill 4087.5, cut 1058.3, short 3029.2 m3.

    Average end areas, and a pyramid where an area runs out. Ours has the pyramid from the shape:
    a solid whose width and depth both run out is a third of base times length by its triangles.
    """
    fill = strip([0, 50, 75, 100], [60, 50, 25, 5]) + wedge_end([0, 15], [0, 5])
    cut = wedge_end([75, 100, 115, 150], [0, 10, 15, 30])
    assert fill == pytest.approx(4087.5, abs=0.05)
    assert cut == pytest.approx(1058.3, abs=0.05)
    assert fill - cut == pytest.approx(3029.2, abs=0.05)


def bank(width: float, slope: float, x: list[float], height: list[float]) -> tuple[float, ...]:
    """The volume of a bank with a flat top and even sides, its height straight between stations."""
    along, high = np.array(x, float), np.array(height, float)
    toe, top = width / 2 + slope * high, np.full(len(high), width / 2)
    sides = (-toe, -top, top, toe)
    xy = np.concatenate([np.column_stack((along, y)) for y in sides])
    depth = np.concatenate((0 * high, high, high, 0 * high))
    n = len(along)
    quads = [
        (band * n + k, band * n + k + 1, (band + 1) * n + k + 1, (band + 1) * n + k)
        for band, k in itertools.product(range(3), range(n - 1))
    ]
    return every_way(xy, depth, split(np.array(quads)))


def section(width: float, slope: float, height: Floats) -> Floats:
    """The area of a bank's cross-section."""
    return width * height + slope * height**2


def test_prismoidal_bank() -> None:
    """A bank 150 m long, A 6, 21 and 40 m2, holds 3250 m3 (curioustab.com).

    The prismoidal formula is exact for this solid, and so are we. The average of the two ends,
    printed beside it as 3450, is more by L s (h1 - h0)^2 / 6 for side slopes of s.
    """
    areas = section(11, 2, np.array([0.5, 1.5, 2.5]))
    assert areas == pytest.approx([6, 21, 40])
    assert 150 / 6 * (areas[0] + 4 * areas[1] + areas[2]) == pytest.approx(3250)
    assert bank(11, 2, [0, 150], [0.5, 2.5]) == pytest.approx((3250,) * 2)
    assert 150 * (areas[0] + areas[2]) / 2 == pytest.approx(3450)
    over = 150 * 2 * 2.0**2 / 6
    assert over == pytest.approx(3450 - 3250)


def test_vose_1857() -> None:
    """Vose's cutting: 52,500 cubic ft, where his mean areas give 56,250 and he prints 56,200.

    He rounds mean areas of 68.75, 243.75, 493.75 and 318.75 to whole feet, and then the sum. End
    areas are too large by s (h1 - h0)^2 L / 6 for each length.
    """
    height, step = np.array([0, 5, 10, 15, 0.0]), 50.0
    areas = section(20, 1.5, height)
    means = (areas[:-1] + areas[1:]) / 2
    assert means == pytest.approx([68.75, 243.75, 493.75, 318.75])
    assert np.abs(means - [69, 244, 493, 318]).max() < 1
    assert step * means.sum() == pytest.approx(56_250)
    assert 56_200 == 50 * (69 + 244 + 493 + 318)
    ours = bank(20, 1.5, [0, 50, 100, 150, 200], height.tolist())
    assert ours == pytest.approx((52_500,) * 2)
    over = step * 1.5 * np.sum(np.diff(height) ** 2) / 6
    assert over == pytest.approx(56_250 - 52_500)


def simpson(spacing: float, areas: list[float]) -> float:
    """Simpson's rule by our own volumes: (4 T - T of every other station) / 3.

    Ours is the trapezoidal T, straight from one reading to the next.
    """
    x = [spacing * k for k in range(len(areas))]
    return (4 * strip(x, areas) - strip(x[::2], areas[::2])) / 3


def test_simpson_column() -> None:
    """A column of Simpson's rule sums to 69.85, and the page's total 341.425 to 569.042 m3.

    Source: howtoexcel.info, earthwork. Only the first column of ordinates is printed there.
    """
    column = [4.875, 4, 3.575, 3.75, 3.875, 3.925, 3.375]
    weighed = 4.875 + 3.375 + 4 * (4 + 3.75 + 3.925) + 2 * (3.575 + 3.875)
    assert weighed == pytest.approx(69.85)
    assert simpson(5.0, column) == pytest.approx(5 / 3 * 69.85)
    total = 5 / 3 * 341.425
    assert total == pytest.approx(569.042, abs=0.0005)


def test_wrong_simpson_column() -> None:
    """Wrong as published: an older copy of that page has 76.6 and 623 m3."""
    column = [4.875, 4, 3.575, 3.75, 3.875, 3.925, 3.375]
    assert abs(simpson(5.0, column) * 3 / 5 - 76.6) > 6
    assert abs(5 / 3 * 341.425 - 623) > 50


def test_wrong_prismoidal_answer() -> None:
    """Wrong as published: areas 20, 40, 60, 50, 30 at 30 m are not 2650 m3 (gauthmath).

    That halves the interval: Simpson gives 5300, end areas 5250, which is ours.
    """
    areas = [20.0, 40, 60, 50, 30]
    assert strip([0, 30, 60, 90, 120], areas) == pytest.approx(5250)
    assert simpson(30.0, areas) == pytest.approx(5300)
    assert simpson(30.0, areas) == pytest.approx(2 * 2650)


# Cells of a grid


CELL = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
ONE_WAY, OTHER_WAY = np.array([[0, 1, 2], [0, 2, 3]]), np.array([[0, 1, 3], [1, 2, 3]])


def test_four_corner_cell() -> None:
    """A borrow pit cell of 50 ft, 87.6, 87.6, 87.6 and 88.6 to 90, is 199 cubic yd (expertsmind).

    The mean of four corners is the mean of the two ways to split the cell into triangles. Each
    split is off by L^2 t / 12, t the twist z0 - z1 + z2 - z3: the cell is no plane.
    """
    depth = 90 - np.array([87.6, 87.6, 87.6, 88.6])
    ways = [every_way(50 * CELL, depth, way) for way in (ONE_WAY, OTHER_WAY)]
    both = np.mean(ways, axis=0) / CUBIC_FEET_IN_CUBIC_YARD
    assert both == pytest.approx((199.074,) * 2, abs=0.0005)
    twist = depth @ [1, -1, 1, -1]
    for way in ways:
        assert abs(way[0] - 2500 * depth.mean()) == pytest.approx(2500 * abs(twist) / 12)


def test_four_point_cut_and_fill() -> None:
    """The four-point rule for a 20 ft cell C1 F2 C2 F3: cut 4.1667, fill 11.5741, net 7.4074 yd3.

    V = L^2 H^2 / (4 (Hc + Hf)), an approximation of its own. The net is that of the four corners,
    and ours too; cut and fill depend on how the cell is split, and with depths of one sign counted
    at stations both are more, for a station's depth is run straight to the next.
    """
    cut, fill = np.array([1.0, 0, 2, 0]), np.array([0.0, 2, 0, 3])
    high, low = cut.sum(), fill.sum()
    rule = [400 * part**2 / (4 * (high + low)) / CUBIC_FEET_IN_CUBIC_YARD for part in (high, low)]
    assert rule == pytest.approx([4.1667, 11.5741], abs=5e-5)
    assert rule[1] - rule[0] == pytest.approx(7.4074, abs=5e-5)
    nets = []
    for way in (ONE_WAY, OTHER_WAY):
        filled = flood(20 * CELL, cut - fill, way, 0.0).volume_mm3
        ground = flood(20 * CELL, fill - cut, way, 0.0).volume_mm3
        stations = [by_stations(20 * CELL, part, way) for part in (cut, fill)]
        assert stations[1] - stations[0] == pytest.approx(filled - ground)
        assert stations[0] > ground
        assert stations[1] > filled
        assert abs(ground / CUBIC_FEET_IN_CUBIC_YARD - rule[0]) > 0.1
        nets.append((filled - ground) / CUBIC_FEET_IN_CUBIC_YARD)
    assert np.mean(nets) == pytest.approx(7.4074, abs=5e-5)


# Shapes with a formula


def grid(side: float, cells: int) -> Surface:
    """A square about the origin as our own surface."""
    tick = np.linspace(-side / 2, side / 2, cells + 1)
    xy = np.stack(np.meshgrid(tick, tick), axis=-1).reshape(-1, 2)
    room = Room(rectangle(-side / 2, -side / 2, side / 2, side / 2))
    return surface(room, xy, np.zeros(len(xy)), np.zeros(len(xy)), [""] * len(xy))


@pytest.mark.parametrize("cells", [1, 3, 8])
def test_wedge(cells: int) -> None:
    """A wedge is exact on any grid: its width times half its depth times its length."""
    floor = grid(1200.0, cells)
    depth = 0.01 * (floor.xy_mm[:, 0] + 600)
    want = 1200 * 1200 * 12 / 2
    assert every_way(floor.xy_mm, depth, floor.triangles) == pytest.approx((want,) * 2)
    assert station_areas(floor) @ depth == pytest.approx(want)


@pytest.mark.parametrize("slope", [(0.003, -0.002), (0.0, 0.01)])
def test_plane_in_an_odd_room(slope: tuple[float, float]) -> None:
    """Under a plane the volume is the area times the depth at the middle, in an L-shaped room too.

    Read on a grid that meets its walls, the room is all triangles: nothing is shared out.
    """
    corners = [[0, 0], [3000, 0], [3000, 1000], [1000, 1000], [1000, 2500], [0, 2500]]
    ticks = itertools.product(range(0, 3001, 500), range(0, 2501, 500))
    places = np.array([(x, y) for x, y in ticks if x <= 1000 or y <= 1000], float)
    depth = 20 + places @ np.array(slope)
    site, liters = read_depths(corners, places, depth)
    assert area(site.floor.room) == pytest.approx(4.5e6)
    assert site.area_mm2.sum() == pytest.approx(4.5e6)
    middle = (np.array([1500, 500]) * 3.0 + np.array([500, 1750]) * 1.5) / 4.5
    assert liters == pytest.approx(4.5 * (20 + middle @ np.array(slope)))


CONVERGE = {
    "cone": (lambda r: 1 - r, math.pi / 3),
    "bowl": (lambda r: 1 - r**2, math.pi / 2),
}


@pytest.mark.parametrize("shape", CONVERGE)
def test_round_shapes(shape: str) -> None:
    """A cone holds a third of base times depth, a bowl half: ever nearer as the grid is refined.

    What is amiss goes at least as the square of the step: it is less than (step / radius)^2.
    """
    of, share = CONVERGE[shape]
    radius, deep = 700.0, 20.0
    want = share * radius**2 * deep
    for cells in (10, 20, 40, 80):
        floor = grid(1600.0, cells)
        depth = deep * np.maximum(of(np.hypot(*floor.xy_mm.T) / radius), 0)
        found = every_way(floor.xy_mm, depth, floor.triangles)
        assert found == pytest.approx((found[0],) * 2)
        assert abs(found[0] / want - 1) < (1600 / cells / radius) ** 2


@pytest.mark.parametrize("level", [-3.0, 2.0, 7.5, 20.0, 26.0])
def test_pool_in_a_cone_at_any_level(level: float) -> None:
    """A pool in a funnel of flat faces holds A h/3 (level/h)^3 below its rim, by both pools.

    Above the rim A (level - 2h/3).
    """
    turn = 2 * np.pi * np.arange(24) / 24
    xy = np.vstack(([0, 0], 700 * np.column_stack((np.cos(turn), np.sin(turn)))))
    z = np.append(0.0, np.full(24, 20.0))
    k = np.arange(24)
    triangles = np.column_stack((np.zeros(24, int), 1 + k, 1 + (k + 1) % 24))
    rim = 12 * 700**2 * math.sin(2 * math.pi / 24)
    full = min(max(level / 20, 0.0), 1.0)
    want = rim * 20 / 3 * full**3 + rim * max(level - 20, 0.0)
    assert flood(xy, z, triangles, level).volume_mm3 == pytest.approx(want, rel=1e-12, abs=1e-6)
