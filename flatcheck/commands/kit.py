"""Test a level and a straightedge."""

import argparse
from pathlib import Path
from typing import Any

from flatcheck.commands.said import stated_of
from flatcheck.kit import TURNS
from flatcheck.language import say
from flatcheck.readers import turned
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import file_bytes
from flatcheck.report.kit import RODS, bar_words, two_peg_words
from flatcheck.report.text import wrapped
from flatcheck.units import LENGTH_UNITS, STYLES, parse_length, typed_style


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    pegs = verbs.add_parser(
        "two-peg", help=say("test a level: does its line of sight rise or fall")
    )
    pegs.set_defaults(run=run_two_peg)
    pegs.add_argument("midway", nargs=2, help=say("readings on pegs A and B from midway"))
    pegs.add_argument("other", nargs=2, help=say("readings on A and B from the other place"))
    pegs.add_argument("sights", nargs=2, help=say("distances of that place to A and to B"))
    pegs.add_argument("--uncertainty", default=RODS, help=say('of one reading: "reading to 1/16"'))
    pegs.add_argument(
        "--show", choices=tuple(STYLES), help=say("units to print; those typed, if not")
    )
    bar = verbs.add_parser("bar", help=say("test a straightedge that was read twice, turned"))
    bar.set_defaults(run=run_bar)
    bar.add_argument("table", type=Path, help=say("table with the columns at, first and turned"))
    bar.add_argument("length", help=say('length of the bar, such as "6 ft"'))
    bar.add_argument("--turn", choices=TURNS, default=TURNS[1])
    bar.add_argument("--readings", choices=tuple(LENGTH_UNITS), default="mm")
    bar.add_argument("--uncertainty", default="0.1 mm", help=say('of one gap: "reading to 1/64"'))
    bar.add_argument(
        "--show", choices=tuple(STYLES), help=say("units to print; those typed, if not")
    )


def run_two_peg(arguments: argparse.Namespace) -> int:
    typed = (*arguments.midway, *arguments.other, *arguments.sights)
    lengths = [parse_length(written) for written in typed]
    midway, other, sights = ((lengths[k], lengths[k + 1]) for k in (0, 2, 4))
    style = STYLES[arguments.show] if arguments.show else typed_style(typed, "mm")
    stated = stated_of(arguments.uncertainty)
    print("\n".join(wrapped(two_peg_words(midway, other, sights, stated, style))))
    return 0


def run_bar(arguments: argparse.Namespace) -> int:
    name, length = arguments.table.name, parse_length(arguments.length)
    cells = cells_of(name, file_bytes(arguments.table, piped=True))
    unit = arguments.readings
    rows = turned.read(name, cells, unit, length)
    typed = [cell for row in rows[1:] for cell in row]
    style = STYLES[arguments.show] if arguments.show else typed_style(typed, unit)
    stated = stated_of(arguments.uncertainty)
    print("\n".join(wrapped(bar_words(rows, length, arguments.turn, stated, unit, style))))
    return 0
