"""What a concrete slab was asked to be, and how it was placed: its sections and their joints."""

import re
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.fields import quoted
from flatcheck.language import say
from flatcheck.room import Ring
from flatcheck.rules import Citation

LOCAL = 0.6
"""The smallest section may have this share of what is specified overall (see LOCAL_CITATION)."""

CLASS_CITATION = Citation(
    document="ACI 117, Specification for Tolerances for Concrete Construction and Materials",
    edition="ACI 117-10",
    clause="Table 4.8.5.1, specified overall FF and FL by class of floor surface",
    source="a scan of the table; its first row in a government guide specification too",
    certainty="single source",
    note=say("The first row, conventional, was seen in two sources, the others in one."),
)

LOCAL_CITATION = Citation(
    document="ACI 117, Specification for Tolerances for Concrete Construction and Materials",
    edition="ACI 117-10",
    clause="4.8.5.3, minimum local values",
    source="a scan of the clause",
    certainty="single source",
    note=say(
        "Sources disagree: 3/5 of the overall numbers here, about 67 % in the questions and "
        "answers of ACI 302.1R-04, 50 % to 67 % in guide specifications; say local = 0.67 where "
        "the contract does."
    ),
)

CLASSES: dict[str, tuple[float, float]] = {
    "conventional": (20, 15),
    "moderately flat": (25, 20),
    "flat": (35, 25),
    "very flat": (45, 35),
    "super flat": (60, 40),
}
"""Specified overall FF and FL by class; from CLASS_CITATION."""

MOST_F = 1000.0
"""A larger number is specified of no floor; it is in another unit, or a slip of the pen."""

_PAIR = re.compile(
    r"(?:ff ?)?([0-9]{1,4}(?:\.[0-9]{1,3})?) ?/ ?(?:fl ?)?([0-9]{1,4}(?:\.[0-9]{1,3})?)"
)


@dataclass(frozen=True)
class Joint:
    """A construction joint, straight from one place to another [mm]."""

    name: str
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True)
class Specified:
    """The numbers asked for overall, and `named`, the class they are of ("" for none)."""

    ff: float
    fl: float
    named: str = ""


@dataclass(frozen=True)
class Slab:
    """How the slab was placed and what was asked of it.

    `sections` are placed and judged each on its own; without any the whole floor is one.
    `specified` is None where nobody said; the smallest section must reach `local_share` of it.
    """

    sections: tuple[Ring, ...] = ()
    joints: tuple[Joint, ...] = ()
    specified: Specified | None = None
    local_share: float = LOCAL

    def __post_init__(self) -> None:
        if not 0 < self.local_share <= 1:
            raise SurveyError(
                say(
                    "slab.local = {share:g} was expected to be a share of the overall numbers, "
                    "above 0 and up to 1, such as 0.6.",
                    share=self.local_share,
                )
            )


def specified_of(written: str) -> Specified:
    """The numbers in `35/25`, `FF 35 / FL 25` or the name of a class, such as `flat`.

    Raises SurveyError for anything else.
    """
    body = " ".join(written.split()).lower()
    if body in CLASSES:
        return Specified(*CLASSES[body], body)
    match = _PAIR.fullmatch(body)
    numbers = [float(part) for part in match.groups()] if match else []
    if not numbers or not 0 < min(numbers) <= max(numbers) <= MOST_F:
        raise SurveyError(
            say(
                "specified = {written} was expected to be FF and FL, such as 35/25, or one of "
                "{known}.",
                written=quoted(written),
                known=", ".join(CLASSES),
            )
        )
    return Specified(numbers[0], numbers[1])
