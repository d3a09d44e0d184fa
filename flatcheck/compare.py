"""One survey against every standard: how each ends, how far in or out, and what it would carry.

A row ends as `check --standard` of its grade alone does. Bars are laid once for all rules that lay
them alike: that takes far longer than to hold their values against one limit more.
"""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from flatcheck.assess import Assessment, pieces_of, surveyed
from flatcheck.errors import FlatcheckError, RuleError
from flatcheck.guard import RISK
from flatcheck.judgment import finding_of, laid, looks, reach_of, with_water
from flatcheck.language import say
from flatcheck.lippage import LippageVerdict, judge_steps
from flatcheck.parts import Part, parts_of
from flatcheck.rules import Grade, Rule, Standard, check_on, pitch_for, standards
from flatcheck.steps import corner_steps
from flatcheck.survey import Survey
from flatcheck.tables import readings_of, steps_of
from flatcheck.verdict import Finding, Outcome, Reach, Verdict, chosen, gravest

NO_STEPS = say("no step across a joint was read")

Kind = tuple[str, float | None]
"""How bars are laid: measure and length."""


@dataclass(frozen=True)
class Row:
    """One grade against the survey, for tile with its longest edge in a range [mm].

    `findings` are those of its rules, zone by zone; for lippage `steps` is the verdict instead.
    `why` says why the grade does not apply; it has then no outcome. `own` marks the survey's own.
    """

    standard: Standard
    grade: Grade
    edge_from_mm: float
    edge_below_mm: float
    findings: tuple[Finding, ...]
    steps: LippageVerdict | None
    guarded: Outcome
    as_read: Outcome
    decision: str
    why: str
    own: bool

    @property
    def name(self) -> str:
        """The grade as it is called for."""
        return f"{self.standard.id}:{self.grade.id}"

    @property
    def outcome(self) -> Outcome:
        """The outcome under the person's own decision rule."""
        return chosen(self.decision, self.guarded, self.as_read)

    @property
    def worst(self) -> Finding | None:
        """The finding that is farthest over its limit, or least within, as a share of it."""
        measured = [finding for finding in self.findings if finding.worst]
        return max(measured, key=share_of, default=None)

    @property
    def share(self) -> float | None:
        """How far over its limit the worst place is as a share of it; negative where it is within.

        (value - limit) / |limit|; None where nothing was measured.
        """
        if self.steps:
            joint = self.steps.worst
            return joint.excess_mm / joint.limit_mm
        return share_of(self.worst) if self.worst else None


EITHER_WAY = ("blocks", "neighbors", "lean", "datum", "valley_line")
"""Measures of which a high counts as much as a low."""


def share_of(finding: Finding) -> float:
    """How far over its limit a finding is, as a share of the limit; negative where within."""
    worst = finding.worst
    assert worst is not None  # asked for only where something was measured
    value = abs(worst.value_mm) if finding.rule.measure in EITHER_WAY else worst.value_mm
    return (value - worst.limit_mm) / abs(worst.limit_mm)  # what must fall has limits below zero


@dataclass(frozen=True)
class Strictest:
    """Of grades that measure alike the strictest that the floor is within, None where none is."""

    standard: Standard
    grades: tuple[str, ...]
    held: str | None


@dataclass(frozen=True)
class Comparison:
    """A survey against every standard.

    `rows` are the grades that apply, `aside` those that do not. `largest` are, for each grade that
    goes by the tile, the tile edges that it allows here: (name, from, below) [mm], none where no
    tile is within. `strictest` are the classes.
    """

    survey: Survey
    rows: tuple[Row, ...]
    aside: tuple[Row, ...]
    largest: tuple[tuple[str, float, float], ...]
    strictest: tuple[Strictest, ...]


def compare(survey: Survey) -> Comparison:
    """How does this survey end by every standard there is?

    Raises FlatcheckError naming what cannot be used of the survey itself.
    """
    assessment = _unjudged(survey) if readings_of(survey) else None
    parts = assessment.parts if assessment else ()
    asked = list(_asked(survey, about="wall" if survey.room and survey.room.upright else "floor"))
    found = _findings(parts, [rules for _, rules in asked if rules])
    rows = [_row(survey, row, rules, found, assessment) for row, rules in asked]
    applies = [row for row in rows if not row.why]
    return Comparison(
        survey,
        tuple(applies),
        tuple(row for row in rows if row.why),
        _largest(applies),
        _strictest(applies),
    )


def _unjudged(survey: Survey) -> Assessment:
    """A survey's surface in its parts, before it is held against any rule."""
    readings, known, floor = surveyed(survey)
    blank = Verdict(
        standard=survey.standard,
        grade="",
        decision=survey.decision,
        guarded=Outcome.NOT_ASSESSED,
        as_read=Outcome.NOT_ASSESSED,
        findings=(),
        spots=(),
    )
    parts = parts_of(survey, floor, pieces_of(known))
    return Assessment(survey, readings, known, floor, parts, blank)


def _asked(survey: Survey, about: str) -> Iterator[tuple[Row, tuple[Rule, ...]]]:
    """Every grade with the rules that it holds against the floor, once for each range of tile."""
    own = {_full(name) for name in (survey.standard, *survey.falls, survey.lippage) if name}
    for standard in standards().values():
        for grade in standard.grades:
            edges = [0.0, math.inf]
            if standard.about != "lippage":
                bounds = {edge for r in grade.rules for edge in (r.edge_from_mm, r.edge_below_mm)}
                edges = sorted({0.0, math.inf} | bounds)
            for low, high in pairwise(edges):
                why = ""
                try:
                    check_on(grade, about, f"{standard.id}:{grade.id}")
                except RuleError:
                    why = say("for a wall") if grade.on == "wall" else say("for a floor")
                rules = () if standard.about == "lippage" or why else with_water(grade.rules)
                yield (
                    Row(
                        standard,
                        grade,
                        low,
                        high,
                        (),
                        None,
                        Outcome.NOT_ASSESSED,
                        Outcome.NOT_ASSESSED,
                        survey.decision,
                        why,
                        f"{standard.id}:{grade.id}" in own,
                    ),
                    tuple(r for r in rules if r.edge_from_mm <= low < r.edge_below_mm),
                )


def _full(name: str) -> str:
    standard_id, _, grade_id = name.strip().lower().partition(":")
    known = standards().get(standard_id)
    if known is None:
        return name
    ids = {grade.id.lower(): grade.id for grade in known.grades}
    return f"{standard_id}:{ids.get(grade_id, known.grades[0].id)}"


Found = dict[tuple[Rule, int], tuple[Finding, ...] | str]
"""What each rule of a grade of so many rules found, part by part; or why it could not look."""


def _findings(parts: tuple[Part, ...], grades: list[tuple[Rule, ...]]) -> Found:
    """The findings of all rules, bars laid once for those that lay them alike."""
    if not parts:
        return {}
    kinds: dict[Kind, set[tuple[Rule, int]]] = defaultdict(set)
    for rules in grades:
        for rule in rules:
            kinds[rule.measure, rule.length_mm].add((rule, len(rules)))
    found: Found = {}
    for (measured, length_mm), asked in kinds.items():
        try:
            every = [(part, laid(part, measured, length_mm)) for part in parts]
        except FlatcheckError as error:
            found |= dict.fromkeys(asked, str(error))
            continue
        bars = [(part, seen) for part, seen in every if seen]
        # Rules that differ in their papers alone end alike, and in limits alone reach alike.
        reach: dict[float, list[tuple[float, Reach | None]]] = {}
        once: dict[object, tuple[Finding, ...]] = {}
        for rule, many in asked:
            pitch = pitch_for(rule)
            if pitch not in reach:
                reach[pitch] = [reach_of(part, rule, each) for part, each in bars]
            same = (rule.limit, pitch, many)
            if same not in once:
                risk = RISK / (many * len(parts))
                once[same] = tuple(
                    finding_of(part, rule, looks(each, rule, risk), reached)
                    for (part, each), reached in zip(bars, reach[pitch], strict=True)
                )
            found[rule, many] = tuple(replace(finding, rule=rule) for finding in once[same])
    return found


def _row(
    survey: Survey, row: Row, rules: tuple[Rule, ...], found: Found, assessment: Assessment | None
) -> Row:
    if row.why:
        return row
    if row.standard.about == "lippage":
        if not any(table.kind in ("steps", "corners") for table in survey.tables):
            return replace(row, why=NO_STEPS)
        return _steps(survey, row, assessment)
    if assessment is None:
        return replace(row, why=say("no heights were read"))
    findings: list[Finding] = []
    for rule in rules:
        seen = found[rule, len(rules)]
        if isinstance(seen, str):
            return replace(row, why=seen.removesuffix("."))
        findings += seen
    asked = {rule.measure for rule in rules}
    asked = asked - {"fall_most"} or asked  # a level floor has a steepest place too
    if not any(finding.rule.measure in asked for finding in findings):
        return replace(row, why=say("no zone is meant to fall"))
    return replace(
        row,
        findings=tuple(findings),
        guarded=gravest(finding.outcome for finding in findings),
        as_read=gravest(finding.as_read for finding in findings),
    )


def _steps(survey: Survey, row: Row, assessment: Assessment | None) -> Row:
    try:
        if not steps_of(survey) and not (assessment and corner_steps(assessment)):
            return replace(row, why=NO_STEPS)
        verdict = judge_steps(replace(survey, lippage=row.name), assessment)
    except FlatcheckError as error:
        return replace(row, why=str(error).removesuffix("."))
    assert verdict is not None  # a standard was named
    return replace(row, steps=verdict, guarded=verdict.guarded, as_read=verdict.as_read)


def _largest(rows: list[Row]) -> tuple[tuple[str, float, float], ...]:
    """For each grade that goes by the tile, the tile edges that it allows here."""
    grades: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        grades[row.name].append(row)
    found = []
    for name, ranges in grades.items():
        if len(ranges) < 2:
            continue
        held = [row for row in ranges if row.outcome is Outcome.WITHIN]
        low, high = 0.0, 0.0
        if held:
            low, high = held[-1].edge_from_mm, held[-1].edge_below_mm
        found.append((name, low, high))
    return tuple(found)


def _sum_of(row: Row) -> float:
    """All limits of a grade together: what tells two apart whose worst place is the same."""
    return sum(limit for rule in row.grade.rules for _, limit in rule.limit.anchors)


def _strictest(rows: list[Row]) -> tuple[Strictest, ...]:
    """Of the grades of a standard that lay the same bars the strictest that is within.

    They measure the same values, so that the strictest is the one with least to spare.
    """
    alike: dict[tuple[str, tuple[Kind, ...]], list[Row]] = defaultdict(list)
    for row in rows:
        if row.standard.about == "flatness" and row.edge_below_mm == math.inf:
            kinds = tuple((rule.measure, rule.length_mm) for rule in row.grade.rules)
            if row.edge_from_mm == 0:
                alike[row.standard.id, kinds].append(row)
    found = []
    for classes in alike.values():
        if len(classes) < 2:
            continue
        held = [row for row in classes if row.outcome is Outcome.WITHIN and row.share is not None]
        best = max(held, key=lambda row: (row.share or 0.0, -_sum_of(row)), default=None)
        names = tuple(row.grade.id for row in classes)
        found.append(Strictest(classes[0].standard, names, best.grade.id if best else None))
    return tuple(found)
