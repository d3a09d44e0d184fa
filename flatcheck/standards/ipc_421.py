"""United States: the pan under a tiled shower, by the international plumbing code."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import least_fall

_CITATION = Citation(
    document="IPC",
    edition="2021",
    clause="421.5.2 (417.5.2 in older editions)",
    source="slope from memory; the clause is named on one page (plumbingzone.com)",
    certainty="from memory",
    note="The pan under the tile; the tile follows it.",
)

STANDARD = Standard(
    id="ipc-pan",
    title="IPC 421 pan under a tiled shower",
    region="USA",
    about="falls",
    grades=(
        Grade(
            id="pan",
            title="Pan under tile",
            rules=(least_fall(1 / 48, "The pan falls at least 1/4 in per ft (1:48).", _CITATION),),
        ),
    ),
)
