"""Rooms and patterns for tests of layouts, and what shapely says of them by brute force."""

import math

import numpy as np
from shapely import Polygon, box
from shapely.affinity import rotate, translate
from shapely.geometry import LineString
from shapely.ops import unary_union

from flatcheck.bond import Pattern
from flatcheck.drain import Drain, Falls, falls_to
from flatcheck.room import Ring, Room, rectangle
from flatcheck.tile import Tile

ELL = Ring("ell", ((0, 0), (3600, 0), (3600, 1500), (2100, 1500), (2100, 3000), (0, 3000)))
COLUMN = rectangle(905, 740, 1205, 1010, "column")
PIPE = rectangle(1440, 2210, 1470, 2240, "pipe")
PLAIN = rectangle(0, 0, 3600, 2700)
DRAIN = Drain(rectangle(1700, 1250, 1850, 1400, "drain"))

ROOMS: dict[str, tuple[Room, tuple[Drain, ...], tuple[Falls, ...]]] = {
    "rectangle": (Room(PLAIN), (), ()),
    "L": (Room(ELL), (), ()),
    "column": (Room(ELL, (COLUMN, PIPE)), (), ()),
    "drain": (Room(PLAIN), (DRAIN,), (falls_to(PLAIN, DRAIN.outline, 0.02),)),
}

PATTERNS: dict[str, tuple[Tile, Pattern]] = {
    "aligned": (Tile(600, 300, 4), Pattern(origin=(37, 21))),
    "running bond": (Tile(600, 300, 4), Pattern("running bond", 1 / 3)),
    "any offset": (Tile(450, 300, 4), Pattern("running bond", 0.27, rotation_deg=90)),
    "diagonal": (Tile(300, 300, 4), Pattern("diagonal", origin=(5, 8))),
    "herringbone": (Tile(610, 200, 4), Pattern("herringbone", rotation_deg=45)),
    "modular": (Tile(400, 300, 4), Pattern("modular", second_mm=(150, 220), rotation_deg=-20)),
    "plank": (
        Tile(1200, 180, 4),
        Pattern("plank", lengths_mm=(600, 900, 1200), end_mm=150, rotation_deg=17),
    ),
}


def polygon(ring: Ring) -> Polygon:
    return Polygon(ring.corners_mm)


def floor(name: str) -> Polygon:
    """The floor of a room, drains and cutouts taken off."""
    room, drains, _ = ROOMS[name]
    taken = [polygon(ring) for ring in (*room.cutouts, *(drain.outline for drain in drains))]
    return polygon(room.outline).difference(unary_union(taken))


def planes(name: str, joint: float) -> list[Polygon]:
    """The floor as its planes, half a joint off every crease; in one where it does not fall."""
    _, _, falls = ROOMS[name]
    if not falls:
        return [floor(name)]
    creases = [LineString((c.start, c.end)) for fall in falls for c in fall.creases]
    bands = [_longer(line, joint).buffer(joint / 2, cap_style="flat") for line in creases]
    return [
        polygon(facet.outline).difference(unary_union(bands))
        for fall in falls
        for facet in fall.facets
    ]


def _longer(line: LineString, by: float) -> LineString:
    """A straight line made longer at both ends."""
    p, q = np.array(line.coords)
    way = (q - p) / line.length * by
    return LineString((p - way, q + way))


def repeated(tile: Tile, pattern: Pattern, reach: int = 40) -> list[Polygon]:
    """Tiles of the patterns in rows, one by one, rows and columns counted from the origin."""
    turn = pattern.rotation_deg + (45 if pattern.kind == "diagonal" else 0)
    long, wide = tile.length_mm + tile.joint_mm, tile.width_mm + tile.joint_mm
    found = []
    for row in range(-reach, reach):
        for column in range(-reach, reach):
            west = column * long + math.fmod(row * pattern.offset_ratio, 1.0) * long
            one = box(west, row * wide, west + tile.length_mm, row * wide + tile.width_mm)
            found.append(translate(rotate(one, turn, origin=(0, 0)), *pattern.origin))
    return found


def split(tiles: list[Polygon], parts: list[Polygon]) -> tuple[int, list[Polygon]]:
    """How many tiles lie whole on one part of the floor, and all pieces of the others.

    What is thinner than a millimeter on average is no piece.
    """
    full, pieces = 0, []
    for tile in tiles:
        for part in parts:
            if tile.disjoint(part):
                continue
            left = tile.intersection(part)
            if left.area > tile.area - 0.5:
                full += 1
                continue
            some = getattr(left, "geoms", [left])
            pieces += [
                one for one in some if one.geom_type == "Polygon" and one.area > one.length / 2
            ]
    return full, pieces


def facing(pieces, tiles, joint: float) -> list[tuple[int, int, float]]:
    """Every two pieces that face each other across a joint, and how long: side against side.

    A side of a cut piece that a wall or column made counts no less than one of the tile: only what
    lies between the two tells a joint from a wall, and no wall here is as thin as a joint.
    """
    sides = []
    for k, piece in enumerate(pieces):
        ring = np.array(piece)
        for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            if np.hypot(*(q - p)) > 0.01:
                sides.append((k, p, q))
    lows = np.array([np.minimum(p, q) for _, p, q in sides]) - joint - 1
    highs = np.array([np.maximum(p, q) for _, p, q in sides]) + joint + 1
    found: dict[tuple[int, int], float] = {}
    for i, (k, p, q) in enumerate(sides):
        way = (q - p) / np.hypot(*(q - p))
        near = ((lows <= highs[i]) & (highs >= lows[i])).all(axis=1)
        for j in np.flatnonzero(near):
            m, r, s = sides[j]
            if m <= k or float((s - r) @ way) > -0.999999 * np.hypot(*(s - r)):
                continue
            # Interiors lie to the left, so the other side lies to the right of this one.
            off = way[1] * (np.array([r, s]) - p)[:, 0] - way[0] * (np.array([r, s]) - p)[:, 1]
            if np.abs(off - joint).max() > 0.01:
                continue
            along = sorted(float((end - p) @ way) for end in (r, s))
            over = min(along[1], float(np.hypot(*(q - p)))) - max(along[0], 0.0)
            if over > 0.01:
                found[k, m] = found.get((k, m), 0.0) + over
    return [(k, m, length) for (k, m), length in sorted(found.items())]
