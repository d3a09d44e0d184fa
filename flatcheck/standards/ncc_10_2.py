"""Australia: falls of bathroom floors to a floor waste, and no water left standing."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall, most_fall, no_ponds
from flatcheck.water import held_mm

_NCC = Citation(
    document="NCC (Housing Provisions)",
    edition="2022",
    clause="10.2.12",
    source="pcgroup.net.au and a builder's notes",
    certainty="agreed",
    note="Where a floor waste is installed. Each plane is measured square to its wall, not along "
    "the diagonal.",
)

_OLD = Citation(
    document="AS 3740",
    edition="2004",
    clause="falls (clause number not seen)",
    source="mbawa.com and NCC 2016 South Australia 3.2.2",
    certainty="agreed",
    note="Given as ranges, 1:60 to 1:80 in the shower and 1:80 to 1:100 elsewhere; the flatter end "
    "is the least here and the steeper the most.",
)

_NEW = Citation(
    document="AS 3740",
    edition="2021",
    clause="falls (clause number not known)",
    source="from memory",
    certainty="from memory",
)

_WATER = Citation(
    document="AS 3740",
    edition="2010",
    clause="drainage (clause number not seen)",
    source="a trader's page and a builders' association's comment",
    certainty="agreed",
    note="Worded as performance: no ponding but what surface tension holds.",
)

_OUTSIDE = Citation(
    document="AS 4654.2",
    edition="edition not stated by the page seen",
    clause="external falls (clause number not seen)",
    source="waterproofingintegrity.com.au",
    certainty="single source",
)

STANDARD = Standard(
    id="au-wet",
    title="NCC and AS 3740 wet area floors",
    region="Australia",
    about="falls",
    grades=(
        Grade(
            id="ncc-2022",
            title="Floor with a floor waste, NCC 2022",
            rules=(
                least_fall(1 / 80, "The floor falls at least 1:80, square to each wall.", _NCC),
                most_fall(1 / 50, "The floor falls at most 1:50.", _NCC),
                no_ponds(held_mm(), _WATER),
            ),
        ),
        Grade(
            id="2004-shower",
            title="Shower, AS 3740-2004",
            rules=(
                least_fall(1 / 80, "The shower floor falls at least 1:80.", _OLD),
                most_fall(1 / 60, "The shower floor falls at most 1:60.", _OLD),
            ),
        ),
        Grade(
            id="2004-other",
            title="Other wet floors, AS 3740-2004",
            rules=(
                least_fall(1 / 100, "The floor falls at least 1:100.", _OLD),
                most_fall(1 / 80, "The floor falls at most 1:80.", _OLD),
            ),
        ),
        Grade(
            id="2021-shower",
            title="Shower, AS 3740:2021",
            rules=(least_fall(1 / 80, "The shower floor falls at least 1:80.", _NEW),),
        ),
        Grade(
            id="2021-bathroom",
            title="Bathroom, AS 3740:2021",
            rules=(least_fall(1 / 100, "The bathroom floor falls at least 1:100.", _NEW),),
        ),
        Grade(
            id="outside",
            title="Outside, AS 4654.2",
            rules=(least_fall(1 / 100, "The floor falls at least 1:100.", _OUTSIDE),),
        ),
    ),
)
