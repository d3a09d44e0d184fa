"""Falls to a drain: the planes that a floor must be made of, and the lines where they meet.

A plane runs from every wall of a zone down to the drain. Seen from above, the floor between the
walls and the drain is a ring; it is cut into triangles that each join a wall to a corner of the
drain, or a side of the drain to a corner of the walls, in the order in which the walls face.
Triangles of one plane are joined. What remains between neighbors is a *valley*, where water from
both runs together, or a *ridge*, where it parts. For a rectangular drain in a rectangular room
with level walls that gives four planes and four valleys, from the drain's corners to the room's.

Heights are above the rim of the drain. They grow in proportion to the fall, so the planes lie
where they lie whatever the fall is.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from flatcheck.compass import bearing_of, side_of
from flatcheck.errors import RoomError
from flatcheck.facet import Crease, Falls, corners_of, facet_of
from flatcheck.language import say
from flatcheck.room import Ring, Room, inside, ring_area, wall_names
from flatcheck.units import KG_PER_POUND, M2_PER_SQUARE_FOOT, MM_PER_INCH

Points = npt.NDArray[np.float64]

TOUCHES_MM = 25.0
"""A drain this near to a wall reaches it: the rest is joint and trim [mm].

Common practice, no source."""

MOST_CORNERS = 64
"""More corners, of a zone and its drain together, are planes that nobody screeds."""

SAME_FALL = 1e-9
"""Two triangles whose slopes differ by less than this are one plane [ratio]."""


@dataclass(frozen=True)
class Drain:
    """A drain: its outline at floor level, and the height of its rim.

    `rim_mm` is how far the rim is to stand above the surveyed floor at the drain, where that is
    fixed; None where the falls may decide it.
    """

    outline: Ring
    rim_mm: float | None = None


HELD_MM = 50.0
"""A height that must not change is that of readings no farther than this from it [mm]."""


@dataclass(frozen=True)
class Hold:
    """A place whose height must not change, such as the floor at an entry without a curb [mm].

    It may rise by `rise_mm`, as much as a threshold there can take up.
    """

    name: str
    at: tuple[float, float]
    rise_mm: float = 0.0


@dataclass(frozen=True)
class Bed:
    """A mortar bed: least and most thickness [mm], and weight per area and thickness [kg/m²/mm].

    `cover_mm` is what will lie on it, tile and its mortar: the bed ends that much below the planes.
    A bed of 1-1/4 to 2 in is usual for floors (trade pages on methods F103 and A108.1A/B agree),
    and one of mortar weighs 12 lb/ft² per inch (one trade page).
    """

    least_mm: float = 1.25 * MM_PER_INCH
    most_mm: float = 2 * MM_PER_INCH
    cover_mm: float = 0.0
    weight_kg_m2_mm: float = 12 * KG_PER_POUND / M2_PER_SQUARE_FOOT / MM_PER_INCH

    def __post_init__(self) -> None:
        if not 0 <= self.least_mm <= self.most_mm:
            raise RoomError(say("bed: least must not be more than most, and neither below zero."))
        if not 0 <= self.cover_mm < math.inf:
            raise RoomError(say("bed: the cover must not be below zero."))
        if not self.weight_kg_m2_mm > 0:
            raise RoomError(say("bed: the weight must be larger than zero."))


def falls_to(
    outline: Ring,
    drain: Ring,
    least_ratio: float,
    linear: bool = False,
    names: tuple[str, ...] = (),
) -> Falls:
    """The planes from every wall of a zone to its drain, none flatter than `least_ratio`.

    All walls are level at one height, set by the longest run: the flattest plane falls by
    `least_ratio`. With `linear` (a channel), the walls along the channel are level, each at its
    own height, and the walls at its ends run between them: the planes on both sides fall by
    `least_ratio` unless the way past the channel's end is longer. `names` are those of the walls,
    in the order of the outline's corners; without them they are called by the compass.

    Raises RoomError where the drain lies outside the zone, is not convex, or does not see every
    wall, and where both have too many corners.
    """
    walls = corners_of(outline)
    rim = _snapped(_convex(drain), walls)
    if len(walls) + len(rim) > MOST_CORNERS:
        raise RoomError(
            say(
                "{zone} and {drain} have {count} corners together, and falls are laid out for "
                "up to {most}; draw what is round with fewer.",
                zone=outline.name,
                drain=drain.name,
                count=len(walls) + len(rim),
                most=MOST_CORNERS,
            )
        )
    check_drain(drain.name, rim, Room(outline), outline.name)
    height = _channel_walls(walls, rim) if linear else np.ones(len(walls))
    pieces = _pieces(outline, walls, rim, height)
    if not pieces:
        raise RoomError(
            say("{drain}: the drain fills {zone}.", drain=drain.name, zone=outline.name)
        )
    # Heights so far are relative; the flattest plane sets the scale.
    flattest = min(math.hypot(a, b) for _, _, (_, a, b) in pieces)
    if not flattest > 0:
        raise RoomError(
            say(
                "{drain}: a plane of {zone} would not fall at all.",
                drain=drain.name,
                zone=outline.name,
            )
        )
    scale = least_ratio / flattest
    called = _names(outline, names, pieces)
    facets = tuple(
        facet_of(name, outer, inner, (scale * c, scale * a, scale * b))
        for name, (outer, inner, (c, a, b)) in zip(called, pieces, strict=True)
    )
    return Falls(
        facets,
        _creases(pieces),
        tuple((float(x), float(y)) for x, y in walls),
        tuple(float(scale * h) for h in height),
    )


def check_drain(name: str, corners: Points, room: Room, called: str) -> None:
    """The drain lies in a room. Raises RoomError where it does not, or only in part."""
    within = inside(room, np.vstack((corners, corners.mean(axis=0))))
    if not within.all():
        raise RoomError(
            say("{drain}: the drain reaches outside {room}.", drain=name, room=called)
            if within.any()
            else say("{drain}: the drain lies outside {room}.", drain=name, room=called)
        )


_Piece = tuple[Points, Points, tuple[float, float, float]]


def _convex(drain: Ring) -> Points:
    corners = corners_of(drain)
    before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
    if (before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0).any():
        raise RoomError(
            say(
                "{drain}: the outline of a drain has no corner that points inward.",
                drain=drain.name,
            )
        )
    return corners


def _snapped(rim: Points, walls: Points) -> Points:
    """The drain's corners, those that nearly reach a wall moved onto it.

    Only those on its side toward that wall: a channel may be narrower than what counts as near.
    """
    rim = rim.copy()
    for p, q in zip(walls, np.roll(walls, -1, axis=0), strict=True):
        along = (q - p) / np.hypot(*(q - p))
        off = along[0] * (rim - p)[:, 1] - along[1] * (rim - p)[:, 0]
        reach = (rim - p) @ along
        near = (np.abs(off) <= TOUCHES_MM) & (off - off.min() < np.ptp(off) / 2)
        near &= reach > -TOUCHES_MM
        near &= reach < np.hypot(*(q - p)) + TOUCHES_MM
        rim[near] -= off[near, None] * np.array([-along[1], along[0]])
    return rim


def _channel_walls(walls: Points, rim: Points) -> Points:
    """Relative heights of the room's corners around a channel: its fall is one in one.

    A corner is as high as it lies off the channel's side, or as its wall lies off the channel's
    end, whichever is farther: else water would stand between the channel's end and the wall.
    """
    sides = np.roll(rim, -1, axis=0) - rim
    along = sides[int(np.argmax(np.hypot(*sides.T)))]
    along = along / np.hypot(*along)
    across = np.array([-along[1], along[0]])
    span, width = rim @ along, rim @ across
    past_end = np.maximum(span.min() - walls @ along, walls @ along - span.max())
    off_side = np.maximum(width.min() - walls @ across, walls @ across - width.max())
    height: Points = np.maximum(np.maximum(past_end, off_side), 0.0)
    # Along a wall that runs with the channel the higher end decides, so that it stays level.
    for k in range(len(walls)):
        n = (k + 1) % len(walls)
        if abs(float((walls[n] - walls[k]) @ across)) < 1.0:
            height[k] = height[n] = max(height[k], height[n])
    return height


def _pieces(outline: Ring, walls: Points, rim: Points, height: Points) -> list[_Piece]:
    """The ring between walls and drain as planes: outer chain, inner chain, coefficients."""
    m, n = len(walls), len(rim)
    # The drain's side that faces as wall 0 ends with it, so wall 0 must not come down to its end,
    # nor lie behind a corner that points inward, where the facing turns back.
    rises, (along, apart) = height <= np.roll(height, -1), _sides(walls)
    outermost = (along[:, None, 0] * apart[..., 1] - along[:, None, 1] * apart[..., 0] > -1).all(1)
    first = int(np.argmax(rises * (1 + outermost)))
    walls, height = np.roll(walls, -first, axis=0), np.roll(height, -first)
    facing = _turned(walls)
    drain_facing = _turned(rim)
    # Start with the drain's side that faces as the first wall does, or the last before it.
    ahead = (drain_facing - facing[0]) % (2 * math.pi)
    ahead[ahead < 1e-9] = 2 * math.pi
    k = int(np.argmin(ahead))
    to_go = drain_facing - drain_facing[k]
    turned = facing[0] + ahead[k] + np.where(to_go < 0, to_go + 2 * math.pi, to_go)
    steps: list[tuple[list[Points], list[Points]]] = []
    corner = k  # the drain's corner that the walls are joined to at present
    done = 0
    for i in range(m):
        # A side of the drain that faces as the wall does is joined to the wall's lower end.
        lower_first = 1e-9 if height[i] < height[(i + 1) % m] else -1e-9
        while done < n and turned[(k + done) % n] < facing[i] + lower_first:
            steps.append(([walls[i]], [rim[corner], rim[(corner + 1) % n]]))
            corner, done = (corner + 1) % n, done + 1
        steps.append(([walls[i], walls[(i + 1) % m]], [rim[corner]]))
    while done < n:
        steps.append(([walls[0]], [rim[corner], rim[(corner + 1) % n]]))
        corner, done = (corner + 1) % n, done + 1
    at = {tuple(wall): float(h) for wall, h in zip(walls, height, strict=True)}
    pieces: list[_Piece] = []
    for outer, inner in steps:
        corners = np.array([*outer, *inner[::-1]])
        doubled = 2 * ring_area(corners)
        if abs(doubled) < 1.0 + 1e-3 * float(np.ptp(corners, axis=0).max()):
            continue  # the drain touches the wall here
        if doubled < 0:
            raise RoomError(
                say(
                    "{zone}: its drain does not see every wall squarely; give the part of the "
                    "floor behind the corner a zone of its own.",
                    zone=outline.name,
                )
            )
        heights = np.array([*(at[tuple(p)] for p in outer), *(0.0 for _ in inner)])
        c, a, b = np.linalg.solve(np.column_stack((np.ones(3), corners)), heights)
        pieces.append((np.array(outer), np.array(inner), (float(c), float(a), float(b))))
    return _joined(pieces)


def _sides(corners: Points) -> tuple[Points, Points]:
    """Each side as a unit vector (m, 2), and every corner as seen from its start (m, m, 2)."""
    along = np.roll(corners, -1, axis=0) - corners
    return along / np.hypot(*along.T)[:, None], corners[None] - corners[:, None]


def _turned(corners: Points) -> Points:
    """The way each side faces outward [radians], unwound so that it grows by turns."""
    sides = np.roll(corners, -1, axis=0) - corners
    way = np.arctan2(-sides[:, 0], sides[:, 1])
    turns = (np.diff(way) + math.pi) % (2 * math.pi) - math.pi
    return np.concatenate(([way[0]], way[0] + np.cumsum(turns)))


def _joined(pieces: list[_Piece]) -> list[_Piece]:
    """Neighboring triangles of one plane as one piece."""

    def same(one: _Piece, other: _Piece) -> bool:
        slopes = np.array(one[2][1:]) - np.array(other[2][1:])
        return bool(np.hypot(*slopes) < SAME_FALL + 1e-6 * np.hypot(*one[2][1:])) and bool(
            np.allclose(one[0][-1], other[0][0]) and np.allclose(one[1][-1], other[1][0])
        )

    joined: list[_Piece] = []
    for piece in pieces:
        if joined and same(joined[-1], piece):
            last = joined[-1]
            joined[-1] = (
                np.vstack((last[0], piece[0][1:])),
                np.vstack((last[1], piece[1][1:])),
                last[2],
            )
        else:
            joined.append(piece)
    if len(joined) > 1 and same(joined[-1], joined[0]):
        last, first = joined.pop(), joined[0]
        joined[0] = (
            np.vstack((last[0], first[0][1:])),
            np.vstack((last[1], first[1][1:])),
            first[2],
        )
    return joined


def _creases(pieces: list[_Piece]) -> tuple[Crease, ...]:
    """Where neighbors in the ring meet; a valley where each lies above the other's plane."""
    found = []
    for i, j in pairwise([*range(len(pieces)), 0]) if len(pieces) > 1 else ():
        one, other = pieces[i], pieces[j]
        if not (np.allclose(one[0][-1], other[0][0]) and np.allclose(one[1][-1], other[1][0])):
            continue  # the drain touches the wall between them
        middle = np.vstack((one[0], one[1])).mean(axis=0)
        own, across = (p[2][0] + float(middle @ np.array(p[2][1:])) for p in (one, other))
        start, end = other[0][0], other[1][0]
        found.append(
            Crease(
                (float(start[0]), float(start[1])),
                (float(end[0]), float(end[1])),
                own > across,
                (i, j),
            )
        )
    return tuple(found)


def _names(outline: Ring, walls: tuple[str, ...], pieces: list[_Piece]) -> list[str]:
    """What each plane is called: after its wall, or the corner that it comes from."""
    corners = np.array(outline.corners_mm)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    along = np.roll(corners, -1, axis=0) - corners
    along = along / np.hypot(*along.T)[:, None]
    walls = walls or wall_names(Room(outline))
    names = []
    for outer, _, (_, a, b) in pieces:
        if len(outer) > 1:
            away = (outer[0] + outer[1]) / 2 - middles
            off = np.abs(away[:, 0] * along[:, 1] - away[:, 1] * along[:, 0])
            near = np.flatnonzero(off < 1.0)  # the sides on the line of this wall
            k = near[np.argmin(np.hypot(*away[near].T))]
            names.append(say("{wall} plane", wall=walls[k]))
        else:
            names.append(say("{side} corner plane", side=side_of(bearing_of(a, b))))
    counted = [(name, names[:k].count(name)) for k, name in enumerate(names)]
    return [f"{name} {1 + before}" if before else name for name, before in counted]
