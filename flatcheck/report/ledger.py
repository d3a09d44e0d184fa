"""Everything that was read and found as tables for a spreadsheet, one CSV file for each.

Lengths are millimeters, slopes ratios, numbers bare with a point. A text that a spreadsheet would
work out, or make a date of, has an apostrophe in front. `columns.csv` tells every column.
"""

import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from flatcheck.assess import Assessment, floor_stations
from flatcheck.change import Change
from flatcheck.correction import Choice, Fix, marks
from flatcheck.errors import SurveyError
from flatcheck.falls import drainage, plane_falls
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.language import say
from flatcheck.lippage import LippageVerdict
from flatcheck.places import wall_called
from flatcheck.readers import bundle
from flatcheck.readers.cells import csv_text, shown
from flatcheck.report.case import Case
from flatcheck.report.glossary import COLUMNS
from flatcheck.report.relief import departures_of
from flatcheck.report.words import outcome_of, side_word, titles
from flatcheck.room import Room, from_walls
from flatcheck.surface import decided, variance
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Step, Survey, Tilt
from flatcheck.tables import readings_of, steps_of, tiles_of
from flatcheck.verdict import Place
from flatcheck.warpage import Bench, Pair

Value = str | float | int | bool | None
Row = Sequence[Value]

_DATE = re.compile(r"\s*[0-9]{1,4}\s*[-/]\s*[0-9]{1,4}(\s*[-/]\s*[0-9]{1,4})?\s*")
_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")


def tables(case: Case) -> dict[str, str]:
    """The CSV files by name, those that there is something to say in."""
    found: dict[str, list[Row]] = {"survey": _survey(case)}
    if case.assessment:
        found |= _floor(case.assessment)
    if case.lippage:
        found["joints"] = _joints(case.lippage)
    if case.choice:
        found["remedies"] = _remedies(case.choice, case.fix)
        found["marks"] = _marks(case.choice, case.fix)
    if case.change:
        found["changes"] = _changes(case.change)
    found["readings"] = _readings(case.survey, case.assessment)
    written = {name: rows for name, rows in found.items() if rows}
    written["columns"] = [
        (f"{name}.csv", *column) for name in (*written, "columns") for column in COLUMNS[name]
    ]
    return {f"{name}.csv": _csv(name, rows) for name, rows in written.items()}


def packed(case: Case) -> bytes:
    """The same in one ZIP file, the same bytes for the same case."""
    written = {name: text.encode("utf-8-sig") for name, text in tables(case).items()}
    return bundle.packed(written)


def write_tables(case: Case, folder: Path) -> None:
    """The same in a folder. Raises SurveyError where it cannot be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in tables(case).items():
            # A spreadsheet takes a CSV file without the mark at its start for another alphabet.
            (folder / name).write_text(text, encoding="utf-8-sig", newline="")
    except OSError as error:
        why = error.strerror or error
        raise SurveyError(say("{path} cannot be written: {why}.", path=folder, why=why)) from None


def _csv(name: str, rows: Sequence[Row]) -> str:
    head = tuple(column for column, _, _ in COLUMNS[name])
    return csv_text((head, *(tuple(map(cell, row)) for row in rows)))


def cell(value: Value) -> str:
    """A value as a spreadsheet takes it for what it is: a number as a number, a text as a text."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        said = f"{value:.6f}".rstrip("0").rstrip(".")
        return "0" if said == "-0" else said
    if _NUMBER.fullmatch(value):
        return value
    return f"'{value}" if _DATE.fullmatch(value) else shown(value)


def _survey(case: Case) -> list[Row]:
    survey, tile = case.survey, case.survey.tile
    rows: list[Row] = [
        (say("title"), survey.title),
        (say("place"), survey.place),
        (say("date"), survey.day.isoformat() if survey.day else ""),
        (say("read by"), survey.by),
        (say("floor"), survey.surface),
        (say("instrument"), survey.instrument),
        (say("notes"), survey.notes),
        (say("tile length mm"), tile.length_mm if tile else None),
        (say("tile width mm"), tile.width_mm if tile else None),
        (
            say("near a limit"),
            say("as read") if survey.decision == "as read" else say("allowing for reading error"),
        ),
        (say("outcome"), say(case.outcome)),
        (say("fingerprint of the readings"), fingerprint(canonical(survey))),
    ]
    asked = titles(case.assessment.verdict) if case.assessment else []
    rows += [(say("judged by"), title) for title in asked]
    if case.lippage:
        rows.append((say("steps judged by"), f"{case.lippage.standard}:{case.lippage.grade}"))
    return rows


def _floor(assessment: Assessment) -> dict[str, list[Row]]:
    """What was found on the floor itself."""
    verdict, room = assessment.verdict, assessment.surface.room
    rules: list[Row] = []
    for finding in verdict.findings:
        worst, cited = finding.worst, finding.rule.citation
        rules.append(
            (
                finding.zone,
                finding.rule.id,
                finding.rule.words,
                say(outcome_of(finding, verdict.decision)),
                say(finding.outcome),
                say(finding.as_read),
                *(
                    (worst.value_mm, worst.u_mm, worst.limit_mm, worst.span_mm)
                    if worst
                    else (None,) * 4
                ),
                *((*worst.at, *worst.start, *worst.end) if worst else (None,) * 6),
                finding.reach_ratio,
                finding.pitch_mm,
                finding.have_mm,
                cited.document,
                cited.edition,
                cited.clause,
                cited.source,
                say(cited.certainty),
            )
        )
    spots: list[Row] = [
        (
            spot.number,
            side_word(spot.high, room),
            spot.proven,
            spot.value_mm,
            spot.limit_mm,
            *spot.at,
            *_taped(room, spot.at),
            *spot.extent_mm,
            spot.area_mm2 / 1e6,
        )
        for spot in verdict.spots
    ]
    planes: list[Row] = [
        (
            plane.zone,
            plane.name,
            plane.meant_deg,
            plane.run_mm,
            plane.fall_ratio,
            plane.u_ratio if plane.fall_ratio is not None else None,
            plane.bearing_deg if plane.fall_ratio is not None else None,
            plane.least_ratio,
            plane.most_ratio,
        )
        for plane in plane_falls(assessment)
    ]
    ponds: list[Row] = [
        (
            zone.zone,
            number,
            pond.depth_mm,
            pond.u_mm,
            pond.told,
            pond.area_mm2 / 1e6,
            pond.volume_mm3 / 1e6,
            *pond.at,
        )
        for zone in (drainage(assessment) if planes else ())
        for number, pond in enumerate(zone.ponds, 1)
    ]
    return {
        "rules": rules,
        "stations": _stations(assessment),
        "spots": spots,
        "planes": planes,
        "ponds": ponds,
    }


def _taped(room: Room, place: Place) -> tuple[str, float | None, str, float | None]:
    """The two walls that a place is measured from, with the distances."""
    found = [(wall_called(name, room.upright), away) for name, away in from_walls(room, place)]
    (one, first), (other, second) = (*found, ("", None), ("", None))[:2]
    return one, first, other, second


def _stations(assessment: Assessment) -> list[Row]:
    floor, known = assessment.surface, assessment.adjusted
    alone = np.arange(len(floor.xy_mm))[:, None]
    ones = np.ones_like(alone, dtype=np.float64)
    spread = np.sqrt(np.maximum(variance(floor.cov_mm2, alone, ones), 0.0))
    spread = np.where(decided(floor.free, alone, ones), spread, np.nan)
    above, reads = departures_of(assessment), known.reads[floor_stations(known)]
    parts = np.full(len(alone), "", dtype=object)
    for part in assessment.parts:
        parts[part.stations] = part.name
    return [
        (k + 1, x, y, float(z), float(u), float(off), str(part), int(count), where)
        for k, ((x, y), z, u, off, part, count, where) in enumerate(
            zip(
                floor.xy_mm.tolist(),
                floor.height_mm,
                spread,
                above,
                parts,
                reads,
                floor.where,
                strict=True,
            )
        )
    ]


def _joints(verdict: LippageVerdict) -> list[Row]:
    return [
        (
            joint.step.x_mm,
            joint.step.y_mm,
            joint.step.step_mm,
            joint.step.u_mm,
            say(joint.step.proud),
            joint.limit_mm,
            joint.strict_mm,
            say(verdict.ends(joint)),
            say(joint.outcome),
            say(joint.as_read),
            joint.step.where,
        )
        for joint in verdict.joints
    ]


def _remedies(choice: Choice, chosen: Fix | None) -> list[Row]:
    rows: list[Row] = []
    for fix in choice.fixes:
        takes, material = fix.takes, fix.proposal.material
        rows.append(
            (
                fix.proposal.id,
                fix.proposal.title,
                fix is chosen,
                True,
                "",
                takes.grind_l,
                takes.u_grind_l,
                takes.grind_m2,
                takes.highest_mm,
                takes.fill_l,
                takes.u_fill_l,
                takes.fill_m2,
                takes.deepest_mm,
                material.name if material else "",
                takes.bags,
                takes.fill_kg,
                takes.hours,
                takes.wait_h,
            )
        )
    blank = (None,) * (len(COLUMNS["remedies"]) - 5)
    rows += [(no.id, no.title, False, False, no.why, *blank) for no in choice.refused]
    return rows


def _marks(choice: Choice, fix: Fix | None) -> list[Row]:
    if fix is None:
        return []
    return [
        (
            mark.number,
            say("grind") if mark.depth_mm < 0 else say("fill"),
            abs(mark.depth_mm),
            *mark.at,
            *_taped(choice.site.floor.room, mark.at),
        )
        for mark in marks(choice.site, fix.proposal)
    ]


def _changes(change: Change) -> list[Row]:
    rows = zip(change.xy_mm.tolist(), change.rise_mm.tolist(), change.u_mm.tolist(), strict=True)
    return [(x, y, rise, u, abs(rise) > 2 * u) for (x, y), rise, u in rows]


def _readings(survey: Survey, assessment: Assessment | None) -> list[Row]:
    seen: list[Observation | Step | Bench | Pair] = [
        *(assessment.readings if assessment else readings_of(survey)),
        *steps_of(survey),
        *tiles_of(survey),
    ]
    residual: list[float | None] = [*assessment.adjusted.residual_mm.tolist()] if assessment else []
    residual += [None] * (len(seen) - len(residual))
    aside = {suspect.number for suspect in assessment.adjusted.suspects} if assessment else set()
    return [
        (number, *_one(reading), off, number in aside)
        for number, (reading, off) in enumerate(zip(seen, residual, strict=True), 1)
    ]


def _one(seen: Observation | Step | Bench | Pair) -> tuple[Value, ...]:
    """A reading: kind, cell, text, place, end, along, value, uncertainty, setup or bar."""
    written = (seen.where, seen.text)
    match seen:
        case Reading():
            at = (seen.x_mm, seen.y_mm, None, None, None)
            return ("height", *written, *at, seen.height_mm, seen.u_mm, seen.setup)
        case Gap():
            lies = (*seen.start, *seen.end, seen.along_mm)
            return ("gap", *written, *lies, seen.gap_mm, seen.u_mm, seen.placement)
        case Tilt():
            return ("tilt", *written, *seen.start, *seen.end, None, seen.rise_mm, seen.u_mm, "")
        case Benchmark():
            at = (seen.x_mm, seen.y_mm, None, None, None)
            return ("benchmark", *written, *at, seen.height_mm, seen.u_mm, "")
        case Step():
            at = (seen.x_mm, seen.y_mm, None, None, None)
            return ("step", *written, *at, seen.step_mm, seen.u_mm, "")
        case Bench():
            return ("tile", *written, *[None] * 6, seen.u_mm, seen.tile)
        case Pair():
            return (
                "pair",
                *written,
                *[None] * 5,
                seen.gap_mm,
                seen.u_mm,
                f"{seen.one}, {seen.two}",
            )
