"""Intents: the plane that is asked of a zone, and how the heights decide it."""

import math
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.errors import SurveyError
from flatcheck.intent import Intent, band, departures, fall_of, fit

Floats = npt.NDArray[np.float64]

KINDS = [
    Intent("level"),
    Intent("best fit"),
    Intent("minimum zone"),
    Intent("fall", 0.02, 135.0),
]
FITTED = pytest.mark.parametrize("kind", ["best fit", "minimum zone"])


def floor(seed: int, n: int = 12) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 4000, (n, 2)), rng.normal(0, 3, n)


@pytest.mark.parametrize(
    ("bearing", "east", "north"),
    [(0, 0, -1), (90, -1, 0), (180, 0, 1), (270, 1, 0), (45, -(0.5**0.5), -(0.5**0.5))],
)
def test_water_runs_to_the_bearing(bearing: float, east: float, north: float) -> None:
    """A fall to the north drops to the north, one to the east drops to the east."""
    plane = fit(Intent("fall", 0.02, bearing), *floor(1))
    assert plane.coef[1:] == pytest.approx([0.02 * east, 0.02 * north], abs=1e-15)
    assert fall_of(plane) == (pytest.approx(0.02), pytest.approx(bearing))


@pytest.mark.parametrize("intent", [Intent("level"), Intent("fall", 1 / 48, 200.0)])
def test_only_the_height_is_free(intent: Intent) -> None:
    """Level and given falls keep their slope; the weighted mean departure is zero."""
    xy, z = floor(2)
    weight = np.arange(1.0, len(z) + 1)
    plane = fit(intent, xy, z, weight)
    assert math.hypot(*plane.coef[1:]) == pytest.approx(intent.fall_ratio)
    assert weight @ departures(plane, xy, z) == pytest.approx(0, abs=1e-9)
    assert not plane.form[1:].any()


def test_best_fit_is_least_squares() -> None:
    """The best fit is the solution of the weighted least squares problem, by another solver."""
    xy, z = floor(3)
    weight = np.random.default_rng(3).uniform(0.1, 9, len(z))
    plane = fit(Intent("best fit"), xy, z, weight)
    base = np.column_stack((np.ones(len(z)), xy - xy.mean(axis=0)))
    root = np.sqrt(weight)
    expected, *_ = np.linalg.lstsq(base * root[:, None], z * root, rcond=None)
    assert plane.coef == pytest.approx(expected, rel=1e-9)
    assert plane.form @ z == pytest.approx(expected, rel=1e-9)


def test_minimum_zone_is_the_widest_of_all_fours() -> None:
    """The zone's width is the largest that any four readings need: 2 |λ·z| / Σ|λ|.

    λ are the weights with which four places balance: Σλ = 0, Σλx = 0, Σλy = 0 (the theorem of
    de la Vallée Poussin for planes).
    """
    for seed in range(5):
        xy, z = floor(seed, 9)
        needed = 0.0
        for four in map(list, combinations(range(len(z)), 4)):
            balance = np.vstack((np.ones(4), xy[four].T / 1000))
            weights = np.linalg.svd(balance)[2][-1]
            needed = max(needed, 2 * abs(weights @ z[four]) / np.abs(weights).sum())
        plane = fit(Intent("minimum zone"), xy, z)
        assert band(departures(plane, xy, z)) == pytest.approx(needed, rel=1e-9)


def test_minimum_zone_is_no_wider_than_the_best_fit() -> None:
    """No plane has a narrower band than the minimum zone, the best fit neither."""
    for seed in range(20):
        xy, z = floor(seed)
        narrow, wide = (
            band(departures(fit(Intent(kind), xy, z), xy, z))
            for kind in ("minimum zone", "best fit")
        )
        assert narrow <= wide + 1e-9


@FITTED
def test_a_tilt_is_no_departure(kind: str) -> None:
    """Adding a plane to the heights changes no departure from a fitted plane."""
    xy, z = floor(4)
    tilted = z + 250 + 0.03 * xy[:, 0] - 0.01 * xy[:, 1]
    before, after = (departures(fit(Intent(kind), xy, h), xy, h) for h in (z, tilted))
    assert after == pytest.approx(before, abs=1e-8)


@pytest.mark.parametrize("intent", KINDS, ids=lambda intent: intent.kind)
def test_the_form_is_the_derivative(intent: Intent) -> None:
    """The linear form says how the plane moves when one height moves a little."""
    xy, z = floor(5)
    plane = fit(intent, xy, z)
    step = 1e-3
    for i in range(len(z)):
        moved = fit(intent, xy, z + step * (np.arange(len(z)) == i))
        change = (moved.coef - plane.coef) / step
        assert plane.form[:, i] == pytest.approx(change, abs=1e-8)


@pytest.mark.parametrize("intent", KINDS, ids=lambda intent: intent.kind)
def test_a_true_floor_has_no_departures(intent: Intent) -> None:
    """Heights that lie on the plane asked for depart from it nowhere; nothing divides by zero."""
    xy, _ = floor(6)
    z = 100 + xy @ -np.array([math.sin(math.radians(135)), math.cos(math.radians(135))]) * (
        intent.fall_ratio
    )
    plane = fit(intent, xy, z)
    assert departures(plane, xy, z) == pytest.approx(np.zeros(len(z)), abs=1e-9)
    assert np.isfinite(plane.form).all()


@FITTED
@pytest.mark.parametrize("along", [(1, 0), (0, 1), (1, 2)], ids=["row", "column", "slanted"])
def test_one_line_spans_no_plane(kind: str, along: tuple[int, int]) -> None:
    """Readings on one line are refused where a plane must be fitted, and do where it need not."""
    xy = np.outer(np.arange(6) * 300.0, along)
    with pytest.raises(SurveyError, match="do not span a plane"):
        fit(Intent(kind), xy, np.zeros(6))
    assert departures(fit(Intent("level"), xy, np.zeros(6)), xy, np.zeros(6)).tolist() == [0] * 6


@FITTED
@pytest.mark.parametrize(
    "end",
    [
        (600, 0),
        pytest.param(
            (600, 900),
            marks=pytest.mark.xfail(
                strict=True,
                reason="intent._least_squares: two places give a 2x3 r, and solve a LinAlgError",
            ),
        ),
    ],
    ids=["row", "slanted"],
)
def test_two_places_span_no_plane(kind: str, end: tuple[float, float]) -> None:
    """Two readings are refused where a plane must be fitted, wherever they lie."""
    with pytest.raises(SurveyError, match="do not span a plane"):
        fit(Intent(kind), np.array([(0.0, 0.0), end]), np.zeros(2))


@pytest.mark.parametrize(
    ("kind", "ratio", "said"),
    [
        ("dome", 0.0, "'dome' is not one of level, best fit, minimum zone, fall"),
        ("level", 0.02, "a fall belongs to kind"),
        ("fall", -0.02, "between 0 and 1:1"),
        ("fall", 1.5, "between 0 and 1:1"),
        ("fall", math.nan, "between 0 and 1:1"),
    ],
)
def test_what_is_no_intent(kind: str, ratio: float, said: str) -> None:
    """Unknown kinds, falls that are none, and falls without kind "fall" are refused."""
    with pytest.raises(SurveyError, match=said):
        Intent(kind, ratio)
