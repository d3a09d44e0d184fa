"""United States: how flat the substrate must be, by the longest edge of the tile.

The text can be read in two ways, and both are here as grades: as the gap under a straightedge
("bar"), and as the depth below a required plane ("plane").
"""

import math
from fractions import Fraction

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH
from flatcheck.usual import flat_rule

_LARGE_FROM_MM = 15 * MM_PER_INCH

_READINGS = (
    "The text asks for the required plane, measured from the high points. Whether that is the gap "
    "under a straightedge resting on them or the depth below a plane that touches them is not "
    "settled by any page seen; both are offered."
)

_CLAUSES = (
    "Pages agree on the numbers and not on the clause: A108.02-4.1.4.3.1, A108.02-4.2.2 and "
    "A108.01 are all named, probably for different editions."
)


def _citation(source: str, printed_mm: str) -> Citation:
    return Citation(
        document="ANSI A108.01/A108.02",
        edition="edition in force",
        clause="substrate flatness by tile edge (clause number differs between editions)",
        source=source,
        certainty="agreed",
        note=f"{_READINGS} {_CLAUSES} {printed_mm}",
    )


_SMALL = _citation(
    source="tile-magazine.com/articles/87932; tileletter.com tech-talk pages; "
    "tilelettercanada.com (2017-10-24, method W243-17); TCA Handbook 2009 extract in the US "
    "Access Board report of 2011, Part III",
    printed_mm="Printed beside the inches: 6 mm in 3 m, 1.6 mm in 0.3 m; judged here by the "
    "inches.",
)

_LARGE = _citation(
    source="floortrendsmag.com/articles/112509; fcimag.com/articles/91628; "
    "fcimag.com/articles/96103; a general engineering page",
    printed_mm="Printed beside the inches: 3 mm in 3 m, 2 mm (by some 1.6 mm) in 610 mm; judged "
    "here by the inches.",
)


def _rules(measure: str, sentence: str) -> tuple[Rule, ...]:
    """The four rules under one reading; `sentence` has places for the limit and the length."""

    def rule(
        name: str, length: str, length_mm: float, limit_in: Fraction, large: bool = False
    ) -> Rule:
        return Rule(
            id=name,
            measure=measure,
            length_mm=length_mm,
            limit=Limit(((length_mm, float(limit_in) * MM_PER_INCH),)),
            words=sentence.format(limit=f"{limit_in} in", length=length),
            citation=_LARGE if large else _SMALL,
            edge_from_mm=_LARGE_FROM_MM if large else 0.0,
            edge_below_mm=math.inf if large else _LARGE_FROM_MM,
        )

    # In feet, because 12 * MM_PER_INCH falls below the float that a typed 12 in becomes: a bar on
    # readings 12 in apart would be too long for its own rule.
    return (
        rule("10ft", "10 ft", 10 * MM_PER_FOOT, Fraction(1, 4)),
        rule("short", "12 in", 1 * MM_PER_FOOT, Fraction(1, 16)),
        rule("10ft", "10 ft", 10 * MM_PER_FOOT, Fraction(1, 8), large=True),
        rule("short", "24 in", 2 * MM_PER_FOOT, Fraction(1, 16), large=True),
    )


_PANELS = Citation(
    document="ANSI A108.19",
    edition="edition not known",
    clause="substrate for gauged porcelain tile panels (text not seen)",
    source="fcimag.com/articles/91628",
    certainty="single source",
    note="The page holds the rule for edges of 15 in or longer against panels of 1 x 3 m and "
    "1.5 x 3 m; the text of A108.19 itself was not seen.",
)

_OLD = Citation(
    document="TCA Handbook",
    edition="2009",
    clause="substrate flatness (page not seen)",
    source="extract in the US Access Board report of 2011, Part III",
    certainty="single source",
    note="One rule for all tile; 1/8 in in 10 ft was advice for larger tile.",
)

_DISPUTED = (
    "Pages do not settle whether the limit is a gap under a straightedge (us-tile:bar) or a depth "
    "below the required plane (us-tile:plane). A local contractor's page asks 1/8 in in 10 ft for "
    "every tile, and stands alone with it; one article prints 12 ft where the others have 12 in."
)

STANDARD = Standard(
    id="us-tile",
    title="US tile substrate (ANSI A108)",
    region="USA",
    grades=(
        Grade(
            id="bar",
            title="Gap under a straightedge resting on the high points",
            rules=_rules(
                "resting",
                "No gap over {limit} under a {length} straightedge resting on the high points.",
            ),
            on="either",
            disputed=_DISPUTED,
        ),
        Grade(
            id="plane",
            title="Depth below the required plane that touches the high points",
            rules=_rules(
                "plane",
                "No place more than {limit} below the required plane that touches the high points, "
                "over any {length}.",
            ),
            on="either",
            disputed=_DISPUTED,
        ),
        Grade(
            id="panels",
            title="Gauged porcelain panels, whatever their size",
            rules=(
                flat_rule("resting", "10 ft", "1/8 in", _PANELS),
                flat_rule("resting", "24 in", "1/16 in", _PANELS),
            ),
            on="either",
        ),
        Grade(
            id="before-2009",
            title="One rule for all tile, as before 2009",
            rules=(flat_rule("resting", "10 ft", "1/4 in", _OLD),),
            on="either",
        ),
    ),
)
