"""Planning the falls: the heights to screed to, before the mortar goes down.

From the outline, the drain, the heights that must not change and the least fall, this gives the
height of every corner and along every wall above the rim of the drain, and over a surveyed floor
the thickness of the mortar bed everywhere, its volume and its weight.

Two numbers are free: how high the rim stands, and how much the planes fall. A rim height fixes the
first, a height that must not change one of them, two such heights both; what is left is chosen so
that the flattest plane just falls as much as it must, and the bed is as thin as it may be.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.drain import HELD_MM, Hold
from flatcheck.errors import SurveyError
from flatcheck.facet import Falls, height_at, scaled
from flatcheck.intent import DRAINING, Intent
from flatcheck.judgment import falls_rules
from flatcheck.language import say
from flatcheck.objection import AGREES_MM, Fixed, check_bed, check_falls, unkept
from flatcheck.parts import (
    PLANNED_FALL,
    check_drains,
    check_zones,
    drain_of,
    falls_of,
    settled,
    side_names,
)
from flatcheck.room import Ring, Room, inside, onto
from flatcheck.surface import Surface, part
from flatcheck.survey import Survey
from flatcheck.thickness import Thickness, thickness_of
from flatcheck.zones import zones_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LEVEL_MM = 0.05
"""Heights along a wall that differ by less than this are one [mm]: they are said to a tenth."""


@dataclass(frozen=True)
class Mark:
    """A pencil mark on a wall: how far along it, and how high above the rim of the drain [mm].

    It is measured from the wall's corner with the wall `start`: the higher end, so that walls on
    either side of a floor are measured from the same one. `above_mm` is the top of the bed, what
    lies on it taken off.
    """

    wall: str
    start: str
    along_mm: float
    at: tuple[float, float]
    above_mm: float


@dataclass(frozen=True)
class Screed:
    """What to screed one zone to.

    `falls` are its planes with their heights above the rim of `drain`, or above its lowest corner
    where it falls to none (then this is empty). `rim_mm` is the height of the rim in
    the heights of the survey, None where nothing decides it. `least_ratio` and `most_ratio` are
    what the rules ask of the planes, zero and inf where none does. `bed` is None without readings.
    """

    zone: str
    drain: str
    falls: Falls
    rim_mm: float | None
    least_ratio: float
    most_ratio: float
    marks: tuple[Mark, ...]
    bed: Thickness | None


def limits_of(survey: Survey) -> tuple[float, float]:
    """The least and the most fall [ratio] that the survey's standards for falls ask for."""
    least, most = 0.0, math.inf
    for rule in falls_rules(survey):
        (span, limit), *_ = rule.limit.anchors
        if rule.measure == "fall_least":
            least = max(least, -limit / span)
        elif rule.measure == "fall_most":
            most = min(most, limit / span)
    return least, most


def screeds(survey: Survey, spacing_mm: float, judged: Assessment | None) -> tuple[Screed, ...]:
    """What to screed each falling zone to, with marks along its walls every `spacing_mm`.

    `judged` is the survey with its surface, where there are readings. Raises SurveyError where
    the rules and the fixed heights cannot all be met, or the bed would be too thin; the sentence
    names what is in the way and what would change it.
    """
    if survey.room is not None:
        check_drains(survey, survey.room)
        if survey.zones:
            check_zones(survey, survey.room)
    elif not survey.zones:
        raise SurveyError(say("falls are planned for a room; give its outline in survey.toml."))
    least, most = limits_of(survey)
    if least > most:
        raise SurveyError(
            say(
                "the rules ask for a fall of {least:.2%} or more and {most:.2%} or less: none "
                "does both; name other rules.",
                least=least,
                most=most,
            )
        )
    found, falling = [], []
    for name, outline, intent in zones_of(survey, survey.room):
        room = survey.room or Room(outline)
        falls = falls_of(name, outline, intent, survey.drains, room)
        if falls is None:
            continue
        falling.append(outline)
        asked = intent.fall_ratio or least or PLANNED_FALL
        unit = scaled(falls, 1 / min(facet.fall_ratio for facet in falls.facets))
        read = judged.surface if judged else None
        fall, rim, between = _solved(name, survey, unit, asked, outline, intent, read)
        floor = _zone_floor(name, judged, outline, survey.holds)
        made = scaled(unit, fall)
        check_falls(name, made, least, most, intent, between, survey.show)
        if floor is not None and rim is None:
            rim = survey.bed.least_mm - thickness_of(made, 0.0, floor, survey.bed).least_mm
        bed = None
        if floor is not None and rim is not None:
            bed = thickness_of(made, rim, floor, survey.bed)
            check_bed(name, bed, survey, outline)
        drain = ""
        if intent.kind in DRAINING:
            drain = drain_of(name, outline, intent, survey.drains).outline.name
        marks = _marks(survey, outline, made, spacing_mm)
        found.append(Screed(name, drain, made, rim, least, most, marks, bed))
    if not found:
        raise SurveyError(
            say(
                'no zone is meant to fall; give the zone that does an intent of kind "fall", '
                '"to drain" or "to channel".'
            )
        )
    for hold in survey.holds:
        if all(_meets(outline, hold) is None for outline in falling):
            raise SurveyError(
                say("{name}: the fixed height lies in no zone that falls.", name=hold.name)
            )
    return tuple(found)


def _zone_floor(
    name: str, judged: Assessment | None, outline: Ring, holds: tuple[Hold, ...]
) -> Surface | None:
    """The surveyed floor of a zone to lay a bed on, so without the readings of fixed heights.

    Raises SurveyError where its heights are left open.
    """
    if judged is None:
        return None
    own = [
        piece
        for piece in judged.parts
        if (piece.view.surface.room.zone or piece.view.surface.room.outline).corners_mm
        == outline.corners_mm
    ]
    floor = own[0].view.surface
    if len(own) > 1 or not settled(floor):
        raise SurveyError(
            say(
                "zone {zone!r}: the readings leave open how high its places lie to each other; "
                "a bed is planned over heights that hang together.",
                zone=name,
            )
        )
    xy = judged.surface.xy_mm
    sills = [int(np.argmin(np.hypot(*(xy - np.array(hold.at)).T))) for hold in holds]
    under = ~np.isin(own[0].stations, sills)
    if not under.any():
        raise SurveyError(
            say("zone {zone!r} holds no reading of the floor under the bed.", zone=name)
        )
    return part(floor, floor.room, under)[0]


def _solved(
    name: str,
    survey: Survey,
    unit: Falls,
    asked: float,
    outline: Ring,
    intent: Intent,
    floor: Surface | None,
) -> tuple[float, float | None, tuple[Fixed, Fixed] | None]:
    """The fall of the flattest plane [ratio] and the rim's height [mm], from what is fixed.

    And the two heights, the lower place first, that decided the fall where two do.
    """
    fixed = _fixed(name, survey, unit, outline, intent, floor)
    if not fixed:
        return asked, None, None
    first = fixed[0]
    apart = [one for one in fixed if abs(one.above_mm - first.above_mm) > HELD_MM]
    between = None
    fall = asked
    if apart:
        low, high = sorted((first, apart[0]), key=lambda one: one.above_mm)
        between = low, high
        fall = (high.height_mm - low.height_mm) / (high.above_mm - low.above_mm)
        if fall <= 0:
            raise SurveyError(
                say(
                    "zone {zone!r}: with {low} and {high} as they are the floor would not fall "
                    "toward the drain; lower {low}, or raise {high}.",
                    zone=name,
                    low=low.name,
                    high=high.name,
                )
            )
    rim = first.height_mm - fall * first.above_mm
    for one in fixed:
        off = one.height_mm - (rim + fall * one.above_mm)
        if abs(off) > AGREES_MM:
            raise SurveyError(unkept(name, one, first, off, survey.show))
    return fall, rim, between


def _fixed(
    name: str,
    survey: Survey,
    unit: Falls,
    outline: Ring,
    intent: Intent,
    floor: Surface | None,
) -> list[Fixed]:
    """The rim of the zone's drain and the heights that must not change, where these are given."""
    found = []
    if intent.kind in DRAINING:
        drain = drain_of(name, outline, intent, survey.drains)
        if drain.rim_mm is not None:
            middle = np.array(drain.outline.corners_mm).mean(axis=0)
            read = _read_near(floor, middle, drain.outline.name)
            rim = say("the rim of the {drain}", drain=drain.outline.name)
            found.append(Fixed(rim, 0.0, read + drain.rim_mm))
    for hold in survey.holds:
        meets = _meets(outline, hold)
        if meets is not None:
            above = float(height_at(unit, meets)[0])
            if math.isnan(above):
                raise SurveyError(
                    say("{name}: the fixed height lies on the drain.", name=hold.name)
                )
            found.append(Fixed(hold.name, above, _read_near(floor, np.array(hold.at), hold.name)))
    return found


def _meets(outline: Ring, hold: Hold) -> Floats | None:
    """Where (1, 2) a fixed height lies in a zone or at its edge; None where it is none of its."""
    place = np.array([hold.at])
    meets = place if inside(Room(outline), place)[0] else onto(outline, place)
    return meets if np.hypot(*(place - meets)[0]) <= HELD_MM else None


def _read_near(floor: Surface | None, place: Floats, name: str) -> float:
    """The surveyed height at a place that something is fixed to."""
    if floor is None:
        raise SurveyError(say("{name}: a fixed height needs readings of the floor.", name=name))
    away = np.hypot(*(floor.xy_mm - place).T)
    near = int(np.argmin(away))
    if away[near] > HELD_MM:
        raise SurveyError(
            say(
                "{name}: no reading lies within {near:.0f} mm of it; read its height.",
                name=name,
                near=HELD_MM,
            )
        )
    return float(floor.height_mm[near])


def _marks(survey: Survey, outline: Ring, made: Falls, spacing_mm: float) -> tuple[Mark, ...]:
    """Heights along every wall of the zone, from its higher corner, every `spacing_mm`."""
    if not spacing_mm >= 10:
        raise SurveyError(say("the spacing of marks along a wall must be at least 10 mm."))
    corners = np.array(made.corners)
    room = survey.room or Room(outline)
    names = side_names(room, Ring(outline.name, made.corners), line=True)
    marks = []
    for k, name in enumerate(names):
        ahead = (k + 1) % len(corners)
        p, q, start = corners[k], corners[ahead], names[k - 1]
        if made.corner_mm[ahead] > made.corner_mm[k] + LEVEL_MM:
            p, q, start = q, p, names[ahead]
        long = float(np.hypot(*(q - p)))
        steps = np.arange(0.0, long, spacing_mm)
        if len(steps) > 1 and long - steps[-1] < spacing_mm / 4:
            steps = steps[:-1]  # the corner itself is near enough
        places = np.append(steps, long)
        at = p + (q - p) * places[:, None] / long
        above = np.nan_to_num(height_at(made, at)) - survey.bed.cover_mm  # on the drain: its rim
        marks += [
            Mark(name, start, float(along), (float(x), float(y)), float(high))
            for along, (x, y), high in zip(places, at, above, strict=True)
        ]
    return tuple(marks)
