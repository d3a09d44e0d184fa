"""What is said of a slab: its F-numbers, what they rest on, and how wavy it is."""

import math
from typing import Any

from flatcheck.fnumber import (
    CONFIDENCE,
    F_CITATION,
    WITHIN_HOURS,
    Ask,
    Estimate,
    SlabVerdict,
)
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.report.run import check_words, f_number, line_rules_words, section_words
from flatcheck.report.text import cite
from flatcheck.run import LINE_RULES, STEPS_MM
from flatcheck.slab import CLASS_CITATION, CLASSES, LOCAL_CITATION
from flatcheck.survey import Survey
from flatcheck.units import Style
from flatcheck.verdict import Outcome, chosen
from flatcheck.waviness import HALVES, WI_CITATION, Waves, Waviness


def slab_words(verdict: SlabVerdict, waves: Waviness, survey: Survey) -> list[str]:
    """The numbers of a slab, whether they are what was specified, and what they rest on."""
    style = survey.show
    said = [_headline(verdict, survey)]
    if verdict.asks:
        other = (
            say(
                "Allowing for reading error and for the floor between the lines it would be: "
                "{outcome}.",
                outcome=say(verdict.guarded),
            )
            if survey.decision == "as read"
            else say(
                "Taken as read, at face value, it would be: {outcome}.",
                outcome=say(verdict.as_read),
            )
        )
        said.append(other)
    said += [
        f"  {ask_words(ask, chosen(survey.decision, ask.outcome, ask.as_read))}"
        for ask in verdict.asks
    ]
    said.append(say("Flatness: {words}", words=_estimate("FF", verdict.ff)))
    said.append(say("Levelness: {words}", words=_estimate("FL", verdict.fl)))
    if not verdict.levelness:
        said.append(say("The floor is meant to fall: FL says nothing of it, and it is not judged."))
    said += _trust(verdict)
    if not verdict.specified:
        said.append(_reached(verdict))
    for numbers in verdict.sections:
        said += section_words(numbers, len(verdict.sections) > 1, style)
    said += waves_words(waves, style)
    said.append(
        say(
            "FF and FL are of the slab within {hours} hours of its placing; later it curls. They "
            "say how the concrete was struck off, not whether this tile may be set on it: for "
            "that the floor is checked by the rule for the tile.",
            hours=WITHIN_HOURS,
        )
    )
    said.append(
        say(
            "Lines are combined by readings (1/F² is the mean of their 1/F²), sections by area (F "
            "is the mean of their F). All readings in one heap would give FF {ff} and FL {fl}.",
            ff=f_number(verdict.pooled[0]),
            fl=f_number(verdict.pooled[1]),
        )
    )
    cited = [F_CITATION]
    if verdict.specified is None or verdict.specified.named:
        cited.append(CLASS_CITATION)
    if len(verdict.sections) > 1 and verdict.specified:
        cited.append(LOCAL_CITATION)
    return [*said, *(cite(one) for one in (*cited, WI_CITATION)), line_rules_words(verdict)]


def ask_words(ask: Ask, outcome: Outcome) -> str:
    """One number against what was asked for."""
    where = f"[{ask.section}] " if ask.section else ""
    found = f"{ask.kind} {f_number(ask.value)}"
    if math.isnan(ask.value):
        found = say("no line to read it from")
    asked = say("{number} {least:g} is asked overall")
    if ask.section:
        asked = say("{number} {least:g} is asked of any section")
    asked = asked.format(number=ask.kind, least=ask.least)
    return f"{say(outcome).upper()}: {where}{found}; {asked}."


def waves_words(found: Waviness, style: Style) -> list[str]:
    """The waviness index, by chord and by section."""
    said = [
        say(
            "Waviness index {index} (from memory of ASTM E1486): {chords}.",
            index=fine(found.whole.index_mm, style),
            chords=_chords(found.whole, style),
        )
    ]
    if len(found.sections) > 1:
        for section, own in found.sections:
            words = say("waviness index {index}", index=fine(own.index_mm, style))
            said.append(f"  [{section.name}] {words}")
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


def _headline(verdict: SlabVerdict, survey: Survey) -> str:
    asked = verdict.specified
    if asked is None:
        ff, fl = f_number(verdict.ff.value), f_number(verdict.fl.value)
        return f"FF {ff}, FL {fl}: {survey.title}"
    named = f" ({asked.named})" if asked.named else ""
    return say(
        "{outcome} as {numbers}: {title}",
        outcome=say(_outcome(verdict, survey.decision)).upper(),
        numbers=f"FF {asked.ff:g} / FL {asked.fl:g}{named}",
        title=survey.title,
    )


def _outcome(verdict: SlabVerdict, decision: str) -> Outcome:
    return chosen(decision, verdict.guarded, verdict.as_read)


def _estimate(kind: str, number: Estimate) -> str:
    if math.isinf(number.value):
        return say("{number} beyond any number: the lines as read are straight.", number=kind)
    said = several(
        number.readings,
        "{kind} {value} from {number:,} value.",
        "{kind} {value} from {number:,} values.",
        kind=kind,
        value=f_number(number.value),
    )
    near, far = f_number(number.near), f_number(number.far)
    if number.low is None or number.high is None:
        trust = say(
            "With one line in a section nothing tells how far it can be trusted; the approximate "
            "formula, which takes every value as independent, says {near} to {far}.",
            near=near,
            far=far,
        )
    else:
        trust = say(
            "Other lines on the same floor would put it between {low} and {high} "
            "({confidence:.0%}, by drawing its lines again); the approximate formula, which takes "
            "every value as independent, says {near} to {far}.",
            low=f_number(number.low),
            high=f_number(number.high),
            confidence=CONFIDENCE,
            near=near,
            far=far,
        )
    return f"{said} {trust}"


def _trust(verdict: SlabVerdict) -> list[str]:
    """What the instrument does to the numbers."""
    error = say(
        "Reading error alone would read as FF {error_ff} and FL {error_fl} on a perfect floor."
    )
    if verdict.ff.freed > 1.05 * verdict.ff.value or verdict.fl.freed > 1.05 * verdict.fl.value:
        error = say(
            "Reading error alone would read as FF {error_ff} and FL {error_fl} on a perfect "
            "floor; without it this floor would come to about FF {ff} and FL {fl}."
        )
    said = [
        error.format(
            error_ff=f_number(verdict.error_ff),
            error_fl=f_number(verdict.error_fl),
            ff=f_number(verdict.ff.freed),
            fl=f_number(verdict.fl.freed),
        )
    ]
    if verdict.suspects:
        said.append(
            say(
                "Set aside because they do not fit the others: {readings}.",
                readings=", ".join(suspect.observation.where for suspect in verdict.suspects),
            )
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
        return say("At face value it reaches no class of ACI 117.")
    return say('At face value it reaches the class "{name}" of ACI 117, overall.', name=reached[-1])


def _chords(found: Waves, style: Style) -> str:
    """The deviations by chord, in words."""
    return ", ".join(
        say("{deviation} over {length}", deviation=fine(rms, style), length=f"{2 * half} ft")
        for half, rms, count in zip(HALVES, found.rms_mm, found.counts, strict=True)
        if count
    )


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
