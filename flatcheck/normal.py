"""Sparse weighted least squares: what fits all observations best, and how well is it known.

Minimise sum((a_i x - y_i)^2 / u_i^2) over n unknowns, for m observations that each hold a few of
them. The unknowns need not be determined: what the observations leave free is found and returned.

The method is a multifrontal orthogonal factorisation. The plan is halved again and again
(`_dissect`); the unknowns that join two halves are kept back, so that the halves can be worked on
apart. This gives a binary tree. Going up it, each *front* gathers the observations that hold its
unknowns and what its two children left over, and a dense QR turns them into one equation for each
of its unknowns and a remainder for its parent (`_factor`). Going down gives the solution, the free
directions, and the diagonal of the projector Q Q', from which the variance of every adjusted
observation follows (`_leverages`).

Why QR and not Cholesky of A'WA: squaring A squares what separates the weakly known from the free.
At the far end of 1,000 bars in line, read with weights over a range of 1e6, the pivot is 1.5e-8 of
its column; its square is rounding error. QR leaves x far more exact than it is known: there is no
iterative refinement. Its blocks are too small for several BLAS threads: OPENBLAS_NUM_THREADS=1 is
faster, and on a busy machine many times faster.

Sources: nested dissection after A. George (1973), with separators by D. König's theorem (1931);
multifrontal QR after I. Duff and J. Reid (1983) and T. Davis (2011); all from memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse
from scipy.sparse.csgraph import maximum_bipartite_matching

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

FREE = 1e-9
"""An unknown is free when its standard uncertainty exceeds 1 / FREE times what it would be if
all others were known: a height read to 0.1 mm that is known no better than to 100 km."""

DOUBT = 1e-4
"""A front does not judge an unknown that comes this near to being free: it hands it up, so that
all that are in doubt are judged together, at the root, against each other. So no judgement rests
on a division by less than DOUBT, and its rounding error, about 1e-16 / DOUBT, is below FREE."""

CANCELS = 1e-8
"""A form cancels along a free direction when no more than this share of its terms is left."""

LEAF = 50
"""Unknowns in a part of the plan that is not halved again: the fastest of 25, 50, 100 and 200."""


@dataclass(frozen=True, eq=False)
class Front:
    """One dense block of the factor: `factor` @ (x[`live`], x[`rest`]) = its part of Q'y.

    `live` (p,) are the unknowns solved for here and `rest` (q,) those that its ancestors know;
    `factor` (p, p + q) is upper triangular. All in scaled unknowns.
    """

    live: Ints
    rest: Ints
    factor: Floats


@dataclass(frozen=True, eq=False)
class Solution:
    """Least squares over m observations of n unknowns that leave k directions free.

    `x` (n,) is a best solution: the one in which k of the unknowns, chosen by the numbers, are 0.
    `residual` (m,) is y - A x. `row_variance` (m,) is a_i C a_i', the variance of the adjusted
    observation, so the redundancy number of an observation is 1 - row_variance / u^2.
    `free` (n, k) spans the null space of A: x plus any of it fits as well. The largest entry of a
    column is 1 in size, and it is exactly 0 at unknowns it does not move.

    `fronts`, a binary heap with the root first, of unknowns multiplied by `scale` (n,), are the
    factor that `flatcheck.covariance` works from.
    """

    x: Floats
    residual: Floats
    row_variance: Floats
    free: Floats
    fronts: tuple[Front, ...]
    scale: Floats

    def __post_init__(self) -> None:
        for array in (self.x, self.residual, self.row_variance, self.free, self.scale):
            array.setflags(write=False)

    def __reduce__(self) -> tuple[object, ...]:
        # Unpickled arrays come back writable; going through the constructor locks them again.
        return Solution, tuple(vars(self).values())


def solve(design: sparse.sparray, y: Floats, u: Floats, position: Floats) -> Solution:
    """The weighted least squares solution of A x = y, with what it leaves free.

    `design` (m, n) is A; its rows should hold few unknowns, its columns may hold many rows.
    `y` (m,) are the observed values and `u` (m,) their standard uncertainties, in the unit of y.
    `position` (n, 2) is where on a plan each unknown belongs; it steers speed, not the answer.

    Raises ValueError for arrays that do not fit each other, values that are not finite, u <= 0,
    and observations that hold no unknown.
    """
    a = sparse.csr_array(design, dtype=np.float64, copy=True)
    a.sum_duplicates()
    a.eliminate_zeros()
    _check(a, y, u, position)
    m, n = a.shape
    weighted = a.copy()
    weighted.data /= np.repeat(u, np.diff(a.indptr))
    # Columns of norm 1 make "nearly zero" mean the same for millimeters and for millimeters per
    # meter, and put no unknown at a disadvantage.
    scale = np.sqrt(np.bincount(weighted.indices, weighted.data**2, n))
    scale[scale == 0] = 1
    weighted.data /= scale[weighted.indices]

    node, depth = _dissect(a, position)
    # An observation is used in the deepest front that has one of its unknowns.
    home = np.maximum.reduceat(node[weighted.indices], weighted.indptr[:-1])
    by_home = np.argsort(home, kind="stable")
    start = np.searchsorted(home[by_home], np.arange(2 ** (depth + 1)))
    fronts, bases, turned = _factor(weighted[by_home], (y / u)[by_home], start, node)
    leverage = np.empty(m)
    leverage[by_home] = _leverages(fronts, bases, start)

    solved = _descend(fronts, turned, n)
    # Rounding leaves traces where a direction has no business, such as another piece of the plan.
    free = solved[:, 1:]
    free[np.abs(free) < 1e-10 * np.abs(free).max(0)] = 0
    free = free / scale[:, None]
    free /= np.abs(free).max(0)
    x = solved[:, 0] / scale
    return Solution(x, y - a @ x, leverage * u**2, free, tuple(fronts), scale)


def _check(a: sparse.csr_array, y: Floats, u: Floats, position: Floats) -> None:
    """Raise ValueError unless these describe a problem."""
    m, n = a.shape
    if n == 0:
        raise ValueError("there are no unknowns to solve for")
    shapes = {"A": a.data.shape, "y": (m,), "u": (m,), "position": (n, 2)}
    for (name, shape), array in zip(shapes.items(), (a.data, y, u, position), strict=True):
        if np.shape(array) != shape:
            raise ValueError(f"{name} of {np.shape(array)} does not fit A of {a.shape}")
        if not np.isfinite(array).all():
            raise ValueError(f"{name} holds a value that is not finite")
    if (u <= 0).any():
        raise ValueError(f"u[{np.argmin(u)}] is {np.min(u)}, and every u must be above 0")
    if (np.diff(a.indptr) == 0).any():
        raise ValueError(f"observation {np.argmin(np.diff(a.indptr))} holds no unknown")


def _dissect(a: sparse.csr_array, position: Floats) -> tuple[Ints, int]:
    """The tree node (n,) that each unknown belongs to, and the depth of the tree.

    Nodes are numbered as a binary heap: 0 is the root, and h has the children 2 h + 1 and 2 h + 2.
    All unknowns of one observation lie on one way from a leaf to the root. Every part of a level
    is halved in the same few array operations. Unknowns that touch the whole plan, such as the
    height of an instrument, cover so many joins that they go to the root unasked.
    """
    n = a.shape[1]
    pattern = sparse.csr_array((np.ones(a.nnz, np.int32), a.indices, a.indptr), shape=a.shape)
    joins = sparse.triu(pattern.T @ pattern, 1).tocoo()
    one, other = joins.row.astype(np.int64), joins.col.astype(np.int64)
    node = np.zeros(n, np.int64)
    settled = np.zeros(n, bool)
    depth = max(math.ceil(math.log2(n / LEAF)), 0)
    for _ in range(depth):
        loose = np.flatnonzero(~settled)
        loose = loose[np.argsort(node[loose], kind="stable")]
        first = np.flatnonzero(np.diff(node[loose], prepend=-1))
        size = np.diff(first, append=len(loose))
        spread = np.maximum.reduceat(position[loose], first)
        spread -= np.minimum.reduceat(position[loose], first)
        across = np.repeat(spread[:, 1] > spread[:, 0], size).astype(np.int64)
        loose = loose[np.lexsort((position[loose, across], node[loose]))]
        far = np.zeros(n, bool)
        far[loose] = np.arange(len(loose)) - np.repeat(first, size) >= np.repeat(size // 2, size)

        cut = far[one] != far[other]
        near_end = np.where(far[one], other, one)[cut]
        far_end = np.where(far[one], one, other)[cut]
        settled |= _cover(near_end, far_end, n)
        node = np.where(settled, node, 2 * node + 1 + far)
        kept = ~(cut | settled[one] | settled[other])
        one, other = one[kept], other[kept]
    return node, depth


def _cover(near: Ints, far: Ints, n: int) -> Bools:
    """The fewest of n unknowns (n,) that touch every join between a near and a far one.

    König: from a largest matching, reach out from the near ends it leaves over, along any join to
    the far side and along the matching back; near ends not reached and far ends reached cover all.
    """
    joins = sparse.csr_array((np.ones(len(near), np.int8), (near, far)), shape=(n, n))
    mate = maximum_bipartite_matching(joins, perm_type="column")
    matched = np.flatnonzero(mate >= 0)
    back = np.zeros(n, np.int64)
    back[mate[matched]] = matched
    reached = np.zeros(n, bool)
    reached[near] = True
    reached[matched] = False
    count = -1
    while count != (count := int(reached.sum())):
        hit = far[reached[near]]
        reached[hit] = True
        reached[back[hit]] = True
    cover = np.zeros(n, bool)
    cover[near] = ~reached[near]
    cover[far] = reached[far]
    return cover


def triangle(front: Front, right: Floats, transposed: bool = False) -> Floats:
    """The triangle of the live unknowns, or its transpose, solved for (p, k) right-hand sides."""
    p = len(front.live)
    if p == 0:
        return right
    triangle = front.factor[:, :p]
    solved: Floats = linalg.solve_triangular(triangle, right, transposed, check_finite=False)
    return solved


def _below(number: int, count: int) -> range:
    """The children of a node in a heap of `count`."""
    return range(2 * number + 1, min(2 * number + 3, count))


def _qr(dense: Floats) -> tuple[Floats, Floats]:
    """Q (m, k) and R (k, n) of a dense matrix (m, n), k = min(m, n), which may be 0."""
    if not dense.size:
        return np.zeros((len(dense), 0)), np.zeros((0, dense.shape[1]))
    q, r = linalg.qr(dense, mode="economic", check_finite=False)
    return q, r


def _sure(dense: Floats, least: float) -> tuple[Ints, int]:
    """An order of the columns (n,) and how many of them, so ordered, are surely independent."""
    if not dense.size:
        return np.arange(dense.shape[1]), 0
    r, order = linalg.qr(dense, mode="r", pivoting=True, check_finite=False)
    return order.astype(np.int64), int((np.abs(r.diagonal()) > least).sum())


def _factor(
    a: sparse.csr_array, y: Floats, start: Ints, node: Ints
) -> tuple[list[Front], list[Floats], list[Floats]]:
    """The fronts; of each its orthogonal basis, and its basis' y.

    The observations of node h are a[start[h] : start[h + 1]]. A basis has a row for each of them,
    then for what each child left over; a column for each live unknown, then for what is left over.
    """
    count = len(start) - 1
    by_node = np.argsort(node, kind="stable")
    own = np.split(by_node, np.searchsorted(node[by_node], np.arange(1, count)))
    fronts: dict[int, Front] = {}
    bases: dict[int, Floats] = {}
    turned: dict[int, Floats] = {}
    left: dict[int, Floats] = {}
    column = np.empty(len(node), np.int64)
    for number in range(count - 1, -1, -1):
        ends = a.indptr[start[number] : start[number + 1] + 1]
        held = a.indices[ends[0] : ends[-1]]
        below = _below(number, count)
        unknowns = np.unique(
            np.concatenate([own[number], held, *(fronts[child].rest for child in below)])
        )
        # Nodes above have smaller numbers, so these are its own and those its children doubted.
        ripe = node[unknowns] >= number
        unknowns = np.concatenate((unknowns[ripe], unknowns[~ripe]))
        column[unknowns] = np.arange(len(unknowns))
        at = len(ends) - 1
        height = at + sum(len(left[child]) for child in below)
        dense = np.zeros((height, len(unknowns)), order="F")
        dense[np.repeat(np.arange(at), np.diff(ends)), column[held]] = a.data[ends[0] : ends[-1]]
        for child in below:
            part = left.pop(child)
            dense[at : at + len(part), column[fronts[child].rest]] = part
            at += len(part)

        q, r = _qr(dense)
        p = int(ripe.sum())
        pivots = np.abs(r.diagonal()[:p])
        if len(pivots) < p or pivots.min(initial=1) < DOUBT:
            order, live = _sure(dense[:, :p], DOUBT if number else FREE)
            order = np.concatenate((order, np.arange(p, len(unknowns))))
            unknowns, p = unknowns[order], live
            q, r = _qr(dense[:, order])
        fronts[number] = Front(unknowns[:p], unknowns[p:], r[:p].copy())
        passed = [turned[child][len(fronts[child].live) :] for child in below]
        turned[number] = q.T @ np.concatenate([y[start[number] : start[number + 1]], *passed])
        bases[number] = q
        left[number] = r[p:, p:]
    # Made from the leaves up, numbered from the root down.
    return [*fronts.values()][::-1], [*bases.values()][::-1], [*turned.values()][::-1]


def _leverages(fronts: Sequence[Front], bases: Sequence[Floats], start: Ints) -> Floats:
    """The diagonal (m,) of the projector Q Q', the share of each observation in its own fit.

    If P projects the rows that a front passes up onto what its ancestors make of them, its own
    rows have the projector [Q1 Q2] diag(I, P) [Q1 Q2]', with Q1 of the live unknowns and Q2 of the
    rows passed up; its block for the rows of a child is the P of that child. All numbers stay
    between -1 and 1, so nothing is lost however badly the unknowns themselves are known. What the
    root passes up is of free unknowns alone, which are held: P = 0.
    """
    leverage = np.empty(start[-1])
    top = bases[0].shape[1] - len(fronts[0].live)
    projector = {0: np.zeros((top, top))}
    for number, (front, basis) in enumerate(zip(fronts, bases, strict=True)):
        live, passed = np.split(basis, [len(front.live)], axis=1)
        lifted = passed @ projector.pop(number)
        at = start[number + 1] - start[number]
        diagonal = (live[:at] ** 2).sum(1) + (lifted[:at] * passed[:at]).sum(1)
        leverage[start[number] : start[number + 1]] = np.minimum(diagonal, 1)
        for child in _below(number, len(fronts)):
            rows = slice(at, at + bases[child].shape[1] - len(fronts[child].live))
            projector[child] = live[rows] @ live[rows].T + lifted[rows] @ passed[rows].T
            at = rows.stop
    return leverage


def _descend(fronts: Sequence[Front], right: Sequence[Floats], n: int) -> Floats:
    """The scaled solution, then each free direction (n, 1 + k), from R and Q'y."""
    held = fronts[0].rest
    solved = np.zeros((n, 1 + len(held)))
    solved[held, 1:] = np.eye(len(held))
    for front, known in zip(fronts, right, strict=True):
        part = -front.factor[:, len(front.live) :] @ solved[front.rest]
        part[:, 0] += known[: len(front.live)]
        solved[front.live] = triangle(front, part)
    return solved
