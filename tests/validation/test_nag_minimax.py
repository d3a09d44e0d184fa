"""Minimum zone plane against a published minimax fit: NAG Library, routine e02gc (L∞ fit).

Source: NAG Library Manual, E02GCF / e02gcc, section 10 "Example" (Marks 26 to 30.3): fit
z = a e^t + b e^-t + c at five t so that the largest residual is smallest; the routine follows
Barrodale & Phillips, ACM TOMS 1 (1975), algorithm 495. That is the minimum zone plane over the
places (e^t, e^-t), and its width is twice the published largest residual. The further digits come
from the five ways to leave one point out: four points fix a minimax plane of three unknowns, and
the largest of their errors is that of all points.
"""

import itertools
import math

import numpy as np
import pytest

from flatcheck.intent import Intent, band, departures, fit

T = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
Z = np.array([4.501, 4.360, 4.333, 4.418, 4.625])
XY = np.column_stack((np.exp(T), np.exp(-T)))

PRINTED_LARGEST = 1.03e-03
PRINTED = (1.0049, 2.0149, 1.4822)


def largest_of_four() -> float:
    """The largest minimax error of any four of the points, each by one small linear system.

    With λ the one vector that is orthogonal to every plane over four points, the smallest largest
    residual is |λ·z| / Σ|λ|.
    """
    base = np.column_stack((XY, np.ones(len(Z))))
    errors = []
    for four in itertools.combinations(range(len(Z)), 4):
        across = np.linalg.svd(base[list(four)].T)[2][-1]
        errors.append(abs(across @ Z[list(four)]) / np.abs(across).sum())
    return max(errors)


def test_coefficients() -> None:
    """The minimum zone plane has the coefficients that the manual prints."""
    plane = fit(Intent("minimum zone"), XY, Z)
    a, b = plane.coef[1:]
    c = plane.coef[0] - plane.middle @ plane.coef[1:]
    assert tuple(round(float(value), 4) for value in (a, b, c)) == PRINTED


def test_largest_residual() -> None:
    """Half the width of the zone is the largest residual that the manual prints."""
    half = band(departures(fit(Intent("minimum zone"), XY, Z), XY, Z)) / 2
    assert round(half, 5) == PRINTED_LARGEST
    assert half == pytest.approx(largest_of_four(), rel=1e-9)


def test_both_sides_touched() -> None:
    """The plane lies midway: the largest departures up and down are equal."""
    rest = departures(fit(Intent("minimum zone"), XY, Z), XY, Z)
    assert rest.max() == pytest.approx(-rest.min(), rel=1e-9)
    touching = np.abs(rest) > rest.max() * (1 - 1e-9)
    assert int(touching.sum()) == 4


def test_least_squares_is_wider() -> None:
    """The best fit plane of the same points leaves a wider zone, so the two fits are told apart."""
    least = band(departures(fit(Intent("best fit"), XY, Z), XY, Z))
    assert least > 2 * largest_of_four() * 1.05
    assert not math.isclose(least / 2, PRINTED_LARGEST, abs_tol=5e-6)
