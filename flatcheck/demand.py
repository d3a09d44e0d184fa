"""What a corrected floor must keep: linear forms of the correction, each with what it has to spare.

What a rule asks of the corrected heights is w·(z + d) <= limit - margin for the correction d, that
is w·d <= spare. All demands together are one list of rows, of which few are looked at: those that
an answer breaks most.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MET_MM = 1e-7
"""A demand exceeded by less than this is met: arithmetic, not floor [mm]."""

EACH = 3
"""How many demands a place may add to the program in a round, of each kind the most broken."""

LIFT = 0.1
"""Filling counts for at least this much, lest a place be raised out of all proportion."""


@dataclass(frozen=True, eq=False)
class Demand:
    """K forms of one kind that the correction d must keep: w·d <= spare.

    `stations` (K, m) and `weights` (K, m) are the forms, `spare_mm` (K,) what each has to spare
    as the floor is: negative where it is out.
    """

    name: str
    stations: Ints
    weights: Floats
    spare_mm: Floats


def demand(
    name: str,
    stations: Ints,
    weights: Floats,
    value_mm: Floats,
    limit_mm: Floats | float,
    margin_mm: Floats | float = 0.0,
    both_sides: bool = False,
) -> Demand:
    """K forms of the heights that must not exceed their limit less a margin.

    `value_mm` (K,) is what the forms `stations`, `weights` (K, m) are on the floor as it is, as
    `Bars` and `Evidence` hold them. `margin_mm` [mm] is kept away from the limit: for reading error
    and for how truly the work is done. With `both_sides` the negative value is limited as well.
    """
    spare = limit_mm - margin_mm - value_mm
    if not both_sides:
        return Demand(name, stations, weights, spare)
    return Demand(
        name,
        np.concatenate((stations, stations)),
        np.concatenate((weights, -weights)),
        np.concatenate((spare, limit_mm - margin_mm + value_mm)),
    )


def feather(name: str, xy: Floats, edges: Ints, most_ratio: float) -> Demand:
    """The correction of two neighbors `edges` (e, 2) may differ by a slope at most [mm/mm]."""
    apart = np.hypot(*(xy[edges[:, 0]] - xy[edges[:, 1]]).T)
    signs = np.broadcast_to(np.array([1.0, -1.0]), edges.shape)
    return demand(name, edges, signs, np.zeros(len(edges)), most_ratio * apart, both_sides=True)


@dataclass(frozen=True, eq=False)
class Rows:
    """All demands on the corrections of n stations in one list of K forms."""

    n: int
    demands: Sequence[Demand]

    @cached_property
    def forms(self) -> csr_array:
        """The forms (K, n); one that is padded holds a station more than once."""
        widths = [np.full(*asked.stations.shape) for asked in self.demands]
        ends = np.cumsum(np.concatenate([np.zeros(1, np.int32), *widths]), dtype=np.int32)
        stations = _joined([asked.stations.ravel() for asked in self.demands], np.int32)
        weights = _joined([asked.weights.ravel() for asked in self.demands], np.float64)
        return csr_array((weights, stations, ends), (len(ends) - 1, self.n))

    @cached_property
    def spare_mm(self) -> Floats:
        """What each has to spare (K,)."""
        spare: Floats = _joined([asked.spare_mm for asked in self.demands], np.float64)
        return spare

    @cached_property
    def kind(self) -> Ints:
        """Which demand each is of (K,)."""
        counts = [len(asked.spare_mm) for asked in self.demands]
        return np.repeat(np.arange(len(counts)), counts)

    @cached_property
    def place(self) -> Ints:
        """The station that weighs most in each (K,)."""
        found: Ints = _joined(
            [_picked(a.stations, np.argmax(np.abs(a.weights), axis=1)) for a in self.demands],
            np.int64,
        )
        return found

    @cached_property
    def raised(self) -> tuple[Ints, Floats]:
        """The station that meets each soonest when filled, and what a mm there counts (K,)."""
        least = [np.argmin(asked.weights, axis=1) for asked in self.demands]
        both = list(zip(self.demands, least, strict=True))
        stations = _joined([_picked(asked.stations, k) for asked, k in both], np.int64)
        counts = _joined([-_picked(asked.weights, k) for asked, k in both], np.float64)
        return stations, np.maximum(counts, LIFT)

    def over(self, correction_mm: Floats) -> Floats:
        """By how much a correction (n,) exceeds each (K,); negative where there is room."""
        if not correction_mm.any():
            return -self.spare_mm
        excess: Floats = self.forms @ correction_mm - self.spare_mm
        return excess

    def both_ways(self, picked: Ints) -> csr_array:
        """The forms of some rows over filling, then grinding (k, 2n)."""
        forms = self.forms[picked]
        forms.sum_duplicates()
        columns = np.column_stack((forms.indices, forms.indices + self.n)).ravel()
        weights = np.column_stack((forms.data, -forms.data)).ravel()
        return csr_array((weights, columns, 2 * forms.indptr), (len(picked), 2 * self.n))

    def of(self, picked: Ints) -> Ints:
        """The numbers of a demand and of a form in it (k, 2) for rows of the list."""
        first = np.searchsorted(self.kind, self.kind[picked])
        return np.column_stack((self.kind[picked], picked - first))

    def worst(self, over: Floats, each: int = EACH) -> Ints:
        """The most broken demands of each kind at each place, `each` of them, sorted."""
        broken = np.flatnonzero(over > MET_MM)
        kind, place = self.kind[broken], self.place[broken]
        order = np.lexsort((-over[broken], place, kind))
        # A demand is picked unless so many more broken ones of its kind and place stand before it.
        kind, place = kind[order], place[order]
        picked = np.ones(len(order), bool)
        picked[each:] = (kind[each:] != kind[:-each]) | (place[each:] != place[:-each])
        return np.sort(broken[order[picked]])


def _joined(parts: Sequence[npt.NDArray[Any]], kind: type) -> npt.NDArray[Any]:
    return np.concatenate([np.empty(0, kind), *parts], dtype=kind)


def _picked(of: npt.NDArray[Any], columns: Ints) -> npt.NDArray[Any]:
    """The entry of every row in its own column."""
    return np.take_along_axis(of, columns[:, None], axis=1)[:, 0]
