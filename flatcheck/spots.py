"""Where the floor is out: connected places, each a high to take down or a low to fill."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from flatcheck.evidence import Evidence, View
from flatcheck.guard import EXACT_MM, Call
from flatcheck.intent import departures
from flatcheck.rules import Rule, limit_at
from flatcheck.verdict import Spot

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

HUMP = 2.0
"""How much farther than the dip a contact must stand out to take the blame.

Common practice, no source: in a dish both rims stand out about as far as the middle lies low, and
it is the dish that one fills."""


UNKNOWN = 10.0
"""A value whose standard uncertainty is more than so many times its limit is no place to work on:
readings there contradict each other, and were set aside."""


@dataclass(frozen=True)
class Judged:
    """One rule with what was measured for it and how it was called."""

    rule: Rule
    evidence: Evidence
    call: Call


def spots(view: View, judged: Sequence[Judged]) -> tuple[Spot, ...]:
    """The places that are out at face value under any of the rules; not numbered yet.

    Each station that is out lies below a bar (or, on equal blocks, above it). The fault is the
    station's, which is low, unless a contact that holds the bar up stands out of the required
    plane by more than the limit and HUMP times as far as the station lies below it: then that
    contact is high, and with it the whole way up from it to the summit of the rise it stands on.
    Neighboring stations (on the triangulation) at fault the same way are one spot.
    """
    above = departures(view.plane, view.surface.xy_mm, view.surface.height_mm)
    blame = tuple(_Blame(len(above)) for _ in (False, True))  # low, high
    for number, item in enumerate(judged):
        allowed = limit_at(item.rule.limit, item.evidence.span_mm)
        share = np.abs(item.evidence.value_mm) / allowed
        over = (item.call.excess_mm > EXACT_MM) & item.evidence.contact
        over &= item.evidence.u_mm <= UNKNOWN * allowed
        sure = item.call.excess_mm > item.call.factor * item.evidence.u_mm
        # A gap has its place low and its contacts high; a crown is the same upside down.
        for crown in (False, True):
            rows = np.flatnonzero(over & ((item.evidence.value_mm < 0) == crown))
            side = -above if crown else above
            left, place, right = item.evidence.stations[rows].T
            contact = np.where(side[left] >= side[right], left, right)
            worst = _worst_of_each(place, share[rows])
            place, contact, rows = place[worst], contact[worst], rows[worst]
            held_up = side[contact] > np.maximum(allowed[rows], -HUMP * side[place])
            low, high = rows[~held_up], rows[held_up]
            blame[crown].add(place[~held_up], share[low], allowed[low], sure[low], number)
            uphill, station = _uphill(view, side), contact[held_up]
            while len(station):
                blame[not crown].add(station, share[high], allowed[high], sure[high], number)
                rising = uphill[station] != station
                station, high = uphill[station[rising]], high[rising]
    return tuple(
        _spot(view, record, members, high, judged)
        for high, record in zip((False, True), blame, strict=True)
        for members in _connected(view, np.flatnonzero(record.share > 0))
    )


def _uphill(view: View, side: Floats) -> Ints:
    """For every station its highest neighbor, or itself where no neighbor is higher."""
    corners = view.surface.triangles
    edges = np.concatenate([corners[:, pair] for pair in ([0, 1], [1, 2], [2, 0])])
    edges = np.concatenate((edges, edges[:, ::-1]))
    upward = edges[np.argsort(side[edges[:, 1]], kind="stable")]
    here = np.arange(len(side))
    higher = here.copy()
    higher[upward[:, 0]] = upward[:, 1]  # the highest neighbor is written last
    return np.where(side[higher] > side, higher, here)


class _Blame:
    """The gravest value laid to each station so far, one side (low or high)."""

    def __init__(self, stations: int) -> None:
        self.share = np.zeros(stations)
        self.limit = np.ones(stations)
        self.sure = np.zeros(stations, dtype=bool)
        self.rule = np.zeros(stations, dtype=np.int64)

    def add(self, station: Ints, share: Floats, limit: Floats, sure: Mask, rule: int) -> None:
        np.logical_or.at(self.sure, station, sure)
        order = np.argsort(share, kind="stable")  # the gravest is written last and stays
        order = order[share[order] > self.share[station[order]]]
        self.share[station[order]] = share[order]
        self.limit[station[order]] = limit[order]
        self.rule[station[order]] = rule


def _worst_of_each(place: Ints, share: Floats) -> Ints:
    """For every station among `place`, the row with the largest share."""
    order = np.lexsort((-share, place))
    first = np.diff(place[order], prepend=-1) > 0
    worst: Ints = order[first]
    return worst


def _spot(view: View, blame: _Blame, members: Ints, high: bool, judged: Sequence[Judged]) -> Spot:
    top = int(members[np.argmax(blame.share[members])])
    xy = view.surface.xy_mm
    above = departures(view.plane, xy, view.surface.height_mm)[members]
    peak = members[np.argmax(above if high else -above)]
    pitch = view.pitch_mm[members]
    # A station stands for the floor halfway to its neighbors.
    rim = float(np.median(pitch[np.isfinite(pitch)])) if np.isfinite(pitch).any() else 0.0
    size = xy[members].max(axis=0) - xy[members].min(axis=0) + rim
    return Spot(
        number=0,
        high=high,
        proven=bool(blame.sure[members].any()),
        value_mm=float(blame.share[top] * blame.limit[top]),
        limit_mm=float(blame.limit[top]),
        at=(float(xy[peak, 0]), float(xy[peak, 1])),
        extent_mm=(float(size[0]), float(size[1])),
        area_mm2=float(view.area_mm2[members].sum()),
        stations=tuple(int(i) for i in members),
        rule=judged[blame.rule[top]].rule.id,
    )


def _connected(view: View, stations: Ints) -> list[Ints]:
    """The stations in groups of neighbors on the triangulation."""
    n = len(view.surface.xy_mm)
    flagged = np.zeros(n, dtype=bool)
    flagged[stations] = True
    corners = view.surface.triangles
    edges = np.concatenate((corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]))
    edges = edges[flagged[edges].all(axis=1)]
    graph = coo_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    members = np.flatnonzero(flagged)
    return [members[label[members] == k] for k in np.unique(label[members])]
