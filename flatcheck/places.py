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
    said = [
        f"{format_distance(away, style)} from the {wall_called(name, room.upright)}"
        for name, away in tape
    ]
    return ", ".join(said) or f"a place no {'edge' if room.upright else 'wall'} faces"


def wall_called(name: str, edge: bool = False) -> str:
    """A wall's name in a sentence, or that of a wall's own edge; a line of zones is no wall."""
    named = edge or name.lower().endswith(("wall", " line"))
    return name if named else f"{name} wall"
