"""New Zealand: finished tile, and concrete surfaces on which sources disagree."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_FINISHED = Citation(
    document="MBIE guide to tolerances",
    edition="2015",
    clause="tiles, flatness (section not seen)",
    source="regaltiling.nz",
    certainty="single source",
    note="Plus or minus: high and low both count, under a bar on equal blocks.",
)


def _concrete(source: str, note: str = "") -> Citation:
    return Citation(
        document="NZS 3114",
        edition="edition not stated by the page seen",
        clause="surface finishes (clause number not seen)",
        source=source,
        certainty="single source",
        note=note,
    )


_BUILD = _concrete("buildmagazine.org.nz (Build 184)", "Plus or minus, on equal blocks here.")
_BOARD = _concrete(
    "US Access Board report of 2011, Part III",
    "Probably of an older edition. An abrupt change is one off the required plane within 200 mm.",
)

_DISPUTED = (
    "One page asks 3 mm either way in any 3 m (nz-tile:concrete-3mm), an older one 5 mm over 3 m "
    "with abrupt changes up to 3 mm (nz-tile:concrete-5mm)."
)

STANDARD = Standard(
    id="nz-tile",
    title="New Zealand tile and concrete",
    region="New Zealand",
    grades=(
        Grade(
            id="finished",
            title="Finished tile",
            rules=(flat_rule("blocks", "2 m", "4 mm", _FINISHED),),
        ),
        Grade(
            id="concrete-3mm",
            title="Concrete, NZS 3114, 3 mm in 3 m",
            rules=(flat_rule("blocks", "3 m", "3 mm", _BUILD),),
            disputed=_DISPUTED,
        ),
        Grade(
            id="concrete-5mm",
            title="Concrete, NZS 3114, 5 mm over 3 m",
            rules=(
                flat_rule("resting", "3 m", "5 mm", _BOARD),
                flat_rule("plane", "200 mm", "3 mm", _BOARD),
            ),
            disputed=_DISPUTED,
        ),
    ),
)
