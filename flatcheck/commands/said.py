"""What the command line says of a survey, a room, a tile or a reading."""

import argparse
import re
import sys
from pathlib import Path
from typing import Any

from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.instrument import Statement, statement
from flatcheck.language import say
from flatcheck.readers.cells import MOST_BYTES, cells_of
from flatcheck.readers.folder import BARE_KINDS, bare, edited, file_bytes, read_folder
from flatcheck.room import Room, rectangle
from flatcheck.survey import DECISIONS, SENSES, Survey
from flatcheck.units import LENGTH_UNITS, STYLES, parse_length
from flatcheck.verdict import Outcome

EPILOG = say(
    "exit status: 0 within, 1 out, 2 bad input, 3 too close to call or not assessed,\n"
    "70 a fault in flatcheck itself.\n"
    "A folder is a survey with its survey.toml; a file is a bare table, for which --sense, "
    "--readings,\n"
    "--offsets and --uncertainty must be said; - reads cells pasted on standard input."
)

STATUS = {Outcome.WITHIN: 0, Outcome.OUT: 1, Outcome.CLOSE: 3, Outcome.NOT_ASSESSED: 3}
"""The exit status of a verdict."""


def add_survey(parser: argparse.ArgumentParser) -> None:
    """What names a survey, in a folder or as a bare table, and how it is told."""
    parser.add_argument(
        "survey", help=say("survey folder, file of readings, or - for pasted cells")
    )
    parser.add_argument("--json", action="store_true", help=say("print it as JSON, in mm"))
    parser.add_argument("--decision", choices=DECISIONS, help=say("how to decide near a limit"))
    parser.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    bare_table = parser.add_argument_group(say("a bare table"))
    bare_table.add_argument("--kind", choices=BARE_KINDS, default="grid")
    bare_table.add_argument("--sense", choices=SENSES, help=say("rod: larger is lower"))
    bare_table.add_argument(
        "--readings", choices=tuple(LENGTH_UNITS), help=say("unit of bare readings")
    )
    bare_table.add_argument(
        "--offsets", choices=tuple(LENGTH_UNITS), help=say("unit of bare offsets")
    )
    bare_table.add_argument("--uncertainty", help=say('how far a reading may be off: "1/32 in"'))
    bare_table.add_argument("--sight", help=say('longest distance read, for "1/8 in at 30 ft"'))


def sections_of(arguments: argparse.Namespace) -> dict[str, dict[str, Any]]:
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


def folder_of(path: Path, sections: dict[str, dict[str, Any]]) -> Survey:
    """A survey folder with what the command line says of it."""
    survey = read_folder(path)
    if "kind" in sections.get("pattern", {}):
        survey = edited(survey, {"pattern": None})  # another pattern keeps nothing of the first
    return edited(survey, sections) if sections else survey


def survey_of(arguments: argparse.Namespace) -> Survey:
    sections = sections_of(arguments)
    path = Path(arguments.survey)
    if path.name == DOCUMENT:
        path = path.parent
    if path.is_dir():
        return folder_of(path, sections)
    if arguments.survey != "-" and not path.exists():
        raise SurveyError(
            say("{survey}: there is no such folder or file.", survey=arguments.survey)
        )
    needed = ("sense", "readings", "offsets", "uncertainty")
    missing = [f"--{name}" for name in needed if getattr(arguments, name) is None]
    if missing:
        raise SurveyError(
            say(
                "{survey} comes without a survey.toml; say {missing} too.",
                survey=arguments.survey,
                missing=", ".join(missing),
            )
        )
    stated = stated_of(arguments.uncertainty, arguments.readings)
    if stated.by_distance and not arguments.sight:
        raise SurveyError(
            say(
                "{given} grows with the distance; say {key} too, the longest distance that was "
                "read.",
                given=f"--uncertainty {arguments.uncertainty!r}",
                key="--sight",
            )
        )
    pasted = arguments.survey == "-"
    if pasted and sys.stdin is None:
        raise SurveyError(say("no cells were pasted: standard input is closed."))
    data = sys.stdin.buffer.read(MOST_BYTES + 1) if pasted else file_bytes(path, piped=True)
    name = say("pasted cells") if pasted else path.name
    return bare(
        name,
        cells_of(name, data),
        kind=arguments.kind,
        sections=sections,
        **{key: getattr(arguments, key) for key in needed},
    )


def tile_section(written: str) -> dict[str, str]:
    """A tile size written as `12 x 24 in` or `600x300mm`, as a section of a survey document."""
    edges = edges_of(written)
    if edges is None:
        raise SurveyError(
            say(
                'tile {written!r} was expected as two edges, such as "12 x 24 in".', written=written
            )
        )
    return dict(zip(("length", "width"), edges, strict=True))


def edges_of(written: str) -> tuple[str, str] | None:
    """Two lengths written with an x between them; None where there are no two."""
    edges = re.split(r"\s*(?:x|×|\bby\b)\s*", written.strip().lower())
    if len(edges) != 2:
        return None
    # A unit said once, after the second edge, holds for both.
    unit = re.search(r"[a-z\"'″′]+$", edges[1])
    if unit and not re.search(r"[a-z\"'″′]$", edges[0]):
        edges[0] = f"{edges[0]} {unit.group()}"
    return edges[0], edges[1]


def room_of(written: str) -> Room:
    """A rectangular room by its size, such as `12 x 14 ft`."""
    edges = edges_of(written)
    if edges is None:
        raise SurveyError(
            say(
                "{written!r} is neither a survey folder nor the size of a room, such as "
                '"12 x 14 ft".',
                written=written,
            )
        )
    try:
        east, north = map(parse_length, edges)
    except UnitsError as error:
        raise SurveyError(say("room {written!r}: {error}", written=written, error=error)) from None
    if not min(east, north) > 0:
        raise SurveyError(
            say(
                "room {written!r}: both sides were expected to be larger than zero.",
                written=written,
            )
        )
    return Room(rectangle(0, 0, east, north))


def stated_of(written: str, unit: str | None = None) -> Statement:
    """What is said of one reading on the command line; bare numbers are in `unit`."""
    try:
        return statement(written, unit)
    except FlatcheckError as error:
        raise SurveyError(f"--uncertainty: {error}") from None
