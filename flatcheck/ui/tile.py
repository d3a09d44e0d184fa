"""The tile on the page: laid on this floor as a person says, with the lippage that it will have."""

import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from html import escape
from typing import Any

import numpy as np
import numpy.typing as npt
import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.bond import CALLED, KINDS
from flatcheck.correction import correct
from flatcheck.errors import FlatcheckError
from flatcheck.forecast import Answer
from flatcheck.instrument import fine
from flatcheck.language import say
from flatcheck.outlook import Outlook, outlook
from flatcheck.pattern import slivers
from flatcheck.readers.folder import edited
from flatcheck.report.forecast import step_words
from flatcheck.report.outlook import headline, joints_csv, outlook_html, outlook_words
from flatcheck.report.tiling import tiling_words
from flatcheck.survey import Survey
from flatcheck.tiling import laid
from flatcheck.ui.drawing import Drawing, Line, Signs, pieces
from flatcheck.ui.markup import draw, listed, offer, paragraphs, tell, write
from flatcheck.ui.memory import kept, text_of
from flatcheck.ui.plan import FLOOR, add_drains, add_ground, add_room, closed, frame
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

CLASSES = {Answer.AS_IS: "within", Answer.CORRECTED: "close", Answer.NOT: "out"}
"""The color that each answer stands on."""

LINES = {
    Outcome.WITHIN: ("#8c959f", 1, "solid"),
    Outcome.CLOSE: ("#8a5a00", 3, "dot"),
    Outcome.OUT: ("#a3231c", 4, "solid"),
}
"""How joints are drawn by how they end: color, width and dash."""

KEY = say(
    "Joints in an even bed: thin gray lines will be within, dotted brown ones are "
    "too close to call, thick red ones out. Cut tiles are light gray, slivers "
    "dark, tiles that cannot be bedded pink."
)

LABELS = {
    "joint": (say("Joint of the tile"), "3/16 in"),
    "offset": (say("Offset of each row"), say("1/3, for running bond")),
    "rotation": (say("Turned by, in degrees"), "0"),
    "least": (say("Mortar at least"), "3/32 in"),
    "most": (say("Mortar at most"), "1/2 in"),
}


def tile_on_floor(source: str, assessment: Assessment) -> None:
    """Asks how the tile is to lie; shows it laid, and what lippage to expect."""
    write(f"<h3>{say('The tile, laid on this floor')}</h3>")
    pressed, corrections, typed = _form(source, assessment.survey)
    asked: set[str] = st.session_state.setdefault("laid", set())
    if pressed:
        asked.add(source)
    if source not in asked:
        write(f"<p>{say('Every tile is laid, and the step at every joint foreseen.')}</p>")
        return
    try:
        here = replace(assessment, survey=_as_typed(assessment.survey, typed))
        seen = _outlook(here, corrections, partial(asked.discard, source))
        words, counts = outlook_words(seen, here), tiling_words(here.survey, here.surface.room)
    except FlatcheckError as error:
        tell(error)
        return
    partly = seen.answer is Answer.AS_IS and not seen.sure
    color = "close" if partly else CLASSES[seen.answer]
    write(
        f'<p class=large><span class="word {color}">{escape(headline(seen))}'
        f"</span> {escape(words[1])}</p>"
    )
    draw(laying_figure(seen, here), "laying")
    write(paragraphs([KEY], "fine"), listed(words[2:]), listed(counts[1:]))
    row = st.container(horizontal=True)
    offer(
        row,
        say("Joints and bed as a sheet to print"),
        lambda: outlook_html(seen, here),
        "forecast.html",
    )
    offer(row, say("Joints as a table"), lambda: joints_csv(seen, here), "joints.csv")


def _form(source: str, survey: Survey) -> tuple[bool, bool, dict[str, str]]:
    """Whether to lay, whether to try corrections too, and what was typed."""
    own = tomllib.loads(survey.document)
    tile, pattern = own.get("tile", {}), own.get("pattern", {})
    bed = tile.get("bed", ["", ""])
    start = {"joint": tile.get("joint", ""), "least": bed[0], "most": bed[1]} | {
        key: pattern.get(key, "") for key in ("offset", "rotation")
    }
    with st.form(f"{source} laying", border=False):
        row = st.container(horizontal=True, vertical_alignment="bottom")
        kind = row.selectbox(
            say("Pattern"),
            KINDS,
            KINDS.index(survey.pattern.kind) if survey.pattern else 0,
            CALLED.__getitem__,
            key=f"{source}/pattern",
        )
        typed = {"kind": kind} | {
            key: row.text_input(
                label, str(start[key]), key=f"{source}/laying/{key}", placeholder=example
            ).strip()
            for key, (label, example) in LABELS.items()
        }
        corrections = st.checkbox(
            say("Try every correction of the floor too"), key=f"{source}/laying/corrections"
        )
        pressed = st.form_submit_button(say("Lay the tile"), type="primary")
    return pressed, corrections, typed


def _as_typed(survey: Survey, typed: dict[str, str]) -> Survey:
    """The survey with its tile laid as was typed; what is left empty is as usual."""
    own = tomllib.loads(survey.document).get("pattern", {})
    same = own if own.get("kind", KINDS[0]) == typed["kind"] else {}
    pattern: dict[str, Any] = {key: same[key] for key in same if key not in LABELS}
    pattern["kind"] = typed["kind"]
    if typed["offset"] and typed["kind"] == "running bond":
        pattern["offset"] = typed["offset"]
    if typed["rotation"]:
        pattern["rotation"] = _degrees(typed["rotation"])
    tile: dict[str, Any] = {"joint": typed["joint"]} if typed["joint"] else {}
    if typed["least"] or typed["most"]:
        tile["bed"] = [typed["least"], typed["most"]]
    return edited(edited(survey, {"pattern": None}), {"tile": tile, "pattern": pattern})


def _degrees(written: str) -> float | str:
    try:
        return float(written.removesuffix("°"))
    except ValueError:
        return written  # refused where the document is read, in a sentence


def _outlook(here: Assessment, corrections: bool, stop: Callable[[], None]) -> Outlook:
    """The forecast of this very survey: kept from before, or worked out now and told of.

    `stop` is called where the person ends it: between two beds, where it is told how far it is.
    """

    def worked_out() -> Outlook:
        place = st.empty()
        with place.container():
            line = st.empty()
            st.button(say("Stop"), on_click=stop)

        def told(_: int, words: str) -> None:
            with line:
                doing = say("Working out {what}.", what=words)
                write(f"<p role=status>{escape(doing)}</p>")

        try:
            return outlook(here, (lambda: correct(here)) if corrections else None, told)
        finally:
            place.empty()

    return kept("outlooks", (*text_of(here.survey), corrections), worked_out)


def laying_figure(seen: Outlook, here: Assessment) -> Drawing:
    """The room to scale with every tile, and its joints by how they will end."""
    survey, room, found = here.survey, here.surface.room, seen.found
    laying = laid(survey, room)
    drawing = Drawing(say("The tiles as they are laid, and their joints by how they will end"))
    add_ground(drawing, room, FLOOR)
    add_room(drawing, room)
    fill = np.where(laying.cut, "#eaeef2", "#ffffff")
    fill[slivers(laying)] = "#afb8c1"
    fill[found.better.unbedded] = "#f4c7c3"
    for color in dict.fromkeys(fill.tolist()):
        rings = [closed(laying.pieces[k]) for k in np.flatnonzero(fill == color)]
        drawing.add(Line(f"tiles {color}", pieces(rings), "#d0d7de", fill=color))
    lippage = found.even.lippage_mm
    ends = np.array([str(outcome) for outcome in found.outcomes])
    for outcome, (color, width, dash) in LINES.items():
        own = np.flatnonzero(ends == str(outcome))
        joints = laying.joints_mm[own]
        drawing.add(
            Line(str(outcome), pieces(list(joints)), color, width, dash),
            Signs(
                f"steps {outcome}",
                joints.mean(axis=1),
                "",
                told=[
                    say(
                        "<b>{outcome}</b><br>{step} of {limit}",
                        outcome=say(outcome),
                        step=step_words(float(lippage[k]), survey.show),
                        limit=fine(float(found.limit_mm[k]), survey.show),
                    )
                    for k in own.tolist()
                ],
            ),
        )
    add_drains(drawing, survey.drains)
    frame(drawing, room, survey.show)
    return drawing
