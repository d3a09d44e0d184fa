"""Germany: how far one tile may stand proud of the next. Sources disagree; each is a grade.

DIN 18202 has no limit for lippage.
"""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_step, up_to

_CAST = Citation(
    document="DIN 18333",
    edition="2019-09",
    clause="3.1.3",
    source="bausv.online",
    certainty="single source",
    note="Cast stone indoors.",
)
_CAST_OLD = Citation(
    document="DIN 18333",
    edition="before 2019",
    clause="steps between slabs (clause number not seen)",
    source="baunetzwissen.de; fliesen-baral.de",
    certainty="agreed",
    note="Cast stone.",
)
_TRADE = Citation(
    document="ZDB leaflet",
    edition="October 2005",
    clause="field formula",
    source="fliesen-baral.de; an answer on gutefrage.net (300 x 600 mm: 1.9 mm)",
    certainty="agreed",
    note="Meant for tile whose length and width together are up to about 1000 mm; an experts' "
    "circle asks for less.",
)
_EXPERTS = Citation(
    document="Leaflet of a circle of experts",
    edition="edition not stated by the pages seen",
    clause="steps between tiles",
    source="doczz 5992080 and its French version, doczz 198506",
    certainty="agreed",
    note="On no more than 10 % of the tiles, which is not judged here; the tile's tolerance may be "
    "added, for which the warpage that was measured stands. The trade's formula allows more.",
)

_AREA_MM2 = 0.25e6
_SMALL_MM, _LARGE_MM = 1.5, 2.0
_TRADE_MM = 1.0
_THICK_MM, _THIN_MM = 1.0, 1.3


def _words(limit_mm: float, lead: str = "No edge") -> str:
    return f"{lead} stands proud by more than {limit_mm:g} mm"


_DISPUTED = (
    "For 300 x 600 mm tile the trade's formula (de-lippage:trade) allows 1.9 mm, the experts' "
    "circle 1.3 mm in a thin bed (de-lippage:experts-thin) and 1 mm in a thicker one "
    "(de-lippage:experts-thick)."
)

STANDARD = Standard(
    id="de-lippage",
    title="German lippage",
    region="Germany",
    about="lippage",
    grades=(
        Grade(
            id="trade",
            title="Ceramic tile, formula of the trade",
            rules=(
                most_step(
                    "trade",
                    _TRADE_MM,
                    f"{_words(_TRADE_MM)} and a thousandth of the tile's length and width "
                    "together.",
                    _TRADE,
                    edges_ratio=1 / 1000,
                ),
            ),
            disputed=_DISPUTED,
        ),
        Grade(
            id="experts-thin",
            title="Ceramic tile in a thin bed, experts' circle",
            rules=(
                most_step(
                    "thin",
                    _THIN_MM,
                    f"{_words(_THIN_MM)} and the tile's own warpage.",
                    _EXPERTS,
                    adds_warpage=True,
                ),
            ),
            disputed=_DISPUTED,
        ),
        Grade(
            id="experts-thick",
            title="Ceramic tile in a medium or thick bed, experts' circle",
            rules=(
                most_step(
                    "thick",
                    _THICK_MM,
                    f"{_words(_THICK_MM)} and the tile's own warpage.",
                    _EXPERTS,
                    adds_warpage=True,
                ),
            ),
            disputed=_DISPUTED,
        ),
        Grade(
            id="cast-stone",
            title="Cast stone indoors, DIN 18333:2019-09",
            rules=(
                most_step(
                    "small",
                    _SMALL_MM,
                    f"{_words(_SMALL_MM, 'No edge of a slab up to 0.25 m²')}.",
                    _CAST,
                    area_below_mm2=up_to(_AREA_MM2),
                ),
                most_step(
                    "large",
                    _LARGE_MM,
                    f"{_words(_LARGE_MM, 'No edge of a slab over 0.25 m²')}.",
                    _CAST,
                    area_from_mm2=up_to(_AREA_MM2),
                ),
            ),
        ),
        Grade(
            id="cast-stone-old",
            title="Cast stone, DIN 18333 before 2019",
            rules=(most_step("cast-stone", _SMALL_MM, f"{_words(_SMALL_MM)}.", _CAST_OLD),),
        ),
    ),
)
