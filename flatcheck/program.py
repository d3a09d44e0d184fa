"""A linear program that grows: rows are added and dropped between solutions.

Least price·x with forms x <= spare and 0 <= x <= most. HiGHS solves it. A dual simplex that starts
from the last basis has little left to do when a few rows are added; scipy lets nobody do so through
`linprog`, so its own binding of HiGHS is used where it is as known here, and `linprog`, which
starts anew each time, where it is not or gives no answer. That binding is no public interface and
may change with any scipy; so nothing is taken on trust from either: whoever asks holds the answer
against its own forms, and makes its bound out of the multipliers by weak duality.
"""

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FEW = 0.1
"""Where rows grow by less than this share, the weights that choose the leaving variable are made
up rather than worked out: that would take longer than the few steps left."""

DEVEX, CHOOSE = 1, -1

TRUE = 1e-9
"""How truly the solver works [units of forms and of the dearest price]."""

BINDING = "scipy.optimize._highspy._core"
"""Where scipy keeps its binding of HiGHS (from 1.15 on)."""

OPTIONS = {
    "output_flag": False,
    "solver": "simplex",
    "presolve": "off",
    "threads": 1,
    "primal_feasibility_tolerance": TRUE,
    "dual_feasibility_tolerance": TRUE,
}


@dataclass(frozen=True, eq=False)
class Answer:
    """The least `cost` and the unknowns `x` (n,) that have it.

    For each row (k,): what it has to spare there, `slack`, and its multiplier, `shares` >= 0.
    """

    x: Floats
    cost: float
    slack: Floats
    shares: Floats


class Program:
    """A linear program over n unknowns, solved again and again as rows come and go.

    `forms_of` gives the forms (k, n) of rows by their numbers, `spare` what each row has to spare.
    `held` are the numbers of the rows in the program.
    """

    def __init__(
        self,
        price: Floats,
        most: Floats,
        forms_of: Callable[[Ints], csr_array],
        spare: Floats,
        warm: bool = True,
    ) -> None:
        self._unit = float(price.max()) or 1.0
        self._price, self._most = price / self._unit, most
        self._forms_of, self._spare = forms_of, spare
        self._weights = CHOOSE
        self._solver = _binding(self._price, most) if warm else None
        self.held = np.empty(0, np.int64)

    @property
    def warm(self) -> bool:
        """Whether it starts from its last basis."""
        return self._solver is not None

    def add(self, rows: Ints) -> None:
        """Put these rows in, below those that are in."""
        self._weights = DEVEX if len(rows) < FEW * len(self.held) else CHOOSE
        self.held = np.concatenate((self.held, rows))
        if self._solver is not None:
            forms, whole = self._forms_of(rows), np.int32
            starts, places = forms.indptr[:-1].astype(whole), forms.indices.astype(whole)
            below, above = np.full(len(rows), -np.inf), self._spare[rows]
            self._solver.addRows(len(rows), below, above, forms.nnz, starts, places, forms.data)

    def drop(self, rows: npt.NDArray[np.bool_]) -> None:
        """Take out the rows of those held (k,) that are so marked."""
        self.held = self.held[~rows]
        gone = np.flatnonzero(rows).astype(np.int32)
        if self._solver is not None and len(gone):
            self._solver.deleteRows(len(gone), gone)

    def solve(self) -> Answer:
        """The least there is. Raises RuntimeError where HiGHS says that there is none."""
        x, values, multipliers = self._again() or self._anew()
        return Answer(
            x=x,
            cost=float(self._price @ x) * self._unit,
            slack=self._spare[self.held] - values,
            shares=np.maximum(-multipliers * self._unit, 0.0),
        )

    def _again(self) -> tuple[Floats, Floats, Floats] | None:
        """From the last basis; None where it cannot be done so, and then not again."""
        if self._solver is None:
            return None
        self._solver.setOptionValue("simplex_dual_edge_weight_strategy", self._weights)
        self._solver.run()
        if self._solver.modelStatusToString(self._solver.getModelStatus()) != "Optimal":
            self._solver = None
            return None
        found = self._solver.getSolution()
        return np.array(found.col_value), np.array(found.row_value), np.array(found.row_dual)

    def _anew(self) -> tuple[Floats, Floats, Floats]:
        from scipy.optimize import linprog

        forms, spare = self._forms_of(self.held), self._spare[self.held]
        bounds = np.column_stack((np.zeros(len(self._most)), self._most))
        options = {"primal_feasibility_tolerance": TRUE, "dual_feasibility_tolerance": TRUE}
        for way in ("highs-ds", "highs-ipm"):
            result = linprog(self._price, forms, spare, bounds=bounds, method=way, options=options)
            if result.status == 0:
                return result.x, forms @ result.x, result.ineqlin.marginals
        raise RuntimeError(f"the linear program was not solved: {result.message}")


def _binding(price: Floats, most: Floats) -> Any:
    """scipy's own HiGHS with the unknowns in it; None where it is not as known here."""
    n, whole = len(price), np.int32
    none, nought = np.empty(0, whole), np.zeros(1, whole)
    try:
        solver = importlib.import_module(BINDING)._Highs()
        for name, value in OPTIONS.items():
            solver.setOptionValue(name, value)
        solver.addCols(n, price, np.zeros(n), most, 0, np.zeros(n, whole), none, np.empty(0))
        # A row that asks nothing, there and gone: whether rows are taken as they are given here.
        solver.addRows(1, np.array([-np.inf]), np.ones(1), 0, nought, none, np.empty(0))
        solver.deleteRows(1, nought)
    except (ImportError, AttributeError, TypeError):
        return None
    return solver
