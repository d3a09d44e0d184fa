"""Where water stands: the level it fills to before it finds a way out, on a graph or a floor.

Water at a place rises until it can leave. Every way to an outlet has a highest point; the lowest
of these is the level that the place fills to (a minimax path). Heights only enter by their order,
so levels are heights of the floor itself, exact to the last digit.

How it is found, at a cost that grows with the edges, times at most the logarithm of the places:
every region of places goes over its lowest pass into a neighbor (Boruvka's step toward a minimum
spanning tree). Along such a chain passes never rise, so a chain that ends in an outlet is settled;
two regions that choose the same pass become one, and the rest is done again with those. Going back
through the rounds, a region fills to the higher of its own pass and the level of what it went into.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CAPILLARY_MM = 2.7
"""Capillary length of water at 20 °C, sqrt(γ/(ρ g)) [mm]; from memory, de Gennes,
Brochard-Wyart and Quéré, "Capillarity and Wetting Phenomena"."""

NO_WAY = np.iinfo(np.int64).max >> 32
"""The rank of a pass where there is none: higher than any place."""


def held_mm(contact_angle_deg: float = 30.0) -> float:
    """How deep does water stand on a level floor because surface tension holds it [mm]?

    h = 2 l sin(θ/2) with the capillary length l and the contact angle θ [degrees] (puddle height,
    de Gennes et al., from memory). The default of 30 degrees, for glazed tile, is common practice,
    no source; it gives 1.4 mm.
    """
    return 2 * CAPILLARY_MM * math.sin(math.radians(contact_angle_deg) / 2)


@dataclass(frozen=True, eq=False)
class Filled:
    """How high water rises at each of n places before it runs to an outlet.

    `level_mm` (n,) is the height of the place `spill` (n,), the highest on the lowest way out, the
    place itself counted. `margin_mm` (n,) leaves it out: it is the height of the place `gate` (n,)
    less the place's own, a linear form of two heights, positive where water stands (its depth) and
    negative by how much the place drains freely. An outlet is its own level and spill; its margin
    is -inf, its gate -1. Where no outlet can be reached level and margin are inf, spill and gate
    -1. Among equal heights the first place counts as the lowest.
    """

    level_mm: Floats
    spill: Ints
    margin_mm: Floats
    gate: Ints


def fill(height: Floats, edges: Ints, outlets: Mask) -> Filled:
    """How high does water rise at each place, and over which place does it leave?

    `height` (n,) [mm]; water goes along `edges` (m, 2) both ways, repeats and loops do not matter;
    `outlets` (n,) is true where it is gone.
    """
    n = len(height)
    order = np.argsort(height, kind="stable")
    rank = np.empty(n, np.int64)
    rank[order] = np.arange(n)
    one, other = np.ascontiguousarray(edges.T)
    # A place that is no pit leaves at its own height, so whole basins are the first regions.
    lowest = rank.copy()
    np.minimum.at(lowest, one, rank[other])
    np.minimum.at(lowest, other, rank[one])
    pit = _ends(np.where(outlets, np.arange(n), order[lowest]))
    number = np.cumsum((pit == np.arange(n)) & ~outlets)
    region = np.where(outlets, 0, number)[pit]
    a, b = region[one], region[other]
    apart = np.flatnonzero(a != b)
    passes = np.maximum(rank[one[apart]], rank[other[apart]])
    way = _lowest_ways(a[apart], b[apart], passes, int(number.max(initial=0)) + 1)
    top = np.minimum(np.maximum(rank, way[region]), n)
    beyond = np.full(n, n)
    np.minimum.at(beyond, one, top[other])
    np.minimum.at(beyond, other, top[one])
    places, heights = np.append(order, -1), np.append(height[order], np.inf)
    return Filled(
        heights[top],
        places[top],
        np.where(outlets, -np.inf, heights[beyond] - height),
        np.where(outlets, -1, places[beyond]),
    )


def _ends(onto: Ints) -> Ints:
    """Where the ways end that go from every place x to onto[x], until one that goes to itself."""
    while True:
        further = onto[onto]
        if np.array_equal(further, onto):
            return further
        onto = further


def _lowest_ways(a: Ints, b: Ints, passes: Ints, count: int) -> Ints:
    """The rank of the highest pass on the lowest way from each region to region 0, the outlets.

    Between the different regions a (m,) and b (m,) leads a pass of rank `passes` (m,); there may be
    several. -1 for region 0 itself, NO_WAY where no way leads there.
    """
    never = np.iinfo(np.int64).max
    rounds = []
    size = count
    while len(a):
        # The number of the pass decides among passes of one rank, so that no choices form a ring.
        key = (passes << 32) | np.arange(len(a))
        best = np.full(size, never)
        np.minimum.at(best, a, key)
        np.minimum.at(best, b, key)
        best[0] = never
        leaving = np.flatnonzero(best < never)
        chosen = best[leaving] & 0xFFFFFFFF
        onto = np.arange(size)
        onto[leaving] = a[chosen] + b[chosen] - leaving
        first = leaving[(onto[onto[leaving]] == leaving) & (leaving < onto[leaving])]
        onto[first] = first
        onto = _ends(onto)
        stays = onto == np.arange(size)
        onto = (np.cumsum(stays) - 1)[onto]
        rounds.append((np.where(best < never, best >> 32, -1), onto))
        size = int(np.count_nonzero(stays))
        a, b = onto[a], onto[b]
        apart = a != b
        a, b, passes = a[apart], b[apart], passes[apart]
    way = np.full(size, NO_WAY)
    way[:1] = -1
    for own, onto in reversed(rounds):
        way = np.maximum(own, way[onto])
    return way


def sides(triangles: Ints) -> tuple[Ints, Ints]:
    """The edges (m, 2) of triangles (t, 3), and which of them faces each corner (t, 3).

    Each edge once, its smaller number first.
    """
    facing = np.sort(triangles[:, [[1, 2], [2, 0], [0, 1]]], axis=2).reshape(-1, 2)
    edges, which = np.unique(facing, axis=0, return_inverse=True)
    return edges, which.reshape(-1, 3)


@dataclass(frozen=True, eq=False)
class Pond:
    """Water that stands in one hollow of a floor, filled to where it spills.

    `depth_mm` is at the station `pit`: the height of the station `spill` less that of the pit, a
    linear form of two heights. `stations` (k,) are those under water. `shores` are the closed
    outlines (m, 2) [mm] of the water, its outer shore counter-clockwise, islands clockwise; they
    run along walls too. Where no way leads to an outlet spill is -1, depth and volume are inf and
    the outline is that of the floor that does not drain.
    """

    pit: int
    spill: int
    depth_mm: float
    area_mm2: float
    volume_mm3: float
    stations: Ints
    shores: tuple[Floats, ...]


def ponds(
    xy: Floats, height: Floats, triangles: Ints, outlets: Mask, deeper_mm: float | None = None
) -> tuple[Pond, ...]:
    """Which hollows hold water deeper than `deeper_mm` (`held_mm()` when None), deepest first?

    On the surface of the plane triangles (t, 3), counter-clockwise, between stations xy (n, 2) of
    `height` (n,) [mm]; water leaves at stations where `outlets` (n,) is true and not over the
    walls. Area and volume are exact: triangles cut at the level of the pond.

    The edges tell all: a way over triangles goes as low along edges, by the lower end of each edge
    that it crosses, so passes and pits are stations and a triangle holds water to the lowest
    level of its corners.
    """
    edges, facing = sides(triangles)
    filled = fill(height, edges, outlets)
    depth = filled.level_mm - height
    lowest = triangles[np.arange(len(triangles)), np.argmin(height[triangles], axis=1)]
    joined = edges[np.all(depth[edges] > 0, axis=1)]
    graph = coo_array((np.ones(len(joined)), joined.T), shape=(len(height), len(height)))
    count, label = connected_components(graph, directed=False)
    deepest = np.zeros(count)
    np.maximum.at(deepest, label[lowest], depth[lowest])
    # Where a floor does not drain the water is drawn as covering all of it.
    level = np.where(np.isinf(depth), height.max(initial=0) + 1, filled.level_mm)[lowest]
    area, volume = _standing(height[triangles], _areas(xy, triangles), level)
    found = []
    for number in np.flatnonzero(deepest > (held_mm() if deeper_mm is None else deeper_mm)):
        stations = np.flatnonzero(label == number)
        pit = stations[np.argmin(height[stations])]
        under = np.flatnonzero(label[lowest] == number)
        found.append(
            Pond(
                int(pit),
                int(filled.spill[pit]),
                float(depth[pit]),
                float(area[under].sum()),
                float(volume[under].sum()) if math.isfinite(depth[pit]) else math.inf,
                stations,
                _shores(xy, height, triangles[under], facing[under], float(level[under[0]])),
            )
        )
    return tuple(sorted(found, key=lambda pond: -pond.depth_mm))


@dataclass(frozen=True)
class Flood:
    """Water standing to one level: how much, on how much floor, how deep at most."""

    volume_mm3: float
    area_mm2: float
    depth_mm: float


def flood(xy: Floats, height: Floats, triangles: Ints, level_mm: float) -> Flood:
    """How much water covers a floor to a level, wherever the floor is lower?

    xy (n, 2), `height` (n,) [mm] and triangles (t, 3) as for `ponds`. Exact: each triangle is cut
    at the level, and the prism, wedge or pyramid of water over it is summed.
    """
    corners = height[triangles]
    area, volume = _standing(corners, _areas(xy, triangles), np.full(len(triangles), level_mm))
    deepest = level_mm - float(corners.min(initial=level_mm))
    return Flood(float(volume.sum()), float(area.sum()), deepest)


def _areas(xy: Floats, triangles: Ints) -> Floats:
    a, b, c = (xy[triangles[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return np.asarray(np.abs(doubled) / 2)


def _standing(corners: Floats, area: Floats, level: Floats) -> tuple[Floats, Floats]:
    """The wet area and the water over each of t triangles of corner heights (t, 3)."""
    low, middle, high = np.sort(corners, axis=1).T
    some = low < level
    one = some & (level <= middle)
    two = some & (middle < level) & (level < high)
    # Where one corner is wet a small triangle is; where two are, all but one around the third.
    wet = _share(level - low, middle - low, high - low, one)
    dry = _share(high - level, high - low, high - middle, two)
    share = np.where(one, wet, np.where(some, 1 - dry, 0.0))
    full = np.where(some & ~one, level - (low + middle + high) / 3, 0.0)
    depth = np.where(one, wet * (level - low) / 3, full + dry * (high - level) / 3)
    return share * area, depth * area


def _share(part: Floats, one: Floats, other: Floats, where: Mask) -> Floats:
    """part²/(one·other) where it is asked for, 0 elsewhere."""
    first = np.divide(part, one, out=np.zeros_like(part), where=where)
    return first * np.divide(part, other, out=np.zeros_like(part), where=where)


def _shores(
    xy: Floats, height: Floats, triangles: Ints, facing: Ints, level: float
) -> tuple[Floats, ...]:
    """The outline of the water to `level` on the given triangles: of their wet parts, all sides
    that no two of them share, end to end."""
    place: dict[tuple[bool, int], tuple[float, float]] = {}
    onward: dict[tuple[tuple[bool, int], tuple[bool, int]], None] = {}
    for corners, across in zip(triangles.tolist(), facing.tolist(), strict=True):
        ring = []
        for k in range(3):
            i, j, edge = corners[k], corners[(k + 1) % 3], across[(k + 2) % 3]
            if height[i] < level:
                ring.append((False, i))
                place[False, i] = (float(xy[i, 0]), float(xy[i, 1]))
            if (height[i] < level) != (height[j] < level):
                ring.append((True, edge))
                share = (level - height[i]) / (height[j] - height[i])
                x, y = xy[i] + share * (xy[j] - xy[i])
                place[True, edge] = (float(x), float(y))
        for here, there in zip(ring, ring[1:] + ring[:1], strict=True):
            if (there, here) in onward:
                del onward[there, here]
            else:
                onward[here, there] = None
    ways: dict[tuple[bool, int], list[tuple[bool, int]]] = {}
    for here, there in onward:
        ways.setdefault(here, []).append(there)
    shores = []
    while ways:
        start = here = next(iter(ways))
        ring = []
        while not ring or here != start:
            ring.append(here)
            there = ways[here].pop()
            if not ways[here]:
                del ways[here]
            here = there
        shores.append(np.array([place[at] for at in ring]))
    return tuple(shores)
