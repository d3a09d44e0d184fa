"""A linear program that grows: the same answer from the last basis, or anew, or written at once."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import linprog
from scipy.sparse import csr_array

from flatcheck import program
from flatcheck.program import Program

Floats = npt.NDArray[np.float64]


def problem(seed: int, n: int = 12, rows: int = 40) -> tuple[Floats, Floats, csr_array, Floats]:
    """Prices, bounds, forms and spare; some x within the bounds meets them all."""
    rng = np.random.default_rng(seed)
    forms = rng.normal(0, 1, (rows, n)) * (rng.random((rows, n)) < 0.3)
    most = rng.uniform(1, 3, n)
    spare = forms @ (most * rng.random(n)) + rng.uniform(0, 0.2, rows)
    return rng.uniform(0.1, 2, n), most, csr_array(forms), spare


@pytest.mark.parametrize("warm", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_rows_come_and_go(seed: int, warm: bool) -> None:
    """After every row that comes or goes the answer is that of the rows then held, at once."""
    price, most, forms, spare = problem(seed)
    grown = Program(price, most, lambda rows: forms[rows], spare, warm)
    rng = np.random.default_rng(seed)
    for rows in np.array_split(rng.permutation(len(spare)), 4):
        grown.add(rows)
        found = grown.solve()
        held = grown.held
        bounds = np.column_stack((np.zeros(len(most)), most))
        want = linprog(price, forms[held], spare[held], bounds=bounds)
        assert found.cost == pytest.approx(want.fun, abs=1e-7)
        assert found.slack == pytest.approx(spare[held] - forms[held] @ found.x, abs=1e-7)
        # Strong duality: the multipliers alone prove the cost.
        reduced = price + forms[held].T @ found.shares
        proven = np.minimum(reduced, 0) @ most - found.shares @ spare[held]
        assert found.cost == pytest.approx(proven, abs=1e-7)
        grown.drop(found.slack > 0.3)
        assert len(grown.held) < len(held)


def test_scipy_that_binds_highs_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where scipy does not offer its binding as known here, each program is solved anew."""
    price, most, forms, spare = problem(7)
    warm = Program(price, most, lambda rows: forms[rows], spare)
    monkeypatch.setattr(program, "BINDING", "scipy.optimize._no_such")
    cold = Program(price, most, lambda rows: forms[rows], spare)
    for grown in (warm, cold):
        grown.add(np.arange(len(spare)))
    assert (warm.warm, cold.warm) == (True, False)
    assert warm.solve().cost == pytest.approx(cold.solve().cost, abs=1e-7)


def test_no_answer_is_an_error() -> None:
    """Rows that contradict each other leave no answer, and that is said aloud."""
    forms = csr_array(np.array([[1.0], [-1.0]]))
    grown = Program(np.ones(1), np.ones(1), lambda rows: forms[rows], np.array([0.2, -0.5]))
    grown.add(np.arange(2))
    with pytest.raises(RuntimeError, match="not solved"):
        grown.solve()
    assert not grown.warm
