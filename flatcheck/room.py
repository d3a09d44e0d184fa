"""Where: the outline of a room, what is cut out of it, and how a person on site names a place.

Plan coordinates are millimeters, x to the east and y to the north, seen from above; the origin is
whichever corner the offsets were measured from. Wall `i` runs from corner `i` to corner `i + 1`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import RoomError

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
            raise RoomError(f"{self.name}: an outline needs at least three corners of two offsets.")
        if not np.all(np.isfinite(corners)):
            raise RoomError(f"{self.name}: a corner is not a finite number.")
        crossing = _self_crossing(corners)
        if crossing is not None:
            raise RoomError(
                f"{self.name}: the outline crosses itself between corners "
                f"{crossing[0] + 1} and {crossing[1] + 1}; list the corners in walking order."
            )
        if abs(ring_area(corners)) < 1.0:
            raise RoomError(f"{self.name}: the outline encloses no area.")


@dataclass(frozen=True)
class Room:
    """The floor: an outline, the things that stand on it, and the names of its walls.

    `assumed` is true when nobody gave an outline and it was drawn around the readings: its far
    sides are then no walls, and places are told from the zero corner only.
    """

    outline: Ring
    cutouts: tuple[Ring, ...] = ()
    walls: tuple[str, ...] = ()
    assumed: bool = False

    def __post_init__(self) -> None:
        sides = len(self.outline.corners_mm)
        if self.walls and len(self.walls) != sides:
            raise RoomError(
                f"{self.outline.name}: {len(self.walls)} wall names for {sides} walls; "
                "name every wall, in the order of the corners."
            )
        for cutout in self.cutouts:
            corners = np.array(cutout.corners_mm)
            if not np.all(_in_ring(_corners(self.outline), corners, EDGE_MM)):
                raise RoomError(f"{cutout.name}: the cutout does not lie inside the room.")


def rectangle(
    west_mm: float, south_mm: float, east_mm: float, north_mm: float, name: str = "room"
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
    """Floor area, cutouts taken off [mm²]."""
    return abs(ring_area(_corners(room.outline))) - sum(
        abs(ring_area(_corners(cutout))) for cutout in room.cutouts
    )


def inside(room: Room, xy: Points) -> Mask:
    """Which places (n, 2) [mm] lie on the floor? Walls and the edges of cutouts belong to it."""
    floor = _in_ring(_corners(room.outline), xy, EDGE_MM)
    for cutout in room.cutouts:
        floor &= ~_in_ring(_corners(cutout), xy, -EDGE_MM)
    return floor


def clear(room: Room, start: Points, end: Points) -> Mask:
    """Does a bar laid from `start` to `end`, each (n, 2) [mm], stay on the floor?

    It does when it crosses no wall and no cutout, and its middle lies on the floor. Running along
    a wall is allowed.
    """
    free = inside(room, (start + end) / 2)
    for ring in (room.outline, *room.cutouts):
        corners = _corners(ring)
        for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            free &= ~_cross(start, end, p, q)
    return free


def wall_names(room: Room) -> tuple[str, ...]:
    """What each wall is called: as given, or by the compass side that its outer face looks to."""
    if room.walls:
        return room.walls
    corners = _corners(room.outline)
    turn = 1.0 if ring_area(corners) > 0 else -1.0
    names = []
    for along in np.roll(corners, -1, axis=0) - corners:
        outward = np.array([along[1], -along[0]]) * turn
        bearing = np.degrees(np.arctan2(outward[0], outward[1])) % 360
        names.append(_COMPASS[round(bearing / 45) % 8])
    return tuple(names)


def from_walls(room: Room, xy: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """Where is this place, as a person with a tape would say it?

    Returns two (wall name, distance [mm]) pairs: the nearest wall that can be reached squarely
    from the place, then the nearest such wall that runs across the first. Fewer when the outline
    has none. For an assumed outline: the offsets from the zero corner.
    """
    place = np.asarray(xy, dtype=float)
    if room.assumed:
        return (("west", float(place[0])), ("south", float(place[1])))
    corners = _corners(room.outline)
    found = []
    for name, p, q in zip(wall_names(room), corners, np.roll(corners, -1, axis=0), strict=True):
        along = (q - p) / np.hypot(*(q - p))
        reach = float(np.dot(place - p, along))
        if -EDGE_MM <= reach <= np.hypot(*(q - p)) + EDGE_MM:
            away = abs(float(along[0] * (place - p)[1] - along[1] * (place - p)[0]))
            found.append((away, name, along))
    found.sort(key=lambda item: item[0])
    if not found:
        return ()
    first = found[0]
    across = [item for item in found if abs(float(np.dot(item[2], first[2]))) < 0.5]
    return tuple((name, away) for away, name, _ in (first, *across[:1]))


_COMPASS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def _corners(ring: Ring) -> Points:
    return np.array(ring.corners_mm, dtype=float)


def _in_ring(corners: Points, xy: Points, grow_mm: float) -> Mask:
    """Even-odd test; a positive `grow_mm` takes in the rim, a negative one leaves it out."""
    x, y = xy[:, 0], xy[:, 1]
    odd = np.zeros(len(xy), dtype=bool)
    rim = np.zeros(len(xy), dtype=bool)
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        straddles = (p[1] > y) != (q[1] > y)
        if straddles.any():
            odd ^= straddles & (x < p[0] + (y - p[1]) * (q[0] - p[0]) / (q[1] - p[1] or 1.0))
        side = q - p
        reach = np.clip(((xy - p) @ side) / max(float(side @ side), 1e-12), 0, 1)
        rim |= np.hypot(*(xy - p - reach[:, None] * side).T) <= abs(grow_mm)
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
