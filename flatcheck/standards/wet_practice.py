"""What a setter looks for in a wet floor beside its fall: no birdbaths, level walls, true valleys.

No document seen gives numbers for these; they are practice, and so marked.
"""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.units import MM_PER_INCH
from flatcheck.usual import no_ponds
from flatcheck.water import held_mm

_CITATION = Citation(
    document="setters' practice",
    edition="no document",
    clause="no clause",
    source="no source",
    certainty="common practice, no source",
)

_WALL_MM = MM_PER_INCH / 8
_VALLEY_MM = 1.0 * MM_PER_INCH

_WATER = no_ponds(held_mm(), _CITATION)
_WALLS = Rule(
    id="walls",
    measure="wall_level",
    length_mm=None,
    limit=Limit(((1.0, _WALL_MM),)),
    words="No wall that is to be level is off level by over 1/8 in.",
    citation=_CITATION,
    pitch_mm=MM_PER_INCH * 12,
)
_VALLEYS = Rule(
    id="valleys",
    measure="valley_line",
    length_mm=None,
    limit=Limit(((1.0, _VALLEY_MM),)),
    words="No valley lies over 1 in off the line from the drain's corner to the room's.",
    citation=_CITATION,
    pitch_mm=MM_PER_INCH * 12,
)

STANDARD = Standard(
    id="wet-practice",
    title="Wet floors, setters' practice",
    region="any",
    about="falls",
    grades=(
        Grade("all", "Birdbaths, level walls and valleys", (_WATER, _WALLS, _VALLEYS)),
        Grade("water", "Birdbaths alone", (_WATER,)),
    ),
)
