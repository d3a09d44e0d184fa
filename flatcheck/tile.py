"""What will be laid, or was laid: the tile, as far as a rule or a forecast asks for it."""

import math
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.language import say

EDGES = ("rectified", "calibrated", "natural", "stone")
"""How a tile's edges were made: ground to size, sorted by size, as fired, or sawn from stone."""

BOWS = {"crown": 1.0, "hollow": -1.0}
"""What a bow is called, and its sign."""


@dataclass(frozen=True)
class Bow:
    """How a tile is bowed [mm], positive where its middle is high (a crown).

    `edge_mm` is the middle of its longest edge over the line through the edge's ends,
    `diagonal_mm` its center over the line through two opposite corners, as ISO 10545-2 has them.
    `measured` tells what was read on tiles from what somebody takes them to be; `u_mm` is the
    standard uncertainty of what was read. `flatcheck.warpage` judges it.
    """

    edge_mm: float
    diagonal_mm: float
    measured: bool = False
    u_mm: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.edge_mm) and math.isfinite(self.diagonal_mm)):
            raise SurveyError(say("tile: the warpage must be a finite length."))
        if not 0 <= self.u_mm < math.inf:
            raise SurveyError(say("tile: the uncertainty of the warpage must not be below zero."))

    @property
    def most_mm(self) -> float:
        """The warpage as one number, whichever way it goes [mm]."""
        return max(abs(self.edge_mm), abs(self.diagonal_mm))


@dataclass(frozen=True)
class Tile:
    """A rectangular tile by its nominal edges, and the joint between tiles [mm].

    `edges` is one of EDGES, "" where nobody said. `bow` is None where the warpage is not known;
    `bed_mm` are the least and the most thickness of the mortar that it may be set in, None where
    the usual ones of its mortar hold; `cap_mm` is how far a tile's middle may leave the required
    plane or falls, `spacer_mm` the step that leveling spacers leave between neighbors. `per_box` is
    how many come in a box, zero where not said.
    """

    length_mm: float
    width_mm: float
    joint_mm: float = 0.0
    edges: str = ""
    bow: Bow | None = None
    bed_mm: tuple[float, float] | None = None
    cap_mm: float = math.inf
    spacer_mm: float = math.inf
    per_box: int = 0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.length_mm) and self.length_mm > 0):
            raise SurveyError(say("tile: the length must be larger than zero."))
        if not (math.isfinite(self.width_mm) and self.width_mm > 0):
            raise SurveyError(say("tile: the width must be larger than zero."))
        if not (math.isfinite(self.joint_mm) and self.joint_mm >= 0):
            raise SurveyError(say("tile: the joint must not be negative."))
        if self.edges not in ("", *EDGES):
            raise SurveyError(
                say(
                    "tile: edges {edges!r} are not one of {known}.",
                    edges=self.edges[:40],
                    known=", ".join(EDGES),
                )
            )
        if self.bed_mm is not None and not 0 <= self.bed_mm[0] <= self.bed_mm[1] < math.inf:
            raise SurveyError(
                say("tile: the bed's least must be no more than its most, nor below zero.")
            )
        if not (self.cap_mm >= 0 and self.spacer_mm >= 0):
            raise SurveyError(say("tile: its cap and what spacers leave must not be below zero."))
        if self.per_box < 0:
            raise SurveyError(say("tile: a box must not hold fewer than zero tiles."))


def longest_edge(tile: Tile) -> float:
    """The edge that flatness rules ask for [mm]."""
    return max(tile.length_mm, tile.width_mm)
