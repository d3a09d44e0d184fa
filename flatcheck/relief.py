"""Heights of places between the readings, as linear forms of the readings.

For pictures of what will lie on a floor; no rule of flatness is judged on them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.spatial import Delaunay

from flatcheck.covariance import Factored
from flatcheck.errors import SurveyError
from flatcheck.intent import Intent, fit
from flatcheck.language import say
from flatcheck.surface import Surface, decided

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

AT_A_TIME = 1024
"""Places, or forms, that are worked on together: bounds the memory."""


@dataclass(frozen=True, eq=False)
class Relief:
    """The height at p places, linear in the heights of n stations.

    `local` (p, n) are the shares of the three stations around each place, or of the two on the rim
    nearest to it. `lean` (p, 2) is how far beyond that rim it lies, east and north [mm]: there the
    floor goes on with the fall of the whole, whose form of the heights is `slope` (2, n).
    """

    local: csr_array
    lean: Floats
    slope: Floats

    def heights(self, station_mm: Floats) -> Floats:
        """The heights at the places (p,) from those at the stations (n,) [mm]."""
        result: Floats = self.local @ station_mm + self.lean @ (self.slope @ station_mm)
        return result

    def spread(self, cov: Floats | Factored, free: Floats, forms: csr_array) -> Floats:
        """Standard uncertainties (K,) [mm] of K forms (K, p) of the heights at the places.

        `cov` and `free` are those of the stations (see `surface.Surface`). u² = w'Cw with w the
        form of the stations; inf where a direction that no reading decides moves the form. On a
        large survey whose covariance is not written out the fall of the whole counts as known.
        """
        near, lean = csr_array(forms @ self.local), np.asarray(forms @ self.lean)
        variance = np.empty(near.shape[0])
        for first in range(0, len(variance), AT_A_TIME):
            some = slice(first, first + AT_A_TIME)
            rows = near[some]
            if isinstance(cov, Factored):
                used = np.unique(rows.indices)
                weights = rows[:, used].toarray()
                product = weights @ cov.written(used)
            else:
                weights = rows.toarray() + lean[some] @ self.slope
                product = weights * cov if cov.ndim == 1 else weights @ cov
            variance[some] = np.sum(weights * product, axis=1)
        known = np.ones(len(variance), dtype=bool)
        if free.size:
            moved = near @ free + lean @ (self.slope @ free)
            known = decided(moved, np.arange(len(moved))[:, None], np.ones((len(moved), 1)))
        result: Floats = np.where(known, np.sqrt(np.maximum(variance, 0.0)), np.inf)
        return result


def relief(floor: Surface, xy: Floats) -> Relief:
    """The heights of a floor at places (p, 2) [mm].

    Inside the triangles of readings straight from each to the next (barycentric shares); beyond
    them, as in the strip along a wall, the height of the nearest place on their rim, carried on
    with the fall of the plane that fits the whole floor best. A plane is met exactly everywhere.

    Raises SurveyError where the readings span no triangle.
    """
    if not len(floor.triangles):
        raise SurveyError(
            say("a tile is laid on readings in two directions; these lie on one line.")
        )
    n = len(floor.xy_mm)
    stations, shares, found = _inside(floor, xy)
    out = np.flatnonzero(~found)
    rim = _rim(floor.triangles)
    lean = np.zeros((len(xy), 2))
    for first in range(0, len(out), AT_A_TIME):
        some = out[first : first + AT_A_TIME]
        ends, along, foot = _nearest(floor.xy_mm, rim, xy[some])
        stations[some] = np.column_stack((ends, ends[:, 0]))
        shares[some] = np.column_stack((1 - along, along, np.zeros(len(some))))
        lean[some] = xy[some] - foot
    rows = np.repeat(np.arange(len(xy)), 3)
    local = csr_array((shares.ravel(), (rows, stations.ravel())), shape=(len(xy), n))
    return Relief(local, lean, fit(Intent(), floor.xy_mm, floor.height_mm).form[1:])


def _inside(floor: Surface, xy: Floats) -> tuple[Ints, Floats, npt.NDArray[np.bool_]]:
    """The triangle that holds each place, its stations and their shares (p, 3), and if one does."""
    middle = floor.xy_mm.mean(axis=0)
    net = Delaunay(floor.xy_mm - middle)
    n = len(floor.xy_mm)

    def key(corners: Ints) -> Ints:
        low = np.sort(corners.astype(np.int64), axis=1)
        named: Ints = (low[:, 0] * n + low[:, 1]) * n + low[:, 2]
        return named

    kept = np.isin(key(net.simplices), key(floor.triangles))
    triangle = net.find_simplex(xy - middle, tol=1e-9)
    found = (triangle >= 0) & kept[triangle]
    stations = net.simplices[triangle].astype(np.int64)
    turn = net.transform[triangle]
    two = np.einsum("pij,pj->pi", turn[:, :2], xy - middle - turn[:, 2])
    shares = np.column_stack((two, 1 - two.sum(axis=1)))
    return stations, shares, found


def _rim(triangles: Ints) -> Ints:
    """Sides that belong to one triangle only (b, 2): where the readings end."""
    sides = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    each, count = np.unique(sides, axis=0, return_counts=True)
    single: Ints = each[count == 1]
    return single


def _nearest(stations: Floats, rim: Ints, xy: Floats) -> tuple[Ints, Floats, Floats]:
    """For places (o, 2) the nearest side of the rim (o, 2), how far along (o,), and the foot."""
    start = stations[rim[:, 0]]
    side = stations[rim[:, 1]] - start
    way = xy[:, None, :] - start
    along = np.clip(np.einsum("obk,bk->ob", way, side) / (side**2).sum(axis=1), 0, 1)
    feet = start + along[..., None] * side
    nearest = np.argmin(((xy[:, None, :] - feet) ** 2).sum(axis=2), axis=1)
    each = np.arange(len(xy))
    return rim[nearest], along[each, nearest], feet[each, nearest]
