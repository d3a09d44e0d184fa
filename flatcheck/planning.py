"""Before anything is read: where to read so that every rule can be judged, and what that will tell.

A plan is a grid close enough for the rules, inside the room, in the order it is walked. What the
readings on it will be able to tell is worked out with the thresholds of `flatcheck.guard`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from flatcheck.assess import REACH, view_of
from flatcheck.errors import RuleError, SurveyError
from flatcheck.evidence import Evidence, measure_named
from flatcheck.guard import RISK, SEED, call
from flatcheck.instrument import fine
from flatcheck.intent import Intent
from flatcheck.room import EDGE_MM, Room, inside
from flatcheck.rules import Rule, limit_at, pitch_for
from flatcheck.surface import LINE_MM, Surface, lines, noise, surface
from flatcheck.tables import MOST_READINGS
from flatcheck.units import MM_PER_FOOT, Style, format_distance, format_length
from flatcheck.verdict import Place

Floats = npt.NDArray[np.float64]

WALL_MM = MM_PER_FOOT / 2
"""The outer lines of a plan are no farther from the walls than this, or half a step [mm].

6 in, or about 150 mm: common practice, no source."""

SURE = 0.9
"""The share of surveys that must come out as told: 9 in 10."""

MOST_REPEATS = 9
"""More readings of each place than this are not worth the walk; a bar is laid instead."""

MOST_BARS = 200_000
"""What a plan can tell is worked out with about this many bars at most, so that it is quick."""

TARGET = 0.5
"""An instrument is called good enough when floors with gaps of half their limit are passed by it.

Our own choice; the trade asks for an instrument that resolves a third of the tolerance."""

WORK = 8_000_000
"""Bars times simulated surveys are about this many at most, for the same reason."""

_TINY = 1e-9
"""Stands for zero where something is divided by it, and for the noise of the arithmetic."""


@dataclass(frozen=True)
class Need:
    """What one rule asks of a survey: `readings` on a grid no wider than `pitch_mm` [mm].

    `step_mm` is the widest step of that grid; it is far below `pitch_mm` where floor is narrow.
    `seen_ratio` is the share of the places that a bar can be laid over in two directions.
    """

    rule: Rule
    pitch_mm: float
    step_mm: float
    readings: int
    seen_ratio: float


@dataclass(frozen=True)
class SurveyPlan:
    """Where to read.

    `east_mm` and `north_mm` are the offsets of the lines of the grid from the zero corner, growing;
    `stations_mm` the places on the floor in walking order, back and forth along the longer way.
    `needs` says what each rule asks for by itself, the fewest readings first; the grid is that of
    the last. `u_mm` is the standard uncertainty of one reading.
    """

    room: Room
    u_mm: float
    needs: tuple[Need, ...]
    east_mm: tuple[float, ...]
    north_mm: tuple[float, ...]
    stations_mm: tuple[Place, ...]


def plan(room: Room, rules: Sequence[Rule], u_mm: float, mark_mm: float = 10.0) -> SurveyPlan:
    """Where must this room be read so that every one of these rules can be judged?

    The grid is the one for the rule that needs the closest readings (`rules.pitch_for`), with even
    steps and lines within WALL_MM of the outermost walls. Offsets are whole multiples of `mark_mm`
    on the tape, or of its half; odd ones only where the room leaves no other choice. Where floor
    is so narrow that a bar could be laid over less than REACH of the places in two directions, the
    steps are made smaller.

    Raises RuleError without rules, and SurveyError for an uncertainty that is not positive or a
    room that takes more readings than a survey may hold.
    """
    if not rules:
        raise RuleError("a plan needs at least one rule that the floor is to be judged by.")
    if not 0 < u_mm < math.inf:
        raise SurveyError("a plan needs an instrument whose uncertainty is larger than zero.")
    grids = [_grid_for(room, rule, mark_mm) for rule in rules]
    order = sorted(range(len(rules)), key=lambda i: (len(grids[i].xy), rules[i].id))
    finest = grids[order[-1]]
    return SurveyPlan(
        room=room,
        u_mm=u_mm,
        needs=tuple(
            Need(
                rules[i],
                pitch_for(rules[i]),
                max(_step(grids[i].east), _step(grids[i].north)),
                len(grids[i].xy),
                grids[i].seen_ratio,
            )
            for i in order
        ),
        east_mm=finest.east,
        north_mm=finest.north,
        stations_mm=tuple((float(x), float(y)) for x, y in finest.xy),
    )


@dataclass(frozen=True, eq=False)
class _Grid:
    east: tuple[float, ...]
    north: tuple[float, ...]
    xy: Floats
    seen_ratio: float


def _grid_for(room: Room, rule: Rule, mark_mm: float) -> _Grid:
    """The widest grid on which the rule can be judged, down to a quarter of what it asks."""
    grid = _grid(room, pitch_for(rule), mark_mm)
    for narrower in (0.75, 0.5, 0.35, 0.25):
        if grid.seen_ratio >= REACH:
            break
        grid = _grid(room, narrower * pitch_for(rule), mark_mm)
    return grid


def _grid(room: Room, pitch_mm: float, mark_mm: float) -> _Grid:
    corners = np.array(room.outline.corners_mm)
    (west, south), (far_east, far_north) = corners.min(axis=0), corners.max(axis=0)
    rough = (far_east - west) * (far_north - south) / pitch_mm**2
    if rough > 4 * MOST_READINGS:
        raise SurveyError(_too_many(rough, pitch_mm))
    east = _offsets(west, far_east, pitch_mm, mark_mm)
    north = _offsets(south, far_north, pitch_mm, mark_mm)
    along, across = (east, north) if len(east) >= len(north) else (north, east)
    walk = [
        (a, b) for row, b in enumerate(across) for a in (along if row % 2 == 0 else along[::-1])
    ]
    xy = np.array(walk)
    if len(east) < len(north):
        xy = xy[:, ::-1]
    xy = xy[inside(room, xy)]
    if len(xy) > MOST_READINGS:
        raise SurveyError(_too_many(len(xy), pitch_mm))
    if len(xy) < 2 or min(np.diff(east).min(), np.diff(north).min()) <= LINE_MM:
        raise SurveyError(f"{room.outline.name}: the floor is too narrow to be read on a grid.")
    return _Grid(east, north, xy, _seen(room, xy))


def _step(offsets: Sequence[float] | Floats) -> float:
    """The widest step between neighboring lines [mm]."""
    return float(np.diff(offsets).max())


def _too_many(readings: float, pitch_mm: float) -> str:
    return (
        f"reading this floor every {pitch_mm:g} mm takes about {readings:,.0f} readings, more than "
        f"the {MOST_READINGS:,} of a survey; plan it for the longer rules, and lay a bar for the "
        "short one."
    )


def _offsets(low: float, high: float, pitch_mm: float, mark_mm: float) -> tuple[float, ...]:
    """Even lines between two walls, at least three: a bar needs a place between its contacts."""
    width = high - low
    wall = min(pitch_mm / 2, WALL_MM, width / 4)
    fewest = max(math.ceil((width - 2 * wall) / pitch_mm - _TINY), 2)
    for count in range(fewest, 2 * fewest + 1):
        for mark in (mark_mm, mark_mm / 2):
            step = math.floor(min(pitch_mm, (width - wall) / count) / mark + _TINY) * mark
            middle = round((low + (width - count * step) / 2) / mark) * mark
            for start in (middle, middle - mark, middle + mark):
                margins = (start - low, high - start - count * step)
                if step > 0 and min(margins) >= 0 and max(margins) <= wall + _TINY:
                    return tuple(start + step * k for k in range(count + 1))
    step = (width - 2 * wall) / fewest
    return tuple(low + wall + step * k for k in range(fewest + 1))


def _seen(room: Room, xy: Floats) -> float:
    """The share of places on lines of three or more in at least two directions."""
    none = np.empty((0, 3), np.int64)
    flat = Surface(room, xy.copy(), np.zeros(len(xy)), np.ones(len(xy)), ("",) * len(xy), none)
    seen = np.zeros(len(xy), np.int64)
    for family in lines(flat):
        bars = family.stations[(family.stations >= 0).sum(axis=1) > 2]
        seen[bars[bars >= 0]] += 1
    return float(np.mean(seen >= 2))


# What a plan can tell


@dataclass(frozen=True)
class Resolution:
    """What readings every `step_mm` will tell of one rule, for round dips `width_mm` across.

    The true gap under a bar across such a dip is its depth. Floors with gaps up to `within_mm` are
    called within in 9 of 10 surveys (None where not even a flat floor is), floors with gaps from
    `out_mm` on are called out in 9 of 10 (None where the readings can miss such a dip); in between
    they are mostly too close to call. `enough_u_mm` is how good a reading must be for floors with
    gaps of half the limit to be called within, None where it is; `repeats` how often each place
    must be read to be as good.
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


def resolves(survey: SurveyPlan, rule: Rule) -> Resolution:
    """What can this instrument on this grid tell, by this rule?

    A floor is flat but for one smooth round dip, (1 + cos(2π r / width)) / 2 deep, as wide as the
    rule's bar is long (four steps where the rule has no length) or as the floor has room for it. A
    gap is a linear form g·A + e of the depth A and the reading errors, so for each simulated set
    of errors the depths at which `guard.call` changes its answer are closed forms, over all bars:

        within up to  A = min (limit - 1.645 u - e) / g,   out from  A = min (limit + q u - e) / g

    where q is what the guard allows a dip of about that depth. Each is told for the place that
    makes it cautious: *within* for a dip centered on a reading, *out* for one midway between four,
    where the readings show less of it. Angle errors that all readings share are not in it.

    A grid far closer than the rule needs has more bars than can be tried; every other line is then
    left out, until `step_mm`. All lines show a dip at least as well, and are called within less
    often: more bars must keep clear of the limit.

    Raises SurveyError when the grid is too wide for the rule.
    """
    need = pitch_for(rule)
    xy, steps = _thinned(survey, rule)
    flat = surface(
        survey.room, xy, np.zeros(len(xy)), np.full(len(xy), survey.u_mm**2), [""] * len(xy)
    )
    evidence = measure_named(rule.measure)(view_of(flat, Intent()), rule.length_mm)
    if max(steps) > need * 1.01 + EDGE_MM or not len(evidence.value_mm):
        raise SurveyError(
            f"readings {max(steps):g} mm apart cannot show what rule {rule.id!r} asks; it takes "
            f"one every {need:g} mm or closer."
        )
    clear = np.minimum(_clearance(survey.room, xy), (rule.length_mm or 4 * need) / 2)
    width = 2 * float(clear.max())
    # Of the places with room for the dip, the one that most values rest on: walls spare it most.
    values = np.bincount(evidence.forms.ravel(), minlength=len(xy))
    center = xy[int(np.argmax(np.where(clear > clear.max() - EDGE_MM, values, 0)))]
    on, off = (
        _values(evidence, flat, _dip(xy, middle, width)[:, None])[:, 0]
        for middle in (center, center + np.array(steps) / 2)
    )
    limit = limit_at(rule.limit, evidence.span_mm)
    q = _allowed(evidence, flat, rule, off, RISK / len(survey.needs))
    within, out, better = _turning_points(evidence, flat, limit, on, off, q)
    return Resolution(
        rule=rule,
        u_mm=survey.u_mm,
        step_mm=max(steps),
        width_mm=width,
        limit_mm=float(limit_at(rule.limit, np.array(width))),
        within_mm=within if within >= 0 else None,
        out_mm=out if np.abs(off).max() > 1e-3 else None,
        enough_u_mm=survey.u_mm * better if better < 1 else None,
        repeats=math.ceil(1 / min(better, 1.0) ** 2 - _TINY),
    )


def _thinned(survey: SurveyPlan, rule: Rule) -> tuple[Floats, tuple[float, float]]:
    """The places of a plan and its steps to east and north, without lines that can be spared."""
    xy, every = np.array(survey.stations_mm), 1
    while True:
        east, north = (np.array(of)[::every] for of in (survey.east_mm, survey.north_mm))
        steps = _step(east), _step(north)
        kept = np.isin(xy[:, 0], east) & np.isin(xy[:, 1], north)
        # In each of four directions two contacts and a place between, all within the length.
        under = (rule.length_mm or 0) / min(steps)
        lean = 2 * max(steps) <= pitch_for(rule) and min(len(east), len(north)) > 4
        if kept.sum() * 2 * under**2 <= MOST_BARS or not lean:
            return xy[kept], steps
        every *= 2


def _turning_points(
    evidence: Evidence, flat: Surface, limit: Floats, on: Floats, off: Floats, q: float
) -> tuple[float, float, float]:
    """Depths called within and called out as often as SURE, and the share of u that is enough."""
    draws = int(np.clip(WORK / len(limit), 100, 1000))
    errors = noise(flat.cov_mm2, draws, SEED)
    guarded = -float(ndtri(RISK)) * evidence.u_mm
    goal = TARGET * float(np.min(limit / np.maximum(on, _TINY)))
    passed, failed, share = (np.full(draws, math.inf) for _ in range(3))
    for first in range(0, len(limit), 256):
        rows = slice(first, first + 256)
        wave = _values(evidence, flat, errors, rows)
        for sign in _sides(evidence):
            seen, missed = (np.maximum(sign * of[rows, None], _TINY) for of in (on, off))
            left = limit[rows, None] - sign * wave
            passed = np.minimum(passed, ((left - guarded[rows, None]) / seen).min(axis=0))
            over = left + q * evidence.u_mm[rows, None]
            failed = np.minimum(failed, (over / missed).min(axis=0))
            spread = np.maximum(sign * wave + guarded[rows, None], _TINY)
            share = np.minimum(share, ((limit[rows, None] - goal * seen) / spread).min(axis=0))
    low, high = 1 - SURE, SURE
    return (
        float(np.quantile(passed, low)),
        float(np.quantile(failed, high)),
        float(np.quantile(share, low)),
    )


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


def _values(
    evidence: Evidence, flat: Surface, heights: Floats, rows: slice = slice(None)
) -> Floats:
    """The values (K, d) that a measure takes over d sets of heights (n, d)."""
    if evidence.plane is not None:
        coef = evidence.plane.form @ heights
        heights = heights - coef[0] - (flat.xy_mm - evidence.plane.middle) @ coef[1:]
    forms, weights = evidence.forms[rows], evidence.weights[rows]
    values = weights[:, :1] * heights[forms[:, 0]]
    for j in range(1, forms.shape[1]):
        values += weights[:, j : j + 1] * heights[forms[:, j]]
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
    for error in _values(evidence, flat, noise(flat.cov_mm2, 3, SEED)).T:
        reached = [(over - s * error) / np.maximum(s * dip, _TINY) for s in _sides(evidence)]
        value = max(float(np.min(reached)), 0.0) * dip + error
        value = np.max([s * value for s in _sides(evidence)], axis=0)
        found.append(call(replace(evidence, value_mm=value), rule.limit, flat, risk).factor)
    return float(np.median(found))


# In words


def plan_words(survey: SurveyPlan, style: Style) -> list[str]:
    """What the plan asks for: a sentence for each rule, the fewest readings first."""
    said = []
    for number, need in enumerate(survey.needs):
        length = need.rule.length_mm
        name = f"the {format_distance(length, style)} rule" if length else "the rule"
        pitch, step = (format_distance(mm, style) for mm in (need.pitch_mm, need.step_mm))
        words = f"For {name}: a reading every {pitch}, {need.readings:,} readings"
        if need.step_mm < 0.8 * need.pitch_mm:
            words = (
                f"For {name}: a reading every {step} (it asks for {pitch}, but floor is narrow), "
                f"{need.readings:,} readings"
            )
        if number and length and need.readings > survey.needs[0].readings:
            words += f", or lay a {format_distance(length, style)} straightedge instead"
        if need.seen_ratio < REACH:
            words += (
                f"; even so a bar can be laid both ways over only {need.seen_ratio:.0%} of the "
                "places"
            )
        said.append(f"{words}. {need.rule.words}")
    return said


def resolution_words(found: Resolution, style: Style) -> list[str]:
    """What readings on a plan can tell by one rule, and what would let them tell more."""
    kind = {"resting": "gap", "plane": "depth"}.get(found.rule.measure, "departure")
    within = "not even a flat floor is called within"
    if found.within_mm is not None:
        within = f"a {kind} up to {fine(found.within_mm, style)} is called within"
    out = "it can lie between the readings unseen"
    if found.out_mm is not None:
        out = f"a {kind} from {fine(found.out_mm, style)} on is called out"
    said = [
        f"With readings good to {fine(found.u_mm, style)} every "
        f"{format_distance(found.step_mm, style)} you can tell this of a round dip "
        f"{format_distance(found.width_mm, style)} across, 9 times in 10: {within}; {out}; "
        f"otherwise it is mostly too close to call (limit {format_length(found.limit_mm, style)})."
    ]
    if found.enough_u_mm is not None:
        again = (
            f"or read every place {found.repeats} times and write down each reading; repeating "
            "does not help against an angle of the instrument that all readings share"
        )
        if found.repeats > MOST_REPEATS:
            again = f"or lay a bar; it would take {found.repeats:,} readings of every place"
        said.append(
            f"To pass floors with a {kind} of half the limit, use an instrument good to "
            f"{fine(found.enough_u_mm, style)}, {again}."
        )
    return said
