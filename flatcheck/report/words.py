"""What is said of a verdict, in the person's units: the sentences that every face shows."""

import math

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.instrument import fine
from flatcheck.intent import Intent, band, departures, fit
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.language import say
from flatcheck.lippage import LippageVerdict
from flatcheck.misread import IGNORED
from flatcheck.parts import Part
from flatcheck.places import where
from flatcheck.report.advice import bar_length, close_enough, settle_words, unread_words
from flatcheck.report.falls import SHOWN, not_read, worst_fall
from flatcheck.report.reach import WHOLE, blind_words
from flatcheck.room import Room
from flatcheck.rules import Citation, Grade, grade_of
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, Style, format_area, format_distance, format_length
from flatcheck.verdict import Finding, Outcome, Placement, Spot, Verdict, chosen


def headline(assessment: Assessment) -> str:
    """The verdict in one line."""
    verdict, tile = assessment.verdict, assessment.survey.tile
    outcome, title = say(verdict.outcome).upper(), assessment.survey.title
    if not tile:
        return f"{outcome}: {title}"
    size = tile_size(tile, assessment.survey.show)
    return say("{outcome} for {size} tile: {title}", outcome=outcome, size=size, title=title)


def beside(verdict: Verdict | LippageVerdict) -> str:
    """The outcome under the other decision rule, which is always worked out too."""
    return beside_of(verdict.decision, verdict.guarded, verdict.as_read)


def beside_of(decision: str, guarded: Outcome, as_read: Outcome) -> str:
    """Of two outcomes the one that the person did not ask for."""
    if decision == "as read":
        return say("Allowing for reading error it would be: {outcome}.", outcome=say(guarded))
    return say("Taken as read, at face value, it would be: {outcome}.", outcome=say(as_read))


def titles(verdict: Verdict) -> list[str]:
    """The standards that were asked, each with its grade."""
    named = [f"{verdict.standard}:{verdict.grade}"] if verdict.grade else []
    found = [grade_of(name) for name in (*named, *verdict.falls)]
    return [f"{standard.title} - {grade.title}" for standard, grade in found]


_SURE = {
    "single source": say("This number was seen in one page only."),
    "from memory": say(
        "This number is from memory, seen in no page: look it up in {document} before you rely on "
        "it."
    ),
    "common practice, no source": say("This number is common practice; no document seen gives it."),
}
"""What is said of a number that pages do not agree on."""


def sure_words(citation: Citation) -> list[str]:
    """How far a rule's number can be relied on; nothing where pages agree on it."""
    said = _SURE.get(citation.certainty)
    return [said.format(document=citation.document)] if said else []


def disputes(verdict: Verdict) -> list[str]:
    """Where sources disagree about the rules that were asked, and which grades have them so."""
    named = [f"{verdict.standard}:{verdict.grade}"] if verdict.grade else []
    grades = [grade_of(name)[1] for name in (*named, *verdict.falls)]
    return list(dict.fromkeys(disputed_words(grade) for grade in grades if grade.disputed))


def disputed_words(grade: Grade) -> str:
    """That sources disagree about a grade."""
    return say("Sources disagree. {words}", words=grade.disputed)


def outcome_of(finding: Finding, decision: str) -> Outcome:
    """A finding's outcome under the person's decision rule."""
    return chosen(decision, finding.outcome, finding.as_read)


def explain(finding: Finding, assessment: Assessment) -> list[str]:
    """What was found under one rule, and what would help: a few sentences."""
    style, room = assessment.survey.show, assessment.surface.room
    outcome = outcome_of(finding, assessment.verdict.decision)
    said = []
    if finding.rule.measure in SHOWN:
        return [*_explain_fall(finding, assessment), *sure_words(finding.rule.citation)]
    void = finding.worst if finding.worst and _void(finding.worst, assessment) else None
    if void:
        said.append(
            say(
                "Of the place {place} nothing is known: the readings there, or those that tie it "
                "to the rest, contradict each other. Read them again.",
                place=where(room, void.at, style),
            )
        )
    elif finding.worst:
        said.append(worst_words(finding, room, style))
    twist = finding.left_open and finding.placements
    if twist:
        said.append(
            say(
                "Of {ways:,} ways to lay the bar the readings leave {open:,} open: gaps along rows "
                "and columns do not show a twist of the {surface}. One more bar, laid on the "
                "diagonal over places already read, would.",
                ways=finding.left_open + finding.placements,
                open=finding.left_open,
                surface=say(room.about),
            )
        )
    if outcome is Outcome.NOT_ASSESSED and not (twist and close_enough(finding)):
        said.append(unread_words(finding, room, style))
    elif finding.reach_ratio < WHOLE:
        said.append(
            say(
                "The readings could judge {share:.0%} of the {surface}.",
                share=finding.reach_ratio,
                surface=say(room.about),
            )
        )
    if close_enough(finding):
        said += blind_words(finding, room, style)
    length = finding.rule.length_mm
    reach = length or 4 * finding.pitch_mm
    if outcome is Outcome.WITHIN and finding.have_mm > reach / 8:
        said.append(
            say(
                "Readings {have} apart can miss up to a third of a round dip {width} across; read "
                "closer where you doubt it.",
                have=format_distance(finding.have_mm, style),
                width=format_distance(reach, style),
            )
        )
    if length and finding.worst and finding.longest_bar_mm < length - 50:
        said.append(
            say(
                "No bar of {length} fits between the readings; the longest that does, {longest}, "
                "was used.",
                length=bar_length(length, style),
                longest=format_distance(finding.longest_bar_mm, style),
            )
        )
    if outcome is Outcome.CLOSE and finding.settle and not void:
        said.append(settle_words(finding, assessment))
    return [*said, *sure_words(finding.rule.citation)]


def _void(worst: Placement, assessment: Assessment) -> bool:
    """Whether a value rests on readings that were set aside, which have IGNORED times their u."""
    have = max(table.u_mm for table in assessment.survey.tables)
    return worst.u_mm > IGNORED / 10 * max(have, 1.0)


def _explain_fall(finding: Finding, assessment: Assessment) -> list[str]:
    """The same for a rule of fall or water."""
    style, room = assessment.survey.show, assessment.surface.room
    outcome = outcome_of(finding, assessment.verdict.decision)
    said = [worst_fall(finding, room, style)] if finding.worst else []
    if outcome is Outcome.NOT_ASSESSED:
        said.append(
            unread_words(finding, room, style) if finding.left_open else not_read(finding, style)
        )
    elif finding.reach_ratio < WHOLE:
        said.append(say("The readings could judge {share:.0%} of it.", share=finding.reach_ratio))
    if close_enough(finding):
        said += blind_words(finding, room, style)
    if outcome is Outcome.CLOSE and finding.settle:
        said.append(settle_words(finding, assessment))
    return said


def worst_words(finding: Finding, room: Room, style: Style) -> str:
    """The worst value with its uncertainty and place."""
    worst, measure = finding.worst, finding.rule.measure
    assert worst is not None  # asked for only where a bar was laid
    sure = fine(2 * worst.u_mm, style)
    if measure in _NONE and worst.value_mm <= 0:
        return _NONE[measure][finding.left_open > 0].format(sure=sure)
    value, limit = against(abs(worst.value_mm), worst.limit_mm, style)
    if measure not in _NONE:
        value = f"{value} {side_word(worst.value_mm < 0, room)}"
    return _WORST.get(measure, _DEPARTS).format(
        value=value,
        sure=sure,
        limit=limit,
        place=where(room, worst.at, style),
        bar=_lies(finding, worst, room, style),
    )


_NONE = {
    "resting": (
        say("No gap at all (give or take {sure})."),
        say("No gap at all where the readings show one (give or take {sure})."),
    ),
    "plane": (
        say("No depth at all (give or take {sure})."),
        say("No depth at all where the readings show one (give or take {sure})."),
    ),
}
"""By measure: no place lies below the bar or the plane; and none of those that were read does."""

_WORST = {
    "resting": say("Worst gap {value} (give or take {sure}), limit {limit}: {place}; {bar}."),
    "plane": say("Worst depth {value} (give or take {sure}), limit {limit}: {place}; {bar}."),
    "lean": say("Worst lean {value} (give or take {sure}), limit {limit}: {place}; {bar}."),
}
_DEPARTS = say("Worst departure {value} (give or take {sure}), limit {limit}: {place}; {bar}.")


def side_word(high: bool, room: Room) -> str:
    """A high or a low of a floor; on a wall what stands proud or is hollow."""
    if room.upright:
        return say("proud") if high else say("hollow")
    return say("high") if high else say("low")


def _lies(finding: Finding, worst: Placement, room: Room, style: Style) -> str:
    """How the bar lay, or what else the value was taken from."""
    span = format_distance(worst.span_mm, style)
    if finding.rule.measure == "plane":
        return say("the high it hangs from is {span} away", span=span)
    if finding.rule.measure == "datum":
        return say("from the level midway between the highest place and the lowest")
    east, north = (abs(e - s) for s, e in zip(worst.start, worst.end, strict=True))
    way = say("on the diagonal")
    if min(east, north) <= worst.span_mm / 50:
        flat, steep = say("east-west"), say("north-south")
        if room.upright:
            flat, steep = say("level"), say("upright")
        way = flat if east > north else steep
    if finding.rule.measure == "lean":
        return say("at the end of a line of {span}, {way}, seen from its start", span=span, way=way)
    if finding.rule.measure == "neighbors":
        return say("neighbors {span} apart, {way}", span=span, way=way)
    return say("the bar lies {way} on places {span} apart", way=way, span=span)


def against(value_mm: float, limit_mm: float, style: Style) -> tuple[str, str]:
    """A value and its limit; in finer steps where the person's own would make them look equal."""
    value, limit = format_length(value_mm, style), format_length(limit_mm, style)
    if value == limit and abs(value_mm - limit_mm) > 1e-3:
        unit = LENGTH_UNITS[style.unit]
        mark = '"' if style.unit == "in" else " mm"
        return f"{value_mm / unit:.3f}{mark}", f"{limit_mm / unit:g}{mark}"
    return value, limit


def shape_words(assessment: Assessment) -> list[str]:
    """How far the floor strays from its required plane as a whole, and what a bar cannot show."""
    style = assessment.survey.show
    said = []
    room = assessment.surface.room
    surface = say(room.about)
    if room.assumed:
        east, north = np.ptp(room.outline.corners_mm, axis=0)
        said.append(
            say(
                "No room was given: this is said of the {width} by {length} that the readings "
                "span, and of nothing beyond.",
                width=format_distance(east, style),
                length=format_distance(north, style),
            )
        )
    for piece in assessment.parts:
        if any(
            finding.left_open
            for finding in assessment.verdict.findings
            if finding.zone == piece.name and finding.rule.measure in TOLD_AS_SPOTS
        ):
            continue  # what the readings leave open may be any height
        spread = max(
            band(departures(view.plane, view.surface.xy_mm, view.surface.height_mm))
            for view in (face.view for face in piece.faces)
        )
        zone = f"{piece.name}: " if len(assessment.parts) > 1 else ""
        resting = [
            finding
            for finding in assessment.verdict.findings
            if finding.zone == piece.name and finding.rule.measure == "resting" and finding.worst
        ]
        limit = max((f.worst.limit_mm for f in resting if f.worst), default=math.inf)
        crown = spread > limit and all(f.as_read is not Outcome.OUT for f in resting)
        spans = format_length(spread, style)
        if crown:
            spans, allowed = against(spread, limit, style)
        spanned = say(
            "From lowest to highest about its required plane the {surface} as read spans {span}."
        )
        if len(piece.faces) > 1:
            spanned = say(
                "From lowest to highest about its required plane the {surface} as read spans "
                "{span} at most."
            )
        said.append(zone + spanned.format(surface=surface, span=spans))
        if crown and _slope_alone(piece, limit):
            said.append(
                say(
                    "Most of that is a slope, which a bar laid on the {surface} does not show: "
                    "where it is to be level, ask a rule for level too.",
                    surface=surface,
                )
            )
        elif crown:
            said.append(
                say(
                    "That is more than the {limit} that the rule allows under a bar. A bar "
                    "resting on the high points does not show a crown: look at the map, and judge "
                    "it from the plane too.",
                    limit=allowed,
                )
            )
    return said


def _slope_alone(piece: Part, limit_mm: float) -> bool:
    """Whether a floor off its plane lies in another one, and true enough for the rule in that."""
    floor = piece.view.surface
    best = fit(Intent("best fit"), floor.xy_mm, floor.height_mm)
    return band(departures(best, floor.xy_mm, floor.height_mm)) <= limit_mm


def spot_words(spot: Spot, room: Room, style: Style) -> str:
    """One spot: high or low, how bad, where, and how large."""
    value, limit = against(spot.value_mm, spot.limit_mm, style)
    doubt = "" if spot.proven else " " + say("(may be reading error)")
    return say(
        "{side}, {value} against {limit}{doubt}; {place}; about {width} by {length}, {area}",
        side=side_word(spot.high, room),
        value=value,
        limit=limit,
        doubt=doubt,
        place=where(room, spot.at, style),
        width=format_distance(spot.extent_mm[0], style),
        length=format_distance(spot.extent_mm[1], style),
        area=format_area(spot.area_mm2, style),
    )


def tile_size(tile: Tile, style: Style) -> str:
    """A tile's edges, short one first, as 12" x 24"."""
    short, long = sorted((tile.width_mm, tile.length_mm))
    if style.unit == "mm":
        return f"{short:g} x {long:g} mm"
    return f"{format_length(short, style)} x {format_length(long, style)}"
