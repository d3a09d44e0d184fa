"""Britain: floor tiling, the base that it is laid on and the finished floor.

The two are different quantities. A bar between points of contact shows only dips; a bar on equal
blocks shows high places as well.
"""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard

_BAR_MM = 2000.0
_LIMIT_MM = 3.0

_SUBSTRATE = Citation(
    document="BS 5385-3",
    edition="edition not stated by the page seen",
    clause="base for direct (thin) bedding (clause number not seen)",
    source="data sheet of a tile maker that quotes BS 5385",
    certainty="single source",
    note="The same number as class SR1 of BS 8204.",
)

_FINISHED = Citation(
    document="BS 5385-3",
    edition="edition not stated by the page seen",
    clause="finished tiled surface (clause number not seen)",
    source="nhbc-standards.co.uk 9.1.7 (2025)",
    certainty="single source",
    note="Equal offsets: the straightedge stands on two equal blocks and the distance to the floor "
    "is compared with their height.",
)

_SUBSTRATE_WORDS = (
    f"No gap over {_LIMIT_MM:g} mm under a {_BAR_MM / 1000:g} m straightedge "
    "between points of contact."
)
_FINISHED_WORDS = (
    f"No place more than {_LIMIT_MM:g} mm high or low under a {_BAR_MM / 1000:g} m straightedge "
    "on equal blocks."
)
_LIMIT = Limit(((_BAR_MM, _LIMIT_MM),))

STANDARD = Standard(
    id="bs-5385-3",
    title="BS 5385-3 floor tiling",
    region="Britain",
    grades=(
        Grade(
            id="substrate",
            title="Base for direct bedding",
            rules=(Rule("2m", "resting", _BAR_MM, _LIMIT, _SUBSTRATE_WORDS, _SUBSTRATE),),
        ),
        Grade(
            id="finished",
            title="Finished tiled surface",
            rules=(Rule("2m", "blocks", _BAR_MM, _LIMIT, _FINISHED_WORDS, _FINISHED),),
        ),
    ),
)
