"""The planes of a floor that falls: the arrow and the letter of each, and the table of all."""

import math
import string
from dataclasses import dataclass
from functools import lru_cache
from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.compass import side_of
from flatcheck.facet import Facet
from flatcheck.falls import REMEMBERED, PlaneFall, plane_falls
from flatcheck.language import say
from flatcheck.parts import PLANNED_FALL
from flatcheck.report.falls import (
    HUNDREDTH,
    parts_words,
    plane_words,
    slope_words,
    spread_words,
    whole_words,
)
from flatcheck.report.words import outcome_of
from flatcheck.room import Ring
from flatcheck.ui.plan import middle_of, reach_of, size_of
from flatcheck.units import Style, format_distance
from flatcheck.verdict import Outcome, Place, place_of

LONGEST, SHORTEST = 0.24, 0.1
"""How long the arrow of the steepest plane is, as a share of the room's shorter side: between these
so that every arrow lies in its plane."""

INSIDE = 0.9
"""The share of its plane that an arrow may take."""


@dataclass(frozen=True)
class Arrow:
    """How one plane falls, to be drawn in its outline from `tail` to `head` [mm].

    As long as it falls. Tail and head are the middle where no fall is beyond reading error
    (`told` is false), or the plane was not read (`fall` is None).
    """

    letter: str
    fall: PlaneFall
    outline: Ring
    tail: Place
    head: Place
    told: bool


@lru_cache(maxsize=REMEMBERED)
def arrows_of(assessment: Assessment) -> tuple[Arrow, ...]:
    """One arrow for each plane of each zone that falls, in the order of `plane_falls`."""
    found = plane_falls(assessment)
    facets = [
        facet
        for part in assessment.parts
        if part.view.ground
        for facet in part.view.ground.falls.facets
    ]
    steepest = max(PLANNED_FALL, *(plane.fall_ratio or 0.0 for plane in found))
    size = float(size_of(assessment.surface.room.outline).min())
    fits = [
        2 * INSIDE * min(reach_of(facet.outline, plane.bearing_deg)) / plane.fall_ratio
        for plane, facet in zip(found, facets, strict=True)
        if plane.fall_ratio
    ]
    scale = max(min(fits, default=math.inf), SHORTEST * size / steepest)
    scale = min(scale, LONGEST * size / steepest)
    return tuple(
        _arrow(letter_of(number), plane, facet, scale)
        for number, (plane, facet) in enumerate(zip(found, facets, strict=True))
    )


def letter_of(number: int) -> str:
    """A, B, ... Z, AA, BB, ...: what the plane of this number is called on plan and table."""
    return string.ascii_uppercase[number % 26] * (number // 26 + 1)


def _arrow(letter: str, plane: PlaneFall, facet: Facet, scale: float) -> Arrow:
    ratio = plane.fall_ratio
    told = ratio is not None and ratio > 2 * plane.u_ratio
    turn = math.radians(plane.bearing_deg)
    middle = middle_of(facet.outline)
    half = scale * (ratio or 0.0) / 2 * np.array([math.sin(turn), math.cos(turn)]) * told
    tail, head = place_of(middle - half), place_of(middle + half)
    return Arrow(letter, plane, facet.outline, tail, head, told)


def fall_words(ratio: float, style: Style) -> tuple[str, ...]:
    """A fall short enough for a drawing, and shorter: percent, or inches to the foot."""
    if style.unit == "mm":
        return (f"{ratio:.2%}",)
    return f'{ratio * 12:.2f}"/ft', f"{ratio * 12:.2f}"


def arrow_words(arrow: Arrow, style: Style) -> tuple[str, ...]:
    """What stands beside an arrow: the letter of its plane and how much that falls, or the letter.

    The longest first.
    """
    letter, ratio = f"<b>{arrow.letter}</b>", arrow.fall.fall_ratio
    told = (say("not read"),) if ratio is None else fall_words(ratio, style)
    return *(f"{letter} {words}" for words in told), letter


HEAD = (
    say("Plane"),
    say("Meant to fall"),
    say("Longest run"),
    say("As a whole it falls"),
    say("In parts"),
    say("By the rules"),
)


def planes_table(assessment: Assessment) -> str:
    """The planes as a table, and on a narrow screen each in a sentence."""
    style = assessment.survey.show
    found = plane_falls(assessment)
    rows, said = [], []
    for number, plane in enumerate(found):
        letter, called = letter_of(number), called_words(plane, assessment)
        cells = [
            f"<b>{letter}</b> {escape(plane.called)}",
            say("to the {side}", side=side_of(plane.meant_deg)),
            escape(format_distance(plane.run_mm, style)),
            escape(_whole(plane, style)),
            parts_words(plane),
            escape(called),
        ]
        rows.append("<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>")
        ruled = say("By the rules: {outcome}.", outcome=called)
        said.append(f"<p><b>{letter}</b> {escape(plane_words(plane, style))} {escape(ruled)}</p>")
    head = "".join(f"<th>{words}</th>" for words in HEAD)
    return (
        f'<table class="wide"><tr>{head}</tr>{"".join(rows)}</table>'
        f'<div class="narrow">{"".join(said)}</div>'
    )


def _whole(plane: PlaneFall, style: Style) -> str:
    """How a plane falls as a whole, below a head that says that it falls."""
    if plane.fall_ratio is None:
        return say("too few readings")
    if plane.fall_ratio < HUNDREDTH / 2:
        return whole_words(plane, style)
    return say(
        "{fall} ({uncertainty}) to the {side}",
        fall=slope_words(plane.fall_ratio, style),
        uncertainty=spread_words(plane.u_ratio),
        side=side_of(plane.bearing_deg),
    )


def called_words(plane: PlaneFall, assessment: Assessment) -> str:
    """What the rules of fall say of one plane.

    A rule is called for a zone, by its worst plane: where that is within, all are; where it is
    not, the plane that holds the worst place has the outcome, and of the others it is said what
    was read.
    """
    said, asked = [], []
    for finding in assessment.verdict.findings:
        least = finding.rule.measure == "fall_least"
        if finding.zone != plane.zone or finding.rule.measure not in ("fall_least", "fall_most"):
            continue
        outcome, worst = outcome_of(finding, assessment.verdict.decision), finding.worst
        asked.append(outcome)
        if outcome is Outcome.WITHIN:
            continue
        if worst is None or outcome is Outcome.NOT_ASSESSED:
            said.append(say("least fall not assessed") if least else say("most fall not assessed"))
            continue
        limit = abs(worst.limit_mm) / worst.span_mm
        found = plane.least_ratio if least else plane.most_ratio
        if worst.face == plane.name:
            least_words = say(
                "{outcome} (least {limit:.2%}), the worst place of all",
                outcome=say(outcome),
                limit=limit,
            )
            most_words = say(
                "{outcome} (most {limit:.2%}), the worst place of all",
                outcome=say(outcome),
                limit=limit,
            )
            said.append(least_words if least else most_words)
        elif least and found is not None and found < limit:
            said.append(say("as read below the least {limit:.2%}", limit=limit))
        elif not least and found is not None and found > limit:
            said.append(say("as read above the most {limit:.2%}", limit=limit))
    if not asked:
        return say("no fall asked for")
    if plane.fall_ratio is None:
        return say("not read")
    if said:
        return "; ".join(said)
    return say("within") if set(asked) == {Outcome.WITHIN} else say("no part of it out as read")
