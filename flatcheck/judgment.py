"""The judgment: a surface against the rules of its survey, zone by zone, plane by plane."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.errors import SurveyError
from flatcheck.evidence import Evidence, decided_rows, looks_at, measure_named, some_rows
from flatcheck.guard import CLEAR, RISK, Call, call
from flatcheck.language import say
from flatcheck.parts import OFF, Face, Part, cell_of, faces_for, parts_of, spread
from flatcheck.reach import blind_mm
from flatcheck.room import EDGE_MM, Room, ring_area
from flatcheck.rules import Limit, Rule, check_on, grade_of, limit_at, pitch_for, rules_for
from flatcheck.spots import Judged, spots
from flatcheck.surface import Surface
from flatcheck.survey import Survey
from flatcheck.verdict import (
    Finding,
    Outcome,
    Placement,
    Reach,
    Settle,
    Spot,
    Verdict,
    gravest,
    place_of,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

REACH = 0.8
"""The share of a floor that must have been judged before it is called within.

Common practice, no source: corners and the strip along walls are seldom read."""

PLACES = 3
"""How many places are named where a rule is too close to call."""


NO_FLATNESS = "none"
"""Named in place of a standard for flatness where only falls are asked for."""

WATER = "wet-practice:water"
"""What is asked about standing water where no other standard asks it."""

TOLD_AS_SPOTS = ("resting", "blocks", "neighbors", "plane")
"""Measures of flatness: what is out by them is a high or a low to be worked on."""


@dataclass(frozen=True, eq=False)
class Look:
    """One rule on one plane: what was measured, what the readings leave open, how it is called."""

    face: Face
    evidence: Evidence
    left_open: Evidence
    call: Call | None


def judge(survey: Survey, floor: Surface, piece: Ints) -> tuple[tuple[Part, ...], Verdict]:
    """Is this surface what the survey asks for? Its parts as they were judged, and the verdict.

    `piece` (n,) numbers the parts of the surface that no reading joins.

    Raises SurveyError for zones and standards that cannot be used.
    """
    rules = rules_of(survey)
    parts = parts_of(survey, floor, piece)
    # The whole survey may be called out wrongly at RISK, so its rules and zones share that.
    risk = RISK / (len(rules) * len(parts))
    findings: list[Finding] = []
    found: list[Spot] = []
    for part in parts:
        judged: dict[str, list[Judged]] = {}
        for rule in rules:
            bars = laid(part, rule.measure, rule.length_mm)
            seen = looks(bars, rule, risk)
            if not seen:
                continue
            findings.append(finding_of(part, rule, seen, reach_of(part, rule, bars)))
            for look in seen:
                if look.call is not None and rule.measure in TOLD_AS_SPOTS:
                    judged.setdefault(look.face.name, []).append(
                        Judged(rule, look.evidence, look.call)
                    )
        for face in part.faces:
            own = part.stations[face.stations]
            found += [
                replace(spot, stations=tuple(int(own[i]) for i in spot.stations))
                for spot in spots(face.view, judged.get(face.name, []))
            ]
    _check_asked(survey, findings)
    found.sort(key=lambda spot: (not spot.proven, -spot.value_mm / spot.limit_mm, spot.at))
    standard, grade = survey.standard, ""
    if standard != NO_FLATNESS:
        named, called = grade_of(standard)
        standard, grade = named.id, called.id
    return parts, Verdict(
        standard=standard,
        grade=grade,
        falls=survey.falls,
        decision=survey.decision,
        guarded=gravest(f.outcome for f in findings),
        as_read=gravest(f.as_read for f in findings),
        findings=tuple(findings),
        spots=tuple(replace(spot, number=i) for i, spot in enumerate(found, 1)),
    )


def rules_of(survey: Survey) -> tuple[Rule, ...]:
    """All rules that a survey is judged by. Raises SurveyError where it names none."""
    about = survey.room.about if survey.room else "floor"
    for name in (*([survey.standard] if survey.standard != NO_FLATNESS else []), *survey.falls):
        check_on(grade_of(name)[1], about, name)
    flatness: tuple[Rule, ...] = ()
    if survey.standard != NO_FLATNESS:
        flatness = rules_for(grade_of(survey.standard)[1], survey.tile)
    rules = (*flatness, *falls_rules(survey))
    if not rules:
        raise SurveyError(say("no standard is named, neither for flatness nor for falls."))
    return rules


def falls_rules(survey: Survey) -> tuple[Rule, ...]:
    """The rules of the survey's standards for falls and water, each asked once.

    Where a floor is to drain and none of them asks about standing water, setters' practice does:
    a floor may fall enough everywhere and still hold water, at a drain that stands high.
    """
    asked = [rule for name in survey.falls for rule in rules_for(grade_of(name)[1], survey.tile)]
    found: dict[tuple[str, float | None, Limit], Rule] = {}
    for rule in with_water(asked):
        found.setdefault((rule.measure, rule.length_mm, rule.limit), rule)
    return tuple(found.values())


def with_water(rules: Sequence[Rule]) -> tuple[Rule, ...]:
    """Rules for a floor that drains, with that on standing water where they have none."""
    measures = {rule.measure for rule in rules}
    dry = "fall_least" not in measures or "ponding" in measures
    return tuple(rules) if dry else (*rules, *grade_of(WATER)[1].rules)


def _check_asked(survey: Survey, findings: Sequence[Finding]) -> None:
    """A standard that asks for falls needs a floor that is meant to fall."""
    for name in survey.falls:
        asked = {rule.measure for rule in grade_of(name)[1].rules}
        asked = asked - {"fall_most"} or asked  # a level floor has a steepest place too
        if not any(finding.rule.measure in asked for finding in findings):
            raise SurveyError(
                say(
                    "{rule} asks for falls, and no zone is meant to fall; give the zone that does "
                    'an intent of kind "fall", "to drain" or "to channel".',
                    rule=name,
                )
            )


Laid = tuple[tuple[Face, Evidence, Evidence], ...]
"""What one measure found on every plane of a part: decided by the readings, and left open."""


def laid(piece: Part, measured: str, length_mm: float | None) -> Laid:
    """What was measured on every plane of a part, or on it as a whole; no limit is held to it."""
    measure = measure_named(measured)
    found = []
    for face in faces_for(piece, looks_at(measured)):
        every = measure(face.view, length_mm)
        if every is not None:
            decided = decided_rows(face.view, every)
            found.append((face, some_rows(every, decided), some_rows(every, ~decided)))
    return tuple(found)


def looks(found: Laid, rule: Rule, risk: float) -> tuple[Look, ...]:
    """What was measured, called by one rule."""
    asked = sum(1 for _, evidence, _ in found if len(evidence.value_mm))
    return tuple(
        Look(
            face,
            evidence,
            left_open,
            call(evidence, rule.limit, face.view.surface, risk / asked)
            if len(evidence.value_mm)
            else None,
        )
        for face, evidence, left_open in found
    )


def finding_of(
    piece: Part, rule: Rule, seen: tuple[Look, ...], reached: tuple[float, Reach | None]
) -> Finding:
    """What the looks of one rule at a part come to, one at least, with how far they reached."""
    need = pitch_for(rule)
    reach, where = reached
    pitch = np.concatenate([look.face.view.pitch_mm for look in seen])
    finite = pitch[np.isfinite(pitch)]
    called = [(look, look.call) for look in seen if look.call is not None]
    guarded = as_read = Outcome.NOT_ASSESSED
    # Nobody read the step from this piece to the next, where a bar may lie too.
    enough = reach >= REACH and not len(piece.rivals) and not (where and hides(where, need))
    if any(verdict.out for _, verdict in called):
        guarded = Outcome.OUT
    elif called and enough:
        within = all(verdict.within for _, verdict in called)
        guarded = Outcome.WITHIN if within else Outcome.CLOSE
    if any(verdict.over for _, verdict in called):
        as_read = Outcome.OUT
    elif called and enough:
        as_read = Outcome.WITHIN
    worst = max(called, key=lambda pair: pair[1].excess_mm.max(), default=None)
    nearest = max(called, key=lambda pair: _scores(*pair).max(), default=None)
    return Finding(
        zone=piece.name,
        rule=rule,
        outcome=guarded,
        as_read=as_read,
        worst=_placement(piece, rule, worst[0], worst[1].largest) if worst else None,
        guard_mm=worst[1].factor * float(worst[0].evidence.u_mm[worst[1].largest])
        if worst
        else 0.0,
        placements=sum(len(look.evidence.value_mm) for look in seen),
        reach_ratio=reach,
        pitch_mm=need,
        have_mm=float(np.median(finite)) if finite.size else math.inf,
        longest_bar_mm=max(float(look.evidence.span_mm.max(initial=0.0)) for look in seen),
        left_open=sum(len(look.left_open.value_mm) for look in seen),
        joined=not len(piece.rivals),
        settle=_settle(piece, rule, *nearest) if nearest and guarded is Outcome.CLOSE else None,
        reach=where,
    )


def hides(where: Reach, need_mm: float) -> bool:
    """Whether a dip as wide as the bar could lie where a rule could not judge.

    It could where such floor lies over a third of the bar from what was judged: that ends some way
    beyond the last reading, so the floor without readings is then as wide as the bar is long.
    """
    return blind_mm(where) > need_mm * 4 / 3  # the usual need is a quarter of the bar


def reach_of(piece: Part, rule: Rule, bars: Laid) -> tuple[float, Reach | None]:
    """What share of a part a rule could judge, that of each plane by its area, and where.

    Whatever its limit: by what was measured, one at least, and the spacing that it needs.
    """
    said = bars[0][1].reach_ratio
    if said is not None:
        return said, None
    need_mm = pitch_for(rule)
    found = [_face_reach(piece, *one, need_mm) for one in bars]
    sizes = [_size(face) for face, _, _ in bars]
    whole = sum(sizes)
    if looks_at(rule.measure) == "plane":
        room = piece.view.surface.room
        for ring in piece.bare:
            bare = replace(room, zone=ring)
            points = spread(bare)
            whole += abs(ring_area(np.array(ring.corners_mm)))
            found.append(_judged(bare, points, np.zeros(len(points), bool)))
    share = sum(
        size * float(np.mean(one.judged)) if len(one.judged) else 0.0
        for one, size in zip(found, sizes, strict=False)
    )
    where = Reach(
        np.concatenate([one.places_mm for one in found]),
        np.concatenate([one.cells_mm for one in found]),
        np.concatenate([one.judged for one in found]),
    )
    return share / whole, where


def _size(face: Face) -> float:
    room = face.view.surface.room
    return abs(ring_area(np.array((room.zone or room.outline).corners_mm)))


def _face_reach(
    piece: Part, face: Face, evidence: Evidence, left_open: Evidence, need_mm: float
) -> Reach:
    """Where on a plane the rule could judge, by points spread over it.

    A point counts when a judged station is no farther than on a grid of the needed step, and no
    station is that near whose gap under some bar the readings leave open: true rows and columns
    say nothing of a twist, which lies under the diagonals. Judged is a station that bars cover,
    with readings close enough beneath them, in as many directions as the measure asks for.
    """
    floor = face.view.surface
    close = evidence.pitch_mm <= need_mm * 1.01 + EDGE_MM
    n = len(floor.xy_mm)
    seen = np.zeros(n, dtype=np.int64)
    for direction in np.unique(evidence.direction[close]):
        rows = close & (evidence.direction == direction)
        covered = np.zeros(n, dtype=bool)
        covered[evidence.stations[rows].ravel()] = True
        seen += covered
    judged = floor.xy_mm[seen >= evidence.directions]
    points = spread(floor.room)
    if len(piece.rivals) and len(points):
        nearest, _ = cKDTree(floor.xy_mm).query(points)
        points = points[nearest <= cKDTree(piece.rivals).query(points)[0]]
    near_mm = need_mm * 1.01 / math.sqrt(2) + EDGE_MM
    could = np.zeros(len(points), dtype=bool)
    if len(judged) and len(points):
        could = cKDTree(judged).query(points)[0] <= near_mm
        blind = floor.xy_mm[np.unique(left_open.stations[:, 1])]
        if len(blind):
            could &= cKDTree(blind).query(points)[0] > near_mm
    return _judged(floor.room, points, could)


def _judged(room: Room, points: Floats, could: Mask) -> Reach:
    cell = cell_of(room)
    return Reach(points + (0.5 - OFF) * cell, np.tile(cell, (len(points), 1)), could)


def _placement(piece: Part, rule: Rule, look: Look, row: int) -> Placement:
    evidence, xy = look.evidence, look.face.view.surface.xy_mm
    start, at, end = (place_of(xy[i]) for i in evidence.stations[row])
    span = float(evidence.span_mm[row])
    return Placement(
        value_mm=float(evidence.value_mm[row]),
        u_mm=float(evidence.u_mm[row]),
        limit_mm=float(limit_at(rule.limit, np.array(span))),
        span_mm=span,
        at=at,
        start=start,
        end=end,
        stations=tuple(int(piece.stations[look.face.stations[i]]) for i in evidence.stations[row]),
        face=look.face.name,
    )


def _scores(look: Look, called: Call) -> Floats:
    """How far over its limit each value is, in units of its uncertainty (K,)."""
    scores: Floats = called.excess_mm / look.evidence.u_mm
    return scores


def _settle(piece: Part, rule: Rule, look: Look, called: Call) -> Settle:
    """What would decide a value too close to its limit: all noise smaller by the same share.

    Over the limit but not surely: score q' must grow to the factor q. Below it but not surely:
    the score must fall to -1.645. Both scale with 1/u, and u with 1/√repeats.
    """
    score = _scores(look, called)
    top = float(score.max())
    share = top / called.factor if called.over else -top / CLEAR
    share = min(max(share, 1e-3), 1.0)
    close = np.flatnonzero(score > -CLEAR)
    places: list[Placement] = []
    for row in close[np.argsort(-score[close])]:
        spot = _placement(piece, rule, look, int(row))
        apart = min((math.dist(spot.at, other.at) for other in places), default=math.inf)
        if apart > max(spot.span_mm / 2, 4 * EDGE_MM):
            places.append(spot)
        if len(places) == PLACES:
            break
    return Settle(share, tuple(places))
