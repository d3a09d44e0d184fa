"""Best fit plane against certified regressions: NIST Statistical Reference Datasets, linear.

Source: National Institute of Standards and Technology, StRD, linear regression, sets Pontius
(y = a + b x + c x², 40 points, a plane over the places (x, x²)) and Norris (y = a + b x, 36 points,
laid on two parallel rows, where a plane can only be the line). Certified values as printed there,
15 digits. Pontius is ill-conditioned: numpy.linalg.lstsq on the columns as they stand keeps six
digits of the intercept.
"""

import math
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from flatcheck.intent import Intent, Plane, departures, fit

DATA = Path(__file__).parent / "data"

DIGITS = 11
"""Correct significant digits asked for; 12.7 are reached where it is hardest, Pontius' a."""

PONTIUS = (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14)
PONTIUS_SE = (0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16)
PONTIUS_SD = 0.205177424076185e-03
PONTIUS_R2 = 0.999999900178537

NORRIS = (-0.262323073774029, 1.00211681802045)
NORRIS_SE = (0.232818234301152, 0.429796848199937e-03)
NORRIS_SD = 0.884796396144373
NORRIS_R2 = 0.999993745883712


class Regression(NamedTuple):
    """What a fit says in the words of a regression."""

    coef: list[float]
    se: list[float]
    sd: float
    r2: float


def digits(value: float, certified: float) -> float:
    """How many significant digits agree: the log relative error of the StRD."""
    error = abs(value - certified) / abs(certified)
    return -math.log10(error) if error else math.inf


def intercept_form(plane: Plane) -> list[float]:
    """a, b, c of z = a + b x + c y, in exact arithmetic, so that only the fit loses digits."""
    height, b, c = (Fraction(float(value)) for value in plane.coef)
    x, y = (Fraction(float(value)) for value in plane.middle)
    return [float(height - b * x - c * y), float(b), float(c)]


def regression(plane: Plane, xy: np.ndarray, z: np.ndarray, rows: int = 1) -> Regression:
    """The fit of `rows` copies of the same readings, as the regression of one copy.

    The copies carry the same z, so each coefficient is the linear form of one copy that the forms
    of the copies add up to.
    """
    n = len(z) // rows
    form = plane.form.reshape(3, rows, n).sum(axis=1)
    form[0] -= plane.middle @ form[1:]
    used = 4 - rows
    rest = departures(plane, xy, z)[:n]
    sd = math.sqrt(rest @ rest / (n - used))
    spread = z[:n] - z[:n].mean()
    return Regression(
        coef=intercept_form(plane)[:used],
        se=[sd * math.sqrt(line @ line) for line in form[:used]],
        sd=sd,
        r2=1 - (rest @ rest) / (spread @ spread),
    )


@pytest.fixture(scope="module")
def pontius() -> Regression:
    table = np.loadtxt(DATA / "nist_pontius_as_plane.csv", delimiter=",", skiprows=1)
    xy, z = table[:, :2], table[:, 2]
    assert len(z) == 40
    return regression(fit(Intent("best fit"), xy, z), xy, z)


@pytest.fixture(scope="module")
def norris() -> Regression:
    x, y = np.loadtxt(DATA / "nist_norris_line.csv", delimiter=",", skiprows=1).T
    assert len(x) == 36
    xy = np.column_stack((np.tile(x, 2), np.repeat([-1.0, 1.0], len(x))))
    z = np.tile(y, 2)
    return regression(fit(Intent("best fit"), xy, z), xy, z, rows=2)


@pytest.mark.parametrize("k", range(3))
def test_pontius_coefficients(pontius: Regression, k: int) -> None:
    """The plane over (load, load²) has the certified coefficients to 11 digits and more."""
    assert digits(pontius.coef[k], PONTIUS[k]) >= DIGITS


@pytest.mark.parametrize("k", range(3))
def test_pontius_standard_errors(pontius: Regression, k: int) -> None:
    """The linear form that comes with the plane gives the certified standard errors."""
    assert digits(pontius.se[k], PONTIUS_SE[k]) >= DIGITS


def test_pontius_scatter(pontius: Regression) -> None:
    """Departures from the plane have the certified residual standard deviation and R²."""
    assert digits(pontius.sd, PONTIUS_SD) >= DIGITS
    assert pontius.r2 == pytest.approx(PONTIUS_R2, abs=1e-14)


@pytest.mark.parametrize("k", range(2))
def test_norris_line(norris: Regression, k: int) -> None:
    """Two equal rows of readings make the plane the certified line, with its standard errors."""
    assert digits(norris.coef[k], NORRIS[k]) >= DIGITS
    assert digits(norris.se[k], NORRIS_SE[k]) >= DIGITS


def test_norris_scatter(norris: Regression) -> None:
    """Departures from that line have the certified residual standard deviation and R²."""
    assert digits(norris.sd, NORRIS_SD) >= DIGITS
    assert norris.r2 == pytest.approx(NORRIS_R2, abs=1e-14)
