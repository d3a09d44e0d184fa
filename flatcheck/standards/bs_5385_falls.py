"""Britain: falls of wet floors."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall, most_fall

_CITATION = Citation(
    document="BS 5385-3",
    edition="2024, as one page names it",
    clause="falls of wet floors (clause number not seen)",
    source="two trade journal pages (ADF, November 2021, and 2024)",
    certainty="agreed",
    note="The 2024 page prints the ratios as degrees by mistake. That they are in part 3 and not "
    "in part 4 (wet areas) is not confirmed. Steeper than 1:35 is named unsafe.",
)

_USUAL = Citation(
    document="British practice",
    edition="no document",
    clause="no clause",
    source="squotipedia",
    certainty="single source",
    note="A recommendation, not a limit of a standard.",
)

STANDARD = Standard(
    id="bs-falls",
    title="BS 5385 falls of wet floors",
    region="Britain",
    about="falls",
    grades=(
        Grade(
            id="range",
            title="1:80 to 1:35",
            rules=(
                least_fall(1 / 80, "The floor falls at least 1:80.", _CITATION),
                most_fall(1 / 35, "The floor falls at most 1:35.", _CITATION),
            ),
        ),
        Grade(
            id="recommended",
            title="1:60, as recommended",
            rules=(
                least_fall(1 / 60, "The floor falls at least 1:60.", _USUAL),
                most_fall(1 / 35, "The floor falls at most 1:35.", _CITATION),
            ),
        ),
    ),
)
