"""Nothing: leave the floor as it is, where it is already what was asked."""

import numpy as np

from flatcheck.language import say
from flatcheck.refusal import Refusal
from flatcheck.site import Proposal, Site
from flatcheck.verdict import SAID, Outcome

ID = "nothing"
TITLE = say("Leaving it as it is")


def propose(site: Site) -> Proposal | Refusal:
    """No work at all; what would have to change is told beside the table."""
    verdict = site.assessment.verdict
    if verdict.outcome is not Outcome.WITHIN:
        return Refusal(
            ID, TITLE, say("As it is the floor is {outcome}.", outcome=SAID[verdict.outcome])
        )
    none = np.zeros(len(site.floor.xy_mm))
    return Proposal(ID, TITLE, none, none, None)
