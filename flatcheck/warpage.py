"""How flat is the tile itself: bow and twist, what its product standard allows, what follows.

A departure is positive where the face is high: a tile with a crown has a positive center.
"""

import math
from dataclasses import dataclass

from flatcheck.errors import RuleError, SurveyError
from flatcheck.rules import Citation
from flatcheck.tile import Bow, Tile, longest_edge
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH


@dataclass(frozen=True)
class Face:
    """Heights of a tile's face over any flat reference [mm].

    `corners_mm` go around the tile; `edges_mm` are the middles of its edges, the first between
    corners 1 and 2; `center_mm` is its middle.
    """

    corners_mm: tuple[float, float, float, float]
    edges_mm: tuple[float, float, float, float]
    center_mm: float


@dataclass(frozen=True)
class Warpage:
    """What a face departs by [mm], each by the definitions of ISO 10545-2.

    `edges_mm` are the middles of the edges from the line through their two corners; `diagonals_mm`
    the center from the line through two opposite corners, which lies in the plane of any three
    corners that hold both; `center_mm` the larger of the two, with its sign. `twist_mm` is the
    fourth corner from the plane of the other three.
    """

    edges_mm: tuple[float, float, float, float]
    diagonals_mm: tuple[float, float]
    center_mm: float
    twist_mm: float


def face_down(
    corners_mm: tuple[float, float, float, float],
    edges_mm: tuple[float, float, float, float],
    center_mm: float,
) -> Face:
    """The face of a tile that lay face down on a flat bench, from the gaps under it [mm].

    Where the gap is, the face is low once the tile is turned.
    """
    a, b, c, d = (-gap for gap in corners_mm)
    p, q, r, s = (-gap for gap in edges_mm)
    return Face((a, b, c, d), (p, q, r, s), -center_mm)


def warpage(face: Face) -> Warpage:
    """How is this tile bowed and twisted?

    Edge i: e - (z_i + z_j) / 2; diagonals: c - (z1 + z3) / 2 and c - (z2 + z4) / 2; twist:
    z4 - (z1 + z3 - z2). ISO 10545-2, center as read in the opening of AS ISO 10545.2:2020, edge
    and warpage from memory.
    """
    z = face.corners_mm
    edges = tuple(face.edges_mm[i] - (z[i] + z[(i + 1) % 4]) / 2 for i in range(4))
    diagonals = (face.center_mm - (z[0] + z[2]) / 2, face.center_mm - (z[1] + z[3]) / 2)
    return Warpage(
        edges_mm=(edges[0], edges[1], edges[2], edges[3]),
        diagonals_mm=diagonals,
        center_mm=max(diagonals, key=abs),
        twist_mm=z[3] - (z[0] + z[2] - z[1]),
    )


def inherent(tiles: tuple[Warpage, ...]) -> float:
    """The actual warpage of the tiles that were measured [mm]: the largest along an edge or
    diagonal.

    Raises SurveyError where none was measured.
    """
    if not tiles:
        raise SurveyError("no tile was measured; lay at least one on a flat bench.")
    return max(abs(v) for tile in tiles for v in (*tile.edges_mm, *tile.diagonals_mm))


def bow_of(tile: Tile, tiles: tuple[Warpage, ...], u_mm: float = 0.0) -> Bow:
    """The bow of tiles that were measured, as a tile's record holds it [mm].

    Of its longest edges, and of its diagonals, the largest departure of any tile with its sign;
    `u_mm` is the standard uncertainty of one departure. Edges 1 and 3 are the tile's length.

    Raises SurveyError where none was measured.
    """
    if not tiles:
        raise SurveyError("no tile was measured; lay at least one on a flat bench.")
    sides = (tile.length_mm, tile.width_mm) * 2
    long = [k for k in range(4) if sides[k] == longest_edge(tile)]
    return Bow(
        max((found.edges_mm[k] for found in tiles for k in long), key=abs),
        max((value for found in tiles for value in found.diagonals_mm), key=abs),
        measured=True,
        u_mm=u_mm,
    )


def back_to_back(
    ab_mm: float, ac_mm: float, bc_mm: float, u_mm: float
) -> tuple[tuple[float, float, float], float]:
    """The bows of three tiles held face to face in pairs [mm], and their uncertainty.

    Two hollow faces that touch at their ends stand as far apart in the middle as both are hollow:
    ab = a + b. So a = (ab + ac - bc) / 2, with u(a) = √3/2 · u of one gap. Gaps at the middle are
    positive; for crowned faces give the sum of the two gaps at the ends, halved, with a minus.
    """
    a = (ab_mm + ac_mm - bc_mm) / 2
    return (a, ab_mm - a, ac_mm - a), math.sqrt(3) / 2 * u_mm


# What the product may depart by


@dataclass(frozen=True)
class Bound:
    """A share of the length, or a cap [mm], whichever is less, for crowns and for hollows."""

    high_ratio: float
    high_cap_mm: float
    low_ratio: float
    low_cap_mm: float


def both(ratio: float, cap_mm: float = math.inf) -> Bound:
    """The same bound for crowns and for hollows."""
    return Bound(ratio, cap_mm, ratio, cap_mm)


@dataclass(frozen=True)
class Product:
    """What one class of tile may depart by along its edges and diagonals, and out of its plane.

    `twist` is None where the document does not limit it. The class holds for tiles whose longest
    edge is over `edge_over_mm`.
    """

    id: str
    title: str
    edge: Bound
    diagonal: Bound
    twist: Bound | None
    citation: Citation
    edge_over_mm: float = 0.0


def allowed(bound: Bound, length_mm: float) -> tuple[float, float]:
    """The largest hollow (negative) and crown that a bound allows over a length [mm]."""
    return (
        -min(bound.low_ratio * length_mm, bound.low_cap_mm),
        min(bound.high_ratio * length_mm, bound.high_cap_mm),
    )


def product_named(name: str) -> Product:
    """The class of tile of this id. Raises RuleError with the ids there are."""
    for product in PRODUCTS:
        if product.id == name.strip().lower():
            return product
    known = ", ".join(product.id for product in PRODUCTS)
    raise RuleError(f"tile class {name[:40]!r} is not one of {known}.")


def excess(found: Warpage, tile: Tile, product: Product) -> float:
    """How far the tile departs beyond what its class allows [mm]; at most zero where it meets it.

    Edges 1 and 3 are the tile's length, 2 and 4 its width; center and twist go by the diagonal.
    Raises RuleError for a tile that the class does not hold for.
    """
    if not longest_edge(tile) > product.edge_over_mm:
        raise RuleError(f"{product.title}: the class does not hold for so small a tile.")
    diagonal = math.hypot(tile.length_mm, tile.width_mm)
    sides = (tile.length_mm, tile.width_mm) * 2
    asked = [
        (value, allowed(product.edge, side))
        for value, side in zip(found.edges_mm, sides, strict=True)
    ]
    asked += [(value, allowed(product.diagonal, diagonal)) for value in found.diagonals_mm]
    if product.twist:
        asked.append((found.twist_mm, allowed(product.twist, diagonal)))
    return max(max(value - high, low - value) for value, (low, high) in asked)


def _ansi(edition: str, source: str, certainty: str, note: str = "") -> Citation:
    return Citation(
        document="ANSI A137.1",
        edition=edition,
        clause="warpage, tested by ASTM C485 (table number not seen)",
        source=source,
        certainty=certainty,
        note=note,
    )


def _iso(source: str, certainty: str, note: str = "") -> Citation:
    return Citation(
        document="EN 14411 / ISO 13006",
        edition="2016 / 2018",
        clause="surface flatness, measured by ISO 10545-2 (table number not seen)",
        source=source,
        certainty=certainty,
        note=note,
    )


_SHEET = "a porcelain data sheet of 2024"
_AGREED = f"stoneforensics.com; {_SHEET}; an Australian trader's page"

PRODUCTS = (
    Product(
        "ansi-rectified",
        "ANSI A137.1 porcelain, rectified",
        both(0.004, 0.05 * MM_PER_INCH),
        both(0.004, 0.07 * MM_PER_INCH),
        None,
        _ansi("2008 and later", _AGREED, "agreed"),
    ),
    Product(
        "ansi-rectified-large",
        "ANSI A137.1 porcelain, rectified, a side over 24 in",
        both(0.004, 0.07 * MM_PER_INCH),
        both(0.004, 0.07 * MM_PER_INCH),
        None,
        _ansi("recent", _SHEET, "single source"),
        edge_over_mm=2 * MM_PER_FOOT,
    ),
    Product(
        "ansi-calibrated",
        "ANSI A137.1 porcelain, calibrated",
        both(0.005, 0.08 * MM_PER_INCH),
        both(0.005, 0.09 * MM_PER_INCH),
        None,
        _ansi(
            "2008 and later",
            "stoneforensics.com; an Australian trader's page",
            "agreed",
            f"{_SHEET} prints 0.07 in for both; see ansi-calibrated-sheet.",
        ),
    ),
    Product(
        "ansi-calibrated-sheet",
        "ANSI A137.1 porcelain, calibrated, as another page prints it",
        both(0.005, 0.07 * MM_PER_INCH),
        both(0.005, 0.07 * MM_PER_INCH),
        None,
        _ansi("recent", _SHEET, "single source", "Disagrees with ansi-calibrated."),
    ),
    Product(
        "ansi-natural",
        "ANSI A137.1 porcelain, natural",
        both(0.0075, 0.12 * MM_PER_INCH),
        both(0.0075, 0.12 * MM_PER_INCH),
        None,
        _ansi(
            "2008 and later",
            f"{_SHEET} for the cap along an edge; the rest from memory",
            "from memory",
            "The percentage, and both figures along the diagonal, were not seen.",
        ),
    ),
    Product(
        "ansi-paver-1988",
        "ANSI A137.1 glazed paver, 1988",
        both(0.010),
        both(0.0075),
        None,
        _ansi("1988", "tileusa.com; tcnatile.com; tile-magazine.com/articles/83931", "agreed"),
    ),
    Product(
        "iso-dry-pressed",
        "EN 14411 / ISO 13006 dry-pressed, up to 10 % absorption, from 15 cm",
        both(0.005, 2.0),
        both(0.005, 2.0),
        both(0.005, 2.0),
        _iso("an Australian trader's page; bausv.online; a newspaper's page", "agreed"),
    ),
    Product(
        "iso-rectified",
        "ISO 13006 dry-pressed, marked rectified",
        both(0.004, 1.8),
        both(0.004, 1.8),
        both(0.004, 1.8),
        _iso("from memory", "from memory", "One page prints 0.3 %; see iso-rectified-page."),
    ),
    Product(
        "iso-rectified-page",
        "ISO 13006 dry-pressed, marked rectified, as one page prints it",
        both(0.003, 1.8),
        both(0.003, 1.8),
        both(0.003, 1.8),
        _iso(
            "one page for the percentage; the cap from memory",
            "from memory",
            "Disagrees with iso-rectified.",
        ),
    ),
    Product(
        "iso-wall",
        "EN 14411 / ISO 13006 group BIII (wall), over 10 % absorption",
        Bound(0.005, 2.0, 0.003, 1.5),
        Bound(0.005, 2.0, 0.003, 1.5),
        both(0.005, 2.0),
        _iso("an Australian trader's page; a wall tile catalog of 2023", "agreed"),
    ),
)
"""Classes of tile; where sources disagree both are here."""


# What follows for the joint and the offset

LEAST_JOINT_MM = MM_PER_INCH / 16
"""No joint is narrower [mm]: ANSI A108.02 (2013, 2017), 4.3.8; three pages agree."""

_LARGE_MM = 15 * MM_PER_INCH
_RUNNING_BOND_MM = {"rectified": MM_PER_INCH / 8, "calibrated": 3 * MM_PER_INCH / 16}


def least_joint(tile: Tile, variation_mm: float, running_bond: bool = False) -> float:
    """How narrow may the joint be [mm]?

    Three times the variation of the facial dimensions of the tiles supplied, never under 1/16 in.
    In running bond with a side over 15 in, on average at least 1/8 in for rectified and 3/16 in
    for calibrated tile, plus the edge warpage of the longest edge; a tile whose bow is not known
    counts as straight. ANSI A108.02 (2013, 2017), 4.3.8, as told by several trade pages that
    agree; the edge warpage (4.3.8.1) by one.

    Raises SurveyError for a variation below zero, and where the rule does not hold for the tile's
    edges or nobody said how they were made.
    """
    if not variation_mm >= 0:
        raise SurveyError("how much tiles vary was expected to be no less than zero.")
    least = max(3 * variation_mm, LEAST_JOINT_MM)
    if running_bond and longest_edge(tile) > _LARGE_MM:
        if tile.edges not in _RUNNING_BOND_MM:
            raise SurveyError(
                f"tile: edges {tile.edges!r} were expected to be one of "
                f"{', '.join(_RUNNING_BOND_MM)}, which the rule on joints in running bond asks for."
            )
        bow = abs(tile.bow.edge_mm) if tile.bow else 0.0
        least = max(least, _RUNNING_BOND_MM[tile.edges] + bow)
    return least


@dataclass(frozen=True)
class OffsetRule:
    """How far a tile may be offset: at most `most_ratio` where its side is over `side_over_mm`."""

    id: str
    side_over_mm: float
    most_ratio: float
    citation: Citation


def _offset(edition: str, clause: str, source: str, note: str = "") -> Citation:
    return Citation("ANSI A108.02", edition, clause, source, "agreed", note)


OFFSETS = (
    OffsetRule(
        "over-15",
        15 * MM_PER_INCH,
        1 / 3,
        _offset(
            "newer text",
            "offset (clause number not seen)",
            "fcimag.com/articles/96103; ceramictilefoundation.org",
            "Written as 33 %; a third is meant.",
        ),
    ),
    OffsetRule(
        "over-18",
        18 * MM_PER_INCH,
        1 / 3,
        _offset(
            "2013",
            "4.3.8.2",
            "ctasc.com; TileLetter Sep 2018; spartansurfaces.com",
            "Unless the tile maker says otherwise; more needs an approved mock-up.",
        ),
    ),
)
"""Both editions of the offset rule: the side that it starts from differs."""


def may_offset(rule: OffsetRule, side_mm: float, offset_ratio: float) -> bool:
    """May a side of this length be offset by this share of itself, by this edition?

    An offset of two thirds is one of a third, seen from the other end.
    """
    return side_mm <= rule.side_over_mm or _shorter(offset_ratio) <= rule.most_ratio + 1e-9


def bow_at_offset(bow_mm: float, offset_ratio: float) -> float:
    """What two bowed tiles differ by where one's corner meets the other's edge [mm].

    A parabola of height w over the edge stands 4 r (1 - r) w above its ends at the share r; the
    neighbor's corner lies at its own ends' height. Half: all of w; a third: 8/9 of it.
    """
    return 4 * offset_ratio * (1 - offset_ratio) * bow_mm


def _shorter(offset_ratio: float) -> float:
    rest = offset_ratio % 1.0
    return min(rest, 1.0 - rest)
