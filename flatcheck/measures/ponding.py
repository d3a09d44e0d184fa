"""How deep water stands at a place before it finds its way to the drain.

The value at a station is the height of the lowest way out less its own: the depth of the water
standing there, or, where it is negative, how much the place drains freely. Both are the difference
of two heights. Water does not leave over the walls, nor over the line to another zone.
"""

import numpy as np

from flatcheck.evidence import Evidence, View, from_pairs
from flatcheck.language import say
from flatcheck.water import fill, sides

WORDS = say("depth of water that stands before it runs to the drain")
OF = "zone"


def measure(view: View, length_mm: float | None) -> Evidence | None:
    """The depth at every station that is not on a drain; None where the floor need not drain.

    Without a reading on a drain there is no value: nothing tells how high water must rise to leave.
    """
    if view.ground is None:
        return None
    floor, drained = view.surface, view.ground.drained >= 0
    filled = fill(floor.height_mm, sides(floor.triangles)[0], drained)
    here = np.flatnonzero(np.isfinite(filled.margin_mm))
    return from_pairs(view, np.column_stack((filled.gate[here], here)).astype(np.int64))
