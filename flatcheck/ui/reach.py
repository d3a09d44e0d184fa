"""The reach of a rule on the map: hatched where the readings could not judge it."""

import numpy as np
import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.reach import hatches
from flatcheck.report.reach import WHOLE
from flatcheck.report.words import outcome_of
from flatcheck.ui.drawing import Drawing, Line, pieces
from flatcheck.ui.markup import write
from flatcheck.verdict import Finding, Reach

KEY = say("Hatched: what the readings could not judge by this rule.")


def reach_chosen(assessment: Assessment) -> Finding | None:
    """The rule whose reach is to be drawn, as the person chooses; None where all is judged."""
    partly = [f for f in assessment.verdict.findings if f.reach and f.reach_ratio < WHOLE]
    if not partly:
        return None
    zones = len(assessment.parts) > 1

    def called(number: int | None) -> str:
        if number is None:
            return say("Nothing hatched")
        finding = partly[number]
        outcome = outcome_of(finding, assessment.verdict.decision)
        zone = f"{finding.zone}: " if zones else ""
        return say(
            "{share:.0%} judged, {outcome}: {rule}",
            share=finding.reach_ratio,
            outcome=say(outcome),
            rule=zone + finding.rule.words,
        )

    choices: list[int | None] = [None, *range(len(partly))]
    number: int | None = st.selectbox(say("Hatch what a rule could not judge"), choices, 0, called)
    if number is None:
        return None
    write(f"<p class=fine>{KEY}</p>")
    return partly[number]


def add_reach(drawing: Drawing, reach: Reach) -> None:
    """Rectangles over what could not be judged, hatched."""
    rings = [
        np.array([(west, south), (east, south), (east, north), (west, north), (west, south)])
        for west, south, east, north in hatches(reach).tolist()
    ]
    drawing.add(Line("not judged", pieces(rings), width_px=0, hatch="/"))
