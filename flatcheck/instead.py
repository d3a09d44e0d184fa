"""What else the floor would do for as it is: another standard or grade, or a smaller tile."""

from dataclasses import dataclass, replace

import numpy as np

from flatcheck.errors import SurveyError
from flatcheck.evidence import decided_rows, measure_named, some_rows
from flatcheck.guard import CLEAR
from flatcheck.judgment import NO_FLATNESS, judge
from flatcheck.rules import Rule, grade_of, limit_at, pitch_for, rules_for, standards
from flatcheck.site import Site, pieces
from flatcheck.tile import Tile
from flatcheck.units import MM_PER_INCH
from flatcheck.verdict import Outcome

Kind = tuple[str, float | None, float]

SMALL = Tile(12 * MM_PER_INCH, 12 * MM_PER_INCH)
"""A tile under 15 in, up to which some rules ask for less."""


@dataclass(frozen=True)
class Instead:
    """A standard, written `standard:grade`, that the floor passes; with `small_tile` if need be."""

    standard: str
    small_tile: bool = False


def instead(site: Site) -> tuple[Instead, ...]:
    """Other grades, and smaller tiles, that the floor is within as it was read."""
    assessment = site.assessment
    survey = assessment.survey
    if survey.standard == NO_FLATNESS or assessment.verdict.outcome is Outcome.WITHIN:
        return ()
    tries = []
    if survey.tile and max(survey.tile.length_mm, survey.tile.width_mm) >= 15 * MM_PER_INCH:
        tries.append((Instead(survey.standard, small_tile=True), SMALL))
    for standard in standards().values():
        if standard.about != "flatness":
            continue
        for grade in standard.grades:
            if grade.on in (site.floor.room.about, "either"):
                tries.append((Instead(f"{standard.id}:{grade.id}"), survey.tile or SMALL))
    missed = _missed(site, {rule for other, tile in tries for rule in _rules(other, tile)})
    found: list[Instead] = []
    reached: dict[frozenset[Kind], bool] = {}
    for other, tile in tries:
        rules = _rules(other, tile)
        if not missed.isdisjoint(rules):
            continue
        # Whether the readings reach far enough depends on the bars alone, not on the limits.
        bars = frozenset((rule.measure, rule.length_mm, pitch_for(rule)) for rule in rules)
        if bars not in reached:
            asked = replace(survey, standard=other.standard, tile=tile)
            reached[bars] = judge(asked, site.floor, pieces(site))[1].outcome is Outcome.WITHIN
        if reached[bars]:
            found.append(other)
    return tuple(found)


def _rules(other: Instead, tile: Tile) -> tuple[Rule, ...]:
    return rules_for(grade_of(other.standard)[1], tile)


def _missed(site: Site, rules: set[Rule]) -> set[Rule]:
    """The rules that the floor is not within, and those whose bars are too many to be listed.

    Each kind of bar is laid once, whatever the number of rules: that takes far longer than to
    hold its values against a limit.
    """
    kinds: dict[tuple[str, float | None], list[Rule]] = {}
    for rule in rules:
        kinds.setdefault((rule.measure, rule.length_mm), []).append(rule)
    guard = CLEAR if site.guarded else 0.0
    missed: set[Rule] = set()
    for (name, length_mm), alike in kinds.items():
        for face in (face for part in site.assessment.parts for face in part.faces):
            try:
                seen = measure_named(name)(face.view, length_mm)
            except SurveyError:
                missed.update(alike)
                break
            if seen is not None:
                seen = some_rows(seen, decided_rows(face.view, seen))
                value = np.abs(seen.value_mm) if seen.signed else seen.value_mm
                value = value + guard * seen.u_mm
                missed |= {r for r in alike if np.any(value > limit_at(r.limit, seen.span_mm))}
    return missed
