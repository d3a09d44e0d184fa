"""The slab's own numbers, and samples drawn by lot."""

import argparse
import json
import secrets
from pathlib import Path
from typing import Any

from flatcheck.commands.said import (
    EPILOG,
    STATUS,
    add_survey,
    folder_of,
    room_of,
    sections_of,
    survey_of,
    tile_section,
)
from flatcheck.commands.sheets import may_write, write_sheet
from flatcheck.fnumber import slab_numbers
from flatcheck.language import say
from flatcheck.readers.folder import read_folder
from flatcheck.report.sample import plan_csv, tally_record, tally_words
from flatcheck.report.sample import plan_words as sample_words
from flatcheck.report.slab import slab_record, slab_words
from flatcheck.report.text import wrapped
from flatcheck.sampling import about_of, draw, may_sample
from flatcheck.scheme import scheme_named
from flatcheck.survey import DECISIONS
from flatcheck.tally import tally
from flatcheck.tile import Tile
from flatcheck.units import STYLES, parse_length
from flatcheck.verdict import Outcome, chosen
from flatcheck.waviness import waviness


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    numbers = verbs.add_parser(
        "numbers",
        help=say("FF, FL and waviness of a slab"),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    numbers.set_defaults(run=run_numbers)
    add_survey(numbers)
    numbers.add_argument("--specified", help=say('what was asked for: "35/25", or a class: flat'))
    numbers.add_argument("--local", type=float, help=say("share of it that any section must reach"))
    lot = verbs.add_parser("sample", help=say("draw by lot where to lay the straightedge"))
    lot.set_defaults(run=run_sample)
    lot.add_argument("room", help=say('survey folder with a room, or its size: "12 x 14 ft"'))
    lot.add_argument("--standard", required=True, help=say("such as aci-bar:flat or bs-8204:SR1"))
    lot.add_argument("--tile", help=say('where the rule depends on it: "12 x 24 in"'))
    lot.add_argument("--seed", type=int, help=say("draw again what was drawn with this number"))
    lot.add_argument(
        "--count", type=int, help=say("placements of each bar; what is asked if not said")
    )
    lot.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    lot.add_argument("--sheet", type=Path, help=say("write a sheet to fill in: a .csv file"))
    lot.add_argument("--overwrite", action="store_true", help=say("where it is there already"))
    count = verbs.add_parser("tally", help=say("judge a sample of straightedge placements"))
    count.set_defaults(run=run_tally)
    count.add_argument("survey", type=Path, help=say("survey folder with gaps and [sample]"))
    count.add_argument("--standard", dest="scheme", help=say("instead of the one in [sample]"))
    count.add_argument("--json", action="store_true", help=say("print the verdict as JSON, in mm"))
    count.add_argument("--decision", choices=DECISIONS, help=say("how to decide near a limit"))
    count.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))


def run_numbers(arguments: argparse.Namespace) -> int:
    survey = survey_of(arguments)
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
        may_write(arguments.sheet, arguments.overwrite, (".csv",))
    folder = Path(arguments.room)
    tile, style, about = None, None, "floor"
    if folder.is_dir():
        survey = read_folder(folder)
        room, tile, style, about = may_sample(survey), survey.tile, survey.show, about_of(survey)
    else:
        room = room_of(arguments.room)
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
        write_sheet(arguments.sheet, plan_csv(plan, style), arguments.overwrite)
        print(say("Sheet to fill in: {sheet}", sheet=arguments.sheet))
    return 0


def run_tally(arguments: argparse.Namespace) -> int:
    survey = folder_of(arguments.survey, sections_of(arguments))
    found = tally(survey, arguments.scheme)
    if arguments.json:
        print(json.dumps(tally_record(found, survey), indent=2, allow_nan=False))
    else:
        print("\n".join(wrapped(tally_words(found, survey))))
    return STATUS[found.outcome]
