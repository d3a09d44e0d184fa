"""What is said of the lines that F-numbers rest on: section by section, and rule by rule."""

import math

from flatcheck.fnumber import SectionNumbers, SlabVerdict
from flatcheck.language import say, several
from flatcheck.run import (
    ALIKE,
    EDGE_MM,
    FEWEST,
    LEAST_AREA_MM2,
    LEAST_WIDTH_MM,
    LINE_RULES,
    NARROW_MM,
    STEPS_MM,
    Check,
)
from flatcheck.runs import Section
from flatcheck.units import Style, format_area, format_distance

LINES = 24
"""More lines than this are not read out; they are all in the record."""


_KEPT = {True: say("kept"), False: say("NOT KEPT"), None: say("NOT TOLD")}


def section_words(numbers: SectionNumbers, one_of_many: bool, style: Style) -> list[str]:
    """The lines of a section, the rules that they keep, and its numbers where there are others."""
    section = numbers.section
    named = f"{section.name}, {format_area(section.area_mm2, style)}"
    said = [f"{named}:"]
    if one_of_many and numbers.ff and numbers.fl:
        ff, fl = f_number(numbers.ff.value), f_number(numbers.fl.value)
        said = [f"{named}: FF {ff}, FL {fl}."]
    for check in section.checks:
        certainty = LINE_RULES[check.rule].certainty
        sure = f" ({say(certainty)})" if certainty != "agreed" else ""
        said.append(f"  {_KEPT[check.kept]}: {check_words(check, section, style)}{sure}")
    said += [f"  {words}" for words in _left_out(section)]
    width = max((len(line.run.name) for line in numbers.lines), default=0)
    for line in numbers.lines[:LINES]:
        readings = several(len(line.run.stations), "{number:>3} reading", "{number:>3} readings")
        ff, fl = f_number(line.ff), f_number(line.fl)
        said.append(f"  {line.run.name:<{width}}   FF {ff:>6}   FL {fl:>6}   {readings}")
    if len(numbers.lines) > LINES:
        more = several(
            len(numbers.lines) - LINES,
            "and {number} more line (see --json)",
            "and {number} more lines (see --json)",
        )
        said.append(f"  {more}")
    return said


def _left_out(section: Section) -> list[str]:
    """How many lines, or pieces of one, no number rests on, and why."""
    said = []
    if section.short:
        said.append(
            several(
                section.short,
                "{number} line or piece of one with fewer than {fewest} readings in a row left "
                "out.",
                "{number} lines or pieces of one with fewer than {fewest} readings in a row left "
                "out.",
                fewest=FEWEST,
            )
        )
    if section.close:
        said.append(
            several(
                section.close,
                "{number} line or piece of one left out as too near to another.",
                "{number} lines or pieces of one left out as too near to another.",
            )
        )
    if section.uneven:
        said.append(
            several(
                section.uneven,
                "{number} line or piece of one left out, as its step is neither 12 in nor 300 mm.",
                "{number} lines or pieces of one left out, as their steps are neither 12 in nor "
                "300 mm.",
            )
        )
    return said


def check_words(check: Check, section: Section, style: Style) -> str:
    """What was found under one rule for lines."""

    def long(mm: float) -> str:
        return format_distance(mm, style)

    has, asks = check.has, check.asks
    if check.rule == "spacing":
        if not section.runs:
            return say("No line of readings 12 in or 300 mm apart lies in it.")
        if has == STEPS_MM[0]:
            return say("Readings every 12 in along its lines.")
        return say(
            "Readings every 300 mm: the numbers are worked out in inches as if the steps were "
            "12 in, and come out up to 3% better than on 12 in."
        )
    if check.rule == "count":
        return say(
            "Its shortest line has {readings:.0f} readings; at least {fewest} are asked for.",
            readings=has,
            fewest=FEWEST,
        )
    if check.rule == "least":
        return say(
            "{count:.0f} differences over ten steps; at least {fewest:.0f} are asked for.",
            count=has,
            fewest=asks,
        )
    if check.rule == "apart":
        if math.isinf(has):
            return say("No two of its lines lie side by side.")
        return say(
            "Lines side by side are {distance} apart; at least {least} is asked for.",
            distance=long(has),
            least=long(asks),
        )
    if check.rule == "edge":
        return _edge(check, section, style)
    if check.rule == "narrow":
        return say(
            "It is narrower than {width}: {count:.0f} of {lines:.0f} lines run at 45 degrees to "
            "its longest side and not from corner to corner; all are to.",
            width=long(NARROW_MM),
            count=has,
            lines=asks,
        )
    if check.rule == "wide":
        return say(
            "Lines along and across its longest side are to be of equal length, and no others; "
            "the shorter of both adds up to {shorter}, the longer to {longer} ({share:.0%} is let "
            "pass).",
            shorter=long(has),
            longer=long(asks),
            share=ALIKE,
        )
    if check.rule == "joint":
        if not has:
            return say("The survey tells of no joint; write each as [[joint]], from and to.")
        return several(
            round(has), "No line crosses the joint.", "No line crosses any of the {number} joints."
        )
    return say(
        "It has {area} and is {width} wide; {least_area} and {least_width} may be asked for.",
        area=format_area(has, style),
        width=long(section.width_mm),
        least_area=format_area(LEAST_AREA_MM2, style),
        least_width=long(LEAST_WIDTH_MM),
    )


def _edge(check: Check, section: Section, style: Style) -> str:
    keep = format_distance(EDGE_MM, style)
    if check.kept is None:
        return say(
            "The survey gives no outline: whether its readings keep {distance} clear of the edges "
            "is not told. Write [room] or [[section]] with an outline.",
            distance=keep,
        )
    if section.waived:
        return say(
            "{distance} along the edges is {share:.0%} of it, so that they are read too.",
            distance=keep,
            share=1 - section.kept_ratio,
        )
    if not section.left_out:
        return say(
            "Its readings keep {distance} clear of edges, cutouts and joints.", distance=keep
        )
    return several(
        section.left_out,
        "Its readings keep {distance} clear of edges, cutouts and joints; {number} nearer reading "
        "left out.",
        "Its readings keep {distance} clear of edges, cutouts and joints; {number} nearer "
        "readings left out.",
        distance=keep,
    )


def line_rules_words(verdict: SlabVerdict) -> str:
    """The rules for lines that were held against any section, and how sure we are of each."""
    rules = dict.fromkeys(c.rule for one in verdict.sections for c in one.section.checks)
    cited = [LINE_RULES[rule] for rule in rules]
    each = "; ".join(f"{one.clause} ({one.source}: {say(one.certainty)})" for one in cited)
    notes = " ".join(one.note for one in cited if one.note)
    said = say(
        "Rules for lines: {document}, {edition}: {clauses}.",
        document=cited[0].document,
        edition=cited[0].edition,
        clauses=each,
    )
    return f"{said} {notes}"


def f_number(value: float) -> str:
    """An F-number, to a tenth; nobody reads more of one."""
    return f"{value:.1f}" if value < 1000 else say("over 1000")
