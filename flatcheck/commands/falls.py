"""Plan the falls of a floor, and the water of its flood test."""

import argparse
from pathlib import Path
from typing import Any

from flatcheck.assess import assess
from flatcheck.commands.said import folder_of, sections_of
from flatcheck.commands.sheets import is_table, may_write, write_sheet
from flatcheck.falls import flood_test
from flatcheck.language import say
from flatcheck.readers.folder import read_folder
from flatcheck.report.falls import flood_words
from flatcheck.report.screed import screed_csv, screed_html, screed_words
from flatcheck.report.text import wrapped
from flatcheck.screed import screeds
from flatcheck.units import STYLES, parse_length


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    screed = verbs.add_parser("falls", help=say("plan the falls: the heights to screed to"))
    screed.set_defaults(run=run_falls)
    screed.add_argument("survey", type=Path, help=say("survey folder with a drain"))
    screed.add_argument("--falls", help=say("standards for falls, with commas between them"))
    screed.add_argument(
        "--spacing", help=say("between marks along a wall; 12 in or 300 mm if not said")
    )
    screed.add_argument("--line", help=say("height of a level line above the drain's rim"))
    screed.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    screed.add_argument("--sheet", type=Path, help=say("write drawing and table: .html or .csv"))
    screed.add_argument("--overwrite", action="store_true", help=say("where it is there already"))
    water = verbs.add_parser("flood", help=say("the water of a flood test"))
    water.set_defaults(run=run_flood)
    water.add_argument("survey", type=Path, help=say("survey folder of a floor that falls"))
    water.add_argument(
        "depth", help=say('how deep it stands there, or on the highest place: "2 in"')
    )
    water.add_argument(
        "--at", nargs=2, metavar=("EAST", "NORTH"), help=say("at the foot of the curb")
    )


def run_falls(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite)
    survey = folder_of(arguments.survey, sections_of(arguments))
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
            if is_table(arguments.sheet)
            else screed_html(plans, survey, room, line)
        )
        write_sheet(arguments.sheet, page, arguments.overwrite)
        print(say("Drawing and table: {sheet}", sheet=arguments.sheet))
    return 0


def run_flood(arguments: argparse.Namespace) -> int:
    survey = read_folder(arguments.survey)
    at = (parse_length(arguments.at[0]), parse_length(arguments.at[1])) if arguments.at else None
    found = flood_test(assess(survey), parse_length(arguments.depth), at)
    print("\n".join(wrapped([words for zone in found for words in flood_words(zone, survey.show)])))
    return 0
