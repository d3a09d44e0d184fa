"""What is said of a verdict, in the person's units: the sentences that every face shows."""

import math

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.instrument import fine
from flatcheck.intent import Intent, band, departures, fit
from flatcheck.judgment import REACH, TOLD_AS_SPOTS
from flatcheck.lippage import LippageVerdict
from flatcheck.misread import IGNORED
from flatcheck.parts import Part
from flatcheck.places import where
from flatcheck.planning import MOST_REPEATS
from flatcheck.report.falls import SHOWN, not_read, worst_fall
from flatcheck.report.reach import WHOLE, blind_words
from flatcheck.room import Room
from flatcheck.rules import Citation, Grade, grade_of
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, Style, format_area, format_distance, format_length
from flatcheck.verdict import Finding, Outcome, Placement, Spot, Verdict, chosen

TRUE = ("lean", "datum")
"""Measures that compare with a level or a plumb that the intent asks for."""


def headline(assessment: Assessment) -> str:
    """The verdict in one line."""
    verdict, tile = assessment.verdict, assessment.survey.tile
    carried = f" for {tile_size(tile, assessment.survey.show)} tile" if tile else ""
    return f"{verdict.outcome.upper()}{carried}: {assessment.survey.title}"


def beside(verdict: Verdict | LippageVerdict) -> str:
    """The outcome under the other decision rule, which is always worked out too."""
    return beside_of(verdict.decision, verdict.guarded, verdict.as_read)


def beside_of(decision: str, guarded: Outcome, as_read: Outcome) -> str:
    """Of two outcomes the one that the person did not ask for."""
    if decision == "as read":
        return f"Allowing for reading error it would be: {guarded}."
    return f"Taken as read, at face value, it would be: {as_read}."


def titles(verdict: Verdict) -> list[str]:
    """The standards that were asked, each with its grade."""
    named = [f"{verdict.standard}:{verdict.grade}"] if verdict.grade else []
    found = [grade_of(name) for name in (*named, *verdict.falls)]
    return [f"{standard.title} - {grade.title}" for standard, grade in found]


_SURE = {
    "single source": "This number was seen in one page only.",
    "from memory": "This number is from memory, seen in no page: look it up in {document} before "
    "you rely on it.",
    "common practice, no source": "This number is common practice; no document seen gives it.",
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
    return f"Sources disagree. {grade.disputed}"


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
            f"Of the place {where(room, void.at, style)} nothing is known: the readings there, or "
            "those that tie it to the rest, contradict each other. Read them again."
        )
    elif finding.worst:
        said.append(worst_words(finding, room, style))
    twist = finding.left_open and finding.placements
    if twist:
        said.append(
            f"Of {finding.left_open + finding.placements:,} ways to lay the bar the readings leave "
            f"{finding.left_open:,} open: gaps along rows and columns do not show a twist of the "
            f"{room.about}. One more bar, laid on the diagonal over places already read, would."
        )
    if outcome is Outcome.NOT_ASSESSED and not (twist and close_enough(finding)):
        said.append(_not_assessed(finding, room, style))
    elif finding.reach_ratio < WHOLE:
        said.append(f"The readings could judge {finding.reach_ratio:.0%} of the {room.about}.")
    if close_enough(finding):
        said += blind_words(finding, room, style)
    length = finding.rule.length_mm
    reach = length or 4 * finding.pitch_mm
    if outcome is Outcome.WITHIN and finding.have_mm > reach / 8:
        said.append(
            f"Readings {format_distance(finding.have_mm, style)} apart can miss up to a third of "
            f"a round dip {format_distance(reach, style)} across; read closer where you doubt it."
        )
    if length and finding.worst and finding.longest_bar_mm < length - 50:
        said.append(
            f"No bar of {bar_length(length, style)} fits between the readings; the longest that "
            f"does, {format_distance(finding.longest_bar_mm, style)}, was used."
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
            _not_assessed(finding, room, style) if finding.left_open else not_read(finding, style)
        )
    elif finding.reach_ratio < WHOLE:
        said.append(f"The readings could judge {finding.reach_ratio:.0%} of it.")
    if close_enough(finding):
        said += blind_words(finding, room, style)
    if outcome is Outcome.CLOSE and finding.settle:
        said.append(settle_words(finding, assessment))
    return said


def worst_words(finding: Finding, room: Room, style: Style) -> str:
    """The worst value with its uncertainty and place."""
    worst = finding.worst
    assert worst is not None  # asked for only where a bar was laid
    kind = {"resting": "gap", "plane": "depth"}.get(finding.rule.measure)
    if kind and worst.value_mm <= 0:
        shown = " where the readings show one" if finding.left_open else ""
        return f"No {kind} at all{shown} (give or take {fine(2 * worst.u_mm, style)})."
    value, limit = against(abs(worst.value_mm), worst.limit_mm, style)
    if not kind:
        kind, value = "departure", f"{value} {side_word(worst.value_mm < 0, room)}"
    if finding.rule.measure == "lean":
        kind = "lean"
    return (
        f"Worst {kind} {value} (give or take {fine(2 * worst.u_mm, style)}), limit {limit}: "
        f"{where(room, worst.at, style)}; {_lies(finding, worst, room, style)}."
    )


def side_word(high: bool, room: Room) -> str:
    """A high or a low of a floor; on a wall what stands proud or is hollow."""
    return (("hollow", "proud") if room.upright else ("low", "high"))[high]


def _lies(finding: Finding, worst: Placement, room: Room, style: Style) -> str:
    """How the bar lay, or what else the value was taken from."""
    span = format_distance(worst.span_mm, style)
    if finding.rule.measure == "plane":
        return f"the high it hangs from is {span} away"
    if finding.rule.measure == "datum":
        return "from the level midway between the highest place and the lowest"
    east, north = (abs(e - s) for s, e in zip(worst.start, worst.end, strict=True))
    way = "on the diagonal"
    if min(east, north) <= worst.span_mm / 50:
        ways = ("level", "upright") if room.upright else ("east-west", "north-south")
        way = ways[0] if east > north else ways[1]
    if finding.rule.measure == "lean":
        return f"at the end of a line of {span}, {way}, seen from its start"
    if finding.rule.measure == "neighbors":
        return f"neighbors {span} apart, {way}"
    return f"the bar lies {way} on places {span} apart"


def against(value_mm: float, limit_mm: float, style: Style) -> tuple[str, str]:
    """A value and its limit; in finer steps where the person's own would make them look equal."""
    value, limit = format_length(value_mm, style), format_length(limit_mm, style)
    if value == limit and abs(value_mm - limit_mm) > 1e-3:
        unit = LENGTH_UNITS[style.unit]
        mark = '"' if style.unit == "in" else " mm"
        return f"{value_mm / unit:.3f}{mark}", f"{limit_mm / unit:g}{mark}"
    return value, limit


def bar_length(mm: float, style: Style) -> str:
    """The length of a bar as it is called: 10', 2 m; a metric bar stays metric."""
    return f"{mm / 1000:g} m" if mm % 100 == 0 else format_distance(mm, style)


def close_enough(finding: Finding) -> bool:
    """Whether the readings lie as close to each other as the rule needs."""
    return finding.have_mm <= finding.pitch_mm * 1.01 + 1


def _not_assessed(finding: Finding, room: Room, style: Style) -> str:
    need = format_distance(finding.pitch_mm, style)
    if finding.rule.measure in TRUE and not finding.placements + finding.left_open:
        return (
            'A wall is judged for plumb where that is asked: say kind = "plumb" in its [intent].'
            if room.upright
            else 'A floor is judged for level where that is asked: say kind = "level", or a fall, '
            "in its [intent]."
        )
    if finding.left_open and not finding.placements:
        return (
            f"The readings leave the slope of the {room.about} open: gaps under a bar fix neither "
            "height nor tilt. Add laser readings, or level tilts in two directions."
        )
    if not finding.joined and finding.reach_ratio >= REACH:
        return (
            f"Nothing shows the step from here to the next piece of the {room.about}; read a place "
            "of each from one setup, or lay a bar across."
        )
    if not math.isfinite(finding.have_mm):
        return f"The readings lie in one line; read a grid with a reading every {need}."
    if not close_enough(finding):
        return (
            f"Readings {format_distance(finding.have_mm, style)} apart cannot show this; it takes "
            f"a reading every {need} or closer, in two directions."
        )
    if finding.reach_ratio >= REACH:
        return (
            f"One part of the {room.about} that could not be judged is wide enough to hide a dip; "
            f"read it every {need} or closer."
        )
    return (
        f"Only {finding.reach_ratio:.0%} of the {room.about} could be judged in two directions; "
        f"read the rest every {need} or closer."
    )


def shape_words(assessment: Assessment) -> list[str]:
    """How far the floor strays from its required plane as a whole, and what a bar cannot show."""
    style = assessment.survey.show
    said = []
    room = assessment.surface.room
    if room.assumed:
        east, north = np.ptp(room.outline.corners_mm, axis=0)
        said.append(
            f"No room was given: this is said of the {format_distance(east, style)} by "
            f"{format_distance(north, style)} that the readings span, and of nothing beyond."
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
        said.append(
            f"{zone}From lowest to highest about its required plane the "
            f"{assessment.surface.room.about} as read spans "
            f"{spans}{' at most' if len(piece.faces) > 1 else ''}."
        )
        if crown and _slope_alone(piece, limit):
            said.append(
                f"Most of that is a slope, which a bar laid on the {assessment.surface.room.about} "
                "does not show: where it is to be level, ask a rule for level too."
            )
        elif crown:
            said.append(
                f"That is more than the {allowed} that the rule allows under a bar. A bar resting "
                "on the high points does not show a crown: look at the map, and judge it from the "
                "plane too."
            )
    return said


def _slope_alone(piece: Part, limit_mm: float) -> bool:
    """Whether a floor off its plane lies in another one, and true enough for the rule in that."""
    floor = piece.view.surface
    best = fit(Intent("best fit"), floor.xy_mm, floor.height_mm)
    return band(departures(best, floor.xy_mm, floor.height_mm)) <= limit_mm


def settle_words(finding: Finding, assessment: Assessment) -> str:
    """What would settle a rule that is too close to call."""
    style, room, settle = assessment.survey.show, assessment.surface.room, finding.settle
    assert settle is not None  # asked for only where it is too close
    have = max(table.u_mm for table in assessment.survey.tables)
    places = "; ".join(where(room, place.at, style) for place in settle.places)
    bar = finding.rule.length_mm or finding.longest_bar_mm
    tool = f"lay a {bar_length(bar, style)} straightedge with a feeler gauge"
    if finding.rule.measure in ("fall_least", "fall_most"):
        tool = f"read a digital level of {bar_length(bar, style)}, turned end for end,"
    elif finding.rule.measure in SHOWN:
        tool = "read again, finer,"
    count = len(settle.places)
    lay = f"{tool} at {'this place' if count == 1 else f'these {count} places'}: {places}"
    # Places that were read several times already need as many times more of them.
    reads = int(np.median(assessment.adjusted.reads))
    repeats = math.ceil(reads / settle.share**2)
    if repeats > MOST_REPEATS * reads:
        return (
            f"It sits on its limit: a reading good to {fine(have, style)} will not settle it, and "
            f"repeating it hardly helps. To settle it, {lay}."
        )
    return (
        f"Your readings are good to {fine(have, style)} each. To settle it, use an instrument "
        f"good to {fine(have * settle.share, style)}, or read every place {repeats} times "
        f"{'in all ' if reads > 1 else ''}and write down each reading, or {lay}."
    )


def spot_words(spot: Spot, room: Room, style: Style) -> str:
    """One spot: high or low, how bad, where, and how large."""
    sure = "" if spot.proven else " (may be reading error)"
    value, limit = against(spot.value_mm, spot.limit_mm, style)
    return (
        f"{side_word(spot.high, room)}, {value} against {limit}{sure}; "
        f"{where(room, spot.at, style)}; about "
        f"{format_distance(spot.extent_mm[0], style)} by "
        f"{format_distance(spot.extent_mm[1], style)}, {format_area(spot.area_mm2, style)}"
    )


def many(count: int, noun: str) -> str:
    """So many of a thing, the noun in its right number."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def tile_size(tile: Tile, style: Style) -> str:
    """A tile's edges, short one first, as 12" x 24"."""
    short, long = sorted((tile.width_mm, tile.length_mm))
    if style.unit == "mm":
        return f"{short:g} x {long:g} mm"
    return f"{format_length(short, style)} x {format_length(long, style)}"
