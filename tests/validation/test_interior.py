"""Linear programs against HiGHS, the solver of scipy, and against one whose answer is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import csr_array

from flatcheck.interior import least


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), many=st.integers(12, 60), few=st.integers(1, 8))
def test_random_programs_against_highs(seed: int, many: int, few: int) -> None:
    """Programs with room inside and a bounded answer cost what HiGHS finds, and all rows hold."""
    rng = np.random.default_rng(seed)
    rows = rng.normal(size=(many, few)) * (rng.random((many, few)) < 0.6)
    rows = np.vstack((rows, np.eye(few), -np.eye(few)))
    right = rows @ rng.normal(size=few) + rng.uniform(0.1, 2, len(rows))
    cost = rng.normal(size=few)
    found = least(cost, csr_array(rows), right)
    other = linprog(cost, A_ub=rows, b_ub=right, bounds=(None, None), method="highs-ds")

    assert found is not None
    assert cost @ found == pytest.approx(other.fun, rel=1e-7, abs=1e-7)
    assert (rows @ found - right).max() < 1e-6


def test_the_middle_of_three() -> None:
    """The place from which three others are nearest in all is the middle one: 0, 2 and 7."""
    rows = np.array([[1, -1, 0, 0], [1, 0, -1, 0], [1, 0, 0, -1]], dtype=float)
    both = np.vstack((rows, rows * [-1, 1, 1, 1]))
    found = least(np.array([0.0, 1, 1, 1]), csr_array(both), np.array([0.0, 2, 7, 0, -2, -7]))
    assert found == pytest.approx([2, 2, 0, 5], abs=1e-6)


def test_without_an_answer() -> None:
    """Rows that contradict each other, and a cost without an end, give none."""
    both = csr_array(np.array([[1.0], [-1.0]]))
    assert least(np.array([1.0]), both, np.array([0.0, -1.0])) is None
    assert least(np.array([1.0]), csr_array(np.array([[1.0], [2.0]])), np.ones(2)) is None
