"""Norway: falls of wet room floors."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall

_CITATION = Citation(
    document="TEK17",
    edition="as described in 4-2018",
    clause="wet room falls (paragraph not seen)",
    source="norskbyggkeramikkforening.no, 4-2018",
    certainty="single source",
    note="Three ways: 1:50 within 0.8 m of the drain or through the shower's catchment; 1:100 "
    "where the area is sunk by 10 mm or more; or 1:100 over the whole floor. Give the floor near "
    "the drain a zone of its own.",
)

STANDARD = Standard(
    id="tek17-wet",
    title="TEK17 wet room floors",
    region="Norway",
    about="falls",
    grades=(
        Grade(
            id="near-drain",
            title="Zone within 0.8 m of the drain",
            rules=(least_fall(1 / 50, "The floor near the drain falls at least 1:50.", _CITATION),),
        ),
        Grade(
            id="whole",
            title="The whole floor, or a sunk area",
            rules=(least_fall(1 / 100, "The floor falls at least 1:100.", _CITATION),),
        ),
    ),
)
