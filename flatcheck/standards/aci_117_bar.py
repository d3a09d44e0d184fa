"""United States: concrete floors by the manual straightedge, all numbers from memory.

Of a sample of placements 90 % must meet the tighter limit and all the wider one. Every placement
that the readings allow is judged here, so only the limit for all is a rule; how many may exceed the
tighter one is a matter of sampling.
"""

from fractions import Fraction

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_TABLE = (
    ("conventional", "Conventional", Fraction(3, 4), Fraction(1, 2)),
    ("moderately-flat", "Moderately flat", Fraction(5, 8), Fraction(3, 8)),
    ("flat", "Flat", Fraction(3, 8), Fraction(1, 4)),
)
"""Id, class, limit for all placements and for 90 % of them [in]."""

_OLDER = (
    ("1990-conventional", "Conventional", "1/2 in"),
    ("1990-moderately-flat", "Moderately flat", "5/16 in"),
    ("1990-flat", "Flat", "3/16 in"),
    ("1990-very-flat", "Very flat", "1/8 in"),
)


_NOW = Citation(
    document="ACI 117",
    edition="2006 and 2010",
    clause="table 4.8.6.1",
    source="from memory (that the table exists was seen, its numbers were not legible)",
    certainty="from memory",
    note="For all placements; the tighter limit for 90 % of them is judged of a sample drawn by "
    "lot. The bar is not levelled and rests on two high spots. At least one placement for every "
    "100 square feet (US Access Board report, Part III). No other length may be used.",
)
_THEN = Citation(
    document="ACI 117",
    edition="1990",
    clause="floor finish by straightedge (section not known)",
    source="from memory",
    certainty="from memory",
)


def _newer(id: str, name: str, every: Fraction, most: Fraction) -> Grade:
    title = f"{name}, all placements (90 % of them: {most} in)"
    return Grade(id, title, (flat_rule("resting", "10 ft", f"{every} in", _NOW),))


def _older(id: str, name: str, limit: str) -> Grade:
    title = f"{name}, edition of 1990"
    return Grade(id, title, (flat_rule("resting", "10 ft", limit, _THEN),))


STANDARD = Standard(
    id="aci-bar",
    title="ACI 117 concrete floors by straightedge",
    region="USA",
    grades=(
        *(_newer(id, name, every, most) for id, name, every, most in _TABLE),
        *(_older(id, name, limit) for id, name, limit in _OLDER),
    ),
)
