"""Departure of the floor from a straightedge that stands on two equal blocks.

The bar is carried at its two ends, so the line is the one between the feet; the floor shows below
it (positive) and above it (negative). A different measurand from the resting bar: a hump between
the feet shows here.
"""

import numpy as np

from flatcheck.evidence import Evidence, View, from_bars
from flatcheck.language import say
from flatcheck.straightedge import bars

WORDS = say("departure from a straightedge on two equal blocks")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence:
    """Every departure under a bar of `length_mm`, its feet on readings.

    Where the readings are not spaced to suit, the bar is the longest that fits within the length;
    so it is where the floor is shorter than the bar.
    """
    found = bars(view.lines, view.flat_mm, length_mm)
    # For each foot, the farthest other foot that the length allows.
    foot = found.direction * len(view.surface.xy_mm) + found.stations[:, 0]
    farthest = np.zeros(foot.max(initial=0) + 1)
    np.maximum.at(farthest, foot, found.span_mm)
    back = found.direction * len(view.surface.xy_mm) + found.stations[:, 2]
    farthest_back = np.zeros(back.max(initial=0) + 1)
    np.maximum.at(farthest_back, back, found.span_mm)
    longest = (found.span_mm >= farthest[foot] - 1e-6) & (
        found.span_mm >= farthest_back[back] - 1e-6
    )
    return from_bars(view, found, longest, signed=True)
