"""How well is each form of the unknowns known: covariances from the factor of a least squares.

With R the triangular factor of the scaled A, a form w of the unknowns has the variance
|R'^-1 w|^2, so no digits are lost to cancellation, and R^-1 of white noise is an error of the
unknowns such as the observations make. A front needs only its ancestors, so a form costs what lies
between its unknowns and the root. Up to some hundred unknowns the whole covariance is as quick; of
many more it does not fit into memory, and `Factored` stands for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse

from flatcheck.normal import CANCELS, Solution, triangle

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

BLOCK = 256
"""Forms whose variance is found at a time: bounds the memory, and fills a dense product."""


def variances(solution: Solution, forms: sparse.sparray) -> tuple[Floats, Bools]:
    """How well are K linear forms w x known: their variances w C w' (K,), and if they are at all.

    `forms` (K, n) holds a form in each row. A form that a free direction changes cannot be
    estimated: it has variance inf and False in the second array (K,).

    Raises ValueError when the forms are not of n unknowns.
    """
    w = sparse.csr_array(forms, dtype=np.float64)
    n = len(solution.x)
    if w.shape[1] != n:
        raise ValueError(f"the forms are of {w.shape[1]} unknowns, and the solution is of {n}")
    moved = np.abs(w @ solution.free)
    estimable: Bools = (moved <= CANCELS * (abs(w) @ np.abs(solution.free))).all(axis=1)

    deepest = np.zeros(w.shape[0], np.int64)
    np.maximum.at(deepest, w.tocoo().row, _homes(solution)[w.indices])
    # Forms of one neighborhood pass through the same few fronts on their way to the root.
    order = np.argsort(deepest, kind="stable")
    variance = np.full(w.shape[0], np.inf)
    for some in np.split(order, range(BLOCK, len(order), BLOCK)):
        variance[some] = sum((part**2).sum(0) for part in _up(solution, w[some]).values())
    variance[~estimable] = np.inf
    return variance, estimable


def covariance(solution: Solution) -> Floats:
    """The whole covariance (n, n) of `solution.x`, for up to a few thousand unknowns.

    It is that of the solution in which the same k unknowns are held at 0, so their rows are 0;
    every form that can be estimated gets its variance w C w' from it, whatever was held.
    """
    # From the leaves to the root every unknown comes before those that its equation refers to.
    live = np.concatenate([front.live for front in reversed(solution.fronts)])
    n = len(solution.x)
    upper = np.zeros((n, n))
    for front in solution.fronts:
        upper[np.ix_(front.live, np.concatenate((front.live, front.rest)))] = front.factor
    cov = np.zeros((n, n))
    if len(live):
        half, _ = linalg.lapack.dpotri(upper[np.ix_(live, live)])
        cov[np.ix_(live, live)] = np.triu(half) + np.triu(half, 1).T
    return cov / np.outer(solution.scale, solution.scale)


@dataclass(frozen=True, eq=False)
class Factored:
    """The covariance (n, n) of n forms of the unknowns, not written out: `scale` F C F' + D.

    It stands for the array wherever that is only asked for its shape, for the same rows and
    columns of it (`cov[np.ix_(kept, kept)]`), and for its product with forms from the left
    (`forms @ cov`). `forms` (n, p) is F; `solution` holds the factor that C comes from; `own` (n,)
    is the diagonal of D, what each form has of its own.
    """

    solution: Solution
    forms: sparse.csr_array
    scale: float
    own: Floats

    ndim = 2
    __array_ufunc__ = None  # so that forms @ cov comes here

    @property
    def shape(self) -> tuple[int, int]:
        return self.forms.shape[0], self.forms.shape[0]

    def copy(self) -> "Factored":
        return self

    def setflags(self, write: bool) -> None:
        """Nothing to lock: a factor is never written to."""

    def __getitem__(self, index: tuple[Ints, Ints]) -> "Factored":
        rows, columns = (np.ravel(of) for of in index)
        if not np.array_equal(rows, columns):
            raise ValueError("of a covariance that is not written out only a part on the diagonal")
        forms = sparse.csr_array(self.forms[rows])
        return Factored(self.solution, forms, self.scale, self.own[rows])

    def __rmatmul__(self, forms: Floats) -> Floats:
        w = sparse.csr_array(np.atleast_2d(forms) @ self.forms)
        product = self.scale * (
            self.forms @ _down(self.solution, _up(self.solution, w), w.shape[0])
        )
        whole: Floats = product.T if np.ndim(forms) > 1 else product[:, 0]
        return whole + forms * self.own

    def written(self, rows: Ints) -> Floats:
        """The covariance of some of the forms (k, k), as an array."""
        parts = [*_up(self.solution, self.forms[rows]).values()]
        half = np.concatenate(parts)
        product: Floats = self.scale * (half.T @ half)
        return product + np.diag(self.own[rows])

    def noise(self, draws: int, seed: int) -> Floats:
        """Simulated errors of the forms (n, draws): normal, with this covariance."""
        rng = np.random.default_rng(seed)
        white = {
            number: rng.standard_normal((len(front.live), draws))
            for number, front in enumerate(self.solution.fronts)
        }
        errors: Floats = np.sqrt(self.scale) * (self.forms @ _down(self.solution, white, draws))
        if self.own.any():
            errors += np.sqrt(self.own)[:, None] * rng.standard_normal(errors.shape)
        return errors


def _homes(solution: Solution) -> Ints:
    """The front that each unknown is solved for in; the root for those that are held."""
    at = np.zeros(len(solution.x), np.int64)
    for number, front in enumerate(solution.fronts):
        at[front.live] = number
    return at


def _up(solution: Solution, forms: sparse.csr_array) -> dict[int, Floats]:
    """R'^-1 w of k forms (k, n): the parts (p, k) of all fronts on their way to the root."""
    scaled = sparse.csr_array(forms / solution.scale)
    visit = np.zeros(len(solution.fronts), bool)
    visit[_homes(solution)[scaled.indices]] = True
    for number in range(len(visit) - 1, 0, -1):
        visit[(number - 1) // 2] |= visit[number]
    way = np.flatnonzero(visit)[::-1]
    unknowns = np.concatenate([solution.fronts[k].live for k in way] + [solution.fronts[0].rest])
    row = np.empty(len(solution.x), np.int64)
    row[unknowns] = np.arange(len(unknowns))
    entries = scaled.tocoo()
    right = np.zeros((len(unknowns), scaled.shape[0]))
    right[row[entries.col], entries.row] = entries.data
    parts = {}
    for number in way.tolist():
        front = solution.fronts[number]
        part = parts[number] = triangle(front, right[row[front.live]], transposed=True)
        right[row[front.rest]] -= front.factor[:, len(front.live) :].T @ part
    return parts


def _down(solution: Solution, parts: Mapping[int, Floats], k: int) -> Floats:
    """R^-1 of the parts (p, k) of some fronts, zero in the others: (n, k), unscaled."""
    solved = np.zeros((len(solution.x), k))
    for number, front in enumerate(solution.fronts):
        part = -front.factor[:, len(front.live) :] @ solved[front.rest]
        if number in parts:
            part += parts[number]
        solved[front.live] = triangle(front, part)
    return solved / solution.scale[:, None]
