"""What a floor is meant to be: level, the plane that fits best, or a plane of given fall.

An intent turns heights into a required plane z = c + a x + b y. The plane comes with the linear
form of the heights that it is, so that the uncertainty of a departure can be worked out.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.compass import bearing_of
from flatcheck.errors import SurveyError
from flatcheck.language import say

Floats = npt.NDArray[np.float64]

THIN = 1e-9
"""A share this small is none: of the spread of places across a line, of what holds a zone."""

ROUNDING = 1e-12
"""Departures below this share of the heights are the arithmetic's, not the floor's."""


ON_WALLS = ("best fit", "minimum zone", "plumb")
"""Intents of a wall; nothing else of it has a slope."""

DRAINING = ("to drain", "to channel")
"""Intents of several planes, which `flatcheck.drain` lays out."""


@dataclass(frozen=True)
class Intent:
    """What is asked of a zone.

    `kind` is "level", "plumb" (a wall, which may turn but not lean), "best fit" (least squares
    plane), "minimum zone" (the plane between the closest two parallel planes that hold every
    reading), "fall", "to drain" (a plane from every wall to the drain) or "to channel" (planes on
    both sides of a linear drain). A fall has its `fall_ratio` (0.02 falls 20 mm in a meter) and its
    `bearing_deg`, the way water runs, clockwise from north. Falls to a drain have the least fall of
    their planes, zero where the rule decides it, and may name their `drain`.
    """

    kind: str = "best fit"
    fall_ratio: float = 0.0
    bearing_deg: float = 0.0
    drain: str = ""

    def __post_init__(self) -> None:
        if self.kind not in _FITS:
            raise SurveyError(
                say(
                    "intent: kind {kind!r} is not one of {known}.",
                    kind=self.kind,
                    known=", ".join(_FITS),
                )
            )
        if not (math.isfinite(self.fall_ratio) and 0 <= self.fall_ratio <= 1):
            raise SurveyError(say("intent: the fall must lie between 0 and 1:1 (45 degrees)."))
        if self.fall_ratio and self.kind not in ("fall", *DRAINING):
            raise SurveyError(
                say('intent: a fall belongs to kind "fall", not to {kind!r}.', kind=self.kind)
            )
        if self.drain and self.kind not in DRAINING:
            raise SurveyError(
                say('intent: a drain belongs to kind "to drain", not to {kind!r}.', kind=self.kind)
            )


@dataclass(frozen=True, eq=False)
class Plane:
    """A required plane.

    `coef` (3,) are height at the middle of the readings [mm] and the rise to east and north
    [mm/mm]; `middle` (2,) that middle [mm]. `form` (3, n) gives the part of `coef` that the n
    heights decide: it is what uncertainty needs, and zero where the intent fixes the value.
    """

    coef: Floats
    middle: Floats
    form: Floats


def fit(intent: Intent, xy: Floats, z: Floats, weight: Floats | None = None) -> Plane:
    """The required plane of an intent over heights z (n,) [mm] at xy (n, 2) [mm].

    `weight` (n,) are the weights 1/u² of the heights, equal when left out. For "level" and "fall"
    only the height of the plane is free: the (weighted) mean departure is zero.

    Where the places lie on one line the fitted plane follows it and is level across it.
    """
    middle = xy.mean(axis=0)
    base = np.column_stack((np.ones(len(z)), xy - middle))
    equal = np.ones(len(z)) if weight is None else weight / weight.mean()
    return _FITS[intent.kind](intent, base, z, equal, middle)


def departures(plane: Plane, xy: Floats, z: Floats) -> Floats:
    """How far each height lies above (positive, high) the required plane, vertically [mm]."""
    result: Floats = z - plane.coef[0] - (xy - plane.middle) @ plane.coef[1:]
    return result


def fall_of(plane: Plane) -> tuple[float, float]:
    """How steep the plane is [ratio], and which way it falls [degrees clockwise from north]."""
    _, east, north = plane.coef
    return math.hypot(east, north), bearing_of(-east, -north)


def band(values: Floats) -> float:
    """Highest minus lowest departure [mm]."""
    return float(values.max() - values.min())


def _fixed(intent: Intent, base: Floats, z: Floats, weight: Floats, middle: Floats) -> Plane:
    bearing = math.radians(intent.bearing_deg)
    east = -intent.fall_ratio * math.sin(bearing)
    north = -intent.fall_ratio * math.cos(bearing)
    form = np.zeros((3, len(z)))
    form[0] = weight / weight.sum()
    height = float(form[0] @ (z - base[:, 1:] @ np.array([east, north])))
    return Plane(np.array([height, east, north]), middle, form)


def _plumb(intent: Intent, base: Floats, z: Floats, weight: Floats, middle: Floats) -> Plane:
    """The upright plane of least squares: it turns along the wall, its rise up the wall is zero."""
    turned = _least_squares(intent, base * [1.0, 1.0, 0.0], z, weight, middle)
    form = turned.form * np.array([1.0, 1.0, 0.0])[:, None]
    return Plane(turned.coef * [1.0, 1.0, 0.0], middle, form)


def _least_squares(
    intent: Intent, base: Floats, z: Floats, weight: Floats, middle: Floats
) -> Plane:
    """Weighted least squares through an orthogonal factorisation, columns scaled first.

    The scaling keeps digits that the normal equations would lose on long thin floors.
    """
    root = np.sqrt(weight)
    size = max(float(np.abs(base[:, 1:]).max()), 1e-12)
    thin = np.linalg.svd(base[:, 1:] / size, compute_uv=False)[-1] < THIN
    if thin:
        scale = np.array([1.0, size, size])
        form = np.linalg.pinv(base * root[:, None] / scale, rcond=1e-9) * root / scale[:, None]
    else:
        scale = np.linalg.norm(base * root[:, None], axis=0)
        q, r = np.linalg.qr(base * root[:, None] / scale)
        form = np.linalg.solve(r, (q * root[:, None]).T) / scale[:, None]
    # One step of refinement wins back the digits that forming the solution operator costs.
    coef = form @ z
    coef = coef + form @ (z - base @ coef)
    return Plane(coef, middle, form)


def _minimum_zone(intent: Intent, base: Floats, z: Floats, weight: Floats, middle: Floats) -> Plane:
    """The plane that makes the largest departure smallest, and of several the strict one.

    A few readings hold the zone: one more than the ways in which they keep the plane from moving,
    and the plane is a linear form of theirs and of no other. Where that leaves it a way to move,
    the narrowest zone of the readings that it would move decides, and so on: the strict
    approximation (Rice, Tohoku Math. J. 14, 1962), which is unique. Readings without departures
    hold no zone; least squares then decides. A slope that no reading decides stays level.
    """
    first = _least_squares(intent, base, z, weight, middle)
    coef, form, free = first.coef, first.form, _ways(base)
    while free.shape[1]:
        rows, rest = base @ free, z - base @ coef
        moved = np.flatnonzero(np.abs(rows).max(axis=1) > THIN)
        sides = _sides(rows[moved], rest[moved], ROUNDING * float(np.abs(z).max()))
        holds = sides != 0 if sides.any() else np.ones(len(moved), dtype=bool)
        held = moved[holds]
        system = np.column_stack((rows[held], sides[holds]))
        solve = free @ np.linalg.pinv(system, rcond=THIN)[:-1]
        coef = coef + solve @ rest[held]
        form = form - solve @ (base[held] @ form)
        form[:, held] += solve
        if not sides.any():
            break
        _, spread, turn = np.linalg.svd(system)
        free = free @ turn[np.count_nonzero(spread > THIN * spread[0]) :, :-1].T
    return Plane(coef, middle, form)


def _ways(base: Floats) -> Floats:
    """What places decide of a plane (3, p): height and slopes, each moving its rim by 1 mm."""
    size = max(float(np.abs(base[:, 1:]).max()), 1e-12)
    _, spread, turn = np.linalg.svd(base[:, 1:] / size, full_matrices=False)
    slopes = turn[spread > THIN].T
    ways = np.zeros((3, 1 + slopes.shape[1]))
    ways[0, 0] = 1.0
    ways[1:, 1:] = slopes / np.abs(base[:, 1:] @ slopes).max(axis=0)
    return ways


def _sides(rows: Floats, rest: Floats, noise: float) -> Floats:
    """Which readings hold the zone of min h, |rest - rows y| <= h: 1 on top, -1 below, else 0.

    A linear program (Barrodale & Phillips 1975, algorithm 495, solve the same problem). A reading
    that holds the zone has a price there: with more room for it alone the zone would be narrower.
    """
    from scipy.optimize import linprog  # slow to import, and most surveys do not need it

    size = float(np.abs(rest).max())
    none = np.zeros(len(rest))
    if size <= noise:
        return none
    ones = np.ones((len(rest), 1))
    solved = linprog(
        [0.0] * rows.shape[1] + [1.0],
        A_ub=np.block([[rows, -ones], [-rows, -ones]]),
        b_ub=np.concatenate((rest, -rest)) / size,
        bounds=[(None, None)] * rows.shape[1] + [(0, None)],
        method="highs-ds",
    )
    if solved.status != 0:
        raise RuntimeError(f"the minimum zone program ended with: {solved.message}")
    if solved.fun <= THIN:
        return none
    below, above = (solved.ineqlin.marginals < -THIN).reshape(2, -1)
    sides: Floats = above.astype(float) - below
    return sides


_FITS: dict[str, Callable[[Intent, Floats, Floats, Floats, Floats], Plane]] = {
    "level": _fixed,
    "plumb": _plumb,
    "best fit": _least_squares,
    "minimum zone": _minimum_zone,
    "fall": _fixed,
    "to drain": _least_squares,
    "to channel": _least_squares,
}
