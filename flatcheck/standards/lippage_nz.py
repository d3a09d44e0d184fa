"""New Zealand: how far one tile may stand proud of the next, by the kind of tile."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_step

_CITATION = Citation(
    document="MBIE guide to tolerances",
    edition="2015",
    clause="tiles, lippage (section not seen)",
    source="regaltiling.nz",
    certainty="single source",
)


def _grade(id: str, title: str, limit_mm: float) -> Grade:
    words = f"No edge stands proud by more than {limit_mm:g} mm."
    return Grade(id, title, (most_step(id, limit_mm, words, _CITATION),))


STANDARD = Standard(
    id="nz-lippage",
    title="New Zealand guide, lippage",
    region="New Zealand",
    about="lippage",
    grades=(
        _grade("standard", "Standard tile, joints of 2 to 3 mm", 1.5),
        _grade("rustic", "Rustic tile", 2.0),
        _grade("abutting", "Flat tile laid abutting", 1.0),
    ),
)
