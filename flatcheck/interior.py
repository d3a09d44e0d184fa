"""Linear programs of many rows, each over a few neighboring unknowns: an interior point method.

Every round solves A'DA dx = r, whose pattern is that of neighbors on a floor: a sparse
factorization takes it in a tenth of a second, where general solvers build bases row by row.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.sparse import csc_array, csr_array, diags_array

Floats = npt.NDArray[np.float64]

MOST_ROUNDS = 120
"""Programs that have room inside end in some forty rounds."""

GAP = 1e-8
"""How near the cost must be to its proven bound, as a share of it."""

LEFT = 1e-6
"""What rows and the dual program may be left open by, as a share of the largest number in them."""

SHORT = 0.995
"""The share of the way to the nearest bound that is gone."""


def least(cost: Floats, rows: csr_array, right: Floats) -> Floats | None:
    """The x (n,) of least cost'x with rows x <= right; None where that was not come to.

    Mehrotra's predictor and corrector: S. Mehrotra, SIAM J. Optimization 2 (1992), 575-601. Where
    it ends, all rows hold. Every unknown must stand in some row. A program whose rows leave no
    room inside, or that has no answer, may end without one.
    """
    try:
        with np.errstate(all="ignore"):  # without an answer prices or slacks grow out of hand
            return _searched(cost, csc_array(rows), csr_array(rows.T), right)
    except RuntimeError:  # a square that cannot be factored
        return None


def _searched(cost: Floats, rows: csc_array, across: csr_array, right: Floats) -> Floats | None:
    from scipy.sparse.linalg import splu  # slow to import, and most surveys do not need it

    def square(weight: Floats) -> csc_array:
        whole = csc_array(across @ (diags_array(weight) @ rows))
        return csc_array(whole + diags_array(1e-14 * whole.diagonal() + 1e-10))

    def factored(whole: csc_array) -> Callable[[Floats], Floats]:
        symmetric = {"SymmetricMode": True}
        solver = splu(whole, "MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=symmetric)
        return lambda wanted: np.asarray(solver.solve(wanted))

    many = len(right)
    solve = factored(square(np.ones(many)))
    x = solve(across @ right)
    slack, price = right - rows @ x, -(rows @ solve(cost))
    slack, price = (v + max(-1.5 * float(v.min()), 0.0) + 1e-3 for v in (slack, price))
    both = float(slack @ price) / 2
    slack, price = slack + both / price.sum(), price + both / slack.sum()
    for _ in range(MOST_ROUNDS):
        open_rows, open_cost = right - rows @ x - slack, -cost - across @ price
        apart = float(slack @ price)
        if (
            apart <= GAP * (1 + abs(float(cost @ x)))
            and np.abs(open_rows).max() <= LEFT * (1 + np.abs(right).max())
            and np.abs(open_cost).max() <= LEFT * (1 + np.abs(cost).max())
        ):
            return x
        weight = price / slack
        if not np.isfinite(weight).all():
            return None
        whole = square(weight)
        solve = factored(whole)
        aim = -slack * price
        for corrects in (False, True):
            wanted = across @ (weight * open_rows - aim / slack) + open_cost
            dx = solve(wanted)
            dx = dx + solve(wanted - whole @ dx)
            ds = open_rows - rows @ dx
            dp = aim / slack - weight * ds
            if not corrects:
                ahead = (slack + _way(slack, ds) * ds) @ (price + _way(price, dp) * dp)
                aim = (float(ahead) / apart) ** 3 * apart / many - slack * price - ds * dp
        x, slack = x + _way(slack, ds, SHORT) * dx, slack + _way(slack, ds, SHORT) * ds
        price = price + _way(price, dp, SHORT) * dp
    return None


def _way(value: Floats, change: Floats, share: float = 1.0) -> float:
    """How much of a change may be made, at most all of it, so that no value falls below zero."""
    falls = change < 0
    return min(1.0, share * float((-value[falls] / change[falls]).min(initial=np.inf)))
