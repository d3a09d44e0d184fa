"""The steps of the job in their order: which one is open, and the way to the next.

The step stands in the address (`?step=falls`), so that a reload opens it again.
"""

import streamlit as st

STEPS = {
    "job": "Job",
    "readings": "Readings",
    "verdict": "Verdict",
    "falls": "Falls",
    "correction": "Correction",
    "tile": "Tile",
    "report": "Report",
}
"""In the order of the work; what is called by a word here stands under it in the address."""

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
        "Step of the job",
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

    st.button(f"Next: {STEPS[step].lower()}", on_click=go, type="primary")
    st.caption(why)
