"""United States: changes in level where people walk, as their codes allow them."""

from flatcheck.rules import Citation, Grade, Rule, Standard
from flatcheck.usual import flat_rule

_F1637 = Citation(
    document="ASTM F1637",
    edition="1995 to 2019, as far as seen",
    clause="walkway changes in level (section not seen)",
    source="inspectorsjournal.com; preview of the standard (scope alone)",
    certainty="agreed",
    note="Up to 1/4 in without treatment; from there to 1/2 in bevelled at 1:2 or flatter; higher "
    "is a ramp or a stair. Showers, pools and tubs are out of its scope. Whether an edge is "
    "bevelled cannot be told from two readings.",
)

_IBC = Citation(
    document="IBC",
    edition="edition not stated by the page seen",
    clause="1008.1.7, thresholds",
    source="inspectorsjournal.com",
    certainty="single source",
    note="Changes over 1/4 in are bevelled at 1:2.",
)


def _step(limit: str, citation: Citation) -> tuple[Rule]:
    return (flat_rule("step", "2 in", limit, citation),)


STANDARD = Standard(
    id="us-walkways",
    title="US walkways and thresholds",
    region="USA",
    about="falls",
    grades=(
        Grade("vertical", "Walkway, square edge, ASTM F1637", _step("1/4 in", _F1637)),
        Grade("bevelled", "Walkway, edge bevelled at 1:2, ASTM F1637", _step("1/2 in", _F1637)),
        Grade("threshold", "Threshold, IBC", _step("1/2 in", _IBC)),
        Grade("sliding-threshold", "Threshold of a sliding door, IBC", _step("3/4 in", _IBC)),
    ),
)
