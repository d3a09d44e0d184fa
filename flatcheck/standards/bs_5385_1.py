"""Britain: wall tiling, the base that it is laid on."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_CITATION = Citation(
    document="BS 5385-1",
    edition="2018 (edition from memory)",
    clause="base for direct (thin) bedding on walls (clause number not known)",
    source="from memory",
    certainty="from memory",
    note="The part for floors has the same number from a page that was seen.",
)

STANDARD = Standard(
    id="bs-5385-1",
    title="BS 5385-1 wall tiling",
    region="Britain",
    grades=(
        Grade(
            id="substrate",
            title="Wall, base for direct bedding",
            rules=(flat_rule("resting", "2 m", "3 mm", _CITATION),),
            on="wall",
        ),
    ),
)
