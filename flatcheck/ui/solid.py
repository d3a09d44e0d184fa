"""The floor as a solid: departures raised above and below the plane it should lie in.

Heights are drawn many times as tall, and it says how many. The view is turned by a slider, which
a finger and a key can move as well as a mouse; a finger on the drawing is left to the page, to
scroll it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.report.relief import departures_of
from flatcheck.report.ticks import distance_steps, one_digit, ticks
from flatcheck.ui.drawing import INK
from flatcheck.ui.figures import COLORS, color_marks
from flatcheck.ui.markup import write
from flatcheck.units import format_distance, format_length

if TYPE_CHECKING:
    import plotly.graph_objects as go

TALL = 0.2
"""How tall the departures are drawn, as a share of the longer side of the room."""

FONT = {"family": "Source Sans, sans-serif", "size": 12, "color": INK}
CHART = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False, "showTips": False}

LARGE = 1.15
"""How large the floor is drawn: as large as a phone holds, turned any way."""

AWAY = 1.6
"""How far off the eye stands, in lengths of the longer side."""


def solid_figure(assessment: Assessment, turn_deg: float) -> tuple[go.Figure, float]:
    """The floor seen from `turn_deg`, clockwise from north, and from above.

    With how many times as tall departures are drawn, so that they span about TALL of the side.
    """
    import plotly.graph_objects as go  # only who asks for the solid waits for it

    floor, style = assessment.surface, assessment.survey.show
    above = departures_of(assessment)
    corners = np.array(floor.room.outline.corners_mm)
    low, side = corners.min(axis=0), float(np.ptp(corners, axis=0).max())
    marks = color_marks(float(np.nanmax(np.abs(above))), style)
    times = one_digit(max(TALL * side / (2 * marks[-1]), 1.0))
    figure = go.Figure()
    for piece in assessment.parts:
        own = piece.view.surface
        raised = above[piece.stations]
        faces = own.triangles[np.isfinite(raised)[own.triangles].all(axis=1)]
        figure.add_mesh3d(
            x=own.xy_mm[:, 0],
            y=own.xy_mm[:, 1],
            z=np.nan_to_num(raised) * times,
            **dict(zip("ijk", faces.T, strict=True)),
            intensity=np.nan_to_num(raised),
            colorscale=COLORS,
            cmin=marks[0],
            cmax=marks[-1],
            showscale=False,
            flatshading=True,
            lighting={"ambient": 0.75, "diffuse": 0.5, "specular": 0.0},
            hoverinfo="skip",
        )
    ring = np.vstack((corners, corners[:1]))
    figure.add_scatter3d(
        x=ring[:, 0],
        y=ring[:, 1],
        z=np.zeros(len(ring)),
        mode="lines",
        line={"color": INK, "width": 4},
        hoverinfo="skip",
    )
    high = marks[-1] * times
    across = [ticks(a, a + side, distance_steps(style), 4) for a in low]
    turn = math.radians(turn_deg)
    size = np.ptp(corners, axis=0) / side
    axes = {
        f"{name}axis": {
            "tickvals": values,
            "ticktext": [format_distance(value, style) for value in values],
            "title": "",
            "backgroundcolor": "white",
            "gridcolor": "#d0d7de",
        }
        for name, values in zip("xy", across, strict=True)
    }
    figure.update_layout(
        scene={
            **axes,
            "zaxis": {
                "range": [-high, high],
                "tickvals": [mark * times for mark in marks[::2]],
                "ticktext": [format_length(mark, style, sign=True) for mark in marks[::2]],
                "title": "",
                "backgroundcolor": "white",
                "gridcolor": "#d0d7de",
            },
            "aspectmode": "manual",
            "aspectratio": {
                "x": LARGE * size[0],
                "y": LARGE * size[1],
                "z": LARGE * 2 * high / side,
            },
            "camera": {
                "eye": {"x": AWAY * math.sin(turn), "y": AWAY * math.cos(turn), "z": 0.9},
                "projection": {"type": "orthographic"},
            },
            "dragmode": "turntable",
        },
        font=FONT,
        margin={"l": 0, "r": 0, "t": 0, "b": 0},
        showlegend=False,
        paper_bgcolor="white",
    )
    return figure, times


@st.fragment
def solid(assessment: Assessment) -> None:
    """Drawn when it is asked for."""
    if not st.toggle(say("Show the floor as a solid"), key="solid"):
        return
    turn = st.slider(say("Seen from, in degrees clockwise from north"), 0, 345, 195, 15, key="turn")
    figure, times = solid_figure(assessment, turn)
    st.plotly_chart(figure, height=380, theme=None, config=CHART, key="solid drawing")
    drawn = say(
        "Departures are drawn {times:g} times as tall as they are; the frame is the plane that the "
        "floor should lie in.",
        times=times,
    )
    write(f"<p class=fine>{drawn}</p>")
