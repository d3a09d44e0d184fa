"""Running water against planes, valleys and profiles, and lines of descent against their law."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from flatcheck.errors import SurveyError
from flatcheck.runoff import catchments, runs
from flatcheck.water import fill, sides


def rectangle(length, width, columns, rows, seed=None):
    """Stations on a rectangle and Delaunay triangles, those inside shaken when a seed is given."""
    x, y = np.meshgrid(np.linspace(0, length, columns), np.linspace(0, width, rows))
    xy = np.column_stack((x.ravel(), y.ravel()))
    if seed is not None:
        rng = np.random.default_rng(seed)
        inner = (xy > 0).all(axis=1) & (xy < (length, width)).all(axis=1)
        step = (length / (columns - 1), width / (rows - 1))
        xy[inner] += rng.uniform(-0.3, 0.3, (inner.sum(), 2)) * step
    return xy, Delaunay(xy).simplices.astype(np.int64)


def none_of(xy):
    return np.full(len(xy), -1)


def gradients(xy, height, triangles):
    """The gradient of each triangle, by a linear system for each."""
    corner, z = xy[triangles], height[triangles]
    legs = corner[:, 1:] - corner[:, :1]
    return np.linalg.solve(legs, (z[:, 1:] - z[:, :1])[..., None])[..., 0]


def shares_of(xy, triangles, place):
    """Barycentric coordinates of a place in all triangles, by a linear system for each."""
    corner = xy[triangles]
    legs = (corner[:, 1:] - corner[:, :1]).transpose(0, 2, 1)
    rest = np.linalg.solve(legs, (place - corner[:, 0])[..., None])[..., 0]
    return np.column_stack((1 - rest.sum(axis=1), rest))


@pytest.mark.parametrize("seed", [None, 1, 2])
@pytest.mark.parametrize(("a", "b"), [(0.02, 0.01), (-0.01, 0.003), (0.0, 0.015), (0.01, 0.01)])
def test_plane(a, b, seed):
    """On a plane water runs in one straight line down its gradient to a wall, then along it.

    It ends in the lowest corner of the room, or, where the plane is level along that wall, on it.
    """
    length, width = 4000, 3000
    xy, triangles = rectangle(length, width, 9, 8, seed)
    height = a * xy[:, 0] + b * xy[:, 1]
    starts = np.random.default_rng(0).uniform(0.05, 0.95, (20, 2)) * (length, width)
    for start, run in zip(starts, runs(xy, height, triangles, starts, none_of(xy)), strict=True):
        np.testing.assert_allclose(run.xy_mm[0], start, atol=1e-9)
        down = -np.array([a, b]) / math.hypot(a, b)
        with np.errstate(divide="ignore"):
            walls = np.concatenate(((0 - start) / down, ((length, width) - start) / down))
        reach = walls[walls > 0].min()
        foot = start + reach * down
        at_wall = int(np.argmin(np.hypot(*(run.xy_mm - foot).T)))
        np.testing.assert_allclose(run.xy_mm[at_wall], foot, atol=1e-6)
        way = run.xy_mm[: at_wall + 1] - start
        np.testing.assert_allclose(way @ [-down[1], down[0]], 0, atol=1e-6)
        assert run.drain == -1
        assert height[run.end] == pytest.approx(height.min(), abs=1e-12)
        if a and b:
            np.testing.assert_array_equal(run.xy_mm[-1], xy[run.end])


def test_valley():
    """Between two slopes water runs down its own slope to the valley, then along it to the drain.

    Both slopes fall 2 % to the line y = 0 and 1 % along it, so water comes to it where it has
    gone half as far along as across.
    """
    half, triangles = rectangle(6000, 4000, 13, 9)
    xy = half - np.array([0, 2000])
    height = 0.02 * np.abs(xy[:, 1]) - 0.01 * xy[:, 0]
    drains = np.where((xy == (6000, 0)).all(axis=1), 7, -1)
    starts = np.array([[330.0, 1234.0], [1100.0, -777.0]])
    for start, run in zip(starts, runs(xy, height, triangles, starts, drains), strict=True):
        meets = np.array([start[0] + abs(start[1]) / 2, 0])
        assert np.hypot(*(run.xy_mm - meets).T).min() < 1e-6
        after = run.xy_mm[run.xy_mm[:, 0] > meets[0] + 1e-6]
        np.testing.assert_allclose(after[:, 1], 0, atol=1e-9)
        assert run.drain == 7
        assert xy[run.end].tolist() == run.xy_mm[-1].tolist() == [6000, 0]


def test_an_edge_between_two_outlets_takes_water():
    """A line drain takes water anywhere between its stations; two point drains do not."""
    xy, triangles = rectangle(4000, 3000, 5, 4)
    height = -0.01 * xy[:, 0]
    wall = xy[:, 0] == 4000
    start = np.array([[500.0, 1300.0]])
    (run,) = runs(xy, height, triangles, start, np.where(wall, 3, -1))
    np.testing.assert_allclose(run.xy_mm[-1], [4000, 1300], atol=1e-9)
    assert run.drain == 3
    apart = np.where(wall, np.arange(len(xy)), -1)
    (run,) = runs(xy, height, triangles, start, apart)
    np.testing.assert_allclose(run.xy_mm[-2:], [[4000, 1300], [4000, 1000]], atol=1e-9)
    assert run.drain == run.end == int(np.flatnonzero((xy == (4000, 1000)).all(axis=1))[0])


def test_level_ground():
    """On a level floor water stays where it is without a drain, and finds one that there is."""
    xy, triangles = rectangle(4000, 3000, 5, 4)
    start = np.array([[1100.0, 1300.0]])
    (run,) = runs(xy, np.zeros(len(xy)), triangles, start, none_of(xy))
    np.testing.assert_allclose(run.xy_mm, start)
    assert run.drain == -1
    drains = np.where((xy == (4000, 3000)).all(axis=1), 0, -1)
    (run,) = runs(xy, np.zeros(len(xy)), triangles, start, drains)
    assert run.drain == 0
    assert run.xy_mm[-1].tolist() == [4000, 3000]


def test_off_level_ground_by_the_shortest_way():
    """On a level triangle between three drains water goes to the nearest of them."""
    xy, triangle = np.array([[0.0, 0], [1000, 0], [0, 1000]]), np.array([[0, 1, 2]])
    starts = np.array([[100.0, 100], [700, 100], [100, 700]])
    found = runs(xy, np.zeros(3), triangle, starts, np.array([4, 5, 6]))
    assert [run.drain for run in found] == [4, 5, 6]


def test_a_level_step_leads_on():
    """Over a landing between two slopes water goes on to the lower slope."""
    xy, triangles = rectangle(6000, 1000, 7, 2)
    height = np.interp(xy[:, 0], [0, 2000, 4000, 6000], [40, 20, 20, 0])
    (run,) = runs(xy, height, triangles, np.array([[300.0, 480.0]]), none_of(xy))
    assert height[run.end] == 0


def test_from_a_station():
    """A start on a station runs down from it; on the top of a cone, too."""
    xy, triangles = rectangle(4000, 4000, 5, 5)
    height = -np.hypot(*(xy - 2000).T) / 100
    (run,) = runs(xy, height, triangles, np.array([[2000.0, 2000.0]]), none_of(xy))
    assert run.xy_mm[0].tolist() == [2000, 2000]
    assert height[run.end] == height.min()


def test_start_off_the_floor():
    """A start on no triangle is refused by its number."""
    xy, triangles = rectangle(4000, 3000, 5, 4)
    starts = np.array([[10.0, 10.0], [4100.0, 20.0]])
    with pytest.raises(SurveyError, match=r"start 2 at \(4100, 20\) mm lies on no triangle"):
        runs(xy, np.zeros(len(xy)), triangles, starts, none_of(xy))
    with pytest.raises(SurveyError, match="start 1"):
        runs(xy, np.zeros(len(xy)), triangles[:0], starts, none_of(xy))
    assert runs(xy, np.zeros(len(xy)), triangles, starts[:0], none_of(xy)) == ()


KINDS = ["noise", "ties", "tilted ties", "last digits"]


def heights_of(kind, xy, rng):
    n = len(xy)
    if kind == "noise":
        return rng.normal(0, 3, n)
    if kind == "ties":
        return rng.integers(0, 3, n).astype(float)
    if kind == "tilted ties":
        return np.round(xy[:, 0] / 1500 + rng.normal(0, 0.4, n))
    return 1000 + rng.integers(0, 3, n) * 2.0**-43


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(KINDS), st.booleans())
def test_lines_of_steepest_descent(seed, kind, shaken):
    """Every step of every line is the steepest way down, on any surface, to a pit or a drain.

    Inside a triangle that is against its gradient; along an edge it is a valley: neither triangle
    beside it sheds water from it. Only over level ground may a line go another way, and it never
    rises. Where it ends in a pit no neighbor is lower.
    """
    rng = np.random.default_rng(seed)
    xy, triangles = rectangle(4000, 3000, 7, 6, seed if shaken else None)
    height = heights_of(kind, xy, rng)
    drains = np.where(rng.random(len(xy)) < 0.05, rng.integers(0, 2, len(xy)), -1)
    starts = rng.uniform(0.02, 0.98, (8, 2)) * (4000, 3000)
    slope = gradients(xy, height, triangles)
    edges = sides(triangles)[0]
    unit = max(np.ptp(height), 1e-300)
    for run in runs(xy, height, triangles, starts, drains):
        if drains[run.end] >= 0:
            assert run.drain == drains[run.end]
        else:
            assert run.drain == -1
            around = np.concatenate(
                (edges[edges[:, 0] == run.end, 1], edges[edges[:, 1] == run.end, 0])
            )
            assert np.all(height[around] >= height[run.end])
        before = np.inf
        for here, there in zip(run.xy_mm[:-1], run.xy_mm[1:], strict=True):
            step = there - here
            if np.hypot(*step) < 1e-3:
                continue
            share = shares_of(xy, triangles, (here + there) / 2)
            on = np.flatnonzero(share.min(axis=1) > -1e-9)
            z = float(np.sum(share[on[0]] * (height[triangles[on[0]]] - height.min())))
            assert z <= before + 1e-9 * unit
            before = z
            way = step / np.hypot(*step)
            fall = -slope[on] @ way
            steepest = np.hypot(*slope[on].T)
            if np.all(np.abs(fall) <= 1e-9 * unit):
                continue  # level ground
            if len(on) == 1 and share[on[0]].min() > 1e-9:
                assert fall[0] == pytest.approx(steepest[0], rel=1e-6)
                continue
            for t, f, s in zip(on, fall, steepest, strict=True):
                facing = int(np.argmin(share[t]))
                inside = xy[triangles[t, facing]] - here
                shed = -slope[t] @ (inside - (inside @ way) * way)
                assert f == pytest.approx(s, rel=1e-6) or shed <= 1e-9 * unit * 4000


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(KINDS))
def test_every_catchment(seed, kind):
    """Once ponds are full all water that a drain can be reached from is drained.

    Shares of the drains, and of the floor that has none, add up to 1; a pit is a pit.
    """
    rng = np.random.default_rng(seed)
    xy, triangles = rectangle(4000, 3000, 7, 6, seed)
    triangles = triangles[rng.random(len(triangles)) < 0.8]
    height = heights_of(kind, xy, rng)
    drains = np.where(rng.random(len(xy)) < 0.05, rng.integers(0, 3, len(xy)), -1)
    got = catchments(xy, height, triangles, drains)
    level = fill(height, sides(triangles)[0], drains >= 0).level_mm
    reached = np.isfinite(level[triangles]).all(axis=1)
    np.testing.assert_array_equal(got.drain >= 0, reached)
    assert sum(got.share(k) for k in range(-1, 3)) == pytest.approx(1)
    stops = got.pit[got.pit >= 0]
    assert np.all(drains[stops] == -1)
    straight = got.pit < 0
    assert np.all(got.drain[straight] >= 0)
    assert np.all(got.fills_mm[straight] == 0)
    assert np.all(got.fills_mm[~straight] >= level[got.pit[~straight]] - height[got.pit[~straight]])
    assert np.all(np.isinf(got.fills_mm) == (got.drain < 0))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 30), min_size=3, max_size=14, unique=True))
def test_a_gutter_with_two_drains(profile):
    """In a gutter water rests in the first dip, then spills over the lower of its two sides.

    The side is lower whose highest place on the way to its end is lower.
    """
    n = len(profile)
    xy, triangles = rectangle((n - 1) * 100, 100, n, 2)
    h = np.array(profile, dtype=float)
    height, drains = np.tile(h, 2), none_of(xy)
    drains[[0, n]], drains[[n - 1, 2 * n - 1]] = 0, 1
    got = catchments(xy, height, triangles, drains)
    for t, three in enumerate(triangles):
        left = int(min(three % n))
        at = left if h[left] < h[left + 1] else left + 1
        step = 1 if at > left else -1
        while 0 < at < n - 1 and h[at + step] < h[at]:
            at += step
        if at in (0, n - 1):
            assert (got.pit[t], got.drain[t]) == (-1, int(at > 0))
        else:
            assert got.pit[t] % n == at
            assert got.drain[t] == int(h[: at + 1].max() > h[at:].max())


@pytest.mark.parametrize(("east", "drain"), [(-30.0, 1), (-10.0, 0)])
def test_a_full_pond_spills_the_steepest_way(east, drain):
    """Over a saddle with a way down on both sides the water of a pond takes the steeper one."""
    #   dip (0) - saddle (1), from which drains lie north-east (2) and south-east (3)
    xy = np.array([[0.0, 0], [1000, 0], [2000, 1000], [2000, -1000], [0, 2000], [0, -2000]])
    height = np.array([-5.0, 0, -20, east, 50, 50])
    triangles = np.array([[0, 1, 4], [0, 5, 1], [1, 2, 4], [1, 3, 2], [1, 5, 3]])
    got = catchments(xy, height, triangles, np.array([-1, -1, 0, 1, -1, -1]))
    assert got.pit[:2].tolist() == [0, 0]
    assert got.drain[:2].tolist() == [drain, drain]


def test_a_hip_shares_the_floor():
    """A floor that falls to both ends from a ridge a third along gives each drain its side."""
    xy, triangles = rectangle(6000, 2000, 13, 5)
    height = -np.abs(xy[:, 0] - 2000) / 50
    drains = np.select([xy[:, 0] == 0, xy[:, 0] == 6000], [0, 1], -1)
    got = catchments(xy, height, triangles, drains)
    assert (got.share(0), got.share(1)) == pytest.approx((1 / 3, 2 / 3))
    assert got.share(-1) == 0
    assert np.all(got.pit == -1)


def test_no_drain_no_share():
    """Without a drain all of the floor drains to none."""
    xy, triangles = rectangle(6000, 2000, 7, 3)
    got = catchments(xy, -xy[:, 0], triangles, none_of(xy))
    assert got.share(-1) == 1
    assert set(xy[got.pit, 0]) == {6000}
