"""Germany: falls of balconies, roofs and, by practice, of showers."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall

_BALCONY = Citation(
    document="DIN 18531-5",
    edition="edition not stated by the pages seen",
    clause="6.2",
    source="fliesenundplatten.de and a drainage lexicon",
    certainty="agreed",
    note="In the plane of the waterproofing, under the tile.",
)

_ROOF = Citation(
    document="DIN 18531-1",
    edition="edition not stated by the page seen",
    clause="6.3.1",
    source="a drainage lexicon",
    certainty="single source",
    note="Flat roofs; below 5% puddles are to be expected. Valleys may fall 1%, which is not "
    "judged here.",
)

_SHOWER = Citation(
    document="German practice for showers",
    edition="no document",
    clause="no clause",
    source="hausjournal and tektorum",
    certainty="agreed",
    note="About 2%; 1 to 2% is also named. DIN 18534 gives no fixed figure (from memory).",
)

_DISPUTED = (
    "Two pages name about 2% (din-falls:shower), and 1 to 2% is named too (din-falls:shower-flat); "
    "no standard fixes it."
)

STANDARD = Standard(
    id="din-falls",
    title="DIN 18531 and German practice",
    region="Germany",
    about="falls",
    grades=(
        Grade(
            id="shower",
            title="Shower, about 2%",
            rules=(least_fall(0.02, "The floor falls at least 2%.", _SHOWER),),
            disputed=_DISPUTED,
        ),
        Grade(
            id="shower-flat",
            title="Shower, the flatter end of practice",
            rules=(least_fall(0.01, "The floor falls at least 1%.", _SHOWER),),
            disputed=_DISPUTED,
        ),
        Grade(
            id="balcony",
            title="Balcony, in the plane of the waterproofing",
            rules=(least_fall(0.015, "The waterproofing falls at least 1.5%.", _BALCONY),),
        ),
        Grade(
            id="roof",
            title="Flat roof",
            rules=(least_fall(0.02, "The roof falls at least 2%.", _ROOF),),
        ),
    ),
)
