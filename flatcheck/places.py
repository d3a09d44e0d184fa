"""Where a place is, as a person on site would measure it."""

from flatcheck.language import say
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
        return say(
            "{east} east and {north} north of the zero corner",
            east=format_distance(east, style),
            north=format_distance(north, style),
        )
    said = [
        say(
            "{away} from the {wall}",
            away=format_distance(away, style),
            wall=wall_called(name, room.upright),
        )
        for name, away in tape
    ]
    nowhere = say("a place no edge faces") if room.upright else say("a place no wall faces")
    return ", ".join(said) or nowhere


def wall_called(name: str, edge: bool = False) -> str:
    """A wall's name in a sentence, or that of a wall's own edge; a line of zones is no wall."""
    # A person types walls in their own language; the sample surveys are in English.
    whole = ("wall", " line", say("wall").lower(), say(" line").lower())
    return name if edge or name.lower().endswith(whole) else say("{side} wall", side=name)
