"""Where a rule could not judge: the blind spots of a survey, and the same as rectangles to draw."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from flatcheck.verdict import Place, Reach, place_of

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class BlindSpot:
    """A connected part of the floor that a rule could not judge.

    `area_mm2` is its size, `extent_mm` how far it reaches east-west and north-south, `at` the place
    in it that is nearest to its middle [mm].
    """

    area_mm2: float
    extent_mm: tuple[float, float]
    at: Place


def blind_spots(reach: Reach) -> tuple[BlindSpot, ...]:
    """What a rule could not judge, in connected parts, the largest first.

    Good to the cells of `reach`, a fortieth of the room each way.
    """
    open_ = np.flatnonzero(~reach.judged)
    if not len(open_):
        return ()
    places, cells = reach.places_mm[open_], reach.cells_mm[open_]
    # Cells that share a side or a corner; those of two planes differ in size.
    pairs = cKDTree(places / cells.max(axis=0)).query_pairs(1.05, p=np.inf, output_type="ndarray")
    ones = np.ones(len(pairs), dtype=np.int8)
    joined = coo_array((ones, (pairs[:, 0], pairs[:, 1])), (len(open_), len(open_)))
    _, part = connected_components(joined, directed=False)
    found = []
    for number in range(part.max() + 1):
        own, size = places[part == number], cells[part == number]
        low, high = (own - size / 2).min(axis=0), (own + size / 2).max(axis=0)
        middle = own[np.argmin(np.hypot(*(own - own.mean(axis=0)).T))]
        area = float(size.prod(axis=1).sum())
        found.append(BlindSpot(area, place_of(high - low), place_of(middle)))
    return tuple(sorted(found, key=lambda spot: (-spot.area_mm2, spot.at)))


def blind_mm(reach: Reach) -> float:
    """How far the floor that a rule could not judge lies from what it could, at most [mm].

    Infinite where it could judge nothing, zero where it could judge all.
    """
    judged = reach.judged
    if judged.all():
        return 0.0
    if not judged.any():
        return float("inf")
    away, _ = cKDTree(reach.places_mm[judged]).query(reach.places_mm[~judged])
    return float(away.max())


def hatches(reach: Reach) -> Floats:
    """What a rule could not judge as rectangles (r, 4): west, south, east, north [mm].

    Each is a run of cells side by side in one row.
    """
    open_ = np.flatnonzero(~reach.judged)
    places, cells = reach.places_mm[open_], reach.cells_mm[open_]
    low, high = places - cells / 2, places + cells / 2
    order = np.lexsort((low[:, 0], low[:, 1], cells[:, 1], cells[:, 0]))
    low, high = low[order], high[order]
    follows = np.abs(low[1:, 1] - low[:-1, 1]) < 0.5 * cells[order][1:, 1]
    follows &= np.abs(low[1:, 0] - high[:-1, 0]) < 0.1 * cells[order][1:, 0]
    first = np.flatnonzero(np.concatenate(([True], ~follows))) if len(open_) else np.empty(0, int)
    last = np.append(first[1:] - 1, len(open_) - 1) if len(open_) else first
    runs: Floats = np.column_stack((low[first], high[last]))
    return runs
