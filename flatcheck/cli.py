"""The command line: a verdict that can be read aloud, and an exit status that says it too."""

import argparse
import errno
import importlib
import io
import os
import sys
import traceback
from collections.abc import Sequence

from flatcheck.errors import FlatcheckError
from flatcheck.language import say

BAD_INPUT = 2
BUG = 70
NOBODY_READS = 141
"""What a shell reports of a program whose reader went away: 128 and the number of SIGPIPE."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # an old terminal cannot say every sign
    said = sys.argv[1:] if argv is None else list(argv)
    arguments = _parser(said[0] if said else "").parse_args(said)
    try:
        status: int = arguments.run(arguments)
        print(end="", flush=True)
    except FlatcheckError as error:
        print(f"flatcheck: {error}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        _say_no_more()
        return NOBODY_READS
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENOSPC:
            _say_no_more()
            print(say("flatcheck: there is no room left for what it has to say."), file=sys.stderr)
            return BAD_INPUT
        # Python itself would end with 1, which says that the floor is out.
        traceback.print_exc()
        return BUG
    return status


def _say_no_more() -> None:
    """What is still unsaid goes nowhere, or Python would try to say it once more at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


COMMANDS = {
    "check": ("check", "compare"),
    "slab": ("numbers", "sample", "tally"),
    "plan": ("plan",),
    "falls": ("falls", "flood"),
    "correct": ("correct", "change"),
    "tile": ("lay", "forecast", "choose"),
    "box": ("box",),
    "report": ("report", "verify"),
    "kit": ("two-peg", "bar"),
    "page": ("standards", "page"),
}
"""The files of commands with the commands of each, in the order in which they are listed."""


def _parser(first: str) -> argparse.ArgumentParser:
    """What may be said; after a `first` word that is a command only its own file is loaded."""
    parser = argparse.ArgumentParser(
        prog="flatcheck", description=say("Is this floor flat enough for this tile, and where not?")
    )
    verbs = parser.add_subparsers(required=True, metavar="command")
    own = [file for file, names in COMMANDS.items() if first in names]
    for file in own or COMMANDS:
        importlib.import_module(f"flatcheck.commands.{file}").add(verbs)
    return parser
