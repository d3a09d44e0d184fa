"""The command line: a verdict that can be read aloud, and an exit status that says it too."""

import argparse
import io
import json
import math
import os
import re
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from flatcheck.assess import assess
from flatcheck.change import changed
from flatcheck.correction import correct, fix_named
from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError, RuleError, SurveyError, UnitsError
from flatcheck.falls import flood_test
from flatcheck.instrument import TURNS, standard_uncertainty, statement
from flatcheck.planning import plan, plan_words, resolution_words, resolves
from flatcheck.readers import turned
from flatcheck.readers.cells import MOST_BYTES, cells_of
from flatcheck.readers.folder import BARE_KINDS, bare, edited, file_bytes, read_folder
from flatcheck.report.change import change_words
from flatcheck.report.correction import choice_words, mark_words
from flatcheck.report.falls import flood_words
from flatcheck.report.kit import bar_words, two_peg_words
from flatcheck.report.marks import marks_csv, marks_html
from flatcheck.report.screed import screed_csv, screed_html, screed_words
from flatcheck.report.sheet import Heading, sheet_csv, sheet_html
from flatcheck.report.text import cite, record, text, wrapped
from flatcheck.room import Room, rectangle
from flatcheck.rules import grade_of, rules_for, standards
from flatcheck.screed import screeds
from flatcheck.survey import DECISIONS, SENSES, Survey
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, STYLES, Style, parse_length
from flatcheck.verdict import Outcome

STATUS = {Outcome.WITHIN: 0, Outcome.OUT: 1, Outcome.CLOSE: 3, Outcome.NOT_ASSESSED: 3}
BAD_INPUT = 2
BUG = 70
NOBODY_READS = 141
"""What a shell reports of a program whose reader went away: 128 and the number of SIGPIPE."""

SHEETS = (".html", ".csv")
"""What a reading sheet can be written as."""

EPILOG = """exit status: 0 within, 1 out, 2 bad input, 3 too close to call or not assessed,
70 a fault in flatcheck itself.
A folder is a survey with its survey.toml; a file is a bare table, for which --sense, --readings,
--offsets and --uncertainty must be said; - reads cells pasted on standard input."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # an old terminal cannot say every sign
    arguments = _parser().parse_args(argv)
    try:
        status: int = arguments.run(arguments)
        print(end="", flush=True)
    except FlatcheckError as error:
        print(f"flatcheck: {error}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # What is still unsaid goes nowhere, or Python would try to say it once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NOBODY_READS
    except Exception:
        # Python itself would end with 1, which says that the floor is out.
        traceback.print_exc()
        return BUG
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="flatcheck", description="Is this floor flat enough for this tile, and where not?"
    )
    commands = parser.add_subparsers(required=True, metavar="command")
    check = commands.add_parser(
        "check",
        help="judge a survey",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    check.set_defaults(run=_check)
    check.add_argument("survey", help="survey folder, file of readings, or - for pasted cells")
    check.add_argument("--json", action="store_true", help="print the verdict as JSON, in mm")
    check.add_argument("--tile", help='tile size, such as "12 x 24 in"')
    check.add_argument("--standard", help="standard:grade; see `flatcheck standards`")
    check.add_argument("--falls", help="standards for falls, with commas between them")
    check.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    check.add_argument("--show", choices=tuple(STYLES), help="units to print")
    bare_table = check.add_argument_group("a bare table")
    bare_table.add_argument("--kind", choices=BARE_KINDS, default="grid")
    bare_table.add_argument("--sense", choices=SENSES, help="rod: larger is lower")
    bare_table.add_argument("--readings", choices=tuple(LENGTH_UNITS), help="unit of bare readings")
    bare_table.add_argument("--offsets", choices=tuple(LENGTH_UNITS), help="unit of bare offsets")
    bare_table.add_argument("--uncertainty", help='how far a reading may be off: "1/32 in"')
    ahead = commands.add_parser("plan", help="plan the readings for a room, and print a sheet")
    ahead.set_defaults(run=_plan)
    ahead.add_argument("room", help='survey folder with a room, or its size: "12 x 14 ft"')
    ahead.add_argument("--tile", help='tile size, such as "12 x 24 in"')
    ahead.add_argument("--standard", help="standard:grade; see `flatcheck standards`")
    ahead.add_argument("--uncertainty", help='how far a reading may be off: "1/8 in at 30 ft"')
    ahead.add_argument("--rule", help="plan for this rule of the grade alone, such as 10ft")
    ahead.add_argument("--show", choices=tuple(STYLES), help="units to print")
    ahead.add_argument("--sheet", type=Path, help="write a reading sheet: a .html or .csv file")
    ahead.add_argument("--overwrite", action="store_true", help="where the sheet is there already")
    screed = commands.add_parser("falls", help="plan the falls: the heights to screed to")
    screed.set_defaults(run=_falls)
    screed.add_argument("survey", type=Path, help="survey folder with a drain")
    screed.add_argument("--falls", help="standards for falls, with commas between them")
    screed.add_argument("--spacing", help="between marks along a wall; 12 in or 300 mm if not said")
    screed.add_argument("--line", help="height of a level line above the drain's rim")
    screed.add_argument("--show", choices=tuple(STYLES), help="units to print")
    screed.add_argument("--sheet", type=Path, help="write drawing and table: .html or .csv")
    screed.add_argument("--overwrite", action="store_true", help="where it is there already")
    water = commands.add_parser("flood", help="the water of a flood test")
    water.set_defaults(run=_flood)
    water.add_argument("survey", type=Path, help="survey folder of a floor that falls")
    water.add_argument("depth", help='how deep it stands at the curb: "2 in"')
    water.add_argument("--at", nargs=2, metavar=("EAST", "NORTH"), help="where the curb is")
    fix = commands.add_parser("correct", help="what to grind, patch, pour or screed, and its price")
    fix.set_defaults(run=_correct)
    fix.add_argument("survey", type=Path, help="survey folder")
    fix.add_argument("--remedy", help="marks for this remedy; the cheapest that passes if not said")
    fix.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    fix.add_argument("--show", choices=tuple(STYLES), help="units to print")
    fix.add_argument("--sheet", type=Path, help="write drawing and marks: .html or .csv")
    fix.add_argument("--overwrite", action="store_true", help="where it is there already")
    change = commands.add_parser("change", help="before and after the work, on the same floor")
    change.set_defaults(run=_change)
    change.add_argument("before", type=Path, help="survey folder before the work")
    change.add_argument("after", type=Path, help="survey folder after it")
    change.add_argument("--remedy", help="against the plan of this remedy for the floor before")
    change.add_argument("--show", choices=tuple(STYLES), help="units to print")
    pegs = commands.add_parser("two-peg", help="test a level: does its line of sight rise or fall")
    pegs.set_defaults(run=_two_peg)
    pegs.add_argument("midway", nargs=2, help="readings on pegs A and B from midway")
    pegs.add_argument("other", nargs=2, help="readings on A and B from the other place")
    pegs.add_argument("sights", nargs=2, help="distances of that place to A and to B")
    pegs.add_argument("--uncertainty", default="1 mm", help="of one reading")
    pegs.add_argument("--show", choices=tuple(STYLES), default="mm/0.1")
    bar = commands.add_parser("bar", help="test a straightedge that was read twice, turned")
    bar.set_defaults(run=_bar)
    bar.add_argument("table", type=Path, help="table with the columns at, first and turned")
    bar.add_argument("length", help='length of the bar, such as "6 ft"')
    bar.add_argument("--turn", choices=TURNS, default=TURNS[1])
    bar.add_argument("--readings", choices=tuple(LENGTH_UNITS), default="mm")
    bar.add_argument("--uncertainty", default="0.1 mm", help="of one gap")
    bar.add_argument("--show", choices=tuple(STYLES), default="mm/0.1")
    shelf = commands.add_parser("standards", help="list the standards and their grades")
    shelf.set_defaults(run=_standards)
    page = commands.add_parser("page", help="serve the page to a browser, on this machine only")
    page.set_defaults(run=_page)
    page.add_argument("--port", type=int, default=8501)
    return parser


def _check(arguments: argparse.Namespace) -> int:
    assessment = assess(_survey(arguments))
    if arguments.json:
        print(json.dumps(record(assessment), indent=2, allow_nan=False))
    else:
        print(text(assessment), end="")
    return STATUS[assessment.verdict.outcome]


def _survey(arguments: argparse.Namespace) -> Survey:
    sections: dict[str, dict[str, Any]] = {}
    if arguments.tile:
        sections["tile"] = tile_section(arguments.tile)
    if arguments.standard:
        sections.setdefault("standard", {})["rule"] = arguments.standard
    if arguments.falls:
        sections.setdefault("standard", {})["falls"] = _listed(arguments.falls)
    if arguments.decision:
        sections.setdefault("standard", {})["decision"] = arguments.decision
    if arguments.show:
        sections["units"] = {"show": arguments.show}
    path = Path(arguments.survey)
    if path.name == DOCUMENT:
        path = path.parent
    if path.is_dir():
        survey = read_folder(path)
        return edited(survey, sections) if sections else survey
    needed = ("sense", "readings", "offsets", "uncertainty")
    missing = [f"--{name}" for name in needed if getattr(arguments, name) is None]
    if missing:
        raise SurveyError(
            f"{arguments.survey} comes without a survey.toml; say {', '.join(missing)} too."
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


def _listed(written: str) -> list[str]:
    return [name.strip() for name in written.split(",") if name.strip()]


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


def _plan(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    room, tile, standard, u_mm, style = _job(arguments)
    rules = rules_for(grade_of(standard)[1], tile)
    chosen = [rule for rule in rules if arguments.rule in (None, rule.id)]
    if not chosen:
        named = ", ".join(rule.id for rule in rules)
        raise RuleError(f"rule {arguments.rule!r} is not one of {named}.")
    mark_mm = LENGTH_UNITS["in"] if style.unit == "in" else 10.0
    ahead = plan(room, chosen, u_mm, mark_mm)
    said = plan_words(ahead, style)
    for need in ahead.needs:
        said += resolution_words(resolves(plan(room, [need.rule], u_mm, mark_mm), need.rule), style)
    print("\n".join(said))
    if arguments.sheet:
        # The sheet is for the rule that asks for the fewest readings, unless another was named.
        first = plan(room, [ahead.needs[0].rule], u_mm, mark_mm)
        page = (
            sheet_csv(first, style)
            if arguments.sheet.suffix.lower() == ".csv"
            else sheet_html(first, Heading(title=str(arguments.room)), style)
        )
        _write(arguments.sheet, page, arguments.overwrite)
        print(f"Reading sheet for {ahead.needs[0].rule.id}: {arguments.sheet}")
    return 0


def _may_write(sheet: Path, overwrite: bool) -> None:
    """Raises SurveyError for a sheet of another kind, or in the place of a file that is there."""
    if sheet.suffix.lower() not in SHEETS:
        raise SurveyError(f"{sheet}: a sheet is a {' or '.join(SHEETS)} file.")
    if sheet.exists() and not overwrite:
        raise SurveyError(f"{sheet} is there already; say --overwrite, or give it another name.")


def _write(sheet: Path, page: str, overwrite: bool) -> None:
    try:
        with sheet.open("w" if overwrite else "x", encoding="utf-8") as out:
            out.write(page)
    except OSError as error:
        raise SurveyError(f"{sheet} cannot be written: {error.strerror or error}.") from None


def _falls(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    survey = read_folder(arguments.survey)
    sections: dict[str, dict[str, Any]] = {}
    if arguments.falls:
        sections["standard"] = {"falls": _listed(arguments.falls)}
    if arguments.show:
        sections["units"] = {"show": arguments.show}
    survey = edited(survey, sections) if sections else survey
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
            if arguments.sheet.suffix.lower() == ".csv"
            else screed_html(plans, survey, room, line)
        )
        _write(arguments.sheet, page, arguments.overwrite)
        print(f"Drawing and table: {arguments.sheet}")
    return 0


def _edited(folder: Path, arguments: argparse.Namespace) -> Survey:
    """A survey folder with what the command line says of it."""
    survey, sections = read_folder(folder), {}
    if getattr(arguments, "decision", None):
        sections["standard"] = {"decision": arguments.decision}
    if arguments.show:
        sections["units"] = {"show": arguments.show}
    return edited(survey, sections) if sections else survey


def _correct(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        _may_write(arguments.sheet, arguments.overwrite)
    assessment = assess(_edited(arguments.survey, arguments))

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
            csv = arguments.sheet.suffix.lower() == ".csv"
            page = marks_csv(choice, fix) if csv else marks_html(choice, fix)
            _write(arguments.sheet, page, arguments.overwrite)
            print(f"Drawing and marks: {arguments.sheet}")
    return 0 if choice.fixes else STATUS[Outcome.OUT]


def _interrupted() -> Callable[[], bool]:
    """Whether Ctrl-C was pressed since: a search then ends with the best that it knows."""
    pressed: list[int] = []
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    return lambda: bool(pressed)


def _change(arguments: argparse.Namespace) -> int:
    before, after = (assess(_edited(f, arguments)) for f in (arguments.before, arguments.after))
    planned = None
    if arguments.remedy:
        planned = fix_named(correct(before), arguments.remedy)
    print("\n".join(wrapped(change_words(changed(before, after, planned), after))))
    return STATUS[after.verdict.outcome]


def _flood(arguments: argparse.Namespace) -> int:
    survey = read_folder(arguments.survey)
    at = (parse_length(arguments.at[0]), parse_length(arguments.at[1])) if arguments.at else None
    found = flood_test(assess(survey), parse_length(arguments.depth), at)
    print("\n".join(wrapped([words for zone in found for words in flood_words(zone, survey.show)])))
    return 0


def _job(arguments: argparse.Namespace) -> tuple[Room, Tile | None, str, float, Style]:
    """What is planned for: a survey's own room, tile, rule and instrument, or what was said."""
    folder = Path(arguments.room)
    tile = standard = room = None
    style = STYLES[arguments.show or "in/16"]
    u_mm = None
    if folder.is_dir():
        survey = read_folder(folder)
        if survey.room is None:
            raise SurveyError(f"{folder} gives no outline of the room to plan for.")
        room, tile, standard = survey.room, survey.tile, survey.standard
        u_mm = max((table.u_mm for table in survey.tables), default=None)
        style = STYLES[arguments.show] if arguments.show else survey.show
    else:
        room = _room_of(arguments.room)
    if arguments.tile:
        edges = tile_section(arguments.tile)
        tile = Tile(parse_length(edges["length"]), parse_length(edges["width"]))
    if arguments.uncertainty:
        corners = np.array(room.outline.corners_mm)
        sight = float(np.hypot(*np.ptp(corners, axis=0)))  # from one corner to the other
        u_mm = standard_uncertainty(statement(arguments.uncertainty), sight)
    if u_mm is None:
        raise SurveyError('say how far one reading may be off: --uncertainty "1/32 in".')
    return room, tile, arguments.standard or standard or "us-tile", u_mm, style


def _two_peg(arguments: argparse.Namespace) -> int:
    midway, other, sights = (
        (parse_length(pair[0]), parse_length(pair[1]))
        for pair in (arguments.midway, arguments.other, arguments.sights)
    )
    u_mm = _uncertainty(arguments.uncertainty)
    print("\n".join(two_peg_words(midway, other, sights, u_mm, STYLES[arguments.show])))
    return 0


def _bar(arguments: argparse.Namespace) -> int:
    name, length = arguments.table.name, parse_length(arguments.length)
    cells = cells_of(name, file_bytes(arguments.table, piped=True))
    said = bar_words(
        turned.read(name, cells, arguments.readings, length),
        length,
        arguments.turn,
        _uncertainty(arguments.uncertainty),
        arguments.readings,
        STYLES[arguments.show],
    )
    print("\n".join(said))
    return 0


def _uncertainty(written: str) -> float:
    """The uncertainty of one reading [mm]."""
    u_mm = parse_length(written)
    if not u_mm > 0:
        raise SurveyError(f"--uncertainty {written!r} was expected to be larger than zero.")
    return u_mm


def _standards(arguments: argparse.Namespace) -> int:
    for standard in standards().values():
        print(f"{standard.id}  {standard.title} ({standard.region})")
        for grade in standard.grades:
            print(f"  {standard.id}:{grade.id:<10} {grade.title}")
            for rule in grade.rules:
                print(f"      {rule.words}")
        print(f"  {cite(standard.grades[0].rules[0].citation)}\n")
    return 0


def _page(arguments: argparse.Namespace) -> int:
    from flatcheck.ui.serve import serve

    return serve(arguments.port)
