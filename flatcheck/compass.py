"""Sides of the compass and bearings: degrees clockwise from north on the plan."""

import math

from flatcheck.errors import UnitsError
from flatcheck.language import say

SIDES = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)
"""As they are written in the tables of a survey."""

SIDE_WORDS = {
    "north": say("north"),
    "north-east": say("north-east"),
    "east": say("east"),
    "south-east": say("south-east"),
    "south": say("south"),
    "south-west": say("south-west"),
    "west": say("west"),
    "north-west": say("north-west"),
}
"""As they are said."""


def parse_bearing(written: str) -> float:
    """A side such as "south", or degrees clockwise from north, as a bearing [degrees].

    Raises UnitsError quoting the text.
    """
    said = written.strip().lower().rstrip("°").strip()
    joined = [side.replace("-", "") for side in SIDES]
    if (side := said.replace("-", "").replace(" ", "")) in joined:
        return 45.0 * joined.index(side)
    try:
        bearing = float(said)
    except ValueError:
        bearing = math.nan
    if not abs(bearing) <= 360:
        raise UnitsError(
            say(
                '{text!r} was expected as a side such as "north-east", or degrees clockwise from '
                "north.",
                text=written[:40],
            )
        )
    return bearing


def bearing_of(east: float, north: float) -> float:
    """The bearing of a direction on the plan [degrees clockwise from north, 0 to below 360]."""
    bearing = math.degrees(math.atan2(east, north)) % 360
    return bearing if bearing < 360 else 0.0  # a whisker west of north is rounded up


def side_of(bearing_deg: float) -> str:
    """The side of the compass that a bearing points to, as it is said."""
    return SIDE_WORDS[side_written(bearing_deg)]


def side_written(bearing_deg: float) -> str:
    """The side of the compass that a bearing points to, as it is written in a table."""
    return SIDES[round(bearing_deg / 45) % 8]
