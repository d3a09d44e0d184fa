"""Grind: take the high places down, and fill nothing."""

from flatcheck.language import say
from flatcheck.leastwork import Conflict
from flatcheck.refusal import Refusal, conflict_words, offered
from flatcheck.site import Proposal, Site, cheapest

ID = "grind"
TITLE = say("Grinding the high places")


def propose(site: Site) -> Proposal | Refusal:
    """The least grinding that meets every rule."""
    if site.ungrindable:
        return Refusal(ID, TITLE, f"{site.ungrindable}.")
    found = cheapest(site, grind=True, fill=None)
    if isinstance(found, Conflict):
        return Refusal(ID, TITLE, say("By grinding alone {why}.", why=conflict_words(site, found)))
    return offered(site, ID, TITLE, found, None)
