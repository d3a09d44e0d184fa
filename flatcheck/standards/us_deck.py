"""United States: falls of exterior decks and balconies under tile."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall

_METHOD = Citation(
    document="TCNA Handbook, exterior deck methods (F103)",
    edition="edition in force",
    clause="method F103 (text not seen)",
    source="from memory",
    certainty="from memory",
)

_FORUM = Citation(
    document="US practice for decks",
    edition="no document",
    clause="no clause",
    source="two trade forum threads",
    certainty="agreed",
    note="Named as a least fall for drainage; weak sources.",
)

_DISPUTED = (
    "From memory the method asks 1/4 in per ft (us-deck:quarter); forum pages call 1/8 in per ft "
    "the least that drains (us-deck:eighth)."
)

STANDARD = Standard(
    id="us-deck",
    title="US exterior decks and balconies",
    region="USA",
    about="falls",
    grades=(
        Grade(
            id="quarter",
            title="1/4 in per ft",
            rules=(least_fall(1 / 48, "The deck falls at least 1/4 in per ft (1:48).", _METHOD),),
            disputed=_DISPUTED,
        ),
        Grade(
            id="eighth",
            title="1/8 in per ft",
            rules=(least_fall(1 / 96, "The deck falls at least 1/8 in per ft (1:96).", _FORUM),),
            disputed=_DISPUTED,
        ),
    ),
)
