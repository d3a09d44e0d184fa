"""What will be laid, or was laid: the tile, as far as a rule asks for it."""

import math
from dataclasses import dataclass

from flatcheck.errors import SurveyError


@dataclass(frozen=True)
class Tile:
    """A rectangular tile by its nominal edges, and the joint between tiles [mm]."""

    length_mm: float
    width_mm: float
    joint_mm: float = 0.0

    def __post_init__(self) -> None:
        for name, value in (("length", self.length_mm), ("width", self.width_mm)):
            if not (math.isfinite(value) and value > 0):
                raise SurveyError(f"tile: the {name} must be larger than zero.")
        if not (math.isfinite(self.joint_mm) and self.joint_mm >= 0):
            raise SurveyError("tile: the joint must not be negative.")


def longest_edge(tile: Tile) -> float:
    """The edge that flatness rules ask for [mm]."""
    return max(tile.length_mm, tile.width_mm)
