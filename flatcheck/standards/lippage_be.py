"""Belgium: how far one slab of natural stone may stand proud of the next."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_step, up_to

_EDGE_MM = 500.0

_SOURCE = "buildwise.be FAQ"
_NIT = Citation(
    document="NIT 213",
    edition="edition not stated by the page seen",
    clause="natural stone floors, lippage (section not seen)",
    source=_SOURCE,
    certainty="single source",
    note="For slabs up to 50 cm; an article of 2022 has classes instead.",
)
_CLASSES = Citation(
    document="Buildwise article on natural stone floors",
    edition="2022",
    clause="classes of lippage",
    source=_SOURCE,
    certainty="single source",
)


def _grade(number: int, limit_mm: float) -> Grade:
    words = f"No edge stands proud by more than {limit_mm:g} mm."
    return Grade(
        f"class-{number}",
        f"Natural stone, class {number} (2022)",
        (most_step("class", limit_mm, words, _CLASSES),),
    )


STANDARD = Standard(
    id="be-lippage",
    title="Belgian lippage of natural stone",
    region="Belgium",
    about="lippage",
    grades=(
        _grade(2, 1.5),
        _grade(1, 1.0),
        _grade(3, 2.0),
        Grade(
            "nit-213",
            "Natural stone slabs up to 50 cm, NIT 213",
            (
                most_step(
                    "small",
                    1.0,
                    f"No edge of a slab with edges up to {_EDGE_MM:g} mm stands proud by more than "
                    "1 mm.",
                    _NIT,
                    edge_below_mm=up_to(_EDGE_MM),
                ),
            ),
        ),
    ),
)
