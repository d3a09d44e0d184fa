"""How much one wall's floor line is off level: the lowest tile along it would show the slope.

Only walls that are meant to be level count: those whose corners are to have one height.
"""

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.room import EDGE_MM
from flatcheck.surface import variance

WORDS = "difference of height along a wall that is meant to be level"
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
    falls, xy, z = view.ground.falls, view.surface.xy_mm, view.surface.height_mm
    corners, height = np.array(falls.corners), np.array(falls.corner_mm)
    high, low, number = [], [], []
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
        swap = z[one] < z[other]
        high.append(np.where(swap, other, one))
        low.append(np.where(swap, one, other))
        number.append(np.full(len(one), k))
    if not length:
        return None
    none = np.empty(0, np.int64)
    pairs = np.column_stack([np.concatenate([none, *column]) for column in (high, low)])
    up, down = pairs.T
    signs = np.broadcast_to(np.array([1.0, -1.0]), pairs.shape)
    apart = xy[up] - xy[down]
    return Evidence(
        stations=np.column_stack((up, down, down)),
        value_mm=z[up] - z[down],
        u_mm=np.sqrt(np.maximum(variance(view.surface.cov_mm2, pairs, signs), 1e-12)),
        forms=pairs,
        weights=signs,
        span_mm=np.hypot(apart[:, 0], apart[:, 1]),
        pitch_mm=np.zeros(len(pairs)),
        direction=np.concatenate([none, *number]),
        contact=np.ones(len(pairs), dtype=bool),
        signed=False,
        directions=1,
        plane=None,
        reach_ratio=read / length,
        sloped=True,
    )
