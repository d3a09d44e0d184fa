"""Britain: floors and walls of new homes, as two house warranties ask for them."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.usual import flat_rule

_NHBC = Citation(
    document="NHBC Standards",
    edition="2020",
    clause="9.1.5",
    source="nhbc-standards.co.uk (2020)",
    certainty="single source",
)
_OTHER = Citation(
    document="Technical manual of another house warranty",
    edition="edition not stated by the pages seen",
    clause="tolerances, floors and walls",
    source="labcwarranty.co.uk; creatingconstruction",
    certainty="agreed",
)


def _level(per_m: float, most: float, note: Citation) -> Rule:
    """So many mm per meter up to 6 m, and never more than `most`."""
    anchors = ((1000.0, per_m), (6000.0, 6 * per_m), (1000.0 * most / per_m, most))
    return Rule(
        id="level",
        measure="lean",
        length_mm=None,
        limit=Limit(anchors),
        words=f"No line across the floor off level by more than {per_m:g} mm for each meter, "
        f"{6 * per_m:g} mm over 6 m, and never more than {most:g} mm.",
        citation=Citation(
            note.document,
            note.edition,
            note.clause,
            note.source,
            note.certainty,
            "Shorter than 1 m the limit of 1 m is used. Beyond 6 m it grows alike until the most "
            "is reached; the document only gives the most.",
        ),
        pitch_mm=1000.0,
    )


_FLAT_NHBC = flat_rule("blocks", "2 m", "5 mm", _NHBC)
_FLAT_OTHER = flat_rule("blocks", "2 m", "5 mm", _OTHER)

STANDARD = Standard(
    id="uk-warranty",
    title="British house warranties",
    region="Britain",
    grades=(
        Grade(
            id="nhbc-floor",
            title="Floor, NHBC 2020: flat, and level",
            rules=(_FLAT_NHBC, _level(3, 20, _NHBC)),
        ),
        Grade(
            id="other-floor",
            title="Floor, another warranty: level",
            rules=(_level(4, 25, _OTHER),),
        ),
        Grade(
            id="other-wall",
            title="Wall, another warranty: flat",
            rules=(_FLAT_OTHER,),
            on="wall",
        ),
    ),
)
