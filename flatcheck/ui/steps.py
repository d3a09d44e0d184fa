"""The steps of the job in their order: which one is open, and the way to the next.

The step stands in the address (`?step=falls`), so that a reload opens it again.
"""

import streamlit as st

from flatcheck.language import say

STEPS = {
    "job": say("Job"),
    "readings": say("Readings"),
    "verdict": say("Verdict"),
    "falls": say("Falls"),
    "correction": say("Correction"),
    "tile": say("Tile"),
    "report": say("Report"),
}
"""In the order of the work; what is called by a word here stands under it in the address."""

NEXT = {
    "readings": say("Next: readings"),
    "verdict": say("Next: verdict"),
    "correction": say("Next: correction"),
    "tile": say("Next: tile"),
    "report": say("Next: report"),
}
"""What stands on the button to a step, for those that one has."""

ENTERED = ("job", "readings")
"""The steps at which something is entered."""

FIRST = "verdict"
"""What a person sees who comes for the first time: what it is all for."""


def chosen_step() -> str:
    """The row of steps, and the one that is open."""
    if st.session_state.get("step") not in STEPS:
        asked = st.query_params.get("step", FIRST)
        st.session_state["step"] = asked if asked in STEPS else FIRST
    step = st.segmented_control(
        say("Step of the job"),
        list(STEPS),
        required=True,
        format_func=STEPS.__getitem__,
        key="step",
        label_visibility="collapsed",
    )
    assert step is not None  # one is required
    if step != st.query_params.get("step", FIRST):
        st.query_params["step"] = step
    # On a narrow screen what is entered is hidden where it belongs to another step. Not by `:has`,
    # which makes a browser ask again with everything that is drawn.
    away = "flex" if step in ENTERED else "none"
    st.html(f"<style>.st-key-pane {{--away: {away}}}</style>")
    return step


def next_step(step: str, why: str) -> None:
    """The button to a step, and what waits there."""

    def go() -> None:
        st.session_state["step"] = step

    st.button(NEXT[step], on_click=go, type="primary")
    st.caption(why)
