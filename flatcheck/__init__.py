"""flatcheck: is this floor flat enough for this tile, and where is it out.

from flatcheck import assess, read_folder, text
print(text(assess(read_folder(Path("sample_surveys/millbrook-plywood")))))

A name is loaded from its module when it is first asked for, so that importing the package costs
nothing that is not used.
"""

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING

import flatcheck.threads  # noqa: F401

if TYPE_CHECKING:
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

_FROM = {
    "assess": ("Assessment", "assess"),
    "errors": ("FlatcheckError",),
    "intent": ("Intent",),
    "readers.cells": ("cells_of",),
    "readers.folder": ("bare", "edited", "read_folder", "write_folder"),
    "report.text": ("record", "text"),
    "room": ("Room",),
    "rules": ("Rule", "Standard", "grade_of", "standards"),
    "survey": ("Survey",),
    "tile": ("Tile",),
    "units": ("format_length", "parse_length"),
    "verdict": ("Finding", "Outcome", "Verdict"),
}
_MODULE_OF = {name: module for module, names in _FROM.items() for name in names}

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


class _Window(ModuleType):
    """The package; `assess` and `standards` are functions here, though modules are so called."""

    def __getattr__(self, name: str) -> object:
        if name not in _MODULE_OF:
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r}")
        found = getattr(importlib.import_module(f"{self.__name__}.{_MODULE_OF[name]}"), name)
        self.__dict__[name] = found
        return found

    def __setattr__(self, name: str, value: object) -> None:
        # Python binds a module that it has imported to its package, over the function of that name.
        if not (isinstance(value, ModuleType) and name in _MODULE_OF):
            super().__setattr__(name, value)

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *__all__})


sys.modules[__name__].__class__ = _Window
