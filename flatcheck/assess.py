"""The chain, readings to verdict. Read this file first.

readings -> adjust -> surface -> lines and required plane -> measures -> rules -> verdict
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree
from scipy.special import ndtri

from flatcheck.adjust import WHOLE, Adjusted, adjust
from flatcheck.errors import SurveyError
from flatcheck.evidence import Evidence, View, decided_rows, measure_named, some_rows
from flatcheck.guard import RISK, Call, call
from flatcheck.intent import Intent, fall_of, fit
from flatcheck.room import EDGE_MM, Ring, Room, inside, rectangle
from flatcheck.rules import Rule, grade_of, limit_at, pitch_for, rules_for
from flatcheck.spots import Judged, spots
from flatcheck.surface import LINE_MM, Surface, lines, part, surface
from flatcheck.survey import Observation, Survey
from flatcheck.tables import readings_of
from flatcheck.verdict import (
    Finding,
    Outcome,
    Place,
    Placement,
    Settle,
    Spot,
    Verdict,
    gravest,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

REACH = 0.8
"""The share of a floor that must have been judged before it is called within.

Common practice, no source: corners and the strip along walls are seldom read."""

PLACES = 3
"""How many places are named where a rule is too close to call."""


@dataclass(frozen=True, eq=False)
class Part:
    """A zone as it was judged, or a piece of one where no reading joins the pieces.

    `stations` are the numbers of its stations in the whole survey, `rivals` (r, 2) the places of
    stations of other pieces in the same zone: floor nearer to those is theirs to judge. `fall` is
    the slope of the plane that fits best [ratio], which way it falls [degrees clockwise from
    north] and the slope's standard uncertainty; None where the readings leave it open.
    """

    name: str
    view: View
    stations: Ints
    rivals: Floats = field(default_factory=lambda: np.empty((0, 2)))
    fall: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Assessment:
    """A survey with what its readings say, its surface, its parts and its verdict."""

    survey: Survey
    readings: tuple[Observation, ...]
    adjusted: Adjusted
    surface: Surface
    parts: tuple[Part, ...]
    verdict: Verdict


def assess(survey: Survey) -> Assessment:
    """Is this floor flat enough for this tile, by the survey's own standard, and where not?

    Raises FlatcheckError naming what cannot be used.
    """
    readings = readings_of(survey)
    known = adjust(readings)
    if known.cov_mm2.shape[0] != len(known.xy_mm):
        raise SurveyError(
            f"{len(known.xy_mm):,} places from several setups or kinds of reading are more than "
            f"can be judged at once (about {WHOLE:,}); judge the floor in parts."
        )
    # A sill or a nail carries the height over; it is no floor to lay a bar on.
    here = np.setdiff1d(np.arange(len(known.xy_mm)), known.known)
    if len(here) < 2:
        raise SurveyError("besides the benchmarks fewer than two places were read.")
    room = survey.room or Room(_around(known.xy_mm[here]), assumed=True)
    cov = known.cov_mm2[here] if known.cov_mm2.ndim == 1 else known.cov_mm2[np.ix_(here, here)]
    floor = surface(
        room,
        known.xy_mm[here],
        known.height_mm[here],
        cov,
        [known.where[i] for i in here],
        known.free[here],
    )
    standard, grade = grade_of(survey.standard)
    rules = rules_for(grade, survey.tile)
    parts = _parts(survey, floor, known.piece[here])
    # The whole survey may be called out wrongly at RISK, so its rules and zones share that.
    risk = RISK / (len(rules) * len(parts))
    findings: list[Finding] = []
    found: list[Spot] = []
    for piece in parts:
        judged = []
        for rule in rules:
            every = measure_named(rule.measure)(piece.view, rule.length_mm)
            decided = decided_rows(piece.view, every)
            evidence, left_open = some_rows(every, decided), some_rows(every, ~decided)
            called = None
            if len(evidence.value_mm):
                called = call(evidence, rule.limit, piece.view.surface, risk)
                judged.append(Judged(rule, evidence, called))
            findings.append(_finding(piece, rule, evidence, called, left_open))
        found += [
            replace(spot, stations=tuple(int(piece.stations[i]) for i in spot.stations))
            for spot in spots(piece.view, judged)
        ]
    found.sort(key=lambda spot: (not spot.proven, -spot.value_mm / spot.limit_mm, spot.at))
    return Assessment(
        survey,
        readings,
        known,
        floor,
        parts,
        Verdict(
            standard=standard.id,
            grade=grade.id,
            decision=survey.decision,
            guarded=gravest(f.outcome for f in findings),
            as_read=gravest(f.as_read for f in findings),
            findings=tuple(findings),
            spots=tuple(replace(spot, number=i) for i, spot in enumerate(found, 1)),
        ),
    )


def view_of(floor: Surface, intent: Intent) -> View:
    """A floor, or a zone of it, as measures see it."""
    # The variances of an adjusted network belong to differences, so they are no weights.
    weight = 1 / floor.cov_mm2 if floor.cov_mm2.ndim == 1 else None
    return View(floor, lines(floor), fit(intent, floor.xy_mm, floor.height_mm, weight))


def _around(xy: Floats) -> Ring:
    """The rectangle around readings that came without an outline, grown if it has no width."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    thin = np.where(high - low < 10 * EDGE_MM, 10 * EDGE_MM, 0.0)
    west, south = low - thin
    east, north = high + thin
    return rectangle(west, south, east, north, "the readings")


def _parts(survey: Survey, floor: Surface, piece: Ints) -> tuple[Part, ...]:
    """The zones, each with its own readings, and each piece of them that no reading joins."""
    zones = [(zone.outline.name, zone.outline, zone.intent) for zone in survey.zones]
    if not zones:
        zones = [("floor", floor.room.outline, survey.intent)]
    parts = []
    covered = np.zeros(len(floor.xy_mm), dtype=bool)
    for name, outline, intent in zones:
        room = replace(floor.room, zone=outline) if survey.zones else floor.room
        here = inside(room, floor.xy_mm)
        covered |= here
        pieces = [p for p in np.unique(piece[here]) if np.count_nonzero(here & (piece == p)) > 1]
        if not pieces:
            raise SurveyError(f"zone {name!r} holds fewer than two readings.")
        for number, p in enumerate(pieces, 1):
            own, kept = part(floor, room, piece == p)
            parts.append(
                Part(
                    name=name if len(pieces) == 1 else f"{name}, piece {number}",
                    view=view_of(own, intent),
                    stations=kept,
                    rivals=floor.xy_mm[here & np.isin(piece, pieces) & (piece != p)],
                    fall=_fall(own),
                )
            )
    if survey.zones:
        _check_zones(survey, floor.room)
    if not covered.all():
        stray = floor.where[int(np.argmin(covered))]
        raise SurveyError(f"{stray}: the reading lies in none of the zones.")
    return tuple(parts)


def _check_zones(survey: Survey, room: Room) -> None:
    """Zones cover the floor, each place once. Raises SurveyError naming a place that is not."""
    points = _spread(room)
    held = np.zeros(len(points), dtype=np.int64)
    for zone in survey.zones:
        held += inside(replace(room, zone=zone.outline), points)
    # A point on the line between two zones counts for both; evenly spread ones seldom lie there.
    for bad, words in ((held == 0, "lies in no zone"), (held > 1, "lies in two zones")):
        if np.mean(bad) > 0.005:
            x, y = points[int(np.argmax(bad))]
            raise SurveyError(
                f"the floor around {x:.0f} mm east and {y:.0f} mm north {words}; zones cover the "
                "room, each place once."
            )


def _fall(floor: Surface) -> tuple[float, float, float] | None:
    """The fall of the best plane with its standard uncertainty, where the readings decide it."""
    plane = fit(Intent(), floor.xy_mm, floor.height_mm)
    slopes = plane.form[1:]
    middle = floor.xy_mm - floor.xy_mm.mean(axis=0)
    if np.linalg.svd(middle, compute_uv=False)[-1] < LINE_MM:
        return None  # along one line nothing tells how the floor lies across it
    if np.abs(slopes @ floor.free).max(initial=0.0) * np.ptp(floor.xy_mm) > 1e-6:
        return None
    ratio, bearing = fall_of(plane)
    downhill = np.array([-plane.coef[1], -plane.coef[2]]) / (ratio or 1.0)
    form = downhill @ slopes
    spread = form * floor.cov_mm2 if floor.cov_mm2.ndim == 1 else form @ floor.cov_mm2
    return ratio, bearing, math.sqrt(max(float(spread @ form), 0.0))


def _finding(
    piece: Part, rule: Rule, evidence: Evidence, called: Call | None, left_open: Evidence
) -> Finding:
    need = pitch_for(rule)
    reach = _reach(piece, evidence, left_open, need)
    pitch = piece.view.pitch_mm
    finite = pitch[np.isfinite(pitch)]
    guarded = as_read = Outcome.NOT_ASSESSED
    if called is not None:
        # Nobody read the step from this piece to the next, where a bar may lie too.
        enough = reach >= REACH and not len(piece.rivals)
        if called.out:
            guarded = Outcome.OUT
        elif enough:
            guarded = Outcome.WITHIN if called.within else Outcome.CLOSE
        if called.over:
            as_read = Outcome.OUT
        elif enough:
            as_read = Outcome.WITHIN
    return Finding(
        zone=piece.name,
        rule=rule,
        outcome=guarded,
        as_read=as_read,
        worst=_placement(piece, rule, evidence, called.largest) if called else None,
        guard_mm=called.factor * float(evidence.u_mm[called.largest]) if called else 0.0,
        placements=len(evidence.value_mm),
        reach_ratio=reach,
        pitch_mm=need,
        have_mm=float(np.median(finite)) if finite.size else math.inf,
        longest_bar_mm=float(evidence.span_mm.max(initial=0.0)),
        left_open=len(left_open.value_mm),
        joined=not len(piece.rivals),
        settle=(
            _settle(piece, rule, evidence, called) if called and guarded is Outcome.CLOSE else None
        ),
    )


def _reach(piece: Part, evidence: Evidence, left_open: Evidence, need_mm: float) -> float:
    """What share of the floor the rule could judge, by points spread over the room.

    A point counts when a judged station is no farther than on a grid of the needed step. Judged
    is a station that bars cover, with readings close enough beneath them, in as many directions
    as the measure asks for. In a direction where the readings leave a bar over it open it is not.
    """
    floor = piece.view.surface
    close = evidence.pitch_mm <= need_mm * 1.01 + EDGE_MM
    n = len(floor.xy_mm)
    seen = np.zeros(n, dtype=np.int64)
    for direction in np.unique(evidence.direction[close]):
        rows = close & (evidence.direction == direction)
        covered = np.zeros(n, dtype=bool)
        covered[evidence.stations[rows].ravel()] = True
        covered[left_open.stations[left_open.direction == direction, 1]] = False
        seen += covered
    judged = floor.xy_mm[seen >= evidence.directions]
    if len(judged) == 0:
        return 0.0
    points = _spread(floor.room)
    if len(piece.rivals):
        nearest, _ = cKDTree(floor.xy_mm).query(points)
        points = points[nearest <= cKDTree(piece.rivals).query(points)[0]]
        if not len(points):
            return 0.0
    away, _ = cKDTree(judged).query(points)
    return float(np.mean(away <= need_mm * 1.01 / math.sqrt(2) + EDGE_MM))


def _spread(room: Room) -> Floats:
    """Places spread evenly over the floor of a room, or of its zone."""
    corners = np.array((room.zone or room.outline).corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    across = (np.arange(40) + 0.37) / 40  # off center: zones like to meet at halves
    points = low + np.stack(np.meshgrid(across, across), axis=-1).reshape(-1, 2) * (high - low)
    spread: Floats = points[inside(room, points)]
    return spread


def _placement(piece: Part, rule: Rule, evidence: Evidence, row: int) -> Placement:
    xy = piece.view.surface.xy_mm
    start, at, end = (_place(xy[i]) for i in evidence.stations[row])
    span = float(evidence.span_mm[row])
    return Placement(
        value_mm=float(evidence.value_mm[row]),
        u_mm=float(evidence.u_mm[row]),
        limit_mm=float(limit_at(rule.limit, np.array(span))),
        span_mm=span,
        at=at,
        start=start,
        end=end,
        stations=tuple(int(piece.stations[i]) for i in evidence.stations[row]),
    )


def _place(xy: Floats) -> Place:
    return float(xy[0]), float(xy[1])


def _settle(piece: Part, rule: Rule, evidence: Evidence, called: Call) -> Settle:
    """What would decide a value too close to its limit: all noise smaller by the same share.

    Over the limit but not surely: score q' must grow to the factor q. Below it but not surely:
    the score must fall to -1.645. Both scale with 1/u, and u with 1/√repeats.
    """
    score = called.excess_mm / evidence.u_mm
    top = float(score.max())
    share = top / called.factor if called.over else -top / -float(ndtri(RISK))
    share = min(max(share, 1e-3), 1.0)
    close = np.flatnonzero(score > float(ndtri(RISK)))
    places: list[Placement] = []
    for row in close[np.argsort(-score[close])]:
        spot = _placement(piece, rule, evidence, int(row))
        apart = min((math.dist(spot.at, other.at) for other in places), default=math.inf)
        if apart > max(spot.span_mm / 2, 4 * EDGE_MM):
            places.append(spot)
        if len(places) == PLACES:
            break
    return Settle(share, tuple(places))
