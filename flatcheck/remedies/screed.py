"""Screed: a mortar bed over the floor, level or to its planned falls."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from flatcheck.errors import FlatcheckError
from flatcheck.facet import height_at
from flatcheck.intent import DRAINING, Intent
from flatcheck.language import say
from flatcheck.parts import Part
from flatcheck.refusal import Refusal, in_part, open_level, too_heavy
from flatcheck.screed import limits_of, screeds
from flatcheck.site import Proposal, Site, rejudged
from flatcheck.survey import Survey
from flatcheck.terms import unit_cost
from flatcheck.units import format_length
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

ID = "screed"
TITLE = say("Screeding a mortar bed")

STEEPER = (1.0, 1.05, 1.1, 1.2, 1.35)
"""Falls that nobody fixed are tried at so many times the least that the rules ask for: a floor
screeded to just the least is too close to call."""


def propose(site: Site) -> Proposal | Refusal:
    """Every zone under a mortar bed: to its falls where it is to fall, else level."""
    material = site.terms.mortar
    if site.floor.room.upright:
        return Refusal(ID, TITLE, say("A bed is screeded on floors, not on a wall."))
    unknown = open_level(site)
    if unknown:
        return Refusal(ID, TITLE, unknown)
    if any(not keep.fill for _, keep in site.kept):
        return Refusal(
            ID, TITLE, say("A part of the floor may not be filled, and a bed covers all.")
        )
    none = np.zeros(len(site.floor.xy_mm))
    first: Proposal | Refusal | None = None
    tries = STEEPER if _free(site) else STEEPER[:1]
    for steeper in tries:
        bed = _bed(site, steeper)
        if isinstance(bed, str):
            offered: Proposal | Refusal = Refusal(ID, TITLE, bed)
        else:
            cost = unit_cost(material, site.terms) * float(site.area_mm2 @ bed)
            offered = Proposal(ID, TITLE, bed, none, material, cost)
            if len(tries) == 1 or rejudged(site, bed, none)[1].outcome is Outcome.WITHIN:
                return offered
        first = first or offered
    assert first is not None  # there is always a first fall to try
    return first


def _free(site: Site) -> bool:
    """Whether some zone drains by falls that its intent leaves to the rules."""
    survey = site.assessment.survey
    intents = [zone.intent for zone in survey.zones] or [survey.intent]
    return any(_left_open(intent) for intent in intents) and limits_of(survey)[0] > 0


def _left_open(intent: Intent) -> bool:
    return intent.kind in DRAINING and not intent.fall_ratio


def _bed(site: Site, steeper: float) -> Floats | str:
    """How thick the bed is at every station (n,) [mm], or why there is none."""
    assessment, material = site.assessment, site.terms.mortar
    survey, style = assessment.survey, assessment.survey.show
    heights = site.floor.height_mm
    fill = np.zeros(len(heights))
    falling = [part for part in assessment.parts if part.view.ground is not None]
    try:
        plans = screeds(_asking(site, falling, steeper), 300.0, assessment) if falling else ()
    except FlatcheckError as error:
        return str(error)
    planned = {plan.zone: plan for plan in plans}
    # Falls first: a level zone beside them is laid up to their upper edge.
    for part in sorted(assessment.parts, key=lambda part: part.view.ground is None):
        own = part.stations
        plan = planned.get(part.name)
        if plan is not None and plan.rim_mm is not None:
            above = height_at(plan.falls, site.floor.xy_mm[own])
            top = plan.rim_mm + np.nan_to_num(above) - survey.bed.cover_mm
            fill[own] = np.where(np.isnan(above), 0.0, top - heights[own])
            continue
        level = max(
            float(heights[own].max()) + material.least_mm, float((heights + fill)[own].max())
        )
        thick = level - float(heights[own].min())
        if thick > material.most_mm:
            return in_part(
                site,
                part,
                say(
                    "a bed {least} thick or more over the highest place is {thick} over the "
                    "lowest, and {most} is the most.",
                    least=format_length(material.least_mm, style),
                    thick=format_length(thick, style),
                    most=format_length(material.most_mm, style),
                ),
            )
        for hold, (stations, rise) in zip(survey.holds, site.held, strict=True):
            held = np.intersect1d(stations, own)
            if len(held) and level > float(heights[held].min()) + rise:
                over = level - float(heights[held].min()) - rise
                return in_part(
                    site,
                    part,
                    say(
                        "a bed {least} thick or more over the highest place ends {over} too high "
                        "for {hold!r}.",
                        least=format_length(material.least_mm, style),
                        over=format_length(over, style),
                        hold=hold.name,
                    ),
                )
        fill[own] = level - heights[own]
    fill = np.maximum(fill, 0.0)
    for stations, rise in site.held:
        fill[stations] = np.minimum(fill[stations], rise)  # the planes only nearly meet a sill
    return too_heavy(site, fill, material) or fill


def _asking(site: Site, falling: list[Part], steeper: float) -> Survey:
    """The survey with the heights that must not change in zones that fall, and with its falls."""
    survey = site.assessment.survey
    own = np.concatenate([part.stations for part in falling])
    kept = zip(survey.holds, site.held, strict=True)
    least = limits_of(survey)[0] * steeper

    def asked(intent: Intent) -> Intent:
        return replace(intent, fall_ratio=least) if _left_open(intent) else intent

    return replace(
        survey,
        holds=tuple(hold for hold, (stations, _) in kept if np.isin(stations, own).any()),
        intent=asked(survey.intent),
        zones=tuple(replace(zone, intent=asked(zone.intent)) for zone in survey.zones),
    )
