"""Tiles as laid: each as it is cut to the floor, the joints between them, which are slivers.

Tiles end at walls, cutouts and drains, and where planes meet: there runs a joint of its own.
"""

import math
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

from flatcheck.bond import Frame, Pattern, boxes_of, frame_of
from flatcheck.cutting import Cells, Parts, areas, cells, cut, groups, outlines
from flatcheck.drain import Drain
from flatcheck.errors import SurveyError
from flatcheck.facet import Falls
from flatcheck.language import say
from flatcheck.room import Ring, Room, inside
from flatcheck.tile import Tile

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SLIVER = 1 / 3
"""A cut tile narrower than this share of the whole one is a sliver. Common practice, no source."""

FACES_MM = 1e-3
"""Tiles face each other along at least this much; lines less apart than this are one [mm]."""

SAW_MM = 1.0
"""What is thinner than this is no piece but joint: a saw takes more [mm]. Common practice, no
source."""

WAYS = 12
"""A cut tile is measured across in so many directions."""

BESIDE_MM = 2.0
"""What lies this far beside a line tells whether it borders on floor, walls being thicker [mm]."""


@dataclass(frozen=True, eq=False)
class Laying:
    """Tiles as laid over a room: t pieces, each of one tile, and j joints [mm].

    `corners_mm` (t, 4, 2) are the corners of the whole tile, counter-clockwise, the first its
    south-west one before the pattern is turned; `pieces` the outline of what is left of it, its
    four corners where it is not `cut` (t,). A hole is joined to the outline by a slit; what is
    thinner than SAW_MM on average is left out. `source` (t,) numbers the tiles: pieces on both
    sides of a crease are of one tile. `joints_mm` (j, 2, 2) are the segments, on the middle line
    of the joint, along which the two tiles of `joint_tiles` (j, 2) face each other.
    """

    tile: Tile
    corners_mm: Floats
    pieces: tuple[tuple[tuple[float, float], ...], ...]
    cut: Mask
    source: Ints
    joints_mm: Floats
    joint_tiles: Ints

    @property
    def full(self) -> int:
        """How many tiles are laid whole."""
        return int(np.count_nonzero(~self.cut))

    @property
    def cuts(self) -> int:
        """How many tiles are cut, however many pieces of each are laid."""
        return len(np.unique(self.source[self.cut]))


def lay(
    room: Room,
    tile: Tile,
    pattern: Pattern,
    drains: tuple[Drain, ...] = (),
    falls: tuple[Falls, ...] = (),
) -> Laying:
    """Where does every tile lie, and how is it cut?

    Tiles are cut at the outline and zone of the room, at cutouts and drains, and, half a joint on
    either side, along the creases of `falls` and where a zone that falls meets other floor.

    Raises SurveyError for more than MOST_TILES tiles, a second size larger than the first, and
    planks whose ends cannot be kept apart.
    """
    frame = frame_of(tile, pattern, room)
    seams = frame.of(seams_of(room, drains, falls))
    floor = floor_of(room, drains, falls, seams, tile.joint_mm, frame)
    boxes = boxes_of(tile, pattern, extent_of(floor))
    parts = cut(boxes, floor)
    pieces, cut_of = _pieces(parts)
    whole = np.flatnonzero(parts.whole)
    order = np.argsort(np.concatenate((whole, cut_of)), kind="stable")
    of = np.concatenate((whole, cut_of))[order]
    rings = [*_corners(boxes[whole]), *pieces]
    rings = [rings[k] for k in order.tolist()]
    sizes = np.array([len(ring) for ring in rings], dtype=np.int64)
    outline = np.concatenate((*rings, np.empty((0, 2))))
    joints, tiles = _joints(boxes[of], outline, sizes, seams, tile.joint_mm)
    places = iter(frame.back(outline).tolist())
    return Laying(
        tile=tile,
        corners_mm=frame.back(_corners(boxes[of])),
        pieces=tuple(tuple((x, y) for x, y in islice(places, n)) for n in sizes.tolist()),
        cut=order >= len(whole),
        source=np.unique(of, return_inverse=True)[1].astype(np.int64),
        joints_mm=frame.back(joints),
        joint_tiles=tiles,
    )


def narrowest(laying: Laying) -> tuple[Floats, Floats]:
    """How narrow is each piece: as a share of its whole tile (t,), and in millimeters (t,)?

    Of twelve directions in the plane of the tile, the one in which the piece reaches across the
    least of what the whole tile does. An L-shaped piece with a thin leg is as wide as it is.
    """
    corners = laying.corners_mm
    sizes = np.array([len(piece) for piece in laying.pieces], dtype=np.int64)
    places = np.array([xy for piece in laying.pieces for xy in piece], dtype=float).reshape(-1, 2)
    owner = np.repeat(np.arange(len(sizes)), sizes)
    axes = np.stack((corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0]), axis=1)
    lengths = np.hypot(axes[..., 0], axes[..., 1])
    axes = axes / lengths[..., None]
    local = ((places - corners[owner, 0])[:, None] * axes[owner]).sum(axis=2)
    return narrowest_of(local, owner, lengths)


def slivers(laying: Laying, share: float = SLIVER) -> Ints:
    """Which cut pieces are narrower than this share of their tile, the narrowest first?"""
    across = narrowest(laying)[0]
    named = np.flatnonzero(laying.cut & (across < share))
    return named[np.argsort(across[named], kind="stable")]


def narrowest_of(local: Floats, owner: Ints, size: Floats) -> tuple[Floats, Floats]:
    """The least share of a tile of `size` (n, 2) that places of it reach across, and how far."""
    if not len(local):
        return np.empty(0), np.empty(0)
    turn = np.arange(WAYS) * (math.pi / WAYS)
    way = np.stack((np.cos(turn), np.sin(turn)))
    off = local @ way
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    reach = np.maximum.reduceat(off, first) - np.minimum.reduceat(off, first)
    share = reach / (size @ np.abs(way))
    least = share.argmin(axis=1)[:, None]
    return (
        np.take_along_axis(share, least, axis=1)[:, 0],
        np.take_along_axis(reach, least, axis=1)[:, 0],
    )


# The floor in the frame


def floor_of(
    room: Room,
    drains: tuple[Drain, ...],
    falls: tuple[Falls, ...],
    seams: Floats,
    joint_mm: float,
    frame: Frame,
) -> Cells:
    """What is to be tiled, without the joints along seams, as cells in the frame."""
    must = [room.outline, *((room.zone,) if room.zone else ())]
    never = [*room.cutouts, *(drain.outline for drain in drains)]
    along = seams[:, 1] - seams[:, 0]
    along = along / np.hypot(*along.T)[:, None] * joint_mm
    half = along[:, ::-1] / 2 * [-1, 1]
    # A joint beyond its ends, lest a nib of tile be left at the corner of a drain.
    start, end = seams[:, 0] - along, seams[:, 1] + along
    bands = np.stack((start - half, end - half, end + half, start + half), axis=1)
    return cells(
        [frame.of(_ring(ring)) for ring in must],
        [*(frame.of(_ring(ring)) for ring in never), *(bands if joint_mm > FACES_MM else ())],
        [frame.of(_ring(facet.outline)) for fall in falls for facet in fall.facets],
        [frame.of(np.array(fall.corners)) for fall in falls],
    )


def _ring(ring: Ring) -> Floats:
    return np.array(ring.corners_mm, dtype=float)


def extent_of(floor: Cells) -> tuple[Floats, Floats]:
    """The rectangle that holds all cells."""
    if not len(floor.low):
        raise SurveyError(say("tile: no floor is left to be tiled."))
    return (
        np.array([floor.left.min(), floor.low.min()]),
        np.array([floor.right.max(), floor.high.max()]),
    )


def seams_of(room: Room, drains: tuple[Drain, ...], falls: tuple[Falls, ...]) -> Floats:
    """Where planes meet (m, 2, 2): creases, and sides of falling zones with floor beyond."""
    found = [(crease.start, crease.end) for fall in falls for crease in fall.creases]
    rings = [_ring(room.outline), *(_ring(ring) for ring in room.cutouts)]
    rings += [np.array(fall.corners) for fall in falls]
    rings += [_ring(room.zone)] if room.zone else []
    places = np.concatenate(rings)
    for fall in falls:
        corners = np.array(fall.corners)
        for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            length = float(np.hypot(*(q - p)))
            way = (q - p) / length
            reach, off = (places - p) @ way, (places - p) @ [way[1], -way[0]]
            met = reach[(np.abs(off) < BESIDE_MM) & (reach > 0) & (reach < length)]
            stops = np.unique(np.round([0.0, *met, length], 3))
            middle = (stops[1:] + stops[:-1])[:, None] / 2 * way + p
            beyond = middle + BESIDE_MM * np.array([way[1], -way[0]])
            open_ = inside(room, beyond) & (np.diff(stops) > BESIDE_MM)
            for drain in drains:
                open_ &= ~inside(Room(drain.outline), beyond)
            for k in np.flatnonzero(open_):
                a, b = p + stops[k] * way, p + stops[k + 1] * way
                found.append(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))
    # A side that two falling zones share is one seam.
    once = {tuple(sorted((tuple(np.round(a)), tuple(np.round(b))))): (a, b) for a, b in found}
    return np.array(list(once.values()), dtype=float).reshape(-1, 2, 2)


# Pieces and joints


def _corners(boxes: Floats) -> Floats:
    """The corners (n, 4, 2) of boxes, counter-clockwise from the south-west one."""
    return np.stack([boxes[:, pair] for pair in ([0, 1], [2, 1], [2, 3], [0, 3])], axis=1)


def _pieces(parts: Parts) -> tuple[list[Floats], Ints]:
    """The outlines of all cut pieces, and which tile each is of."""
    if not len(parts.box):
        return [], np.empty(0, dtype=np.int64)
    first = groups(parts)
    pieces, of = [], []
    for box, corners in zip(
        parts.box[first].tolist(), np.split(parts.corners, first[1:]), strict=True
    ):
        for outline in outlines(corners):
            around = np.hypot(*(outline - np.roll(outline, 1, axis=0)).T).sum()
            if areas(outline[None])[0] > SAW_MM * around / 2:
                pieces.append(outline)
                of.append(box)
    return pieces, np.array(of, dtype=np.int64)


def _joints(
    boxes: Floats, outline: Floats, sizes: Ints, seams: Floats, joint_mm: float
) -> tuple[Floats, Ints]:
    """Where sides of two pieces face each other across a joint: segments and the two pieces."""
    owner = np.repeat(np.arange(len(sizes)), sizes)
    after = np.arange(1, len(outline) + 1)
    after[np.cumsum(sizes) - 1] = np.cumsum(sizes) - sizes
    start, end = outline, outline[after]
    along = end - start
    half = joint_mm / 2
    segments, pairs = [], []
    sided = np.zeros(len(start), dtype=bool)
    for x, way in ((0, 1), (1, -1)):
        y = 1 - x
        level = np.abs(along[:, x]) < FACES_MM
        # Counter-clockwise, an east side runs north and a north side runs west.
        far = (
            level & (along[:, y] * way > 0) & (np.abs(start[:, x] - boxes[owner, x + 2]) < FACES_MM)
        )
        near = level & (along[:, y] * way < 0) & (np.abs(start[:, x] - boxes[owner, x]) < FACES_MM)
        sided |= far | near
        line = np.concatenate((boxes[owner[far], x + 2] + half, boxes[owner[near], x] - half))
        order = np.argsort(line, kind="stable")
        number = np.empty(len(line), dtype=np.int64)
        number[order] = np.cumsum(np.diff(line[order], prepend=-np.inf) > FACES_MM)
        reach = np.sort(np.stack((start[:, y], end[:, y]), axis=1), axis=1)
        count = int(np.count_nonzero(far))
        a, b, low, high = _facing(number[:count], reach[far], number[count:], reach[near])
        ends = np.empty((len(a), 2, 2))
        ends[..., x], ends[:, 0, y], ends[:, 1, y] = line[:count][a][:, None], low, high
        segments.append(ends)
        pairs.append(np.stack((owner[far][a], owner[near][b]), axis=1))
    for p, q in seams:
        length = float(np.hypot(*(q - p)))
        along_seam = (q - p) / length
        across = np.array([-along_seam[1], along_seam[0]])
        off = np.stack(((start - p) @ across, (end - p) @ across))
        reach = np.stack(((start - p) @ along_seam, (end - p) @ along_seam), axis=1)
        left = (np.abs(off - half) < FACES_MM).all(axis=0) & (reach[:, 1] > reach[:, 0])
        right = (np.abs(off + half) < FACES_MM).all(axis=0) & (reach[:, 1] < reach[:, 0])
        reach = np.sort(reach, axis=1)
        # Not what another seam on the same line beyond a drain has beside it.
        own = (reach[:, 1] > FACES_MM) & (reach[:, 0] < length - FACES_MM)
        left, right = left & own, right & own
        zero = np.zeros(len(start), dtype=np.int64)
        a, b, low, high = _facing(zero[left], reach[left], zero[right], reach[right])
        i, j = np.flatnonzero(left)[a], np.flatnonzero(right)[b]
        new = ~(sided[i] & sided[j])  # a seam on a joint of the pattern was found above
        ends = p + np.stack((low, high), axis=1)[..., None] * along_seam
        segments.append(ends[new])
        pairs.append(np.stack((owner[i], owner[j]), axis=1)[new])
    return np.concatenate(segments), np.concatenate(pairs)


def _facing(
    line: Ints, reach: Floats, other_line: Ints, other_reach: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Pairs of sides on one line that overlap, and from where to where they do.

    `reach` (n, 2), `other_reach` (m, 2) are from where to where along their line each goes. On one
    line the others do not overlap each other, so those that face a side are one run of them.
    """
    if not len(line) or not len(other_line):
        none = np.empty(0, dtype=np.int64)
        return none, none, np.empty(0), np.empty(0)
    zero = min(float(reach.min()), float(other_reach.min()))
    span = max(float(reach.max()), float(other_reach.max())) - zero + 1.0
    order = np.lexsort((other_reach[:, 0], other_line))
    keys = 2 * span * other_line[order][:, None] + other_reach[order] - zero
    mine = 2 * span * line[:, None] + reach - zero
    first = np.searchsorted(keys[:, 1], mine[:, 0] + FACES_MM, side="right")
    count = np.searchsorted(keys[:, 0], mine[:, 1] - FACES_MM, side="left") - first
    count = np.maximum(count, 0)
    a = np.repeat(np.arange(len(line)), count)
    b = order[np.arange(count.sum()) - np.repeat(np.cumsum(count) - count - first, count)]
    low = np.maximum(reach[a, 0], other_reach[b, 0])
    high = np.minimum(reach[a, 1], other_reach[b, 1])
    return a, b, low, high
