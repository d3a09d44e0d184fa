"""United States: how flat the finished tile or stone must be, and pavers on pedestals."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_TILE = Citation(
    document="ANSI A108.02",
    edition="edition in force",
    clause="finished plane (clause number not seen)",
    source="TileLetter, May 2018, p. 26; fcimag.com/articles/86335; US Access Board report, "
    "Part III",
    certainty="agreed",
    note="From the required plane.",
)

_STONE = Citation(
    document="Natural stone institute manual",
    edition="edition not known",
    clause="finished plane (section not seen)",
    source="from memory",
    certainty="from memory",
    note="The lippage beside it, 1/32 in, was seen: us-lippage:stone.",
)

_PAVERS = Citation(
    document="Guideline for segmental paving on pedestals",
    edition="edition not stated by the page seen",
    clause="surface tolerance",
    source="US Access Board report of 2011, Part III",
    certainty="single source",
    note="For pavers; no number was found for tile on pedestals. Its lippage of 1/8 in is "
    "us-lippage:pavers. The page gives plus or minus; high and low are both held to it here.",
)

STANDARD = Standard(
    id="us-finished",
    title="US finished tile, stone and pavers",
    region="USA",
    grades=(
        Grade(
            id="tile",
            title="Finished tile",
            rules=(flat_rule("plane", "10 ft", "1/4 in", _TILE),),
            on="either",
        ),
        Grade(
            id="stone",
            title="Finished natural stone",
            rules=(flat_rule("plane", "10 ft", "1/8 in", _STONE),),
            on="either",
        ),
        Grade(
            id="pavers",
            title="Pavers on pedestals",
            rules=(flat_rule("blocks", "10 ft", "3/8 in", _PAVERS),),
        ),
    ),
)
