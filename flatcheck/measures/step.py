"""Change in level between two readings taken close together, on both sides of an edge."""

import numpy as np

from flatcheck.evidence import Evidence, View, from_pairs, high_first
from flatcheck.language import say

WORDS = say("change in level between two readings close together")
OF = "zone"


def measure(view: View, length_mm: float | None) -> Evidence:
    """The difference of height of every two readings up to `length_mm` apart."""
    from scipy.spatial import cKDTree

    assert length_mm is not None  # a change in level is always over some length
    tree = cKDTree(view.surface.xy_mm)
    pairs = tree.query_pairs(length_mm, output_type="ndarray").astype(np.int64).reshape(-1, 2)
    # An edge is judged where it was read; where else there are edges no reading tells.
    reach = 1.0 if len(pairs) else 0.0
    return from_pairs(view, high_first(view.surface.height_mm, pairs), reach_ratio=reach)
