"""The floor as a map: what is drawn, and the drawing.

Pictures of an assessment; nothing is judged here. Interpolated heights only color the map.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.relief import departures_of, thinned, worst_of
from flatcheck.report.text import SPOTS
from flatcheck.report.ticks import height_steps
from flatcheck.report.words import spot_words
from flatcheck.room import inside, wall_names
from flatcheck.surface import station_pitch
from flatcheck.ui.axes import INK
from flatcheck.ui.plan import (
    HALO,
    UNREAD,
    add_drains,
    add_planes,
    add_room,
    aspect,
    frame,
    name_sides,
    shown,
)
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import Finding, Placement, Spot, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CELLS = 150
"""Cells of the colored map along the room's longer side; more is slow on a phone."""

MOST_DOTS = 1000
"""More readings than this are thinned on the map, the farthest from the plane kept."""

COLORS = "RdBu_r"
"""Blue is low, red is high: told apart with any of the common kinds of color blindness."""

NO_PLANE = say("<b>on no plane</b>: a drain, or too few readings to tell")


@dataclass(frozen=True, eq=False)
class Raster:
    """Departures from the required plane, or depths, on a grid of square cells `step_mm` wide.

    `x_mm` (nx,), `y_mm` (ny,) are the middles of the cells, `above_mm` (ny, nx) the departures;
    NaN outside the room and where no three readings surround the cell.
    """

    x_mm: Floats
    y_mm: Floats
    step_mm: float
    above_mm: Floats


def raster(assessment: Assessment) -> Raster:
    """Departures between the readings, linear on each triangle of readings, zone by zone.

    Where two planes meet it is the departures that run on across, not the heights: a valley or a
    ridge as it should be is at its planes.
    """
    return raster_of(assessment, departures_of(assessment))


def raster_of(assessment: Assessment, every: Floats) -> Raster:
    """What each station (n,) has, between the stations; NaN for a station that has nothing.

    A cell that holds readings shows the one farthest from zero, so thinning hides no peak.
    """
    room = assessment.surface.room
    corners = np.array(room.outline.corners_mm)
    low = corners.min(axis=0)
    size = corners.max(axis=0) - low
    step = float(size.max()) / CELLS
    nx, ny = (max(1, math.ceil(s / step - 1e-9)) for s in size)
    above = np.full((ny, nx), np.nan)
    for piece in assessment.parts:
        xy, value = piece.view.surface.xy_mm, every[piece.stations]
        known = np.isfinite(value)
        triangles = piece.view.surface.triangles
        triangles = triangles[known[triangles].all(axis=1)]
        _fill(above, (xy - low) / step - 0.5, value, triangles)
        order = np.argsort(np.abs(value))[: np.count_nonzero(known)]
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


def owners_of(assessment: Assessment, grid: Raster) -> Ints:
    """The station (ny, nx) that each cell belongs to; -1 where it belongs to none.

    That is its nearest one, and not farther from it than halfway to the next one.
    """
    floor = assessment.surface
    # A little aside, so that cells just halfway between stations all go to the same one.
    middles = _middles(grid) + grid.step_mm * np.array([1e-4, 2e-4])
    _, nearest = cKDTree(floor.xy_mm).query(middles)
    away = np.abs(middles - floor.xy_mm[nearest]).max(axis=1)
    near = away <= station_pitch(floor)[nearest] / 2 + grid.step_mm / 2
    owners: Ints = np.where(near & inside(floor.room, middles), nearest, -1)
    return owners.reshape(grid.above_mm.shape)


def outline_of(owners: Ints, grid: Raster, spot: Spot) -> tuple[Floats, Floats]:
    """The edges (x, y) [mm] of the floor that belongs to a spot, each followed by NaN."""
    held = np.pad(np.isin(owners, spot.stations), 1)
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


def floor_map(assessment: Assessment) -> go.Figure:
    """The floor from above: departures in color, readings, spots, the worst bar, walls by name."""
    survey, floor = assessment.survey, assessment.surface
    style, room = survey.show, floor.room
    above = departures_of(assessment)
    grid = raster(assessment)
    figure = go.Figure()
    _add_colors(figure, grid, above, style)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(figure, piece.view.ground.falls)
    add_room(figure, room, UNREAD)
    add_drains(figure, survey.drains)
    dots = thinned(floor.xy_mm, above, MOST_DOTS)
    figure.add_scatter(
        name="readings",
        x=floor.xy_mm[dots, 0],
        y=floor.xy_mm[dots, 1],
        mode="markers",
        marker={"size": 4 if len(dots) < 300 else 2, "color": INK, "opacity": 0.55},
        customdata=dots,
        hovertext=[
            f"{_off_words(above[i], style)}<br>"
            f"{shown(where(room, place_of(floor.xy_mm[i]), style))}<br>"
            f"{shown(floor.where[i])}"
            for i in dots
        ],
        hoverinfo="text",
    )
    _add_outlines(figure, assessment, grid)
    finding = worst_of(assessment)
    if finding and finding.worst:
        _add_bar(figure, finding, finding.worst, style)
    _add_spots(figure, assessment)
    name_sides(figure, room.outline, () if room.assumed else wall_names(room))
    frame(figure, room.outline, style, 40)
    return figure


def _add_outlines(figure: go.Figure, assessment: Assessment, grid: Raster) -> None:
    spots = assessment.verdict.spots[:SPOTS]
    owners = owners_of(assessment, grid) if spots else np.empty((0, 0), dtype=np.int64)
    for spot in spots:
        x, y = outline_of(owners, grid, spot)
        figure.add_scatter(
            name=f"edge of spot {spot.number}",
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1.5},
            hoverinfo="skip",
        )


def _off_words(above: float, style: Style) -> str:
    if math.isnan(above):
        return NO_PLANE
    return say(
        "<b>{departure}</b> from the required plane",
        departure=format_length(above, style, sign=True),
    )


def map_aspect(assessment: Assessment) -> float:
    """Width of the room over its height on the map."""
    return aspect(assessment.surface.room.outline)


def _add_colors(figure: go.Figure, grid: Raster, above: Floats, style: Style) -> None:
    marks = color_marks(float(np.nanmax(np.abs(above))), style)
    words = [format_length(v, style, sign=True) for v in marks]
    add_colors(figure, "departures", grid, COLORS, marks, words)


def color_marks(most_mm: float, style: Style) -> list[float]:
    """Where the bar of colors is marked: zero in the middle, the ends at `most_mm` or beyond."""
    finest = height_steps(style)[0]
    step = finest * max(1, math.ceil(most_mm / (2 * finest) - 1e-9))
    return [step * k for k in (-2, -1, 0, 1, 2)]


def add_colors(
    figure: go.Figure,
    name: str,
    grid: Raster,
    scale: str | Sequence[tuple[float, str]],
    marks: Sequence[float],
    words: Sequence[str],
) -> None:
    """The colored map, with its bar of colors below, marked with words."""
    figure.add_heatmap(
        name=name,
        x=grid.x_mm,
        y=grid.y_mm,
        z=grid.above_mm,
        colorscale=scale,
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
            "ticktext": words,
        },
    )


def _add_bar(figure: go.Figure, finding: Finding, worst: Placement, style: Style) -> None:
    compared = finding.rule.measure == "plane"
    words = say(
        "worst: {value} against {limit} over {span}",
        value=format_length(abs(worst.value_mm), style),
        limit=format_length(worst.limit_mm, style),
        span=format_distance(worst.span_mm, style),
    )
    for color, width in (("white", 8), (INK, 4)):
        figure.add_scatter(
            name="worst" if color == INK else "rim of worst",
            x=[worst.start[0], worst.end[0]],
            y=[worst.start[1], worst.end[1]],
            mode="lines+markers",
            line={"color": color, "width": width, "dash": "dot" if compared else "solid"},
            marker={"symbol": "square", "size": width + 6, "color": color},
            hovertext=words,
            hoverinfo="text",
        )


def _add_spots(figure: go.Figure, assessment: Assessment) -> None:
    room, style = assessment.surface.room, assessment.survey.show
    for high in (True, False):
        told = [spot for spot in assessment.verdict.spots[:SPOTS] if spot.high is high]
        symbol = "triangle-up" if high else "triangle-down"
        figure.add_scatter(
            name="high" if high else "low",
            x=[spot.at[0] for spot in told],
            y=[spot.at[1] for spot in told],
            mode="markers+text",
            text=[f"<b>{spot.number}</b>" for spot in told],
            textposition="middle right",
            textfont={"size": 14, "color": INK, "shadow": HALO},
            marker={
                "symbol": symbol,
                "size": 11,
                "color": [INK if spot.proven else "white" for spot in told],
                "line": {"color": INK, "width": 2},
            },
            hovertext=[
                f"<b>{spot.number}</b> "
                + shown(spot_words(spot, room, style)).replace("; ", "<br>")
                for spot in told
            ],
            hoverinfo="text",
        )
