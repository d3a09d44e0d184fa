"""Screed: a mortar bed over the floor, level or to its planned falls."""

import numpy as np

from flatcheck.drain import height_at
from flatcheck.errors import FlatcheckError
from flatcheck.screed import screeds
from flatcheck.site import Proposal, Refusal, Site, too_heavy
from flatcheck.units import format_length

ID = "screed"
TITLE = "Screeding a mortar bed"


def propose(site: Site) -> Proposal | Refusal:
    """Every zone under a mortar bed: to its falls where it is to fall, else level."""
    assessment, material = site.assessment, site.terms.mortar
    survey, style = assessment.survey, assessment.survey.show
    heights = site.floor.height_mm
    fill = np.zeros(len(heights))
    try:
        planned = {}
        if any(part.view.ground is not None for part in assessment.parts):
            planned = {plan.zone: plan for plan in screeds(survey, 300.0, assessment)}
    except FlatcheckError as error:
        return Refusal(ID, TITLE, str(error))
    for part in assessment.parts:
        own = part.stations
        plan = planned.get(part.name)
        if plan is not None and plan.rim_mm is not None:
            above = height_at(plan.falls, site.floor.xy_mm[own])
            top = plan.rim_mm + np.nan_to_num(above) - survey.bed.cover_mm
            fill[own] = np.where(np.isnan(above), 0.0, top - heights[own])
        else:
            level = float(heights[own].max()) + material.least_mm
            for stations, rise in site.held:
                held = np.intersect1d(stations, own)
                if len(held) and level > float(heights[held].min()) + rise:
                    over = level - float(heights[held].min()) - rise
                    return Refusal(
                        ID,
                        TITLE,
                        f"{part.name}: a bed {format_length(material.least_mm, style)} thick over "
                        f"the highest place ends {format_length(over, style)} above a height that "
                        "must not change.",
                    )
            fill[own] = level - heights[own]
    heavy = too_heavy(site, fill, material)
    if heavy:
        return Refusal(ID, TITLE, heavy)
    return Proposal(ID, TITLE, fill, np.zeros(len(heights)), material)
