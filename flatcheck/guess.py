"""Which demands will bind: a cheap guess, so that a linear program starts with few rows but those.

The cheapest correction d has least price·|d| with A d <= spare. Primal-dual steps go downhill in d
and up in the multipliers y at once,

    d' = shrink(d - t A'y),    y' = max(y + s (A (2 d' - d) - spare), 0),

each station and each demand with its own step, 1 over the sum of its weights (Pock and Chambolle,
ICCV 2011). They come near the optimum in steps that cost two sparse products each, and nowhere near
a proof: what comes of them is not an answer, but the demands that have a multiplier.
"""

import numpy as np
import numpy.typing as npt

from flatcheck.demand import Rows

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LOOKS = ((8, 30), (4, 20), (3, 20))
"""Demands are looked for so many times: how many of each kind at each place are taken up, the most
broken, and how many steps follow."""

BALANCE = 0.5
"""The size of a step in d to one in y: the most broken demand by the dearest price, this much."""

NEAR_MM = 0.5
"""A demand without a multiplier stays in for the next look if it is this near to its limit [mm]."""

NONE = 1e-9
"""The weight of a station that no demand looks at: it is not moved."""


def binding(rows: Rows, price: Floats, most_mm: Floats) -> Ints:
    """The numbers of the demands that are likely to bind, sorted.

    `price` and `most_mm` (2n,) are those of a millimeter filled at each station, then ground.
    """
    unit = float(price.max()) or 1.0
    fill, grind = np.split(price / unit, 2)
    highest, lowest = most_mm[: rows.n], -most_mm[rows.n :]
    d, picked, y = np.zeros(rows.n), np.empty(0, np.int64), np.empty(0)
    long = BALANCE * float(np.max(-rows.spare_mm, initial=0.0))
    for each, steps in LOOKS:
        over = rows.over(d)
        near = (y > 0) | (over[picked] > -NEAR_MM)
        new = np.setdiff1d(rows.worst(over, each), picked[near])
        picked, y = np.append(picked[near], new), np.append(y[near], np.zeros(len(new)))
        forms, spare = rows.forms[picked], rows.spare_mm[picked]
        weights = abs(forms)
        down = long / np.maximum(weights.sum(axis=0), NONE)
        up = 1 / (long * weights.sum(axis=1))
        filled, ground, pull = down * fill, -down * grind, forms.T.tocsr()
        for _ in range(steps):
            at = d - down * (pull @ y)
            at -= np.minimum(np.maximum(at, ground), filled)
            at = np.minimum(np.maximum(at, lowest), highest)
            y = np.maximum(y + up * (forms @ (2 * at - d) - spare), 0.0)
            d = at
    return np.sort(picked[y > 0])
