"""Where water runs: lines of steepest descent, what drains where, and arrows on a scan.

On plane triangles water runs straight down each triangle and along the edges that both sides run
into. All is decided by signs that belong to a triangle or an edge, not by how near a line comes.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.water import fill, sides

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STRAY = 1e-9
"""A place this share of a triangle outside it, or this near to a corner, lies on it."""


@dataclass(frozen=True, eq=False)
class Run:
    """The way of water from one place: a line (m, 2) [mm], downhill.

    `drain` is the label of the drain that it reaches, -1 where it ends in a pit; `end` is the
    station there. A line that ends on level ground or between two outlets of one drain ends beside
    that station.
    """

    xy_mm: Floats
    drain: int
    end: int


def runs(
    xy: Floats, height: Floats, triangles: Ints, starts: Floats, drains: Ints
) -> tuple[Run, ...]:
    """Which way does water run from each of `starts` (k, 2) [mm], and where does it end?

    The surface is of plane triangles (t, 3) between stations xy (n, 2) of `height` (n,) [mm].
    `drains` (n,) is -1, or the label of the drain that takes water at the station; water coming to
    an edge between two stations of one drain is gone too. Lines of steepest descent, exact on each
    triangle. Along a wall water runs as along a valley. Over exactly level ground it goes the
    shortest way along stations to one that leads down. No pond is filled: a pit ends a line.

    Raises SurveyError naming a start that lies on no triangle.
    """
    land = _land(xy, height, triangles, drains)
    found = []
    for number, start in enumerate(starts):
        share = land.shares(start)
        best = int(np.argmax(share.min(axis=1))) if len(share) else -1
        if best < 0 or share[best].min() < -STRAY:
            raise SurveyError(
                say(
                    "start {number} at ({x:g}, {y:g}) mm lies on no triangle between "
                    "readings; choose a place among them.",
                    number=number + 1,
                    x=start[0],
                    y=start[1],
                )
            )
        corner = int(triangles[best, np.argmax(share[best])])
        if share[best].max() > 1 - STRAY:
            way = list(_descent(land, corner))
        else:
            way = list(_descent(land, -1, best, np.maximum(share[best], 0).tolist()))
        line = np.array([[x, y] for x, y, _ in way])
        moved = np.any(np.diff(line, axis=0, prepend=np.nan) != 0, axis=1)
        end = way[-1][2]
        found.append(Run(line[moved], int(drains[end]), end))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Catchments:
    """Where the water of every one of t triangles goes.

    `area_mm2` (t,) is of the triangles. `pit` (t,) is the station where water first comes to rest,
    -1 where it runs all the way: what a pond there keeps before it is full. `drain` (t,) is the
    label of the drain that takes it once all ponds are full and overflow, -1 where none does.
    `fills_mm` (t,) is the depth of the deepest pond that it fills on its way, 0 where it runs all
    the way.
    """

    area_mm2: Floats
    pit: Ints
    drain: Ints
    fills_mm: Floats

    def share(self, drain: int, deepest_mm: float = math.inf) -> float:
        """The share of the floor that drains to `drain` past ponds up to so deep; -1: to none.

        Once ponds are full that is past all of them.
        """
        mine = (self.drain == drain) & (self.fills_mm <= deepest_mm)
        return float(self.area_mm2[mine].sum() / self.area_mm2.sum())


def catchments(xy: Floats, height: Floats, triangles: Ints, drains: Ints) -> Catchments:
    """Which part of the floor drains to which drain, and which to none?

    Arguments as for `runs`. By triangles: each goes whole the way that water takes from its
    middle, so borders are as exact as the triangles are small. A full pond spills over its lowest
    pass, as in `water.fill`, and from there down the steepest edge that does not lead back.
    """
    land = _land(xy, height, triangles, drains)
    ends: dict[int, int] = {}

    def end_of(way: Iterator[tuple[float, float, int]]) -> int:
        passed = []
        station = -1
        for _, _, station in way:
            if station in ends:
                break
            if station >= 0:
                passed.append(station)
        end = ends.get(station, station)
        ends.update(dict.fromkeys(passed, end))
        return end

    middle = (1 / 3, 1 / 3, 1 / 3)
    end = np.array(
        [end_of(_descent(land, -1, t, middle)) for t in range(len(triangles))], dtype=np.int64
    )
    filled = fill(height, land.edges, drains >= 0)
    order = np.argsort(height, kind="stable")
    rank = np.empty(len(height), np.int64)
    rank[order] = np.arange(len(height))
    top = np.where(filled.spill < 0, len(height), rank[filled.spill])
    around: dict[int, list[int]] = {}
    for i, j in land.edges.tolist():
        around.setdefault(i, []).append(j)
        around.setdefault(j, []).append(i)
    deep = (filled.level_mm - height).tolist()
    taken: dict[int, tuple[int, float]] = {}
    for pit in np.unique(end).tolist():
        at, fills = pit, 0.0
        while drains[at] < 0:
            fills = max(fills, deep[at])
            over = int(filled.spill[at])
            if over < 0:
                break
            if drains[over] >= 0:
                at = over
                break
            onward = [j for j in around[over] if top[j] < rank[over]]
            fall = [(height[over] - height[j]) / math.dist(xy[over], xy[j]) for j in onward]
            down = onward[int(np.argmax(fall))]
            at = end_of(_descent(land, down))
            # Over exactly level ground a line may lead back; the way that was filled does not.
            if top[at] >= rank[over]:
                at = down
        taken[pit] = int(drains[at]), fills
    drain = np.array([taken[pit][0] for pit in end.tolist()], dtype=np.int64)
    fill_mm = np.array([taken[pit][1] for pit in end.tolist()])
    a, b, c = (xy[triangles[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return Catchments(np.abs(doubled) / 2, np.where(drains[end] < 0, end, -1), drain, fill_mm)


@dataclass(frozen=True, eq=False)
class _Land:
    """What a line of steepest descent asks of a surface, as lists, which are quick to look up.

    Shares are barycentric: of a place in a triangle at its three corners. `rate` is how they
    change on the way down, all 0 on a level triangle. `beside` are the triangles along each edge,
    one at a wall. From a station water goes over the triangle `over` to the edge facing it, or
    along an edge to the station `to`, or (both -1) nowhere. `off` is the distance over level
    ground to a station that leads down, inf where there is none.
    """

    xy: list[list[float]]
    height: list[float]
    corners: list[list[int]]
    edges: Ints
    facing: list[list[int]]
    beside: list[list[int]]
    rate: list[list[float]]
    drains: list[int]
    over: list[int]
    to: list[int]
    off: list[float]
    origin: Floats
    slopes: Floats

    def shares(self, place: Floats) -> Floats:
        """The shares of a place in every triangle (t, 3); one is negative where it is outside."""
        from_corner = place - self.origin
        shares: Floats = np.einsum("tkd,td->tk", self.slopes, from_corner)
        shares[:, 0] += 1
        return shares


def _land(xy: Floats, height: Floats, triangles: Ints, drains: Ints) -> _Land:
    n = len(height)
    edges, facing = sides(triangles)
    corner = xy[triangles]
    along = corner[:, [2, 0, 1]] - corner[:, [1, 2, 0]]
    doubled = along[:, 2, 0] * along[:, 0, 1] - along[:, 2, 1] * along[:, 0, 0]
    slopes = np.stack((-along[..., 1], along[..., 0]), axis=2) / doubled[:, None, None]
    z = height[triangles]
    gradient = np.einsum("tk,tkd->td", z - z[:, :1], slopes)
    rate = -np.einsum("tkd,td->tk", slopes, gradient)
    rate[np.all(z == z[:, :1], axis=1)] = 0

    # The steepest way down from each station: along an edge, or down the middle of a triangle.
    i, j = np.concatenate((edges, edges[:, ::-1])).T
    length = np.hypot(*(xy[i] - xy[j]).T)
    fall = (height[i] - height[j]) / length
    inward = (np.roll(rate, -1, axis=1) > 0) & (np.roll(rate, 1, axis=1) > 0)
    t, k = np.nonzero(inward)
    station = np.concatenate((i, triangles[t, k]))
    steep = np.concatenate((fall, np.hypot(*gradient[t].T)))
    to = np.concatenate((j, np.full(len(t), -1)))
    over = np.concatenate((np.full(len(i), -1), t))
    steepest = np.lexsort((steep, station))
    steepest = steepest[steep[steepest] > 0]
    best_to, best_over = np.full((2, n), -1)
    best_to[station[steepest]], best_over[station[steepest]] = to[steepest], over[steepest]

    leads = (drains >= 0) | (best_to >= 0) | (best_over >= 0)
    level = fall == 0
    ground = coo_array((length[level], (i[level], j[level])), shape=(n, n)).tocsr()
    off, before, _ = (
        dijkstra(ground, indices=np.flatnonzero(leads), min_only=True, return_predecessors=True)
        if leads.any()
        else (np.full(n, np.inf), np.full(n, -1), None)
    )
    best_to = np.where(leads, best_to, np.maximum(before, -1))

    beside: list[list[int]] = [[] for _ in range(len(edges))]
    for triangle, three in enumerate(facing.tolist()):
        for edge in three:
            beside[edge].append(triangle)
    return _Land(
        xy.tolist(),
        height.tolist(),
        triangles.tolist(),
        edges,
        facing.tolist(),
        beside,
        rate.tolist(),
        drains.tolist(),
        best_over.tolist(),
        best_to.tolist(),
        off.tolist(),
        corner[:, 0],
        slopes,
    )


def _descent(
    land: _Land, station: int, triangle: int = -1, share: Sequence[float] = ()
) -> Iterator[tuple[float, float, int]]:
    """The way down from a station, or (-1) from a place in a triangle: its turns x, y, station.

    The station is -1 at a turn that is not at one; the last turn always names where the way ends.
    """
    seen: set[int] = set()
    crossed: dict[int, float] = {}
    if station < 0:
        x, y = _blend(land, land.corners[triangle], share)
        yield x, y, -1
    while True:
        if station >= 0:
            x, y = land.xy[station]
            yield x, y, station
            # Were rounding to lead back to a station, or up an edge (below), it is not for ever.
            if land.drains[station] >= 0 or station in seen:
                return
            seen.add(station)
            triangle = land.over[station]
            if triangle < 0:
                station = land.to[station]
                if station < 0:
                    return
                continue
            share = [float(corner == station) for corner in land.corners[triangle]]
        corners, rate = land.corners[triangle], land.rate[triangle]
        if not any(rate):
            station = _off_level(land, corners, x, y)
            if station < 0:
                yield x, y, min(corners)
                return
            continue
        time, k = min((share[k] / -rate[k], k) for k in range(3) if rate[k] < 0)
        i, j = corners[k - 2], corners[k - 1]
        to_i, to_j = (max(share[c] + time * rate[c], 0.0) for c in (k - 2, k - 1))
        part = to_j / (to_i + to_j)
        if part in (0, 1):
            station = (i, j)[int(part)]
            continue
        station = -1
        x, y = _blend(land, (i, j), (1 - part, part))
        yield x, y, -1
        edge = land.facing[triangle][k]
        if land.drains[i] == land.drains[j] >= 0:
            yield x, y, i
            return
        z = land.height[i] * (1 - part) + land.height[j] * part
        beyond = [t for t in land.beside[edge] if t != triangle]
        if beyond and z < crossed.get(edge, math.inf):
            crossed[edge] = z
            facing = land.facing[beyond[0]].index(edge)
            if land.rate[beyond[0]][facing] > 0:
                triangle = beyond[0]
                here = {i: 1 - part, j: part}
                share = [here.get(corner, 0.0) for corner in land.corners[triangle]]
                continue
        if land.height[i] != land.height[j]:
            station = min(i, j, key=land.height.__getitem__)
            continue
        station = _off_level(land, (i, j), x, y)
        if station < 0:
            yield x, y, min(i, j)
            return


def _blend(land: _Land, stations: Sequence[int], share: Sequence[float]) -> tuple[float, float]:
    """The place that has these shares of stations."""
    x = y = 0.0
    for station, part in zip(stations, share, strict=True):
        x += part * land.xy[station][0]
        y += part * land.xy[station][1]
    return x, y


def _off_level(land: _Land, stations: Sequence[int], x: float, y: float) -> int:
    """Of stations on level ground the nearest way off it, -1 where there is none."""
    best = min(stations, key=lambda s: land.off[s] + math.dist(land.xy[s], (x, y)))
    return best if math.isfinite(land.off[best]) else -1
