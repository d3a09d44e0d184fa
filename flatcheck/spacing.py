"""What the rules ask of the pattern: how narrow a joint may be, how far a tile may be offset."""

from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.rules import Citation
from flatcheck.tile import Tile, longest_edge
from flatcheck.units import MM_PER_INCH

LEAST_JOINT_MM = MM_PER_INCH / 16
"""No joint is narrower [mm]: ANSI A108.02 (2013, 2017), 4.3.8; three pages agree."""

_LARGE_MM = 15 * MM_PER_INCH
RUNNING_BOND_MM = {"rectified": MM_PER_INCH / 8, "calibrated": 3 * MM_PER_INCH / 16}
"""The joint that running bond with a long side asks for, by how the edges were made [mm]."""


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
        raise SurveyError(say("how much tiles vary was expected to be no less than zero."))
    least = max(3 * variation_mm, LEAST_JOINT_MM)
    if running_bond and longest_edge(tile) > _LARGE_MM:
        if tile.edges not in RUNNING_BOND_MM:
            raise SurveyError(
                say(
                    "tile: edges {edges!r} were expected to be one of {known}, which the "
                    "rule on joints in running bond asks for.",
                    edges=tile.edges,
                    known=", ".join(RUNNING_BOND_MM),
                )
            )
        bow = abs(tile.bow.edge_mm) if tile.bow else 0.0
        least = max(least, RUNNING_BOND_MM[tile.edges] + bow)
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
            say("Written as 33 %; a third is meant."),
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
            say("Unless the tile maker says otherwise; more needs an approved mock-up."),
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
