"""Why a bed cannot be screeded as asked, and what would change that, in words."""

import math
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.facet import Falls
from flatcheck.intent import Intent
from flatcheck.language import say
from flatcheck.places import wall_called
from flatcheck.room import Ring, Room, from_walls
from flatcheck.survey import Survey
from flatcheck.thickness import Thickness
from flatcheck.units import Style, format_distance

AGREES_MM = 1.5
"""Fixed heights that contradict the planes by less than this are met by them [mm].

Common practice, no source: a screed is struck off no better."""


@dataclass(frozen=True)
class Fixed:
    """A height that is given: where it stands at a fall of one in one, and in the survey [mm]."""

    name: str
    above_mm: float
    height_mm: float


def unkept(zone: str, one: Fixed, first: Fixed, off_mm: float, style: Style) -> str:
    """Why a given height cannot be kept with another: the planes come `off_mm` below it."""
    off = _said(abs(off_mm), style)
    return say(
        "zone {zone!r}: {one} cannot be kept with {other}: the planes come {off} it; change one of "
        "them, or give it a zone of its own.",
        zone=zone,
        one=one.name,
        other=first.name,
        off=say("{off} below", off=off) if off_mm > 0 else say("{off} above", off=off),
    )


def check_falls(
    zone: str,
    made: Falls,
    least: float,
    most: float,
    intent: Intent,
    between: tuple[Fixed, Fixed] | None,
    style: Style,
) -> None:
    """Every plane falls enough and none too much, or SurveyError says what would change that."""
    flat = min(made.facets, key=lambda facet: facet.fall_ratio)
    steep = max(made.facets, key=lambda facet: facet.fall_ratio)
    top = most * flat.fall_ratio / steep.fall_ratio  # more for the flattest is too much elsewhere
    if top < least * (1 - 1e-9):
        why = say(
            "zone {zone!r}: where the {flat} with its run of {run} falls {least:.2%}, the {steep} "
            "with its run of {other_run} must fall {fall:.2%}, and the rule allows {most:.2%}",
            zone=zone,
            flat=flat.name,
            run=_said(flat.run_mm, style),
            least=least,
            steep=steep.name,
            other_run=_said(steep.run_mm, style),
            fall=steep.fall_ratio * least / flat.fall_ratio,
            most=most,
        )
        if intent.kind == "to channel":
            raise SurveyError(say("{why}; let the channel reach from wall to wall.", why=why))
        run = max(made.corner_mm) / flat.fall_ratio * least / most
        raise SurveyError(
            say(
                "{why}; move the drain so that no run is shorter than about {run}, or use a "
                "channel along a wall, from wall to wall.",
                why=why,
                run=_said(math.ceil(run), style),
            )
        )
    if flat.fall_ratio < least * (1 - 1e-9):
        why = say(
            "zone {zone!r}: the {plane} would fall {fall:.2%}, and the rule asks for {least:.2%}",
            zone=zone,
            plane=flat.name,
            fall=flat.fall_ratio,
            least=least,
        )
        if between is None:
            raise SurveyError(say("{why}; leave the fall out of the intent.", why=why))
        low, high = between
        raise SurveyError(
            say(
                "{why}; lower {low} or raise {high} by {change}, or bring the drain nearer to that "
                "wall.",
                why=why,
                low=low.name,
                high=high.name,
                change=_said(_up(least - flat.fall_ratio, between), style),
            )
        )
    if steep.fall_ratio > most * (1 + 1e-9):
        why = say(
            "zone {zone!r}: the {plane} would fall {fall:.2%}, and the rule allows {most:.2%}",
            zone=zone,
            plane=steep.name,
            fall=steep.fall_ratio,
            most=most,
        )
        if between is not None:
            low, high = between
            raise SurveyError(
                say(
                    "{why}; raise {low} or lower {high} by {change}.",
                    why=why,
                    low=low.name,
                    high=high.name,
                    change=_said(_up(flat.fall_ratio - top, between), style),
                )
            )
        if least and intent.fall_ratio:
            raise SurveyError(say("{why}; leave the fall out of the intent.", why=why))
        raise SurveyError(
            say(
                "{why}; give the intent a fall of {fall:.2%} or less.",
                why=why,
                fall=math.floor(top * 1e4) / 1e4,
            )
        )


def check_bed(zone: str, bed: Thickness, survey: Survey, outline: Ring) -> None:
    """A bed is nowhere thinner than it must be, or SurveyError says where, and what would help."""
    if bed.least_mm >= survey.bed.least_mm - AGREES_MM:
        return
    tape = ", ".join(
        say("{away} from the {wall}", away=_said(away, survey.show), wall=wall_called(wall))
        for wall, away in from_walls(survey.room or Room(outline), bed.least_at)
    )
    thin = say("be {thickness} thick at its thinnest", thickness=_said(bed.least_mm, survey.show))
    if bed.least_mm < 0:
        below = _said(-bed.least_mm, survey.show)
        thin = say("end {depth} below the floor as read", depth=below)
    raise SurveyError(
        say(
            "zone {zone!r}: the bed would {thin} ({place}), and it must be {least}; raise the rim "
            "and the fixed heights by {short}, take the floor down there, or use a bed that may "
            "be thinner (its data sheet says so).",
            zone=zone,
            thin=thin,
            place=tape,
            least=_said(survey.bed.least_mm, survey.show),
            short=_said(math.ceil(survey.bed.least_mm - bed.least_mm), survey.show),
        )
    )


def _said(mm: float, style: Style) -> str:
    """A length in the person's units; in millimeters too, lest rounding spoil the advice."""
    exact = f"{mm:.0f} mm" if mm >= 100 else f"{mm:.1f}".removesuffix(".0") + " mm"
    return exact if style.unit == "mm" else f"{format_distance(mm, style)} ({exact})"


def _up(ratio: float, between: tuple[Fixed, Fixed]) -> float:
    """How far apart two given heights must come to change the fall by as much [mm], in tenths."""
    return math.ceil(10 * ratio * (between[1].above_mm - between[0].above_mm)) / 10
