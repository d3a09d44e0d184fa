"""How much one wall's floor line is off level: the lowest tile along it would show the slope.

Only walls that are meant to be level count: those whose corners are to have one height.
"""

import numpy as np

from flatcheck.evidence import Evidence, View, from_pairs, high_first
from flatcheck.language import say
from flatcheck.room import EDGE_MM

WORDS = say("difference of height along a wall that is meant to be level")
OF = "zone"

ALONG_MM = 50.0
"""A reading this near to a wall is a reading of its floor line: half a rod's foot and a skirting.

Common practice, no source."""


def measure(view: View, length_mm: float | None) -> Evidence | None:
    """The difference of every two readings along a level wall, up to `length_mm` apart.

    `reach_ratio` is the share of the length of these walls that lies between readings.
    """
    if view.ground is None:
        return None
    falls, xy = view.ground.falls, view.surface.xy_mm
    corners, height = np.array(falls.corners), np.array(falls.corner_mm)
    pairs, number = [np.empty((0, 2), np.int64)], [np.empty(0, np.int64)]
    length = read = 0.0
    for k in range(len(corners)):
        p, q = corners[k], corners[(k + 1) % len(corners)]
        if abs(height[k] - height[(k + 1) % len(corners)]) > 1e-6:
            continue
        side = float(np.hypot(*(q - p)))
        reach = (xy - p) @ (q - p) / side
        off = np.abs((q - p)[0] * (xy - p)[:, 1] - (q - p)[1] * (xy - p)[:, 0]) / side
        on = np.flatnonzero((off <= ALONG_MM) & (reach >= -EDGE_MM) & (reach <= side + EDGE_MM))
        length += side
        if len(on) < 2:
            continue
        # The last reading before a corner stands for the corner.
        read += min(side, float(np.ptp(reach[on])) + 4 * ALONG_MM)
        one, other = np.triu_indices(len(on), 1)
        near = np.abs(reach[on[one]] - reach[on[other]]) <= (length_mm or np.inf) + EDGE_MM
        one, other = on[one[near]], on[other[near]]
        pairs.append(np.column_stack((one, other)))
        number.append(np.full(len(one), k))
    if not length:
        return None
    found = high_first(view.surface.height_mm, np.concatenate(pairs))
    return from_pairs(view, found, np.concatenate(number), read / length)
