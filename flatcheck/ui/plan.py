"""What the plans have in common: the room to scale, its walls by name, its drains and planes."""

import math
import re
from collections.abc import Sequence
from html import escape

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go

from flatcheck.drain import Drain
from flatcheck.facet import Falls
from flatcheck.parts import spread
from flatcheck.report.ticks import distance_steps, ticks
from flatcheck.room import Ring, Room, inside, ring_area
from flatcheck.ui.axes import AXIS, INK, LAYOUT, ROW_PX, margin
from flatcheck.units import Style, format_distance

Floats = npt.NDArray[np.float64]

FLOOR = "#ffffff"
UNREAD = "#e4e8ec"
SOLID = "#afb8c1"
HALO = "0 0 2px white, 0 0 2px white, 0 0 3px white"


def shown(words: str) -> str:
    """Words that may hold what a person typed, as Plotly is to draw them: its markup is text."""
    return escape(words, quote=False)


def aspect(outline: Ring) -> float:
    """Width of what is drawn over its height."""
    wide, tall = size_of(outline)
    return float(wide / tall)


def size_of(outline: Ring) -> Floats:
    """How far a ring reaches east-west and north-south [mm]."""
    size: Floats = np.ptp(np.array(outline.corners_mm), axis=0)
    return size


def add_room(figure: go.Figure, room: Room, floor: str) -> None:
    """The outline, dashed where it was assumed, and what stands on the floor, by name."""
    for ring in (room.outline, *room.cutouts):
        whole = ring is room.outline
        dashed = whole and room.assumed
        corners = " L ".join(f"{x},{y}" for x, y in ring.corners_mm)
        figure.add_shape(
            type="path",
            path=f"M {corners} Z",
            layer="below",
            line={"width": 0},
            fillcolor=floor if whole else SOLID,
        )
        x, y = closed(ring)
        figure.add_scatter(
            name=shown(ring.name),
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1 if dashed else 2, "dash": "dash" if dashed else "solid"},
            hoverinfo="skip",
        )
    for cutout in room.cutouts:
        x0, y0 = np.array(cutout.corners_mm).mean(axis=0)
        figure.add_annotation(
            x=x0, y=y0, text=shown(cutout.name), showarrow=False, font={"size": 11}
        )


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
    figure: go.Figure, ring: Ring, lies: bool, choices: Sequence[str], px_per_mm: float
) -> None:
    """Words in the middle of a plane beside an arrow that `lies` or stands there.

    The first of the choices that fits in it level or else upright, on a phone; the last in any
    case.
    """
    middle = middle_of(ring)

    def fits(words: str, upright: bool) -> bool:
        long = LETTER_PX * len(re.sub("<[^>]*>", "", words))
        wide, tall = (LINE_PX, long) if upright else (long, LINE_PX)
        off = (-10 - tall / 2 if upright else 6 + tall / 2) if lies else 9 + wide / 2
        center = np.array([0, off] if lies else [off, 0])
        box = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (wide / 2, tall / 2)
        return bool(inside(Room(ring), middle + (center + box) / px_per_mm).all())

    ways = [(words, upright) for words in choices for upright in (False, True)]
    told, upright = next((way for way in ways if way[0] and fits(*way)), (choices[-1], False))
    if not told:
        return
    below = upright and lies
    figure.add_annotation(
        x=middle[0],
        y=middle[1],
        text=told,
        textangle=-90 if upright else 0,
        xshift=0 if lies else 9,
        xanchor="center" if lies else "left",
        yshift=0 if not lies else -10 if below else 6,
        yanchor="middle" if not lies else "top" if below else "bottom",
        showarrow=False,
        font={"size": 13, "color": INK, "shadow": HALO},
    )


def closed(ring: Ring) -> Floats:
    """The corners of a ring, the first once more at the end, as x and y."""
    corners: Floats = np.array([*ring.corners_mm, ring.corners_mm[0]])
    return corners.T


def add_drains(figure: go.Figure, drains: Sequence[Drain], words: str = "{name}") -> None:
    """Every drain as a grate in its outline, its name below it, as `words` have it."""
    for drain in drains:
        x, y = closed(drain.outline)
        figure.add_scatter(
            name=f"drain {shown(drain.outline.name)}",
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1.5},
            fill="toself",
            fillpattern={"shape": "x", "size": 5, "fgcolor": INK, "bgcolor": "white"},
            hoverinfo="skip",
        )
        figure.add_annotation(
            x=(x.min() + x.max()) / 2,
            y=y.min(),
            yanchor="top",
            text=words.format(name=shown(drain.outline.name)),
            showarrow=False,
            font={"size": 12, "shadow": HALO},
        )


def add_planes(figure: go.Figure, falls: Falls) -> None:
    """The planes of a floor in thin lines; valleys are solid, ridges dashed."""
    edges = [
        np.append(closed(facet.outline), [[np.nan], [np.nan]], axis=1) for facet in falls.facets
    ]
    x, y = np.concatenate(edges, axis=1)
    figure.add_scatter(
        name="planes",
        x=x,
        y=y,
        mode="lines",
        line={"color": "#8c959f", "width": 1},
        hoverinfo="skip",
    )
    for name, valley in (("valleys", True), ("ridges", False)):
        lines = [crease for crease in falls.creases if crease.valley is valley]
        figure.add_scatter(
            name=name,
            x=[v for crease in lines for v in (crease.start[0], crease.end[0], None)],
            y=[v for crease in lines for v in (crease.start[1], crease.end[1], None)],
            mode="lines",
            line={"color": INK, "width": 2, "dash": "solid" if valley else "dash"},
            hoverinfo="skip",
        )


def outward_of(outline: Ring) -> Floats:
    """Which way is out of the room from each side (n, 2), as unit vectors."""
    corners = np.array(outline.corners_mm)
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.hypot(*along.T)[:, None]
    outward: Floats = np.column_stack((along[:, 1], -along[:, 0]))
    return outward * math.copysign(1.0, ring_area(corners))


def name_sides(figure: go.Figure, outline: Ring, names: Sequence[str], away_px: float = 11) -> None:
    """Words beside the middle of each side, outside, along it."""
    corners = np.array(outline.corners_mm)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    for name, middle, outward in zip(names, middles, outward_of(outline), strict=bool(names)):
        figure.add_annotation(
            x=middle[0],
            y=middle[1],
            text=shown(name),
            xshift=away_px * outward[0],
            yshift=away_px * outward[1],
            textangle=-90 if abs(outward[0]) > abs(outward[1]) else 0,
            showarrow=False,
            font={"size": 12},
        )


def frame(figure: go.Figure, outline: Ring, style: Style, below_px: int = 0) -> None:
    """Equal axes around an outline, ticked as a tape is, with `below_px` for a bar of colors."""
    corners = np.array(outline.corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    pad = 0.09 * float((high - low).max())
    words: list[str] = []
    for axis, k in (("xaxis", 0), ("yaxis", 1)):
        marks = ticks(low[k], high[k], distance_steps(style), 5)
        words = [format_distance(v, style) for v in marks]
        figure.layout[axis].update(
            range=[low[k] - pad, high[k] + pad],
            tickvals=marks,
            ticktext=words,
            constrain="domain",
            **AXIS | {"showgrid": False},
        )
    figure.update_yaxes(scaleanchor="x", scaleratio=1)
    figure.update_layout(margin=margin(words, ROW_PX + below_px, 5), **LAYOUT)
