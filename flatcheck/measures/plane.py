"""Depth of the floor below the required plane, laid on the high points within a distance.

The plane keeps the slope of the zone's intent and is raised until it touches the highest place
within the distance; the value is how far another place lies below it. For two places that is the
difference of their departures. ANSI A108 wording: variation from the required plane, measured from
the high points.
"""

import numpy as np

from flatcheck.errors import SurveyError
from flatcheck.evidence import Evidence, View
from flatcheck.intent import departures
from flatcheck.language import say
from flatcheck.straightedge import MOST_BARS, REACH_MM
from flatcheck.surface import variance

WORDS = say("depth below the required plane, measured from the high points")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence:
    """The difference of departures of every two places up to `length_mm` apart, high less low."""
    from scipy.spatial import cKDTree

    surface, plane = view.surface, view.plane
    reach = np.inf if length_mm is None else length_mm + REACH_MM
    tree = cKDTree(surface.xy_mm)
    if tree.count_neighbors(tree, reach) > 2 * MOST_BARS:
        raise SurveyError(
            say(
                "{count} readings are too many to compare in pairs; read on a wider grid, or "
                "judge the floor in zones.",
                count=len(surface.xy_mm),
            )
        )
    pairs = tree.query_pairs(reach, output_type="ndarray").astype(np.int64)
    above = departures(plane, surface.xy_mm, surface.height_mm)
    swap = above[pairs[:, 0]] < above[pairs[:, 1]]
    pairs[swap] = pairs[swap][:, ::-1]
    high, low = pairs.T
    signs = np.broadcast_to(np.array([1.0, -1.0]), pairs.shape)
    apart = surface.xy_mm[high] - surface.xy_mm[low]
    # u² of (e_h - e_l) - (x_h - x_l) F e, e the errors of the heights and F the plane's form.
    slopes = plane.form[1:]
    spread = slopes * surface.cov_mm2 if surface.cov_mm2.ndim == 1 else slopes @ surface.cov_mm2
    u2 = variance(surface.cov_mm2, pairs, signs)
    u2 -= 2 * np.einsum("kd,dk->k", apart, spread[:, high] - spread[:, low])
    u2 += np.einsum("ki,ij,kj->k", apart, spread @ slopes.T, apart)
    pitch = view.pitch_mm
    return Evidence(
        stations=np.column_stack((high, low, low)),
        value_mm=above[high] - above[low],
        u_mm=np.sqrt(np.maximum(u2, 1e-12)),
        forms=pairs,
        weights=signs,
        span_mm=np.hypot(apart[:, 0], apart[:, 1]),
        pitch_mm=np.maximum(pitch[high], pitch[low]),
        direction=np.zeros(len(pairs), np.int64),
        contact=np.ones(len(pairs), bool),
        signed=False,
        directions=1,
        plane=plane,
    )
