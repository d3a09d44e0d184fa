"""What each command does: reads what was said, asks the core, prints, and returns a status."""

import argparse
import json
import math
import re
import secrets
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from flatcheck.assess import assess
from flatcheck.bond import Pattern
from flatcheck.change import changed
from flatcheck.compare import compare
from flatcheck.correction import correct, fix_named
from flatcheck.document import DOCUMENT, share_of
from flatcheck.errors import FlatcheckError, RuleError, SurveyError, UnitsError
from flatcheck.falls import flood_test
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.fnumber import slab_numbers
from flatcheck.forecast import Answer
from flatcheck.instrument import Statement, describe, standard_uncertainty, statement
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.outlook import PATTERNS, SIZES_MM, compared, options, outlook
from flatcheck.planning import plan, plan_words, resolution_words, resolves
from flatcheck.readers import turned
from flatcheck.readers.cells import MOST_BYTES, cells_of
from flatcheck.readers.folder import bare, bare_room, edited, file_bytes, read_folder
from flatcheck.report.case import case_of, judged
from flatcheck.report.change import change_html, change_words
from flatcheck.report.compare import compare_record, compare_text
from flatcheck.report.correction import choice_words, mark_words
from flatcheck.report.dossier import report_html
from flatcheck.report.falls import flood_words
from flatcheck.report.kit import bar_words, two_peg_words
from flatcheck.report.ledger import packed, write_tables
from flatcheck.report.lippage import lippage_record, lippage_words
from flatcheck.report.marks import marks_csv, marks_html
from flatcheck.report.outlook import (
    choice_of_tiles,
    choosing_html,
    joints_csv,
    option_name,
    outlook_html,
    outlook_words,
)
from flatcheck.report.proof import MOST_BYTES as MOST_REPORT
from flatcheck.report.proof import apart_from, proof_words, proven
from flatcheck.report.reach import reach_html
from flatcheck.report.sample import plan_csv, tally_record, tally_words
from flatcheck.report.sample import plan_words as sample_words
from flatcheck.report.screed import screed_csv, screed_html, screed_words
from flatcheck.report.sheet import Heading, sheet_csv, sheet_html
from flatcheck.report.slab import slab_record, slab_words
from flatcheck.report.text import record, shelf, text, wrapped
from flatcheck.report.tiling import tiling_html, tiling_words
from flatcheck.room import Room, rectangle
from flatcheck.rules import Rule, grade_of, rules_for, standards
from flatcheck.sampling import about_of, draw, may_sample, scheme_named, tally
from flatcheck.screed import screeds
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, STYLES, Style, parse_length, typed_style
from flatcheck.verdict import Outcome, chosen, gravest
from flatcheck.waviness import waviness

STATUS = {Outcome.WITHIN: 0, Outcome.OUT: 1, Outcome.CLOSE: 3, Outcome.NOT_ASSESSED: 3}
"""The exit status of a verdict."""

SHEETS = (".html", ".csv")
"""What a reading sheet can be written as."""


def run_check(arguments: argparse.Namespace) -> int:
    if arguments.reach:
        _may_write(arguments.reach, arguments.overwrite, (".html",))
    survey = _survey(arguments)
    assessment, lippage = judged(survey)
    outcomes, pages = [], []
    said: dict[str, Any] = {"title": survey.title}
    if assessment:
        outcomes.append(assessment.verdict.outcome)
        pages.append(text(assessment))
        said = record(assessment)
    if lippage:
        outcomes.append(lippage.outcome)
        # The graver answer stands first.
        first = 0 if gravest(outcomes) is not outcomes[0] else len(pages)
        pages.insert(first, "\n".join(wrapped(lippage_words(lippage, survey))) + "\n")
        said["lippage"] = lippage_record(lippage)
    if arguments.reach and assessment is None:
        raise SurveyError("no heights were read, so there is no map of what could be judged.")
    if arguments.reach and assessment:
        _write(arguments.reach, reach_html(assessment), arguments.overwrite)
    if arguments.json:
        print(json.dumps(said, indent=2, allow_nan=False))
    else:
        print("\n".join(pages), end="")
    return STATUS[gravest(outcomes)]


def run_compare(arguments: argparse.Namespace) -> int:
    found = compare(_survey(arguments))
    if arguments.json:
        print(json.dumps(compare_record(found), indent=2, allow_nan=False))
    else:
        print(compare_text(found), end="")
    return 0


def _sections(arguments: argparse.Namespace) -> dict[str, dict[str, Any]]:
    """What the command line says of a survey, as sections of its document."""

    def said(name: str) -> Any:
        return getattr(arguments, name, None)  # a command has the options that it needs

    falls = [name.strip() for name in (said("falls") or "").split(",") if name.strip()]
    standard = {
        "rule": said("standard"),
        "falls": falls,
        "lippage": said("lippage"),
        "decision": said("decision"),
    }
    sections: dict[str, dict[str, Any]] = {}
    tile = {name: said(name) for name in ("joint", "bed", "cap", "spacers") if said(name)}
    if said("tile"):
        tile |= tile_section(arguments.tile)
    if tile:
        sections["tile"] = tile
    pattern = {name: said(name) for name in ("offset", "rotation", "origin")}
    pattern = {"kind": said("pattern")} | {k: v for k, v in pattern.items() if v is not None}
    if any(value is not None for value in pattern.values()):
        sections["pattern"] = {key: value for key, value in pattern.items() if value is not None}
    if any(standard.values()):
        sections["standard"] = {key: value for key, value in standard.items() if value}
    slab = {"specified": said("specified"), "local": said("local")}
    if said_slab := {key: value for key, value in slab.items() if value is not None}:
        sections["slab"] = said_slab
    if said("show"):
        sections["units"] = {"show": arguments.show}
    if said("sight"):
        sections["instrument"] = {"sight": arguments.sight}
    return sections


def _folder(path: Path, sections: dict[str, dict[str, Any]]) -> Survey:
    """A survey folder with what the command line says of it."""
    survey = read_folder(path)
    if "kind" in sections.get("pattern", {}):
        survey = edited(survey, {"pattern": None})  # another pattern keeps nothing of the first
    return edited(survey, sections) if sections else survey


def _survey(arguments: argparse.Namespace) -> Survey:
    sections = _sections(arguments)
    path = Path(arguments.survey)
    if path.name == DOCUMENT:
        path = path.parent
    if path.is_dir():
        return _folder(path, sections)
    needed = ("sense", "readings", "offsets", "uncertainty")
    missing = [f"--{name}" for name in needed if getattr(arguments, name) is None]
    if missing:
        raise SurveyError(
            f"{arguments.survey} comes without a survey.toml; say {', '.join(missing)} too."
        )
    stated = _stated(arguments.uncertainty, arguments.readings)
    if stated.by_distance and not arguments.sight:
        raise SurveyError(
            f"--uncertainty {arguments.uncertainty!r} grows with the distance; say --sight too, "
            "the longest distance that was read."
        )
    pasted = arguments.survey == "-"
    if pasted and sys.stdin is None:
        raise SurveyError("no cells were pasted: standard input is closed.")
    data = sys.stdin.buffer.read(MOST_BYTES + 1) if pasted else file_bytes(path, piped=True)
    name = "pasted cells" if pasted else path.name
    return bare(
        name,
        cells_of(name, data),
        kind=arguments.kind,
        sections=sections,
        **{key: getattr(arguments, key) for key in needed},
    )


def tile_section(written: str) -> dict[str, str]:
    """A tile size written as `12 x 24 in` or `600x300mm`, as a section of a survey document."""
    edges = _edges(written)
    if edges is None:
        raise SurveyError(f'tile {written!r} was expected as two edges, such as "12 x 24 in".')
    return dict(zip(("length", "width"), edges, strict=True))


def _edges(written: str) -> tuple[str, str] | None:
    """Two lengths written with an x between them; None where there are no two."""
    edges = re.split(r"\s*(?:x|×|\bby\b)\s*", written.strip().lower())
    if len(edges) != 2:
        return None
    # A unit said once, after the second edge, holds for both.
    unit = re.search(r"[a-z\"'″′]+$", edges[1])
    if unit and not re.search(r"[a-z\"'″′]$", edges[0]):
        edges[0] = f"{edges[0]} {unit.group()}"
    return edges[0], edges[1]


def _room_of(written: str) -> Room:
    """A rectangular room by its size, such as `12 x 14 ft`."""
    edges = _edges(written)
    if edges is None:
        raise SurveyError(
            f'{written!r} is neither a survey folder nor the size of a room, such as "12 x 14 ft".'
        )
    try:
        east, north = map(parse_length, edges)
    except UnitsError as error:
        raise SurveyError(f"room {written!r}: {error}") from None
    if not min(east, north) > 0:
        raise SurveyError(f"room {written!r}: both sides were expected to be larger than zero.")
    return Room(rectangle(0, 0, east, north))


def run_plan(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    room, tile, standard, stated, sight_mm, style = _job(arguments)
    u_mm = standard_uncertainty(stated, sight_mm)
    rules = [r for r in rules_for(grade_of(standard)[1], tile) if r.measure in TOLD_AS_SPOTS]
    if not rules:
        raise RuleError(
            f"{standard} asks for nothing that is planned here: for level, plumb and edges read "
            "the ends of every line, or both sides of the edge."
        )
    chosen = _chosen(rules, arguments.rule)
    mark_mm = LENGTH_UNITS["in"] if style.unit == "in" else 10.0
    ahead = plan(room, chosen, u_mm, mark_mm)
    said = plan_words(ahead, style)
    said.append(f"One reading: {describe(stated, sight_mm, style)}")
    for need in ahead.needs:
        said += resolution_words(resolves(plan(room, [need.rule], u_mm, mark_mm), need.rule), style)
    print("\n".join(said))
    if arguments.sheet:
        # The sheet is for the rule that asks for the fewest readings, unless another was named.
        first = plan(room, [ahead.needs[0].rule], u_mm, mark_mm)
        page = (
            sheet_csv(first, style)
            if _is_table(arguments.sheet)
            else sheet_html(first, Heading(title=str(arguments.room)), style)
        )
        _write(arguments.sheet, page, arguments.overwrite)
        print(f"Reading sheet for {ahead.needs[0].rule.id}: {arguments.sheet}")
    return 0


def _chosen(rules: Sequence[Rule], written: str | None) -> list[Rule]:
    """The rules to plan for: all, or those of one name or of one length of bar, such as 24in."""
    if written is None:
        return list(rules)
    try:
        length = parse_length(written)
    except UnitsError:
        length = math.nan
    found = [
        rule
        for rule in rules
        if rule.id == written or (rule.length_mm and abs(rule.length_mm - length) < 1)
    ]
    if not found:
        named = ", ".join(rule.id for rule in rules)
        raise RuleError(f"rule {written!r} is not one of {named}, nor the length of its bar.")
    return found


def _may_write(sheet: Path, overwrite: bool, kinds: tuple[str, ...] = SHEETS) -> None:
    """Raises SurveyError for a sheet of another kind, or in the place of a file that is there."""
    if sheet.suffix.lower() not in kinds:
        raise SurveyError(f"{sheet}: a sheet is a {' or '.join(kinds)} file.")
    if sheet.exists() and not overwrite:
        raise SurveyError(f"{sheet} is there already; say --overwrite, or give it another name.")


def _is_table(sheet: Path) -> bool:
    return sheet.suffix.lower() == ".csv"


def _write(sheet: Path, page: str | bytes, overwrite: bool) -> None:
    data = page if isinstance(page, bytes) else page.encode()
    try:
        with sheet.open("wb" if overwrite else "xb") as out:
            out.write(data)
    except OSError as error:
        raise SurveyError(f"{sheet} cannot be written: {error.strerror or error}.") from None


def run_falls(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    survey = _folder(arguments.survey, _sections(arguments))
    usual = "12 in" if survey.show.unit == "in" else "300 mm"
    spacing = parse_length(arguments.spacing or usual)
    line = parse_length(arguments.line) if arguments.line else None
    judged = assess(survey) if survey.tables else None
    plans = screeds(survey, spacing, judged)
    room = survey.room or (judged.surface.room if judged else None)
    assert room is not None  # screeds refuses falls without a room
    for zone in plans:
        print("\n".join(wrapped(screed_words(zone, survey, room, line))))
    if arguments.sheet:
        page = (
            screed_csv(plans, survey.show)
            if _is_table(arguments.sheet)
            else screed_html(plans, survey, room, line)
        )
        _write(arguments.sheet, page, arguments.overwrite)
        print(f"Drawing and table: {arguments.sheet}")
    return 0


def run_correct(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    assessment = assess(_folder(arguments.survey, _sections(arguments)))

    def tell(remedy: str, number: int, broken: int, least: float, best: float) -> None:
        if sys.stderr.isatty():
            known = f"{least:,.0f} to {best:,.0f}" if best < math.inf else f"{least:,.0f} or more"
            print(
                f"\r{remedy}: round {number}, {known}, {broken:,} to go   ", end="", file=sys.stderr
            )

    stop = _interrupted()
    choice = correct(assessment, tell, stop)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    print("\n".join(wrapped(choice_words(choice))))
    fix = fix_named(choice, arguments.remedy)
    if fix is not None and fix.proposal.id != "nothing":
        print(f"\n{fix.proposal.title}, on the floor:")
        print("\n".join(wrapped(mark_words(choice, fix))))
        if arguments.sheet:
            page = (marks_csv if _is_table(arguments.sheet) else marks_html)(choice, fix)
            _write(arguments.sheet, page, arguments.overwrite)
            print(f"Drawing and marks: {arguments.sheet}")
    return 0 if choice.fixes else STATUS[Outcome.OUT]


def _interrupted() -> Callable[[], bool]:
    """Whether Ctrl-C was pressed since: a search then ends with the best that it knows."""
    pressed: list[int] = []
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    return lambda: bool(pressed)


def run_lay(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite, (".html",))
    sections, folder = _sections(arguments), Path(arguments.room)
    survey = _folder(folder, sections) if folder.is_dir() else _empty(arguments.room, sections)
    room = survey.room or assess(survey).surface.room
    print("\n".join(wrapped(tiling_words(survey, room))))
    if arguments.sheet:
        _write(arguments.sheet, tiling_html(survey, room), arguments.overwrite)
        print(f"Drawing: {arguments.sheet}")
    return 0


def _empty(written: str, sections: dict[str, dict[str, Any]]) -> Survey:
    """A survey without readings of a room that was written as its size."""
    corners = [[f"{x} mm", f"{y} mm"] for x, y in _room_of(written).outline.corners_mm]
    about = {"survey": {"title": written}, "units": {"readings": "in", "offsets": "in"}}
    about["units"] |= sections.pop("units", {})
    return bare_room(about | {"room": {"outline": corners}} | sections)


def run_forecast(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    assessment = assess(_folder(arguments.survey, _sections(arguments)))
    seen = outlook(
        assessment,
        None if arguments.quick else lambda: correct(assessment),
        lambda _, words: _waiting(f"Working out {words}"),
    )
    _waiting("")
    print("\n".join(wrapped(outlook_words(seen, assessment))))
    if arguments.sheet:
        page = (joints_csv if _is_table(arguments.sheet) else outlook_html)(seen, assessment)
        _write(arguments.sheet, page, arguments.overwrite)
        print(f"Joints and bed: {arguments.sheet}")
    if seen.answer is not Answer.AS_IS:
        return STATUS[Outcome.OUT]
    return STATUS[Outcome.WITHIN if seen.sure else Outcome.CLOSE]


def _waiting(words: str) -> None:
    """Tells whoever sits at a terminal what is being worked out; "" wipes the line."""
    if sys.stderr.isatty():
        print(f"\r{words[:78]:<78}", end="" if words else "\r", file=sys.stderr)


def run_choose(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite, (".html",))
    assessment = assess(_folder(arguments.survey, _sections(arguments)))
    survey = assessment.survey
    style = survey.show
    sizes = [tile_size_of(written) for written in arguments.tiles or ()] or SIZES_MM[style.unit]
    patterns = [pattern_of(written) for written in arguments.patterns or ()] or PATTERNS

    def called(tile: Tile, pattern: Pattern) -> str:
        return option_name(tile, pattern, style)

    tiles, refused = options(survey, called, assessment, sizes, patterns)
    rows = compared(assessment, tiles, lambda _, words: _waiting(f"Laying {words}"))
    _waiting("")
    print("\n".join(wrapped(choice_of_tiles(rows, refused, style))))
    if arguments.sheet:
        _write(arguments.sheet, choosing_html(rows, refused, survey), arguments.overwrite)
        print(f"Table: {arguments.sheet}")
    return 0


def tile_size_of(written: str) -> tuple[float, float]:
    """A tile size written as `12 x 24 in`: its long and short edges [mm]."""
    edges = tile_section(written)
    try:
        short, long = sorted(parse_length(edges[key]) for key in ("length", "width"))
    except UnitsError as error:
        raise SurveyError(f"tile {written!r}: {error}") from None
    return long, short


def pattern_of(written: str) -> Pattern:
    """A pattern written as `aligned` or `running bond 1/3`."""
    kind, _, offset = written.strip().rpartition(" ")
    if not re.match(r"[0-9.]", offset):
        return Pattern(written.strip())
    return Pattern(kind, share_of(offset, "offset"))


def run_change(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite, (".html",))
    before, after = (
        assess(_folder(path, _sections(arguments))) for path in (arguments.before, arguments.after)
    )
    planned = None
    if arguments.remedy:
        planned = fix_named(correct(before), arguments.remedy)
    found = changed(before, after, planned)
    print("\n".join(wrapped(change_words(found, after))))
    if arguments.sheet:
        _write(arguments.sheet, change_html(found, before, after), arguments.overwrite)
    return STATUS[after.verdict.outcome]


def run_report(arguments: argparse.Namespace) -> int:
    report, tables = arguments.out, arguments.tables
    if report is None and tables is None:
        raise SurveyError(
            "say where the report goes: -o report.html, --tables tables.zip, or both."
        )
    if report is not None:
        _may_write(report, arguments.overwrite, (".html",))
    if tables is not None and tables.exists() and not arguments.overwrite:
        raise SurveyError(f"{tables} is there already; say --overwrite, or give it another name.")
    survey = _folder(arguments.survey, _sections(arguments))
    before = read_folder(arguments.before) if arguments.before else None
    case = case_of(survey, before, arguments.remedy, _interrupted())
    if report is not None:
        _write(report, report_html(case, date.today()), arguments.overwrite)
        print(f"Report: {report}")
    if tables is not None and tables.suffix.lower() == ".zip":
        _write(tables, packed(case), arguments.overwrite)
    elif tables is not None:
        write_tables(case, tables)
    if tables is not None:
        print(f"Tables: {tables}")
    print(f"{case.outcome.upper()}. Fingerprint of the readings: {fingerprint(canonical(survey))}")
    return STATUS[case.outcome]


def run_verify(arguments: argparse.Namespace) -> int:
    report = arguments.report
    found = proven(report.name, file_bytes(report, MOST_REPORT))
    survey = read_folder(arguments.survey) if arguments.survey else None
    print("\n".join(wrapped(proof_words(report.name, found, survey))))
    return int(bool(found.problems or (survey and apart_from(found, survey))))


def run_flood(arguments: argparse.Namespace) -> int:
    survey = read_folder(arguments.survey)
    at = (parse_length(arguments.at[0]), parse_length(arguments.at[1])) if arguments.at else None
    found = flood_test(assess(survey), parse_length(arguments.depth), at)
    print("\n".join(wrapped([words for zone in found for words in flood_words(zone, survey.show)])))
    return 0


def run_numbers(arguments: argparse.Namespace) -> int:
    survey = _survey(arguments)
    found = slab_numbers(survey)
    waves = waviness(found)
    if arguments.json:
        print(json.dumps(slab_record(found, waves, survey), indent=2, allow_nan=False))
    else:
        print("\n".join(wrapped(slab_words(found, waves, survey))))
    if not found.asks:
        return STATUS[Outcome.WITHIN if found.proper else Outcome.NOT_ASSESSED]
    return STATUS[chosen(survey.decision, found.guarded, found.as_read)]


def run_sample(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite, (".csv",))
    folder = Path(arguments.room)
    tile, style, about = None, None, "floor"
    if folder.is_dir():
        survey = read_folder(folder)
        room, tile, style, about = may_sample(survey), survey.tile, survey.show, about_of(survey)
    else:
        room = _room_of(arguments.room)
    if arguments.tile:
        edges = tile_section(arguments.tile)
        tile = Tile(parse_length(edges["length"]), parse_length(edges["width"]))
    scheme = scheme_named(arguments.standard, tile, about)
    metric = scheme.bars[0].length_mm % 100 == 0
    usual = style or STYLES["mm/0.1" if metric else "in/16"]
    style = STYLES[arguments.show] if arguments.show else usual
    # Nobody should know beforehand where the bar will lie; afterwards anybody may draw it again.
    seed = secrets.randbelow(1_000_000) if arguments.seed is None else arguments.seed
    plan = draw(scheme, room, seed, arguments.count)
    print("\n".join(wrapped(sample_words(plan, style))))
    if arguments.sheet:
        _write(arguments.sheet, plan_csv(plan, style), arguments.overwrite)
        print(f"Sheet to fill in: {arguments.sheet}")
    return 0


def run_tally(arguments: argparse.Namespace) -> int:
    survey = _folder(arguments.survey, _sections(arguments))
    found = tally(survey, arguments.scheme)
    if arguments.json:
        print(json.dumps(tally_record(found, survey), indent=2, allow_nan=False))
    else:
        print("\n".join(wrapped(tally_words(found, survey))))
    return STATUS[found.outcome]


def _job(
    arguments: argparse.Namespace,
) -> tuple[Room, Tile | None, str, Statement, float, Style]:
    """What is planned for: a survey's own room, tile, rule and instrument, or what was said.

    With what is said of one reading, and the distance at which it holds.
    """
    folder = Path(arguments.room)
    tile = standard = room = stated = None
    sight = 0.0
    if folder.is_dir():
        survey = read_folder(folder)
        if survey.room is None:
            raise SurveyError(f"{folder} gives no outline of the room to plan for.")
        room, tile, standard = survey.room, survey.tile, survey.standard
        style = survey.show
        if survey.tables:
            coarsest = max(survey.tables, key=lambda table: table.u_mm)
            stated, sight = coarsest.stated, coarsest.sight_mm
    else:
        room = _room_of(arguments.room)
        style = typed_style([arguments.room], "in")
    if arguments.tile:
        edges = tile_section(arguments.tile)
        tile = Tile(parse_length(edges["length"]), parse_length(edges["width"]))
    if arguments.uncertainty:
        corners = np.array(room.outline.corners_mm)
        sight = float(np.hypot(*np.ptp(corners, axis=0)))  # from one corner to the other
        stated = _stated(arguments.uncertainty)
    if stated is None:
        raise SurveyError('say how far one reading may be off: --uncertainty "1/32 in".')
    if arguments.show:
        style = STYLES[arguments.show]
    return room, tile, arguments.standard or standard or "us-tile", stated, sight, style


def run_two_peg(arguments: argparse.Namespace) -> int:
    typed = (*arguments.midway, *arguments.other, *arguments.sights)
    lengths = [parse_length(written) for written in typed]
    midway, other, sights = ((lengths[k], lengths[k + 1]) for k in (0, 2, 4))
    style = STYLES[arguments.show] if arguments.show else typed_style(typed, "mm")
    stated = _stated(arguments.uncertainty)
    print("\n".join(wrapped(two_peg_words(midway, other, sights, stated, style))))
    return 0


def run_bar(arguments: argparse.Namespace) -> int:
    name, length = arguments.table.name, parse_length(arguments.length)
    cells = cells_of(name, file_bytes(arguments.table, piped=True))
    unit = arguments.readings
    rows = turned.read(name, cells, unit, length)
    typed = [cell for row in rows[1:] for cell in row]
    style = STYLES[arguments.show] if arguments.show else typed_style(typed, unit)
    stated = _stated(arguments.uncertainty)
    print("\n".join(wrapped(bar_words(rows, length, arguments.turn, stated, unit, style))))
    return 0


def _stated(written: str, unit: str | None = None) -> Statement:
    """What is said of one reading on the command line; bare numbers are in `unit`."""
    try:
        return statement(written, unit)
    except FlatcheckError as error:
        raise SurveyError(f"--uncertainty: {error}") from None


def run_standards(arguments: argparse.Namespace) -> int:
    print("\n".join(shelf(standards().values())))
    return 0


def run_page(arguments: argparse.Namespace) -> int:
    from flatcheck.ui.serve import serve

    return serve(arguments.port, arguments.store, arguments.phone)
