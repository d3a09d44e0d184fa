"""United States: accessible floors, how steep they may be and how high a change in level.

A shower that must drain and be accessible has a window of 0.08 points between the plumbing code's
2.00 % and 1:48; judged together, it takes readings good enough to tell.
"""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.units import MM_PER_INCH
from flatcheck.usual import most_fall

_SLOPE = Citation(
    document="ADA Standards",
    edition="2010",
    clause="304.2 and 305.2",
    source="corada.com (11B-304.2), US Access Board",
    certainty="agreed",
    note="Turning spaces and clear floor spaces, in any direction; no changes in level there.",
)

_LEVEL = Citation(
    document="ADA Standards",
    edition="2010",
    clause="303.2 and 303.3",
    source="corada.com (303.3), US Access Board, and two more pages",
    certainty="agreed",
    note="Up to 1/4 in may be vertical; from there to 1/2 in the edge is bevelled at 1:2 or "
    "flatter; higher is a ramp. Whether an edge is bevelled cannot be told from two readings.",
)


def _step(limit_in: float, words: str) -> Rule:
    return Rule(
        id="step",
        measure="step",
        length_mm=2 * MM_PER_INCH,
        limit=Limit(((2 * MM_PER_INCH, limit_in * MM_PER_INCH),)),
        words=words,
        citation=_LEVEL,
    )


STANDARD = Standard(
    id="ada-floors",
    title="ADA accessible floors",
    region="USA",
    about="falls",
    grades=(
        Grade(
            id="slope",
            title="Slope of clear floor space",
            rules=(most_fall(1 / 48, "The floor falls at most 1:48 (2.08%).", _SLOPE),),
        ),
        Grade(
            id="vertical",
            title="Changes in level with a square edge",
            rules=(_step(0.25, "No change in level over 1/4 in."),),
        ),
        Grade(
            id="bevelled",
            title="Changes in level with an edge bevelled at 1:2",
            rules=(_step(0.5, "No change in level over 1/2 in where the edge is bevelled."),),
        ),
    ),
)
