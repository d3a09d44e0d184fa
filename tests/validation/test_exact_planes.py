"""Best fit and minimum zone planes against exact fractions, six tiny sets of points.

Source: sets made for this project; nothing is taken on trust. The least squares plane of each set
is solved here in fractions. The width of the minimum zone is proven here in fractions from both
sides: a plane that reaches it, and weights (Σw = Σwx = Σwy = 0, Σ|w| = 2) whose Σwz no zone can
be narrower than (duality of linear programming).
"""

import itertools
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatcheck.intent import Intent, band, departures, fit

DATA = Path(__file__).parent / "data" / "exact_planes.csv"

Coef = tuple[Fraction, Fraction, Fraction]


class Answer(NamedTuple):
    """Exact answers: a, b, c of z = a x + b y + c, bands, and the proof of the zone's width."""

    least_squares: Coef
    least_squares_band: Fraction
    zone_mm: Fraction
    zone_plane: Coef
    weights: dict[tuple[int, int], Fraction]


def coef(*values: str) -> Coef:
    a, b, c = (Fraction(value) for value in values)
    return a, b, c


HALF, QUARTER = Fraction(1, 2), Fraction(1, 4)
ANSWERS = {
    "saddle3x3": Answer(
        coef("0", "0", "0"),
        Fraction(2),
        Fraction(2),
        coef("0", "0", "0"),
        {(1, 1): HALF, (-1, -1): HALF, (1, -1): -HALF, (-1, 1): -HALF},
    ),
    "bowl3x3": Answer(
        coef("0", "0", "4/3"),
        Fraction(2),
        Fraction(2),
        coef("0", "0", "1"),
        {
            (1, 1): QUARTER,
            (1, -1): QUARTER,
            (-1, 1): QUARTER,
            (-1, -1): QUARTER,
            (0, 0): Fraction(-1),
        },
    ),
    "corner4": Answer(
        coef("1/2", "1/2", "-1/4"),
        HALF,
        HALF,
        coef("1/2", "1/2", "-1/4"),
        {(1, 1): HALF, (0, 0): HALF, (1, 0): -HALF, (0, 1): -HALF},
    ),
    "edgebump3x3": Answer(
        coef("1/6", "0", "1/9"),
        Fraction(1),
        Fraction(1),
        coef("1/6", "0", "1/3"),
        {(1, 0): Fraction(1), (1, 1): -HALF, (1, -1): -HALF},
    ),
    "cornerbump3x3": Answer(
        coef("1/6", "1/6", "1/9"),
        Fraction(5, 6),
        Fraction(3, 4),
        coef("1/4", "1/4", "1/8"),
        {(1, 1): Fraction(3, 4), (-1, -1): QUARTER, (1, 0): -HALF, (0, 1): -HALF},
    ),
    "centrebump5x5": Answer(
        coef("0", "0", "1/25"),
        Fraction(1),
        Fraction(1),
        coef("0", "0", "1/2"),
        {(2, 2): Fraction(1), (0, 2): -HALF, (4, 2): -HALF},
    ),
}


def points() -> dict[str, np.ndarray]:
    names = np.loadtxt(DATA, delimiter=",", skiprows=1, usecols=0, dtype=str)
    xyz = np.loadtxt(DATA, delimiter=",", skiprows=1, usecols=(1, 2, 3))
    return {str(name): xyz[names == name] for name in np.unique(names)}


POINTS = points()
SETS = pytest.mark.parametrize("name", ANSWERS)


def off_plane(xyz: np.ndarray, plane: Coef) -> list[Fraction]:
    a, b, c = plane
    return [Fraction(z) - a * Fraction(x) - b * Fraction(y) - c for x, y, z in xyz.tolist()]


def width(values: list[Fraction]) -> Fraction:
    return max(values) - min(values)


def intercept_form(xyz: np.ndarray, kind: str) -> list[float]:
    plane = fit(Intent(kind), xyz[:, :2], xyz[:, 2])
    return [*plane.coef[1:], plane.coef[0] - plane.middle @ plane.coef[1:]]


def zone(xy: np.ndarray, z: np.ndarray, kind: str = "minimum zone") -> float:
    return band(departures(fit(Intent(kind), xy, z), xy, z))


def test_every_set_has_an_answer() -> None:
    """The file holds the six sets that are answered here."""
    assert set(POINTS) == set(ANSWERS)


@SETS
def test_answers_are_proven(name: str) -> None:
    """The fractions used here are the right answers, shown in exact arithmetic."""
    xyz, answer = POINTS[name], ANSWERS[name]
    rest = off_plane(xyz, answer.least_squares)
    # Least squares: departures orthogonal to x, y and 1.
    for column in (xyz[:, 0], xyz[:, 1], np.ones(len(xyz))):
        assert sum(r * Fraction(v) for r, v in zip(rest, column.tolist(), strict=True)) == 0
    assert width(rest) == answer.least_squares_band
    # Minimum zone: reached from above and from below.
    assert width(off_plane(xyz, answer.zone_plane)) == answer.zone_mm
    height = {(int(x), int(y)): Fraction(z) for x, y, z in xyz.tolist()}
    weights = answer.weights.items()
    assert sum(w for _, w in weights) == 0
    assert sum(w * x for (x, _), w in weights) == 0
    assert sum(w * y for (_, y), w in weights) == 0
    assert sum(abs(w) for _, w in weights) == 2
    assert sum(w * height[at] for at, w in weights) == answer.zone_mm


@SETS
def test_best_fit(name: str) -> None:
    """The best fit plane has the exact coefficients and band."""
    xyz, answer = POINTS[name], ANSWERS[name]
    exact = [float(value) for value in answer.least_squares]
    assert intercept_form(xyz, "best fit") == pytest.approx(exact, abs=1e-14)
    assert zone(xyz[:, :2], xyz[:, 2], "best fit") == pytest.approx(
        float(answer.least_squares_band), abs=1e-14
    )


@SETS
def test_minimum_zone(name: str) -> None:
    """The minimum zone has the exact width."""
    xyz, answer = POINTS[name], ANSWERS[name]
    assert zone(xyz[:, :2], xyz[:, 2]) == pytest.approx(float(answer.zone_mm), abs=1e-12)


def test_minimum_zone_plane() -> None:
    """A bump on one corner of nine has one minimum zone plane, and it is not the best fit."""
    xyz, answer = POINTS["cornerbump3x3"], ANSWERS["cornerbump3x3"]
    exact = [float(value) for value in answer.zone_plane]
    assert intercept_form(xyz, "minimum zone") == pytest.approx(exact, abs=1e-12)
    assert answer.zone_mm < answer.least_squares_band


GRID = [(x, y) for x in range(4) for y in range(4)]
ROUGH = st.lists(st.integers(-300, 300), min_size=16, max_size=16)
SLOPE = st.floats(-1, 1)


def floor_of(heights: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """A 4 by 4 grid of readings 300 mm apart, heights in hundredths of a millimeter."""
    return 300.0 * np.array(GRID, dtype=float), np.array(heights) / 100


@settings(deadline=None)
@given(ROUGH)
def test_never_wider_than_best_fit(heights: list[int]) -> None:
    """The minimum zone is never wider than the band around the best fit plane."""
    xy, z = floor_of(heights)
    assert zone(xy, z) <= zone(xy, z, "best fit") + 1e-9


@settings(deadline=None)
@given(ROUGH, SLOPE, SLOPE, st.floats(-1e4, 1e4))
def test_unchanged_by_a_plane(heights: list[int], a: float, b: float, c: float) -> None:
    """Tilting and lifting a floor changes the width of neither zone."""
    xy, z = floor_of(heights)
    tilted = z + xy @ np.array([a, b]) + c
    for kind in ("minimum zone", "best fit"):
        assert zone(xy, tilted, kind) == pytest.approx(zone(xy, z, kind), abs=1e-8)


@settings(deadline=None)
@given(st.lists(st.integers(-300, 300), min_size=9, max_size=9))
def test_four_points_hold_the_zone(heights: list[int]) -> None:
    """The width is the largest of those that any four of the points need (Helly's theorem)."""
    xy = 300.0 * np.array([at for at in GRID if max(at) < 3], dtype=float)
    z = np.array(heights) / 100
    base = np.column_stack((xy / 300, np.ones(9)))
    needed = 0.0
    for four in map(list, itertools.combinations(range(9), 4)):
        system = base[four]
        # Signed volumes: the one combination of four heights that no plane has a part in.
        across = [
            (-1) ** k * np.linalg.det(system[[i for i in range(4) if i != k]]) for k in range(4)
        ]
        size = np.abs(across).sum()
        if size > 1e-9:
            needed = max(needed, 2 * abs(np.dot(across, z[four])) / size)
    assert zone(xy, z) == pytest.approx(needed, abs=1e-8)
