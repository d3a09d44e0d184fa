"""How far a line of readings leans from the slope it should have, from its first to its last place.

Only along lines whose slope the intent fixes: rows and columns of a floor that is to be level or to
fall one way, columns of a wall that is to be plumb. The limit is looked up with the length of the
line. A line is high toward its end, or low; both count.
"""

import numpy as np

from flatcheck.evidence import Evidence, View
from flatcheck.language import say
from flatcheck.surface import variance

WORDS = say(
    "departure of the end of a line of readings from where it should lie, seen from its start"
)
OF = "plane"

FIXED = {"row": 1, "column": 2}
"""Along which lines each slope of the required plane runs."""


def measure(view: View, length_mm: float | None) -> Evidence:
    """The lean of the line through every station, each way; none where the intent fixes no slope.

    The value is the fall of the line beyond what it should fall: (h_first - h_last) - the plane's.
    """
    xy, z = view.surface.xy_mm, view.surface.height_mm
    rows, number = [np.empty((0, 3), np.int64)], [np.empty(0, np.int64)]
    for way, family in enumerate(view.lines):
        slope = FIXED.get(family.direction)
        if slope is None or np.any(view.plane.form[slope]):
            continue
        for line in family.stations:
            held = line[line >= 0]
            ends = np.broadcast_to(held[[0, -1]], (len(held), 2))
            rows.append(np.column_stack((ends[:, 0], held, ends[:, 1])))
            number.append(np.full(len(held), way))
    stations, direction = np.concatenate(rows), np.concatenate(number)
    forms = stations[:, [0, 2]]
    weights = np.broadcast_to(np.array([1.0, -1.0]), forms.shape)
    apart = xy[forms[:, 1]] - xy[forms[:, 0]]
    value = z[forms[:, 0]] - z[forms[:, 1]] + apart @ view.plane.coef[1:]
    return Evidence(
        stations=stations,
        value_mm=value,
        u_mm=np.sqrt(np.maximum(variance(view.surface.cov_mm2, forms, weights), 1e-12)),
        forms=forms,
        weights=weights,
        span_mm=np.maximum(np.hypot(*apart.T), 1.0),
        pitch_mm=view.pitch_mm[stations[:, 1]],
        direction=direction,
        contact=np.ones(len(stations), bool),
        signed=True,
        directions=1,
        plane=None,
        sloped=True,
    )
