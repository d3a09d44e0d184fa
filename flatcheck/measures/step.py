"""Change in level between two readings taken close together, on both sides of an edge."""

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.surface import variance

WORDS = "change in level between two readings close together"
OF = "zone"


def measure(view: View, length_mm: float | None) -> Evidence:
    """The difference of height of every two readings up to `length_mm` apart."""
    from scipy.spatial import cKDTree

    assert length_mm is not None  # a change in level is always over some length
    xy, z = view.surface.xy_mm, view.surface.height_mm
    pairs = cKDTree(xy).query_pairs(length_mm, output_type="ndarray").astype(np.int64)
    swap = z[pairs[:, 0]] < z[pairs[:, 1]]
    pairs[swap] = pairs[swap][:, ::-1]
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
        direction=np.zeros(len(pairs), dtype=np.int64),
        contact=np.ones(len(pairs), dtype=bool),
        signed=False,
        directions=1,
        plane=None,
        # An edge is judged where it was read; where else there are edges no reading tells.
        reach_ratio=1.0 if len(pairs) else 0.0,
        sloped=True,
    )
