"""Standing water against its definition by trial, against formulas, and against its own laws."""

import math

import numpy as np
import pytest
from basins import cell_edges, raster_level
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from flatcheck.water import CAPILLARY_MM, fill, flood, held_mm, ponds, sides


def by_trial(height, edges, outlets):
    """The level by its definition: rise from the outlets until no edge can lower any level."""
    level = np.where(outlets, height, np.inf)
    while True:
        before = level.copy()
        for i, j in edges:
            level[i] = min(level[i], max(height[i], level[j]))
            level[j] = min(level[j], max(height[j], level[i]))
        if np.array_equal(before, level):
            return level


def rim(shape):
    """The cells at the edge of a raster."""
    outlets = np.zeros(shape, dtype=bool)
    outlets[[0, -1]] = outlets[:, [0, -1]] = True
    return outlets


@st.composite
def graphs(draw):
    """Heights with many ties, edges with repeats, loops and loose ends, outlets or none."""
    n = draw(st.integers(1, 12))
    place = st.integers(0, n - 1)
    height = draw(st.lists(st.integers(-3, 3), min_size=n, max_size=n))
    edges = draw(st.lists(st.tuples(place, place), max_size=25))
    outlets = draw(st.lists(st.booleans(), min_size=n, max_size=n))
    return (
        np.array(height, dtype=float),
        np.array(edges, dtype=np.int64).reshape(-1, 2),
        np.array(outlets),
    )


@settings(max_examples=300, deadline=None)
@given(graphs())
def test_level_is_the_lowest_highest_place(case):
    """On any graph the level is the least height to which every place must rise."""
    height, edges, outlets = case
    got = fill(height, edges, outlets)
    want = by_trial(height, edges, outlets)
    np.testing.assert_array_equal(got.level_mm, want)
    reached = np.isfinite(want)
    np.testing.assert_array_equal(got.spill[~reached], -1)
    np.testing.assert_array_equal(height[got.spill[reached]], want[reached])
    np.testing.assert_array_equal(got.spill[outlets], np.flatnonzero(outlets))


@settings(max_examples=300, deadline=None)
@given(graphs())
def test_margin_leaves_the_place_itself_out(case):
    """The margin is how far a place could rise (or has to sink) until it is the spill itself.

    So with the place sunk out of sight its level is that of its gate, which is another place.
    """
    height, edges, outlets = case
    got = fill(height, edges, outlets)
    for i in range(len(height)):
        if outlets[i]:
            assert (got.margin_mm[i], got.gate[i]) == (-np.inf, -1)
            continue
        sunk = height.copy()
        sunk[i] = -1000
        level = by_trial(sunk, edges, outlets)[i]
        assert got.margin_mm[i] == level - height[i]
        if math.isinf(level):
            assert got.gate[i] == -1
        else:
            assert got.gate[i] != i
            assert height[got.gate[i]] == level


@settings(max_examples=300, deadline=None)
@given(graphs())
def test_level_is_the_place_or_its_gate(case):
    """Level = max(height, height + margin): what stands above a place is its margin."""
    height, edges, outlets = case
    got = fill(height, edges, outlets)
    np.testing.assert_array_equal(got.level_mm, np.maximum(height, height + got.margin_mm))


def test_spill_decides_the_level():
    """Raising the spill of a pit raises its level as much; raising any other pass does not."""
    height = np.array([0.0, 5.0, 1.0, 7.0, -1.0])
    edges = np.array([[0, 1], [1, 2], [2, 3], [3, 4], [2, 4]])
    outlets = np.array([False, False, False, False, True])
    got = fill(height, edges, outlets)
    assert got.level_mm.tolist() == [5, 5, 1, 7, -1]
    assert got.spill.tolist() == [1, 1, 2, 3, 4]
    assert got.margin_mm.tolist() == [5 - 0, 1 - 5, -1 - 1, -1 - 7, -np.inf]
    assert got.gate.tolist() == [1, 2, 4, 4, -1]


@pytest.mark.parametrize("neighbors", [4, 8])
def test_a_spiral(neighbors):
    """Along a corridor wound up in a spiral the level is the highest place passed so far."""
    size = 41
    walls = 100.0
    z = np.full((size, size), walls)
    at, step = np.array([1, 1]), np.array([0, 1])
    way = [(1, 1)]
    z[1, 1] = 0

    def open_ahead(turned):
        one, two = at + turned, at + 2 * turned
        return np.all((one >= 1) & (one < size - 1)) and z[tuple(one)] == z[tuple(two)] == walls

    while open_ahead(step) or open_ahead(step := np.array([step[1], -step[0]])):
        at = at + step
        way.append(tuple(at))
        z[way[-1]] = 0
    rows, columns = np.array(way).T
    assert len(way) > size**2 / 3
    z[rows, columns] = np.random.default_rng(0).random(len(way))
    outlets = np.zeros(z.shape, dtype=bool)
    outlets[1, 1] = True
    level = raster_level(z, outlets, neighbors)
    if neighbors == 4:
        np.testing.assert_array_equal(level[rows, columns], np.maximum.accumulate(z[rows, columns]))
    assert np.all(level[z == walls] == walls)
    np.testing.assert_array_equal(
        level.ravel(), by_trial(z.ravel(), cell_edges(z.shape, neighbors), outlets.ravel())
    )


def test_water_held_by_surface_tension():
    """h = 2 l sin(θ/2): nothing is held at 0 degrees, 2 l at 180, 1.4 mm at the usual 30."""
    assert held_mm(0) == 0
    assert held_mm(180) == pytest.approx(2 * CAPILLARY_MM)
    assert held_mm(60) == pytest.approx(CAPILLARY_MM)
    assert round(held_mm(), 1) == 1.4


# Surfaces of triangles.


def hopper(a, b, depth, around):
    """A pyramid roof a x b turned over, `around` a level floor, and the outlets at its rim."""
    x = np.array([-around, 0, a / 2, a, a + around])
    y = np.array([-around, 0, b / 2, b, b + around])
    xy = np.array([(u, v) for v in y for u in x])
    height = np.where((xy == (a / 2, b / 2)).all(axis=1), -depth, 0.0)
    cells = np.arange(25).reshape(5, 5)
    triangles = []
    for row in range(4):
        for column in range(4):
            p, q = cells[row, column], cells[row, column + 1]
            r, s = cells[row + 1, column + 1], cells[row + 1, column]
            # Both diagonals of the roof's quarters go to the middle of it.
            if (row in (1, 2)) and (column in (1, 2)) and row != column:
                triangles += [(p, q, s), (q, r, s)]
            else:
                triangles += [(p, q, r), (p, r, s)]
    outer = (xy[:, 0] < 0) | (xy[:, 0] > a) | (xy[:, 1] < 0) | (xy[:, 1] > b)
    return xy, height, np.array(triangles), outer


def shoelace(ring):
    x, y = ring.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def hills(seed, kind="noise", n=60):
    """A random surface of triangles with outlets at some of its stations."""
    rng = np.random.default_rng(seed)
    xy = np.vstack((rng.uniform(0, 4000, (n, 2)), [[0, 0], [4000, 0], [0, 4000], [4000, 4000]]))
    height = {
        "noise": lambda: rng.normal(0, 3, len(xy)),
        "ties": lambda: rng.integers(0, 4, len(xy)).astype(float),
    }[kind]()
    triangles = Delaunay(xy).simplices.astype(np.int64)
    outlets = np.zeros(len(xy), dtype=bool)
    outlets[rng.choice(len(xy), 3, replace=False)] = True
    return xy, height, triangles, outlets


def finer(xy, height, triangles):
    """The same surface with a station in the middle of every edge: four triangles for one."""
    edges, facing = sides(triangles)
    middle = facing + len(xy)
    a, b, c = triangles.T
    u, v, w = middle.T
    quarters = np.concatenate(
        [np.column_stack(three) for three in ((a, w, v), (w, b, u), (v, u, c), (u, v, w))]
    )
    return (
        np.vstack((xy, xy[edges].mean(axis=1))),
        np.concatenate((height, height[edges].mean(axis=1))),
        quarters,
    )


def test_sides():
    """Two triangles on one edge have five edges, and the shared one faces a corner of each."""
    edges, facing = sides(np.array([[0, 1, 2], [2, 1, 3]]))
    assert sorted(map(tuple, edges.tolist())) == [(0, 1), (0, 2), (1, 2), (1, 3), (2, 3)]
    assert facing[0, 0] == facing[1, 2]
    assert edges[facing[0]].tolist() == [[1, 2], [0, 2], [0, 1]]


@pytest.mark.parametrize(("a", "b", "depth"), [(3000, 3000, 30), (900, 1200, 4), (2500, 800, 1.5)])
def test_pyramid(a, b, depth):
    """A pyramid roof turned over holds the volume of a pyramid, a b h / 3, on a b of floor."""
    xy, height, triangles, outlets = hopper(a, b, depth, 500)
    (pond,) = ponds(xy, height, triangles, outlets)
    assert pond.depth_mm == depth
    assert pond.volume_mm3 == pytest.approx(a * b * depth / 3, rel=1e-14)
    assert pond.area_mm2 == pytest.approx(a * b, rel=1e-14)
    assert xy[pond.pit].tolist() == [a / 2, b / 2]
    assert height[pond.spill] == 0
    (shore,) = pond.shores
    assert shoelace(shore) == pytest.approx(a * b)
    assert shore.min(axis=0).tolist() == [0, 0]
    assert shore.max(axis=0).tolist() == [a, b]


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9])
def test_flooded_pyramid(part):
    """Filled to a part p of its depth a pyramid has p³ of the water on p² of the floor."""
    a, b, depth = 3000, 2000, 24
    xy, height, triangles, _ = hopper(a, b, depth, 500)
    got = flood(xy, height, triangles, -depth * (1 - part))
    assert got.volume_mm3 == pytest.approx(a * b * depth / 3 * part**3, rel=1e-12)
    assert got.area_mm2 == pytest.approx(a * b * part**2, rel=1e-12)
    assert got.depth_mm == pytest.approx(depth * part)


def test_flood_over_all():
    """Above its highest place a floor of area F holds F more for each mm: a prism."""
    xy, height, triangles, _ = hopper(3000, 2000, 24, 500)
    floor = 4000 * 3000
    for over in (0.5, 10):
        got = flood(xy, height, triangles, over)
        assert got.volume_mm3 == pytest.approx(3000 * 2000 * 24 / 3 + over * floor)
        assert (got.area_mm2, got.depth_mm) == (pytest.approx(floor), 24 + over)


@pytest.mark.parametrize("level", [-24, -30])
def test_nothing_flooded(level):
    """No water stands to a level at or below the lowest place."""
    xy, height, triangles, _ = hopper(3000, 2000, 24, 500)
    got = flood(xy, height, triangles, level)
    assert (got.volume_mm3, got.area_mm2, got.depth_mm) == (0, 0, 0)


@pytest.mark.parametrize("part", [0.2, 0.5, 0.7, 1.0])
def test_wedge(part):
    """On a plane falling h over a length l and a width w, water to p h is a wedge: w l h p²/2."""
    length, width, fall = 4000.0, 1500.0, 60.0
    xy = np.array([[0, 0], [length, 0], [length, width], [0, width]])
    height = fall * xy[:, 0] / length
    got = flood(xy, height, np.array([[0, 1, 2], [0, 2, 3]]), part * fall)
    assert got.volume_mm3 == pytest.approx(width * length * fall * part**2 / 2, rel=1e-13)
    assert got.area_mm2 == pytest.approx(width * length * part, rel=1e-13)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["noise", "ties"]))
def test_passes_and_pits_are_stations(seed, kind):
    """More places on the same surface find no lower way out: edges tell all.

    Two times finer, levels, depths, areas and volumes stay as they were.
    """
    xy, height, triangles, outlets = hills(seed, kind)
    coarse = ponds(xy, height, triangles, outlets, deeper_mm=0.01)
    level = fill(height, sides(triangles)[0], outlets).level_mm
    for _ in range(2):
        xy, height, triangles = finer(xy, height, triangles)
    fine_outlets = np.zeros(len(xy), dtype=bool)
    fine_outlets[: len(outlets)] = outlets
    fine = ponds(xy, height, triangles, fine_outlets, deeper_mm=0.01)
    again = fill(height, sides(triangles)[0], fine_outlets).level_mm
    np.testing.assert_allclose(again[: len(level)], level, rtol=0, atol=1e-12)
    for name in ("depth_mm", "area_mm2", "volume_mm3"):
        mine, theirs = ([getattr(pond, name) for pond in which] for which in (coarse, fine))
        np.testing.assert_allclose(sorted(mine), sorted(theirs), rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["noise", "ties"]))
def test_ponds_of_any_surface(seed, kind):
    """Depth is the spill less the pit, the shores enclose the area, and all water is in a pond."""
    xy, height, triangles, outlets = hills(seed, kind)
    found = ponds(xy, height, triangles, outlets, deeper_mm=0)
    level = fill(height, sides(triangles)[0], outlets).level_mm
    wet = np.concatenate([pond.stations for pond in found] or [np.empty(0, int)])
    assert sorted(wet.tolist()) == np.flatnonzero(level > height).tolist()
    assert [pond.depth_mm for pond in found] == sorted((p.depth_mm for p in found), reverse=True)
    for pond in found:
        assert pond.depth_mm == height[pond.spill] - height[pond.pit]
        assert pond.pit in pond.stations
        assert height[pond.pit] == height[pond.stations].min()
        assert pond.area_mm2 == pytest.approx(sum(map(shoelace, pond.shores)), rel=1e-9)
        assert 0 < pond.volume_mm3 <= pond.area_mm2 * pond.depth_mm


def test_water_around_an_island():
    """A rise in a hollow that stays dry is an island: its shore runs the other way."""
    x = np.arange(0, 700, 100.0)
    xy = np.array([(u, v) for v in x for u in x])
    ring = np.maximum(abs(xy[:, 0] - 300), abs(xy[:, 1] - 300)) / 100
    height = np.array([20.0, -10, -10, 0])[np.round(ring).astype(int)]
    triangles = Delaunay(xy).simplices.astype(np.int64)
    (pond,) = ponds(xy, height, triangles, ring == 3)
    outer, island = sorted(map(shoelace, pond.shores), reverse=True)
    at_rim = np.all(ring[triangles] == 3, axis=1)
    assert outer == pytest.approx(600**2 - at_rim.sum() * 100**2 / 2)
    assert island < 0
    assert pond.area_mm2 == pytest.approx(outer + island)


def test_only_what_surface_tension_does_not_hold():
    """A hollow just deeper than the water that stays anyway is a pond, one just less is none."""
    for depth, count in ((held_mm() + 0.001, 1), (held_mm() - 0.001, 0)):
        assert len(ponds(*hopper(1000, 1000, depth, 100))) == count
    assert len(ponds(*hopper(1000, 1000, 5, 100), deeper_mm=5)) == 0
    assert len(ponds(*hopper(1000, 1000, 5, 100), deeper_mm=4.999)) == 1


def test_a_floor_without_outlet_keeps_all():
    """Where no way leads to an outlet the pond is the whole floor and has no end."""
    xy, height, triangles, outlets = hopper(3000, 2000, 24, 500)
    (pond,) = ponds(xy, height, triangles, np.zeros_like(outlets))
    assert (pond.spill, pond.depth_mm, pond.volume_mm3) == (-1, np.inf, np.inf)
    assert pond.area_mm2 == pytest.approx(4000 * 3000)
    assert sum(map(shoelace, pond.shores)) == pytest.approx(4000 * 3000)
    assert len(pond.stations) == len(xy)


def test_pieces_drain_apart():
    """Of two floors that no triangle joins, only the one with an outlet drains."""
    xy, height, triangles, outlets = hopper(3000, 2000, 24, 500)
    both = np.vstack((xy, xy + np.array([9000, 0])))
    twice = np.concatenate((triangles, triangles + len(xy)))
    gone = np.concatenate((outlets, np.zeros_like(outlets)))
    kept, drained = ponds(both, np.tile(height, 2), twice, gone)
    assert (kept.depth_mm, drained.depth_mm) == (np.inf, 24)
    assert set(kept.stations.tolist()) == set(range(len(xy), 2 * len(xy)))


def test_a_station_off_the_triangles_is_no_pond():
    """A reading that no triangle reaches is no part of the floor that water stands on."""
    xy, height, triangles, outlets = hopper(1000, 1000, 0.5, 100)
    lone = np.vstack((xy, [5000.0, 5000.0]))
    assert ponds(lone, np.append(height, -3.0), triangles, np.append(outlets, False)) == ()


def test_no_triangles():
    """A floor without triangles has no pond and holds no water."""
    none = np.empty((0, 3), dtype=np.int64)
    xy, height = np.zeros((2, 2)), np.zeros(2)
    assert ponds(xy, height, none, np.array([True, False])) == ()
    assert flood(xy, height, none, 5.0).volume_mm3 == 0
