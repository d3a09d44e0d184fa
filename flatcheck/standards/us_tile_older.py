"""United States: tolerances of the bases of older tile specifications, all from memory.

Kept for old jobs; none of them could be confirmed.
"""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule


def _citation(clause: str) -> Citation:
    return Citation(
        document="ANSI A108 series, older editions",
        edition="edition not known",
        clause=clause,
        source="from memory",
        certainty="from memory",
        note="Weakly remembered and confirmed by no page.",
    )


_THIN = _citation("A108.5, dry-set and latex mortar in a thin bed")
_DISPUTED = (
    "Remembered as 1/8 in in 8 ft (us-tile-older:thin-8ft) and as 1/8 in in 10 ft "
    "(us-tile-older:thin-10ft)."
)

STANDARD = Standard(
    id="us-tile-older",
    title="Older US tile specifications",
    region="USA",
    grades=(
        Grade(
            id="mortar-bed",
            title="Mortar bed, A108.1A, B and C",
            rules=(
                flat_rule("plane", "10 ft", "1/4 in", _citation("A108.1A, B and C, mortar bed")),
            ),
            on="either",
        ),
        Grade(
            id="thin-8ft",
            title="Thin bed, over 8 ft",
            rules=(flat_rule("plane", "8 ft", "1/8 in", _THIN),),
            on="either",
            disputed=_DISPUTED,
        ),
        Grade(
            id="thin-10ft",
            title="Thin bed, over 10 ft",
            rules=(flat_rule("plane", "10 ft", "1/8 in", _THIN),),
            on="either",
            disputed=_DISPUTED,
        ),
        Grade(
            id="adhesive",
            title="Organic adhesive or epoxy, A108.4 and A108.6",
            rules=(
                flat_rule(
                    "plane", "3 ft", "1/16 in", _citation("A108.4 and A108.6, adhesive and epoxy")
                ),
            ),
            on="either",
        ),
    ),
)
