"""Pour: a self-leveler over each level zone, the highest spots ground first where that pays.

Every zone is poured to a height of its own, behind a dam along each line between two of them.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from flatcheck.instrument import fine
from flatcheck.language import say
from flatcheck.pour import NoLevel, pour
from flatcheck.refusal import Refusal, in_part, open_level, too_heavy
from flatcheck.room import EDGE_MM, Ring, Room, onto
from flatcheck.site import Proposal, Site
from flatcheck.terms import weighed
from flatcheck.units import format_length

ID = "pour"
TITLE = say("Pouring a self-leveler")

MOST_LIFTS = 3
"""More lifts than this are another job. Common practice, no source."""


def propose(site: Site) -> Proposal | Refusal:
    """Each zone poured to the height that costs least."""
    if site.floor.room.upright:
        return Refusal(ID, TITLE, say("A self-leveler is poured on floors, not on a wall."))
    if any(part.view.ground is not None for part in site.assessment.parts):
        return Refusal(ID, TITLE, say("A self-leveler finds its own level and makes no falls."))
    unknown = open_level(site)
    if unknown:
        return Refusal(ID, TITLE, unknown)
    if any(not keep.fill for keep in site.terms.keeps):
        return Refusal(
            ID, TITLE, say("A part of the floor may not be filled, and a leveler covers all.")
        )
    material, terms, style = site.terms.leveler, site.terms, site.assessment.survey.show
    heights, n = site.floor.height_mm, len(site.floor.xy_mm)
    fill, grind = np.zeros(n), np.zeros(n)
    levels, lifts, dams, cost = [], 1, 0, 0.0
    for part in site.assessment.parts:
        own = part.stations
        highest, lowest = np.inf, ""
        for hold, (stations, rise) in zip(site.assessment.survey.holds, site.held, strict=True):
            held = np.intersect1d(stations, own)
            if len(held):
                highest, lowest = min(
                    (highest, lowest), (float(heights[held].min()) + rise, hold.name)
                )
                dams += 1
        found = pour(
            heights[own],
            site.area_mm2[own],
            *weighed(terms, material),
            material.least_mm,
            site.most_grind_mm[own],
            material.most_mm,
            MOST_LIFTS,
            highest,
        )
        if isinstance(found, NoLevel):
            least = format_length(material.least_mm, style)
            short = fine(found.lowest_mm - found.highest_mm, style)
            why = say(
                "{lifts} lifts over the lowest place end {short} too low for that",
                lifts=MOST_LIFTS,
                short=short,
            )
            way = say("grind more, or fill the lowest places first")
            if site.ungrindable:
                way = say("fill the lowest places first")
            if found.highest_mm == highest:
                why = say(
                    "the height of {hold!r} leaves {short} too little for that",
                    hold=lowest,
                    short=short,
                )
                way = say("grind more, let it rise, or pour up to a dam")
                if site.ungrindable:
                    way = say("let it rise, or pour up to a dam")
            words = say(
                "the leveler must be {least} thick over the highest place that is not ground, and "
                "{why}; {way}.",
                least=least,
                why=why,
                way=way,
            )
            return Refusal(ID, TITLE, in_part(site, part, words))
        grind[own], fill[own] = found.grind_mm, found.thick_mm
        levels.append((part.name, found.level_mm))
        lifts, cost = max(lifts, found.lifts), cost + found.cost
    dams += _between([part.view.surface.room for part in site.assessment.parts])
    heavy = too_heavy(site, fill, material)
    if heavy:
        return Refusal(ID, TITLE, heavy)
    return Proposal(
        ID, TITLE, fill, grind, material, cost, cost, tuple(levels), lifts=lifts, dams=dams
    )


def _between(rooms: Sequence[Room]) -> int:
    """How many pairs of zones lie side by side, so that a pour runs over unless a dam stands.

    Pieces of one zone that no reading joins do too: each has its own level.
    """
    rings = [room.zone or room.outline for room in rooms]
    return sum(_side_by_side(one, other) for one, other in combinations(rings, 2))


def _side_by_side(one: Ring, other: Ring) -> bool:
    corners = np.array(one.corners_mm)
    along = (np.arange(50) + 0.5)[:, None] / 50  # no corners: zones that touch at one are apart
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        places = start + along * (end - start)
        if np.any(np.hypot(*(places - onto(other, places)).T) <= EDGE_MM):
            return True
    return False
