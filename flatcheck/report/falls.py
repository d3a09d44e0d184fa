"""What is said of falls and water: slopes, birdbaths, level walls and valleys."""

import math

from flatcheck.compass import side_of
from flatcheck.falls import LOW_SIDE, Drainage, FloodTest, PlaneFall, Standing
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
    return f"{ratio:z.2%}" if style.unit == "mm" else f"{ratio:z.2%} ({ratio * 12:z.3f} in per ft)"


def spread_words(u_ratio: float) -> str:
    """What to give or take of a slope with this standard uncertainty."""
    least = f"{2 * u_ratio:.2%}" if u_ratio >= HUNDREDTH / 4 else "less than 0.01%"
    return f"give or take {least}"


def whole_words(plane: PlaneFall, style: Style) -> str:
    """How a plane that was read falls as a whole; empty where too few readings lie on it."""
    if plane.fall_ratio is None:
        return ""
    spread = spread_words(plane.u_ratio)
    if plane.fall_ratio < HUNDREDTH / 2:
        return f"is level ({spread})"
    fall = slope_words(plane.fall_ratio, style)
    return f"falls {fall} ({spread}) to the {side_of(plane.bearing_deg)}"


def parts_words(plane: PlaneFall) -> str:
    """The flattest and the steepest part of a plane; empty where no part was read."""
    if plane.least_ratio is None or plane.most_ratio is None:
        return ""
    return f"{plane.least_ratio:z.2%} to {plane.most_ratio:z.2%}"


def worst_fall(finding: Finding, room: Room, style: Style) -> str:
    """The worst value of a rule of fall or water with its uncertainty and place."""
    worst = finding.worst
    assert worst is not None  # asked for only where something was measured
    return _WORDS[finding.rule.measure](worst, room, style)


def _least(worst: Placement, room: Room, style: Style) -> str:
    return _slope("Least fall", -1, worst, room, style)


def _most(worst: Placement, room: Room, style: Style) -> str:
    return _slope("Steepest", 1, worst, room, style)


def _slope(lead: str, sign: int, worst: Placement, room: Room, style: Style) -> str:
    over = worst.span_mm
    found, limit = sign * worst.value_mm / over, sign * worst.limit_mm / over
    uphill = " (it rises)" if sign < 0 and found <= -HUNDREDTH / 2 else ""
    return (
        f"{lead} {slope_words(found, style)}{uphill}, {spread_words(worst.u_mm / over)}, "
        f"limit {limit:.2%}: {where(room, worst.at, style)}{_on(worst)}; over the length of a "
        f"level of {format_distance(over, style)}."
    )


def _on(worst: Placement) -> str:
    return f", on the {worst.face}" if worst.face.endswith(("plane", *"123456789")) else ""


def _pond(worst: Placement, room: Room, style: Style) -> str:
    spread, limit = 2 * worst.u_mm, worst.limit_mm
    if worst.value_mm <= 0:
        spare = -worst.value_mm
        slowest = (
            f": even the slowest place drains freely, by {_thin(spare, style)}"
            if spare >= LEVEL_MM
            else ", but the slowest place lies level with its way out"
        )
        return (
            f"No water stands{slowest} (give or take {_thin(spread, style)}), "
            f"{where(room, worst.at, style)}."
        )
    return (
        f"Water stands {_thin(worst.value_mm, style)} deep (give or take {_thin(spread, style)}), "
        f"{_thin(limit, style)} would be held anyway: {where(room, worst.at, style)}; it leaves "
        f"over a place {where(room, worst.start, style)}."
    )


def _wall(worst: Placement, room: Room, style: Style) -> str:
    return (
        f"Most off level by {_measured(worst, style)}: high "
        f"{where(room, worst.start, style)}, low {where(room, worst.end, style)}."
    )


def _valley(worst: Placement, room: Room, style: Style) -> str:
    return (
        f"Farthest off by {format_length(abs(worst.value_mm), style)} (give or take "
        f"{format_length(2 * worst.u_mm, style)}), limit {format_length(worst.limit_mm, style)}: "
        f"the end of the valley {where(room, worst.at, style)}."
    )


def _step(worst: Placement, room: Room, style: Style) -> str:
    return f"Largest change in level {_measured(worst, style)}: {where(room, worst.at, style)}."


def _measured(worst: Placement, style: Style) -> str:
    """A small height with its uncertainty and limit."""
    value, spread, limit = (
        _thin(mm, style) for mm in (worst.value_mm, 2 * worst.u_mm, worst.limit_mm)
    )
    return f"{value} (give or take {spread}), limit {limit}"


def _thin(mm: float, style: Style) -> str:
    """A small height: to a tenth of a millimeter, or as a fraction and in tenths."""
    if style.unit == "mm":
        return f"{mm:.1f} mm"
    return f"{format_length(mm, style)} ({mm:.1f} mm)"


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
        return (
            "No reading lies on the drain, so nothing tells how high water must rise to leave; "
            "read the drain's rim."
        )
    if measure == "step" and not finding.placements:
        return (
            "No edge was read on both sides; read the floor above and below it, within "
            f"{format_distance(finding.rule.length_mm or 0, style)}."
        )
    if measure == "wall_level":
        return (
            f"Only {finding.reach_ratio:.0%} of the length of the level walls lies between "
            "readings; read along each of them, into the corners."
        )
    if measure == "valley_line":
        return "Too few readings lie on both sides of a valley; read three and more on each side."
    if not math.isfinite(finding.have_mm) or finding.have_mm > finding.pitch_mm * 1.01 + 1:
        have = format_distance(finding.have_mm, style) if math.isfinite(finding.have_mm) else "far"
        return f"Readings {have} apart cannot show this; it takes one every {need} or closer."
    return (
        f"Only {finding.reach_ratio:.0%} of the floor could be judged; read the rest every {need} "
        "or closer, along the walls and the drain too."
    )


def plane_words(plane: PlaneFall, style: Style) -> str:
    """One plane: what it should be and what it is."""
    run = format_distance(plane.run_mm, style)
    meant = f"meant to fall to the {side_of(plane.meant_deg)}, run {run}"
    if plane.fall_ratio is None:
        return f"{plane.called}: {meant}; what was read on it does not tell how it falls."
    parts = parts_words(plane)
    if parts and plane.least_ratio is not None and plane.least_ratio < -5e-5:
        # By the way that is meant, which is not the way of the whole.
        parts = f", in parts from {parts} the way it is meant to (with a minus it rises)"
    elif parts:
        parts = f", in parts from {parts}"
    return f"{plane.called}: {meant}; as a whole it {whole_words(plane, style)}{parts}."


def _water(liters: float, style: Style) -> str:
    """A little water: liters, or fluid ounces and gallons."""
    if style.unit == "mm":
        return f"{liters:.2f} l"
    gallons = liters / LITERS_PER_GALLON
    return f"{gallons * 128:.1f} fl oz" if gallons < 1 else f"{gallons:.1f} gallons"


def pond_words(number: int, pond: Standing, room: Room, style: Style) -> str:
    """Water that stands in one place: how deep, how large, how much, and where."""
    sure = "" if pond.told else " (shallower than the readings can tell)"
    return (
        f"Pond {number}: {_thin(pond.depth_mm, style)} deep{sure}, "
        f"{format_area(pond.area_mm2, style)}, {_water(pond.volume_mm3 / 1e6, style)}; deepest "
        f"{where(room, pond.at, style)}."
    )


def water_words(drainage: Drainage, room: Room, style: Style) -> list[str]:
    """Where water stands, and what drains where."""
    said = []
    for number, pond in enumerate(drainage.ponds, 1):
        said.append(pond_words(number, pond, room, style))
        if pond.held_by_drain:
            own = any(share.drain == LOW_SIDE for share in drainage.shares)
            held = "The side it should leave by" if own else "The drain itself"
            said.append(f"{held} holds this water: it stands higher than the floor around it.")
    full = "once the pond is full" if len(drainage.ponds) == 1 else "once the ponds are full"
    for share in drainage.shares:
        goes = f"{share.in_all:.0%} of the floor drains nowhere"
        if share.drain:
            goes = f"{share.straight:.0%} of the floor drains straight to {share.drain}"
        if share.drain and not drainage.ponds:
            goes = f"{share.in_all:.0%} of the floor drains to {share.drain}"
        elif share.drain:
            goes += f"; {full}, {share.in_all:.0%} does"
        said.append(f"{drainage.zone}: {goes}.")
    return said


def passed_words(survey: Survey, room: Room, zone: str = "") -> list[str]:
    """What is said of drains that a plane falls past, in one zone or in all."""
    return [
        f"{name}: {drain} lies in the {plane}, which falls past it; to fall to it too, the floor "
        "around it needs a zone of its own."
        for name, drain, plane in passed_over(survey, room)
        if zone in ("", name)
    ]


def drain_words(survey: Survey, room: Room) -> list[str]:
    """What of the drains as given the verdict does not use."""
    style = survey.show
    rims = [
        f"{drain.outline.name}: its rim is given, {format_length(abs(drain.rim_mm), style)} "
        f"{'above' if drain.rim_mm >= 0 else 'below'} the floor read there; that is for the "
        "heights to screed to, and the verdict is on the floor as read."
        for drain in survey.drains
        if drain.rim_mm is not None
    ]
    return [*passed_words(survey, room), *rims]


FLOOD_CAUTION = (
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
    each = f"{load:.0f} kg on each square meter"
    if style.unit == "in":
        much = f"{liters / LITERS_PER_GALLON:.0f} gallons, {liters / KG_PER_POUND:.0f} lb"
        each = f"{load * M2_PER_SQUARE_FOOT / KG_PER_POUND:.1f} lb on each square foot"
    deep = (
        f"{format_length(zone.at_drain_mm, style)} deep at the drain"
        if zone.at_drain_mm is not None
        else "of unknown depth at the drain, which was not read"
    )
    place = "at its highest reading, "
    if zone.off_mm is not None:
        off = format_distance(zone.off_mm, style)
        place = "" if zone.off_mm < 1 else f"at the reading nearest to the place named, {off} off, "
    return [
        f"{zone.zone}: standing {format_length(zone.depth_mm, style)} deep {place}"
        f"{where(zone.room, zone.at, style)}, the water is {deep}; it takes {much}, {each} of the "
        f"{format_area(water.area_mm2, style)} under water.",
        FLOOD_CAUTION,
    ]
