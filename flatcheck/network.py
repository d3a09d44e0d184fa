"""Readings as linear observations: which unknowns each one touches, and how.

Unknown are the heights of the places, and what a reading brings along that nobody measured: one
height for each instrument setup, an offset and a tilt for each straightedge that rests freely.

    height reading      z + setup                           = height read
    benchmark           z                                   = known height
    gap, bar resting    offset + tilt t - z                 = gap, t from -1 to 1 along the bar
    gap, on blocks      (1-s) z_start + s z_end - z         = gap less the blocks, s from 0 to 1
    tilt                z_end - z_start                     = rise

Places closer than SAME_PLACE_MM are one station.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from flatcheck.surface import SAME_PLACE_MM
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EXACT_MM = 1e-3
"""A benchmark that counts as exact is given this uncertainty: a micrometer [mm]."""


@dataclass(frozen=True, eq=False)
class Network:
    """m observations of p unknowns, of which the first n are station heights.

    `matrix` (m, p), `value` (m,) [mm], `u` (m,) [mm]; `position` (p, 2) is where each unknown sits
    on the plan. `xy_mm` (n, 2) are the stations, `where` (n,) the first reading of each. `setups`
    and `bars` map a setup's name to its unknown, and a placement's to its offset (its tilt is the
    next). `known` are the stations with a benchmark. `piece` (p,) numbers the parts that no
    reading joins.
    """

    matrix: csr_array
    value: Floats
    u: Floats
    position: Floats
    xy_mm: Floats
    where: tuple[str, ...]
    setups: dict[str, int]
    bars: dict[str, int]
    known: Ints
    piece: Ints


def network(observations: Sequence[Observation]) -> Network:
    """The linear observations that readings are, over the stations they touch."""
    touched = [places_of(seen) for seen in observations]
    places = np.array([place for several in touched for place in several])
    names = [
        seen.where for seen, several in zip(observations, touched, strict=True) for _ in several
    ]
    station, first = _stations(places)
    xy = places[first]
    setups: dict[str, int] = {}
    bars: dict[str, int] = {}
    unknowns = len(first)
    known: list[int] = []
    row: list[int] = []
    column: list[int] = []
    weight: list[float] = []
    at = 0
    for number, seen in enumerate(observations):
        own = [int(k) for k in station[at : at + len(touched[number])]]
        at += len(own)
        terms: list[tuple[int, float]]
        if isinstance(seen, Reading):
            if seen.setup not in setups:
                setups[seen.setup] = unknowns
                unknowns += 1
            terms = [(own[0], 1.0), (setups[seen.setup], 1.0)]
        elif isinstance(seen, Benchmark):
            known.append(own[0])
            terms = [(own[0], 1.0)]
        elif isinstance(seen, Tilt):
            terms = [(own[0], -1.0), (own[1], 1.0)]
        elif seen.block_mm is not None:
            share = _share(seen)
            terms = [(own[0], -1.0), (own[1], 1 - share), (own[2], share)]
        else:
            if seen.placement not in bars:
                bars[seen.placement] = unknowns
                unknowns += 2
            bar = bars[seen.placement]
            terms = [(own[0], -1.0), (bar, 1.0), (bar + 1, 2 * _share(seen) - 1)]
        for unknown, factor in terms:
            row.append(number)
            column.append(unknown)
            weight.append(factor)
    shape = (len(observations), unknowns)
    matrix = csr_array(coo_array((weight, (row, column)), shape=shape))
    matrix.sum_duplicates()
    return Network(
        matrix=matrix,
        value=np.array([_value(seen) for seen in observations]),
        u=np.array([max(seen.u_mm, EXACT_MM) for seen in observations]),
        position=_positions(matrix, xy),
        xy_mm=xy,
        where=tuple(names[i] for i in first),
        setups=setups,
        bars=bars,
        known=np.array(known, dtype=np.int64),
        piece=_pieces(matrix),
    )


def station_of(net: Network, number: int) -> int:
    """The station of a height reading or benchmark, by its number among the observations."""
    row = slice(net.matrix.indptr[number], net.matrix.indptr[number + 1])
    return int(net.matrix.indices[row].min())  # its setup is numbered after all stations


def places_of(seen: Observation) -> list[tuple[float, float]]:
    """The places an observation touches: for a gap the place of the gap first."""
    if isinstance(seen, Reading | Benchmark):
        return [(seen.x_mm, seen.y_mm)]
    if isinstance(seen, Tilt):
        return [seen.start, seen.end]
    share = _share(seen)
    here = (
        seen.start[0] + share * (seen.end[0] - seen.start[0]),
        seen.start[1] + share * (seen.end[1] - seen.start[1]),
    )
    return [here, seen.start, seen.end] if seen.block_mm is not None else [here]


def _share(seen: Gap) -> float:
    return seen.along_mm / math.dist(seen.start, seen.end)


def _value(seen: Observation) -> float:
    if isinstance(seen, Reading | Benchmark):
        return seen.height_mm
    return seen.rise_mm if isinstance(seen, Tilt) else seen.gap_mm


def _stations(xy: Floats) -> tuple[Ints, Ints]:
    """The station number of each place, and the first place of each station, in order."""
    pairs = cKDTree(xy).query_pairs(SAME_PLACE_MM, output_type="ndarray")
    n = len(xy)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, first, station = np.unique(label, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return rank[station.ravel()], first[order]


def _positions(matrix: csr_array, xy: Floats) -> Floats:
    """Where each unknown sits: stations where they are, the others amid what they touch."""
    n = len(xy)
    touched = abs(matrix[:, :n]).sign()
    spread = abs(matrix).sign().T @ touched  # how often each unknown meets each station
    count = np.maximum(np.asarray(spread.sum(axis=1)).ravel(), 1)
    position: Floats = np.asarray(spread @ xy) / count[:, None]
    position[:n] = xy
    return position


def _pieces(matrix: csr_array) -> Ints:
    """The part of each unknown: two unknowns are in one part when readings join them."""
    m, p = matrix.shape
    entries = matrix.tocoo()
    joined = coo_array((np.ones(entries.nnz), (entries.row, m + entries.col)), shape=(m + p, m + p))
    _, label = connected_components(joined, directed=False)
    _, piece = np.unique(label[m:], return_inverse=True)
    result: Ints = piece.ravel().astype(np.int64)
    return result
