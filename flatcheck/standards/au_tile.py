"""Australia: substrates, finished tile, and concrete as it is specified for."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule


def _substrate(note: str) -> Citation:
    return Citation(
        document="AS 3958.1 and AS 3958",
        edition="2007 and 2023",
        clause="substrate (text not seen)",
        source="a secondary blog",
        certainty="single source",
        note=note,
    )


_FINISHED = Citation(
    document="Guides to standards and tolerances",
    edition="Victoria 2015, New South Wales 2017, Tasmania 2017",
    clause="Tasmania 12.9",
    source="premiumbms.com.au (full text)",
    certainty="single source",
    note="From the required plane, plus or minus: high and low both count, under a bar on equal "
    "blocks.",
)
_CONCRETE = Citation(
    document="NATSPEC",
    edition="edition not stated by the page seen",
    clause="concrete finishes, classes A to C",
    source="US Access Board report of 2011, Part III",
    certainty="single source",
)

_DISPUTED = (
    "One blog asks 3 mm in 3 m for edges over 400 mm (au-tile:substrate-3m), another 3 mm either "
    "way under 2 m (au-tile:substrate-2m); the standard itself was not seen."
)

STANDARD = Standard(
    id="au-tile",
    title="Australian tile and concrete",
    region="Australia",
    grades=(
        Grade(
            id="finished",
            title="Finished tile",
            rules=(flat_rule("blocks", "2 m", "4 mm", _FINISHED),),
        ),
        Grade(
            id="substrate-2m",
            title="Substrate, AS 3958, 3 mm under 2 m",
            rules=(flat_rule("blocks", "2 m", "3 mm", _substrate("For every tile.")),),
            disputed=_DISPUTED,
        ),
        Grade(
            id="substrate-3m",
            title="Substrate for edges over 400 mm, AS 3958, 3 mm in 3 m",
            rules=(
                flat_rule(
                    "resting", "3 m", "3 mm", _substrate("For tile with an edge over 400 mm.")
                ),
            ),
            disputed=_DISPUTED,
        ),
        Grade(
            id="concrete-A",
            title="Concrete, class A",
            rules=(flat_rule("resting", "3 m", "3 mm", _CONCRETE),),
        ),
        Grade(
            id="concrete-B",
            title="Concrete, class B",
            rules=(flat_rule("resting", "3 m", "6 mm", _CONCRETE),),
        ),
        Grade(
            id="concrete-C",
            title="Concrete, class C",
            rules=(flat_rule("resting", "600 mm", "6 mm", _CONCRETE),),
        ),
    ),
)
