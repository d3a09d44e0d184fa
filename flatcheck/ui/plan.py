"""What the plans have in common: the room to scale, its walls by name, its drains and planes."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from flatcheck.drain import Drain
from flatcheck.facet import Falls
from flatcheck.parts import spread
from flatcheck.report.ticks import distance_steps, ticks
from flatcheck.room import Ring, Room, inside, ring_area, wall_names
from flatcheck.ui.drawing import Colors, Drawing, Line, Words, mark_axes, pieces
from flatcheck.ui.svg import plain, shown
from flatcheck.units import Style, format_distance
from flatcheck.verdict import Place, place_of

Floats = npt.NDArray[np.float64]

FLOOR = "#ffffff"
UNREAD = "#e4e8ec"
SOLID = "#afb8c1"


def size_of(outline: Ring) -> Floats:
    """How far a ring reaches east-west and north-south [mm]."""
    size: Floats = np.ptp(np.array(outline.corners_mm), axis=0)
    return size


def add_ground(drawing: Drawing, room: Room, floor: str) -> None:
    """The floor of a room in one color, and what stands on it in another: below all else."""
    for ring in (room.outline, *room.cutouts):
        fill = floor if ring is room.outline else SOLID
        drawing.add(Line(f"ground of {ring.name}", closed(ring.corners_mm), width_px=0, fill=fill))


def add_room(drawing: Drawing, room: Room) -> None:
    """The outline, dashed where it was assumed, and what stands on the floor, by name."""
    for ring in (room.outline, *room.cutouts):
        dashed = ring is room.outline and room.assumed
        width, dash = (1, "dash") if dashed else (2, "solid")
        drawing.add(Line(ring.name, closed(ring.corners_mm), width_px=width, dash=dash))
    for cutout in room.cutouts:
        middle = place_of(np.array(cutout.corners_mm).mean(axis=0))
        drawing.write(Words("cutout", middle, shown(cutout.name), size_px=11, halo=True))


NAME_PX = 11
"""How far from its wall the name of a wall stands, to the middle of it."""

NARROW_PX = 255
"""How wide the longer side of a room is on a phone, with the names of walls beside it."""

LETTER_PX, LINE_PX = 6.5, 15
"""How wide a letter of a label is, and how tall its line."""


def middle_of(ring: Ring) -> Floats:
    """The middle of the area in a ring; of a ring that bends around it, the nearest place in it."""
    corners = np.array(ring.corners_mm)
    on = corners - corners[0]
    ahead = np.roll(on, -1, axis=0)
    doubled = on[:, 0] * ahead[:, 1] - on[:, 1] * ahead[:, 0]
    middle: Floats = corners[0] + doubled @ (on + ahead) / (6 * ring_area(corners))
    if inside(Room(ring), middle[None])[0]:
        return middle
    places = spread(Room(ring))
    nearest: Floats = places[np.argmin(np.hypot(*(places - middle).T))]
    return nearest


def reach_of(ring: Ring, bearing_deg: float) -> tuple[float, float]:
    """How far a ring reaches from its middle along a bearing, ahead and behind [mm]."""
    corners, turn = np.array(ring.corners_mm), math.radians(bearing_deg)
    way = np.array([math.sin(turn), math.cos(turn)])
    start = corners - middle_of(ring)
    side = np.roll(start, -1, axis=0) - start
    # middle + t way = corner + s side, on the sides that the line meets.
    turned = way[0] * side[:, 1] - way[1] * side[:, 0]
    meets = np.abs(turned) > 1e-9
    start, side, turned = start[meets], side[meets], turned[meets]
    t = (start[:, 0] * side[:, 1] - start[:, 1] * side[:, 0]) / turned
    s = (start[:, 0] * way[1] - start[:, 1] * way[0]) / turned
    t = t[(s >= -1e-9) & (s <= 1 + 1e-9)]
    return float(t[t > 0].min()), float(-t[t < 0].max())


def write_beside(
    drawing: Drawing, ring: Ring, lies: bool, choices: Sequence[str], px_per_mm: float
) -> None:
    """Words in the middle of a plane beside an arrow that `lies` or stands there.

    The first of the choices that fits in it level or else upright, on a phone; the last in any
    case.
    """
    middle = middle_of(ring)

    def fits(words: str, upright: bool) -> bool:
        long = LETTER_PX * max(map(len, plain(words)))
        wide, tall = (LINE_PX, long) if upright else (long, LINE_PX)
        off = (-10 - tall / 2 if upright else 6 + tall / 2) if lies else 9 + wide / 2
        center = np.array([0, off] if lies else [off, 0])
        box = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (wide / 2, tall / 2)
        return bool(inside(Room(ring), middle + (center + box) / px_per_mm).all())

    ways = [(words, upright) for words in choices for upright in (False, True)]
    told, upright = next((way for way in ways if way[0] and fits(*way)), (choices[-1], False))
    if not told:
        return
    side, off = ((0, 1), (0, 6)) if lies else ((1, 0), (9, 0))
    if upright and lies:
        side, off = (0, -1), (0, -10)
    at = place_of(middle)
    drawing.write(Words("beside", at, told, side, off, upright, size_px=13, halo=True))


def closed(corners: Sequence[Sequence[float]]) -> Floats:
    """Corners (n, 2) of a ring [mm], the first once more at the end."""
    return np.array([*corners, corners[0]], dtype=float)


def add_drains(drawing: Drawing, drains: Sequence[Drain], words: str = "{name}") -> None:
    """Every drain as a grate in its outline, its name below it, as `words` have it."""
    for drain in drains:
        name, xy = drain.outline.name, closed(drain.outline.corners_mm)
        drawing.add(Line(f"drain {name}", xy, width_px=1.5, fill="white", hatch="x"))
        below: Place = (float(xy[:, 0].min() + xy[:, 0].max()) / 2, float(xy[:, 1].min()))
        said = words.format(name=shown(name))
        drawing.write(Words("drain", below, said, (0, -1), (0, -2), halo=True))


def add_planes(drawing: Drawing, falls: Falls) -> None:
    """The planes of a floor in thin lines; valleys are solid, ridges dashed."""
    rims = pieces([closed(facet.outline.corners_mm) for facet in falls.facets])
    drawing.add(Line("planes", rims, "#8c959f"))
    for name, valley in (("valleys", True), ("ridges", False)):
        lines = [
            np.array([crease.start, crease.end])
            for crease in falls.creases
            if crease.valley is valley
        ]
        drawing.add(Line(name, pieces(lines), width_px=2, dash="solid" if valley else "dash"))


def outward_of(outline: Ring) -> Floats:
    """Which way is out of the room from each side (n, 2), as unit vectors."""
    corners = np.array(outline.corners_mm)
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.hypot(*along.T)[:, None]
    outward: Floats = np.column_stack((along[:, 1], -along[:, 0]))
    return outward * math.copysign(1.0, ring_area(corners))


def name_sides(
    drawing: Drawing, outline: Ring, names: Sequence[str], away_px: float = NAME_PX
) -> None:
    """Words beside the middle of each side, outside, along it."""
    corners = np.array(outline.corners_mm)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    for name, middle, outward in zip(names, middles, outward_of(outline), strict=bool(names)):
        off = (away_px * float(outward[0]), away_px * float(outward[1]))
        upright = bool(abs(outward[0]) > abs(outward[1]))
        drawing.write(Words("side", place_of(middle), shown(name), (0, 0), off, upright))


BAR_GAP_PX = 4
"""What is left free between the marks below a drawing and its bar of colors."""


def frame(drawing: Drawing, room: Room, style: Style, away_px: float = NAME_PX) -> None:
    """The drawing around a room, its walls by name `away_px` from them, marked as a tape is.

    With room for the bar of its colors, where it has any.
    """
    outline = room.outline
    name_sides(drawing, outline, () if room.assumed else wall_names(room), away_px)
    corners = np.array(outline.corners_mm)
    drawing.low, drawing.high = corners.min(axis=0), corners.max(axis=0)
    across, up = (
        [(v, format_distance(v, style)) for v in ticks(low, high, distance_steps(style), 5)]
        for low, high in zip(drawing.low, drawing.high, strict=True)
    )
    bars = [layer.bar_px + BAR_GAP_PX for layer in drawing.layers if isinstance(layer, Colors)]
    mark_axes(drawing, across, up, sum(bars), away_px + LINE_PX / 2)
