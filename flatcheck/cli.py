"""The command line: a verdict that can be read aloud, and an exit status that says it too."""

import argparse
import errno
import io
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from flatcheck.bond import KINDS
from flatcheck.commands import (
    run_bar,
    run_change,
    run_check,
    run_choose,
    run_compare,
    run_correct,
    run_falls,
    run_flood,
    run_forecast,
    run_lay,
    run_numbers,
    run_page,
    run_plan,
    run_report,
    run_sample,
    run_standards,
    run_tally,
    run_two_peg,
    run_verify,
)
from flatcheck.errors import FlatcheckError
from flatcheck.instrument import TURNS
from flatcheck.readers.folder import BARE_KINDS
from flatcheck.report.kit import RODS
from flatcheck.survey import DECISIONS, SENSES
from flatcheck.units import LENGTH_UNITS, STYLES

BAD_INPUT = 2
BUG = 70
NOBODY_READS = 141
"""What a shell reports of a program whose reader went away: 128 and the number of SIGPIPE."""

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
        _say_no_more()
        return NOBODY_READS
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENOSPC:
            _say_no_more()
            print("flatcheck: there is no room left for what it has to say.", file=sys.stderr)
            return BAD_INPUT
        # Python itself would end with 1, which says that the floor is out.
        traceback.print_exc()
        return BUG
    return status


def _say_no_more() -> None:
    """What is still unsaid goes nowhere, or Python would try to say it once more at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="flatcheck", description="Is this floor flat enough for this tile, and where not?"
    )
    verbs = parser.add_subparsers(required=True, metavar="command")
    check = verbs.add_parser(
        "check",
        help="judge a survey",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    check.set_defaults(run=run_check)
    _survey_arguments(check)
    check.add_argument("--tile", help='tile size, such as "12 x 24 in"')
    check.add_argument("--standard", help="standard:grade; see `flatcheck standards`")
    check.add_argument("--reach", type=Path, help="write maps of what could be judged: .html")
    check.add_argument("--overwrite", action="store_true", help="where that file is there already")
    check.add_argument("--falls", help="standards for falls, with commas between them")
    check.add_argument("--lippage", help="standard:grade for steps between tiles")
    numbers = verbs.add_parser(
        "numbers",
        help="FF, FL and waviness of a slab",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    numbers.set_defaults(run=run_numbers)
    _survey_arguments(numbers)
    numbers.add_argument("--specified", help='what was asked for: "35/25", or a class: flat')
    numbers.add_argument("--local", type=float, help="share of it that any section must reach")
    lot = verbs.add_parser("sample", help="draw by lot where to lay the straightedge")
    lot.set_defaults(run=run_sample)
    lot.add_argument("room", help='survey folder with a room, or its size: "12 x 14 ft"')
    lot.add_argument("--standard", required=True, help="such as aci-bar:flat or bs-8204:SR1")
    lot.add_argument("--tile", help='where the rule depends on it: "12 x 24 in"')
    lot.add_argument("--seed", type=int, help="draw again what was drawn with this number")
    lot.add_argument("--count", type=int, help="placements of each bar; what is asked if not said")
    lot.add_argument("--show", choices=tuple(STYLES), help="units to print")
    lot.add_argument("--sheet", type=Path, help="write a sheet to fill in: a .csv file")
    lot.add_argument("--overwrite", action="store_true", help="where it is there already")
    count = verbs.add_parser("tally", help="judge a sample of straightedge placements")
    count.set_defaults(run=run_tally)
    count.add_argument("survey", type=Path, help="survey folder with gaps and [sample]")
    count.add_argument("--standard", dest="scheme", help="instead of the one in [sample]")
    count.add_argument("--json", action="store_true", help="print the verdict as JSON, in mm")
    count.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    count.add_argument("--show", choices=tuple(STYLES), help="units to print")
    every = verbs.add_parser("compare", help="a survey against every standard, in one table")
    every.set_defaults(run=run_compare)
    _survey_arguments(every)
    every.add_argument("--tile", help='tile size, such as "12 x 24 in"')
    ahead = verbs.add_parser("plan", help="plan the readings for a room, and print a sheet")
    ahead.set_defaults(run=run_plan)
    ahead.add_argument("room", help='survey folder with a room, or its size: "12 x 14 ft"')
    ahead.add_argument("--tile", help='tile size, such as "12 x 24 in"')
    ahead.add_argument("--standard", help="standard:grade; see `flatcheck standards`")
    ahead.add_argument("--uncertainty", help='how far a reading may be off: "1/8 in at 30 ft"')
    ahead.add_argument("--rule", help="plan for this rule of the grade alone: 10ft, 24in")
    ahead.add_argument("--show", choices=tuple(STYLES), help="units to print")
    ahead.add_argument("--sheet", type=Path, help="write a reading sheet: a .html or .csv file")
    ahead.add_argument("--overwrite", action="store_true", help="where the sheet is there already")
    screed = verbs.add_parser("falls", help="plan the falls: the heights to screed to")
    screed.set_defaults(run=run_falls)
    screed.add_argument("survey", type=Path, help="survey folder with a drain")
    screed.add_argument("--falls", help="standards for falls, with commas between them")
    screed.add_argument("--spacing", help="between marks along a wall; 12 in or 300 mm if not said")
    screed.add_argument("--line", help="height of a level line above the drain's rim")
    screed.add_argument("--show", choices=tuple(STYLES), help="units to print")
    screed.add_argument("--sheet", type=Path, help="write drawing and table: .html or .csv")
    screed.add_argument("--overwrite", action="store_true", help="where it is there already")
    water = verbs.add_parser("flood", help="the water of a flood test")
    water.set_defaults(run=run_flood)
    water.add_argument("survey", type=Path, help="survey folder of a floor that falls")
    water.add_argument("depth", help='how deep it stands there, or on the highest place: "2 in"')
    water.add_argument("--at", nargs=2, metavar=("EAST", "NORTH"), help="at the foot of the curb")
    fix = verbs.add_parser("correct", help="what to grind, patch, pour or screed, and its price")
    fix.set_defaults(run=run_correct)
    fix.add_argument("survey", type=Path, help="survey folder")
    fix.add_argument("--remedy", help="marks for this remedy; the cheapest that passes if not said")
    fix.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    fix.add_argument("--show", choices=tuple(STYLES), help="units to print")
    fix.add_argument("--sheet", type=Path, help="write drawing and marks: .html or .csv")
    fix.add_argument("--overwrite", action="store_true", help="where it is there already")
    change = verbs.add_parser("change", help="before and after the work, on the same floor")
    change.set_defaults(run=run_change)
    change.add_argument("before", type=Path, help="survey folder before the work")
    change.add_argument("after", type=Path, help="survey folder after it")
    change.add_argument("--remedy", help="against the plan of this remedy for the floor before")
    change.add_argument("--show", choices=tuple(STYLES), help="units to print")
    change.add_argument("--sheet", type=Path, help="write a page with both: a .html file")
    change.add_argument("--overwrite", action="store_true", help="where it is there already")
    _tile_verbs(verbs)
    report = verbs.add_parser("report", help="write the report, for the client and for the file")
    report.set_defaults(run=run_report)
    report.add_argument("survey", type=Path, help="survey folder")
    report.add_argument("-o", "--out", type=Path, help="the report: a .html file")
    report.add_argument("--tables", type=Path, help="all of it as CSV: a .zip file, or a folder")
    report.add_argument("--before", type=Path, help="survey folder of the floor before the work")
    report.add_argument("--remedy", help="the remedy to be done; the cheapest if not said")
    report.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    report.add_argument("--show", choices=tuple(STYLES), help="units to print")
    report.add_argument("--overwrite", action="store_true", help="where it is there already")
    verify = verbs.add_parser(
        "verify",
        help="whether a report agrees with itself, and with a survey",
        epilog="exit status: 0 it does, 1 it does not, 2 not a report, 70 a fault in flatcheck",
    )
    verify.set_defaults(run=run_verify)
    verify.add_argument("report", type=Path, help="a report: a .html file")
    verify.add_argument("survey", type=Path, nargs="?", help="survey folder it should be of")
    pegs = verbs.add_parser("two-peg", help="test a level: does its line of sight rise or fall")
    pegs.set_defaults(run=run_two_peg)
    pegs.add_argument("midway", nargs=2, help="readings on pegs A and B from midway")
    pegs.add_argument("other", nargs=2, help="readings on A and B from the other place")
    pegs.add_argument("sights", nargs=2, help="distances of that place to A and to B")
    pegs.add_argument("--uncertainty", default=RODS, help='of one reading: "reading to 1/16"')
    pegs.add_argument("--show", choices=tuple(STYLES), help="units to print; those typed, if not")
    bar = verbs.add_parser("bar", help="test a straightedge that was read twice, turned")
    bar.set_defaults(run=run_bar)
    bar.add_argument("table", type=Path, help="table with the columns at, first and turned")
    bar.add_argument("length", help='length of the bar, such as "6 ft"')
    bar.add_argument("--turn", choices=TURNS, default=TURNS[1])
    bar.add_argument("--readings", choices=tuple(LENGTH_UNITS), default="mm")
    bar.add_argument("--uncertainty", default="0.1 mm", help='of one gap: "reading to 1/64"')
    bar.add_argument("--show", choices=tuple(STYLES), help="units to print; those typed, if not")
    shelf = verbs.add_parser("standards", help="list the standards and their grades")
    shelf.set_defaults(run=run_standards)
    page = verbs.add_parser("page", help="serve the page to a browser")
    page.set_defaults(run=run_page)
    page.add_argument("--port", type=int, default=8501)
    page.add_argument(
        "--store", type=Path, help="keep surveys in this folder, not in the usual one"
    )
    page.add_argument(
        "--phone",
        action="store_true",
        help="open it to the network too: prints the address for a phone, with a key",
    )
    return parser


def _survey_arguments(parser: argparse.ArgumentParser) -> None:
    """What names a survey, in a folder or as a bare table, and how it is told."""
    parser.add_argument("survey", help="survey folder, file of readings, or - for pasted cells")
    parser.add_argument("--json", action="store_true", help="print it as JSON, in mm")
    parser.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    parser.add_argument("--show", choices=tuple(STYLES), help="units to print")
    bare_table = parser.add_argument_group("a bare table")
    bare_table.add_argument("--kind", choices=BARE_KINDS, default="grid")
    bare_table.add_argument("--sense", choices=SENSES, help="rod: larger is lower")
    bare_table.add_argument("--readings", choices=tuple(LENGTH_UNITS), help="unit of bare readings")
    bare_table.add_argument("--offsets", choices=tuple(LENGTH_UNITS), help="unit of bare offsets")
    bare_table.add_argument("--uncertainty", help='how far a reading may be off: "1/32 in"')
    bare_table.add_argument("--sight", help='longest distance read, for "1/8 in at 30 ft"')


def _tile_verbs(verbs: Any) -> None:
    """The commands about the tile: lay it on the plan, foresee its lippage, choose another."""
    lay = verbs.add_parser("lay", help="lay the tile on the plan: whole and cut ones, slivers")
    lay.set_defaults(run=run_lay)
    lay.add_argument("room", help='survey folder, or the size of a room: "12 x 14 ft"')
    ahead = verbs.add_parser("forecast", help="what lippage this tile will have on this floor")
    ahead.set_defaults(run=run_forecast)
    ahead.add_argument("survey", type=Path, help="survey folder")
    ahead.add_argument("--quick", action="store_true", help="do not try corrections of the floor")
    choose = verbs.add_parser("choose", help="tiles and patterns on this floor, side by side")
    choose.set_defaults(run=run_choose)
    choose.add_argument("survey", type=Path, help="survey folder")
    choose.add_argument(
        "--with",
        dest="tiles",
        action="append",
        metavar="SIZE",
        help="another tile, or more",
    )
    choose.add_argument(
        "--or",
        dest="patterns",
        action="append",
        metavar="PATTERN",
        help='such as "running bond 1/3"',
    )
    for one in (lay, ahead, choose):
        one.add_argument("--tile", help='tile size, such as "12 x 24 in"')
        one.add_argument("--joint", help="width of the joint")
        one.add_argument("--pattern", choices=KINDS, help="how the tile lies")
        one.add_argument("--offset", help='of running bond: "1/3"')
        one.add_argument("--rotation", type=float, help="degrees, counter-clockwise")
        one.add_argument("--origin", nargs=2, metavar=("EAST", "NORTH"), help="a corner of a tile")
        one.add_argument("--show", choices=tuple(STYLES), help="units to print")
        one.add_argument("--sheet", type=Path, help="write a page to print: a .html file")
        one.add_argument("--overwrite", action="store_true", help="where it is there already")
    for one in (ahead, choose):
        one.add_argument("--lippage", help="standard:grade for steps between tiles")
        one.add_argument("--bed", nargs=2, metavar=("LEAST", "MOST"), help="mortar under the tile")
        one.add_argument("--cap", help="how far a tile may leave the plane it should lie on")
        one.add_argument("--spacers", help="the step that leveling spacers leave")
