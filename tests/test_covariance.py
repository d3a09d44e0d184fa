"""A covariance that is not written out: the same answers as the array that it stands for."""

import pickle
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.sparse import csr_array, random_array
from scipy.stats import chi2

from flatcheck.covariance import Factored, covariance
from flatcheck.normal import Solution, solve
from flatcheck.surface import FORMS, noise, variance, widened

Floats = npt.NDArray[np.float64]

SIDE = 14
SCALE = 1.7


def levelled(held: bool) -> Solution:
    """Differences between neighbors on a grid, each with its own u, and one height or none."""
    rng = np.random.default_rng(1)
    number = np.arange(SIDE**2).reshape(SIDE, SIDE)
    pairs = np.vstack(
        [
            np.column_stack((number[:, :-1].ravel(), number[:, 1:].ravel())),
            np.column_stack((number[:-1].ravel(), number[1:].ravel())),
        ]
    )
    m = len(pairs) + held
    design = np.zeros((m, SIDE**2))
    rows = np.arange(len(pairs))
    design[rows, pairs[:, 0]], design[rows, pairs[:, 1]] = -1, 1
    if held:
        design[-1, 0] = 1
    x, y = np.divmod(np.arange(SIDE**2), SIDE)
    where = np.column_stack((x, y)).astype(float)
    return solve(csr_array(design), rng.normal(0, 1, m), rng.uniform(0.2, 2, m), where)


@pytest.fixture(scope="module")
def pair() -> tuple[Factored, Floats]:
    """A covariance as its factor, and the array that it stands for, of forms of two."""
    solution = levelled(held=True)
    forms = csr_array(np.eye(SIDE**2)[5:] + 0.5 * np.eye(SIDE**2)[:-5])
    own = np.random.default_rng(9).uniform(0, 0.5, forms.shape[0])
    written = SCALE * (forms @ (forms @ covariance(solution)).T) + np.diag(own)
    return Factored(solution, forms, SCALE, own), written


def test_it_has_the_shape_of_the_array(pair: tuple[Factored, Floats]) -> None:
    """Shape and dimensions are those of the array."""
    factored, written = pair
    assert (factored.shape, factored.ndim) == (written.shape, written.ndim)
    assert factored.copy() is factored


def test_parts_of_it(pair: tuple[Factored, Floats]) -> None:
    """Some rows with the same columns are that part of the array; no other part is."""
    factored, written = pair
    kept = np.random.default_rng(2).permutation(len(written))[:40]
    part = factored[np.ix_(kept, kept)]
    assert part.shape == (40, 40)
    assert part.written(np.arange(40)) == pytest.approx(written[np.ix_(kept, kept)], rel=1e-9)
    with pytest.raises(ValueError, match="on the diagonal"):
        factored[np.ix_(kept, kept[::-1])]


def test_forms_from_the_left(pair: tuple[Factored, Floats]) -> None:
    """Forms times it are forms times the array, one or many."""
    factored, written = pair
    forms = np.random.default_rng(3).normal(0, 1, (3, len(written)))
    assert forms @ factored == pytest.approx(forms @ written, rel=1e-9, abs=1e-9)
    assert forms[0] @ factored == pytest.approx(forms[0] @ written, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("count", [1, 700, 3 * FORMS])
def test_variances_of_forms(pair: tuple[Factored, Floats], count: int) -> None:
    """The variance of forms of heights, few or many, wherever they lie, is that from the array."""
    factored, written = pair
    rng = np.random.default_rng(4)
    stations = rng.integers(0, len(written), (count, 3))
    weights = rng.normal(0, 1, (count, 3))
    expected = variance(written, stations, weights)
    assert variance(factored, stations, weights) == pytest.approx(expected, rel=1e-9)


def test_many_stations_at_once(pair: tuple[Factored, Floats], monkeypatch: Any) -> None:
    """Forms that touch more stations than are written out at a time are taken apart."""
    factored, written = pair
    monkeypatch.setattr("flatcheck.surface.STATIONS", 7)
    rng = np.random.default_rng(5)
    stations, weights = rng.integers(0, len(written), (90, 9)), rng.normal(0, 1, (90, 9))
    expected = variance(written, stations, weights)
    assert variance(factored, stations, weights) == pytest.approx(expected, rel=1e-9)


def test_forms_that_are_decided() -> None:
    """Where the datum is open, differences of heights have the variance of the array."""
    solution = levelled(held=False)
    assert solution.free.shape[1] == 1
    own = csr_array(np.eye(SIDE**2))
    rng = np.random.default_rng(6)
    stations = rng.integers(0, SIDE**2, (200, 2))
    weights = np.tile([1.0, -1.0], (200, 1))
    expected = variance(covariance(solution), stations, weights)
    found = variance(Factored(solution, own, 1.0, np.zeros(SIDE**2)), stations, weights)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_simulated_errors(pair: tuple[Factored, Floats]) -> None:
    """Simulated errors have the covariance: standardised, their forms have a variance of 1."""
    factored, written = pair
    draws = 4000
    errors = noise(factored, draws, 7)
    assert errors.shape == (len(written), draws)
    assert np.array_equal(errors, noise(factored, draws, 7))
    forms = random_array((300, len(written)), density=0.05, rng=8).toarray()
    expected = np.einsum("kn,nm,km->k", forms, written, forms)
    spread = np.mean((forms @ errors) ** 2, axis=1) / expected
    low, high = chi2.ppf([0.0005 / 300, 1 - 0.0005 / 300], draws) / draws
    assert (low < spread).all()
    assert (spread < high).all()


def test_widened(pair: tuple[Factored, Floats]) -> None:
    """A variance of each height's own is added to the diagonal, written out or not."""
    factored, written = pair
    extra = np.random.default_rng(10).uniform(0, 1, len(written))
    rows = np.arange(len(written))
    assert widened(written, extra) == pytest.approx(written + np.diag(extra))
    found = widened(factored, extra)
    assert isinstance(found, Factored)
    assert found.written(rows) == pytest.approx(written + np.diag(extra), rel=1e-9)
    assert widened(extra, extra) == pytest.approx(2 * extra)


def test_it_travels(pair: tuple[Factored, Floats]) -> None:
    """Pickled and back it gives the same answers."""
    factored, written = pair
    again = pickle.loads(pickle.dumps(factored))
    rows = np.arange(0, len(written), 9)
    assert np.array_equal(again.written(rows), factored.written(rows))
