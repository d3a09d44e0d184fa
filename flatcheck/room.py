"""Where: the outline of a room, what is cut out of it, and how a person on site names a place.

Plan coordinates are millimeters, x to the east and y to the north, seen from above; the origin is
whichever corner the offsets were measured from. Wall `i` runs from corner `i` to corner `i + 1`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from flatcheck.compass import SIDE_WORDS, side_written
from flatcheck.errors import RoomError
from flatcheck.language import say

Points = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

EDGE_MM = 1.0
"""A place this near a wall counts as inside: a rod is held against walls [mm]."""


@dataclass(frozen=True)
class Ring:
    """A closed line on the plan, its corners in order, the last joined to the first [mm]."""

    name: str
    corners_mm: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        corners = np.array(self.corners_mm, dtype=float)
        if corners.ndim != 2 or corners.shape[0] < 3 or corners.shape[1] != 2:
            raise RoomError(
                say(
                    "{name}: an outline needs at least three corners of two offsets.",
                    name=self.name,
                )
            )
        if not np.all(np.isfinite(corners)):
            raise RoomError(say("{name}: a corner is not a finite number.", name=self.name))
        if np.any(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T) < EDGE_MM):
            raise RoomError(say("{name}: two corners in a row are at one place.", name=self.name))
        crossing = _self_crossing(corners)
        if crossing is not None:
            raise RoomError(
                say(
                    "{name}: the outline crosses itself between corners {one} and {other}; list "
                    "the corners in walking order.",
                    name=self.name,
                    one=crossing[0] + 1,
                    other=crossing[1] + 1,
                )
            )
        if abs(ring_area(corners)) < 1.0:
            raise RoomError(say("{name}: the outline encloses no area.", name=self.name))


@dataclass(frozen=True)
class Room:
    """The floor: an outline, the things that stand on it, and the names of its walls.

    `assumed` is true when nobody gave an outline and it was drawn around the readings: its far
    sides are then no walls, and places are told from the zero corner only. `zone` narrows the
    floor to a part of the room: what lies outside either is no floor. `upright`: it is no floor but
    a wall, seen from the room, x to the right, y up and heights toward the room; its walls are then
    its edges.
    """

    outline: Ring
    cutouts: tuple[Ring, ...] = ()
    walls: tuple[str, ...] = ()
    assumed: bool = False
    zone: Ring | None = None
    upright: bool = False

    @property
    def about(self) -> str:
        """What this is, in a word: a "floor" or a "wall"."""
        return "wall" if self.upright else "floor"

    def __post_init__(self) -> None:
        sides = len(self.outline.corners_mm)
        if self.walls and len(self.walls) != sides:
            raise RoomError(
                say(
                    "{name}: {names} wall names for {walls} walls; name every wall, in the order "
                    "of the corners.",
                    name=self.outline.name,
                    names=len(self.walls),
                    walls=sides,
                )
            )
        for number, cutout in enumerate(self.cutouts):
            if not _lies_in(cutout, self.outline):
                raise RoomError(
                    say("{name}: the cutout does not lie inside the room.", name=cutout.name)
                )
            for other in self.cutouts[:number]:
                if overlap(cutout, other):
                    raise RoomError(
                        say(
                            "{name}: the cutout overlaps {other}; give both as one.",
                            name=cutout.name,
                            other=other.name,
                        )
                    )


def rectangle(
    west_mm: float, south_mm: float, east_mm: float, north_mm: float, name: str = say("room")
) -> Ring:
    """A rectangle by its sides [mm], corners from the south-west one, counter-clockwise."""
    return Ring(
        name,
        ((west_mm, south_mm), (east_mm, south_mm), (east_mm, north_mm), (west_mm, north_mm)),
    )


def ring_area(corners: Points) -> float:
    """Area inside a ring [mm²]; positive when the corners run counter-clockwise.

    The surveyor's (shoelace) formula, taken about the first corner to keep its digits.
    """
    x, y = (corners - corners[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def area(room: Room) -> float:
    """Floor area of the whole room, cutouts taken off [mm²]."""
    return abs(ring_area(_corners(room.outline))) - sum(
        abs(ring_area(_corners(cutout))) for cutout in room.cutouts
    )


def inside(room: Room, xy: Points) -> Mask:
    """Which places (n, 2) [mm] lie on the floor? Walls and the edges of cutouts belong to it."""
    floor = in_ring(_corners(room.outline), xy, EDGE_MM)
    if room.zone:
        floor &= in_ring(_corners(room.zone), xy, EDGE_MM)
    for cutout in room.cutouts:
        floor &= ~in_ring(_corners(cutout), xy, -EDGE_MM)
    return floor


def foot_on(p: Points, q: Points, xy: Points) -> Points:
    """For places (n, 2) the nearest place on the side from p to q (n, 2) [mm]."""
    side = q - p
    reach = np.clip(((xy - p) @ side) / max(float(side @ side), 1e-12), 0, 1)
    foot: Points = p + reach[:, None] * side
    return foot


def onto(ring: Ring, xy: Points) -> Points:
    """For places (n, 2) the nearest place on the sides of a ring (n, 2) [mm]."""
    corners = _corners(ring)
    nearest = np.broadcast_to(corners[0], xy.shape).copy()
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        here = foot_on(p, q, xy)
        closer = np.hypot(*(xy - here).T) < np.hypot(*(xy - nearest).T)
        nearest[closer] = here[closer]
    return nearest


def cell_middles(low: Points, high: Points, count: Sequence[int]) -> Points:
    """The middles (n, 2) of `count` equal cells east-west and north-south between two corners."""
    steps = [low[k] + (np.arange(count[k]) + 0.5) * (high[k] - low[k]) / count[k] for k in (0, 1)]
    middles: Points = np.stack(np.meshgrid(*steps), axis=-1).reshape(-1, 2)
    return middles


def clear(room: Room, start: Points, end: Points) -> Mask:
    """Does a bar laid from `start` to `end`, each (n, 2) [mm], stay on the floor?

    It does when it crosses no side of the outline, the zone or a cutout, and the middle of each
    piece between the corners it passes lies on the floor. Running along a wall is allowed.
    """
    free = inside(room, (start + end) / 2)
    bar = end - start
    square = np.maximum((bar * bar).sum(axis=1), 1e-12)
    meetings = [np.zeros(len(start)), np.ones(len(start))]
    for ring in (room.outline, *((room.zone,) if room.zone else ()), *room.cutouts):
        corners = _corners(ring)
        sides = set(zip(ring.corners_mm, (*ring.corners_mm[1:], ring.corners_mm[0]), strict=True))
        for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            # A slit that joins a hole to the outline runs both ways, and is floor on both sides.
            if (tuple(q), tuple(p)) not in sides:
                free &= ~_cross(start, end, p, q)
            # Through a corner a bar can leave the floor without crossing a side.
            along = ((p - start) * bar).sum(axis=1) / square
            off = np.hypot(*(start + along[:, None] * bar - p).T)
            met = (off <= EDGE_MM) & (along > 0) & (along < 1)
            if met.any():
                meetings.append(np.where(met, along, 0.0))
    if len(meetings) > 2:
        ways = np.sort(meetings, axis=0)
        for near, far in pairwise(ways):
            here = free & (far > near)
            middle = start[here] + ((near + far) / 2)[here][:, None] * bar[here]
            free[here] &= inside(room, middle)
    return free


_EDGES = {
    "north": say("top"),
    "north-east": say("top-right"),
    "east": say("right"),
    "south-east": say("bottom-right"),
    "south": say("bottom"),
    "south-west": say("bottom-left"),
    "west": say("left"),
    "north-west": say("top-left"),
}
"""What the sides of the plan are on a wall, as they are said."""


def wall_names(room: Room) -> tuple[str, ...]:
    """What each wall is called: as given, or by the compass side that its outer face looks to.

    Of several walls on one side the one farthest out has the plain name, the others are inner.
    """
    if room.walls:
        return room.walls
    corners = _corners(room.outline)
    turn = 1.0 if ring_area(corners) > 0 else -1.0
    sides, reach = [], []
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        outward = np.array([q[1] - p[1], p[0] - q[0]]) * turn
        sides.append(side_written(np.degrees(np.arctan2(outward[0], outward[1])) % 360))
        reach.append(float(outward @ (p + q)) / float(np.hypot(*outward)))
    words = _EDGES if room.upright else SIDE_WORDS
    names = [words[side] for side in sides]
    for side in set(sides):
        outermost_first = sorted(
            (k for k, name in enumerate(sides) if name == side), key=lambda k: -reach[k]
        )
        for number, k in enumerate(outermost_first[1:], 1):
            names[k] = (
                say("inner {side}", side=words[side])
                if len(outermost_first) == 2
                else say("inner {side} {number}", side=words[side], number=number)
            )
    if room.upright:
        names = [say("{side} edge", side=name) for name in names]
    return tuple(names)


def from_walls(room: Room, xy: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """Where is this place, as a person with a tape would say it?

    Returns two (wall name, distance [mm]) pairs: the nearest wall that can be reached squarely
    from the place, then the nearest such wall that runs across the first. Fewer when the outline
    has none. For an assumed outline: the offsets from the zero corner.
    """
    x, y = float(xy[0]), float(xy[1])
    if room.assumed:
        return ((say("west"), x), (say("south"), y))
    found = []
    for name, (px, py), (ax, ay), length in _sides(room):
        reach = (x - px) * ax + (y - py) * ay
        if -EDGE_MM <= reach <= length + EDGE_MM:
            found.append((abs(ax * (y - py) - ay * (x - px)), name, (ax, ay)))
    found.sort(key=lambda item: item[0])
    if not found:
        return ()
    first = found[0]
    ax, ay = first[2]
    across = [item for item in found if abs(item[2][0] * ax + item[2][1] * ay) < 0.5]
    return tuple((name, away) for away, name, _ in (first, *across[:1]))


@lru_cache(maxsize=64)
def _sides(room: Room) -> list[tuple[str, tuple[float, float], tuple[float, float], float]]:
    """Each wall's name, where it begins, which way it runs, and how far: asked for every place."""
    corners = room.outline.corners_mm
    found = []
    for name, p, q in zip(wall_names(room), corners, (*corners[1:], corners[0]), strict=True):
        length = math.dist(p, q)
        found.append((name, p, ((q[0] - p[0]) / length, (q[1] - p[1]) / length), length))
    return found


def _corners(ring: Ring) -> Points:
    return np.array(ring.corners_mm, dtype=float)


def in_ring(corners: Points, xy: Points, grow_mm: float) -> Mask:
    """Which places (n, 2) lie in a ring of corners (k, 2): even-odd.

    A positive `grow_mm` takes in the rim, a negative one leaves it out.
    """
    x, y = xy[:, 0], xy[:, 1]
    odd = np.zeros(len(xy), dtype=bool)
    rim = np.zeros(len(xy), dtype=bool)
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        straddles = (p[1] > y) != (q[1] > y)
        if straddles.any():
            odd ^= straddles & (x < p[0] + (y - p[1]) * (q[0] - p[0]) / (q[1] - p[1] or 1.0))
        rim |= np.hypot(*(xy - foot_on(p, q, xy)).T) <= abs(grow_mm)
    return odd | rim if grow_mm >= 0 else odd & ~rim


def _cross(start: Points, end: Points, p: Points, q: Points) -> Mask:
    """Whether bars (n, 2) properly cross the side p-q; touching within EDGE_MM does not count."""
    side = q - p
    length = max(float(np.hypot(*side)), 1e-12)
    bar = end - start
    bar_length = np.maximum(np.hypot(bar[:, 0], bar[:, 1]), 1e-12)

    def off_side(xy: Points) -> Points:
        offset: Points = (side[0] * (xy[:, 1] - p[1]) - side[1] * (xy[:, 0] - p[0])) / length
        return offset

    def off_bar(corner: Points) -> Points:
        away: Points = corner - start
        offset: Points = (bar[:, 0] * away[:, 1] - bar[:, 1] * away[:, 0]) / bar_length
        return offset

    s, e, a, b = off_side(start), off_side(end), off_bar(p), off_bar(q)
    return (
        (np.minimum(s, e) < -EDGE_MM)
        & (np.maximum(s, e) > EDGE_MM)
        & (np.minimum(a, b) < -EDGE_MM)
        & (np.maximum(a, b) > EDGE_MM)
    )


def _lies_in(ring: Ring, outline: Ring) -> bool:
    corners = _corners(ring)
    whole = Room(outline)
    ends = np.roll(corners, -1, axis=0)
    return bool(inside(whole, corners).all() and clear(whole, corners, ends).all())


def overlap(one: Ring, other: Ring) -> bool:
    """Whether two rings share area: sides cross, or a corner or side middle of one lies inside."""
    for a, b in ((one, other), (other, one)):
        corners = _corners(a)
        ends = np.roll(corners, -1, axis=0)
        probes = np.concatenate((corners, (corners + ends) / 2, corners.mean(axis=0)[None]))
        if in_ring(_corners(b), probes, -EDGE_MM).any():
            return True
        sides = _corners(b)
        for p, q in zip(sides, np.roll(sides, -1, axis=0), strict=True):
            if _cross(corners, ends, p, q).any():
                return True
    return False


def _self_crossing(corners: Points) -> tuple[int, int] | None:
    """The first two sides that cross, by the number of their first corner."""
    ends = np.roll(corners, -1, axis=0)
    for i in range(len(corners)):
        apart = [j for j in range(len(corners)) if j not in (i, (i + 1) % len(corners), i - 1)]
        apart = [j for j in apart if not (i == 0 and j == len(corners) - 1)]
        if apart and _cross(corners[apart], ends[apart], corners[i], ends[i]).any():
            hit = _cross(corners[apart], ends[apart], corners[i], ends[i])
            return i, apart[int(np.argmax(hit))]
    return None
