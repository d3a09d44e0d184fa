"""The reach of a rule on the map: hatched where the readings could not judge it."""

import plotly.graph_objects as go
import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.reach import hatches
from flatcheck.report.reach import WHOLE
from flatcheck.report.words import outcome_of
from flatcheck.ui.axes import INK
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


def add_reach(figure: go.Figure, reach: Reach) -> None:
    """Rectangles over what could not be judged, hatched."""
    x: list[float | None] = []
    y: list[float | None] = []
    for west, south, east, north in hatches(reach).tolist():
        x += [west, east, east, west, west, None]
        y += [south, south, north, north, south, None]
    figure.add_scatter(
        name="not judged",
        x=x,
        y=y,
        mode="lines",
        line={"width": 0},
        fill="toself",
        fillcolor="rgba(255,255,255,0)",
        fillpattern={"shape": "/", "size": 8, "solidity": 0.25, "fgcolor": INK},
        hoverinfo="skip",
    )
