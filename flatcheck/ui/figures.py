"""The floor as a map: what is drawn, and the drawing.

Pictures of an assessment; nothing is judged here. Interpolated heights only color the map.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.relief import departures_of, thinned, worst_of
from flatcheck.report.text import SPOTS
from flatcheck.report.ticks import height_steps
from flatcheck.report.words import spot_words
from flatcheck.room import inside
from flatcheck.surface import station_pitch
from flatcheck.ui.drawing import INK, Colors, Drawing, Line, Scale, Signs, Words, located
from flatcheck.ui.plan import (
    UNREAD,
    add_drains,
    add_ground,
    add_planes,
    add_room,
    frame,
)
from flatcheck.ui.svg import shown
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import Finding, Placement, Spot, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CELLS = 150
"""Cells of the colored map along the room's longer side; more is slow on a phone."""

MOST_DOTS = 1000
"""More readings than this are thinned on the map, the farthest from the plane kept."""

COLORS = tuple(
    (k / 10, color)
    for k, color in enumerate(
        (
            "#053061",
            "#2166ac",
            "#4393c3",
            "#92c5de",
            "#d1e5f0",
            "#f7f7f7",
            "#fddbc7",
            "#f4a582",
            "#d6604d",
            "#b2182b",
            "#67001f",
        )
    )
)
"""Blue is low, red is high: told apart with any of the common kinds of color blindness. The eleven
classes RdBu of ColorBrewer, turned round."""

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


def outline_of(owners: Ints, grid: Raster, spot: Spot) -> Floats:
    """The edges (n, 2) [mm] of the floor that belongs to a spot, the pen lifted between them."""
    held = np.pad(np.isin(owners, spot.stations), 1)
    row, column = np.nonzero(held[:, 1:] != held[:, :-1])
    across = _edges(column, row - 1, (0, 1))
    row, column = np.nonzero(held[1:] != held[:-1])
    along = _edges(column - 1, row, (1, 0))
    corner = np.array([grid.x_mm[0], grid.y_mm[0]]) - grid.step_mm / 2
    edges: Floats = corner + np.concatenate((across, along)) * grid.step_mm
    return edges


def _edges(x: Ints, y: Ints, toward: tuple[int, int]) -> Floats:
    start = np.column_stack((x, y)).astype(float)
    return np.stack((start, start + toward, np.full_like(start, np.nan)), axis=1).reshape(-1, 2)


def floor_map(assessment: Assessment) -> Drawing:
    """The floor from above: departures in color, readings, spots, the worst bar, walls by name."""
    survey, floor = assessment.survey, assessment.surface
    style, room = survey.show, floor.room
    above = departures_of(assessment)
    grid = raster(assessment)
    drawing = Drawing(say("Map of the floor: where it is high and low"))
    add_ground(drawing, room, UNREAD)
    _add_colors(drawing, grid, above, style)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(drawing, piece.view.ground.falls)
    add_room(drawing, room)
    add_drains(drawing, survey.drains)
    dots = thinned(floor.xy_mm, above, MOST_DOTS)
    drawing.add(
        Signs(
            "readings",
            floor.xy_mm[dots],
            size_px=4 if len(dots) < 300 else 2,
            opacity=0.55,
            told=[
                f"{_off_words(above[i], style)}<br>"
                f"{shown(where(room, place_of(floor.xy_mm[i]), style))}<br>"
                f"{shown(floor.where[i])}"
                for i in dots
            ],
            numbers=dots.tolist(),
        )
    )
    _add_outlines(drawing, assessment, grid)
    finding = worst_of(assessment)
    if finding and finding.worst:
        _add_bar(drawing, finding, finding.worst, style)
    _add_spots(drawing, assessment)
    frame(drawing, room, style)
    return drawing


def _add_outlines(drawing: Drawing, assessment: Assessment, grid: Raster) -> None:
    spots = assessment.verdict.spots[:SPOTS]
    owners = owners_of(assessment, grid) if spots else np.empty((0, 0), dtype=np.int64)
    for spot in spots:
        edge = outline_of(owners, grid, spot)
        drawing.add(Line(f"edge of spot {spot.number}", edge, width_px=1.5))


def _off_words(above: float, style: Style) -> str:
    if math.isnan(above):
        return NO_PLANE
    return say(
        "<b>{departure}</b> from the required plane",
        departure=format_length(above, style, sign=True),
    )


def _add_colors(drawing: Drawing, grid: Raster, above: Floats, style: Style) -> None:
    marks = color_marks(float(np.nanmax(np.abs(above))), style)
    words = [format_length(v, style, sign=True) for v in marks]
    add_colors(drawing, "departures", grid, COLORS, marks, words)


def color_marks(most_mm: float, style: Style) -> list[float]:
    """Where the bar of colors is marked: zero in the middle, the ends at `most_mm` or beyond."""
    finest = height_steps(style)[0]
    step = finest * max(1, math.ceil(most_mm / (2 * finest) - 1e-9))
    return [step * k for k in (-2, -1, 0, 1, 2)]


def add_colors(
    drawing: Drawing,
    name: str,
    grid: Raster,
    scale: Scale,
    marks: Sequence[float],
    words: Sequence[str],
) -> None:
    """The colored map, with its bar of colors below, marked with words."""
    drawing.add(
        Colors(name, grid.x_mm, grid.y_mm, grid.step_mm, grid.above_mm, scale, marks, words)
    )


def _add_bar(drawing: Drawing, finding: Finding, worst: Placement, style: Style) -> None:
    words = say(
        "worst: {value} against {limit} over {span}",
        value=format_length(abs(worst.value_mm), style),
        limit=format_length(worst.limit_mm, style),
        span=format_distance(worst.span_mm, style),
    )
    ends = np.array([worst.start, worst.end])
    dash = "dot" if finding.rule.measure == "plane" else "solid"
    drawing.add(
        Line("worst", ends, width_px=4, dash=dash, halo_px=4, told=words),
        Signs("ends of worst", ends, "square", 10, halo_px=4),
    )


def _add_spots(drawing: Drawing, assessment: Assessment) -> None:
    room, style = assessment.surface.room, assessment.survey.show
    for high in (True, False):
        told = [spot for spot in assessment.verdict.spots[:SPOTS] if spot.high is high]
        name, sign = ("high", "up") if high else ("low", "down")
        drawing.add(
            Signs(
                name,
                located([spot.at for spot in told]),
                sign,
                11,
                fill=[INK if spot.proven else "white" for spot in told],
                edge_px=2,
                told=[
                    f"<b>{spot.number}</b> "
                    + "<br>".join(map(shown, spot_words(spot, room, style).split("; ")))
                    for spot in told
                ],
            )
        )
        drawing.write(
            *(
                Words(name, spot.at, f"<b>{spot.number}</b>", (1, 0), (9, 0), size_px=14, halo=True)
                for spot in told
            )
        )
