"""What the sections of the page are made of: its style, markup, drawings, errors and downloads.

Markup is ours; whatever a person typed, or a file holds, is escaped before it comes here.
"""

import hashlib
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import streamlit as st

from flatcheck.errors import FlatcheckError
from flatcheck.language import say
from flatcheck.report.paper import listed as listed
from flatcheck.report.paper import paragraphs as paragraphs
from flatcheck.ui.drawing import Drawing, Signs
from flatcheck.ui.svg import WIDEST_REM, markup, places
from flatcheck.verdict import SAID, Outcome

MIMES = {
    "txt": "text/plain",
    "json": "application/json",
    "html": "text/html",
    "csv": "text/csv",
    "zip": "application/zip",
}
"""What a file that is taken away holds, by the ending of its name."""

STYLE = """<style>
.stMainBlockContainer {padding: 1.5rem 1rem 4rem; max-width: 84rem}
input, textarea, [data-baseweb="select"] div {font-size: 16px !important}
.st-key-step button, .stButton button, .stDownloadButton button {min-height: 2.75rem}
.stMultiSelect [role=group] {max-height: none; height: auto}
[data-testid=stMultiSelectTagsContainer] {flex-wrap: wrap; height: auto; padding: .35rem;
  mask-image: none !important}
[data-testid=stMultiSelectTagsContainer] input {flex: 1 1 2rem; min-width: 2rem}
[data-tag], [data-tag] span {white-space: normal; height: auto}
[data-tag] {max-width: 100%; padding: .2rem .25rem .2rem .5rem}
[data-tag] button {flex: none; width: 2rem; height: 2rem; justify-content: center}
.fc h1 {font-size: 1.4rem; padding: 0}
.fc h2 {font-size: 1.75rem; line-height: 1.25; padding: 0; overflow-wrap: anywhere}
.fc h3 {font-size: 1.1rem; padding: .5rem 0 0}
.fc p, .fc td {margin: .25rem 0; overflow-wrap: anywhere}
.fc .word {color: white; border-radius: .3rem; padding: 0 .4em}
.fc .within {background: #00695c} .fc .out {background: #a3231c}
.fc .close {background: #8a5a00} .fc .not_assessed {background: #57606a}
.fc .rule {border-left: .25rem solid #d0d7de; padding-left: .75rem; margin: .75rem 0}
.fc .error {border-left: .25rem solid #a3231c; background: #fbe9e7; padding: .75rem 1rem}
.fc .fine {color: #57606a; font-size: .875rem}
.fc pre {margin: .25rem 0; overflow-x: auto; font-size: .8125rem}
.fc table {border-collapse: collapse} .fc tr {border-top: 1px solid #d0d7de}
.fc .warn {border-left: 4px solid #8a5300; padding-left: .75rem}
.fc td {padding: .3rem .75rem .3rem 0; vertical-align: top}
.fc td:first-child, .fc td.when {white-space: nowrap}
.fc th {text-align: left; padding: .3rem .75rem .3rem 0; vertical-align: bottom}
.fc td, .fc th {font-variant-numeric: tabular-nums}
.fc .walls {display: flex; flex-wrap: wrap; gap: 1rem 2.5rem; align-items: flex-start}
.fc caption {text-align: left; max-width: 18rem}
.fc .wide td:not(:nth-child(4)):not(:last-child) {white-space: nowrap}
.fc .large {font-size: 1.25rem; line-height: 1.35; font-weight: 600}
.fc .next {font-size: 1.1rem}
.fc .remedies td {white-space: nowrap} .fc .remedies td.why {white-space: normal}
.fc .card {border: 1px solid #d0d7de; border-radius: .5rem; padding: .5rem .75rem; margin: .5rem 0}
.fc .card div div {display: inline-block; margin-right: 1rem}
.fc .card span {color: #57606a; font-size: .875rem}
.fc ul {margin: .25rem 0; padding-left: 1.25rem} .fc li {padding: .1rem 0}
.fc .narrow {display: none}
@media (max-width: 640px) {.fc .wide {display: none} .fc .narrow {display: block}}
[class*="st-key-bag-"] > div {flex: 1 1 5.5rem !important; min-width: 5.5rem !important}
[class*="st-key-bag-"] [data-testid=stNumberInput] button {display: none}
[data-testid=stFullScreenFrame]:has([data-testid=stDataFrame]) [data-testid=stElementToolbar]
  {display: none}
@media (pointer: coarse) {.st-key-solid-drawing * {pointer-events: none !important}}
@media (max-width: 640px) {.st-key-pane {display: var(--away, flex)}}
</style>"""


def write(*parts: str) -> None:
    """Markup of ours; whatever is not ours has been escaped in it."""
    st.html(f"<div class=fc>{''.join(parts)}</div>")


def word(outcome: Outcome) -> str:
    """An outcome as a word on its color."""
    return f'<span class="word {outcome.name.lower()}">{SAID[outcome].upper()}</span>'


_screen = st.components.v2.component(
    "flatcheck.drawing",
    html='<div class="drawing"></div>',
    css=Path(__file__).with_name("drawing.css").read_text(encoding="utf-8"),
    js=Path(__file__).with_name("drawing.js").read_text(encoding="utf-8"),
)


def draw(drawing: Drawing, key: str, widest_rem: float = WIDEST_REM) -> None:
    """A drawing in a box named `key`, which tells of the place that one points at."""
    with st.container(key=key):
        _screen(data=_data(drawing, widest_rem), key=f"{key} drawn")


def chosen_station(drawing: Drawing, key: str, floor: str) -> int | None:
    """A drawing as by `draw`, and the number of the place that was chosen on it, if any.

    A choice does not pass to another `floor`, nor to other places of the same one.
    """
    slot = f"{key} {_named(floor, drawing)}"
    said = (st.session_state.get(slot) or {}).get("chosen")
    how = say("{about}. Arrow keys move from place to place, Enter chooses.", about=drawing.about)
    data = _data(drawing) | {"choosing": how, "chosen": said}
    with st.container(key=key):
        chosen = _screen(
            data=data, key=slot, default={"chosen": None}, on_chosen_change=lambda: None
        ).chosen
    return None if chosen is None else int(chosen)


def _named(floor: str, drawing: Drawing) -> str:
    """A floor, by its name and the places that can be chosen on it, in letters and digits only.

    What a person typed may not stand in the key of a component: two underscores break it.
    """
    own = hashlib.sha256(floor.encode(errors="replace"))
    for layer in drawing.layers:
        if isinstance(layer, Signs) and len(layer.numbers):
            own.update(np.column_stack((layer.xy, layer.numbers)).tobytes())
    return own.hexdigest()


def _data(drawing: Drawing, widest_rem: float = WIDEST_REM) -> dict[str, Any]:
    return {"drawn": markup(drawing, widest_rem), "places": places(drawing), "chosen": None}


def offer(
    row: Any, label: str, made: Callable[[], str | bytes], name: str, kind: str = "secondary"
) -> None:
    """A button that gives a file of this name, made only when it is pressed."""
    mime = MIMES[name.rpartition(".")[2]]
    row.download_button(label, made, name, mime, on_click="ignore", type=kind, width="stretch")


def tell(found: FlatcheckError) -> None:
    """What is wrong, in its sentence."""
    # Not st.error: it reads Markdown, and makes links of what a person typed.
    write(f"<p class=error role=alert>{escape(str(found))}</p>")
