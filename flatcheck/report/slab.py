"""What is said of a slab: its F-numbers, what they rest on, and how wavy it is."""

import math
from typing import Any

from flatcheck.fnumber import (
    CONFIDENCE,
    F_CITATION,
    WITHIN_HOURS,
    Ask,
    Estimate,
    SectionNumbers,
    SlabVerdict,
)
from flatcheck.instrument import fine
from flatcheck.report.text import cite
from flatcheck.report.words import many
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
from flatcheck.slab import CLASS_CITATION, CLASSES, LOCAL_CITATION
from flatcheck.survey import Survey
from flatcheck.units import Style, format_area, format_distance
from flatcheck.verdict import Outcome, chosen
from flatcheck.waviness import HALVES, WI_CITATION, Waves, Waviness

LINES = 24
"""More lines than this are not read out; they are all in the record."""


def slab_words(verdict: SlabVerdict, waves: Waviness, survey: Survey) -> list[str]:
    """The numbers of a slab, whether they are what was specified, and what they rest on."""
    style = survey.show
    said = [_headline(verdict, survey)]
    if verdict.asks:
        other = (
            f"Allowing for reading error and for the floor between the lines it would be: "
            f"{verdict.guarded}."
            if survey.decision == "as read"
            else f"Taken as read, at face value, it would be: {verdict.as_read}."
        )
        said.append(other)
    said += [
        f"  {ask_words(ask, chosen(survey.decision, ask.outcome, ask.as_read))}"
        for ask in verdict.asks
    ]
    said.append(f"Flatness: {_estimate('FF', verdict.ff)}")
    said.append(f"Levelness: {_estimate('FL', verdict.fl)}")
    if not verdict.levelness:
        said.append("The floor is meant to fall: FL says nothing of it, and it is not judged.")
    said += _trust(verdict)
    if not verdict.specified:
        said.append(_reached(verdict))
    for numbers in verdict.sections:
        said += _section(numbers, len(verdict.sections) > 1, style)
    said += waves_words(waves, style)
    said.append(
        f"FF and FL are of the slab within {WITHIN_HOURS} hours of its placing; later it curls. "
        "They say how the concrete was struck off, not whether this tile may be set on it: for "
        "that the floor is checked by the rule for the tile."
    )
    said.append(
        "Lines are combined by readings (1/F² is the mean of their 1/F²), sections by area (F is "
        f"the mean of their F). All readings in one heap would give FF {_f(verdict.pooled[0])} and "
        f"FL {_f(verdict.pooled[1])}."
    )
    cited = [F_CITATION]
    if verdict.specified is None or verdict.specified.named:
        cited.append(CLASS_CITATION)
    if len(verdict.sections) > 1 and verdict.specified:
        cited.append(LOCAL_CITATION)
    return [*said, *(cite(one) for one in (*cited, WI_CITATION)), _line_rules(verdict)]


def ask_words(ask: Ask, outcome: Outcome) -> str:
    """One number against what was asked for."""
    where = f"[{ask.section}] " if ask.section else ""
    local = " of any section" if ask.section else " overall"
    found = "no line to read it from" if math.isnan(ask.value) else f"{ask.kind} {_f(ask.value)}"
    return f"{outcome.upper()}: {where}{found}; {ask.kind} {ask.least:g} is asked{local}."


def waves_words(found: Waviness, style: Style) -> list[str]:
    """The waviness index, by chord and by section."""
    said = [
        f"Waviness index {fine(found.whole.index_mm, style)} (from memory of ASTM E1486): "
        f"{_chords(found.whole, style)}."
    ]
    if len(found.sections) > 1:
        said += [
            f"  [{section.name}] waviness index {fine(own.index_mm, style)}"
            for section, own in found.sections
        ]
    return said


def slab_record(verdict: SlabVerdict, waves: Waviness, survey: Survey) -> dict[str, Any]:
    """The numbers as plain data, lengths in millimeters; for JSON. None stands for no number."""
    asked = verdict.specified
    return {
        "title": survey.title,
        "outcome": _outcome(verdict, survey.decision) if asked else None,
        "decision": survey.decision,
        "allowing_for_reading_error": verdict.guarded if asked else None,
        "as_read": verdict.as_read if asked else None,
        "specified": [asked.ff, asked.fl, asked.named or None] if asked else None,
        "local_share": verdict.local_share,
        "ff": _record(verdict.ff),
        "fl": _record(verdict.fl),
        "levelness_applies": verdict.levelness,
        "reading_error_alone": [_number(verdict.error_ff), _number(verdict.error_fl)],
        "all_readings_in_one_heap": [_number(one) for one in verdict.pooled],
        "asks": [
            {
                "section": ask.section or None,
                "number": ask.kind,
                "value": _number(ask.value),
                "least": ask.least,
                "allowing_for_reading_error": ask.outcome,
                "as_read": ask.as_read,
            }
            for ask in verdict.asks
        ],
        "sections": [
            {
                "name": one.section.name,
                "area_m2": round(one.section.area_mm2 / 1e6, 4),
                "read_as_the_method_asks": one.section.proper,
                "ff": _record(one.ff) if one.ff else None,
                "fl": _record(one.fl) if one.fl else None,
                "rules": [
                    {
                        "rule": check.rule,
                        "kept": check.kept,
                        "said": check_words(check, one.section, survey.show),
                        "certainty": LINE_RULES[check.rule].certainty,
                    }
                    for check in one.section.checks
                ],
                "lines": [
                    {
                        "name": line.run.name,
                        "from_mm": [round(v, 1) for v in line.run.start],
                        "to_mm": [round(v, 1) for v in line.run.end],
                        "step_mm": line.run.step_mm,
                        "readings": len(line.run.stations),
                        "ff": _number(line.ff),
                        "fl": _number(line.fl),
                        "q_mm": [round(float(v), 4) for v in line.q_mm],
                        "z_mm": [round(float(v), 4) for v in line.z_mm],
                    }
                    for line in one.lines
                ],
            }
            for one in verdict.sections
        ],
        "waviness_mm": {
            "index": round(waves.whole.index_mm, 4),
            "chords": [round(2 * half * STEPS_MM[0], 1) for half in HALVES],
            "rms": [round(rms, 4) for rms in waves.whole.rms_mm],
            "counts": list(waves.whole.counts),
            "lines": [
                {"section": section, "line": name, "index": round(own.index_mm, 4)}
                for section, name, own in waves.lines
            ],
            "certainty": WI_CITATION.certainty,
        },
        "set_aside_as_misread": [suspect.observation.where for suspect in verdict.suspects],
    }


def check_words(check: Check, section: Section, style: Style) -> str:
    """What was found under one rule for lines."""

    def long(mm: float) -> str:
        return format_distance(mm, style)

    has, asks = check.has, check.asks
    if check.rule == "spacing":
        if not section.runs:
            return "No line of readings 12 in or 300 mm apart lies in it."
        if has == STEPS_MM[0]:
            return "Readings every 12 in along its lines."
        return (
            "Readings every 300 mm: the numbers are worked out in inches as if the steps were "
            "12 in, and come out up to 3% better than on 12 in."
        )
    if check.rule == "count":
        return f"Its shortest line has {has:.0f} readings; at least {FEWEST} are asked for."
    if check.rule == "least":
        return f"{has:.0f} differences over ten steps; at least {asks:.0f} are asked for."
    if check.rule == "apart":
        if math.isinf(has):
            return "No two of its lines lie side by side."
        return f"Lines side by side are {long(has)} apart; at least {long(asks)} is asked for."
    if check.rule == "edge":
        return _edge(check, section, style)
    if check.rule == "narrow":
        return (
            f"It is narrower than {long(NARROW_MM)}: {has:.0f} of {asks:.0f} lines run at 45 "
            "degrees to its longest side and not from corner to corner; all are to."
        )
    if check.rule == "wide":
        return (
            f"Lines along and across its longest side are to be of equal length, and no others; "
            f"the shorter of both adds up to {long(has)}, the longer to {long(asks)} ({ALIKE:.0%} "
            "is let pass)."
        )
    if check.rule == "joint":
        if not has:
            return "The survey tells of no joint; write each as [[joint]], from and to."
        return f"No line crosses {'the joint' if has == 1 else f'any of the {has:.0f} joints'}."
    return (
        f"It has {format_area(has, style)} and is {long(section.width_mm)} wide; "
        f"{format_area(LEAST_AREA_MM2, style)} and {long(LEAST_WIDTH_MM)} may be asked for."
    )


def _edge(check: Check, section: Section, style: Style) -> str:
    keep = format_distance(EDGE_MM, style)
    if check.kept is None:
        return (
            f"The survey gives no outline: whether its readings keep {keep} clear of the edges is "
            "not told. Write [room] or [[section]] with an outline."
        )
    if section.waived:
        return (
            f"{keep} along the edges is {1 - section.kept_ratio:.0%} of it, so that they are read "
            "too."
        )
    out = f"; {many(section.left_out, 'nearer reading')} left out" if section.left_out else ""
    return f"Its readings keep {keep} clear of edges, cutouts and joints{out}."


def _headline(verdict: SlabVerdict, survey: Survey) -> str:
    asked = verdict.specified
    if asked is None:
        return f"FF {_f(verdict.ff.value)}, FL {_f(verdict.fl.value)}: {survey.title}"
    named = f" ({asked.named})" if asked.named else ""
    return (
        f"{_outcome(verdict, survey.decision).upper()} as FF {asked.ff:g} / FL {asked.fl:g}"
        f"{named}: {survey.title}"
    )


def _outcome(verdict: SlabVerdict, decision: str) -> Outcome:
    return chosen(decision, verdict.guarded, verdict.as_read)


def _estimate(kind: str, number: Estimate) -> str:
    if math.isinf(number.value):
        return f"{kind} beyond any number: the lines as read are straight."
    said = f"{kind} {_f(number.value)} from {number.readings:,} values. "
    if number.low is None or number.high is None:
        said += "With one line in a section nothing tells how far it can be trusted; "
    else:
        said += (
            f"Other lines on the same floor would put it between {_f(number.low)} and "
            f"{_f(number.high)} ({CONFIDENCE:.0%}, by drawing its lines again); "
        )
    return said + (
        f"the approximate formula, which takes every value as independent, says {_f(number.near)} "
        f"to {_f(number.far)}."
    )


def _trust(verdict: SlabVerdict) -> list[str]:
    """What the instrument does to the numbers."""
    said = [
        f"Reading error alone would read as FF {_f(verdict.error_ff)} and FL "
        f"{_f(verdict.error_fl)} on a perfect floor"
    ]
    if verdict.ff.freed > 1.05 * verdict.ff.value or verdict.fl.freed > 1.05 * verdict.fl.value:
        said[0] += (
            f"; without it this floor would come to about FF {_f(verdict.ff.freed)} and FL "
            f"{_f(verdict.fl.freed)}"
        )
    said[0] += "."
    if verdict.suspects:
        said.append(
            "Set aside because they do not fit the others: "
            f"{', '.join(suspect.observation.where for suspect in verdict.suspects)}."
        )
    return said


def _reached(verdict: SlabVerdict) -> str:
    """The highest class that both numbers reach at face value."""
    reached = [
        name
        for name, (ff, fl) in CLASSES.items()
        if verdict.ff.value >= ff and (verdict.fl.value >= fl or not verdict.levelness)
    ]
    if not reached:
        return "At face value it reaches no class of ACI 117."
    return f'At face value it reaches the class "{reached[-1]}" of ACI 117, overall.'


def _section(numbers: SectionNumbers, several: bool, style: Style) -> list[str]:
    section = numbers.section
    named = f"{section.name}, {format_area(section.area_mm2, style)}"
    said = [f"{named}:"]
    if several and numbers.ff and numbers.fl:
        said = [f"{named}: FF {_f(numbers.ff.value)}, FL {_f(numbers.fl.value)}."]
    for check in section.checks:
        ends = {True: "kept", False: "NOT KEPT", None: "NOT TOLD"}[check.kept]
        certainty = LINE_RULES[check.rule].certainty
        sure = f" ({certainty})" if certainty != "agreed" else ""
        said.append(f"  {ends}: {check_words(check, section, style)}{sure}")
    for count, words in (
        (section.short, f"with fewer than {FEWEST} readings in a row left out"),
        (section.close, "left out as too near to another"),
        (section.uneven, "left out, as its step is neither 12 in nor 300 mm"),
    ):
        if count:
            said.append(f"  {many(count, 'line or piece of one')} {words}.")
    width = max((len(line.run.name) for line in numbers.lines), default=0)
    said += [
        f"  {line.run.name:<{width}}   FF {_f(line.ff):>6}   FL {_f(line.fl):>6}   "
        f"{len(line.run.stations):>3} readings"
        for line in numbers.lines[:LINES]
    ]
    if len(numbers.lines) > LINES:
        said.append(f"  and {many(len(numbers.lines) - LINES, 'more line')} (see --json)")
    return said


def _line_rules(verdict: SlabVerdict) -> str:
    """The rules for lines that were held against any section, and how sure we are of each."""
    rules = dict.fromkeys(c.rule for one in verdict.sections for c in one.section.checks)
    cited = [LINE_RULES[rule] for rule in rules]
    each = "; ".join(f"{one.clause} ({one.source}: {one.certainty})" for one in cited)
    notes = " ".join(one.note for one in cited if one.note)
    return f"Rules for lines: {cited[0].document}, {cited[0].edition}: {each}. {notes}"


def _chords(found: Waves, style: Style) -> str:
    """The deviations by chord, in words."""
    return ", ".join(
        f"{fine(rms, style)} over {2 * half} ft"
        for half, rms, count in zip(HALVES, found.rms_mm, found.counts, strict=True)
        if count
    )


def _f(value: float) -> str:
    """An F-number, to a tenth; nobody reads more of one."""
    return f"{value:.1f}" if value < 1000 else "over 1000"


def _number(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def _record(number: Estimate) -> dict[str, Any]:
    return {
        "value": _number(number.value),
        "values": number.readings,
        "by_lines": None
        if number.low is None or number.high is None
        else [_number(number.low), _number(number.high)],
        "approximate": [_number(number.near), _number(number.far)],
        "without_reading_error": _number(number.freed),
    }
