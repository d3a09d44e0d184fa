"""The fields of a survey document: what stands in each, and its name where it is something else.

TOML knows texts, numbers, dates, lists and sections. A field that holds another of these than was
expected is refused by name, in one sentence that quotes what was read.
"""

import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.language import say
from flatcheck.units import LENGTH_UNITS, parse_length, parse_slope

MOST_BYTES = 128_000
"""A longer document is no survey; the worst of this size is parsed in well under a second."""

# The parser takes a time that grows with the square of the names joined by dots in one key. The
# quantifiers give nothing back, so that the search takes a time that grows with the text only.
_JOINED = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]{1,99}+|"(?:[^"\\\n]|\\.){0,99}+"|'[^'\n]{0,99}+')"""
    r"""[ \t]*+\.[ \t]*+){16}"""
)


_COMMANDS = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def parsed(document: str) -> dict[str, Any]:
    """The fields of the text of a `survey.toml`, by section.

    Raises SurveyError for text that is too long or no TOML, and for a whole number beyond the 64
    bits that TOML allows.
    """
    if len(document) > MOST_BYTES:
        raise SurveyError(
            say(
                "survey.toml has {count:,} characters; a survey document has at most {most:,}.",
                count=len(document),
                most=MOST_BYTES,
            )
        )
    if joined := _JOINED.search(document):
        line = document.count("\n", 0, joined.start()) + 1
        raise SurveyError(
            say(
                "survey.toml cannot be read: line {line} joins more names by dots than any key "
                "has.",
                line=line,
            )
        )
    try:
        head = tomllib.loads(document)
    except tomllib.TOMLDecodeError as error:
        raise SurveyError(say("survey.toml cannot be read: {reason}.", reason=error)) from None
    except (ValueError, RecursionError):
        raise SurveyError(
            say("survey.toml cannot be read: a number is too long, or a list too deep.")
        ) from None
    for name, value in _leaves(head):
        if isinstance(value, int) and not -(2**63) <= value < 2**63:
            raise SurveyError(
                say("survey.toml: {name} is a whole number of too many digits.", name=name)
            )
    return head


def _leaves(head: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Every field that is no list and no section, with its name."""
    waiting: list[tuple[str, Any]] = [(quoted(key)[1:-1], head[key]) for key in head]
    while waiting:
        name, value = waiting.pop()
        if isinstance(value, Mapping):
            waiting += [(f"{name}.{quoted(key)[1:-1]}", value[key]) for key in value]
        elif isinstance(value, list):
            waiting += [(name, item) for item in value]
        else:
            yield name, value


def only(given: Mapping[str, Any], name: str, known: tuple[str, ...]) -> None:
    """Raises SurveyError for a key that is none of those known."""
    for key in given:
        if key not in known:
            raise SurveyError(
                say(
                    "{name}: {key} is not known here; known are {known}.",
                    name=name,
                    key=quoted(key),
                    known=", ".join(known),
                )
            )


def section_of(head: Mapping[str, Any], name: str, known: tuple[str, ...]) -> Mapping[str, Any]:
    """A section with known keys only, empty where there is none."""
    found = head.get(name, {})
    if not isinstance(found, Mapping):
        raise SurveyError(say("survey.toml: [{name}] was expected to be a section.", name=name))
    only(found, name, known)
    return found


def sections_of(head: Mapping[str, Any], name: str, most: int) -> list[Mapping[str, Any]]:
    """A list of up to `most` sections, empty where there is none."""
    found = head.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, Mapping) for item in found):
        raise SurveyError(
            say("survey.toml: [[{name}]] was expected to be a list of sections.", name=name)
        )
    if len(found) > most:
        raise SurveyError(
            say(
                "survey.toml: [[{name}]] stands there {count:,} times; up to {most} are read.",
                name=name,
                count=len(found),
                most=most,
            )
        )
    return found


def text_of(given: Any, name: str) -> str:
    """What a person wrote in quotes, as one line.

    Signs that command a terminal or turn the reading direction would change what is said beside
    them; a replacement stands for each.
    """
    if not isinstance(given, str):
        raise SurveyError(
            say(
                "{name} = {given} was expected to be a text in quotes.",
                name=name,
                given=quoted(given),
            )
        )
    return _COMMANDS.sub("\N{REPLACEMENT CHARACTER}", " ".join(given.split()))


def name_of(given: Any, name: str) -> str:
    """What a person calls a thing: a text, or a whole number."""
    return str(given) if type(given) is int else text_of(given, name)


def names_of(given: Any, name: str) -> tuple[str, ...]:
    """A list of names."""
    if not isinstance(given, list):
        raise SurveyError(
            say(
                "{name} = {given} was expected to be a list of names.",
                name=name,
                given=quoted(given),
            )
        )
    return tuple(name_of(item, name) for item in given)


def unit_of(given: Any, name: str) -> str:
    """A unit of length."""
    if not isinstance(given, str) or given not in LENGTH_UNITS:
        known = ", ".join(LENGTH_UNITS)
        raise SurveyError(
            say(
                "{name} = {given} is not a unit of length; known are {known}.",
                name=name,
                given=quoted(given),
                known=known,
            )
        )
    return given


def length_of(given: Any, name: str, unit: str) -> float:
    """A length [mm]; a bare number is in `unit`."""
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(
            say("{name} = {given} was expected to be a length.", name=name, given=quoted(given))
        )
    try:
        return parse_length(plain(given), unit)
    except UnitsError as error:
        raise SurveyError(f"{name}: {error}") from None


def slope_of(given: Any, name: str, unit: str) -> float:
    """A slope [ratio]; a bare number is in `unit`."""
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(
            say("{name} = {given} was expected to be a slope.", name=name, given=quoted(given))
        )
    try:
        return parse_slope(plain(given), unit)
    except UnitsError as error:
        raise SurveyError(f"{name}: {error}") from None


def plain(given: str | float) -> str:
    """A number of the document as a person would write it, without an exponent."""
    if isinstance(given, float) and math.isfinite(given) and abs(given) < 1e12:
        return f"{given:.12f}".rstrip("0").rstrip(".")
    return str(given)


def quoted(given: Any) -> str:
    """What was read, cut where it is long."""
    said = say("nothing") if given is None else repr(given)
    return said if len(said) <= 60 else f"{said[:56]}...{said[-1]}"
