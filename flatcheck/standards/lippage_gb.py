"""Britain: how far one tile may stand proud of the next, by the joint."""

from flatcheck.rules import Citation, Grade, Rule, Standard
from flatcheck.usual import most_step, up_to

_JOINT_MM = 6.0
_NARROW_MM, _WIDE_MM = 1.0, 2.0


def _citation(source: str, note: str) -> Citation:
    return Citation(
        document="BS 5385-1 and BS 5385-3",
        edition="edition not stated by the pages seen",
        clause="lippage across joints, movement joints too (clause number not seen)",
        source=source,
        certainty="agreed",
        note=note,
    )


_FORUM = _citation(
    "tilersforums.com thread 63917; nhbc-standards.co.uk 9.1.7 (2025)",
    "Pages agree on the numbers; a joint of exactly 6 mm is with the wider ones here, and with "
    "the narrower ones in grade warranty.",
)
_NHBC = _citation(
    "nhbc-standards.co.uk 9.1.7 (2025)",
    "As a house warranty prints it: up to 6 mm, and over 6 mm.",
)


def _rules(narrow: str, wide: str, bound_mm: float, citation: Citation) -> tuple[Rule, ...]:
    words = "no edge stands proud by more than"
    return (
        most_step(
            "narrow",
            _NARROW_MM,
            f"At a joint {narrow} {words} {_NARROW_MM:g} mm.",
            citation,
            joint_below_mm=bound_mm,
        ),
        most_step(
            "wide",
            _WIDE_MM,
            f"At a joint {wide} {words} {_WIDE_MM:g} mm.",
            citation,
            joint_from_mm=bound_mm,
        ),
    )


_DISPUTED = (
    "A joint of exactly 6 mm may have 2 mm by a trade page (bs-lippage:tile) and 1 mm by a house "
    "warranty (bs-lippage:warranty)."
)

STANDARD = Standard(
    id="bs-lippage",
    title="BS 5385 lippage",
    region="Britain",
    about="lippage",
    grades=(
        Grade(
            id="tile",
            title="Joints under 6 mm, and 6 mm or wider",
            rules=_rules(
                f"narrower than {_JOINT_MM:g} mm",
                f"of {_JOINT_MM:g} mm or wider",
                _JOINT_MM,
                _FORUM,
            ),
            disputed=_DISPUTED,
        ),
        Grade(
            id="warranty",
            title="Joints up to 6 mm, and wider",
            rules=_rules(
                f"up to {_JOINT_MM:g} mm wide", f"over {_JOINT_MM:g} mm", up_to(_JOINT_MM), _NHBC
            ),
            disputed=_DISPUTED,
        ),
    ),
)
