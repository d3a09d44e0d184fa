"""Cutting rectangles to a floor: convex cells, what of each rectangle lies in them, its outlines.

The floor is sliced at the height of every corner and crossing of its lines. Between two slices no
lines meet, so what is floor there is a row of *cells*, trapezoids with two level sides; each bears
the number of the plane that it lies on. A rectangle with level sides meets a cell in a convex
*part* of up to six corners, for all rectangles at once. Parts that meet along a slice are joined.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SLICE_MM = 1e-3
"""Corners and lines less apart than this are one [mm]."""

ON_MM = 1e-6
"""A corner this near to a line lies on it: rounding, on floors of up to a kilometer [mm]."""

SAME_MM = 1e-4
"""Corners of two parts less apart than this are one corner [mm]."""

CORNERS = 6
"""A rectangle cut by two lines has no more."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Trapezoids between `low` and `high` (c,); `left`, `right` (c, 2) are x there [mm].

    `plane` (c,) is the number of the plane that each lies on, -1 for none.
    """

    low: Floats
    high: Floats
    left: Floats
    right: Floats
    plane: Ints


@dataclass(frozen=True, eq=False)
class Parts:
    """Convex pieces of rectangles: `box` (p,) of which, `plane` (p,), `corners` (p, 6, 2) [mm].

    Where there are fewer corners the first is said again. `whole` (n,) tells the rectangles that
    lie on one plane entirely; these have no parts.
    """

    box: Ints
    plane: Ints
    corners: Floats
    whole: Mask


def cells(
    must: Sequence[Floats],
    never: Sequence[Floats],
    planes: Sequence[Floats] = (),
    planed: Sequence[Floats] = (),
) -> Cells:
    """The cells of what lies inside all rings of `must` and none of `never`, each (k, 2) [mm].

    `planes` are the rings of planes. Inside `planed` only planes are floor.
    """
    rings = [*must, *never, *planes, *planed]
    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    ring = np.repeat(np.arange(len(rings)), [len(corners) for corners in rings])
    bounds = np.cumsum([0, len(must), len(never), len(planes), len(planed)]).tolist()
    inside, outside, plane_of, planed_of = (slice(a, b) for a, b in pairwise(bounds))
    floor = np.concatenate(list(must))
    levels = _levels(start, end, float(floor[:, 1].min()), float(floor[:, 1].max()))
    rows: list[tuple[float, float, float, float, float, float, int]] = []
    for low, high in pairwise(levels.tolist()):
        middle = (low + high) / 2
        spans = (start[:, 1] > middle) != (end[:, 1] > middle)
        a, b = start[spans], end[spans]
        x0, xm, x1 = (
            a[:, 0] + (b - a)[:, 0] * ((y - a[:, 1]) / (b - a)[:, 1]) for y in (low, middle, high)
        )
        order = np.argsort(xm, kind="stable")
        x0, x1 = x0[order], x1[order]
        crossed = np.zeros((len(order), len(rings)), dtype=np.int64)
        crossed[np.arange(len(order)), ring[spans][order]] = 1
        within = np.cumsum(crossed, axis=0) % 2 == 1
        on = np.where(within[:, plane_of].any(axis=1), _first(within[:, plane_of]), -1)
        held = within[:, inside].all(axis=1) & ~within[:, outside].any(axis=1)
        held &= (on >= 0) | ~within[:, planed_of].any(axis=1)
        wide = np.maximum(np.diff(x0, append=0.0), np.diff(x1, append=0.0)) > SLICE_MM
        last: int | None = None
        for k in range(len(order) - 1):
            if not wide[k]:
                continue
            here = int(on[k])
            if not held[k]:
                last = None
            elif last == here:
                rows[-1] = (*rows[-1][:4], float(x0[k + 1]), float(x1[k + 1]), here)
            else:
                ends = float(x0[k]), float(x1[k]), float(x0[k + 1]), float(x1[k + 1])
                rows.append((low, high, *ends, here))
                last = here
    table = np.array([row[:6] for row in rows], dtype=float).reshape(-1, 6)
    plane = np.array([row[6] for row in rows], dtype=np.int64)
    return Cells(table[:, 0], table[:, 1], table[:, 2:4], table[:, 4:6], plane)


def _first(within: Mask) -> Ints:
    return within.argmax(axis=1) if within.shape[1] else np.zeros(len(within), dtype=np.int64)


def _levels(start: Floats, end: Floats, low: float, high: float) -> Floats:
    """The heights of all corners and crossings of lines from `low` to `high`, in order."""
    along = end - start
    # The crossing of lines i and j is start i + t along i; parallel lines cross nowhere, nor do
    # those that would only where no number reaches.
    turn = along[:, None, 0] * along[None, :, 1] - along[:, None, 1] * along[None, :, 0]
    away = start[None] - start[:, None]
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        t = (away[..., 0] * along[None, :, 1] - away[..., 1] * along[None, :, 0]) / turn
        s = (away[..., 0] * along[:, None, 1] - away[..., 1] * along[:, None, 0]) / turn
        met = (t > 0) & (t < 1) & (s > 0) & (s < 1)
        heights = (start[:, None, 1] + t * along[:, None, 1])[met]
    levels = np.sort(np.concatenate((start[:, 1], heights)))
    levels = levels[(levels >= low) & (levels <= high)]
    kept: Floats = levels[np.diff(levels, prepend=-np.inf) > SLICE_MM]
    return kept


def cut(boxes: Floats, floor: Cells) -> Parts:
    """What of rectangles (n, 4), each west, south, east, north [mm], lies in the cells."""
    found: list[tuple[Ints, int, Floats]] = []
    for low, high, left, right, plane in zip(
        floor.low, floor.high, floor.left, floor.right, floor.plane, strict=True
    ):
        west, south, east, north = boxes.T
        near = (south < high - ON_MM) & (north > low + ON_MM)
        near &= (west < right.max() - ON_MM) & (east > left.min() + ON_MM)
        index = np.flatnonzero(near)
        west, south, east, north = boxes[index].T
        south, north = np.maximum(south, low), np.minimum(north, high)
        x = np.stack((west, east, east, west), axis=1)
        level = np.stack((x, np.stack((south, south, north, north), axis=1)), axis=2)
        corners = level[:, [0, 1, 2, 3, 0, 0]]
        meets = (west < left.max()) | (east > right.min())
        if meets.any():
            corners[meets] = _clipped(
                _clipped(level[meets], low, high, left, 1.0), low, high, right, -1.0
            )
        found.append((index, int(plane), corners))
    box = np.concatenate([index for index, _, _ in found]) if found else np.empty(0, np.int64)
    of = np.repeat([plane for _, plane, _ in found], [len(index) for index, _, _ in found])
    corners = np.concatenate([c for _, _, c in found]) if found else np.empty((0, CORNERS, 2))
    size = areas(corners)
    # What is left of a part that only touches is no part.
    real = size > ON_MM * np.ptp(corners, axis=1).max(axis=1, initial=0.0)
    box, of, corners, size = box[real], of[real].astype(np.int64), corners[real], size[real]
    order = np.lexsort((of, box))
    box, of, corners, size = box[order], of[order], corners[order], size[order]
    wide, deep = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    first = _starts(box, of)
    group = np.add.reduceat(size, first) if len(size) else size
    entire = group > (wide * deep - SLICE_MM * np.maximum(wide, deep))[box[first]]
    whole = np.zeros(len(boxes), dtype=bool)
    whole[box[first][entire]] = True
    some = ~whole[box]
    return Parts(box[some], of[some], corners[some], whole)


def groups(parts: Parts) -> Ints:
    """Where the parts of each rectangle on each plane start; they lie one after another."""
    return _starts(parts.box, parts.plane)


def _starts(box: Ints, plane: Ints) -> Ints:
    change = (np.diff(box, prepend=-1) != 0) | (np.diff(plane, prepend=-2) != 0)
    return np.flatnonzero(change)


def areas(corners: Floats) -> Floats:
    """The area inside each of n outlines (n, k, 2) [mm²]."""
    x, y = np.moveaxis(corners - corners[:, :1], 2, 0)
    doubled = (x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1)
    result: Floats = doubled / 2
    return result


def _clipped(corners: Floats, low: float, high: float, ends: Floats, side: float) -> Floats:
    """Convex outlines (n, k, 2) cut by the line from (ends[0], low) to (ends[1], high).

    Kept is what lies to its right where `side` is 1, to its left where it is -1; (n, k + 1, 2).
    """
    count, k = corners.shape[:2]
    along = np.array([ends[1] - ends[0], high - low])
    along /= np.hypot(*along)
    off = side * ((corners[..., 0] - ends[0]) * along[1] - (corners[..., 1] - low) * along[0])
    off[np.abs(off) < ON_MM] = 0.0
    off_next = np.roll(off, -1, axis=1)
    crosses = off * off_next < 0
    share = np.divide(off, off - off_next, out=np.zeros_like(off), where=crosses)
    meets = corners + share[..., None] * (np.roll(corners, -1, axis=1) - corners)
    both = np.stack((corners, meets), axis=2).reshape(count, 2 * k, 2)
    kept = np.stack((off >= 0, crosses), axis=2).reshape(count, 2 * k)
    order = np.argsort(~kept, axis=1, kind="stable")[:, : k + 1]
    chosen = np.take_along_axis(both, order[..., None], axis=1)
    blank = ~np.take_along_axis(kept, order, axis=1)
    result: Floats = np.where(blank[..., None], chosen[:, :1], chosen)
    return result


def outlines(corners: Floats) -> list[Floats]:
    """The outlines of what convex parts (p, k, 2) with level seams make together.

    Counter-clockwise, without corners where a side only goes straight on. A hole is joined to the
    outline around it by a slit, so that each piece is one line.
    """
    if len(corners) == 1:
        ring = corners[0]
        apart = np.abs(ring - ring[np.arange(len(ring)) - 1]).max(axis=1) > SAME_MM
        return [_straightened(ring[apart])]
    loops = [_straightened(loop) for loop in _loops(_sides(corners))]
    outer = [loop for loop in loops if len(loop) > 2 and areas(loop[None])[0] > 0]
    holes = [loop for loop in loops if len(loop) > 2 and areas(loop[None])[0] < 0]
    for hole in sorted(holes, key=lambda loop: float(loop[:, 0].min())):
        outer = _slit(outer, hole)
    return outer


def _sides(corners: Floats) -> list[tuple[int, int, Floats, Floats]]:
    """Sides of the parts that no other part lies behind: two numbers and two places each."""
    known: dict[tuple[int, int], int] = {}
    places: list[tuple[float, float]] = []

    def number(x: float, y: float) -> int:
        a, b = round(x / SAME_MM), round(y / SAME_MM)
        for i in (0, -1, 1):
            for j in (0, -1, 1):
                if (a + i, b + j) in known:
                    return known[a + i, b + j]
        known[a, b] = len(places)
        places.append((x, y))
        return known[a, b]

    rings = [[number(x, y) for x, y in part] for part in corners.tolist()]
    level: dict[int, list[int]] = {}
    for n, (_, y) in enumerate(places):
        level.setdefault(round(y / SAME_MM), []).append(n)
    left: set[tuple[int, int]] = set()
    for ring in rings:
        for a, b in pairwise([*ring, ring[0]]):
            if a == b:
                continue
            (xa, ya), (xb, yb) = places[a], places[b]
            way = [a, b]
            if abs(ya - yb) < SAME_MM:
                row = round(ya / SAME_MM)
                between = [
                    n
                    for near in (row - 1, row, row + 1)
                    for n in level.get(near, ())
                    if min(xa, xb) < places[n][0] < max(xa, xb) and n not in (a, b)
                ]
                way = [a, *sorted(between, key=lambda n: places[n][0], reverse=xb < xa), b]
            for p, q in pairwise(way):
                if (q, p) in left:
                    left.remove((q, p))
                else:
                    left.add((p, q))
    at = np.array(places)
    return [(p, q, at[p], at[q]) for p, q in sorted(left)]


def _loops(sides: list[tuple[int, int, Floats, Floats]]) -> list[Floats]:
    """Sides joined to closed lines; where two lines touch, each turns left to stay simple."""
    onward: dict[int, list[tuple[int, Floats, Floats]]] = {}
    for p, q, a, b in sides:
        onward.setdefault(p, []).append((q, a, b))
    loops = []
    while onward:
        first = at = next(iter(onward))
        loop: list[Floats] = []
        came = np.zeros(2)
        while at in onward:
            ways = onward[at]
            pick = max(range(len(ways)), key=lambda k: _turn(came, ways[k][2] - ways[k][1]))
            onto, a, b = ways.pop(pick)
            if not ways:
                del onward[at]
            loop.append(a)
            at, came = onto, b - a
            if at == first:
                break
        loops.append(np.array(loop))
    return loops


def _turn(came: Floats, goes: Floats) -> float:
    """How far to the left a way turns [radians]."""
    across = float(came[0] * goes[1] - came[1] * goes[0])
    return math.atan2(across, float(came @ goes))


def _straightened(loop: Floats) -> Floats:
    """A closed line without corners that lie on the line between their neighbors."""
    turn = np.arange(len(loop))
    before, after = loop - loop[turn - 1], loop[(turn + 1) % len(loop)] - loop
    across = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    chord = np.hypot(*(before + after).T)
    bends = across > SAME_MM * np.maximum(chord, SAME_MM)
    kept: Floats = loop[bends]
    return kept


def _slit(outer: list[Floats], hole: Floats) -> list[Floats]:
    """The outlines with a hole joined to the one around it, west from its westmost corner."""
    k = int(np.argmin(hole[:, 0]))
    x, y = hole[k]
    best: tuple[float, int, int] | None = None
    for n, loop in enumerate(outer):
        after = np.roll(loop, -1, axis=0)
        spans = (loop[:, 1] > y) != (after[:, 1] > y)
        for i in np.flatnonzero(spans).tolist():
            share = (y - loop[i, 1]) / (after[i, 1] - loop[i, 1])
            at = float(loop[i, 0] + share * (after[i, 0] - loop[i, 0]))
            if at <= x + SAME_MM and (best is None or at > best[0]):
                best = at, n, i
    if best is None:
        raise ValueError("a hole lies in none of the outlines")
    at, n, i = best
    meets = np.array([[at, y]])
    around = np.concatenate((np.roll(hole, -k, axis=0), hole[k : k + 1]))
    joined = np.concatenate((outer[n][: i + 1], meets, around, meets, outer[n][i + 1 :]))
    return [*outer[:n], joined, *outer[n + 1 :]]
