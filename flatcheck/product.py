"""What a tile's own product standard lets it depart by: classes of tile, as data.

Where sources disagree both are here.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from flatcheck.errors import RuleError
from flatcheck.language import say
from flatcheck.rules import Citation
from flatcheck.tile import Tile, longest_edge
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH

ROUNDING_MM = 1e-6
"""A bow over its bound by less is arithmetic [mm]."""


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
    raise RuleError(say("tile class {name!r} is not one of {known}.", name=name[:40], known=known))


def holds_for(product: Product, tile: Tile) -> bool:
    """Whether a class is meant for a tile of this size."""
    return longest_edge(tile) > product.edge_over_mm


def own_classes(tile: Tile, region: str) -> tuple[tuple[Product, ...], ...]:
    """Which classes may be a tile's own, by how its edges were made: of ANSI in the USA, else ISO.

    One group for each way of making edges that it may be of, every way where nobody said; in a
    group, the classes of sources that disagree. None for sawn stone, which neither is about.
    """
    kinds = _BY_EDGES["ansi" if region == say("USA") else "iso"]
    names = [kinds.get(tile.edges, ())] if tile.edges else list(kinds.values())
    groups = [[product_named(name) for name in group] for group in names]
    return tuple(tuple(p for p in group if holds_for(p, tile)) for group in groups if group)


def bow_allowed(tile: Tile, classes: Iterable[Product]) -> float:
    """How far a tile's longest edge may be crowned by the class that allows most [mm]."""
    return max(allowed(product.edge, longest_edge(tile))[1] for product in classes)


def bow_met(tile: Tile, region: str) -> bool | None:
    """Whether the bow of a tile is within its own product standard, along its edge and diagonal.

    None where it is within some classes that may be its own and not within others. True where the
    tile has no class, or no bow is known. Of sources that disagree the one that allows more stands:
    what that refuses, each refuses.
    """
    bow = tile.bow
    if bow is None:
        return True
    along = math.hypot(tile.length_mm, tile.width_mm)

    def within(value: float, bound: Bound, length_mm: float) -> bool:
        low, high = allowed(bound, length_mm)
        return low - ROUNDING_MM <= value <= high + ROUNDING_MM

    kept = {
        any(
            within(bow.edge_mm, product.edge, longest_edge(tile))
            and within(bow.diagonal_mm, product.diagonal, along)
            for product in group
        )
        for group in own_classes(tile, region)
    }
    return None if len(kept) == 2 else kept != {False}


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
        say("ANSI A137.1 porcelain, rectified"),
        both(0.004, 0.05 * MM_PER_INCH),
        both(0.004, 0.07 * MM_PER_INCH),
        None,
        _ansi("2008 and later", _AGREED, "agreed"),
    ),
    Product(
        "ansi-rectified-large",
        say("ANSI A137.1 porcelain, rectified, a side over 24 in"),
        both(0.004, 0.07 * MM_PER_INCH),
        both(0.004, 0.07 * MM_PER_INCH),
        None,
        _ansi("recent", _SHEET, "single source"),
        edge_over_mm=2 * MM_PER_FOOT,
    ),
    Product(
        "ansi-calibrated",
        say("ANSI A137.1 porcelain, calibrated"),
        both(0.005, 0.08 * MM_PER_INCH),
        both(0.005, 0.09 * MM_PER_INCH),
        None,
        _ansi(
            "2008 and later",
            "stoneforensics.com; an Australian trader's page",
            "agreed",
            say(
                "a porcelain data sheet of 2024 prints 0.07 in for both; see ansi-calibrated-sheet."
            ),
        ),
    ),
    Product(
        "ansi-calibrated-sheet",
        say("ANSI A137.1 porcelain, calibrated, as another page prints it"),
        both(0.005, 0.07 * MM_PER_INCH),
        both(0.005, 0.07 * MM_PER_INCH),
        None,
        _ansi("recent", _SHEET, "single source", say("Disagrees with ansi-calibrated.")),
    ),
    Product(
        "ansi-natural",
        say("ANSI A137.1 porcelain, natural"),
        both(0.0075, 0.12 * MM_PER_INCH),
        both(0.0075, 0.12 * MM_PER_INCH),
        None,
        _ansi(
            "2008 and later",
            f"{_SHEET} for the cap along an edge; the rest from memory",
            "from memory",
            say("The percentage, and both figures along the diagonal, were not seen."),
        ),
    ),
    Product(
        "ansi-paver-1988",
        say("ANSI A137.1 glazed paver, 1988"),
        both(0.010),
        both(0.0075),
        None,
        _ansi("1988", "tileusa.com; tcnatile.com; tile-magazine.com/articles/83931", "agreed"),
    ),
    Product(
        "iso-dry-pressed",
        say("EN 14411 / ISO 13006 dry-pressed, up to 10 % absorption, from 15 cm"),
        both(0.005, 2.0),
        both(0.005, 2.0),
        both(0.005, 2.0),
        _iso("an Australian trader's page; bausv.online; a newspaper's page", "agreed"),
    ),
    Product(
        "iso-rectified",
        say("ISO 13006 dry-pressed, marked rectified"),
        both(0.004, 1.8),
        both(0.004, 1.8),
        both(0.004, 1.8),
        _iso("from memory", "from memory", say("One page prints 0.3 %; see iso-rectified-page.")),
    ),
    Product(
        "iso-rectified-page",
        say("ISO 13006 dry-pressed, marked rectified, as one page prints it"),
        both(0.003, 1.8),
        both(0.003, 1.8),
        both(0.003, 1.8),
        _iso(
            "one page for the percentage; the cap from memory",
            "from memory",
            say("Disagrees with iso-rectified."),
        ),
    ),
    Product(
        "iso-wall",
        say("EN 14411 / ISO 13006 group BIII (wall), over 10 % absorption"),
        Bound(0.005, 2.0, 0.003, 1.5),
        Bound(0.005, 2.0, 0.003, 1.5),
        both(0.005, 2.0),
        _iso("an Australian trader's page; a wall tile catalog of 2023", "agreed"),
    ),
)
"""Classes of tile; where sources disagree both are here."""

_BY_EDGES = {
    "ansi": {
        "rectified": ("ansi-rectified", "ansi-rectified-large"),
        "calibrated": ("ansi-calibrated", "ansi-calibrated-sheet"),
        "natural": ("ansi-natural",),
    },
    "iso": {
        "rectified": ("iso-rectified", "iso-rectified-page"),
        "calibrated": ("iso-dry-pressed",),
        "natural": ("iso-dry-pressed",),
    },
}
"""The classes of a floor tile, by how its edges were made; pavers of 1988 and wall tile are none.

ISO 13006 tells only what is marked rectified from what is not.
"""
