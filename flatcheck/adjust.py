"""From readings to heights: the one least squares.

Every reading is a linear observation: the height of its place plus the height of its instrument
setup. Setups are joined through the places that were read from more than one of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError
from flatcheck.surface import SAME_PLACE_MM
from flatcheck.survey import Reading

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

REPEAT_U = 4.0
"""Two readings of one place may differ by this many standard uncertainties of a difference.

Chance exceeds it once in 16,000 repeats, so beyond it one of the two is a slip."""


@dataclass(frozen=True, eq=False)
class Heights:
    """Adjusted heights of n stations, against the first setup.

    `cov_mm2` is (n,) where the heights are independent (one setup), else (n, n). `where` names
    the first reading of each station.
    """

    xy_mm: Floats
    height_mm: Floats
    cov_mm2: Floats
    where: tuple[str, ...]


def adjust(readings: Sequence[Reading]) -> Heights:
    """Heights of all places read, by weighted least squares.

    With one setup a height is the weighted mean of its readings. With more, the heights of the
    further setups are unknowns too: the normal equations are reduced to them (heights form a
    diagonal block), so the system solved has one row for each further setup.

    Raises SurveyError for readings of one place and setup that disagree, and for setups that no
    place ties to the first.
    """
    if len(readings) < 2:
        raise SurveyError(f"a surface needs at least two readings; there is {len(readings)}.")
    xy = np.array([(r.x_mm, r.y_mm) for r in readings])
    y = np.array([r.height_mm for r in readings])
    u = np.array([r.u_mm for r in readings])
    station, first = _stations(xy)
    names = list(dict.fromkeys(r.setup for r in readings))
    setup = np.array([names.index(r.setup) for r in readings])
    _check_repeats(readings, station, setup, y, u)

    n, m = len(first), len(names)
    w = 1 / u**2
    level = y.mean()
    diagonal = np.bincount(station, w, minlength=n)
    mean = np.bincount(station, w * (y - level), minlength=n) / diagonal
    where = tuple(readings[i].where for i in first)
    if m == 1:
        return Heights(xy[first], mean + level, 1 / diagonal, where)
    share = np.zeros((n, m))
    np.add.at(share, (station, setup), w)
    reduced = np.diag(share.sum(axis=0)) - share.T @ (share / diagonal[:, None])
    right = np.bincount(setup, w * (y - level), minlength=m) - share.T @ mean
    _check_ties(share > 0, names)
    offset = np.zeros(m)
    offset[1:] = np.linalg.solve(reduced[1:, 1:], right[1:])
    lean = share[:, 1:] / diagonal[:, None]
    cov = np.diag(1 / diagonal) + lean @ np.linalg.solve(reduced[1:, 1:], lean.T)
    return Heights(xy[first], mean - lean @ offset[1:] + level, cov, where)


def _stations(xy: Floats) -> tuple[Ints, Ints]:
    """The station number of each reading, and the first reading of each station, in order."""
    cell = np.round(xy / SAME_PLACE_MM).astype(np.int64)
    _, first, station = np.unique(cell, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return rank[station.ravel()], first[order]


def _check_repeats(
    readings: Sequence[Reading], station: Ints, setup: Ints, y: Floats, u: Floats
) -> None:
    order = np.lexsort((setup, station))
    a, b = order[:-1], order[1:]
    same = (station[a] == station[b]) & (setup[a] == setup[b])
    apart = np.abs(y[a] - y[b]) > REPEAT_U * np.hypot(u[a], u[b])
    if np.any(same & apart):
        k = int(np.argmax(same & apart))
        one, other = sorted((int(a[k]), int(b[k])))
        raise SurveyError(
            f"{readings[other].where}: {readings[other].text!r} disagrees with "
            f"{readings[one].text!r} in {readings[one].where}, read at the same place."
        )


def _check_ties(seen: npt.NDArray[np.bool_], names: Sequence[str]) -> None:
    """Every setup must be tied to the first through places read from both."""
    tied = np.zeros(len(names), dtype=bool)
    tied[0] = True
    while True:
        reached = seen[seen[:, tied].any(axis=1)].any(axis=0)
        if np.array_equal(reached | tied, tied):
            break
        tied |= reached
    if not tied.all():
        raise SurveyError(
            f"setup {names[int(np.argmin(tied))]!r} has no place in common with setup "
            f"{names[0]!r}; read at least one place from both."
        )
