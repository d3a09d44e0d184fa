"""Canada: how flat the substrate must be, which is said to be as in the United States."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.units import MM_PER_INCH
from flatcheck.usual import flat_rule

_LARGE_FROM_MM = 15 * MM_PER_INCH

_FLATNESS = Citation(
    document="TTMAC specification guide",
    edition="edition not known",
    clause="substrate flatness",
    source="from memory",
    certainty="from memory",
    note="Remembered as the US rule. One Canadian page (tilelettercanada.com, 2017-10-24, method "
    "W243-17) prints the US numbers, for walls too.",
)

STANDARD = Standard(
    id="ca-tile",
    title="TTMAC tile substrate",
    region="Canada",
    grades=(
        Grade(
            id="bar",
            title="Gap under a straightedge resting on the high points",
            rules=(
                flat_rule("resting", "10 ft", "1/4 in", _FLATNESS, edge_below_mm=_LARGE_FROM_MM),
                flat_rule("resting", "12 in", "1/16 in", _FLATNESS, edge_below_mm=_LARGE_FROM_MM),
                flat_rule("resting", "10 ft", "1/8 in", _FLATNESS, edge_from_mm=_LARGE_FROM_MM),
                flat_rule("resting", "24 in", "1/16 in", _FLATNESS, edge_from_mm=_LARGE_FROM_MM),
            ),
            on="either",
        ),
    ),
)
