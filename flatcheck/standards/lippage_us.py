"""United States: how far one tile may stand proud of the next, by the joint."""

from fractions import Fraction

from flatcheck.rules import Citation, Grade, Rule, Standard
from flatcheck.units import MM_PER_INCH
from flatcheck.usual import most_step, up_to

_NARROW, _WIDE = Fraction(1, 32), Fraction(1, 16)
_WIDE_FROM = Fraction(1, 4)

_WARPAGE = (
    "The warpage added is that of the tiles used, as measured, and only for tile that meets its "
    "own standard; not the largest that standard permits, though some pages write allowable."
)


def _citation(clause: str, source: str, certainty: str, note: str = _WARPAGE) -> Citation:
    return Citation("ANSI A108.02", "2009, 2013, 2017", clause, source, certainty, note)


_TABLE = _citation(
    "4.3.7",
    "tileletter.com/2016/02/7950; fcimag.com/articles/86335 and 91628; ctasc.com; tcnatile.com FAQ",
    "agreed",
    f"{_WARPAGE} The table starts at joints of 1/16 in, the narrowest allowed. One answer on "
    "ctasc.com puts a joint of exactly 1/4 in with the narrower ones; the table does not.",
)
_STONE = Citation(
    document="Natural stone institute manual",
    edition="edition not stated by the pages seen",
    clause="lippage (section not seen)",
    source="tileletter.com/2016/02/7950; ctasc.com",
    certainty="agreed",
    note="Warpage is not added.",
)


def _narrower(limit: Fraction, below: Fraction, citation: Citation) -> Rule:
    words = (
        f"At a joint narrower than {below} in no edge stands proud by more than {limit} in and the "
        "tile's own warpage."
    )
    return most_step(
        "narrow",
        float(limit) * MM_PER_INCH,
        words,
        citation,
        joint_below_mm=float(below) * MM_PER_INCH,
        adds_warpage=True,
    )


def _wider(limit: Fraction, start: Fraction, citation: Citation) -> Rule:
    words = (
        f"At a joint of {start} in or wider no edge stands proud by more than {limit} in and the "
        "tile's own warpage."
    )
    return most_step(
        "wide",
        float(limit) * MM_PER_INCH,
        words,
        citation,
        joint_from_mm=float(start) * MM_PER_INCH,
        adds_warpage=True,
    )


_MOSAIC = Fraction(1, 8)
_WALL = _citation(
    "4.3.7, wall tile and mosaics",
    "tileletter.com/2017/10",
    "single source",
    f"{_WARPAGE} Said of tile from 1 x 1 to 6 x 6 in; those sizes are from memory.",
)
_QUARRY = _citation("4.3.7, quarry tile", "from memory", "from memory")
_PANELS = Citation(
    document="ANSI A108.19",
    edition="edition not known",
    clause="lippage (clause number not known)",
    source="from memory",
    certainty="from memory",
    note=_WARPAGE,
)

_PAVER_IN = Fraction(1, 8)
_PAVERS = Citation(
    document="Guideline for segmental paving on pedestals",
    edition="edition not stated by the page seen",
    clause="lippage",
    source="US Access Board report of 2011, Part III",
    certainty="single source",
    note="For pavers, not for tile; warpage is not added.",
)

STANDARD = Standard(
    id="us-lippage",
    title="US lippage (ANSI A108.02)",
    region="USA",
    about="lippage",
    grades=(
        Grade(
            id="floor",
            title="Pressed floor and porcelain tile",
            rules=(_narrower(_NARROW, _WIDE_FROM, _TABLE), _wider(_WIDE, _WIDE_FROM, _TABLE)),
        ),
        Grade(
            id="stone",
            title="Natural stone",
            rules=(
                most_step(
                    "stone",
                    float(_NARROW) * MM_PER_INCH,
                    f"No edge stands proud by more than {_NARROW} in.",
                    _STONE,
                ),
            ),
        ),
        Grade(
            id="wall",
            title="Glazed wall tile and mosaics with joints up to 1/8 in",
            rules=(
                most_step(
                    "wall",
                    float(_NARROW) * MM_PER_INCH,
                    f"At a joint up to {_MOSAIC} in wide no edge stands proud by more than "
                    f"{_NARROW} in and the tile's own warpage.",
                    _WALL,
                    joint_below_mm=up_to(float(_MOSAIC) * MM_PER_INCH),
                    adds_warpage=True,
                ),
            ),
        ),
        Grade(
            id="quarry",
            title="Quarry tile with joints of 1/4 in or wider",
            rules=(_wider(_WIDE, _WIDE_FROM, _QUARRY),),
        ),
        Grade(
            id="panels",
            title="Gauged porcelain panels, ANSI A108.19",
            rules=(
                most_step(
                    "panels",
                    float(_NARROW) * MM_PER_INCH,
                    f"No edge stands proud by more than {_NARROW} in and the panel's own warpage.",
                    _PANELS,
                    adds_warpage=True,
                ),
            ),
        ),
        Grade(
            id="pavers",
            title="Pavers on pedestals",
            rules=(
                most_step(
                    "pavers",
                    float(_PAVER_IN) * MM_PER_INCH,
                    f"No edge stands proud by more than {_PAVER_IN} in.",
                    _PAVERS,
                ),
            ),
        ),
    ),
)
