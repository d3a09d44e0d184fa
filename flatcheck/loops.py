"""Loops of readings that return to where they began, and by how much they do not close.

A height reading is a difference between a place and its instrument, a tilt between two places, a
benchmark between a place and the datum. A way round through such differences must add up to
nothing; what is left is the misclosure. For a room the usual rules by length of line are far too
loose, so it is judged against the readings' own uncertainty: u² of a loop is the sum of its u².
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, connected_components

from flatcheck.network import Network
from flatcheck.survey import Benchmark, Gap, Observation, Reading

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Loop:
    """One closed way: its readings by number (from 1), misclosure and standard uncertainty [mm]."""

    readings: tuple[int, ...]
    misclosure_mm: float
    u_mm: float


def loops(net: Network, observations: Sequence[Observation]) -> tuple[Loop, ...]:
    """A full set of independent loops, each as short as a spanning tree makes it, worst first."""
    edges = _differences(net, observations)
    if not len(edges):
        return ()
    number, low, high = edges.T
    nodes = net.matrix.shape[1] + 1
    graph = coo_array((np.ones(len(edges)), (low, high)), shape=(nodes, nodes)).tocsr()
    _, label = connected_components(graph, directed=False)
    before = np.full(nodes, -1)
    depth = np.zeros(nodes, dtype=np.int64)
    for root in np.unique(label[low], return_index=True)[1]:
        order, parent = breadth_first_order(graph, low[root], directed=False)
        before[order] = parent[order]
        for node in order[1:]:
            depth[node] = depth[parent[node]] + 1
    # For each node the edge that leads toward the root, and its sign on that way.
    climb: dict[int, tuple[int, int]] = {}
    rest = []
    for k, (a, b) in enumerate(zip(low, high, strict=True)):
        if before[b] == a and int(b) not in climb:
            climb[int(b)] = (k, -1)
        elif before[a] == b and int(a) not in climb:
            climb[int(a)] = (k, 1)
        else:
            rest.append(k)
    value, u = net.value[number], net.u[number]
    found = []
    for k in rest:
        # From low to high along the edge, then back from high to low through the tree.
        total, square, on_way = float(value[k]), float(u[k] ** 2), [int(number[k]) + 1]
        a, b = int(low[k]), int(high[k])
        while a != b:
            node, sign = (b, 1) if depth[b] >= depth[a] else (a, -1)
            edge, up = climb[node]
            total += sign * up * float(value[edge])
            square += float(u[edge] ** 2)
            on_way.append(int(number[edge]) + 1)
            if sign > 0:
                b = int(before[b])
            else:
                a = int(before[a])
        found.append(Loop(tuple(sorted(on_way)), total, square**0.5))
    return tuple(sorted(found, key=lambda loop: -abs(loop.misclosure_mm) / loop.u_mm))


def _differences(net: Network, observations: Sequence[Observation]) -> Ints:
    """Readings that are a plain difference, (e, 3): number, lower end, upper end.

    The value is upper less lower: a place less its setup, the end of a level less its start, a
    benchmark less the datum, which is the last node.
    """
    datum = net.matrix.shape[1]
    found = []
    for number, seen in enumerate(observations):
        if isinstance(seen, Gap):
            continue
        own = slice(net.matrix.indptr[number], net.matrix.indptr[number + 1])
        one = net.matrix.indices[own]
        if isinstance(seen, Benchmark):
            found.append((number, datum, one[0]))
        elif isinstance(seen, Reading):
            found.append((number, one.max(), one.min()))  # setups are numbered after stations
        else:
            rises = net.matrix.data[own] > 0
            found.append((number, one[~rises][0], one[rises][0]))
    return np.array(found, dtype=np.int64).reshape(-1, 3)
