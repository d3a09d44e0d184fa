"""flatcheck: is this floor flat enough for this tile, and where is it out.

from flatcheck import assess, read_folder, text
print(text(assess(read_folder(Path("sample_surveys/millbrook-plywood")))))
"""

import flatcheck.threads  # noqa: F401  # isort: skip
from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.intent import Intent
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import bare, edited, read_folder, write_folder
from flatcheck.report.text import record, text
from flatcheck.room import Room
from flatcheck.rules import Rule, Standard, grade_of, standards
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.units import format_length, parse_length
from flatcheck.verdict import Finding, Outcome, Verdict

__all__ = [
    "Assessment",
    "Finding",
    "FlatcheckError",
    "Intent",
    "Outcome",
    "Room",
    "Rule",
    "Standard",
    "Survey",
    "Tile",
    "Verdict",
    "assess",
    "bare",
    "cells_of",
    "edited",
    "format_length",
    "grade_of",
    "parse_length",
    "read_folder",
    "record",
    "standards",
    "text",
    "write_folder",
]
