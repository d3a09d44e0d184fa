"""How uncertain is one reading, by what the survey document says of the instrument or a table."""

import math
from collections.abc import Mapping
from typing import Any

from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.fields import length_of, plain, quoted
from flatcheck.instrument import Part, Statement, figure, statement
from flatcheck.language import say

Stated = tuple[Statement, float]
"""What is said of one reading, and the distance at which it holds: the longest read [mm]."""


def uncertainty_of(section: Mapping[str, Any], unit: str, name: str) -> Stated:
    """What is said of how well one reading is read, the rounding to `reads_to` with it.

    It may be a maker's statement, such as "1/8 in at 30 ft"; one that grows with the distance
    holds at `sight`, the longest distance read. See `flatcheck.instrument` for the rules
    (JCGM 100:2008, 4.3.7: bounds and rounding are rectangular distributions). `name` is written
    before each key in messages.
    """
    if "uncertainty" not in section:
        raise SurveyError(
            say(
                '{key} is missing; say how far one reading may be off, as "1/32 in" (two readings '
                "in three fall within it).",
                key=f"{name}uncertainty",
            )
        )
    given = section["uncertainty"]
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(
            say(
                "{name} = {given} was expected to be a length.",
                name=f"{name}uncertainty",
                given=quoted(given),
            )
        )
    sight = length_of(section.get("sight", 0), f"{name}sight", unit)
    step = _step(section.get("reads_to", 0), f"{name}reads_to", unit)
    parts = _stated(plain(given), unit, name)
    if step < 0:
        raise SurveyError(say("{key} must not be negative.", key=f"{name}reads_to"))
    if step:
        if any(part.kind == "step" for part in parts):
            raise SurveyError(
                say(
                    "{key} says already what the readings are rounded to.",
                    key=f"{name}uncertainty",
                )
            )
        words = say("reading to {step}", step=plain(section["reads_to"]))
        parts += (Part(words, "step", step),)
    if not parts:
        raise SurveyError(
            say("{key} must be larger than zero; no reading is exact.", key=f"{name}uncertainty")
        )
    said = Statement(plain(given), parts)
    if said.by_distance and not sight > 0:
        raise SurveyError(
            say(
                "{given} grows with the distance; say {key}, the longest distance that was read.",
                given=quoted(given),
                key=f"{name}sight",
            )
        )
    return said, sight


def table_uncertainty(
    item: Mapping[str, Any], unit: str, instrument: Mapping[str, Any], instrument_unit: str
) -> Stated:
    """A table's own uncertainty; a step or a sight of its own alone goes with the instrument's."""
    name = say("table {table}", table=item["file"]) + ": "
    if "uncertainty" in item:
        return uncertainty_of(item, unit, name)
    own = {}
    for key in ("reads_to", "sight"):
        if key in item:
            (_step if key == "reads_to" else length_of)(item[key], f"{name}{key}", unit)
            own[key] = _with_unit(item[key], unit)
    return uncertainty_of({**instrument, **own}, instrument_unit, name if own else "instrument.")


def _with_unit(given: str | float, unit: str) -> str:
    """A length as it was written; where it is a bare number, with its unit."""
    written = plain(given)
    try:
        figure(written, None)
    except UnitsError:
        return f"{written} {unit}"
    return written


def _step(given: Any, name: str, unit: str) -> float:
    """What readings are rounded to [mm]; a bare fraction is of an inch, as in a statement."""
    if isinstance(given, str):
        try:
            return figure(given, unit)
        except UnitsError:
            pass
    return length_of(given, name, unit)


def _stated(given: str, unit: str, name: str) -> tuple[Part, ...]:
    """What a length or a maker's statement says of one reading; nothing where it is zero."""
    try:
        flat = figure(given, unit)
    except UnitsError:
        flat = math.nan  # a statement of more words
    if flat < 0:
        raise SurveyError(say("{key} must not be negative.", key=f"{name}uncertainty"))
    if flat == 0:
        return ()
    try:
        return statement(given, unit).parts
    except FlatcheckError as error:
        raise SurveyError(f"{name}uncertainty: {error}") from None
