"""Grind: take the high places down, and fill nothing."""

from flatcheck.leastwork import Conflict
from flatcheck.site import Proposal, Refusal, Site, cheapest, conflict_words

ID = "grind"
TITLE = "Grinding the high places"


def propose(site: Site) -> Proposal | Refusal:
    """The least grinding that meets every rule."""
    if site.ungrindable:
        return Refusal(ID, TITLE, f"{site.ungrindable}.")
    found = cheapest(site, grind=True, fill=None)
    if isinstance(found, Conflict):
        return Refusal(ID, TITLE, f"By grinding alone {conflict_words(site, found)}.")
    least = found.least_cost if site.linear else None
    return Proposal(ID, TITLE, found.fill_mm, found.grind_mm, None, found.cost, least)
