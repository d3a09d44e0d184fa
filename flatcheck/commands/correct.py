"""What to do with a floor that is out, and what was done."""

import argparse
import math
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flatcheck.assess import assess
from flatcheck.change import changed
from flatcheck.commands.said import STATUS, folder_of, sections_of
from flatcheck.commands.sheets import is_table, may_write, write_sheet
from flatcheck.correction import correct, fix_named
from flatcheck.language import say
from flatcheck.refusal import unjudged
from flatcheck.report.change import change_html, change_words
from flatcheck.report.correction import choice_words
from flatcheck.report.marks import mark_words, marks_csv, marks_html
from flatcheck.report.text import wrapped
from flatcheck.survey import DECISIONS
from flatcheck.units import STYLES
from flatcheck.verdict import Outcome


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    fix = verbs.add_parser(
        "correct", help=say("what to grind, patch, pour or screed, and its price")
    )
    fix.set_defaults(run=run_correct)
    fix.add_argument("survey", type=Path, help=say("survey folder"))
    fix.add_argument(
        "--remedy", help=say("marks for this remedy; the cheapest that passes if not said")
    )
    fix.add_argument("--decision", choices=DECISIONS, help=say("how to decide near a limit"))
    fix.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    fix.add_argument("--sheet", type=Path, help=say("write drawing and marks: .html or .csv"))
    fix.add_argument("--overwrite", action="store_true", help=say("where it is there already"))
    change = verbs.add_parser("change", help=say("before and after the work, on the same floor"))
    change.set_defaults(run=run_change)
    change.add_argument("before", type=Path, help=say("survey folder before the work"))
    change.add_argument("after", type=Path, help=say("survey folder after it"))
    change.add_argument(
        "--remedy", help=say("against the plan of this remedy for the floor before")
    )
    change.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    change.add_argument("--sheet", type=Path, help=say("write a page with both: a .html file"))
    change.add_argument("--overwrite", action="store_true", help=say("where it is there already"))


def run_correct(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite)
    assessment = assess(folder_of(arguments.survey, sections_of(arguments)))

    def tell(remedy: str, number: int, broken: int, least: float, best: float) -> None:
        if sys.stderr.isatty():
            known = (
                say("{least:,.0f} to {most:,.0f}", least=least, most=best)
                if best < math.inf
                else say("{least:,.0f} or more", least=least)
            )
            words = say(
                "{remedy}: round {number}, {known}, {broken:,} to go",
                remedy=remedy,
                number=number,
                known=known,
                broken=broken,
            )
            print(f"\r{words}   ", end="", file=sys.stderr)

    stop = interrupted()
    choice = correct(assessment, tell, stop)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    print("\n".join(wrapped(choice_words(choice))))
    fix = fix_named(choice, arguments.remedy)
    if fix is not None and fix.proposal.id != "nothing":
        print("\n" + say("{remedy}, on the floor:", remedy=fix.proposal.title))
        print("\n".join(wrapped(mark_words(choice, fix))))
        if arguments.sheet:
            page = (marks_csv if is_table(arguments.sheet) else marks_html)(choice, fix)
            write_sheet(arguments.sheet, page, arguments.overwrite)
            print(say("Drawing and marks: {sheet}", sheet=arguments.sheet))
    if choice.fixes:
        return 0
    return STATUS[Outcome.NOT_ASSESSED if unjudged(choice.site) else Outcome.OUT]


def interrupted() -> Callable[[], bool]:
    """Whether Ctrl-C was pressed since: a search then ends with the best that it knows."""
    pressed: list[int] = []
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    return lambda: bool(pressed)


def run_change(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite, (".html",))
    before, after = (
        assess(folder_of(path, sections_of(arguments)))
        for path in (arguments.before, arguments.after)
    )
    planned = None
    if arguments.remedy:
        planned = fix_named(correct(before), arguments.remedy)
    found = changed(before, after, planned)
    print("\n".join(wrapped(change_words(found, after))))
    if arguments.sheet:
        write_sheet(arguments.sheet, change_html(found, before, after), arguments.overwrite)
    return STATUS[after.verdict.outcome]
