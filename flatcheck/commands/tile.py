"""Lay the tile on the plan, foresee its lippage, choose another."""

import argparse
import re
import sys
from pathlib import Path
from typing import Any

from flatcheck.assess import assess
from flatcheck.bond import KINDS, Pattern
from flatcheck.commands.said import STATUS, folder_of, room_of, sections_of, tile_section
from flatcheck.commands.sheets import is_table, may_write, write_sheet
from flatcheck.correction import correct
from flatcheck.errors import SurveyError, UnitsError
from flatcheck.forecast import Answer
from flatcheck.language import say
from flatcheck.outlook import PATTERNS, SIZES_MM, compared, options, outlook
from flatcheck.readers.folder import bare_room
from flatcheck.report.outlook import (
    choice_of_tiles,
    choosing_html,
    joints_csv,
    option_name,
    outlook_html,
    outlook_words,
)
from flatcheck.report.text import wrapped
from flatcheck.report.tiling import tiling_html, tiling_words
from flatcheck.sections import share_of
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.units import STYLES, parse_length, style_name, typed_style
from flatcheck.verdict import Outcome


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    lay = verbs.add_parser("lay", help=say("lay the tile on the plan: whole and cut ones, slivers"))
    lay.set_defaults(run=run_lay)
    lay.add_argument("room", help=say('survey folder, or the size of a room: "12 x 14 ft"'))
    ahead = verbs.add_parser("forecast", help=say("what lippage this tile will have on this floor"))
    ahead.set_defaults(run=run_forecast)
    ahead.add_argument("survey", type=Path, help=say("survey folder"))
    ahead.add_argument(
        "--quick", action="store_true", help=say("do not try corrections of the floor")
    )
    choose = verbs.add_parser("choose", help=say("tiles and patterns on this floor, side by side"))
    choose.set_defaults(run=run_choose)
    choose.add_argument("survey", type=Path, help=say("survey folder"))
    choose.add_argument(
        "--with",
        dest="tiles",
        action="append",
        metavar="SIZE",
        help=say("another tile, or more"),
    )
    choose.add_argument(
        "--or",
        dest="patterns",
        action="append",
        metavar="PATTERN",
        help=say('such as "running bond 1/3"'),
    )
    for one in (lay, ahead, choose):
        one.add_argument("--tile", help=say('tile size, such as "12 x 24 in"'))
        one.add_argument("--joint", help=say("width of the joint"))
        one.add_argument("--pattern", choices=KINDS, help=say("how the tile lies"))
        one.add_argument("--offset", help=say('of running bond: "1/3"'))
        one.add_argument("--rotation", type=float, help=say("degrees, counter-clockwise"))
        one.add_argument(
            "--origin", nargs=2, metavar=("EAST", "NORTH"), help=say("a corner of a tile")
        )
        one.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
        one.add_argument("--sheet", type=Path, help=say("write a page to print: a .html file"))
        one.add_argument("--overwrite", action="store_true", help=say("where it is there already"))
    for one in (ahead, choose):
        one.add_argument("--lippage", help=say("standard:grade for steps between tiles"))
        one.add_argument(
            "--bed", nargs=2, metavar=("LEAST", "MOST"), help=say("mortar under the tile")
        )
        one.add_argument("--cap", help=say("how far a tile may leave the plane it should lie on"))
        one.add_argument("--spacers", help=say("the step that leveling spacers leave"))


def run_lay(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite, (".html",))
    sections, folder = sections_of(arguments), Path(arguments.room)
    survey = folder_of(folder, sections) if folder.is_dir() else _empty(arguments.room, sections)
    room = survey.room or assess(survey).surface.room
    print("\n".join(wrapped(tiling_words(survey, room))))
    if arguments.sheet:
        write_sheet(arguments.sheet, tiling_html(survey, room), arguments.overwrite)
        print(say("Drawing: {sheet}", sheet=arguments.sheet))
    return 0


def _empty(written: str, sections: dict[str, dict[str, Any]]) -> Survey:
    """A survey without readings of a room that was written as its size."""
    corners = [[f"{x} mm", f"{y} mm"] for x, y in room_of(written).outline.corners_mm]
    show = style_name(typed_style([written], "in"))
    units = {"readings": "in", "offsets": "in", "show": show}
    about = {"survey": {"title": written}, "units": units}
    about["units"] |= sections.pop("units", {})
    return bare_room(about | {"room": {"outline": corners}} | sections)


def run_forecast(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite)
    assessment = assess(folder_of(arguments.survey, sections_of(arguments)))
    seen = outlook(
        assessment,
        None if arguments.quick else lambda: correct(assessment),
        lambda _, words: _waiting(say("Working out {words}", words=words)),
    )
    _waiting("")
    print("\n".join(wrapped(outlook_words(seen, assessment))))
    if arguments.sheet:
        page = (joints_csv if is_table(arguments.sheet) else outlook_html)(seen, assessment)
        write_sheet(arguments.sheet, page, arguments.overwrite)
        print(say("Joints and bed: {sheet}", sheet=arguments.sheet))
    if seen.answer is not Answer.AS_IS:
        return STATUS[Outcome.OUT]
    return STATUS[Outcome.WITHIN if seen.sure else Outcome.CLOSE]


def _waiting(words: str) -> None:
    """Tells whoever sits at a terminal what is being worked out; "" wipes the line."""
    if sys.stderr.isatty():
        print(f"\r{words[:78]:<78}", end="" if words else "\r", file=sys.stderr)


def run_choose(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite, (".html",))
    assessment = assess(folder_of(arguments.survey, sections_of(arguments)))
    survey = assessment.survey
    style = survey.show
    sizes = [tile_size_of(written) for written in arguments.tiles or ()] or SIZES_MM[style.unit]
    patterns = [pattern_of(written) for written in arguments.patterns or ()] or PATTERNS

    def called(tile: Tile, pattern: Pattern) -> str:
        return option_name(tile, pattern, style)

    tiles, refused = options(survey, called, assessment, sizes, patterns)
    rows = compared(
        assessment, tiles, lambda _, words: _waiting(say("Laying {words}", words=words))
    )
    _waiting("")
    print("\n".join(wrapped(choice_of_tiles(rows, refused, style))))
    if arguments.sheet:
        write_sheet(arguments.sheet, choosing_html(rows, refused, survey), arguments.overwrite)
        print(say("Table: {sheet}", sheet=arguments.sheet))
    return 0


def tile_size_of(written: str) -> tuple[float, float]:
    """A tile size written as `12 x 24 in`: its long and short edges [mm]."""
    edges = tile_section(written)
    try:
        short, long = sorted(parse_length(edges[key]) for key in ("length", "width"))
    except UnitsError as error:
        raise SurveyError(say("tile {written!r}: {error}", written=written, error=error)) from None
    return long, short


def pattern_of(written: str) -> Pattern:
    """A pattern written as `aligned` or `running bond 1/3`."""
    kind, _, offset = written.strip().rpartition(" ")
    if not re.match(r"[0-9.]", offset):
        return Pattern(written.strip())
    return Pattern(kind, share_of(offset, "offset"))
