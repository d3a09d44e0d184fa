"""France: tile set in mortar and bonded tile, what it is laid on and how flat it ends."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_MORTAR = Citation(
    document="NF DTU 52.1",
    edition="edition not stated by the pages seen",
    clause="10.1",
    source="ffbatiment.fr (2018); infociments.fr (18)",
    certainty="agreed",
    note="The rule is laid freely. The material's own tolerance may be added, and is not here. "
    "Article 10.2 asks for level too, 5 mm and 1 mm for each meter to the nearest reference mark, "
    "which is not judged here.",
)
_BASE = Citation(
    document="NF DTU 52.2",
    edition="edition not stated by the page seen",
    clause="substrate (article number not seen)",
    source="scribd 713873698",
    certainty="single source",
    note="The finished plane is that of the substrate with the tile's own tolerance "
    "(infociments.fr 19).",
)
_SHORT = Citation(
    document="NF DTU 52.2",
    edition="edition not known",
    clause="substrate under the short rule",
    source="from memory",
    certainty="from memory",
    note="Seen beside 5 mm under 2 m in NF DTU 35.1, for floors (dtu.golgoth.org).",
)

_LONG = flat_rule("resting", "2 m", "5 mm", _BASE)
_DISPUTED = (
    "One page asks 5 mm under 2 m alone (dtu-tile:bonded); from memory 1 mm under 0.2 m stands "
    "beside it (dtu-tile:bonded-short)."
)

STANDARD = Standard(
    id="dtu-tile",
    title="NF DTU 52.1 and 52.2 tile",
    region="France",
    grades=(
        Grade(
            id="bonded",
            title="Substrate for bonded tile",
            rules=(_LONG,),
            disputed=_DISPUTED,
        ),
        Grade(
            id="bonded-short",
            title="Substrate for bonded tile, with the short rule",
            rules=(_LONG, flat_rule("resting", "0.2 m", "1 mm", _SHORT)),
            disputed=_DISPUTED,
        ),
        Grade(
            id="wall",
            title="Wall of ordinary concrete, for bonded tile",
            rules=(flat_rule("resting", "2 m", "7 mm", _BASE),),
            on="wall",
        ),
        Grade(
            id="mortar-finished",
            title="Finished tile set in mortar",
            rules=(flat_rule("resting", "2 m", "3 mm", _MORTAR),),
        ),
    ),
)
