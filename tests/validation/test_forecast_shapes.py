"""The forecast against floors whose steps can be written down, and against another solver.

On z = c x² a plate whose samples lie evenly about its middle m, with mean square distance s² along
x, fits best as c (s² + m² + 2 m (x - m)) = c (s² + x² - (x - m)²). So between plates with middles m
and m' the step at x is c ((x - m')² - (x - m)²): nothing where two aligned tiles of length L meet,
and where one is set off by r L, at the end of the other, c L² r (1 - r). A chord plate is the same
but for s²; c L²/4 is the height of the floor over its chord, so this is the 4 r (1 - r) of a bow.
"""

import clarabel
import numpy as np
import pytest
from layings import rows
from scipy.sparse import csc_matrix

from flatcheck.bedding import KEPT_MM, NONE_MM, ROUNDING_MM
from flatcheck.forecast import Bed, forecast
from flatcheck.plates import plates
from flatcheck.relief import relief
from flatcheck.room import Room, rectangle
from flatcheck.surface import Surface, surface

WIDE, DEEP, LENGTH, WIDTH = 4800.0, 2400.0, 1200.0, 600.0
STEP_MM = 50.0
"""Readings this close meet every place that whole tiles and those set off by a third are sampled
at, LENGTH / 4 and LENGTH / 3 apart, so that nothing is interpolated."""


def floor(shape: object, step: float = STEP_MM, turn_deg: float = 0.0) -> Surface:
    """A floor of heights shape(x, y) on a grid; turned about the origin, the heights with it."""
    x, y = np.meshgrid(np.arange(0, WIDE + 1, step), np.arange(0, DEEP + 1, step))
    xy = np.column_stack((x.ravel(), y.ravel()))
    z = np.asarray(shape(*xy.T), dtype=float)
    room = Room(rectangle(0, 0, WIDE, DEEP))
    return surface(room, xy, z, np.full(len(z), 0.01), [""] * len(z))


PATTERNS = {
    "aligned": (LENGTH, WIDTH, 0.0, 0.0),
    "third": (LENGTH, WIDTH, 1 / 3, 3.0),
    "half": (LENGTH, WIDTH, 0.5, 3.0),
    "quarter": (297.0, 147.0, 0.25, 3.0),
    "odd size, cut all round": (431.0, 287.0, 0.37, 5.0),
}


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("turn", [0.0, 45.0, 17.0])
def test_plane(pattern: str, turn: float) -> None:
    """On a plane, however it falls, no pattern has a step, at whatever angle it is laid."""
    length, width, offset, joint = PATTERNS[pattern]
    whole = floor(lambda x, y: 5 + 0.02 * x - 0.013 * y, 300.0)
    laying = rows(WIDE, DEEP, length, width, offset, joint, turn)
    found = forecast(whole, laying, 0.8, best=False)
    assert found.even.worst_mm == pytest.approx(0, abs=1e-9)
    assert found.even.least_mm == pytest.approx(found.bed.usual_mm, abs=1e-9)


@pytest.mark.parametrize("pattern", ["aligned", "third", "half"])
def test_plane_at_best(pattern: str) -> None:
    """On a plane the best way has no step either."""
    length, width, offset, joint = PATTERNS[pattern]
    whole = floor(lambda x, y: 5 + 0.02 * x - 0.013 * y, 300.0)
    found = forecast(whole, rows(WIDE, DEEP, length, width, offset, joint), 0.8)
    assert found.best.worst_mm == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize("offset", [0.0, 1 / 3, 0.25, 0.5])
def test_parabola(offset: float) -> None:
    """Whole tiles on c x² step by c ((x - m')² - (x - m)²); at the ends that is c L² r (1 - r)."""
    c = 3e-6
    laying = rows(WIDE, DEEP, LENGTH, WIDTH, offset)
    found = forecast(floor(lambda x, y: c * x**2), laying, 0.8, best=False)
    middle = laying.corners_mm.mean(axis=1)[:, 0]
    both = ~laying.cut[laying.joint_tiles].any(axis=1)
    m, other = middle[laying.joint_tiles[both]].T
    x = laying.joints_mm[both][:, :, 0]
    expected = c * ((x - other[:, None]) ** 2 - (x - m[:, None]) ** 2)

    assert both.any()
    assert found.even.step_mm[both] == pytest.approx(expected, abs=1e-7)
    across = np.abs(other - m) < LENGTH * 0.99
    if offset:
        assert found.even.lippage_mm[both][across].max() == pytest.approx(
            c * LENGTH**2 * offset * (1 - offset), rel=1e-6
        )
    else:
        assert found.even.lippage_mm[both] == pytest.approx(0, abs=1e-7)


@pytest.mark.parametrize("offset", [0.0, 0.25, 1 / 3, 0.5])
@pytest.mark.parametrize("bow", [0.8, -0.8])
def test_bowed_tile_on_a_flat_floor(offset: float, bow: float) -> None:
    """A tile bowed by b meets its neighbor 4 r (1 - r) b off at an offset of r, on a flat floor."""
    laying = rows(WIDE, DEEP, LENGTH, WIDTH, offset)
    found = forecast(floor(lambda x, y: 0 * x, 300.0), laying, 0.8, bow_mm=bow, best=False)
    both = ~laying.cut[laying.joint_tiles].any(axis=1)
    assert found.even.lippage_mm[both].max() == pytest.approx(
        4 * offset * (1 - offset) * abs(bow), abs=1e-9
    )
    assert found.flat_mm == pytest.approx(found.even.lippage_mm, abs=1e-9)


def test_a_dished_tile_fits_a_hollow() -> None:
    """Tiles bowed as the floor is, by c L²/4 the other way round, fit it without a step."""
    c = 3e-6
    laying = rows(WIDE, DEEP, LENGTH, WIDTH, 0.5)
    found = forecast(
        floor(lambda x, y: c * x**2), laying, 0.8, bow_mm=-c * LENGTH**2 / 4, best=False
    )
    assert found.even.worst_mm == pytest.approx(0, abs=1e-7)


def test_saddle() -> None:
    """On c x y every plate is the tangent at its middle, and the step at a corner is c d e.

    With middles (a, b) and (a', b') the plates are c (b x + a y - a b); aligned neighbors along x
    differ by c (a' - a) (b - y), at the joint's ends c L W / 2.
    """
    c = 2e-6
    laying = rows(WIDE, DEEP, LENGTH, WIDTH)
    found = forecast(floor(lambda x, y: c * x * y), laying, 0.8, best=False)
    along = np.ptp(laying.joints_mm[:, :, 0], axis=1) < 1
    assert found.even.lippage_mm[along] == pytest.approx(c * LENGTH * WIDTH / 2, rel=1e-6)


def by_clarabel(
    whole: Surface, laying: object, bed: Bed, bow: float, worst: float | None = None
) -> float:
    """The least worst step, or with that kept the least total, with every row written out.

    By an interior point method of other hands, from plates in their plain unknowns: no change from
    an even bed, no row left out, and no dual program.
    """
    laid = plates(laying, bow)
    under = relief(whole, laid.xy_mm).heights(whole.height_mm)
    matrix, count = laid.matrix, 3 * laid.count
    joints = len(laid.bow_step_mm) // laid.places
    more = 1 if worst is None else joints
    held = np.zeros((len(laid.bow_step_mm), more))
    held[np.arange(len(held)), 0 if worst is None else np.arange(len(held)) // laid.places] = 1
    none = np.zeros((len(laid.owner), more))
    bed_rows = np.hstack((matrix.toarray(), none))
    step = laid.step.toarray()
    listed = [
        (bed_rows, bed.most_mm + under - laid.bow_mm),
        (-bed_rows, -bed.least_mm - under + laid.bow_mm),
        (np.hstack((step, -held)), -laid.bow_step_mm),
        (np.hstack((-step, -held)), laid.bow_step_mm),
    ]
    if worst is not None:
        own = np.hstack((np.zeros((joints, count)), np.eye(joints)))
        listed.append((own, np.full(joints, worst)))
    a = csc_matrix(np.vstack([rows_ for rows_, _ in listed]))
    b = np.concatenate([right for _, right in listed])
    cost = np.concatenate((np.zeros(count), np.ones(more)))
    options = clarabel.DefaultSettings()
    options.verbose = False
    options.tol_gap_abs = options.tol_gap_rel = options.tol_feas = 1e-8
    empty = csc_matrix((len(cost), len(cost)))
    cones = [clarabel.NonnegativeConeT(len(b))]
    found = clarabel.DefaultSolver(empty, cost, a, b, cones, options).solve()
    assert str(found.status) in ("Solved", "AlmostSolved")
    return float(found.obj_val)


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize("bow", [0.0, 0.7])
@pytest.mark.parametrize("offset", [0.0, 1 / 3])
def test_equals_another_solver(seed: int, bow: float, offset: float) -> None:
    """The worst step is the least of another solver with all written out, but for the 5 μm that
    the total may have of it, and the total is the other's too, to 0.1 μm a joint."""
    rng = np.random.default_rng(seed)
    turn, long = rng.uniform(0, np.pi), rng.uniform(1200, 1600)

    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return rng.normal(0, 0.1, x.shape) + 6 * np.cos(
            (x * np.cos(turn) + y * np.sin(turn)) / long * 2 * np.pi
        )

    whole = floor(shape, 300.0)
    laying = rows(2400, 1800, 597, 297, offset, 3)
    # A bed without any play gives way by half of what the worst tile needs; 1 mm more than that
    # beds every tile, and is too little to flatten the floor.
    needs = 2 * forecast(whole, laying, 0.8, Bed(0, 0), bow).best.gives_mm.max()
    bed = Bed(2, 3 + needs)
    found = forecast(whole, laying, 0.8, bed, bow)
    assert not len(found.best.unbedded)
    worst = by_clarabel(whole, laying, bed, bow)
    assert worst - 1e-5 <= found.best.worst_mm <= worst + KEPT_MM + 1e-5
    # Where the worst step is least the total falls steeply with more room, so both get the same:
    # what the program leaves its limits by, and the worst step that it kept.
    more = 2 * ROUNDING_MM
    looser = Bed(bed.least_mm - more, bed.most_mm + more)
    total = by_clarabel(whole, laying, looser, bow, found.best.worst_mm)
    joints = len(found.limit_mm)
    assert found.best.lippage_mm.sum() == pytest.approx(total, abs=1e-4 * joints)
    assert worst > NONE_MM
