"""The floor under one bar: the profile along its line of readings, and its drawing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go

from flatcheck.assess import Assessment
from flatcheck.places import where
from flatcheck.surface import Lines
from flatcheck.ui.axes import AXIS, INK, LAYOUT, distance_steps, height_steps, ticks
from flatcheck.ui.figures import above_plane
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import Finding, Placement, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


_NOT_A_BAR = {"plane": "required plane", "neighbors": "middle of its neighbors"}
"""What a place is compared with by the measures that lay no bar."""


@dataclass(frozen=True, eq=False)
class Profile:
    """The floor along the line of readings under one bar, and the bar.

    `along_mm` (m,) is the distance from the bar's first contact, toward the second; `floor_mm`
    (m,) the floor above (positive) or below the straight line through the contacts; `places` (m,)
    are the places in words. The bar lies from 0 to `span_mm`; at `at_mm` the floor is `gap_mm`
    below it.
    """

    along_mm: Floats
    floor_mm: Floats
    places: tuple[str, ...]
    span_mm: float
    at_mm: float
    gap_mm: float
    limit_mm: float
    bar: str
    start: str


def profile_of(assessment: Assessment, finding: Finding) -> Profile:
    """The floor along the line of readings under the worst bar of a finding.

    Heights are taken from the straight line through the bar's contacts; under a rule from a plane
    from the required plane, raised to its high place.
    """
    worst = finding.worst
    assert worst is not None  # asked for only where a bar was laid
    piece = next(
        p
        for p in assessment.parts
        if p.name == finding.zone and np.isin(worst.stations, p.stations).all()
    )
    face = next(f for f in piece.faces if f.name == worst.face)
    floor = face.view.surface
    start, at, end = np.searchsorted(piece.stations[face.stations], worst.stations)
    line, along = _line_through(face.view.lines, int(start), int(end), worst.span_mm)
    along = along - along[line == start]
    if along[line == end][0] < 0:
        line, along = line[::-1], -along[::-1]
    from_plane = finding.rule.measure == "plane"
    height = above_plane(face) if from_plane else face.view.flat_mm
    span = float(along[line == end][0])
    rise = 0.0 if from_plane else (height[end] - height[start]) / span
    above = height[line] - height[start] - rise * along
    room, style = assessment.surface.room, assessment.survey.show
    return Profile(
        along_mm=along,
        floor_mm=above,
        places=tuple(where(room, place_of(floor.xy_mm[i]), style) for i in line),
        span_mm=span,
        at_mm=float(along[line == at][0]),
        gap_mm=worst.value_mm,
        limit_mm=worst.limit_mm,
        bar=_NOT_A_BAR.get(finding.rule.measure, "bar"),
        start="high place" if from_plane else f"{_end_name(worst)} end",
    )


def _line_through(
    families: Sequence[Lines], start: int, end: int, span_mm: float
) -> tuple[Ints, Floats]:
    """The stations of the line of readings that holds both, in order, and how far along they lie.

    Two places that no line of readings joins are a line of their own.
    """
    for family in families:
        holds = (family.stations == start).any(axis=1) & (family.stations == end).any(axis=1)
        if holds.any():
            row = int(np.argmax(holds))
            read = family.stations[row] >= 0
            return family.stations[row][read], family.along[row][read]
    return np.array([start, end]), np.array([0.0, span_mm])


def _end_name(worst: Placement) -> str:
    """Which way the bar's first contact looks, by the compass."""
    east, north = (e - s for s, e in zip(worst.start, worst.end, strict=True))
    slight = worst.span_mm / 10
    south_or_north = "south" if north > slight else "north" if north < -slight else ""
    west_or_east = "west" if east > slight else "east" if east < -slight else ""
    return "-".join(side for side in (south_or_north, west_or_east) if side)


def exaggeration(profile: Profile, width_px: float, height_px: float) -> float:
    """How many times taller heights are drawn, so that the profile fills this many pixels.

    Rounded down to one digit.
    """
    wide = float(np.ptp(profile.along_mm))
    tall = max(float(np.ptp(_shown_heights(profile))), 1e-6)
    fits = max(height_px / tall * wide / width_px, 1.0)
    power = 10 ** math.floor(math.log10(fits))
    return float(power * math.floor(fits / power + 1e-9))


def _shown_heights(profile: Profile) -> Floats:
    limit = -math.copysign(profile.limit_mm, profile.gap_mm)
    return np.array([*profile.floor_mm, 0.0, limit])


def profile_figure(profile: Profile, style: Style) -> go.Figure:
    """The floor under the bar, the bar, the gap and the limit; heights exaggerated, and it says so.

    The exaggeration is held at any size of the window: the axes are tied.
    """
    times = exaggeration(profile, 600, 200)
    heights = _shown_heights(profile)
    limit = heights[-1]
    side = "above" if profile.gap_mm < 0 else "below"
    figure = go.Figure()
    figure.add_scatter(
        name="floor",
        x=profile.along_mm,
        y=profile.floor_mm,
        mode="lines+markers",
        line={"color": "#8c5a2b", "width": 2},
        marker={"size": 6},
        hovertext=[
            f"floor {format_length(above, style, sign=True)}<br>{escape(place, quote=False)}"
            for above, place in zip(profile.floor_mm, profile.places, strict=True)
        ],
        hoverinfo="text",
    )
    figure.add_scatter(
        name="limit",
        x=[0, profile.span_mm],
        y=[limit, limit],
        mode="lines",
        line={"color": "#6e7781", "width": 1, "dash": "dash"},
        hoverinfo="skip",
    )
    figure.add_scatter(
        name="bar",
        x=[0, profile.span_mm],
        y=[0, 0],
        mode="lines+markers",
        line={"color": INK, "width": 4},
        marker={"symbol": "square", "size": 9, "color": INK},
        hoverinfo="skip",
    )
    figure.add_scatter(
        name="gap",
        x=[profile.at_mm] * 2,
        y=[0, -profile.gap_mm],
        mode="lines+markers",
        line={"color": INK, "width": 2, "dash": "dot"},
        marker={"symbol": ["line-ew-open", "diamond"], "size": 9, "color": INK},
        hoverinfo="skip",
    )
    figure.add_annotation(
        x=profile.at_mm,
        y=0,
        text=f"<b>{format_length(abs(profile.gap_mm), style)}</b> {side} the {profile.bar}",
        yanchor="top" if profile.gap_mm < 0 else "bottom",
        yshift=-4 if profile.gap_mm < 0 else 4,
        showarrow=False,
    )
    # On the side of the bar away from the gap, where the floor is near its contact.
    left = profile.at_mm > profile.span_mm / 2
    figure.add_annotation(
        x=0 if left else profile.span_mm,
        y=limit,
        text=f"limit {format_length(profile.limit_mm, style)}",
        xanchor="left" if left else "right",
        yanchor="bottom" if limit > 0 else "top",
        showarrow=False,
        font={"size": 12, "color": "#57606a"},
    )
    room = (0.2, 0.1) if profile.gap_mm < 0 else (0.1, 0.2)  # the words stand beside the bar
    wide, tall = float(np.ptp(profile.along_mm)), float(np.ptp(heights))
    along = ticks(profile.along_mm.min(), profile.along_mm.max(), distance_steps(style), 5)
    up = ticks(heights.min(), heights.max(), height_steps(style), 4)
    figure.update_xaxes(
        range=[profile.along_mm.min() - wide * 0.03, profile.along_mm.max() + wide * 0.03],
        tickvals=along,
        ticktext=[format_distance(v, style) for v in along],
        title={
            "text": f"from the {profile.start}<br>heights drawn {times:g} times as tall",
            "font": {"size": 13},
        },
        constrain="domain",
        **AXIS,
    )
    figure.update_yaxes(
        range=[heights.min() - room[0] * tall, heights.max() + room[1] * tall],
        tickvals=up,
        ticktext=[format_length(v, style, sign=True) for v in up],
        scaleanchor="x",
        scaleratio=times,
        constrain="domain",
        **AXIS,
    )
    figure.update_layout(margin={"l": 10, "r": 10, "t": 10, "b": 10}, **LAYOUT)
    return figure
