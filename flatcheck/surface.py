"""Heights with their uncertainty at stations, a triangulation between them, and lines of stations.

A `Surface` is what the readings can tell of a floor. Interpolated heights draw maps; no rule is
ever judged on them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy.spatial import Delaunay, QhullError, cKDTree

from flatcheck.covariance import Factored
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.room import Room, clear, inside

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SAME_PLACE_MM = 1.0
"""Two readings this near to each other on the plan are of the same place [mm]."""

LINE_MM = 12.0
"""A line of stations is no wider than this, about what a tape is good for [mm]; on a dense scan
no wider than a quarter of the step between neighbors."""


FORMS, STATIONS = 4096, 768
"""Forms, and stations that they touch, whose covariance is written out at a time."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A surveyed floor: n stations.

    `xy_mm` (n, 2), `height_mm` (n,) up. `cov_mm2` is the covariance of the heights: (n,) where
    they are independent, else (n, n), of a large survey as a `Factored`. `where` (n,) names the
    reading that a station rests on. `triangles` (t, 3) are station numbers, counter-clockwise, all
    inside the room. `free` (n, k) are directions in which the heights may move without any reading
    noticing, each at most 1 in size; a form of the heights means something only where it does not
    move with them.
    """

    room: Room
    xy_mm: Floats
    height_mm: Floats
    cov_mm2: Floats
    where: tuple[str, ...]
    triangles: Ints
    free: Floats = field(default_factory=lambda: np.empty((0, 0)))

    def __post_init__(self) -> None:
        for array in (self.xy_mm, self.height_mm, self.cov_mm2, self.triangles, self.free):
            array.setflags(write=False)

    def __reduce__(self) -> tuple[object, ...]:
        # Unpickled arrays come back writable; going through the constructor locks them again.
        return Surface, (
            self.room,
            self.xy_mm,
            self.height_mm,
            self.cov_mm2,
            self.where,
            self.triangles,
            self.free,
        )


def surface(
    room: Room,
    xy: Floats,
    height: Floats,
    cov: Floats,
    where: Sequence[str],
    free: Floats | None = None,
) -> Surface:
    """A surface over stations that all lie in the room, triangulated inside it.

    Raises SurveyError naming the first reading outside the room.
    """
    stray = ~inside(room, xy)
    if stray.any():
        first = int(np.argmax(stray))
        raise SurveyError(
            say(
                "{where}: the reading lies outside the room or inside a cutout; check its "
                "offsets, or the outline.",
                where=where[first],
            )
        )
    return Surface(
        room,
        xy.copy(),
        height.copy(),
        cov.copy(),
        tuple(where),
        triangulate(room, xy),
        np.empty((len(xy), 0)) if free is None else free.copy(),
    )


def part(whole: Surface, room: Room, of: Mask | None = None) -> tuple[Surface, Ints]:
    """The part of a surface that lies in another, smaller room, and its station numbers.

    Of all stations, or of those where the mask `of` (n,) is true.
    """
    lies = inside(room, whole.xy_mm)
    kept = np.flatnonzero(lies if of is None else lies & of)
    if room == whole.room and len(kept) == len(lies):
        return whole, kept
    cov = whole.cov_mm2[kept] if whole.cov_mm2.ndim == 1 else whole.cov_mm2[np.ix_(kept, kept)]
    names = [whole.where[i] for i in kept]
    height, free = whole.height_mm[kept], whole.free[kept]
    return surface(room, whole.xy_mm[kept], height, cov, names, free), kept


def decided(free: Floats, stations: Ints, weights: Floats) -> Mask:
    """Which of K linear forms the readings decide: those that no free direction moves.

    `free` (n, k), `stations` (K, m) and `weights` (K, m) as for `variance`.
    """
    moved = np.zeros(len(stations))
    for direction in free.T:
        moved = np.maximum(moved, np.abs(np.sum(weights * direction[stations], axis=1)))
    return np.asarray(moved < 1e-6)


def triangulate(room: Room, xy: Floats) -> Ints:
    """Delaunay triangles (t, 3) between stations, without those that leave the room.

    A triangle stays when all three sides lie on the floor. Empty when the stations are too few or
    in one line.
    """
    if len(xy) < 3:
        return np.empty((0, 3), dtype=np.int64)
    try:
        corners: Ints = Delaunay(xy - xy.mean(axis=0)).simplices.astype(np.int64)
    except QhullError:
        return np.empty((0, 3), dtype=np.int64)
    a, b, c = (xy[corners[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    corners[doubled < 0] = corners[doubled < 0][:, [0, 2, 1]]
    kept = np.abs(doubled) > SAME_PLACE_MM**2
    kept &= clear(room, a, b) & clear(room, b, c) & clear(room, c, a)
    kept &= inside(room, (a + b + c) / 3)
    inner: Ints = corners[kept]
    return inner


def variance(cov: Floats | Factored, stations: Ints, weights: Floats) -> Floats:
    """Variance w'Cw [mm²] of K linear forms of the heights.

    `stations` (K, m) and `weights` (K, m): form k is the sum of weights[k] * height[stations[k]].
    """
    if isinstance(cov, Factored):
        return _formed(cov, stations, weights)
    if cov.ndim == 1:
        alone: Floats = np.einsum("km,km->k", weights**2, cov[stations])
        return alone
    total = np.zeros(len(stations))
    for i in range(stations.shape[1]):
        for j in range(stations.shape[1]):
            total += weights[:, i] * weights[:, j] * cov[stations[:, i], stations[:, j]]
    return total


def widened(cov: Floats | Factored, extra: Floats) -> Floats:
    """The covariance where each height has a variance of its own besides, `extra` (n,) [mm²]."""
    if isinstance(cov, Factored):
        return cast(Floats, replace(cov, own=cov.own + extra))
    return cov + (extra if cov.ndim == 1 else np.diag(extra))


def form_u(cov: Floats, form: Floats) -> float:
    """Standard uncertainty [mm] of one form (n,) of all heights."""
    spread = form * cov if cov.ndim == 1 else form @ cov
    return math.sqrt(max(float(spread @ form), 0.0))


def _formed(cov: Factored, stations: Ints, weights: Floats) -> Floats:
    """`variance` where the covariance is not written out: of a few stations at a time.

    Forms of one neighborhood are expected to stand near each other, or this takes long.
    """
    total = np.empty(len(stations))
    todo = [np.arange(k, min(k + FORMS, len(total))) for k in range(0, len(total), FORMS)]
    while todo:
        some = todo.pop()
        own, local = np.unique(stations[some], return_inverse=True)
        if len(own) > STATIONS and len(some) > 1:
            todo += np.array_split(some, 2)
        else:
            total[some] = variance(cov.written(own), local.reshape(len(some), -1), weights[some])
    return total


def noise(cov: Floats | Factored, draws: int, seed: int) -> Floats:
    """Simulated errors of the heights, (n, draws) [mm]: normal, with covariance `cov`."""
    if isinstance(cov, Factored):
        return cov.noise(draws, seed)
    plain = np.random.default_rng(seed).standard_normal((len(cov), draws))
    if cov.ndim == 1:
        return np.sqrt(cov)[:, None] * plain
    values, vectors = np.linalg.eigh(cov)
    result: Floats = vectors @ (np.sqrt(np.maximum(values, 0))[:, None] * plain)
    return result


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight rows of stations along one direction, padded to one length.

    `stations` (l, m) holds station numbers in walking order, -1 where a line has ended. `along`
    (l, m) is how far each lies along its line [mm]; NaN where it has ended. A line stops where the
    floor does: between two neighbors on it a bar stays inside the room.
    """

    direction: str
    stations: Ints
    along: Floats


def lines(floor: Surface) -> tuple[Lines, ...]:
    """Every straight line of readings: rows, columns and both diagonals.

    The diagonals follow the spacing of the readings: (dx, dy) and (dx, -dy) for the commonest
    steps in a row and in a column, so they exist on a grid that is not square too. A line needs
    two stations. Directions without a line are left out.
    """
    xy = floor.xy_mm
    if len(xy) < 2:
        return ()
    nearest, _ = cKDTree(xy).query(xy, k=2)
    width = min(LINE_MM, float(np.median(nearest[:, 1])) / 4)
    found = [
        _family(floor, "row", (1.0, 0.0), width),
        _family(floor, "column", (0.0, 1.0), width),
    ]
    steps = [_common_step(family) if family else 0.0 for family in found]
    if all(steps):
        slant = np.array(steps) / math.hypot(*steps)
        found.append(_family(floor, "rising diagonal", (slant[0], slant[1]), width))
        found.append(_family(floor, "falling diagonal", (slant[0], -slant[1]), width))
    return tuple(family for family in found if family)


def _common_step(family: Lines) -> float:
    steps = np.diff(family.along, axis=1)
    steps = steps[np.isfinite(steps)]
    values, counts = np.unique(np.round(steps), return_counts=True)
    common = np.round(steps) == values[np.argmax(counts)]
    return float(np.median(steps[common]))


def _family(
    floor: Surface, name: str, direction: tuple[float, float], width: float
) -> Lines | None:
    """Sorts stations into lines along a direction, and cuts the lines where the floor ends.

    A line is at most `width` wide [mm]; of stations abreast in it the first is kept.
    """
    xy = floor.xy_mm
    along = xy @ np.array(direction)
    off = xy @ np.array([-direction[1], direction[0]])
    by_offset = np.argsort(off, kind="stable")
    line = np.empty(len(xy), dtype=np.int64)
    number, edge = -1, -np.inf
    for k, away in zip(by_offset.tolist(), off[by_offset].tolist(), strict=True):
        if away > edge:
            number, edge = number + 1, away + width
        line[k] = number
    order = np.lexsort((along, line))
    abreast = (np.diff(line[order]) == 0) & (np.diff(along[order]) < SAME_PLACE_MM)
    order = order[np.concatenate(([True], ~abreast))]
    same = np.diff(line[order]) == 0
    same[same] = clear(floor.room, xy[order[:-1]][same], xy[order[1:]][same])
    starts = np.concatenate(([0], np.flatnonzero(~same) + 1, [len(order)]))
    lengths = np.diff(starts)
    if not np.any(lengths > 1):
        return None
    kept = lengths > 1
    width = int(lengths.max())
    column = np.arange(width)
    held = column < lengths[kept][:, None]
    picked = order[np.minimum(starts[:-1][kept][:, None] + column, len(order) - 1)]
    return Lines(name, np.where(held, picked, -1), np.where(held, along[picked], np.nan))


def station_pitch(floor: Surface) -> Floats:
    """How far apart the readings are around each station (n,) [mm]; inf where nothing tells.

    The second longest side of the widest triangle at the station: on a grid that is the grid's
    step, between lines of readings the distance between the lines.
    """
    pitch = np.full(len(floor.xy_mm), -np.inf)
    sides = floor.xy_mm[floor.triangles] - floor.xy_mm[np.roll(floor.triangles, 1, axis=1)]
    second = np.sort(np.hypot(sides[..., 0], sides[..., 1]), axis=1)[:, 1]
    np.maximum.at(pitch, floor.triangles, np.repeat(second[:, None], 3, axis=1))
    pitch[np.isneginf(pitch)] = np.inf
    return pitch


def usual_pitch(floor: Surface) -> float:
    """How far apart the readings usually are [mm]: no farther on half of the floor that was read.

    Counted by floor, not by readings: a hump that was read more closely changes little.
    """
    pitch, area = station_pitch(floor), station_areas(floor)
    order = np.argsort(pitch, kind="stable")
    grown = np.cumsum(area[order])
    return float(pitch[order][np.searchsorted(grown, grown[-1] / 2)])


def station_areas(floor: Surface) -> Floats:
    """The floor around each station (n,) [mm²]: a third of every triangle that meets there."""
    a, b, c = (floor.xy_mm[floor.triangles[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    share = np.repeat(np.abs(doubled) / 6, 3)
    return np.bincount(floor.triangles.ravel(), share, len(floor.xy_mm)).astype(np.float64)
