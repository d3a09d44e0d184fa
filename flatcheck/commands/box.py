"""Judge the tiles of a box that were measured by themselves."""

import argparse
import json
from pathlib import Path
from typing import Any

from flatcheck.box import judge_box
from flatcheck.commands.said import STATUS, folder_of, sections_of
from flatcheck.language import say
from flatcheck.report.box import box_record, box_words
from flatcheck.report.text import wrapped
from flatcheck.survey import DECISIONS
from flatcheck.units import STYLES


def add(verbs: Any) -> None:
    """The command of this file, with what may be said to it."""
    box = verbs.add_parser(
        "box", help=say("whether the tiles measured are as flat as they should be")
    )
    box.set_defaults(run=run_box)
    box.add_argument(
        "survey", type=Path, help=say("survey folder with tiles on a bench or in pairs")
    )
    box.add_argument(
        "--product", help=say("class of tile, such as ansi-rectified; every one if not")
    )
    box.add_argument("--json", action="store_true", help=say("print it as JSON, in mm"))
    box.add_argument("--decision", choices=DECISIONS, help=say("how to decide near a limit"))
    box.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))


def run_box(arguments: argparse.Namespace) -> int:
    survey = folder_of(arguments.survey, sections_of(arguments))
    box = judge_box(survey, arguments.product)
    if arguments.json:
        print(json.dumps(box_record(box), indent=2, allow_nan=False))
    else:
        print("\n".join(wrapped(box_words(box, survey))))
    return STATUS[box.outcome] if box.named else 0
