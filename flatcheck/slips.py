"""What a misread reading was probably misread as: the slips people make with rods and rules.

Given how far a reading is off, by what the other readings say, each usual slip is tried; one that
explains it within its uncertainty is named. What is usual is common practice, no source.
"""

import re
from dataclasses import dataclass, field

from flatcheck.language import say
from flatcheck.units import LENGTH_UNITS, parse_length

FITS = 2.5
"""A slip explains an error when it is within this many standard uncertainties of it."""


@dataclass(frozen=True)
class Slip:
    """A slip that explains an error: what happened, and the size of the error it makes [mm].

    `of_mark` says that the rod or rule was read from another mark, off by so much.
    """

    words: str
    error_mm: float
    of_mark: bool = field(default=False, compare=False)


def slip_for(text: str, value_mm: float, unit: str, error_mm: float, u_mm: float) -> Slip | None:
    """The usual slip that explains why a reading is off, or None.

    `text` is the reading as written and `value_mm` what it was read as; `error_mm` is how much too
    large it is by the other readings, with standard uncertainty `u_mm`; `unit` is the unit of
    bare numbers.
    """
    fitting = [
        slip
        for slip in (
            *_round_lengths(unit),
            *_sign(value_mm),
            *_fractions(text, unit),
            *_digits(text, unit),
        )
        if abs(slip.error_mm - error_mm) <= FITS * u_mm and slip.error_mm
    ]
    return min(fitting, key=lambda slip: abs(slip.error_mm - error_mm), default=None)


def _round_lengths(unit: str) -> list[Slip]:
    """A whole mark of the rod or rule: read from the wrong inch, foot, centimeter or decimeter."""
    inch, foot = LENGTH_UNITS["in"], LENGTH_UNITS["ft"]
    marks = {
        say("10 mm off"): 10.0,
        say("50 mm off"): 50.0,
        say("100 mm off"): 100.0,
        say("1 m off"): 1000.0,
    }
    if unit in ("in", "ft"):
        marks = {
            say("half an inch off"): inch / 2,
            say("an inch off"): inch,
            say("two inches off"): 2 * inch,
            say("ten inches off"): 10 * inch,
            say("a foot off"): foot,
        }
    return [
        Slip(words, sign * size, of_mark=True)
        for words, size in marks.items()
        for sign in (1.0, -1.0)
    ]


def _sign(value_mm: float) -> list[Slip]:
    return [Slip(say("the sign turned"), 2 * value_mm)]


_FRACTION = re.compile(r"(\d+)\s*/\s*(\d+)")


def _fractions(text: str, unit: str) -> list[Slip]:
    """The same marks counted on another scale (3/8 for 3/16), or from the other end of the inch."""
    found = _FRACTION.search(text)
    if not found:
        return []
    top, bottom = int(found[1]), int(found[2])
    if not 0 < top < bottom:
        return []
    meant = [f"{top}/{d}" for d in (2, 4, 8, 16, 32) if d != bottom and top < d]
    meant.append(f"{bottom - top}/{bottom}")
    before, after = text[: found.start()], text[found.end() :]
    return [
        Slip(
            say("{top}/{bottom} read for {other}", top=top, bottom=bottom, other=other),
            _error(text, before + other + after, unit),
        )
        for other in meant
    ]


def _digits(text: str, unit: str) -> list[Slip]:
    """Two neighboring digits of a whole number exchanged: 1421 for 1412."""
    digits = text.strip()
    if not (digits.isascii() and digits.isdigit()):
        return []
    pairs = range(len(digits) - 1)
    every = [digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :] for k in pairs]
    # Nobody writes a zero first.
    return [
        Slip(
            say("{digits} written for {meant}", digits=digits, meant=meant),
            _error(digits, meant, unit),
        )
        for meant in every
        if not meant.startswith("0")
    ]


def _error(written: str, meant: str, unit: str) -> float:
    """How much too large the length written is [mm]."""
    return parse_length(written, unit) - parse_length(meant, unit)
