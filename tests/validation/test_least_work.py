"""Least work against a published L1 fit, other solvers, and every corner there is.

Published: NAG Library Manual, E02GAF / e02gac, section 10 "Example" (Marks 26 to 30.3): fit
z = a e^t + b e^-t + c at five t so that the sum of the residuals' sizes is smallest, by Barrodale &
Roberts, SIAM J. Numer. Anal. 10 (1973). That is the least total correction, filling and grinding
at one price, that brings five heights onto one plane over the places (e^t, e^-t).

Other solvers: the whole program with every bar written out, by HiGHS at once and by Clarabel, an
interior point method by other hands (Goulart & Chen, arXiv 2405.12762). On tiny floors no solver
at all: a least cost is at a corner, where as many of all limits as there are stations hold exactly,
and all corners can be tried.
"""

import itertools

import clarabel
import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import linprog
from scipy.sparse import csc_matrix, csr_array, eye, hstack, vstack

from flatcheck.demand import Demand, demand, feather
from flatcheck.leastwork import Conflict, Correction, Work, least_work
from flatcheck.room import Room, rectangle
from flatcheck.straightedge import bars
from flatcheck.surface import lines, station_areas, surface

Floats = npt.NDArray[np.float64]

STEP_MM = 304.8


def test_nag_least_total_correction() -> None:
    """The least total correction onto a plane has the size and the plane that the manual prints.

    The plane's three unknowns stand in the program as stations that cost nothing.
    """
    t = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
    z = np.array([4.501, 4.360, 4.333, 4.418, 4.625])
    own, unknown = np.arange(5)[:, None], np.broadcast_to(np.array([5, 6, 7]), (5, 3))
    base = np.column_stack((np.exp(t), np.exp(-t), np.ones(5)))
    onto = demand(
        "plane",
        np.hstack((own, unknown)),
        np.hstack((np.ones((5, 1)), -base)),
        z,
        0.0,
        both_sides=True,
    )
    price = np.array([1.0] * 5 + [0.0] * 3)
    bound = np.full(8, 10.0)
    start = np.concatenate((z, np.zeros(3)))
    places = np.vstack((base[:, :2], np.zeros((3, 2))))
    found = least_work(Work(places, start, price, price, bound, bound), [onto])
    assert isinstance(found, Correction)
    assert found.proven
    plane = (found.fill_mm - found.grind_mm)[5:]
    assert found.cost == pytest.approx(2.78e-03, abs=0.005e-03)
    assert plane == pytest.approx([1.0014, 2.0035, 1.4960], abs=0.00005 + 1e-9)
    # The further digits by trying every three points that a best plane passes through.
    threes = [list(three) for three in itertools.combinations(range(5), 3)]
    sums = [np.abs(z - base @ np.linalg.solve(base[k], z[k])).sum() for k in threes]
    assert found.cost == pytest.approx(min(sums), abs=1e-9)


def floor(rows: int, columns: int, seed: int) -> tuple[Floats, Floats, Floats, list[Demand]]:
    """A floor with waves and roughness, the floor around each station, what two bars ask."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(columns) * STEP_MM, np.arange(rows) * STEP_MM)
    z = rng.normal(0, rng.uniform(0.3, 2), x.shape)
    for _ in range(4):
        turn, long = rng.uniform(0, np.pi), rng.uniform(1500, 6000)
        across = x * np.cos(turn) + y * np.sin(turn)
        z += 2 * np.cos(2 * np.pi * across / long + rng.uniform(0, 6))
    xy, z = np.column_stack((x.ravel(), y.ravel())), z.ravel()
    room = Room(rectangle(0, 0, float(x.max()), float(y.max()) or STEP_MM))
    whole = surface(room, xy, z, np.ones(len(z)), [""] * len(z))
    asks = []
    for length, limit in ((3048.0, 3.175), (609.6, 1.5875)):
        found = bars(lines(whole), z, length)
        asks.append(demand("bar", found.stations, found.weights, found.gap_mm, limit, 0.2))
    return xy, z, station_areas(whole), asks


def written_out(work: Work, asks: list[Demand]) -> tuple[csr_array, Floats]:
    """Every demand as a row over fill and grinding."""
    n, parts = len(work.height_mm), []
    for ask in asks:
        count, width = ask.stations.shape
        row = np.repeat(np.arange(count), width)
        of = (ask.weights.ravel(), (row, ask.stations.ravel()))
        parts.append(csr_array(of, shape=(count, n)))
    forms = vstack(parts, format="csr")
    spare = np.concatenate([ask.spare_mm for ask in asks])
    return hstack((forms, -forms), format="csr"), spare


def by_highs(work: Work, asks: list[Demand]) -> float | None:
    """The least cost with all written out, or None where there is none."""
    forms, spare = written_out(work, asks)
    bounds = np.column_stack((np.zeros(len(work.most_mm)), work.most_mm))
    found = linprog(work.cost, forms, spare, bounds=bounds)
    assert found.status in (0, 2)
    return float(found.fun) if found.status == 0 else None


def by_clarabel(work: Work, asks: list[Demand]) -> float:
    """The least cost with all written out, by another method and other hands."""
    forms, spare = written_out(work, asks)
    unknowns = len(work.cost)
    bounded = np.flatnonzero(np.isfinite(work.most_mm))
    one = eye(unknowns, format="csr")
    rows = csc_matrix(vstack((forms, -one, one[bounded])))
    right = np.concatenate((spare, np.zeros(unknowns), work.most_mm[bounded]))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    nothing = csc_matrix((unknowns, unknowns))
    cones = [clarabel.NonnegativeConeT(len(right))]
    solver = clarabel.DefaultSolver(nothing, work.cost, rows, right, cones, settings)
    found = solver.solve()
    assert str(found.status) == "Solved"
    return float(found.obj_val)


@pytest.mark.parametrize(
    ("rows", "columns", "seed"), [(1, 20, 1), (5, 5, 2), (6, 9, 3), (9, 12, 4), (10, 20, 5)]
)
@pytest.mark.parametrize("kind", ["free", "bounded", "feathered", "dear grinding"])
def test_equals_other_solvers(rows: int, columns: int, seed: int, kind: str) -> None:
    """Up to 200 stations the cost is that of every bar written out, by two solvers, to 1e-7."""
    xy, z, area, asks = floor(rows, columns, seed)
    if rows == 1:
        area = np.full(len(z), STEP_MM**2)
    rng = np.random.default_rng(seed)
    endless = np.full(len(z), np.inf)
    most_fill, most_grind, dear = endless, endless, 1.5
    if kind == "bounded":
        most_fill, most_grind = rng.uniform(8, 20, len(z)), rng.uniform(2, 5, len(z))
        most_grind[rng.random(len(z)) < 0.2] = 0.0
    if kind == "feathered":
        edges = np.concatenate([ask.stations[:, :2] for ask in asks[1:]])
        asks = [*asks, feather("feather", xy, edges, 6.0 / STEP_MM)]
    if kind == "dear grinding":
        dear = rng.uniform(2, 9)
    work = Work(xy, z, 1e-6 * area, dear * 1e-6 * area, most_fill, most_grind)
    found, want = least_work(work, asks), by_highs(work, asks)
    assert want is not None
    assert isinstance(found, Correction)
    assert found.proven
    assert found.cost == pytest.approx(want, rel=1e-7)
    assert found.cost == pytest.approx(by_clarabel(work, asks), rel=1e-7)


def test_says_no_just_where_there_is_none() -> None:
    """It finds a conflict just where HiGHS, with every bar written out, finds no answer."""
    outcomes = []
    for seed in range(30):
        xy, z, area, asks = floor(5, 8, seed)
        rng = np.random.default_rng(seed)
        most_fill, most_grind = rng.uniform(0, 2), rng.uniform(0, 2)
        whole = np.ones(len(z))
        work = Work(xy, z, area, area, most_fill * whole, most_grind * whole)
        found, want = least_work(work, asks), by_highs(work, asks)
        assert isinstance(found, Conflict) == (want is None)
        outcomes.append(want is None)
    assert 5 <= sum(outcomes) <= 25


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("n", [3, 4, 5])
def test_every_corner_of_tiny_floors(n: int, seed: int) -> None:
    """On 3 to 5 stations in a row no corner of what is allowed costs less."""
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(100, 500, n))
    z, limit = rng.normal(0, 5, n), rng.uniform(0.5, 3)
    fill, grind = rng.uniform(0.5, 2, (2, n))
    most_fill, most_grind = rng.uniform(1, 12, (2, n))
    triples = np.array(list(itertools.combinations(range(n), 3)))
    left, place, right = x[triples].T
    share = (place - left) / (right - left)
    weights = np.column_stack((1 - share, -np.ones(len(share)), share))
    gap = np.sum(weights * z[triples], axis=1)
    xy = np.column_stack((x, np.zeros(n)))
    work = Work(xy, z, fill, grind, most_fill, most_grind)
    found = least_work(work, [demand("bar", triples, weights, gap, limit)])

    forms = np.zeros((len(triples), n))
    np.put_along_axis(forms, triples, weights, axis=1)
    one = np.eye(n)
    tight = np.vstack((forms, one, one, one))  # a bar, untouched, all filled, all ground
    right_side = np.concatenate((limit - gap, np.zeros(n), most_fill, -most_grind))
    picks = np.array(list(itertools.combinations(range(len(tight)), n)))
    matrices = tight[picks]
    regular = np.abs(np.linalg.det(matrices)) > 1e-9
    corners = np.linalg.solve(matrices[regular], right_side[picks[regular]][..., None])[..., 0]
    allowed = np.all(corners @ forms.T <= limit - gap + 1e-9, axis=1)
    allowed &= np.all((corners <= most_fill + 1e-9) & (corners >= -most_grind - 1e-9), axis=1)
    if not allowed.any():
        assert isinstance(found, Conflict)
        return
    assert isinstance(found, Correction)
    corners = corners[allowed]
    cost = np.maximum(corners, 0) @ fill + np.maximum(-corners, 0) @ grind
    assert found.cost == pytest.approx(cost.min(), rel=1e-7, abs=1e-9)
