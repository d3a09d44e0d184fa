"""United States: how a shower receptor falls, by the residential code.

The code prints a slope and, behind it in brackets, a percentage that is not quite the same: 1/4 in
per ft is 1:48 or 2.08 %. Both are here as grades.
"""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall, most_fall

_CITATION = Citation(
    document="IRC",
    edition="2021",
    clause="P2709.1",
    source="three pages: code text on a supplier's page, proworkflooring.com, everythingwhat.com",
    certainty="agreed",
    note="The finished floor of the receptor falls uniformly toward the drain. Printed as 1/4 in "
    "per ft (2%) and 1/2 in per ft (4%).",
)

STANDARD = Standard(
    id="irc-shower",
    title="IRC P2709 shower receptors",
    region="USA",
    about="falls",
    grades=(
        Grade(
            id="inch",
            title="1/4 to 1/2 in per ft",
            rules=(
                least_fall(1 / 48, "The floor falls at least 1/4 in per ft (1:48).", _CITATION),
                most_fall(1 / 24, "The floor falls at most 1/2 in per ft (1:24).", _CITATION),
            ),
        ),
        Grade(
            id="percent",
            title="2 to 4 percent, as printed in brackets",
            rules=(
                least_fall(0.02, "The floor falls at least 2%.", _CITATION),
                most_fall(0.04, "The floor falls at most 4%.", _CITATION),
            ),
        ),
    ),
)
