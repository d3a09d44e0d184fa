"""How fast water is found: a raster against scikit-image's compiled filler, lines against a limit.

All times are of one run on one machine, of the processor (both sides use one thread), the best of
a few repeats taken in turn, so that the ratios hold on a busy one. The raster is 1000 x 1000 cells
and drains at its rim, the corridors of the maze at their one mouth.
"""

import time

import numpy as np
import pytest
from basins import cell_edges, raster_level
from scipy.spatial import Delaunay
from skimage.morphology import reconstruction

from flatcheck.runoff import catchments, runs
from flatcheck.water import fill, ponds

REPEATS = 5


def floor(kind, rows=1000, n=1000):
    """Heights [mm] of the floors that differ most in the work that they make, and the outlets."""
    x, y = np.meshgrid(np.arange(n), np.arange(rows))
    rng = np.random.default_rng(0)
    slab = 3 * np.sin(x / 90) * np.cos(y / 70)
    outlets = np.zeros(x.shape, dtype=bool)
    outlets[[0, -1]] = outlets[:, [0, -1]] = True
    if kind == "smooth slab":
        return slab, outlets
    if kind == "noisy slab":
        return slab + rng.normal(0, 0.3, x.shape), outlets
    if kind == "whole mm":
        return np.round(slab + rng.normal(0, 0.3, x.shape)), outlets
    if kind == "white noise":
        return rng.normal(0, 1, x.shape), outlets
    if kind == "level":
        return np.zeros(x.shape), outlets
    if kind == "birdbaths":
        z = 0.02 * x + 0.005 * y
        for _ in range(60):
            away = (x - rng.uniform(0, n)) ** 2 + (y - rng.uniform(0, rows)) ** 2
            z -= rng.uniform(1, 6) * np.maximum(0, 1 - away / rng.uniform(10, 60) ** 2)
        return z, outlets
    # One corridor to and fro over the whole floor, a wall of one cell between its lanes.
    z = np.full(x.shape, 10.0)
    z[1:-1:2, 1:-1] = rng.random((len(range(1, rows - 1, 2)), n - 2))
    z[2:-2:4, n - 2] = z[4:-2:4, 1] = 0.5
    outlets[:] = False
    outlets[1, 1] = True
    return z, outlets


KINDS = ["smooth slab", "noisy slab", "whole mm", "white noise", "level", "birdbaths", "maze"]


def compiled(z, outlets, neighbors):
    around = np.ones((3, 3)) if neighbors == 8 else np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]])
    return reconstruction(np.where(outlets, z, z.max()), z, method="erosion", footprint=around)


def best_of(*works):
    """The best time of each of several works, done in turn."""
    best = [np.inf] * len(works)
    for _ in range(REPEATS):
        for which, work in enumerate(works):
            start = time.process_time()
            work()
            best[which] = min(best[which], time.process_time() - start)
    return best


@pytest.mark.parametrize("neighbors", [4, 8])
@pytest.mark.parametrize("kind", KINDS)
def test_at_most_four_times_the_compiled_filler(kind, neighbors, capsys):
    """A million cells fill to the same heights in at most 4 times scikit-image's time."""
    z, outlets = floor(kind)
    height, edges, gone = z.ravel(), cell_edges(z.shape, neighbors), outlets.ravel()
    ours, theirs = best_of(
        lambda: fill(height, edges, gone), lambda: compiled(z, outlets, neighbors)
    )
    with capsys.disabled():
        print(
            f"\n{kind:12} {neighbors} neighbors: ours {ours:.2f} s, scikit-image {theirs:.2f} s;"
            f" ratio {ours / theirs:.2f}"
        )
    np.testing.assert_array_equal(
        raster_level(z, outlets, neighbors), compiled(z, outlets, neighbors)
    )
    assert ours <= 4 * theirs


@pytest.mark.parametrize("kind", ["noisy slab", "white noise", "birdbaths", "maze"])
def test_time_grows_with_the_cells(kind, capsys):
    """Twice the rows take twice the time: less than 2.6 times, to allow for a busy machine."""
    half, whole = floor(kind, rows=500), floor(kind, rows=1000)
    small, large = (
        (z.ravel(), cell_edges(z.shape, 8), outlets.ravel()) for z, outlets in (half, whole)
    )
    ours = best_of(lambda: fill(*small), lambda: fill(*large))
    with capsys.disabled():
        print(f"\n{kind:12} 500 rows {ours[0]:.3f} s, 1000 rows {ours[1]:.3f} s")
    assert ours[1] < 2.6 * ours[0]


@pytest.mark.parametrize("kind", ["plane", "noise", "waves"])
def test_lines_on_a_surveyed_floor(kind, capsys):
    """On 2,000 triangles 200 lines of steepest descent take less than half a second."""
    rng = np.random.default_rng(0)
    xy = np.vstack((rng.uniform(0, 5000, (1004, 2)), [[0, 0], [5000, 0], [0, 5000], [5000, 5000]]))
    triangles = Delaunay(xy).simplices.astype(np.int64)
    assert len(triangles) >= 2000
    x, y = xy.T
    height = {
        "plane": -0.01 * x - 0.02 * y,
        "noise": -0.01 * x + rng.normal(0, 2, len(xy)),
        "waves": 5 * np.sin(x / 500) * np.cos(y / 600) - 0.002 * x,
    }[kind]
    drains = np.where(x > 4900, 0, -1)
    starts = rng.uniform(200, 4800, (200, 2))
    lines, shares, standing = best_of(
        lambda: runs(xy, height, triangles, starts, drains),
        lambda: catchments(xy, height, triangles, drains),
        lambda: ponds(xy, height, triangles, drains >= 0),
    )
    with capsys.disabled():
        print(
            f"\n{kind:6} {len(triangles)} triangles: 200 lines {lines:.3f} s,"
            f" catchments {shares:.3f} s, ponds {standing:.3f} s"
        )
    assert lines < 0.5
