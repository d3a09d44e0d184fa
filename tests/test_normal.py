"""Sparse least squares: against dense linear algebra, another solver, and counted freedoms."""

import pickle
from collections.abc import Sequence
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.linalg import lsqr

from flatcheck import normal
from flatcheck.covariance import covariance, variances
from flatcheck.normal import solve

Floats = npt.NDArray[np.float64]
Row = dict[int, float]


@dataclass(frozen=True, eq=False)
class Problem:
    """Observations of a floor as rows of a matrix, and where its unknowns are on the plan."""

    a: sparse.csr_array
    y: Floats
    u: Floats
    position: Floats

    def solve(self, leaf: int = normal.LEAF) -> normal.Solution:
        """The solution, with the plan halved down to parts of `leaf` unknowns."""
        with patch.object(normal, "LEAF", leaf):
            return solve(self.a, self.y, self.u, self.position)


def matrix(rows: Sequence[Row], n: int) -> sparse.csr_array:
    a = sparse.lil_array((len(rows), n))
    for i, row in enumerate(rows):
        for j, value in row.items():
            a[i, j] = value
    return a.tocsr()


def floor(
    stations: Floats,
    heights: Sequence[tuple[int, int]] = (),
    bars: Sequence[Sequence[int]] = (),
    tilts: Sequence[tuple[int, int]] = (),
    spread: float = 0.5,
    seed: int = 0,
) -> Problem:
    """Readings of a floor: heights as (station, setup), gaps under bars, tilts between stations.

    A setup has an unknown height; a bar has an offset and a tilt in mm per meter. Standard
    uncertainties range over `spread` powers of ten.
    """
    rng = np.random.default_rng(seed)
    n = len(stations)
    position = list(stations)
    rows: list[Row] = []
    setups = sorted({setup for _, setup in heights})
    for setup in setups:
        seen = [station for station, by in heights if by == setup]
        rows += [{station: 1, n: 1} for station in seen]
        position.append(stations[seen].mean(0))
        n += 1
    for bar in bars:
        places = stations[list(bar)]
        along = places[-1] - places[0]
        distance = (places - places.mean(0)) @ along / np.hypot(*along) / 1000
        rows += [{s: 1, n: -1, n + 1: -d} for s, d in zip(bar, distance, strict=True)]
        position += [places.mean(0)] * 2
        n += 2
    for one, other in tilts:
        meters = float(np.hypot(*(stations[one] - stations[other]))) / 1000
        rows.append({one: 1 / meters, other: -1 / meters})
    a = matrix(rows, n)
    u = 10 ** rng.uniform(-spread, 0, len(rows))
    y = a @ rng.normal(0, 10, n) + u * rng.normal(0, 1, len(rows))
    return Problem(a, y, u, np.array(position).reshape(n, 2))


def scattered(count: int, seed: int = 0) -> Floats:
    """Places on a plan of 10 m x 10 m, no three on a line [mm]."""
    return np.random.default_rng(seed).uniform(0, 1e4, (count, 2))


def in_line(count: int) -> Floats:
    """Places 300 mm apart along a wall [mm]."""
    return np.column_stack((300.0 * np.arange(count), np.zeros(count)))


@dataclass(frozen=True, eq=False)
class Dense:
    """What an SVD makes of a problem: `half` @ `half`' is the covariance; `null` spans the null
    space; `share` is the part of an observation in its own fit."""

    residual: Floats
    share: Floats
    half: Floats
    null: Floats

    def variance(self, forms: Floats) -> Floats:
        return ((forms @ self.half) ** 2).sum(1)


def dense(problem: Problem) -> Dense:
    """The same least squares by dense linear algebra, on columns scaled to norm 1."""
    weighted = problem.a.toarray() / problem.u[:, None]
    norm = np.linalg.norm(weighted, axis=0)
    norm[norm == 0] = 1
    left, size, right = np.linalg.svd(weighted / norm, full_matrices=True)
    rank = int((size > 1e-9 * size.max(initial=0)).sum())
    left = left[:, :rank]
    fitted = left @ (left.T @ (problem.y / problem.u)) * problem.u
    half = right[:rank].T / size[:rank] / norm[:, None]
    null = right[rank:].T / norm[:, None]
    return Dense(problem.y - fitted, (left**2).sum(1), half, null / np.abs(null).max(0))


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """A few readings of all kinds, of 1 to 30 stations, mostly too few to fix them all."""
    count = draw(st.integers(1, 30))
    station = st.integers(0, count - 1)
    heights = draw(st.lists(st.tuples(station, st.integers(0, 2)), min_size=1, max_size=40))
    pairs = st.lists(station, min_size=2, max_size=2, unique=True).map(tuple)
    tilts = draw(st.lists(pairs, max_size=40)) if count > 1 else []
    several = st.lists(station, min_size=3, max_size=8, unique=True)
    bars = draw(st.lists(several, max_size=8)) if count > 2 else []
    seed = draw(st.integers(0, 99))
    return floor(scattered(count, seed), heights, bars, tilts, draw(st.floats(0, 3)), seed)


@settings(deadline=None, max_examples=200)
@given(problems(), st.sampled_from([1, 2, 5, 50]))
def test_equals_dense_algebra(problem: Problem, leaf: int) -> None:
    """Residuals, variances of the rows and free directions are those of an SVD."""
    solution = problem.solve(leaf)
    expected = dense(problem)
    rows, u = problem.a.toarray(), problem.u
    np.testing.assert_allclose(solution.residual / u, expected.residual / u, atol=1e-8)
    rounding = 1e-15 * (np.abs(rows) @ np.abs(solution.x) + np.abs(problem.y)).max()
    np.testing.assert_allclose(solution.residual, problem.y - rows @ solution.x, atol=rounding)
    np.testing.assert_allclose(solution.row_variance / u**2, expected.share, atol=1e-11)
    freedoms = expected.null.shape[1]
    assert solution.free.shape[1] == freedoms
    assert np.linalg.matrix_rank(solution.free) == freedoms
    assert (np.abs(solution.free).max(0) == 1).all()
    np.testing.assert_allclose(rows @ solution.free, 0, atol=1e-9 * np.abs(rows).max())


@settings(deadline=None, max_examples=200)
@given(problems(), st.sampled_from([1, 2, 5, 50]), st.integers(0, 99))
def test_forms_equal_dense_algebra(problem: Problem, leaf: int, seed: int) -> None:
    """A form has its variance from an SVD if no null vector changes it, else an infinite one."""
    solution = problem.solve(leaf)
    by_svd = dense(problem)
    rng = np.random.default_rng(seed)
    m, n = problem.a.shape
    mixed = rng.normal(0, 1, (5, m)) @ problem.a.toarray()
    random = rng.normal(0, 1, (5, n)) * (rng.random((5, n)) < 3 / n)
    forms = np.vstack((mixed, random, np.eye(n)))

    variance, estimable = variances(solution, sparse.csr_array(forms))
    known = (np.abs(forms @ by_svd.null) <= 1e-7 * np.abs(forms).max(1, keepdims=True)).all(1)
    np.testing.assert_array_equal(estimable, known)
    assert estimable[:5].all()
    assert np.isinf(variance[~known]).all()
    expected = by_svd.variance(forms)[known]
    np.testing.assert_allclose(variance[known], expected, rtol=1e-6, atol=1e-12)

    whole = covariance(solution)
    np.testing.assert_array_equal(whole, whole.T)
    from_whole = ((forms @ whole) * forms).sum(1)[known]
    # Here large entries cancel, which `variances` avoids.
    lost = 1e-9 * (np.abs(forms) @ np.abs(whole) * np.abs(forms)).sum(1)[known]
    assert (np.abs(from_whole - expected) <= 1e-6 * expected + lost).all()


BARS_IN_LINE = [list(range(8 * i, 8 * i + 10)) for i in range(12)]

FREEDOMS = {
    "one station read from one setup": (floor(scattered(1), [(0, 0)]), 1),
    "setups joined by a station": (floor(scattered(5), [(0, 0), (1, 0), (1, 1), (2, 1)]), 1 + 2),
    "a loop of tilts without datum": (
        floor(scattered(9), tilts=[(i, (i + 1) % 9) for i in range(9)]),
        1,
    ),
    "two pieces of tilts": (
        floor(scattered(8), tilts=[(0, 1), (1, 2), (2, 3), (4, 5), (5, 6), (6, 7)]),
        2,
    ),
    "one bar": (floor(in_line(10), bars=[range(10)]), 2),
    "two bars hinged at one station": (floor(in_line(9), bars=[range(5), range(4, 9)]), 3),
    "two bars that share two stations": (floor(in_line(8), bars=[range(5), range(3, 8)]), 2),
    "bars in line": (floor(in_line(98), bars=BARS_IN_LINE), 2),
    # Three bars around a triangle hold it flat: a plane is left.
    "a triangle of bars": (
        floor(
            np.array([[0, 0], [500, 0], [1000, 0], [750, 400], [500, 800], [250, 400.0]]),
            bars=[[0, 1, 2], [2, 3, 4], [4, 5, 0]],
        ),
        3,
    ),
    # Straight along both families of bars: a, b x, c y and the twist d x y.
    "a square grid of bars": (
        floor(
            np.array([[x, y] for x in range(6) for y in range(6)]) * 300.0,
            bars=[[6 * i + j for j in range(6)] for i in range(6)]
            + [[6 * i + j for i in range(6)] for j in range(6)],
        ),
        4,
    ),
    "300 loose bars": (
        floor(scattered(900), bars=[[3 * i, 3 * i + 1, 3 * i + 2] for i in range(300)]),
        600,
    ),
}


@pytest.mark.parametrize("name", FREEDOMS)
@pytest.mark.parametrize("leaf", [2, 50])
def test_counts_the_freedoms(name: str, leaf: int) -> None:
    """The number of free directions is that of the mechanism, and none moves a reading."""
    problem, freedoms = FREEDOMS[name]
    solution = problem.solve(leaf)
    assert solution.free.shape[1] == freedoms
    assert np.linalg.matrix_rank(solution.free) == freedoms
    np.testing.assert_allclose(problem.a @ solution.free, 0, atol=1e-9)


def test_pieces_have_free_directions_of_their_own() -> None:
    """A direction of one piece is exactly 0 on another piece, so that it can be shown as one."""
    problem, _ = FREEDOMS["two pieces of tilts"]
    free = problem.solve(2).free
    moved = {tuple(np.flatnonzero(column)) for column in free.T}
    assert moved == {(0, 1, 2, 3), (4, 5, 6, 7)}


def test_an_unknown_without_readings_is_free() -> None:
    """A column of zeros gives a direction that moves its unknown alone."""
    problem = floor(scattered(4), tilts=[(0, 1), (1, 3)])
    free = problem.solve().free
    assert sorted(tuple(np.flatnonzero(column)) for column in free.T) == [(0, 1, 3), (2,)]


def mixed(side: int, seed: int = 0) -> Problem:
    """A square grid of stations with readings of all kinds from four setups."""
    rng = np.random.default_rng(seed)
    stations = np.array([[x, y] for x in range(side) for y in range(side)]) * 300.0
    count = side * side
    heights = [(int(s), int(rng.integers(4))) for s in rng.integers(0, count, 2 * count)]
    starts = rng.integers(0, side - 9, (count // 10, 2))
    bars = [[side * (x + i) + y for i in range(10)] for x, y in starts[::2]]
    bars += [[side * x + y + i for i in range(10)] for x, y in starts[1::2]]
    tilts = [(int(s), int(s) + 1) for s in rng.integers(0, count - 1, count // 3)]
    return floor(stations, heights, bars, tilts, seed=seed)


def test_equals_lsqr() -> None:
    """On 1,600 stations the residuals are those of scipy's iterative solver."""
    problem = mixed(40)
    weighted = sparse.diags_array(1 / problem.u) @ problem.a
    norm = np.sqrt((weighted**2).sum(0))
    norm[norm == 0] = 1
    scaled = (weighted / norm).tocsr()
    found = lsqr(scaled, problem.y / problem.u, atol=1e-15, btol=1e-15, iter_lim=20_000)[0]
    residual = problem.solve().residual / problem.u
    np.testing.assert_allclose(residual, problem.y / problem.u - scaled @ found, atol=1e-7)


@pytest.mark.parametrize("spread", [0, 1, 3])
def test_the_parts_add_up_to_the_rank(spread: float) -> None:
    """The observations' shares in their own fits add up to the number of determined unknowns."""
    grid = mixed(25)
    u = 10 ** np.random.default_rng(1).uniform(-spread, 0, len(grid.u))
    problem = Problem(grid.a, grid.y, u, grid.position)
    solution = problem.solve()
    shares = solution.row_variance / u**2
    assert shares.sum() == pytest.approx(len(solution.x) - solution.free.shape[1], abs=1e-8)
    # Never above 1, by rounding either: a redundancy number has a square root taken of it.
    assert (solution.row_variance <= u**2).all()
    # The residuals of a least squares solution are orthogonal to every column.
    gradient = (problem.a.T @ (solution.residual / u**2)) / solution.scale
    np.testing.assert_allclose(gradient, 0, atol=1e-13 * np.linalg.norm(problem.y / u))


def test_other_numbering_same_answer() -> None:
    """Shuffled unknowns, observations and plan hold other unknowns, and change no answer."""
    problem = mixed(20)
    m, n = problem.a.shape
    rng = np.random.default_rng(2)
    rows, columns = rng.permutation(m), rng.permutation(n)
    shuffled = Problem(
        problem.a[rows][:, columns], problem.y[rows], problem.u[rows], rng.uniform(0, 1, (n, 2))
    )
    one, other = problem.solve(), shuffled.solve(20)
    held = {int(i) for i in one.fronts[0].rest}
    assert held != {int(columns[i]) for i in other.fronts[0].rest}
    np.testing.assert_allclose(other.residual, one.residual[rows], atol=1e-9)
    np.testing.assert_allclose(other.row_variance, one.row_variance[rows], rtol=1e-9)

    steps = rng.integers(0, 400, (600, 2))
    forms = matrix([{int(i): 1, int(j): -1} for i, j in steps if i != j], n)
    variance, estimable = variances(one, forms)
    again, estimable_again = variances(other, forms[:, columns])
    np.testing.assert_array_equal(estimable_again, estimable)
    assert estimable.sum() > 100
    np.testing.assert_allclose(again[estimable], variance[estimable], rtol=1e-9)


def test_rows_as_forms() -> None:
    """Asked for as forms, the observations have the variances that the solution gave them."""
    problem = mixed(20)
    solution = problem.solve()
    variance, estimable = variances(solution, problem.a)
    assert estimable.all()
    np.testing.assert_allclose(variance, solution.row_variance, rtol=1e-10)


@pytest.mark.parametrize("spread", [0, 3])
def test_weakly_known_is_not_free(spread: float) -> None:
    """The end of 1,000 bars in line is known, however badly, once two stations have heights."""
    bars = [range(8 * i, 8 * i + 10) for i in range(1000)]
    loose = floor(in_line(8002), bars=bars, spread=spread)
    assert loose.solve().free.shape[1] == 2

    n = loose.a.shape[1]
    pinned = Problem(
        sparse.vstack([loose.a, matrix([{0: 1}, {9: 1}], n)]).tocsr(),
        np.append(loose.y, [0, 0]),
        np.append(loose.u, [1, 1]),
        loose.position,
    )
    solution = pinned.solve()
    assert solution.free.shape[1] == 0
    assert (solution.row_variance / pinned.u**2).sum() == pytest.approx(n, abs=1e-8)


def test_hinge_of_known_variance() -> None:
    """The far end of a bar on two known stations has the variance of a straight line drawn out."""
    # Gaps read at 0, 1 and 4 m with u = 0.3 mm; heights known at 0 and 1 m with u = 0.2 mm.
    places = np.array([[0, 0], [1000, 0], [4000, 0.0]])
    gaps = floor(places, bars=[range(3)])
    a = sparse.vstack([gaps.a, matrix([{0: 1}, {1: 1}], 5)]).tocsr()
    solution = solve(a, np.zeros(5), np.array([0.3, 0.3, 0.3, 0.2, 0.2]), gaps.position)
    variance, estimable = variances(solution, matrix([{2: 1}], 5))
    # z2 = 4 (z1 - g1) - 3 (z0 - g0) + g2
    assert estimable.all()
    assert variance == pytest.approx((4**2 + 3**2) * (0.2**2 + 0.3**2) + 0.3**2)


def test_mean_of_repeats() -> None:
    """One unknown read twice is the weighted mean, and its variance 1 / sum of 1 / u^2."""
    a = sparse.csr_array(np.ones((2, 1)))
    y, u = np.array([10.0, 13.0]), np.array([1.0, 2.0])
    solution = solve(a, y, u, np.zeros((1, 2)))
    assert solution.x == pytest.approx((10 / 1 + 13 / 4) / (1 + 1 / 4))
    assert solution.row_variance == pytest.approx(1 / (1 + 1 / 4))
    assert covariance(solution) == pytest.approx(1 / (1 + 1 / 4))


def test_one_observation_of_one_unknown() -> None:
    """A single reading is its own answer, with its own variance and nothing free."""
    solution = solve(
        sparse.csr_array(np.array([[2.0]])), np.array([6.0]), np.array([0.5]), np.zeros((1, 2))
    )
    assert solution.x == pytest.approx(3)
    assert solution.row_variance == pytest.approx(0.25)
    assert covariance(solution) == pytest.approx(0.25 / 4)
    assert solution.free.shape == (1, 0)


def test_no_observations() -> None:
    """Without observations every unknown is free, and no form but the empty one is known."""
    solution = solve(sparse.csr_array((0, 3)), np.zeros(0), np.zeros(0), np.zeros((3, 2)))
    assert np.linalg.matrix_rank(solution.free) == 3
    variance, estimable = variances(solution, sparse.csr_array([[0.0, 0, 0], [1, 0, 0]]))
    assert estimable.tolist() == [True, False]
    assert variance.tolist() == [0, np.inf]


def test_survives_pickling_locked() -> None:
    """A pickled solution answers the same and cannot be written to."""
    problem = mixed(12)
    before = problem.solve()
    after = pickle.loads(pickle.dumps(before))
    np.testing.assert_array_equal(
        variances(after, problem.a)[0], variances(before, problem.a)[0], strict=True
    )
    with pytest.raises(ValueError, match="read-only"):
        after.x[0] = 0


GOOD = np.array([[1.0, 1.0], [0.0, 1.0]])


@pytest.mark.parametrize(
    ("a", "y", "u", "position", "message"),
    [
        ([[1, 1], [0, 0]], [1, 1], [1, 1], np.zeros((2, 2)), "observation 1 holds no unknown"),
        (GOOD, [1, 1, 1], [1, 1], np.zeros((2, 2)), "y of"),
        (GOOD, [1, 1], [1], np.zeros((2, 2)), "u of"),
        (GOOD, [1, 1], [1, 1], np.zeros((3, 2)), "position of"),
        (GOOD, [1, np.nan], [1, 1], np.zeros((2, 2)), "y holds a value that is not finite"),
        (GOOD, [1, 1], [1, np.inf], np.zeros((2, 2)), "u holds a value that is not finite"),
        ([[np.inf, 1], [0, 1]], [1, 1], [1, 1], np.zeros((2, 2)), "A holds a value"),
        (GOOD, [1, 1], [1, 0], np.zeros((2, 2)), r"u\[1\] is 0"),
        (GOOD, [1, 1], [-1, 1], np.zeros((2, 2)), r"u\[0\] is -1"),
        (np.zeros((0, 0)), [], [], np.zeros((0, 2)), "no unknowns"),
    ],
)
def test_refuses(a: object, y: object, u: object, position: Floats, message: str) -> None:
    """What is not a least squares problem is refused, by name."""
    with pytest.raises(ValueError, match=message):
        solve(sparse.csr_array(np.array(a)), np.array(y), np.array(u), position)


def test_a_stored_zero_is_no_unknown() -> None:
    """An observation whose only entry is a stored 0 is refused like an empty one."""
    a = sparse.csr_array((np.array([1.0, 0.0]), ([0, 1], [0, 1])), shape=(2, 2))
    with pytest.raises(ValueError, match="observation 1 holds no unknown"):
        solve(a, np.ones(2), np.ones(2), np.zeros((2, 2)))


def test_refuses_forms_of_other_unknowns() -> None:
    """Forms must be of the unknowns that were solved for."""
    with pytest.raises(ValueError, match="forms are of 3 unknowns"):
        variances(mixed(10).solve(), sparse.csr_array((1, 3)))
