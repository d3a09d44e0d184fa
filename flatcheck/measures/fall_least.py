"""How little the floor falls along the way water should run, over the length of a level.

The value is how far the floor *rises* over the level's length, so a floor that falls has a
negative one, and its limit is the least fall, negative too. Each plane is looked at along its own
line of flow, squarely off its wall, not along a valley.
"""

import math

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.language import say
from flatcheck.level import as_evidence, lay

WORDS = say("rise of the floor along the way water should run, over a level's length")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence | None:
    """The rise over a level's length around every station; None where nothing is meant to fall."""
    assert length_mm is not None  # a fall is always over some length
    if view.flow_deg is None:
        return None
    laid = lay(view, length_mm, view.flow_deg)
    turn = math.radians(view.flow_deg)
    down = np.broadcast_to([math.sin(turn), math.cos(turn)], (len(laid.slope), 2))
    return as_evidence(view, laid, down, length_mm)
