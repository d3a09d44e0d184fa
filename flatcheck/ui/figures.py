"""The floor as a map: what is drawn, and the drawing.

Pictures of an assessment; nothing is judged here. Interpolated heights only color the map.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment, Part
from flatcheck.intent import departures
from flatcheck.report.text import SPOTS
from flatcheck.report.words import outcome_of, spot_words, where
from flatcheck.room import Ring, inside, ring_area, wall_names
from flatcheck.surface import station_pitch
from flatcheck.ui.axes import AXIS, INK, LAYOUT, distance_steps, height_steps, ticks
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import Finding, Placement, Spot

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CELLS = 150
"""Cells of the colored map along the room's longer side; more is slow on a phone."""

MOST_DOTS = 1000
"""More readings than this are thinned on the map, the farthest from the plane kept."""

COLORS = "RdBu_r"
"""Blue is low, red is high: told apart with any of the common kinds of color blindness."""

UNREAD = "#e4e8ec"
SOLID = "#afb8c1"
HALO = "0 0 2px white, 0 0 2px white, 0 0 3px white"


@dataclass(frozen=True, eq=False)
class Raster:
    """Departures from the required plane on a grid of square cells, `step_mm` wide.

    `x_mm` (nx,), `y_mm` (ny,) are the middles of the cells, `above_mm` (ny, nx) the departures;
    NaN outside the room and where no three readings surround the cell.
    """

    x_mm: Floats
    y_mm: Floats
    step_mm: float
    above_mm: Floats


def departures_of(assessment: Assessment) -> Floats:
    """How far each station (n,) lies above the required plane of its zone [mm]."""
    above = np.full(len(assessment.surface.height_mm), np.nan)
    for piece in assessment.parts:
        above[piece.stations] = above_plane(piece)
    return above


def above_plane(piece: Part) -> Floats:
    floor = piece.view.surface
    return departures(piece.view.plane, floor.xy_mm, floor.height_mm)


def raster(assessment: Assessment) -> Raster:
    """Departures between the readings, linear on each triangle of readings, zone by zone.

    A cell that holds readings shows the one farthest from the plane, so thinning hides no peak.
    """
    room = assessment.surface.room
    corners = np.array(room.outline.corners_mm)
    low = corners.min(axis=0)
    size = corners.max(axis=0) - low
    step = float(size.max()) / CELLS
    nx, ny = (max(1, math.ceil(s / step - 1e-9)) for s in size)
    above = np.full((ny, nx), np.nan)
    for piece in assessment.parts:
        xy, value = piece.view.surface.xy_mm, above_plane(piece)
        _fill(above, (xy - low) / step - 0.5, value, piece.view.surface.triangles)
        order = np.argsort(np.abs(value))
        column, row = np.clip(((xy - low) / step).astype(np.int64), 0, (nx - 1, ny - 1)).T
        above[row[order], column[order]] = value[order]
    x = low[0] + (np.arange(nx) + 0.5) * step
    y = low[1] + (np.arange(ny) + 0.5) * step
    grid = Raster(x, y, step, above)
    above[~inside(room, _middles(grid)).reshape(ny, nx)] = np.nan
    return grid


def _middles(grid: Raster) -> Floats:
    return np.stack(np.meshgrid(grid.x_mm, grid.y_mm), axis=-1).reshape(-1, 2)


def _fill(above: Floats, xy: Floats, value: Floats, triangles: Ints) -> None:
    """Writes the linear interpolation on triangles to the cells whose middles they hold.

    `xy` (n, 2) is in cells: the middle of cell (row, column) is at (column, row).
    """
    corners = xy[triangles]
    first = np.ceil(corners.min(axis=1) - 1e-9).astype(np.int64)
    count = np.maximum(np.floor(corners.max(axis=1) + 1e-9).astype(np.int64) - first + 1, 0)
    cells = count.prod(axis=1)
    owner = np.repeat(np.arange(len(triangles)), cells)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(cells) - cells, cells)
    column = first[owner, 0] + number % count[owner, 0]
    row = first[owner, 1] + number // count[owner, 0]
    a, b, c = (corners[owner, k] for k in range(3))
    p = np.column_stack((column, row))
    whole = _cross(b - a, c - a)
    share = np.column_stack((_cross(b - p, c - p), _cross(c - p, a - p), _cross(a - p, b - p)))
    share /= whole[:, None]
    held = (share >= -1e-9).all(axis=1)
    mixed = (share * value[triangles[owner]]).sum(axis=1)
    above[row[held], column[held]] = mixed[held]


def _cross(a: Floats, b: Floats) -> Floats:
    product: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product


def outline_of(assessment: Assessment, grid: Raster, spot: Spot) -> tuple[Floats, Floats]:
    """The edges (x, y) [mm] of the floor that belongs to a spot, each followed by NaN.

    A cell belongs to its nearest station, and not farther from it than halfway to the next one.
    """
    floor = assessment.surface
    # A little aside, so that cells just halfway between stations all go to the same one.
    middles = _middles(grid) + grid.step_mm * np.array([1e-4, 2e-4])
    _, nearest = cKDTree(floor.xy_mm).query(middles)
    away = np.abs(middles - floor.xy_mm[nearest]).max(axis=1)
    mine = np.isin(nearest, spot.stations) & inside(floor.room, middles)
    mine &= away <= station_pitch(floor)[nearest] / 2 + grid.step_mm / 2
    held = np.pad(mine.reshape(grid.above_mm.shape), 1)
    row, column = np.nonzero(held[:, 1:] != held[:, :-1])
    across = _edges(column, row - 1, (0, 1))
    row, column = np.nonzero(held[1:] != held[:-1])
    along = _edges(column - 1, row, (1, 0))
    x, y = np.concatenate((across, along)).T
    corner = grid.x_mm[0] - grid.step_mm / 2, grid.y_mm[0] - grid.step_mm / 2
    return corner[0] + x * grid.step_mm, corner[1] + y * grid.step_mm


def _edges(x: Ints, y: Ints, toward: tuple[int, int]) -> Floats:
    start = np.column_stack((x, y)).astype(float)
    return np.stack((start, start + toward, np.full_like(start, np.nan)), axis=1).reshape(-1, 2)


def place_of(xy: Floats) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def thinned(xy: Floats, above: Floats, most: int) -> Ints:
    """At most about `most` of the stations, in each square of floor the farthest from the plane."""
    if len(xy) <= most:
        return np.arange(len(xy))
    low = xy.min(axis=0)
    size = np.maximum(xy.max(axis=0) - low, 1.0)
    square = math.sqrt(float(size.prod()) / most)
    cell = ((xy - low) / square).astype(np.int64)
    order = np.argsort(-np.abs(above), kind="stable")
    _, first = np.unique(cell[order], axis=0, return_index=True)
    kept: Ints = np.sort(order[first])
    return kept


def worst_of(assessment: Assessment) -> Finding | None:
    """The finding to show: one that decided the verdict, with the largest share of its limit."""
    verdict = assessment.verdict

    def gravity(finding: Finding) -> tuple[bool, float]:
        worst = finding.worst
        share = abs(worst.value_mm) / worst.limit_mm if worst else 0.0
        return outcome_of(finding, verdict.decision) is verdict.outcome, share

    laid = [finding for finding in verdict.findings if finding.worst]
    return max(laid, key=gravity, default=None)


def floor_map(assessment: Assessment) -> go.Figure:
    """The floor from above: departures in color, readings, spots, the worst bar, walls by name."""
    survey, floor = assessment.survey, assessment.surface
    style, room = survey.show, floor.room
    above = departures_of(assessment)
    grid = raster(assessment)
    figure = go.Figure()
    _add_colors(figure, grid, above, style)
    for ring in (room.outline, *room.cutouts):
        x, y = np.array([*ring.corners_mm, ring.corners_mm[0]]).T
        whole = ring is room.outline
        dashed = whole and room.assumed
        corners = " L ".join(f"{x},{y}" for x, y in ring.corners_mm)
        figure.add_shape(
            type="path",
            path=f"M {corners} Z",
            layer="below",
            line={"width": 0},
            fillcolor=UNREAD if whole else SOLID,
        )
        figure.add_scatter(
            name=escape(ring.name, quote=False),
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1 if dashed else 2, "dash": "dash" if dashed else "solid"},
            hoverinfo="skip",
        )
    dots = thinned(floor.xy_mm, above, MOST_DOTS)
    figure.add_scatter(
        name="readings",
        x=floor.xy_mm[dots, 0],
        y=floor.xy_mm[dots, 1],
        mode="markers",
        marker={"size": 4 if len(dots) < 300 else 2, "color": INK, "opacity": 0.55},
        hovertext=[
            f"<b>{format_length(above[i], style, sign=True)}</b> from the required plane<br>"
            f"{escape(where(room, place_of(floor.xy_mm[i]), style), quote=False)}<br>"
            f"{escape(floor.where[i], quote=False)}"
            for i in dots
        ],
        hoverinfo="text",
    )
    for spot in assessment.verdict.spots[:SPOTS]:
        x, y = outline_of(assessment, grid, spot)
        figure.add_scatter(
            name=f"edge of spot {spot.number}",
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1.5},
            hoverinfo="skip",
        )
    finding = worst_of(assessment)
    if finding and finding.worst:
        _add_bar(figure, finding, finding.worst, style)
    _add_spots(figure, assessment)
    _name_walls(figure, room.outline, () if room.assumed else wall_names(room))
    for cutout in room.cutouts:
        x0, y0 = np.array(cutout.corners_mm).mean(axis=0)
        figure.add_annotation(
            x=x0,
            y=y0,
            text=escape(cutout.name, quote=False),
            showarrow=False,
            font={"size": 11},
        )
    _frame(figure, room.outline, style)
    return figure


def map_aspect(assessment: Assessment) -> float:
    """Width of the room over its height on the map."""
    corners = np.array(assessment.surface.room.outline.corners_mm)
    wide, tall = corners.max(axis=0) - corners.min(axis=0)
    return float(wide / tall)


def _add_colors(figure: go.Figure, grid: Raster, above: Floats, style: Style) -> None:
    finest = height_steps(style)[0]
    step = finest * max(1, math.ceil(float(np.abs(above).max()) / (2 * finest) - 1e-9))
    marks = [step * k for k in (-2, -1, 0, 1, 2)]
    figure.add_heatmap(
        name="departures",
        x=grid.x_mm,
        y=grid.y_mm,
        z=grid.above_mm,
        colorscale=COLORS,
        zmin=marks[0],
        zmax=marks[-1],
        hoverinfo="skip",
        colorbar={
            "orientation": "h",
            "thickness": 12,
            "len": 0.85,
            "y": 0,
            "yref": "container",
            "yanchor": "bottom",
            "ypad": 0,
            "tickvals": marks,
            "ticktext": [format_length(v, style, sign=True) for v in marks],
        },
    )


def _add_bar(figure: go.Figure, finding: Finding, worst: Placement, style: Style) -> None:
    compared = finding.rule.measure == "plane"
    words = (
        f"{format_length(abs(worst.value_mm), style)} against "
        f"{format_length(worst.limit_mm, style)} over {format_distance(worst.span_mm, style)}"
    )
    for color, width in (("white", 8), (INK, 4)):
        figure.add_scatter(
            name="worst" if color == INK else "rim of worst",
            x=[worst.start[0], worst.end[0]],
            y=[worst.start[1], worst.end[1]],
            mode="lines+markers",
            line={"color": color, "width": width, "dash": "dot" if compared else "solid"},
            marker={"symbol": "square", "size": width + 6, "color": color},
            hovertext=f"worst: {words}",
            hoverinfo="text",
        )


def _add_spots(figure: go.Figure, assessment: Assessment) -> None:
    room, style = assessment.surface.room, assessment.survey.show
    for high in (True, False):
        shown = [spot for spot in assessment.verdict.spots[:SPOTS] if spot.high is high]
        symbol = "triangle-up" if high else "triangle-down"
        figure.add_scatter(
            name="high" if high else "low",
            x=[spot.at[0] for spot in shown],
            y=[spot.at[1] for spot in shown],
            mode="markers+text",
            text=[f"<b>{spot.number}</b>" for spot in shown],
            textposition="middle right",
            textfont={"size": 14, "color": INK, "shadow": HALO},
            marker={
                "symbol": symbol,
                "size": 11,
                "color": [INK if spot.proven else "white" for spot in shown],
                "line": {"color": INK, "width": 2},
            },
            hovertext=[
                f"<b>{spot.number}</b> "
                + escape(spot_words(spot, room, style), quote=False).replace("; ", "<br>")
                for spot in shown
            ],
            hoverinfo="text",
        )


def _name_walls(figure: go.Figure, outline: Ring, names: Sequence[str]) -> None:
    corners = np.array(outline.corners_mm)
    turn = math.copysign(1.0, ring_area(corners))
    ends = np.roll(corners, -1, axis=0)
    for name, start, end in zip(names, corners, ends, strict=bool(names)):
        along = (end - start) / np.hypot(*(end - start))
        outward = np.array([along[1], -along[0]]) * turn
        figure.add_annotation(
            x=(start[0] + end[0]) / 2,
            y=(start[1] + end[1]) / 2,
            text=escape(name, quote=False),
            xshift=11 * outward[0],
            yshift=11 * outward[1],
            textangle=-90 if abs(along[1]) > abs(along[0]) else 0,
            showarrow=False,
            font={"size": 12},
        )


def _frame(figure: go.Figure, outline: Ring, style: Style) -> None:
    corners = np.array(outline.corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    pad = 0.09 * float((high - low).max())
    for axis, k in (("xaxis", 0), ("yaxis", 1)):
        marks = ticks(low[k], high[k], distance_steps(style), 5)
        figure.layout[axis].update(
            range=[low[k] - pad, high[k] + pad],
            tickvals=marks,
            ticktext=[format_distance(v, style) for v in marks],
            constrain="domain",
            **AXIS | {"showgrid": False},
        )
    figure.update_yaxes(scaleanchor="x", scaleratio=1)
    figure.update_layout(margin={"l": 5, "r": 5, "t": 5, "b": 60}, **LAYOUT)
