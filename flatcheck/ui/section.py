"""The floor under one bar, drawn from the side."""

import numpy as np

from flatcheck.language import say
from flatcheck.report.section import Profile, exaggeration, shown_heights
from flatcheck.report.ticks import distance_steps, height_steps, ticks
from flatcheck.ui.drawing import ROW_PX, Drawing, Line, Signs, Words, mark_axes, pieces
from flatcheck.ui.svg import shown
from flatcheck.units import Style, format_distance, format_length

GRID = "#eaeef2"


def profile_figure(profile: Profile, style: Style) -> Drawing:
    """The floor under the bar, the bar, the gap and the limit; heights exaggerated, and it says so.

    The exaggeration is held at any size of the window.
    """
    times = exaggeration(profile, 600, 200)
    heights = shown_heights(profile)
    limit, span = float(heights[-1]), profile.span_mm
    wide, tall = float(np.ptp(profile.along_mm)), float(np.ptp(heights))
    begins, ends = float(profile.along_mm.min()), float(profile.along_mm.max())
    drawing = Drawing(say("The floor under the bar, from the side"), times=times)
    room = (0.2, 0.1) if profile.gap_mm < 0 else (0.1, 0.2)  # the words stand beside the bar
    drawing.low = np.array([begins - wide * 0.03, heights.min() - room[0] * tall])
    drawing.high = np.array([ends + wide * 0.03, heights.max() + room[1] * tall])
    along = ticks(begins, ends, distance_steps(style), 5)
    up = ticks(heights.min(), heights.max(), height_steps(style), 4)
    (west, south), (east, north) = drawing.low.tolist(), drawing.high.tolist()
    lines = [((at, south), (at, north)) for at in along] + [((west, z), (east, z)) for z in up]
    drawing.add(Line("grid", pieces([np.array(ends) for ends in lines]), GRID))
    floor = np.column_stack((profile.along_mm, profile.floor_mm))
    lowest = np.array([(profile.at_mm, -profile.gap_mm)])
    drawing.add(
        Line("floor", floor, "#8c5a2b", 2),
        Signs(
            "floor read",
            floor,
            size_px=6,
            fill="#8c5a2b",
            told=[
                say(
                    "floor {height}<br>{place}",
                    height=format_length(above, style, sign=True),
                    place=shown(place),
                )
                for above, place in zip(profile.floor_mm, profile.places, strict=True)
            ],
        ),
        Line("limit", np.array([(0.0, limit), (span, limit)]), "#6e7781", dash="dash"),
        Line("bar", np.array([(0.0, 0.0), (span, 0.0)]), width_px=4),
        Signs("contacts", np.array([(0.0, 0.0), (span, 0.0)]), "square", 9),
        Line("gap", np.array([(profile.at_mm, 0.0), *lowest]), width_px=2, dash="dot"),
        Signs("lowest", lowest, "diamond", 9),
    )
    gap = format_length(abs(profile.gap_mm), style)
    high = profile.gap_mm < 0
    words = (
        say("<b>{gap}</b> above the {bar}", gap=gap, bar=profile.bar)
        if high
        else say("<b>{gap}</b> below the {bar}", gap=gap, bar=profile.bar)
    )
    side = -1 if high else 1
    drawing.write(Words("gap", (profile.at_mm, 0.0), words, (0, side), (0, 4 * side), size_px=14))
    # On the side of the bar away from the gap, where the floor is near its contact.
    left = profile.at_mm > span / 2
    said = say("limit {limit}", limit=format_length(profile.limit_mm, style))
    at = (0.0 if left else span, limit)
    drawing.write(Words("limit", at, said, (1 if left else -1, 1 if limit > 0 else -1), halo=True))
    stated = say(
        "from the {start}<br>heights drawn {times:g} times as tall",
        start=profile.start,
        times=times,
    )
    middle = ((west + east) / 2, south)
    drawing.write(Words("stated", middle, stated, (0, -1), (0, -ROW_PX), size_px=13))
    mark_axes(
        drawing,
        [(v, format_distance(v, style)) for v in along],
        [(v, format_length(v, style, sign=True)) for v in up],
        2 * ROW_PX,
    )
    return drawing
