"""Least work: grind and patch together, each where it is the cheaper."""

from flatcheck.language import say
from flatcheck.leastwork import Conflict
from flatcheck.refusal import UNFINISHED, Refusal, conflict_words, offered, unfinished
from flatcheck.site import Proposal, Site, cheapest

ID = "least"
TITLE = say("Grinding and patching together")


def propose(site: Site) -> Proposal | Refusal:
    """The cheapest grinding and filling that meets every rule."""
    if site.ungrindable:
        return Refusal(
            ID, TITLE, say("{why}; patching alone is what is left of it.", why=site.ungrindable)
        )
    material = site.terms.patch
    found = cheapest(site, grind=True, fill=material)
    if isinstance(found, Conflict):
        return Refusal(
            ID, TITLE, say("By grinding and filling {why}.", why=conflict_words(site, found))
        )
    if found.fill_mm.any() != found.grind_mm.any():
        if unfinished(site, found):
            return Refusal(ID, TITLE, UNFINISHED)
        patching = say("The least work is patching alone.")
        grinding = say("The least work is grinding alone.")
        return Refusal(ID, TITLE, patching if found.fill_mm.any() else grinding)
    return offered(site, ID, TITLE, found, material)
