"""Intents: the plane that is asked of a zone, and how the heights decide it."""

import math
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.errors import SurveyError
from flatcheck.intent import Intent, Plane, band, departures, fall_of, fit

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


@pytest.mark.parametrize("shape", [(6, 4), (3, 3), (2, 5), (5, 1)])
def test_the_minimum_zone_is_one_plane(shape: tuple[int, int]) -> None:
    """Where many planes have the narrowest band, turning the floor and its list picks the same."""
    # Heights in whole millimeters on a grid leave the plane free to tilt more often than not.
    east, north = np.meshgrid(np.arange(shape[0]) * 300.0, np.arange(shape[1]) * 300.0)
    xy = np.column_stack((east.ravel(), north.ravel()))
    turn = np.array([[0.8, 0.6], [-0.6, 0.8]])
    rng = np.random.default_rng(9)
    for _ in range(20):
        z = rng.integers(-2, 3, len(xy)).astype(float)
        order = rng.permutation(len(z))
        turned = xy[order] @ turn + 1234.5
        plane, other = (
            fit(Intent("minimum zone"), xy, z),
            fit(Intent("minimum zone"), turned, z[order]),
        )
        assert departures(other, turned, z[order]) == pytest.approx(
            departures(plane, xy, z)[order], abs=1e-7
        )


def test_the_form_of_any_minimum_zone_gives_its_plane() -> None:
    """The form gives the plane from the heights however many readings touch the zone's sides."""
    east, north = np.meshgrid(np.arange(5) * 300.0, np.arange(4) * 300.0)
    xy = np.column_stack((east.ravel(), north.ravel()))
    rng = np.random.default_rng(3)
    for kind in range(3):
        for _ in range(20):
            z = rng.integers(-2, 3, len(xy)).astype(float)
            if kind == 1:  # one place low on a floor that is flat else
                z = np.where(np.arange(len(z)) == rng.integers(len(z)), -8.0, 0.0)
            if kind == 2:  # a ridge, and a fall
                z = np.abs(xy[:, 0] - 600) / 100 + xy[:, 1] / 50
            plane = fit(Intent("minimum zone"), xy, z)
            middle = xy - plane.middle
            said = plane.form @ z
            assert said[0] + middle @ said[1:] == pytest.approx(
                plane.coef[0] + middle @ plane.coef[1:], abs=1e-9
            )
            # A form of heights that moves with every plane.
            assert plane.form.sum(axis=1) == pytest.approx([1, 0, 0], abs=1e-12)
            assert plane.form[1:] @ xy == pytest.approx(np.eye(2), abs=1e-9)


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


ALONG = pytest.mark.parametrize("along", [(1, 0), (0, 1), (1, 2)], ids=["row", "column", "slanted"])


def one_line(along: tuple[int, int], seed: int = 7) -> tuple[Floats, Floats, Floats, Floats]:
    """Places every 300 mm or so on one line, heights, and how far along and across it they lie."""
    step = np.arange(6) * 300.0
    xy = np.outer(step, along)
    length = math.hypot(*along)
    across = np.array([-along[1], along[0]]) / length
    return xy, np.random.default_rng(seed).normal(0, 2, 6), step * length, across


@ALONG
def test_the_best_fit_on_one_line(along: tuple[int, int]) -> None:
    """On one line the best fit is the line of least squares, level across it."""
    xy, z, way, across = one_line(along)
    plane = fit(Intent("best fit"), xy, z)
    slope, height = np.polyfit(way, z, 1)
    assert departures(plane, xy, z) == pytest.approx(z - height - slope * way, abs=1e-9)
    assert plane.coef[1:] @ across == pytest.approx(0, abs=1e-12)
    assert plane.form[1:].T @ across == pytest.approx(np.zeros(6), abs=1e-12)
    assert plane.form @ z == pytest.approx(plane.coef, abs=1e-9)


@ALONG
def test_the_minimum_zone_on_one_line(along: tuple[int, int]) -> None:
    """On one line the zone is the widest that any three readings need: their chord's gap."""
    xy, z, way, _ = one_line(along)
    gaps = [
        abs(z[a] + (z[c] - z[a]) * (way[b] - way[a]) / (way[c] - way[a]) - z[b])
        for a, b, c in combinations(range(6), 3)
    ]
    plane = fit(Intent("minimum zone"), xy, z)
    assert band(departures(plane, xy, z)) == pytest.approx(max(gaps), rel=1e-9)


@ALONG
def test_the_minimum_zone_is_level_across_one_line(along: tuple[int, int]) -> None:
    """On one line the minimum zone is level across the line, as the best fit is."""
    xy, z, _, across = one_line(along)
    assert fit(Intent("minimum zone"), xy, z).coef[1:] @ across == pytest.approx(0, abs=1e-12)


@ALONG
def test_the_form_of_the_minimum_zone_on_one_line(along: tuple[int, int]) -> None:
    """On one line too the form of the minimum zone gives its height and its slope."""
    xy, z, _, _ = one_line(along)
    plane = fit(Intent("minimum zone"), xy, z)
    told = plane.form @ z
    assert told[0] == pytest.approx(plane.coef[0], abs=1e-9)
    assert (xy - plane.middle) @ told[1:] == pytest.approx(
        (xy - plane.middle) @ plane.coef[1:], abs=1e-9
    )


@pytest.mark.parametrize("intent", KINDS, ids=lambda intent: intent.kind)
@ALONG
def test_a_true_line_has_no_departures(intent: Intent, along: tuple[int, int]) -> None:
    """Readings on one line that lie as asked depart nowhere, whatever is asked of the floor."""
    xy, _, _, _ = one_line(along)
    turn = math.radians(intent.bearing_deg)
    z = 7 - xy @ np.array([math.sin(turn), math.cos(turn)]) * intent.fall_ratio
    assert departures(fit(intent, xy, z), xy, z) == pytest.approx(np.zeros(6), abs=1e-9)


@FITTED
@pytest.mark.parametrize("end", [(600, 0), (600, 900)], ids=["row", "slanted"])
def test_two_places_hold_a_plane(kind: str, end: tuple[float, float]) -> None:
    """Through two readings goes one plane that is level across their line."""
    xy = np.array([(0.0, 0.0), end])
    plane = fit(Intent(kind), xy, np.array([2.0, 5.0]))
    length = math.hypot(*end)
    steepest = np.array(end) / length * 3 / length
    assert plane.coef == pytest.approx([3.5, *steepest], abs=1e-12)
    assert departures(plane, xy, np.array([2.0, 5.0])) == pytest.approx([0, 0], abs=1e-9)


@FITTED
def test_the_form_of_two_places(kind: str) -> None:
    """The height between two readings is their mean, the slope their difference over the way."""
    end = (600.0, 0.0)
    plane = fit(Intent(kind), np.array([(0.0, 0.0), end]), np.array([2.0, 5.0]))
    length = math.hypot(*end)
    expected = np.array([[0.5, 0.5], *np.outer(np.array(end) / length**2, [-1, 1])])
    assert plane.form == pytest.approx(expected, rel=1e-5, abs=1e-12)


@pytest.mark.parametrize(
    ("kind", "ratio", "said"),
    [
        ("dome", 0.0, "'dome' is not one of level, plumb, best fit, minimum zone, fall"),
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


@pytest.mark.parametrize("east", [0.0, -0.0, 1e-300, 1e-17, -1e-17, -1e-300])
def test_a_bearing_lies_below_the_full_turn(east: float) -> None:
    """However little a plane falls to the west of north, its bearing is below 360 degrees."""
    plane = Plane(np.array([0.0, east, -0.02]), np.zeros(2), np.zeros((3, 1)))
    ratio, bearing = fall_of(plane)
    assert ratio == 0.02
    assert 0 <= bearing < 360
