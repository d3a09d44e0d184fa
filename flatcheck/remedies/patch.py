"""Patch: fill the low places, and grind nothing."""

from flatcheck.language import say
from flatcheck.leastwork import Conflict
from flatcheck.refusal import Refusal, conflict_words, offered
from flatcheck.site import Proposal, Site, cheapest

ID = "patch"
TITLE = say("Patching the low places")


def propose(site: Site) -> Proposal | Refusal:
    """The least filling that meets every rule."""
    material = site.terms.patch
    found = cheapest(site, grind=False, fill=material)
    if isinstance(found, Conflict):
        return Refusal(ID, TITLE, say("By filling alone {why}.", why=conflict_words(site, found)))
    return offered(site, ID, TITLE, found, material)
