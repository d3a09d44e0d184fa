"""The verdict as plain text that a setter can read aloud, and as a record for other programs."""

import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from flatcheck.assess import Assessment
from flatcheck.falls import drainage, plane_falls
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.reach import blind_spots
from flatcheck.report.checks import checks
from flatcheck.report.doubts import doubts
from flatcheck.report.falls import drain_words, plane_words, water_words
from flatcheck.report.misread import misread
from flatcheck.report.words import (
    beside,
    disputed_words,
    disputes,
    explain,
    headline,
    outcome_of,
    shape_words,
    spot_words,
    titles,
)
from flatcheck.rules import Citation, Standard
from flatcheck.verdict import Finding, Placement

WIDTH = 92

SPOTS = 12
"""More spots than this are not read out; they are all in the record."""


def text(assessment: Assessment) -> str:
    """The whole verdict: headline, each rule, where it is out, and what it rests on."""
    verdict = assessment.verdict
    lines = [headline(assessment), *titles(verdict), beside(verdict)]
    for said in disputes(verdict):
        lines += _wrap(said, "")
    lines.append("")
    for said in misread(assessment):
        lines += [*_wrap(said, _margin(say("MISREAD"))), ""]
    for said in doubts(assessment):
        lines += [*_wrap(said, _margin(say("LOOK AGAIN"))), ""]
    for finding in verdict.findings:
        lines += _finding(finding, assessment)
    lines += _spots(assessment)
    lines += _falls(assessment)
    for sentence in (*shape_words(assessment), *checks(assessment)):
        lines += _wrap(sentence, "")
    lines += _wrap(_rests_on(assessment), "")
    for said in dict.fromkeys(cite(finding.rule.citation) for finding in verdict.findings):
        lines += _wrap(said, "")
    return "\n".join(lines) + "\n"


def _rests_on(assessment: Assessment) -> str:
    """How many places were read, with what and by whom."""
    survey, count = assessment.survey, len(assessment.surface.height_mm)
    by = ", ".join(part for part in (survey.by, str(survey.day or "")) if part)
    instrument = survey.instrument or say("an instrument")
    if not by:
        return several(
            count,
            "Rests on {number} place read with {instrument}.",
            "Rests on {number} places read with {instrument}.",
            instrument=instrument,
        )
    return several(
        count,
        "Rests on {number} place read with {instrument} by {by}.",
        "Rests on {number} places read with {instrument} by {by}.",
        instrument=instrument,
        by=by,
    )


def _spots(assessment: Assessment) -> list[str]:
    """The spots: those beyond reading error one by one, the doubtful ones only when alone."""
    survey, verdict = assessment.survey, assessment.verdict
    if not verdict.spots:
        return []
    proven = [spot for spot in verdict.spots if spot.proven]
    told = (proven if proven and verdict.decision != "as read" else list(verdict.spots))[:SPOTS]
    lines = [say("Where it is out:")]
    for spot in told:
        words = spot_words(spot, assessment.surface.room, survey.show)
        lines += _wrap(words, f"  {spot.number:>2}  ")
    untold = len(verdict.spots) - len(told)
    if untold:
        more = (
            several(
                untold,
                "and {number} more spot, over by no more than reading error (see --json)",
                "and {number} more spots, over by no more than reading error (see --json)",
            )
            if len(told) == len(proven)
            else several(
                untold,
                "and {number} more spot, gentler (see --json)",
                "and {number} more spots, gentler (see --json)",
            )
        )
        lines.append(f"      {more}")
    return [*lines, ""]


def _falls(assessment: Assessment) -> list[str]:
    """How each plane falls and where the water goes, where the floor is meant to fall."""
    style, room = assessment.survey.show, assessment.surface.room
    said = [plane_words(plane, style) for plane in plane_falls(assessment)]
    if not said:
        return []
    water = [words for zone in drainage(assessment) for words in water_words(zone, room, style)]
    lines = [say("How it falls:")]
    for words in (*said, *water, *drain_words(assessment.survey, room)):
        lines += _wrap(words, "  ")
    return [*lines, ""]


def _finding(finding: Finding, assessment: Assessment) -> list[str]:
    outcome = outcome_of(finding, assessment.verdict.decision)
    zone = f"[{finding.zone}] " if len(assessment.parts) > 1 else ""
    lines = _wrap(f"{zone}{finding.rule.words}", _margin(say(outcome).upper()))
    for sentence in explain(finding, assessment):
        lines += _wrap(sentence, " " * 20)
    return [*lines, ""]


def cite(citation: Citation) -> str:
    """The paper behind a rule, and how sure we are of its number."""
    return say("Rule: {paper}", paper=paper_words(citation))


def paper_words(citation: Citation) -> str:
    """Document, clause, where that was seen, and how sure we are of it."""
    seen = citation.certainty in ("agreed", "single source")
    return say(
        "{document}, {edition}; {clause}; {source}. Certainty: {certainty}.",
        document=citation.document,
        edition=citation.edition,
        clause=citation.clause,
        source=say("seen in {source}", source=citation.source) if seen else citation.source,
        certainty=say(citation.certainty),
    ) + (f" {citation.note}" if citation.note else "")


def shelf(found: Iterable[Standard]) -> list[str]:
    """Every standard with its grades, rules, sources, and where these disagree."""
    said = []
    for standard in found:
        said.append(f"{standard.id}  {standard.title} ({standard.region})")
        for grade in standard.grades:
            on = {"floor": "", "wall": say("[wall]"), "either": say("[floor or wall]")}[grade.on]
            on = f"  {on}" if on else ""
            said += _wrap(f"{standard.id}:{grade.id}  {grade.title}{on}", "  ")
            for rule in grade.rules:
                sure = rule.citation.certainty
                tail = "" if sure == "agreed" else f" ({say(sure)})"
                said += _wrap(f"{rule.words}{tail}", "      ")
        disputed = [grade for grade in standard.grades if grade.disputed]
        for words in dict.fromkeys(map(disputed_words, disputed)):
            said += _wrap(words, "  ")
        cited = [rule.citation for grade in standard.grades for rule in grade.rules]
        for words in dict.fromkeys(map(cite, cited)):
            said += _wrap(words, "  ")
        said.append("")
    return said


def record(assessment: Assessment) -> dict[str, Any]:
    """The verdict as plain data, lengths in millimeters; for JSON."""
    survey, verdict = assessment.survey, assessment.verdict
    room = assessment.surface.room
    return {
        "title": survey.title,
        "outcome": verdict.outcome,
        "decision": verdict.decision,
        "allowing_for_reading_error": verdict.guarded,
        "as_read": verdict.as_read,
        "about": room.about,
        "standard": f"{verdict.standard}:{verdict.grade}" if verdict.grade else None,
        "falls_standards": list(verdict.falls),
        "sources_disagree": disputes(verdict),
        "tile_mm": [survey.tile.length_mm, survey.tile.width_mm] if survey.tile else None,
        "stations": len(assessment.surface.height_mm),
        "readings": len(assessment.readings),
        "misread": [
            {
                "reading": suspect.number,
                "where": suspect.observation.where,
                "written": suspect.observation.text,
                "too_large_mm": round(suspect.error_mm, 3),
                "standard_uncertainty_mm": round(suspect.u_mm, 3),
                "would_be_mm": round(suspect.should_mm, 3),
                "slip": suspect.slip.words if suspect.slip else None,
                "contradicts": list(suspect.others),
            }
            for suspect in assessment.adjusted.suspects
        ],
        "look_again": doubts(assessment),
        "readings_say": checks(assessment),
        "rules": [
            {
                "zone": finding.zone,
                "rule": finding.rule.id,
                "words": finding.rule.words,
                "outcome": outcome_of(finding, verdict.decision),
                "allowing_for_reading_error": finding.outcome,
                "as_read": finding.as_read,
                "worst": _placement(finding.worst),
                "placements": finding.placements,
                "floor_judged_ratio": round(finding.reach_ratio, 4),
                "not_judged": [
                    {
                        "area_m2": round(spot.area_mm2 / 1e6, 4),
                        "extent_mm": [round(v, 1) for v in spot.extent_mm],
                        "at_mm": [round(v, 1) for v in spot.at],
                    }
                    for spot in (blind_spots(finding.reach) if finding.reach else ())
                ],
                "spacing_needed_mm": round(finding.pitch_mm, 1),
                "said": explain(finding, assessment),
                "certainty": finding.rule.citation.certainty,
                "source": cite(finding.rule.citation),
            }
            for finding in verdict.findings
        ],
        "spots": [
            {
                "number": spot.number,
                "side": "high" if spot.high else "low",
                "beyond_reading_error": spot.proven,
                "value_mm": round(spot.value_mm, 3),
                "limit_mm": round(spot.limit_mm, 3),
                "at_mm": [round(v, 1) for v in spot.at],
                "where": where(room, spot.at, survey.show),
                "extent_mm": [round(v, 1) for v in spot.extent_mm],
                "area_m2": round(spot.area_mm2 / 1e6, 4),
            }
            for spot in verdict.spots
        ],
        "planes": [
            {
                "zone": plane.zone,
                "plane": plane.name,
                "meant_toward_deg": round(plane.meant_deg, 2),
                "run_mm": round(plane.run_mm, 1),
                "fall_ratio": _rounded(plane.fall_ratio),
                "toward_deg": round(plane.bearing_deg, 2),
                "standard_uncertainty_ratio": round(plane.u_ratio, 6),
                "least_part_ratio": _rounded(plane.least_ratio),
                "most_part_ratio": _rounded(plane.most_ratio),
            }
            for plane in plane_falls(assessment)
        ],
        "water": [
            {
                "zone": zone.zone,
                "ponds": [
                    {
                        "depth_mm": round(pond.depth_mm, 3),
                        "standard_uncertainty_mm": round(pond.u_mm, 3),
                        "beyond_reading_error": pond.told,
                        "area_m2": round(pond.area_mm2 / 1e6, 5),
                        "volume_l": round(pond.volume_mm3 / 1e6, 4),
                        "at_mm": [round(v, 1) for v in pond.at],
                    }
                    for pond in zone.ponds
                ],
                "drains_to": [
                    {
                        "drain": share.drain or None,
                        "share_of_floor_once_ponds_are_full": round(share.in_all, 4),
                        "share_of_floor_past_no_pond": round(share.straight, 4),
                    }
                    for share in zone.shares
                ],
            }
            for zone in drainage(assessment)
        ],
    }


def _rounded(ratio: float | None) -> float | None:
    return None if ratio is None else round(ratio, 6)


def _placement(worst: Placement | None) -> dict[str, Any] | None:
    if worst is None:
        return None
    return {
        "value_mm": round(worst.value_mm, 3),
        "standard_uncertainty_mm": round(worst.u_mm, 3),
        "limit_mm": round(worst.limit_mm, 3),
        "at_mm": [round(v, 1) for v in worst.at],
        "contacts_mm": [[round(v, 1) for v in p] for p in (worst.start, worst.end)],
        "span_mm": round(worst.span_mm, 1),
        "plane": worst.face,
    }


def wrapped(said: Sequence[str]) -> list[str]:
    """Sentences folded to the width of the page, each under its own indent; tables as they are."""
    return [
        line
        for words in said
        for line in (
            [words]
            if "   " in words.strip()
            else _wrap(words.lstrip(), " " * (len(words) - len(words.lstrip())))
        )
    ]


def _margin(head: str) -> str:
    """The first line's margin beside which a rule is said, with a word or two at its head."""
    return f"  {head:<17} "


def _wrap(words: str, lead: str) -> list[str]:
    wrapped = textwrap.wrap(
        words,
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )
    return wrapped or [lead]
