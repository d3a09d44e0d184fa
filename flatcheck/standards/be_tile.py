"""Belgium: classes of screeds and tile floors. The limits are from memory."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_CITATION = Citation(
    document="NIT 189, 213 and 237",
    edition="edition not known",
    clause="classes of flatness",
    source="from memory (the classes were seen in doczz 1898750, cstc.be and veilleconstruction; "
    "their limits were not legible)",
    certainty="from memory",
    note="Class 2 where nothing is said; class 1 is strongly advised for tile with edges of 300 mm "
    "or longer. Finished tile has the screed's tolerance and the tile's own, which is not added "
    "here. How the bar lies was not seen; on equal blocks both high and low count.",
)


def _grade(number: int, limit: str, use: str) -> Grade:
    return Grade(
        f"class-{number}",
        f"Class {number}, {use}",
        (flat_rule("blocks", "2 m", limit, _CITATION),),
    )


STANDARD = Standard(
    id="be-tile",
    title="Belgian screeds and tile floors",
    region="Belgium",
    grades=(
        _grade(2, "4 mm", "where nothing is said"),
        _grade(1, "3 mm", "advised for edges of 300 mm or longer"),
        _grade(3, "6 mm", "the widest"),
    ),
)
