"""What is said of falls and water: slopes, birdbaths, level walls and valleys."""

import math
from collections.abc import Callable

from flatcheck.compass import side_of
from flatcheck.falls import LOW_SIDE, Drainage, FloodTest, PlaneFall, Standing
from flatcheck.language import say, several
from flatcheck.parts import passed_over
from flatcheck.places import where
from flatcheck.room import Room
from flatcheck.survey import Survey
from flatcheck.units import (
    KG_PER_POUND,
    LITERS_PER_GALLON,
    M2_PER_SQUARE_FOOT,
    Style,
    format_area,
    format_distance,
    format_length,
)
from flatcheck.verdict import Finding, Placement

SHOWN = ("fall_least", "fall_most", "ponding", "wall_level", "valley_line", "step")
"""The measures that this module has words for."""

LEVEL_MM = 0.05
"""Two heights nearer than this are said as one: heights are said to a tenth of a millimeter."""


HUNDREDTH = 1e-4
"""A hundredth of a percent, to which slopes are said."""


def slope_words(ratio: float, style: Style) -> str:
    """A slope to a hundredth of a percent, as rules with a narrow window need it."""
    # With z what rounds to zero has no sign.
    if style.unit == "mm":
        return f"{ratio:z.2%}"
    return say("{ratio:z.2%} ({rise:z.3f} in per ft)", ratio=ratio, rise=ratio * 12)


def spread_words(u_ratio: float) -> str:
    """What to give or take of a slope with this standard uncertainty."""
    if u_ratio < HUNDREDTH / 4:
        return say("give or take less than 0.01%")
    return say("give or take {spread:.2%}", spread=2 * u_ratio)


def whole_words(plane: PlaneFall, style: Style) -> str:
    """How a plane that was read falls as a whole; empty where too few readings lie on it."""
    if plane.fall_ratio is None:
        return ""
    spread = spread_words(plane.u_ratio)
    if plane.fall_ratio < HUNDREDTH / 2:
        return say("is level ({spread})", spread=spread)
    return say(
        "falls {fall} ({spread}) to the {side}",
        fall=slope_words(plane.fall_ratio, style),
        spread=spread,
        side=side_of(plane.bearing_deg),
    )


def parts_words(plane: PlaneFall) -> str:
    """The flattest and the steepest part of a plane; empty where no part was read."""
    if plane.least_ratio is None or plane.most_ratio is None:
        return ""
    return say("{least:z.2%} to {most:z.2%}", least=plane.least_ratio, most=plane.most_ratio)


def worst_fall(finding: Finding, room: Room, style: Style) -> str:
    """The worst value of a rule of fall or water with its uncertainty and place."""
    worst = finding.worst
    assert worst is not None  # asked for only where something was measured
    place = where(room, worst.at, style)
    # A floor that is no plane among others is called as its zone, or a piece of that, or the room.
    whole = worst.face in ("", finding.zone, room.outline.name)
    if not whole and not finding.zone.startswith(f"{worst.face},"):
        place = say("{place}, on the {plane}", place=place, plane=worst.face)
    return _WORDS[finding.rule.measure](worst, place, room, style)


def _least(worst: Placement, place: str, _room: Room, style: Style) -> str:
    fall = -worst.value_mm / worst.span_mm
    slope = slope_words(fall, style)
    if fall <= -HUNDREDTH / 2:
        slope = say("{slope} (it rises)", slope=slope)
    return say("Least fall {found}", found=_slope(slope, -worst.limit_mm, worst, place, style))


def _most(worst: Placement, place: str, _room: Room, style: Style) -> str:
    slope = slope_words(worst.value_mm / worst.span_mm, style)
    return say("Steepest {found}", found=_slope(slope, worst.limit_mm, worst, place, style))


def _slope(slope: str, limit_mm: float, worst: Placement, place: str, style: Style) -> str:
    return say(
        "{slope}, {spread}, limit {limit:.2%}: {place}; over the length of a level of {length}.",
        slope=slope,
        spread=spread_words(worst.u_mm / worst.span_mm),
        limit=limit_mm / worst.span_mm,
        place=place,
        length=format_distance(worst.span_mm, style),
    )


def _pond(worst: Placement, place: str, room: Room, style: Style) -> str:
    spread, spare = _thin(2 * worst.u_mm, style), -worst.value_mm
    if spare >= LEVEL_MM:
        return say(
            "No water stands: even the slowest place drains freely, by {spare} (give or take "
            "{spread}), {place}.",
            spare=_thin(spare, style),
            spread=spread,
            place=place,
        )
    if spare >= 0:
        return say(
            "No water stands, but the slowest place lies level with its way out (give or take "
            "{spread}), {place}.",
            spread=spread,
            place=place,
        )
    return say(
        "Water stands {depth} deep (give or take {spread}), {held} would be held anyway: {place}; "
        "it leaves over a place {way_out}.",
        depth=_thin(worst.value_mm, style),
        spread=spread,
        held=_thin(worst.limit_mm, style),
        place=place,
        way_out=where(room, worst.start, style),
    )


def _wall(worst: Placement, _place: str, room: Room, style: Style) -> str:
    return say(
        "Most off level by {height}: high {high}, low {low}.",
        height=_measured(worst, style),
        high=where(room, worst.start, style),
        low=where(room, worst.end, style),
    )


def _valley(worst: Placement, place: str, _room: Room, style: Style) -> str:
    return say(
        "Farthest off by {height}: the end of the valley {place}.",
        height=_measured(worst, style, format_length),
        place=place,
    )


def _step(worst: Placement, place: str, _room: Room, style: Style) -> str:
    height = _measured(worst, style)
    return say("Largest change in level {height}: {place}.", height=height, place=place)


def _thin(mm: float, style: Style) -> str:
    """A small height: to a tenth of a millimeter, or as a fraction and in tenths."""
    if style.unit == "mm":
        return f"{mm:.1f} mm"
    return f"{format_length(mm, style)} ({mm:.1f} mm)"


def _measured(worst: Placement, style: Style, length: Callable[[float, Style], str] = _thin) -> str:
    """A height, up or down, with its uncertainty and limit."""
    return say(
        "{height} (give or take {spread}), limit {limit}",
        height=length(abs(worst.value_mm), style),
        spread=length(2 * worst.u_mm, style),
        limit=length(worst.limit_mm, style),
    )


_WORDS = {
    "fall_least": _least,
    "fall_most": _most,
    "ponding": _pond,
    "wall_level": _wall,
    "valley_line": _valley,
    "step": _step,
}


def not_read(finding: Finding, style: Style) -> str:
    """Why a rule of fall or water could not be judged, and what to read."""
    need = format_distance(finding.pitch_mm, style)
    measure = finding.rule.measure
    if measure == "ponding" and not finding.placements:
        return say(
            "No reading lies on the drain, so nothing tells how high water must rise to leave; "
            "read the drain's rim."
        )
    if measure == "step" and not finding.placements:
        return say(
            "No edge was read on both sides; read the floor above and below it, within {near}.",
            near=format_distance(finding.rule.length_mm or 0, style),
        )
    if measure == "wall_level":
        return say(
            "Only {share:.0%} of the length of the level walls lies between readings; read along "
            "each of them, into the corners.",
            share=finding.reach_ratio,
        )
    if measure == "valley_line":
        return say(
            "Too few readings lie on both sides of a valley; read three and more on each side."
        )
    if not math.isfinite(finding.have_mm):
        return say(
            "Readings far apart cannot show this; it takes one every {need} or closer.", need=need
        )
    if finding.have_mm > finding.pitch_mm * 1.01 + 1:
        return say(
            "Readings {have} apart cannot show this; it takes one every {need} or closer.",
            have=format_distance(finding.have_mm, style),
            need=need,
        )
    return say(
        "Only {share:.0%} of the floor could be judged; read the rest every {need} or closer, "
        "along the walls and the drain too.",
        share=finding.reach_ratio,
        need=need,
    )


def plane_words(plane: PlaneFall, style: Style) -> str:
    """One plane: what it should be and what it is."""
    meant = say(
        "meant to fall to the {side}, run {run}",
        side=side_of(plane.meant_deg),
        run=format_distance(plane.run_mm, style),
    )
    if plane.fall_ratio is None:
        return say(
            "{plane}: {meant}; what was read on it does not tell how it falls.",
            plane=plane.called,
            meant=meant,
        )
    parts = parts_words(plane)
    if parts and plane.least_ratio is not None and plane.least_ratio < -5e-5:
        # By the way that is meant, which is not the way of the whole.
        parts = ", " + say(
            "in parts from {parts} the way it is meant to (with a minus it rises)", parts=parts
        )
    elif parts:
        parts = ", " + say("in parts from {parts}", parts=parts)
    return say(
        "{plane}: {meant}; as a whole it {falls}{parts}.",
        plane=plane.called,
        meant=meant,
        falls=whole_words(plane, style),
        parts=parts,
    )


def _water(liters: float, style: Style) -> str:
    """A little water: liters, or fluid ounces and gallons."""
    if style.unit == "mm":
        return f"{liters:.2f} l"
    gallons = liters / LITERS_PER_GALLON
    if gallons < 1:
        return f"{gallons * 128:.1f} fl oz"
    return say("{gallons:.1f} gallons", gallons=gallons)


def pond_words(number: int, pond: Standing, room: Room, style: Style) -> str:
    """Water that stands in one place: how deep, how large, how much, and where."""
    sure = "" if pond.told else f" ({say('shallower than the readings can tell')})"
    return say(
        "Pond {number}: {depth} deep{sure}, {area}, {water}; deepest {place}.",
        number=number,
        depth=_thin(pond.depth_mm, style),
        sure=sure,
        area=format_area(pond.area_mm2, style),
        water=_water(pond.volume_mm3 / 1e6, style),
        place=where(room, pond.at, style),
    )


def water_words(drainage: Drainage, room: Room, style: Style) -> list[str]:
    """Where water stands, and what drains where."""
    said = []
    for number, pond in enumerate(drainage.ponds, 1):
        said.append(pond_words(number, pond, room, style))
        if pond.held_by_drain:
            said.append(
                say(
                    "The side it should leave by holds this water: it stands higher than the floor "
                    "around it."
                )
                if any(share.drain == LOW_SIDE for share in drainage.shares)
                else say(
                    "The drain itself holds this water: it stands higher than the floor around it."
                )
            )
    for share in drainage.shares:
        drain, whole = share.drain, share.in_all
        goes = say("{share:.0%} of the floor drains nowhere", share=whole)
        if drain and not drainage.ponds:
            goes = say("{share:.0%} of the floor drains to {drain}", share=whole, drain=drain)
        elif drain:
            goes = several(
                len(drainage.ponds),
                "{share:.0%} of the floor drains straight to {drain}; once the pond is full, "
                "{in_all:.0%} does",
                "{share:.0%} of the floor drains straight to {drain}; once the ponds are full, "
                "{in_all:.0%} does",
                share=share.straight,
                drain=drain,
                in_all=whole,
            )
        said.append(f"{drainage.zone}: {goes}.")
    return said


def passed_words(survey: Survey, room: Room, zone: str = "") -> list[str]:
    """What is said of drains that a plane falls past, in one zone or in all."""
    return [
        say(
            "{zone}: {drain} lies in the {plane}, which falls past it; to fall to it too, the "
            "floor around it needs a zone of its own.",
            zone=name,
            drain=drain,
            plane=plane,
        )
        for name, drain, plane in passed_over(survey, room)
        if zone in ("", name)
    ]


def drain_words(survey: Survey, room: Room) -> list[str]:
    """What of the drains as given the verdict does not use."""
    rims = [
        say(
            "{drain}: its rim is given, {height} the floor read there; that is for the heights to "
            "screed to, and the verdict is on the floor as read.",
            drain=drain.outline.name,
            height=_above(drain.rim_mm, survey.show),
        )
        for drain in survey.drains
        if drain.rim_mm is not None
    ]
    return [*passed_words(survey, room), *rims]


def _above(mm: float, style: Style) -> str:
    height = format_length(abs(mm), style)
    return say("{height} above", height=height) if mm >= 0 else say("{height} below", height=height)


FLOOD_CAUTION = say(
    "Give a new membrane time before it is flooded: 24 hours is usual, 48 below 50 F (ASTM D5957). "
    "The water stands for as long as the local code asks, from 15 minutes (IPC 312.9) to 24 hours "
    "and more. It is a load and a risk to the room below: watch it, and keep power out of its "
    "reach."
)
"""Two trade pages each for the times; the code in force decides."""


def flood_words(zone: FloodTest, style: Style) -> list[str]:
    """The water of a flood test: how much, how deep, how heavy."""
    water = zone.water
    liters = water.volume_mm3 / 1e6
    much = f"{liters:.0f} l, {liters:.0f} kg"
    load = liters / (water.area_mm2 / 1e6) if water.area_mm2 else 0.0
    each = say("{kg:.0f} kg on each square meter", kg=load)
    if style.unit == "in":
        gallons, pounds = liters / LITERS_PER_GALLON, liters / KG_PER_POUND
        much = say("{gallons:.0f} gallons, {pounds:.0f} lb", gallons=gallons, pounds=pounds)
        pounds = load * M2_PER_SQUARE_FOOT / KG_PER_POUND
        each = say("{pounds:.1f} lb on each square foot", pounds=pounds)
    deep = say("of unknown depth at the drain, which was not read")
    if zone.at_drain_mm is not None:
        deep = say("{depth} deep at the drain", depth=format_length(zone.at_drain_mm, style))
    place = where(zone.room, zone.at, style)
    if zone.off_mm is None:
        place = say("at its highest reading, {place}", place=place)
    elif zone.off_mm >= 1:
        place = say(
            "at the reading nearest to the place named, {off} off, {place}",
            off=format_distance(zone.off_mm, style),
            place=place,
        )
    return [
        say(
            "{zone}: standing {depth} deep {place}, the water is {at_drain}; it takes {much}, "
            "{load} of the {area} under water.",
            zone=zone.zone,
            depth=format_length(zone.depth_mm, style),
            place=place,
            at_drain=deep,
            much=much,
            load=each,
            area=format_area(water.area_mm2, style),
        ),
        FLOOD_CAUTION,
    ]
