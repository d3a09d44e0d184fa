"""A poured floor against a scan of heights, and pools in cones, wedges and bowls by formula."""

import math

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.pour import NoLevel, Pour, pour
from flatcheck.water import flood

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def fan(sides: int, radius_mm: float, rim_mm: float) -> tuple[Floats, Floats, Ints]:
    """A funnel of flat triangles: a regular polygon at height `rim_mm`, its middle at 0."""
    turn = 2 * np.pi * np.arange(sides) / sides
    xy = np.vstack(([0.0, 0.0], radius_mm * np.column_stack((np.cos(turn), np.sin(turn)))))
    z = np.concatenate(([0.0], np.full(sides, rim_mm)))
    corner = np.arange(sides)
    triangles = np.column_stack((np.zeros(sides, int), 1 + corner, 1 + (corner + 1) % sides))
    return xy, z, triangles


def mesh(side_mm: float, cells: int) -> tuple[Floats, Ints]:
    """A square about the origin, each cell cut into two triangles."""
    tick = np.linspace(-side_mm / 2, side_mm / 2, cells + 1)
    xy = np.stack(np.meshgrid(tick, tick), axis=-1).reshape(-1, 2)
    corner = (np.arange(cells) + (cells + 1) * np.arange(cells)[:, None]).ravel()
    up = corner + cells + 1
    one, other = (corner, corner + 1, up + 1), (corner, up + 1, up)
    return xy, np.concatenate((np.column_stack(one), np.column_stack(other)))


@pytest.mark.parametrize("level", [-2.0, 0.0, 1e-3, 3.0, 11.9, 12.0, 20.0])
@pytest.mark.parametrize("sides", [3, 7, 90])
def test_cone(sides: int, level: float) -> None:
    """A funnel holds a third of its rim's area times its depth, scaled with the cube of the level.

    Above its rim of height h and area A it holds A (level - 2h/3).
    """
    xy, z, triangles = fan(sides, 900.0, 12.0)
    area = sides / 2 * 900.0**2 * math.sin(2 * math.pi / sides)
    share = min(max(level / 12.0, 0.0), 1.0)
    want = area * share**2 * (share * 12.0) / 3 + area * max(level - 12.0, 0.0)
    assert flood(xy, z, triangles, level).volume_mm3 == pytest.approx(want, rel=1e-12, abs=1e-6)


@pytest.mark.parametrize("level", [0.5, 4.0, 9.99, 10.0])
@pytest.mark.parametrize("turn", [0.0, 0.3, 2.0])
def test_cone_upside_down(turn: float, level: float) -> None:
    """Around a peak of height h over area A a level leaves dry a cone: A (level - h/3 + dry)."""
    xy, z, triangles = fan(60, 500.0, -10.0)
    z, level = z + 10.0, level
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    area = 30 * 500.0**2 * math.sin(math.pi / 30)
    dry = (1 - level / 10.0) ** 3 * 10.0 / 3
    want = area * (level - 10.0 / 3 + dry)
    assert flood(xy @ rotation.T, z, triangles, level).volume_mm3 == pytest.approx(want, rel=1e-11)


@pytest.mark.parametrize("level", [0.7, 5.0, 13.3])
@pytest.mark.parametrize("cells", [1, 7])
def test_wedge(cells: int, level: float) -> None:
    """On a plane that falls along one side the pool is a wedge: width · level² / (2 · fall)."""
    xy, triangles = mesh(1400.0, cells)
    fall = 0.01
    z = (xy[:, 0] + 700.0) * fall
    assert flood(xy, z, triangles, level).volume_mm3 == pytest.approx(1400 * level**2 / (2 * fall))


def test_bowl() -> None:
    """In a bowl z = c r² a pool holds π level² / (2c); chords lie above it, by c step²/2 at most.

    Twice as fine a mesh is four times as near.
    """
    c, level = 4e-5, 9.0
    want = math.pi * level**2 / (2 * c)
    short = []
    for cells in (40, 80, 160):
        xy, triangles = mesh(1200.0, cells)
        missing = want - flood(xy, c * (xy**2).sum(axis=1), triangles, level).volume_mm3
        assert 0 <= missing <= c * (1200.0 / cells) ** 2 / 2 * math.pi * level / c
        short.append(missing)
    assert short[0] / short[1] == pytest.approx(4, rel=0.05)
    assert short[1] / short[2] == pytest.approx(4, rel=0.05)


def scan(
    z: Floats,
    area: Floats,
    costs: tuple[float, float],
    least: float,
    most_grind: Floats,
    most: float,
    highest: float,
) -> tuple[float, float] | None:
    """The cheapest of many heights tried one by one, told station by station, and its cost."""
    best = None
    fine = np.linspace(z.min() - 1, z.max() + least + 1, 2001)
    corners = (z + least, z - most_grind + least, [z.min() + most, highest])
    levels = np.unique(np.concatenate((fine, *corners)))
    for level in levels[np.isfinite(levels)]:
        cost, fine_with = 0.0, level <= highest + 1e-12
        for height, floor, limit in zip(z, area, most_grind, strict=True):
            ground = max(height - (level - least), 0.0)
            thick = level - (height - ground)
            fine_with &= ground <= limit + 1e-12 and thick <= most + 1e-12
            cost += floor * (costs[0] * thick + costs[1] * ground)
        if fine_with and (best is None or cost < best[1]):
            best = (level, cost)
    return best


@pytest.mark.parametrize("seed", range(30))
def test_cheapest_of_all_heights(seed: int) -> None:
    """No height of a fine scan that keeps every bound costs less, and none is kept where none can.

    The scan holds every corner of the cost, so that it finds the very same height.
    """
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 25))
    z, area = rng.normal(0, 4, n), rng.uniform(1, 9, n)
    costs = (float(rng.uniform(0.2, 2)), float(rng.uniform(0.2, 4)))
    most_grind = np.where(rng.random(n) < 0.3, rng.uniform(0, 4, n), np.inf)
    lift, lifts = float(rng.uniform(6, 12)), int(rng.integers(1, 4))
    highest = float(rng.uniform(2, 20))
    found = pour(z, area, *costs, 3.0, most_grind, lift, lifts, highest)
    want = scan(z, area, costs, 3.0, most_grind, lift * lifts, highest)
    if want is None:
        assert isinstance(found, NoLevel)
        return
    assert isinstance(found, Pour)
    assert found.level_mm == pytest.approx(want[0])
    assert found.cost == pytest.approx(want[1])
    assert found.thick_mm == pytest.approx(found.level_mm - z + found.grind_mm)
