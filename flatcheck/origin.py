"""Where should a pattern start: the origin that leaves the fewest slivers at walls and cutouts."""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from flatcheck.bond import Pattern, boxes_of, cell_of, frame_of
from flatcheck.cutting import Cells, cut, groups
from flatcheck.drain import Drain
from flatcheck.errors import SurveyError
from flatcheck.facet import Falls
from flatcheck.language import say
from flatcheck.pattern import (
    SLIVER,
    extent_of,
    floor_of,
    lay,
    narrowest,
    narrowest_of,
    seams_of,
)
from flatcheck.room import Room, inside
from flatcheck.tile import Tile

Floats = npt.NDArray[np.float64]

MOST_TRIED = 2_000_000
"""So many times at most a tile is held against a cell to compare origins."""

BEST = 5
"""So many of the best origins are laid in full."""


@dataclass(frozen=True)
class Start:
    """An origin as it compares: the pattern that starts there, and what it leaves.

    `slivers` are cut pieces narrower than the share asked for, `cuts` the tiles that are cut, and
    `least_share` is the narrowest piece; 1 where none is cut.
    """

    pattern: Pattern
    slivers: int
    cuts: int
    least_share: float


def best_origin(
    room: Room,
    tile: Tile,
    pattern: Pattern,
    drains: tuple[Drain, ...] = (),
    falls: tuple[Falls, ...] = (),
    share: float = SLIVER,
    steps: int = 12,
) -> Start:
    """Where should the pattern start, so that the fewest slivers are left?

    Origins are tried on a net of `steps` by `steps` over what repeats, and with a tile or a joint
    on every side and in the middle of the floor; on floors of very many tiles the net is wider. Of
    equal slivers the fewest cut tiles count, then the widest narrowest piece. The best few are laid
    in full. That no origin has fewer is not proven.
    """
    if steps < 1:
        raise SurveyError(say("origins are tried in one step at least."))
    frame = frame_of(tile, pattern, room)
    seams = frame.of(seams_of(room, drains, falls))
    floor = floor_of(room, drains, falls, seams, tile.joint_mm, frame)
    low, high = extent_of(floor)
    cell, moves = cell_of(tile, pattern)
    each = np.prod(high - low) / abs(np.linalg.det(moves)) * len(cell) * len(floor.low)
    steps = max(1, min(steps, math.isqrt(int(MOST_TRIED / max(each, 1.0)))))
    shares = (np.arange(steps) / steps).tolist()
    net = np.array([(a, b) for a in shares for b in shares]) @ moves
    size = cell[0, 2:] - cell[0, :2]
    even = [
        _even(float(a), float(b), float(c), tile.joint_mm)
        for a, b, c in zip(low, high, size, strict=True)
    ]
    net = np.concatenate((net, [(x, y) for x in even[0] for y in even[1]]))
    scores = [
        _score(boxes_of(tile, pattern, (low - move, high - move)) + np.tile(move, 2), floor, share)
        for move in net
    ]
    ranked = sorted(range(len(net)), key=lambda k: scores[k])[:BEST]
    starts = []
    for k in ranked:
        place = frame.back(net[k])
        moved = replace(pattern, origin=_near(place, room, moves @ frame.axes))
        laying = lay(room, tile, moved, drains, falls)
        across = narrowest(laying)[0][laying.cut]
        few = int(np.count_nonzero(across < share))
        starts.append(Start(moved, few, laying.cuts, float(across.min(initial=1.0))))
    return min(starts, key=lambda start: (start.slivers, start.cuts, -start.least_share))


def _even(low: float, high: float, size: float, joint: float) -> list[float]:
    """Moves along an axis that put a tile's edge on a side, or a tile or joint in the middle."""
    middle = (low + high) / 2
    return [0.0, low, high - size, middle - size / 2, middle + joint / 2]


def _near(place: Floats, room: Room, moves: Floats) -> tuple[float, float]:
    """Of equal origins one in the room: by its first corner, or else by its middle."""
    corners = np.array(room.outline.corners_mm)
    for goal in (corners[0], (corners.min(axis=0) + corners.max(axis=0)) / 2):
        steps = np.round((place - goal) @ np.linalg.inv(moves), 9)
        place = place - np.floor(steps) @ moves
        if inside(room, place[None])[0]:
            break
    x, y = np.round(place, 6).tolist()
    return x, y


def _score(boxes: Floats, floor: Cells, share: float) -> tuple[int, int, float]:
    """Slivers, cut tiles, and less the narrowest share, with the parts of a tile taken as one."""
    parts = cut(boxes, floor)
    if not len(parts.box):
        return 0, 0, -1.0
    first = groups(parts)
    group = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(parts.box))))
    owner = np.repeat(group, parts.corners.shape[1])
    local = parts.corners - boxes[parts.box, None, :2]
    size = (boxes[:, 2:] - boxes[:, :2])[parts.box[first]]
    across = narrowest_of(local.reshape(-1, 2), owner, size)[0]
    cuts = len(np.unique(parts.box))
    return int(np.count_nonzero(across < share)), cuts, -round(float(across.min()), 6)
