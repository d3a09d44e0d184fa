"""Patch: fill the low places, and grind nothing."""

from flatcheck.leastwork import Conflict
from flatcheck.site import Proposal, Refusal, Site, cheapest, conflict_words, too_heavy, too_thin

ID = "patch"
TITLE = "Patching the low places"


def propose(site: Site) -> Proposal | Refusal:
    """The least filling that meets every rule."""
    material = site.terms.patch
    found = cheapest(site, grind=False, fill=material)
    if isinstance(found, Conflict):
        return Refusal(ID, TITLE, f"By filling alone {conflict_words(site, found)}.")
    style = site.assessment.survey.show
    wrong = too_thin(found.fill_mm, material, style) or too_heavy(site, found.fill_mm, material)
    if wrong:
        return Refusal(ID, TITLE, wrong)
    least = found.least_cost if site.linear else None
    return Proposal(ID, TITLE, found.fill_mm, found.grind_mm, material, found.cost, least)
