"""Judge a survey by its standards, or by every one."""

import argparse
import json
from pathlib import Path
from typing import Any

from flatcheck.commands.said import EPILOG, STATUS, add_survey, survey_of
from flatcheck.commands.sheets import may_write, write_sheet
from flatcheck.compare import compare
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.report.case import judged
from flatcheck.report.compare import compare_record, compare_text
from flatcheck.report.lippage import lippage_record, lippage_words
from flatcheck.report.reach import reach_html
from flatcheck.report.text import record, text, wrapped
from flatcheck.verdict import gravest


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    check = verbs.add_parser(
        "check",
        help=say("judge a survey"),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    check.set_defaults(run=run_check)
    add_survey(check)
    check.add_argument("--tile", help=say('tile size, such as "12 x 24 in"'))
    check.add_argument("--standard", help=say("standard:grade; see `flatcheck standards`"))
    check.add_argument("--reach", type=Path, help=say("write maps of what could be judged: .html"))
    check.add_argument(
        "--overwrite", action="store_true", help=say("where that file is there already")
    )
    check.add_argument("--falls", help=say("standards for falls, with commas between them"))
    check.add_argument("--lippage", help=say("standard:grade for steps between tiles"))
    every = verbs.add_parser("compare", help=say("a survey against every standard, in one table"))
    every.set_defaults(run=run_compare)
    add_survey(every)
    every.add_argument("--tile", help=say('tile size, such as "12 x 24 in"'))


def run_check(arguments: argparse.Namespace) -> int:
    if arguments.reach:
        may_write(arguments.reach, arguments.overwrite, (".html",))
    survey = survey_of(arguments)
    assessment, lippage = judged(survey)
    outcomes, pages = [], []
    said: dict[str, Any] = {"title": survey.title}
    if assessment:
        outcomes.append(assessment.verdict.outcome)
        if arguments.json:
            said = record(assessment)
        else:
            pages.append(text(assessment))
    if lippage:
        outcomes.append(lippage.outcome)
        # The graver answer stands first.
        first = 0 if gravest(outcomes) is not outcomes[0] else len(pages)
        pages.insert(first, "\n".join(wrapped(lippage_words(lippage, survey))) + "\n")
        said["lippage"] = lippage_record(lippage)
    elif survey.lippage:
        pages.append(
            say("Lippage was not read and is not judged; `flatcheck forecast` says what to expect.")
            + "\n"
        )
    elif any(table.kind == "corners" for table in survey.tables):
        pages.append(
            say(
                "Steps between tile corners were read and are not judged: name a standard for "
                "them, such as --lippage us-lippage."
            )
            + "\n"
        )
    if arguments.reach and assessment is None:
        raise SurveyError(say("no heights were read, so there is no map of what could be judged."))
    if arguments.reach and assessment:
        write_sheet(arguments.reach, reach_html(assessment), arguments.overwrite)
    if arguments.json:
        print(json.dumps(said, indent=2, allow_nan=False))
    else:
        print("\n".join(pages), end="")
    return STATUS[gravest(outcomes)]


def run_compare(arguments: argparse.Namespace) -> int:
    found = compare(survey_of(arguments))
    if arguments.json:
        print(json.dumps(compare_record(found), indent=2, allow_nan=False))
    else:
        print(compare_text(found), end="")
    return 0
