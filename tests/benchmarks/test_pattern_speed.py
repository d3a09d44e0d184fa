"""How fast 10,000 tiles are laid: pieces and joints, against shapely cutting the same tiles only.

Times are of the processor, of one run on one machine, the best of a few repeats in turn. Shapely
cuts in one call, compiled, and only the tiles that are not inside; it finds no joints and places
no tiles, so its time is a part of the work.
"""

import math
import time

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from flatcheck.bond import Pattern
from flatcheck.origin import best_origin
from flatcheck.pattern import lay, slivers
from flatcheck.room import Ring, Room, rectangle
from flatcheck.tile import Tile

REPEATS = 3

MOST_RATIO = 25
"""Placing, cutting and joints together, over cutting alone, and that compiled."""

SQUARE = rectangle(0, 0, 30_000, 30_000)
COLUMNS = tuple(
    rectangle(x, y, x + 400, y + 400, f"column {x} {y}")
    for x in range(2000, 29_000, 4000)
    for y in range(2000, 29_000, 4000)
)
ROUND = Ring(
    "round",
    tuple(
        (17_000 + 17_000 * math.cos(a), 17_000 + 17_000 * math.sin(a))
        for a in np.linspace(0, 2 * math.pi, 400, endpoint=False).tolist()
    ),
)
ROOMS = {"square": Room(SQUARE), "columns": Room(SQUARE, COLUMNS), "round": Room(ROUND)}
PATTERNS = {
    "aligned": Pattern(),
    "running bond": Pattern("running bond", 1 / 3),
    "diagonal": Pattern("diagonal"),
    "herringbone": Pattern("herringbone", rotation_deg=45),
    "plank": Pattern("plank", lengths_mm=(200, 300, 400), rotation_deg=17),
}


def best_of(*works):
    """The best time of each of several works, done in turn."""
    best = [np.inf] * len(works)
    for _ in range(REPEATS):
        for which, work in enumerate(works):
            start = time.process_time()
            work()
            best[which] = min(best[which], time.process_time() - start)
    return best


def compiled(floor, corners):
    """Every tile cut by shapely's compiled routines, those inside kept as they are."""
    tiles = shapely.polygons(corners)
    shapely.prepare(floor)
    inside = shapely.contains_properly(floor, tiles)
    return tiles[~inside], shapely.intersection(tiles[~inside], floor)


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", ROOMS)
def test_ten_thousand_tiles(name, pattern, capsys):
    """Some 10,000 tiles with their joints; a quick machine takes half a second: it is printed."""
    room, tile, how = ROOMS[name], Tile(297, 297, 3), PATTERNS[pattern]
    outline = shapely.Polygon(room.outline.corners_mm)
    floor = shapely.difference(outline, shapely.union_all([box(*_ends(c)) for c in room.cutouts]))
    laying = lay(room, tile, how)
    corners = laying.corners_mm[np.unique(laying.source, return_index=True)[1]]
    ours, theirs = best_of(lambda: lay(room, tile, how), lambda: compiled(floor, corners))
    with capsys.disabled():
        print(
            f"\n{name:8} {pattern:13} {len(corners):6} tiles, {len(laying.joints_mm):6} joints: "
            f"ours {ours:.3f} s, shapely's cuts alone {theirs:.3f} s; ratio {ours / theirs:.1f}"
        )
    assert ours < MOST_RATIO * theirs
    whole, left = map(shapely.area, compiled(floor, corners))
    assert np.count_nonzero(left < whole - 0.4) == pytest.approx(laying.cuts, abs=2)


@pytest.mark.parametrize("pattern", ["aligned", "running bond", "diagonal"])
def test_the_best_origin_against_laying_each(pattern, capsys):
    """To compare the origins takes less than half of the time to lay them all, one by one."""
    room, tile, how = Room(SQUARE, COLUMNS[:3]), Tile(897, 597, 3), PATTERNS[pattern]
    tried = 12 * 12 + 25

    def one_by_one():
        for _ in range(10):
            slivers(lay(room, tile, how))

    ours, ten = best_of(lambda: best_origin(room, tile, how), one_by_one)
    with capsys.disabled():
        print(f"\n{pattern:13} best origin {ours:.2f} s, one by one {ten / 10 * tried:.2f} s")
    assert ours < ten / 10 * tried / 2


def _ends(ring):
    corners = np.array(ring.corners_mm)
    return (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())
