"""What is said of the bed of mortar under planned falls: how thick, how heavy, how much of it."""

from flatcheck.drain import Bed
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.room import Room
from flatcheck.survey import Survey
from flatcheck.thickness import Thickness
from flatcheck.units import (
    Style,
    format_area,
    format_length,
    format_load,
    format_volume,
    format_weight,
)


def bed_words(bed: Thickness, survey: Survey, room: Room) -> list[str]:
    """How thick and how heavy a bed is over the floor as read."""
    style = survey.show
    said = [
        say(
            "Bed over the floor as read: {least} at its thinnest ({least_place}), {most} at its "
            "thickest ({most_place}), {mean} on average (give or take {sure}) over {area}.",
            least=format_length(bed.least_mm, style),
            least_place=where(room, bed.least_at, style),
            most=format_length(bed.most_mm, style),
            most_place=where(room, bed.most_at, style),
            mean=format_length(bed.mean_mm, style),
            sure=_rough(2 * bed.u_mm, style),
            area=format_area(bed.area_mm2, style),
        ),
        say(
            "That is {volume} of mortar, about {weight}, {load}.",
            volume=format_volume(bed.volume_mm3 / 1e6, style),
            weight=format_weight(bed.weight_kg, style),
            load=format_load(bed.weight_kg / (bed.area_mm2 / 1e6), style),
        ),
    ]
    if bed.most_mm > survey.bed.most_mm:
        said.append(_thicker(survey))
    return said


def _thicker(survey: Survey) -> str:
    """That a bed is thicker than the most it is to be, and who says so."""
    usual, bed = Bed().most_mm, survey.bed
    # Where only a least was given that is more than usual it stands for the most.
    if bed.most_mm < usual or bed.most_mm > max(usual, bed.least_mm):
        return say(
            "Thicker than the {most} that you allow: ask the mortar's maker and whoever answers "
            "for the structure.",
            most=format_length(bed.most_mm, survey.show),
        )
    return say(
        "Thicker than the {most} that is usual: ask the mortar's maker and whoever answers for "
        "the structure.",
        most=format_length(usual, survey.show),
    )


def _rough(mm: float, style: Style) -> str:
    """An uncertainty no finer than lengths are said."""
    said = format_length(mm, style)
    step = format_length(1e-3, style)  # as nothing is said
    least = f'1/{style.denominator}"' if style.unit == "in" else f"{10.0**-style.decimals:g} mm"
    return say("less than {length}", length=least) if said == step else said
