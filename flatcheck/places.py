"""Where a place is, as a person on site would measure it."""

from flatcheck.room import Room, from_walls
from flatcheck.units import MM_PER_INCH, Style, format_distance
from flatcheck.verdict import Place

ROUGHLY_MM = {"in": MM_PER_INCH / 2, "mm": 10.0}
"""How closely a place is said that somebody only has to find, by the unit of lengths [mm]."""


def about(room: Room, place: Place, style: Style) -> str:
    """A place as `where` says it, to 1/2 in or 10 mm: enough to find a joint or a tile."""
    return where(room, place, style, ROUGHLY_MM[style.unit])


def where(room: Room, place: Place, style: Style, to_mm: float = 0.0) -> str:
    """A place by its distances from two walls, or from the zero corner where there are none.

    The distances are rounded to `to_mm` [mm] first, where that is not zero.
    """
    tape = from_walls(room, place)
    if to_mm:
        tape = tuple((name, round(away / to_mm) * to_mm) for name, away in tape)
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
