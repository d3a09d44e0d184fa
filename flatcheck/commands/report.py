"""Write the report, and verify one."""

import argparse
from datetime import date
from pathlib import Path
from typing import Any

from flatcheck.commands.correct import interrupted
from flatcheck.commands.said import STATUS, folder_of, sections_of
from flatcheck.commands.sheets import may_write, write_sheet
from flatcheck.errors import SurveyError
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.language import say
from flatcheck.readers.folder import file_bytes, read_folder
from flatcheck.report.case import case_of
from flatcheck.report.dossier import report_html
from flatcheck.report.ledger import packed, write_tables
from flatcheck.report.proof import MOST_BYTES as MOST_REPORT
from flatcheck.report.proof import apart_from, proof_words, proven
from flatcheck.report.text import wrapped
from flatcheck.survey import DECISIONS
from flatcheck.units import STYLES


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    report = verbs.add_parser(
        "report", help=say("write the report, for the client and for the file")
    )
    report.set_defaults(run=run_report)
    report.add_argument("survey", type=Path, help=say("survey folder"))
    report.add_argument("-o", "--out", type=Path, help=say("the report: a .html file"))
    report.add_argument(
        "--tables", type=Path, help=say("all of it as CSV: a .zip file, or a folder")
    )
    report.add_argument(
        "--before", type=Path, help=say("survey folder of the floor before the work")
    )
    report.add_argument("--remedy", help=say("the remedy to be done; the cheapest if not said"))
    report.add_argument("--decision", choices=DECISIONS, help=say("how to decide near a limit"))
    report.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    report.add_argument("--overwrite", action="store_true", help=say("where it is there already"))
    verify = verbs.add_parser(
        "verify",
        help=say("whether a report agrees with itself, and with a survey"),
        epilog=say(
            "exit status: 0 it does, 1 it does not, 2 not a report, 70 a fault in flatcheck"
        ),
    )
    verify.set_defaults(run=run_verify)
    verify.add_argument("report", type=Path, help=say("a report: a .html file"))
    verify.add_argument("survey", type=Path, nargs="?", help=say("survey folder it should be of"))


def run_report(arguments: argparse.Namespace) -> int:
    report, tables = arguments.out, arguments.tables
    if report is None and tables is None:
        raise SurveyError(
            say("say where the report goes: -o report.html, --tables tables.zip, or both.")
        )
    if report is not None:
        may_write(report, arguments.overwrite, (".html",))
    if tables is not None and tables.exists() and not arguments.overwrite:
        raise SurveyError(
            say("{file} is there already; say --overwrite, or give it another name.", file=tables)
        )
    survey = folder_of(arguments.survey, sections_of(arguments))
    before = read_folder(arguments.before) if arguments.before else None
    case = case_of(survey, before, arguments.remedy, interrupted())
    if report is not None:
        write_sheet(report, report_html(case, date.today()), arguments.overwrite)
        print(say("Report: {file}", file=report))
    if tables is not None and tables.suffix.lower() == ".zip":
        write_sheet(tables, packed(case), arguments.overwrite)
    elif tables is not None:
        write_tables(case, tables)
    if tables is not None:
        print(say("Tables: {file}", file=tables))
    print(
        say(
            "{outcome}. Fingerprint of the readings: {fingerprint}",
            outcome=say(case.outcome).upper(),
            fingerprint=fingerprint(canonical(survey)),
        )
    )
    return STATUS[case.outcome]


def run_verify(arguments: argparse.Namespace) -> int:
    report = arguments.report
    found = proven(report.name, file_bytes(report, MOST_REPORT))
    survey = read_folder(arguments.survey) if arguments.survey else None
    print("\n".join(wrapped(proof_words(report.name, found, survey))))
    return int(bool(found.problems or (survey and apart_from(found, survey))))
