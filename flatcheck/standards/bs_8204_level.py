"""Britain: how far a screed or slab may lie off its level, and steps across its joints."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.usual import flat_rule

_DATUM_PITCH_MM = 1000.0


def _level(limit_mm: float, document: str, source: str) -> Rule:
    return Rule(
        id="datum",
        measure="datum",
        length_mm=None,
        limit=Limit(((1.0, limit_mm),)),
        words=f"No place more than {limit_mm:g} mm above or below the level it should have.",
        citation=Citation(
            document=document,
            edition="edition not stated by the page seen",
            clause="departure from datum, large areas in ordinary use (clause number not seen)",
            source=source,
            certainty="single source",
            note="The datum is taken midway between the highest and the lowest place: whatever "
            "level was specified, the floor is no better than this.",
        ),
        pitch_mm=_DATUM_PITCH_MM,
    )


_STEP = Citation(
    document="BS 8204",
    edition="edition not known",
    clause="abrupt changes across joints (clause number not known)",
    source="from memory",
    certainty="from memory",
    note="Weakly remembered as about 1 to 2 mm. The two readings are taken within 50 mm (common "
    "practice, no source).",
)

_OFF = (
    "One page gives 15 mm (bs-8204-level:datum-15), a screed firm's 10 mm (bs-8204-level:datum-10)."
)
_STEPS = "Remembered as 1 mm (bs-8204-level:joint-1) or 2 mm (bs-8204-level:joint-2)."

STANDARD = Standard(
    id="bs-8204-level",
    title="BS 8204 level and joints",
    region="Britain",
    grades=(
        Grade(
            id="datum-15",
            title="Off level by up to 15 mm",
            rules=(_level(15, "BS 8204", "cscscreeding.co.uk"),),
            disputed=_OFF,
        ),
        Grade(
            id="datum-10",
            title="Off level by up to 10 mm",
            rules=(_level(10, "Irish screed practice", "easyscreed.ie"),),
            disputed=_OFF,
        ),
        Grade(
            id="joint-2",
            title="Steps across joints, 2 mm",
            rules=(flat_rule("step", "50 mm", "2 mm", _STEP),),
            disputed=_STEPS,
        ),
        Grade(
            id="joint-1",
            title="Steps across joints, 1 mm",
            rules=(flat_rule("step", "50 mm", "1 mm", _STEP),),
            disputed=_STEPS,
        ),
    ),
)
