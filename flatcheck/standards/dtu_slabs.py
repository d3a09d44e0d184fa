"""France: slabs and screeds that coverings are laid on."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.usual import flat_rule

_SLAB = Citation(
    document="NF DTU 13.3",
    edition="edition not stated by the pages seen",
    clause="slabs to take bonded or desolidarised coverings (article number not seen)",
    source="dtu.golgoth.org (two documents)",
    certainty="agreed",
    note="The rules stand on two blocks. At least 10 places are checked, one for every 100 m².",
)
_SLOPE = Citation(
    document="NF DTU 13.3",
    edition="edition not stated by the page seen",
    clause="slope and level (article number not seen)",
    source="dtu.golgoth.org",
    certainty="single source",
    note="10 times the cube root of the length in meters, in mm.",
)
_UNDERLAY = Citation(
    document="NF DTU 52.10",
    edition="edition not stated by the page seen",
    clause="floor under a thin acoustic underlay (article number not seen)",
    source="infociments.fr 11",
    certainty="single source",
    note="The page does not say how the bar lies; it rests freely here.",
)

_LEVEL = Rule(
    id="level",
    measure="lean",
    length_mm=None,
    limit=Limit(((1000.0, 10.0),), power=1 / 3),
    words="No line across the floor off its level or its fall by more than 10 mm at 1 m, growing "
    "with the cube root of its length.",
    citation=_SLOPE,
    pitch_mm=1000.0,
)

STANDARD = Standard(
    id="dtu-slabs",
    title="NF DTU 13.3 and 52.10 slabs and screeds",
    region="France",
    grades=(
        Grade(
            id="slab",
            title="Slab to take coverings",
            rules=(
                flat_rule("blocks", "2 m", "7 mm", _SLAB),
                flat_rule("blocks", "0.2 m", "2 mm", _SLAB),
            ),
        ),
        Grade(id="level", title="Slab, level and slope", rules=(_LEVEL,)),
        Grade(
            id="underlay",
            title="Under an acoustic underlay thinner than 5 mm",
            rules=(flat_rule("resting", "2 m", "7 mm", _UNDERLAY),),
        ),
        Grade(
            id="thick-underlay",
            title="Under an acoustic underlay of 5 mm or more, or stacked",
            rules=(
                flat_rule("resting", "2 m", "3 mm", _UNDERLAY),
                flat_rule("resting", "0.2 m", "2 mm", _UNDERLAY),
            ),
        ),
    ),
)
