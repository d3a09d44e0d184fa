"""Height of a place less the mean of its two neighbors at equal distances: levelling on a grid.

For steps d_i it is minus half the curvature: t = h_i - (h_(i-1) + h_(i+1))/2. The limit is looked
up with the distance between the two neighbors (DIN 18202 practice). Positive here where the place
is low, as for a gap.
"""

import numpy as np

from flatcheck.evidence import Evidence, View, from_bars
from flatcheck.language import say
from flatcheck.straightedge import bars

WORDS = say("departure from the mean of two neighbors on a grid")
OF = "plane"

EVEN = 0.02
"""How far the place may be from the middle between its neighbors, as a share of their distance."""


def measure(view: View, length_mm: float | None) -> Evidence:
    """Every place midway between two readings, up to `length_mm` apart, or any distance."""
    found = bars(view.lines, view.flat_mm, length_mm)
    midway = np.abs(found.weights[:, 0] - 0.5) <= EVEN
    return from_bars(view, found, midway, signed=True)
