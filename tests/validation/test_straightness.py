"""Straightness: minimum zone, best fit and end-point lines against published and exact answers.

Sources:
- K. Atkinson, An Introduction to Numerical Analysis, 2nd ed., example 4.2: the straight line whose
  largest distance from e^x is smallest, on [-1, 1]; on [0, 1] the same in closed form.
- A laser interferometer's user guide of October 1987, section 21, straightness example,
  p. 21-3: straightness of an axis read with a laser, fitted through its ends.
- Two lines of four readings with answers in fractions.

A line of readings is laid twice, on two parallel rows: every plane over them is a line, and by
symmetry the best one of either kind does not tilt across.
"""

import itertools
import math

import numpy as np
import pytest

from flatcheck.evidence import View
from flatcheck.intent import Intent, band, departures, fit
from flatcheck.measures import blocks
from flatcheck.room import Room, rectangle
from flatcheck.surface import lines, surface

AXIS_X_MM = 100.0 * np.arange(10)
AXIS_MICRON = np.array([-0.3, 0.9, 1.5, 2.5, 2.9, 3.6, 4.2, 5.1, 5.9, 7.2])
AXIS_PRINTED_MICRON = (0, 0.4, 0.1, 0.3, -0.1, -0.3, -0.5, -0.4, -0.5, 0)


def line_fit(kind: str, x: np.ndarray, z: np.ndarray) -> tuple[float, float, float]:
    """Slope, height at x = 0 and band of the line that a plane over two equal rows is."""
    xy = np.column_stack((np.tile(x, 2), np.repeat([-1.0, 1.0], len(x))))
    twice = np.tile(z, 2)
    plane = fit(Intent(kind), xy, twice)
    assert plane.coef[2] == pytest.approx(0, abs=1e-9)
    height = plane.coef[0] - plane.middle @ plane.coef[1:]
    return float(plane.coef[1]), float(height), band(departures(plane, xy, twice))


def narrowest(x: np.ndarray, z: np.ndarray) -> float:
    """Width of the zone by trying all: the widest that any three of the points need."""
    needed = 0.0
    for i, j, k in itertools.combinations(range(len(x)), 3):
        share = (x[j] - x[i]) / (x[k] - x[i])
        needed = max(needed, abs(z[i] * (1 - share) + z[k] * share - z[j]))
    return needed


def exponential(low: float, high: float) -> tuple[float, float, float]:
    """Slope m, height at 0 and error E of the minimax line to e^x on [low, high].

    The error e^x - a - m x is E at both ends and -E where its slope is zero, x = ln m.
    """
    slope = (math.exp(high) - math.exp(low)) / (high - low)
    at = math.log(slope)
    height = (math.exp(low) - slope * low + slope - slope * at) / 2
    return slope, height, math.exp(low) - height - slope * low


@pytest.mark.parametrize("low", [0.0, -1.0])
def test_minimax_line_to_exponential(low: float) -> None:
    """The minimum zone of readings of e^x is the minimax line in closed form, to nine digits.

    The place x = ln m where the curve lies farthest below the line is among the readings, so the
    readings have the same answer as the curve.
    """
    exact = exponential(low, 1.0)
    x = np.sort(np.append(np.linspace(low, 1.0, 41), math.log(exact[0])))
    slope, height, width = line_fit("minimum zone", x, np.exp(x))
    assert (slope, height, width / 2) == pytest.approx(exact, abs=1e-9)


def test_printed_line() -> None:
    """On [-1, 1] the minimum zone is the line that the book prints: 1.2643 + 1.1752 x, 0.2788."""
    x = np.linspace(-1.0, 1.0, 401)
    slope, height, width = line_fit("minimum zone", x, np.exp(x))
    assert (round(height, 4), round(slope, 4), round(width / 2, 4)) == (1.2643, 1.1752, 0.2788)


def test_closed_form_on_the_unit_interval() -> None:
    """On [0, 1] the minimax line has slope e - 1 and height (e - (e - 1) ln(e - 1)) / 2."""
    e = math.e
    slope, height, _ = exponential(0.0, 1.0)
    assert slope == pytest.approx(e - 1, rel=1e-15)
    assert height == pytest.approx((e - (e - 1) * math.log(e - 1)) / 2, rel=1e-14)


def test_laser_axis_on_blocks() -> None:
    """A bar on equal blocks at both ends shows the residuals that the laser's guide prints.

    The guide counts up from the line, a gap counts down from the bar; one digit after the point
    is printed, half of it is the tolerance.
    """
    xy = np.column_stack((AXIS_X_MM, np.zeros(10)))
    floor = surface(
        Room(rectangle(0, -10, 900, 10)),
        xy,
        AXIS_MICRON / 1000,
        np.full(10, 1e-8),
        [f"reading {i}" for i in range(10)],
    )
    plane = fit(Intent("level"), xy, floor.height_mm)
    evidence = blocks.measure(View(floor, lines(floor), plane), 900.0)
    assert evidence.stations[:, 1].tolist() == list(range(1, 9))
    assert evidence.span_mm == pytest.approx(900)
    up = -1000 * evidence.value_mm
    assert up == pytest.approx(AXIS_PRINTED_MICRON[1:-1], abs=0.05 + 1e-9)
    # The line through the ends rises 7.5 micron on 0.9 m: the guide prints a slope of 8.33.
    chord = AXIS_MICRON[0] + (AXIS_MICRON[-1] - AXIS_MICRON[0]) * np.arange(1, 9) / 9
    assert up == pytest.approx(AXIS_MICRON[1:-1] - chord, abs=1e-9)


def test_laser_axis_best_fit() -> None:
    """The best fit line of the laser's axis is numpy's, and its band is wider than the zone's.

    Not printed in the guide: worked out here, and the zone by trying all threes of points.
    """
    x = AXIS_X_MM / 1000
    slope, height, wide = line_fit("best fit", x, AXIS_MICRON)
    assert [height, slope] == pytest.approx(
        np.polynomial.Polynomial.fit(x, AXIS_MICRON, 1).convert().coef, rel=1e-12
    )
    rest = AXIS_MICRON - height - slope * x
    assert wide == pytest.approx(np.ptp(rest), rel=1e-12)
    _, _, zone = line_fit("minimum zone", x, AXIS_MICRON)
    assert zone == pytest.approx(narrowest(x, AXIS_MICRON), abs=1e-9)
    assert zone == pytest.approx(0.65, abs=1e-9)
    assert zone < wide


@pytest.mark.parametrize(
    ("heights", "least_squares", "zone"),
    [
        ((0, 0, 0, 1), (3 / 10, -1 / 5, 7 / 10), 2 / 3),
        ((0, 1, 0, 0), (-1 / 10, 2 / 5, 11 / 10), 1.0),
    ],
)
def test_exact_lines(
    heights: tuple[int, ...], least_squares: tuple[float, float, float], zone: float
) -> None:
    """Four readings with answers in fractions: slope, height at 0 and band; width of the zone."""
    x, z = np.arange(4.0), np.array(heights, dtype=float)
    assert line_fit("best fit", x, z) == pytest.approx(least_squares, abs=1e-14)
    assert line_fit("minimum zone", x, z)[2] == pytest.approx(zone, abs=1e-12)
    assert narrowest(x, z) == pytest.approx(zone, abs=1e-15)
