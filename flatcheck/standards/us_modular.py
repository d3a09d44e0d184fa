"""United States: the edges of panels that a floor is made of, such as plywood."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_CITATION = Citation(
    document="TCA Handbook",
    edition="2009",
    clause="modular substrate units, adjacent edges (page not seen)",
    source="extract in the US Access Board report of 2011, Part III",
    certainty="single source",
    note="Read both sides of a joint, an inch from it. The document gives no distance for the two "
    "readings; 2 in is taken here (common practice, no source).",
)

STANDARD = Standard(
    id="us-modular",
    title="US panel edges under tile",
    region="USA",
    grades=(
        Grade(
            id="edges",
            title="Adjacent edges of panels",
            rules=(flat_rule("step", "2 in", "1/32 in", _CITATION),),
            on="either",
        ),
    ),
)
