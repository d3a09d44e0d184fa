"""How the page looks to this person: larger type, and stronger contrast for the sun.

Both stand in the address, so that a phone keeps them. Drawings have styles of their own, which take
`--larger` and `--stronger` from the page. Their colors are made stronger, not their contrast, which
would bleach what is pale.
"""

import streamlit as st

from flatcheck.language import say

LARGE = "<style>html {font-size: 125%; --larger: 1.25}</style>"

SUN = """<style>
html {--stronger: saturate(2)}
.stApp, .stApp p, .stApp label, .fc .fine, .fc .card span, .stCaption, .stCaption p
  {color: #000 !important}
.stApp {background: #fff}
input, textarea, [data-baseweb="select"] > div, .stButton button, .st-key-step button
  {border: 2px solid #000 !important}
button[kind*=primary] p, .st-key-step [aria-checked=true] p {color: #fff !important}
.st-key-step [aria-checked=true] {background: #000 !important}
.fc .rule, .fc .warn, .fc .error {border-left: .4rem solid #000}
.fc tr {border-top: 1px solid #000}
.fc .within {background: #004d40} .fc .out {background: #7f0000}
.fc .close {background: #5d3c00} .fc .not_assessed {background: #30363d}
.js-plotly-plot {filter: saturate(2)}
</style>"""


def view() -> None:
    """The two choices, and what they do."""
    with st.popover(say("View")):
        large = st.toggle(say("Large type"), key="large", bind="query-params")
        sun = st.toggle(say("Strong contrast, for the sun"), key="sun", bind="query-params")
    if large:
        st.html(LARGE)
    if sun:
        st.html(SUN)
