"""Least work: grind and patch together, each where it is the cheaper."""

from flatcheck.leastwork import Conflict
from flatcheck.refusal import UNFINISHED, Refusal, conflict_words, offered, unfinished
from flatcheck.site import Proposal, Site, cheapest

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
        if unfinished(site, found):
            return Refusal(ID, TITLE, UNFINISHED)
        alone = "patching" if found.fill_mm.any() else "grinding"
        return Refusal(ID, TITLE, f"The least work is {alone} alone.")
    return offered(site, ID, TITLE, found, material)
