"""Readings as linear observations: which unknowns each one touches, and how.

Unknown are the heights of the places, and what a reading brings along that nobody measured: one
height for each instrument setup, an offset and a tilt for each straightedge that rests freely.

    height reading      z + setup                           = height read
    benchmark           z                                   = known height
    gap, bar resting    offset + tilt t - z                 = gap, t from -1 to 1 along the bar
    gap, on blocks      (1-s) z_start + s z_end - z         = gap less the blocks, s from 0 to 1
    tilt                z_end - z_start                     = rise

Places closer than SAME_PLACE_MM are one station; under bars that cross it lies where they do.
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

Place = tuple[float, float]

CROSSING = 0.1
"""Bars cross where the smallest eigenvalue of their summed normals n n' exceeds this: two bars at
26 degrees or more."""

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
    xy = _crossings(observations, touched, station, places[first])
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
            share = _share(*xy[own])
            terms = [(own[0], -1.0), (own[1], 1 - share), (own[2], share)]
        else:
            if seen.placement not in bars:
                bars[seen.placement] = unknowns
                unknowns += 2
            bar = bars[seen.placement]
            terms = [
                (own[0], -1.0),
                (bar, 1.0),
                (bar + 1, 2 * _share(xy[own[0]], seen.start, seen.end) - 1),
            ]
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
        piece=_pieces(matrix, known),
    )


def station_of(net: Network, number: int) -> int:
    """The station of a height reading or benchmark, by its number among the observations."""
    row = slice(net.matrix.indptr[number], net.matrix.indptr[number + 1])
    return int(net.matrix.indices[row].min())  # its setup is numbered after all stations


def places_of(seen: Observation) -> list[Place]:
    """The places an observation touches: for a gap the place of the gap first."""
    if isinstance(seen, Reading | Benchmark):
        return [(seen.x_mm, seen.y_mm)]
    if isinstance(seen, Tilt):
        return [seen.start, seen.end]
    share = seen.along_mm / math.dist(seen.start, seen.end)
    here = (
        seen.start[0] + share * (seen.end[0] - seen.start[0]),
        seen.start[1] + share * (seen.end[1] - seen.start[1]),
    )
    return [here, seen.start, seen.end] if seen.block_mm is not None else [here]


def _share(at: Floats, start: Floats | Place, end: Floats | Place) -> float:
    """How far a place lies along a bar, from 0 at its start to 1 at its end."""
    east, north = end[0] - start[0], end[1] - start[1]
    along = (at[0] - start[0]) * east + (at[1] - start[1]) * north
    return float(along / (east**2 + north**2))


def _value(seen: Observation) -> float:
    if isinstance(seen, Reading | Benchmark):
        return seen.height_mm
    return seen.rise_mm if isinstance(seen, Tilt) else seen.gap_mm


def _stations(xy: Floats) -> tuple[Ints, Ints]:
    """The station number of each place, and the first place of each station, in order."""
    # The same offsets written again and again would make a pair with each other.
    places, same = np.unique(xy, axis=0, return_inverse=True)
    pairs = cKDTree(places).query_pairs(SAME_PLACE_MM, output_type="ndarray")
    n = len(places)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    label = label[same.ravel()]
    _, first, station = np.unique(label, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return rank[station.ravel()], first[order]


def _crossings(
    observations: Sequence[Observation],
    touched: Sequence[Sequence[Place]],
    station: Ints,
    xy: Floats,
) -> Floats:
    """The stations (n, 2), each that lies under bars that cross moved to where they do.

    A tape is no better than a millimeter, but lines of places a hair off straight would seem to
    tell how the floor falls across them.
    """
    under = np.repeat([isinstance(seen, Gap) for seen in observations], [*map(len, touched)])
    if not under.any():
        return xy
    lines = np.array(
        [
            (seen.start, seen.end)
            for seen, several in zip(observations, touched, strict=True)
            if isinstance(seen, Gap)
            for _ in several
        ]
    )
    at, start = station[under], lines[:, 0]
    normal = (lines[:, 1] - start) @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    normal /= np.hypot(normal[:, 0], normal[:, 1])[:, None]
    # The place nearest to all lines through a station: sum n n' (p - start) = 0.
    square, right = np.zeros((len(xy), 2, 2)), np.zeros((len(xy), 2))
    off = np.sum(normal * (start - xy[at]), axis=1)
    np.add.at(square, at, normal[:, :, None] * normal[:, None, :])
    np.add.at(right, at, normal * off[:, None])
    crossed = np.linalg.eigvalsh(square)[:, 0] > CROSSING
    move = np.zeros_like(xy)
    move[crossed] = np.linalg.solve(square[crossed], right[crossed][..., None])[..., 0]
    move[np.hypot(move[:, 0], move[:, 1]) > SAME_PLACE_MM] = 0
    moved: Floats = xy + move
    return moved


def _positions(matrix: csr_array, xy: Floats) -> Floats:
    """Where each unknown sits: stations where they are, the others amid what they touch."""
    n = len(xy)
    touched = abs(matrix[:, :n]).sign()
    spread = abs(matrix).sign().T @ touched  # how often each unknown meets each station
    count = np.maximum(np.asarray(spread.sum(axis=1)).ravel(), 1)
    position: Floats = np.asarray(spread @ xy) / count[:, None]
    position[:n] = xy
    return position


def _pieces(matrix: csr_array, known: Sequence[int]) -> Ints:
    """The part of each unknown: two unknowns are in one part when readings join them.

    What is known against the datum is joined by it.
    """
    m, p = matrix.shape
    entries = matrix.tocoo()
    row = np.concatenate([entries.row, np.full(len(known), m + p)])
    column = np.concatenate([m + entries.col, m + np.array(known, dtype=np.int64)])
    size = m + p + 1
    joined = coo_array((np.ones(len(row)), (row, column)), shape=(size, size))
    _, label = connected_components(joined, directed=False)
    _, piece = np.unique(label[m:-1], return_inverse=True)
    result: Ints = piece.ravel().astype(np.int64)
    return result
