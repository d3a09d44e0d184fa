"""How far every place lies off a level, where nobody says at what height that level is.

The level is taken midway between the highest and the lowest place: wherever it was meant to be, the
floor is no nearer to it than to this one.
"""

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.language import say
from flatcheck.surface import variance

WORDS = say("height of a place off the level midway between the highest and the lowest")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence:
    """(h_highest + h_lowest) / 2 - h at every station; none where the floor is not to be level."""
    z = view.surface.height_mm
    level = not np.any(view.plane.form[1:]) and not np.any(view.plane.coef[1:])
    here = np.arange(len(z)) if level else np.empty(0, np.int64)
    high, low = int(np.argmax(z)), int(np.argmin(z))
    stations = np.column_stack((np.full(len(here), high), here, np.full(len(here), low)))
    weights = np.tile([0.5, -1.0, 0.5], (len(here), 1))
    # The ends themselves: a form names each height once.
    weights[here == high] = [-0.5, 0.0, 0.5]
    weights[here == low] = [0.5, 0.0, -0.5]
    return Evidence(
        stations=stations,
        value_mm=np.sum(weights * (z[stations] - z.mean()), axis=1),
        u_mm=np.sqrt(np.maximum(variance(view.surface.cov_mm2, stations, weights), 1e-12)),
        forms=stations,
        weights=weights,
        span_mm=np.ones(len(here)),
        pitch_mm=view.pitch_mm[here],
        direction=np.zeros(len(here), np.int64),
        contact=np.ones(len(here), bool),
        signed=True,
        directions=1,
        plane=None,
        sloped=True,
    )
