"""Where a place is, as a person on site would measure it."""

from flatcheck.room import Room, from_walls
from flatcheck.units import Style, format_distance
from flatcheck.verdict import Place


def where(room: Room, place: Place, style: Style) -> str:
    """A place by its distances from two walls, or from the zero corner where there are none."""
    tape = from_walls(room, place)
    if room.assumed:
        (_, east), (_, north) = tape
        return (
            f"{format_distance(east, style)} east and {format_distance(north, style)} north of "
            "the zero corner"
        )
    said = [f"{format_distance(away, style)} from the {wall_called(name)}" for name, away in tape]
    return ", ".join(said) or "a place no wall faces"


def wall_called(name: str) -> str:
    """A wall's name in a sentence."""
    return name if name.lower().endswith("wall") else f"{name} wall"
