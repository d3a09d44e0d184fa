"""Least work: grind and patch together, each where it is the cheaper."""

from flatcheck.leastwork import Conflict
from flatcheck.site import Proposal, Refusal, Site, cheapest, conflict_words, too_heavy, too_thin

ID = "least"
TITLE = "Grinding and patching together"


def propose(site: Site) -> Proposal | Refusal:
    """The cheapest grinding and filling that meets every rule."""
    if site.ungrindable:
        return Refusal(ID, TITLE, f"{site.ungrindable}; patching alone is what is left of it.")
    material = site.terms.patch
    found = cheapest(site, grind=True, fill=material)
    if isinstance(found, Conflict):
        return Refusal(ID, TITLE, f"By grinding and filling {conflict_words(site, found)}.")
    if found.fill_mm.any() != found.grind_mm.any():
        alone = "patching" if found.fill_mm.any() else "grinding"
        return Refusal(ID, TITLE, f"The least work is {alone} alone.")
    style = site.assessment.survey.show
    wrong = too_thin(found.fill_mm, material, style) or too_heavy(site, found.fill_mm, material)
    if wrong:
        return Refusal(ID, TITLE, wrong)
    least = found.least_cost if site.linear else None
    return Proposal(ID, TITLE, found.fill_mm, found.grind_mm, material, found.cost, least)
