"""The command line: a verdict that can be read aloud, and an exit status that says it too."""

import argparse
import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from flatcheck.assess import assess
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.readers.cells import MOST_BYTES, cells_of
from flatcheck.readers.folder import BARE_KINDS, bare, edited, file_bytes, read_folder
from flatcheck.report.text import cite, record, text
from flatcheck.rules import standards
from flatcheck.survey import DECISIONS, SENSES, Survey
from flatcheck.units import LENGTH_UNITS, STYLES
from flatcheck.verdict import Outcome

STATUS = {Outcome.WITHIN: 0, Outcome.OUT: 1, Outcome.CLOSE: 3, Outcome.NOT_ASSESSED: 3}
BAD_INPUT = 2

EPILOG = """exit status: 0 within, 1 out, 2 bad input, 3 too close to call or not assessed.
A folder is a survey with its survey.toml; a file is a bare table, for which --sense, --readings,
--offsets and --uncertainty must be said; - reads cells pasted on standard input."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    arguments = _parser().parse_args(argv)
    try:
        status: int = arguments.run(arguments)
    except FlatcheckError as error:
        print(f"flatcheck: {error}", file=sys.stderr)
        return BAD_INPUT
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
    check.add_argument("--decision", choices=DECISIONS, help="how to decide near a limit")
    check.add_argument("--show", choices=tuple(STYLES), help="units to print")
    bare_table = check.add_argument_group("a bare table")
    bare_table.add_argument("--kind", choices=BARE_KINDS, default="grid")
    bare_table.add_argument("--sense", choices=SENSES, help="rod: larger is lower")
    bare_table.add_argument("--readings", choices=tuple(LENGTH_UNITS), help="unit of bare readings")
    bare_table.add_argument("--offsets", choices=tuple(LENGTH_UNITS), help="unit of bare offsets")
    bare_table.add_argument("--uncertainty", help='how far a reading may be off: "1/32 in"')
    shelf = commands.add_parser("standards", help="list the standards and their grades")
    shelf.set_defaults(run=_standards)
    page = commands.add_parser("page", help="open the page in a browser, on this machine only")
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
    if arguments.decision:
        sections.setdefault("standard", {})["decision"] = arguments.decision
    if arguments.show:
        sections["units"] = {"show": arguments.show}
    path = Path(arguments.survey)
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
    data = sys.stdin.buffer.read(MOST_BYTES + 1) if pasted else file_bytes(path)
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
    edges = re.split(r"\s*(?:x|×|\bby\b)\s*", written.strip().lower())
    if len(edges) != 2:
        raise SurveyError(f'tile {written!r} was expected as two edges, such as "12 x 24 in".')
    # A unit said once, after the second edge, holds for both.
    unit = re.search(r"[a-z\"'″′]+$", edges[1])
    if unit and not re.search(r"[a-z\"'″′]$", edges[0]):
        edges[0] = f"{edges[0]} {unit.group()}"
    return {"length": edges[0], "width": edges[1]}


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
