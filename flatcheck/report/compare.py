"""One survey against every standard, as a table of 80 columns and as a record."""

import math
import textwrap
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from flatcheck.compare import Comparison, Row
from flatcheck.language import say, several
from flatcheck.report.advice import TRUE
from flatcheck.report.text import cite
from flatcheck.report.words import disputed_words
from flatcheck.rules import standards
from flatcheck.units import LENGTH_UNITS, Style, format_distance, format_length
from flatcheck.verdict import Finding, Outcome

WIDTH = 80

SHOWN = (Outcome.OUT, Outcome.CLOSE, Outcome.WITHIN)
"""Outcomes that have a table, in its order; what is not assessed has its reasons instead."""


def compare_text(found: Comparison) -> str:
    """What the floor would carry, every grade that was judged, and why others were not."""
    survey, style = found.survey, found.survey.show
    counts = [
        f"{sum(row.outcome is outcome for row in found.rows)} {say(outcome)}" for outcome in Outcome
    ]
    compared = several(
        len(found.rows),
        "COMPARED with {number} grade: {survey}",
        "COMPARED with {number} grades: {survey}",
        survey=survey.title,
    )
    lines = [*_fold(compared), *_fold(f"{', '.join(counts)}; {say(survey.decision)}."), ""]
    for sentence in carry_words(found):
        lines += _fold(sentence)
    judged = [row for row in found.rows if row.outcome in SHOWN]
    if judged:
        lines += ["", *_table(found, judged, style)]
    doubtful = sorted({row.name for row in judged if doubt(row)})
    if doubtful:
        lines += ["", *_fold(f"? {DOUBT}")]
    open_ = [row for row in found.rows if row.outcome is Outcome.NOT_ASSESSED]
    for title, rows in ((say("Not assessed"), open_), (say("Not for this survey"), found.aside)):
        if rows:
            lines += ["", f"{title}:", *_reasons(found, rows, style)]
    return "\n".join(lines) + "\n"


DOUBT = say(
    "a number from memory, or one that sources disagree about; see `flatcheck standards`, or "
    "--json."
)


def doubt(row: Row) -> bool:
    """Whether a grade's numbers are from memory or disputed."""
    sure = {rule.citation.certainty for rule in row.grade.rules}
    return bool(row.grade.disputed) or not sure <= {"agreed", "single source"}


def carry_words(found: Comparison) -> list[str]:
    """The largest tile and the strictest classes that the floor satisfies."""
    style = found.survey.show
    said = []
    for name, _, high in found.largest:
        words = say("none that can be told within")
        if high == math.inf:
            words = say("any size")
        elif high:
            words = say("edges under {edge}", edge=format_distance(high, style))
        said.append(say("Largest tile by {grade}: {size}.", grade=name, size=words))
    held = [
        say(
            "Strictest class within: {grade} (of {grades}).",
            grade=f"{one.standard.id}:{one.held}",
            grades=", ".join(one.grades),
        )
        for one in found.strictest
        if one.held
    ]
    nowhere = say("Within none of the classes of any standard, as far as the readings tell.")
    return [*said, *(held or [nowhere])]


def _table(found: Comparison, rows: Sequence[Row], style: Style) -> list[str]:
    upright = found.survey.room is not None and found.survey.room.upright
    way = say("right, up") if upright else say("east, north")
    over, worst, limit = say("over by"), say("worst"), say("limit")
    lines = [f"  {say('standard:grade'):31}{over:>8}  {worst:>9} {limit:>8}  {way}"]
    for outcome in SHOWN:
        some = [row for row in rows if row.outcome is outcome]
        if not some:
            continue
        lines.append(say(outcome).upper())
        for row in sorted(some, key=lambda row: -(row.share or 0.0)):
            value, limit, place = _cells(row, style)
            mark = "*" if row.own else "?" if doubt(row) else " "
            lines.append(
                f"{mark} {_called(row, style):31}{_share(row):>8}  {value:>9} {limit:>8}  {place}"
            )
    if any(row.own for row in rows):
        lines.append("* " + say("the survey's own standard"))
    return lines


def row_words(row: Row, style: Style) -> tuple[str, str, str, str]:
    """A judged grade: how it is called, how far over its limit, its worst value and its limit."""
    value, limit, _ = _cells(row, style)
    return _called(row, style), _share(row), value, limit


def _share(row: Row) -> str:
    return "" if row.share is None else f"{row.share:+.0%}"


def _called(row: Row, style: Style) -> str:
    """A grade, with the tile it was tried for where it goes by that."""
    if row.edge_below_mm < math.inf:
        return f"{row.name} <{format_distance(row.edge_below_mm, style)}"
    if row.edge_from_mm > 0:
        return f"{row.name} {format_distance(row.edge_from_mm, style)}+"
    return row.name


def _cells(row: Row, style: Style) -> tuple[str, str, str]:
    """Worst value, its limit and its place."""
    if row.steps:
        joint = row.steps.worst
        value, limit = _against(joint.height_mm, joint.limit_mm, style)
        return value, limit, _at((joint.step.x_mm, joint.step.y_mm), style)
    finding = row.worst
    if finding is None or finding.worst is None:
        return "", "", ""
    worst = finding.worst
    if finding.rule.measure in ("fall_least", "fall_most"):
        sign = -1 if finding.rule.measure == "fall_least" else 1
        value, limit = (
            f"{sign * mm / worst.span_mm:.2%}" for mm in (worst.value_mm, worst.limit_mm)
        )
    else:
        value, limit = _against(abs(worst.value_mm), worst.limit_mm, style)
    return value, limit, _at(worst.at, style)


def _against(value_mm: float, limit_mm: float, style: Style) -> tuple[str, str]:
    """A value and its limit; in finer steps where the person's own would make them look equal."""
    value, limit = format_length(value_mm, style), format_length(limit_mm, style)
    if value == limit:
        unit, mark = LENGTH_UNITS[style.unit], '"' if style.unit == "in" else " mm"
        value, limit = (f"{mm / unit:.3f}{mark}" for mm in (value_mm, limit_mm))
    return value, limit


def _at(place: tuple[float, float], style: Style) -> str:
    return ", ".join(format_distance(v, style) for v in place)


def _reasons(found: Comparison, rows: Sequence[Row], style: Style) -> list[str]:
    """Grades that have no outcome, under the reason they share."""
    alike: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        alike[why_not(row, found, style)].append(row)
    lines = []
    for why, same in sorted(alike.items()):
        names = ", ".join(_together(same, style))
        lines += _fold(f"{why[0].upper()}{why[1:]}: {names}.", "  ", "    ")
    return lines


def _together(rows: Sequence[Row], style: Style) -> list[str]:
    """The names of grades; of a standard's own id alone where all of its grades are among them."""
    names: dict[str, None] = {}
    for row in rows:
        held = {other.name for other in rows if other.standard.id == row.standard.id}
        whole = len(held) == len(standards()[row.standard.id].grades)
        names[row.standard.id if whole else _called(row, style)] = None
    return list(names)


def why_not(row: Row, found: Comparison, style: Style) -> str:
    """Why a grade does not apply to the survey, or was not assessed; "" where it was judged."""
    if row.why:
        return row.why
    if row.outcome is not Outcome.NOT_ASSESSED:
        return ""
    if row.steps:
        return say("the tile's own warpage was not measured")
    upright = found.survey.room is not None and found.survey.room.upright
    open_ = [f for f in row.findings if f.outcome is Outcome.NOT_ASSESSED]
    return _why(open_[0], upright, style) if open_ else ""


def _why(finding: Finding, upright: bool, style: Style) -> str:
    measure = finding.rule.measure
    need = format_distance(finding.pitch_mm, style)
    if measure in TRUE and not finding.placements + finding.left_open:
        if upright:
            return say("the intent is not plumb")
        return say("the intent is not level, nor one fall")
    if measure == "step" and not finding.placements:
        return say("no two readings lie close together on both sides of an edge")
    if measure == "ponding" and not finding.placements:
        return say("no reading lies on the drain")
    if finding.left_open and not finding.placements:
        return say("the readings leave the slope open")
    if not math.isfinite(finding.have_mm):
        return say("the readings lie in one line")
    if finding.have_mm > finding.pitch_mm * 1.01 + 1:
        have = format_distance(finding.have_mm, style)
        return say("needs readings every {need} (they are {have} apart)", need=need, have=have)
    if finding.left_open:
        return say("the readings leave the twist of the floor open")
    return say("too little of it could be judged")


def compare_record(found: Comparison) -> dict[str, Any]:
    """The comparison as plain data, lengths in millimeters; for JSON."""
    survey = found.survey
    return {
        "title": survey.title,
        "decision": survey.decision,
        "largest_tile": [
            {
                "grade": name,
                "edge_from_mm": round(low, 3),
                "edge_below_mm": None if math.isinf(high) else round(high, 3),
                "any": high > 0,
            }
            for name, low, high in found.largest
        ],
        "strictest": [
            {"standard": one.standard.id, "grades": list(one.grades), "within": one.held}
            for one in found.strictest
        ],
        "grades": [_record(row, found) for row in (*found.rows, *found.aside)],
    }


def _record(row: Row, found: Comparison) -> dict[str, Any]:
    worst = row.worst.worst if row.worst else None
    joint = row.steps.worst if row.steps else None
    return {
        "grade": row.name,
        "title": f"{row.standard.title} - {row.grade.title}",
        "region": row.standard.region,
        "about": row.standard.about,
        "on": row.grade.on,
        "own": row.own,
        "edge_from_mm": round(row.edge_from_mm, 3),
        "edge_below_mm": None if math.isinf(row.edge_below_mm) else round(row.edge_below_mm, 3),
        "applies": not row.why,
        "outcome": None if row.why else row.outcome,
        "allowing_for_reading_error": None if row.why else row.guarded,
        "as_read": None if row.why else row.as_read,
        "why_not": why_not(row, found, found.survey.show) or None,
        "over_by_ratio": None if row.share is None else round(row.share, 4),
        "rule": row.worst.rule.words if row.worst else None,
        "zone": row.worst.zone if row.worst else None,
        "worst_mm": round(worst.value_mm, 3) if worst else joint and round(joint.height_mm, 3),
        "limit_mm": round(worst.limit_mm, 3) if worst else joint and round(joint.limit_mm, 3),
        "at_mm": [round(v, 1) for v in worst.at]
        if worst
        else joint and [round(joint.step.x_mm, 1), round(joint.step.y_mm, 1)],
        "judged_ratio": round(min((f.reach_ratio for f in row.findings), default=0.0), 4),
        "certainty": sorted({rule.citation.certainty for rule in row.grade.rules}),
        "sources_disagree": disputed_words(row.grade) if row.grade.disputed else None,
        "sources": list(dict.fromkeys(cite(rule.citation) for rule in row.grade.rules)),
    }


def _fold(words: str, lead: str = "", below: str = "") -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=lead, subsequent_indent=below, break_on_hyphens=False
    )
