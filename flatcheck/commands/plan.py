"""Plan the readings for a room."""

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from flatcheck.commands.said import room_of, stated_of, tile_section
from flatcheck.commands.sheets import is_table, may_write, write_sheet
from flatcheck.errors import RuleError, SurveyError, UnitsError
from flatcheck.instrument import Statement, describe, standard_uncertainty
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.language import say
from flatcheck.planning import plan, plan_words, resolution_words, resolves, rule_called
from flatcheck.readers.folder import read_folder
from flatcheck.report.sheet import Heading, sheet_csv, sheet_html
from flatcheck.report.text import wrapped
from flatcheck.room import Room
from flatcheck.rules import Rule, grade_of, rules_for
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, STYLES, Style, parse_length, typed_style


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    ahead = verbs.add_parser("plan", help=say("plan the readings for a room, and print a sheet"))
    ahead.set_defaults(run=run_plan)
    ahead.add_argument("room", help=say('survey folder with a room, or its size: "12 x 14 ft"'))
    ahead.add_argument("--tile", help=say('tile size, such as "12 x 24 in"'))
    ahead.add_argument("--standard", help=say("standard:grade; see `flatcheck standards`"))
    ahead.add_argument("--uncertainty", help=say('how far a reading may be off: "1/8 in at 30 ft"'))
    ahead.add_argument("--rule", help=say("plan for this rule of the grade alone: 10ft, 24in"))
    ahead.add_argument("--show", choices=tuple(STYLES), help=say("units to print"))
    ahead.add_argument(
        "--sheet", type=Path, help=say("write a reading sheet: a .html or .csv file")
    )
    ahead.add_argument(
        "--overwrite", action="store_true", help=say("where the sheet is there already")
    )


def run_plan(arguments: argparse.Namespace) -> int:
    if arguments.sheet:
        may_write(arguments.sheet, arguments.overwrite)
    room, tile, standard, stated, sight_mm, style = _job(arguments)
    u_mm = standard_uncertainty(stated, sight_mm)
    rules = [r for r in rules_for(grade_of(standard)[1], tile) if r.measure in TOLD_AS_SPOTS]
    if not rules:
        raise RuleError(
            say(
                "{standard} asks for nothing that is planned here: for level, plumb and edges "
                "read the ends of every line, or both sides of the edge.",
                standard=standard,
            )
        )
    chosen = _chosen(rules, arguments.rule)
    mark_mm = LENGTH_UNITS["in"] if style.unit == "in" else 10.0
    ahead = plan(room, chosen, u_mm, mark_mm)
    said = plan_words(ahead, style)
    said.append(say("One reading: {description}", description=describe(stated, sight_mm, style)))
    for need in ahead.needs:
        said += resolution_words(resolves(plan(room, [need.rule], u_mm, mark_mm), need.rule), style)
    print("\n".join(wrapped(said)))
    if arguments.sheet:
        # The sheet is for the rule that asks for the fewest readings, unless another was named.
        first = plan(room, [ahead.needs[0].rule], u_mm, mark_mm)
        page = (
            sheet_csv(first, style)
            if is_table(arguments.sheet)
            else sheet_html(first, Heading(title=str(arguments.room)), style)
        )
        write_sheet(arguments.sheet, page, arguments.overwrite)
        print(
            say(
                "Reading sheet for {rule}: {sheet}",
                rule=rule_called(ahead.needs[0].rule, style),
                sheet=arguments.sheet,
            )
        )
    return 0


def _chosen(rules: Sequence[Rule], written: str | None) -> list[Rule]:
    """The rules to plan for: all, or those of one name or of one length of bar, such as 24in."""
    if written is None:
        return list(rules)
    try:
        length = parse_length(written)
    except UnitsError:
        length = math.nan
    found = [
        rule
        for rule in rules
        if rule.id == written or (rule.length_mm and abs(rule.length_mm - length) < 1)
    ]
    if not found:
        named = ", ".join(rule.id for rule in rules)
        raise RuleError(
            say(
                "rule {written!r} is not one of {named}, nor the length of its bar.",
                written=written,
                named=named,
            )
        )
    return found


def _job(
    arguments: argparse.Namespace,
) -> tuple[Room, Tile | None, str, Statement, float, Style]:
    """What is planned for: a survey's own room, tile, rule and instrument, or what was said.

    With what is said of one reading, and the distance at which it holds.
    """
    folder = Path(arguments.room)
    tile = standard = room = stated = None
    sight = 0.0
    if folder.is_dir():
        survey = read_folder(folder)
        if survey.room is None:
            raise SurveyError(
                say("{folder} gives no outline of the room to plan for.", folder=folder)
            )
        room, tile, standard = survey.room, survey.tile, survey.standard
        style = survey.show
        if survey.tables:
            coarsest = max(survey.tables, key=lambda table: table.u_mm)
            stated, sight = coarsest.stated, coarsest.sight_mm
    else:
        room = room_of(arguments.room)
        style = typed_style([arguments.room], "in")
    if arguments.tile:
        edges = tile_section(arguments.tile)
        tile = Tile(parse_length(edges["length"]), parse_length(edges["width"]))
    if arguments.uncertainty:
        corners = np.array(room.outline.corners_mm)
        sight = float(np.hypot(*np.ptp(corners, axis=0)))  # from one corner to the other
        stated = stated_of(arguments.uncertainty)
    if stated is None:
        raise SurveyError(say('say how far one reading may be off: --uncertainty "1/32 in".'))
    if arguments.show:
        style = STYLES[arguments.show]
    return room, tile, arguments.standard or standard or "us-tile", stated, sight, style
