"""The floor under one bar, drawn from the side."""

from html import escape

import numpy as np
import plotly.graph_objects as go

from flatcheck.language import say
from flatcheck.report.section import Profile, exaggeration, shown_heights
from flatcheck.report.ticks import distance_steps, height_steps, ticks
from flatcheck.ui.axes import AXIS, INK, LAYOUT, ROW_PX, margin
from flatcheck.units import Style, format_distance, format_length


def profile_figure(profile: Profile, style: Style) -> go.Figure:
    """The floor under the bar, the bar, the gap and the limit; heights exaggerated, and it says so.

    The exaggeration is held at any size of the window: the axes are tied.
    """
    times = exaggeration(profile, 600, 200)
    heights = shown_heights(profile)
    limit = heights[-1]
    gap = format_length(abs(profile.gap_mm), style)
    figure = go.Figure()
    figure.add_scatter(
        name="floor",
        x=profile.along_mm,
        y=profile.floor_mm,
        mode="lines+markers",
        line={"color": "#8c5a2b", "width": 2},
        marker={"size": 6},
        hovertext=[
            say(
                "floor {height}<br>{place}",
                height=format_length(above, style, sign=True),
                place=escape(place, quote=False),
            )
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
        text=say("<b>{gap}</b> above the {bar}", gap=gap, bar=profile.bar)
        if profile.gap_mm < 0
        else say("<b>{gap}</b> below the {bar}", gap=gap, bar=profile.bar),
        yanchor="top" if profile.gap_mm < 0 else "bottom",
        yshift=-4 if profile.gap_mm < 0 else 4,
        showarrow=False,
    )
    # On the side of the bar away from the gap, where the floor is near its contact.
    left = profile.at_mm > profile.span_mm / 2
    figure.add_annotation(
        x=0 if left else profile.span_mm,
        y=limit,
        text=say("limit {limit}", limit=format_length(profile.limit_mm, style)),
        xanchor="left" if left else "right",
        yanchor="bottom" if limit > 0 else "top",
        showarrow=False,
        font={"size": 12, "color": "#57606a"},
    )
    room = (0.2, 0.1) if profile.gap_mm < 0 else (0.1, 0.2)  # the words stand beside the bar
    wide, tall = float(np.ptp(profile.along_mm)), float(np.ptp(heights))
    along = ticks(profile.along_mm.min(), profile.along_mm.max(), distance_steps(style), 5)
    up = ticks(heights.min(), heights.max(), height_steps(style), 4)
    words = [format_length(v, style, sign=True) for v in up]
    figure.update_xaxes(
        range=[profile.along_mm.min() - wide * 0.03, profile.along_mm.max() + wide * 0.03],
        tickvals=along,
        ticktext=[format_distance(v, style) for v in along],
        title={
            "text": say(
                "from the {start}<br>heights drawn {times:g} times as tall",
                start=profile.start,
                times=times,
            ),
            "font": {"size": 13},
        },
        constrain="domain",
        **AXIS,
    )
    figure.update_yaxes(
        range=[heights.min() - room[0] * tall, heights.max() + room[1] * tall],
        tickvals=up,
        ticktext=words,
        scaleanchor="x",
        scaleratio=times,
        constrain="domain",
        **AXIS,
    )
    figure.update_layout(margin=margin(words, 3 * ROW_PX), **LAYOUT)
    return figure
