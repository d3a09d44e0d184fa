"""United States: how a shower floor falls, by the uniform plumbing code and California's."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall, most_fall

_FLOOR = Citation(
    document="UPC and California Plumbing Code",
    edition="edition not stated by the pages seen",
    clause="408.5 (text not seen)",
    source="two pages for the least fall, a state licensing board's examination page among them; "
    "two undated pages for the most",
    certainty="agreed",
)

_GANG = Citation(
    document="UPC and California Plumbing Code",
    edition="edition not stated by the page seen",
    clause="408.8",
    source="up.codes",
    certainty="single source",
    note="Gutters of gang showers; drains not over 8 ft from a wall and 16 ft apart, which is not "
    "judged here.",
)

_LINER = Citation(
    document="UPC and California Plumbing Code",
    edition="edition not stated by the pages seen",
    clause="408.7",
    source="up.codes; askmehelpdesk (older 412.8)",
    certainty="agreed",
    note="The liner under the mortar bed, to the weep holes of the drain.",
)

STANDARD = Standard(
    id="upc-shower",
    title="UPC 408 shower floors",
    region="USA",
    about="falls",
    grades=(
        Grade(
            id="floor",
            title="Shower floor",
            rules=(
                least_fall(1 / 48, "The floor falls at least 1/4 in per ft (1:48).", _FLOOR),
                most_fall(1 / 24, "The floor falls at most 1/2 in per ft (1:24).", _FLOOR),
            ),
        ),
        Grade(
            id="liner",
            title="Liner under the bed",
            rules=(least_fall(1 / 48, "The liner falls at least 1/4 in per ft (1:48).", _LINER),),
        ),
        Grade(
            id="gang",
            title="Gutters of gang showers",
            rules=(least_fall(0.02, "The gutter falls at least 2% to its drains.", _GANG),),
        ),
    ),
)
