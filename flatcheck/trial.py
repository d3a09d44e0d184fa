"""Trial surveys: what readings on a grid would say of a floor that has one dip.

Worked out with the thresholds of `flatcheck.guard`, before anything is read.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from flatcheck.errors import SurveyError
from flatcheck.evidence import Evidence, measure_named
from flatcheck.guard import RISK, SEED, call
from flatcheck.intent import Intent
from flatcheck.language import say
from flatcheck.layout import Layout, widest
from flatcheck.parts import view_of
from flatcheck.room import EDGE_MM, Room
from flatcheck.rules import Rule, limit_at, pitch_for
from flatcheck.surface import Surface, noise, surface

Floats = npt.NDArray[np.float64]

SURE = 0.9
"""The share of surveys that must come out as told: 9 in 10."""

TARGET = 0.5
"""An instrument is called good enough when floors with gaps of half their limit are passed by it.

Our own choice; the trade asks for an instrument that resolves a third of the tolerance."""

SHOWN = 0.1
"""Where readings show less than this share of a dip it goes unseen for all a setter would care."""

MOST_BARS = 20_000
"""Of a larger floor a part with about this many bars is tried, so that it is quick."""

WORK = 20_000_000
"""Bars times simulated surveys are about this many at most, for the same reason."""

_TINY = 1e-9
"""Stands for zero where something is divided by it, and for the noise of the arithmetic."""


@dataclass(frozen=True)
class Resolution:
    """What readings every `step_mm` will tell of one rule, for round dips `width_mm` across.

    The true gap under a bar across such a dip is its depth. Floors with gaps up to `within_mm` are
    called within in 9 of 10 surveys (None where not even a flat floor is), floors with gaps from
    `out_mm` on are called out in 9 of 10 (None where the readings can miss such a dip); in between
    they are mostly too close to call. `enough_u_mm` is how good a reading must be for floors with
    gaps of half the limit to be called within, None where it is; `repeats` how often each place
    must be read to be as good. `part_ratio` is the share of the floor that was worked out.
    """

    rule: Rule
    u_mm: float
    step_mm: float
    width_mm: float
    limit_mm: float
    within_mm: float | None
    out_mm: float | None
    enough_u_mm: float | None
    repeats: int
    part_ratio: float


def trial(room: Room, grid: Layout, u_mm: float, rule: Rule, risk: float) -> Resolution:
    """What would readings of this uncertainty on this grid tell, by this rule?

    A floor is flat but for one smooth round dip, (1 + cos(2π r / width)) / 2 deep, as wide as the
    rule's bar is long (four steps where the rule has no length) or as the floor has room for it. A
    gap is a linear form g·A + e of the depth A and the reading errors, so for each simulated set
    of errors the depths at which `guard.call` changes its answer are closed forms, over all bars:

        within up to  A = min (limit - 1.645 u - e) / g,   out from  A = min (limit + q u - e) / g

    where q is what the guard allows a dip of about that depth. Each is told for the place that
    makes it cautious: *within* for a dip centered on a reading, *out* for one midway between four,
    where the readings show less of it. Angle errors that all readings share are not in it.

    Two things are approximated on floors with more bars than can be tried. Of a large floor a
    square around the dip is simulated; the rest, k - 1 times as much, is flat and errs by itself,
    so that P(whole floor) = P(square with dip) · P(flat square)^(k - 1), and q is asked for at the
    risk of one square in k; for small risks the guard bounds q from above, so *out* is then told
    up to about a twentieth too high. Of a grid far closer than the rule needs every other line is
    left out, until `step_mm`: all lines show a dip at least as well, and are called within less
    often, as more bars must keep clear of the limit.

    `risk` is that of calling the rule out wrongly, as in `guard.call`.

    Raises SurveyError when the grid is too wide for the rule, or the rule is about falls.
    """
    need = pitch_for(rule)
    xy, steps = _thinned(grid, rule)
    length = rule.length_mm or 4 * need
    away = _clearance(room, xy)
    clear = np.minimum(away, length / 2)
    width = 2 * float(clear.max())
    # Of the places with room for the dip the one farthest from walls, where bars lie all around.
    roomy = xy[away > away.max() - EDGE_MM]
    center = roomy[np.argmin(np.hypot(*(roomy - roomy.mean(axis=0)).T))]
    near = _square(xy, center, steps, 3 * length, rule.length_mm)
    whole, xy = len(xy) / np.count_nonzero(near), xy[near]
    flat = surface(room, xy, np.zeros(len(xy)), np.full(len(xy), u_mm**2), [""] * len(xy))
    evidence = measure_named(rule.measure)(view_of(flat, Intent()), rule.length_mm)
    if evidence is None:
        raise SurveyError(
            say(
                "rule {rule!r} is not about flatness; a plan is made for rules that are.",
                rule=rule.id,
            )
        )
    if max(steps) > need * 1.01 + EDGE_MM or not len(evidence.value_mm):
        raise SurveyError(
            say(
                "readings {step:g} mm apart cannot show what rule {rule!r} asks; it takes one "
                "every {need:g} mm or closer.",
                step=max(steps),
                rule=rule.id,
                need=need,
            )
        )
    on, off = (
        _values(evidence, _shown(evidence, flat, _dip(xy, middle, width)[:, None]))[:, 0]
        for middle in (center, center + np.array(steps) / 2)
    )
    limit = limit_at(rule.limit, evidence.span_mm)
    q = _allowed(evidence, flat, rule, off, risk / whole)
    within, out, better = _turning_points(evidence, flat, limit, on, off, q, whole)
    return Resolution(
        rule=rule,
        u_mm=u_mm,
        step_mm=max(steps),
        width_mm=width,
        limit_mm=float(limit_at(rule.limit, np.array(width))),
        within_mm=within if within >= 0 else None,
        out_mm=out if np.abs(off).max() > SHOWN else None,
        enough_u_mm=u_mm * better if better < 1 else None,
        repeats=math.ceil(1 / min(better, 1.0) ** 2 - _TINY),
        part_ratio=1 / whole,
    )


def _thinned(grid: Layout, rule: Rule) -> tuple[Floats, tuple[float, float]]:
    """The places of a grid and its steps to east and north, without lines that can be spared."""
    xy, every = grid.xy_mm, 1
    while True:
        east, north = (np.array(of)[::every] for of in (grid.east_mm, grid.north_mm))
        steps = widest(east), widest(north)
        kept = np.isin(xy[:, 0], east) & np.isin(xy[:, 1], north)
        lean = 2 * max(steps) <= pitch_for(rule) and min(len(east), len(north)) > 4
        if _bars(int(kept.sum()), steps, rule.length_mm) <= MOST_BARS or not lean:
            return xy[kept], steps
        every *= 2


def _bars(places: float, steps: tuple[float, float], length_mm: float | None) -> float:
    """About how many bars there are over a square of places: two contacts, a place between.

    In each of four directions, within the length of the bar, or across the square.
    """
    under = min((length_mm or math.inf) / min(steps), math.sqrt(places))
    return places * 2 * under**2


def _square(
    xy: Floats,
    center: Floats,
    steps: tuple[float, float],
    least_mm: float,
    length_mm: float | None,
) -> npt.NDArray[np.bool_]:
    """Which places lie in the square around the dip that is simulated: all, if that is quick."""
    off = np.abs(xy - center).max(axis=1)
    nearest = np.sort(off)
    side = least_mm
    while _bars(int(np.searchsorted(nearest, side / 2)), steps, length_mm) < MOST_BARS:
        if side / 2 > nearest[-1]:
            break
        side += 2 * max(steps)
    return np.asarray(off <= side / 2 + EDGE_MM)


def _turning_points(
    evidence: Evidence,
    flat: Surface,
    limit: Floats,
    on: Floats,
    off: Floats,
    q: float,
    whole: float,
) -> tuple[float, float, float]:
    """Depths called within and called out as often as SURE, and the share of u that is enough.

    Of a floor `whole` times the size of what was simulated.
    """
    draws = int(np.clip(WORK / len(limit), 100, 1000))
    errors = _shown(evidence, flat, noise(flat.cov_mm2, draws, SEED))
    guarded = -float(ndtri(RISK)) * evidence.u_mm
    goal = TARGET * float(np.min(limit / np.maximum(on, _TINY)))
    # At which depth of the dip, or share of u, each survey changes; and what a flat floor leaves.
    passed, failed, share, spare, short, flat_share = np.full((6, draws), math.inf)
    for first in range(0, len(limit), 256):
        rows = slice(first, first + 256)
        wave = _values(evidence, errors, rows)
        for sign in _sides(evidence):
            seen, missed = (np.maximum(sign * of[rows, None], _TINY) for of in (on, off))
            left = limit[rows, None] - sign * wave
            clear = left - guarded[rows, None]
            passed = np.minimum(passed, (clear / seen).min(axis=0))
            spare = np.minimum(spare, clear.min(axis=0))
            over = left + q * evidence.u_mm[rows, None]
            failed = np.minimum(failed, (over / missed).min(axis=0))
            short = np.minimum(short, over.min(axis=0))
            spread = np.maximum(sign * wave + guarded[rows, None], _TINY)
            share = np.minimum(share, ((limit[rows, None] - goal * seen) / spread).min(axis=0))
            flat_share = np.minimum(flat_share, (limit[rows, None] / spread).min(axis=0))
    never, always = -math.inf, math.inf
    return (
        _first(passed, np.where(spare < 0, never, always), whole, 1 - SURE),
        _first(failed, np.where(short < 0, never, always), whole, SURE),
        _first(share, flat_share, whole, 1 - SURE),
    )


def _first(dip: Floats, flat: Floats, whole: float, level: float) -> float:
    """The quantile of the smallest of one draw of `dip` and `whole` - 1 draws of `flat`."""
    at = np.sort(np.concatenate((dip, flat)))
    above = [1 - np.searchsorted(np.sort(of), at, side="right") / len(of) for of in (dip, flat)]
    reached = 1 - above[0] * above[1] ** (whole - 1) >= level - _TINY
    return float(at[np.argmax(reached)])


def _clearance(room: Room, xy: Floats) -> Floats:
    """How far each place is from the nearest wall or cutout [mm]."""
    away = np.full(len(xy), np.inf)
    for ring in (room.outline, *room.cutouts):
        corners = np.array(ring.corners_mm)
        for start, side in zip(corners, np.roll(corners, -1, axis=0) - corners, strict=True):
            share = np.clip((xy - start) @ side / max(float(side @ side), _TINY), 0, 1)
            away = np.minimum(away, np.hypot(*(xy - start - share[:, None] * side).T))
    return away


def _dip(xy: Floats, center: Floats, width_mm: float) -> Floats:
    """Heights of a smooth round dip of depth 1."""
    away = np.minimum(np.hypot(*(xy - center).T) / width_mm, 0.5)
    depth: Floats = -(1 + np.cos(2 * np.pi * away)) / 2
    return depth


def _shown(evidence: Evidence, flat: Surface, heights: Floats) -> Floats:
    """What a measure sees of d sets of heights (n, d): all, or what departs from its plane."""
    if evidence.plane is None:
        return heights
    coef = evidence.plane.form @ heights
    off: Floats = heights - coef[0] - (flat.xy_mm - evidence.plane.middle) @ coef[1:]
    return off


def _values(evidence: Evidence, shown: Floats, rows: slice = slice(None)) -> Floats:
    """The values (K, d) that a measure takes over what it sees (n, d)."""
    forms, weights = evidence.forms[rows], evidence.weights[rows]
    values = weights[:, :1] * shown[forms[:, 0]]
    for j in range(1, forms.shape[1]):
        values += weights[:, j : j + 1] * shown[forms[:, j]]
    return values


def _sides(evidence: Evidence) -> tuple[float, ...]:
    """The signs with which a value counts: both where signed, or taken from whichever is higher."""
    return (1.0, -1.0) if evidence.signed or evidence.plane is not None else (1.0,)


def _allowed(evidence: Evidence, flat: Surface, rule: Rule, dip: Floats, risk: float) -> float:
    """The factor q that the guard uses on a floor whose worst value is a little over its limit.

    It grows with the number of bars that errors have brought near the limit, so it is asked for
    on floors as read: the middle of three.
    """
    limit = limit_at(rule.limit, evidence.span_mm)
    over = limit + (0.01 - float(ndtri(risk))) * evidence.u_mm
    found = []
    for error in _values(evidence, _shown(evidence, flat, noise(flat.cov_mm2, 3, SEED))).T:
        reached = [(over - s * error) / np.maximum(s * dip, _TINY) for s in _sides(evidence)]
        value = max(float(np.min(reached)), 0.0) * dip + error
        value = np.max([s * value for s in _sides(evidence)], axis=0)
        found.append(call(replace(evidence, value_mm=value), rule.limit, flat, risk).factor)
    return float(np.median(found))
