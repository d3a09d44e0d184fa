"""What would help: readings that a rule still needs, and what would settle one near its limit."""

import math

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.instrument import fine
from flatcheck.judgment import REACH
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.planning import MOST_REPEATS
from flatcheck.report.falls import SHOWN
from flatcheck.room import Room
from flatcheck.units import Style, format_distance
from flatcheck.verdict import Finding

TRUE = ("lean", "datum")
"""Measures that compare with a level or a plumb that the intent asks for."""


def bar_length(mm: float, style: Style) -> str:
    """The length of a bar as it is called: 10', 2 m; a metric bar stays metric."""
    return f"{mm / 1000:g} m" if mm % 100 == 0 else format_distance(mm, style)


def close_enough(finding: Finding) -> bool:
    """Whether the readings lie as close to each other as the rule needs."""
    return finding.have_mm <= finding.pitch_mm * 1.01 + 1


def unread_words(finding: Finding, room: Room, style: Style) -> str:
    """What to read so that a rule that could not be judged can be."""
    need = format_distance(finding.pitch_mm, style)
    if finding.rule.measure in TRUE and not finding.placements + finding.left_open:
        return (
            say(
                'A wall is judged for plumb where that is asked: say kind = "plumb" in its '
                "[intent]."
            )
            if room.upright
            else say(
                'A floor is judged for level where that is asked: say kind = "level", or a fall, '
                "in its [intent]."
            )
        )
    surface = say(room.about)
    if finding.left_open and not finding.placements:
        return say(
            "The readings leave the slope of the {surface} open: gaps under a bar fix neither "
            "height nor tilt. Add laser readings, or level tilts in two directions.",
            surface=surface,
        )
    if not finding.joined and finding.reach_ratio >= REACH:
        return say(
            "Nothing shows the step from here to the next piece of the {surface}; read a place of "
            "each from one setup, or lay a bar across.",
            surface=surface,
        )
    if not math.isfinite(finding.have_mm):
        return say(
            "The readings lie in one line; read a grid with a reading every {need}.", need=need
        )
    if not close_enough(finding):
        return say(
            "Readings {have} apart cannot show this; it takes a reading every {need} or closer, "
            "in two directions.",
            have=format_distance(finding.have_mm, style),
            need=need,
        )
    if finding.reach_ratio >= REACH:
        return say(
            "One part of the {surface} that could not be judged is wide enough to hide a dip; "
            "read it every {need} or closer.",
            surface=surface,
            need=need,
        )
    return say(
        "Only {share:.0%} of the {surface} could be judged in two directions; read the rest every "
        "{need} or closer.",
        share=finding.reach_ratio,
        surface=surface,
        need=need,
    )


def settle_words(finding: Finding, assessment: Assessment) -> str:
    """What would settle a rule that is too close to call."""
    style, room, settle = assessment.survey.show, assessment.surface.room, finding.settle
    assert settle is not None  # asked for only where it is too close
    have = max(table.u_mm for table in assessment.survey.tables)
    places = "; ".join(where(room, place.at, style) for place in settle.places)
    bar = finding.rule.length_mm or finding.longest_bar_mm
    count, length = len(settle.places), bar_length(bar, style)
    if finding.rule.measure in ("fall_least", "fall_most"):
        lay = several(
            count,
            "read a digital level of {length}, turned end for end, at this place: {places}",
            "read a digital level of {length}, turned end for end, at these {number} places: "
            "{places}",
            length=length,
            places=places,
        )
    elif finding.rule.measure in SHOWN:
        lay = several(
            count,
            "read again, finer, at this place: {places}",
            "read again, finer, at these {number} places: {places}",
            places=places,
        )
    else:
        lay = several(
            count,
            "lay a {length} straightedge with a feeler gauge at this place: {places}",
            "lay a {length} straightedge with a feeler gauge at these {number} places: {places}",
            length=length,
            places=places,
        )
    # Places that were read several times already need as many times more of them.
    reads = int(np.median(assessment.adjusted.reads))
    repeats = math.ceil(reads / settle.share**2)
    if repeats > MOST_REPEATS * reads:
        return say(
            "It sits on its limit: a reading good to {have} will not settle it, and repeating it "
            "hardly helps. To settle it, {lay}.",
            have=fine(have, style),
            lay=lay,
        )
    times = several(repeats, "{number} time", "{number} times")
    if reads > 1:
        times = several(repeats, "{number} time in all", "{number} times in all")
    return say(
        "Your readings are good to {have} each. To settle it, use an instrument good to {need}, "
        "or read every place {times} and write down each reading, or {lay}.",
        have=fine(have, style),
        need=fine(have * settle.share, style),
        times=times,
        lay=lay,
    )
