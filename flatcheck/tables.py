"""From the tables of a survey to its readings: finds the reader that understands each kind.

A kind of input is one file in `flatcheck/readers/` with `KIND`, its name in a survey document, and
`read(table)`, which returns the readings in the order they are written; `OPTIONS` are further keys
that its entry in the document may have.
"""

import importlib
import pkgutil
from functools import cache, lru_cache
from types import ModuleType

from flatcheck.document import TABLE_KEYS
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.survey import Observation, Step, Survey, Table
from flatcheck.warpage import Bench, Pair

MOST_READINGS = 50_000
"""More readings than this are a scan, not a survey by hand."""

CELLS_EACH = 5
"""Cells that one reading may fill: a point has x, y, reading, setup and note."""

REMEMBERED = 8
"""How many tables are remembered as they were read: a page asks for the same ones at every step."""

Seen = Observation | Step | Bench | Pair


@cache
def kinds() -> dict[str, ModuleType]:
    """Every kind of table there is, by its name in a survey document."""
    import flatcheck.readers as shelf

    modules = (
        importlib.import_module(f"{shelf.__name__}.{m.name}")
        for m in pkgutil.iter_modules(shelf.__path__)
    )
    return {module.KIND: module for module in modules if hasattr(module, "KIND")}


def readings_of(survey: Survey) -> tuple[Observation, ...]:
    """All readings of heights, those that are adjusted together.

    Raises SurveyError naming the cell that cannot be read.
    """
    return tuple(seen for seen in _seen(survey) if not isinstance(seen, Step | Bench | Pair))


def steps_of(survey: Survey) -> tuple[Step, ...]:
    """All steps read across joints. Raises SurveyError naming the cell that cannot be read."""
    return tuple(seen for seen in _seen(survey) if isinstance(seen, Step))


def tiles_of(survey: Survey) -> tuple[Bench | Pair, ...]:
    """All that was measured of tiles by themselves. Raises SurveyError naming the bad cell."""
    return tuple(seen for seen in _seen(survey) if isinstance(seen, Bench | Pair))


def _seen(survey: Survey) -> tuple[Seen, ...]:
    """All that the tables hold, in the order it is written."""
    if not survey.tables:
        raise SurveyError(say("survey.toml names no table of readings; add a [[table]]."))
    filled = sum(bool(cell.strip()) for t in survey.tables for row in t.cells for cell in row)
    if filled > CELLS_EACH * MOST_READINGS:
        raise SurveyError(
            say(
                "{count:,} cells are more than the {most:,} readings that a survey may hold can "
                "fill; thin the scan to a wider grid.",
                count=filled,
                most=MOST_READINGS,
            )
        )
    found: list[Seen] = []
    for table in survey.tables:
        if table.kind not in kinds():
            raise SurveyError(
                say(
                    "table {table}: kind = {kind!r} is not one of {kinds}.",
                    table=table.name,
                    kind=table.kind,
                    kinds=", ".join(kinds()),
                )
            )
        reader = kinds()[table.kind]
        for key, _ in table.options:
            if key not in reader.OPTIONS:
                known = ", ".join((*TABLE_KEYS, *reader.OPTIONS))
                raise SurveyError(
                    say(
                        "table {table}: {key!r} is not known here; known are {known}.",
                        table=table.name,
                        key=key,
                        known=known,
                    )
                )
        # Options are as a document has them: lists, and true and 1, which are equal.
        found += reader.read(table) if table.options else _read(table)
    if len(found) > MOST_READINGS:
        raise SurveyError(
            say(
                "{count:,} readings are more than the {most:,} that a survey may hold; thin the "
                "scan to a wider grid.",
                count=len(found),
                most=MOST_READINGS,
            )
        )
    return tuple(found)


@lru_cache(maxsize=REMEMBERED)
def _read(table: Table) -> tuple[Seen, ...]:
    """What a table without options holds."""
    return tuple(kinds()[table.kind].read(table))
