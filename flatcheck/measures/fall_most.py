"""How much the floor falls, whichever way it does, over the length of a level.

The value is the drop over the level's length along the steepest way. On a floor that is nearly
level the steepest way is mostly reading error, and the value is then a little too large.
"""

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.language import say
from flatcheck.level import as_evidence, lay

WORDS = say("drop of the floor along its steepest way, over a level's length")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence | None:
    """The drop over a level's length around every station."""
    assert length_mm is not None  # a fall is always over some length
    laid = lay(view, length_mm, view.flow_deg or 0.0)
    steep = np.hypot(*laid.slope.T)[:, None]
    level = np.broadcast_to([0.0, 1.0], laid.slope.shape)
    uphill = np.where(steep > 0, laid.slope / np.where(steep > 0, steep, 1.0), level)
    return as_evidence(view, laid, uphill, length_mm)
