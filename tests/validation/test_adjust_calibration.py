"""The adjustment against an independent solver, and its uncertainties against simulation.

- statsmodels (`WLS`), a general-purpose reference library: the weighted fit of a mixed network and
  the covariance of its heights.
- Simulated straightedge placements over a known surface, gaps rounded to the step of a wedge: the
  surface comes back, and errors divided by their stated standard uncertainty have unit variance
  within the 99 % interval of 2,000 surveys (chi-square).
"""

import numpy as np
import numpy.typing as npt
import pytest
import statsmodels.api as sm
from scipy.stats import chi2, norm

from flatcheck.adjust import adjust
from flatcheck.network import network
from flatcheck.surface import decided, variance
from flatcheck.survey import Gap, Observation, Reading, Tilt

Floats = npt.NDArray[np.float64]

STEP = 500.0
WEDGE = 0.2
SCATTER = 0.15
U_GAP = float(np.hypot(SCATTER, WEDGE / np.sqrt(12)))
SURVEYS = 2000


def floor(x: float, y: float) -> float:
    """A known surface [mm]."""
    return 1.2 * np.sin(x / 800) + np.cos(y / 700) + 0.002 * x


def bars(rng: np.random.Generator, diagonals: bool = True) -> list[Observation]:
    """Bars both ways over a 4 x 4 chalk grid, and on both diagonals; each lies as it will."""
    laid = [((0, j), (1, 0)) for j in range(4)] + [((i, 0), (0, 1)) for i in range(4)]
    if diagonals:
        laid += [((0, 0), (1, 1)), ((0, 3), (1, -1))]
    gaps: list[Observation] = []
    for number, ((i, j), (east, north)) in enumerate(laid):
        start = (i * STEP, j * STEP)
        end = (start[0] + 3 * STEP * east, start[1] + 3 * STEP * north)
        length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
        height, tilt = rng.normal(0, 2, 2)
        for q in range(4):
            x, y = start[0] + q * STEP * east, start[1] + q * STEP * north
            gap = height + tilt * q - floor(x, y) + rng.normal(0, SCATTER)
            read = round(gap / WEDGE) * WEDGE
            along, text = length * q / 3, f"{read:.1f}"
            gaps.append(Gap(start, end, along, read, U_GAP, f"bar {number}", None, "", text))
    return gaps


def test_known_surface_comes_back() -> None:
    """Bars recover the shape they lay on to the rounding of their wedges; only a plane is open."""
    known = adjust(bars(np.random.default_rng(1)))
    x, y = known.xy_mm.T
    truth = np.array([floor(a, b) for a, b in known.xy_mm])
    plane = np.column_stack((np.ones_like(x), x, y))
    off = known.height_mm - truth
    off -= plane @ np.linalg.lstsq(plane, off, rcond=None)[0]

    assert known.free.shape[1] == 3
    assert np.abs(off).max() < 3 * U_GAP
    assert known.suspects == ()


def test_rows_and_columns_leave_a_twist_open() -> None:
    """Without a diagonal bar x times y is straight along every bar: four directions are free."""
    known = adjust(bars(np.random.default_rng(1), diagonals=False))
    twist = known.xy_mm[:, 0] * known.xy_mm[:, 1] / STEP**2
    outside = twist - known.free @ np.linalg.lstsq(known.free, twist, rcond=None)[0]

    assert known.free.shape[1] == 4
    assert np.abs(outside).max() < 1e-9


def test_standardised_errors_have_unit_variance() -> None:
    """Over 2,000 simulated surveys the stated uncertainty of a gap is what its errors show."""
    rng = np.random.default_rng(2)
    first = adjust(bars(rng))
    number = {(round(a), round(b)): k for k, (a, b) in enumerate(first.xy_mm)}
    chords = [((0, 500), (500, 500), (1500, 500)), ((500, 0), (500, 1000), (500, 1500))]
    stations = np.array([[number[place] for place in chord] for chord in chords])
    weights = np.array([[2 / 3, -1, 1 / 3], [1 / 3, -1, 2 / 3]])
    truth = np.sum(weights * [[floor(*place) for place in chord] for chord in chords], axis=1)
    errors = []
    for _ in range(SURVEYS):
        known = adjust(bars(rng))
        u = np.sqrt(variance(known.cov_mm2, stations, weights))
        errors.append((np.sum(weights * known.height_mm[stations], axis=1) - truth) / u)
    spread = np.var(errors, axis=0, ddof=1)
    low, high = chi2.ppf([0.005, 0.995], SURVEYS - 1) / (SURVEYS - 1)
    print(
        f"\nvariance of standardised errors {spread.round(3)}, 99 % interval {low:.3f}-{high:.3f}"
    )

    assert decided(first.free, stations, weights).all()
    assert np.all((low < spread) & (spread < high))
    assert np.abs(np.mean(errors, axis=0)).max() < norm.ppf(0.9995) / np.sqrt(SURVEYS)


def mixed(rng: np.random.Generator) -> list[Observation]:
    """Two setups over a strip, tied at two places, two bars and three tilts."""
    seen: list[Observation] = []
    for setup, level, columns in (("rod A", 1000.0, range(5)), ("rod B", 1200.0, range(3, 8))):
        for i in columns:
            for j in range(3):
                x, y = i * STEP, j * STEP
                value = floor(x, y) - level + rng.normal(0, 0.5)
                seen.append(Reading(x, y, value, 0.5, setup, f"{setup} {i},{j}", "", "rod"))
    for j in (0, 2):
        start, end = (0.0, j * STEP), (7 * STEP, j * STEP)
        seen += [
            Gap(start, end, i * STEP, 3 - floor(i * STEP, j * STEP), 0.3, f"bar {j}", None, "", "")
            for i in range(8)
        ]
    for i in (1, 3, 5):
        start, end = (i * STEP, STEP), ((i + 1) * STEP, STEP)
        rise = floor(*end) - floor(*start) + rng.normal(0, 0.4)
        seen.append(Tilt(start, end, rise, 0.4, "", ""))
    return seen


def test_equals_statsmodels() -> None:
    """Heights against the first setup and their covariance are those of statsmodels' WLS."""
    seen = mixed(np.random.default_rng(3))
    known, net = adjust(seen), network(seen)
    lead = next(iter(net.setups.values()))
    others = np.array([k for k in range(net.matrix.shape[1]) if k != lead])
    design = net.matrix.toarray()[:, others]
    fitted = sm.WLS(net.value, design, weights=1 / net.u**2).fit()
    n = len(net.xy_mm)

    assert known.suspects == ()
    assert known.height_mm == pytest.approx(fitted.params[:n], abs=1e-7)
    assert known.cov_mm2 == pytest.approx(fitted.normalized_cov_params[:n, :n], abs=1e-9)
    assert known.residual_mm == pytest.approx(fitted.resid, abs=1e-7)
    assert known.fit.sigma0**2 == pytest.approx(fitted.scale, rel=1e-9)
    hat = np.diag(design @ fitted.normalized_cov_params @ design.T) / net.u**2
    assert known.redundancy == pytest.approx(1 - hat, abs=1e-9)
