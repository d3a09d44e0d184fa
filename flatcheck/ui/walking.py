"""The floor walked place by place: one field and large keys, and each reading kept as it is typed.

The next place stands large with its offsets; Enter keeps the reading and moves on, and one that
does not fit is questioned at once. A reading is on disk before the screen says so.
"""

import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import streamlit as st

from flatcheck.amendment import built, table_in
from flatcheck.errors import FlatcheckError, StaleError, SurveyError
from flatcheck.language import say
from flatcheck.readers.cells import cells_of, csv_text
from flatcheck.store import Kept, Store
from flatcheck.survey import Survey, Table
from flatcheck.ui.markup import tell
from flatcheck.units import parse_length
from flatcheck.walk import (
    CANNOT,
    KINDS,
    Stop,
    doubt,
    doubt_words,
    next_open,
    stops,
    tape,
    written,
)

WORDS = {
    "enter": say("Enter"),
    "back": say("← Back"),
    "later": say("Later →"),
    "skip": say("Cannot be read"),
    "keep": say("It is right, go on"),
    "done": say("Done"),
    "erase": say("Erase the last sign"),
    "field": say("Reading at this place"),
    "saving": say("Being kept:"),
    "space": "␣",
}

EVEN = say("even")
EIGHTHS = (EVEN, "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8")
SIXTEENTHS = (
    *(EVEN, "1/16", "1/8", "3/16", "1/4", "5/16", "3/8", "7/16"),
    *("1/2", "9/16", "5/8", "11/16", "3/4", "13/16", "7/8", "15/16"),
)
"""Keys of one tap: each with the whole inches typed, or those of the last reading."""

INCH_DIGITS = [*"12345/-", *"67890.", WORDS["space"]]
DIGITS = [*"123456789-0."]

HTML = """<div class="walk">
<div class="top"><p class="count"></p><button type="button" class="done"></button></div>
<div class="offsets"><p class="first"><b></b> <span></span></p>
<p class="second"><b></b> <span></span></p></div>
<div class="said">
<p class="error" role="alert"></p>
<p class="doubt" role="alert"></p>
<p class="status" role="status"></p>
</div>
<div class="entry">
<div class="row"><input class="field" type="text" autocomplete="off" autocapitalize="off"
 spellcheck="false" enterkeyhint="next"><button type="button" class="erase">⌫</button>
<button type="button" class="enter"></button></div>
<div class="fractions"></div>
<div class="digits"></div>
</div>
<div class="row"><button type="button" class="back"></button>
<button type="button" class="skip"></button><button type="button" class="later"></button>
<button type="button" class="keep"></button></div>
<svg class="map" role="img" aria-hidden="true"></svg>
</div>"""
"""What is said of a reading has its room kept free: keys never move under a thumb."""

_screen = st.components.v2.component(
    "flatcheck.walking",
    html=HTML,
    css=Path(__file__).with_name("walking.css").read_text(encoding="utf-8"),
    js=Path(__file__).with_name("walking.js").read_text(encoding="utf-8"),
)


@dataclass(frozen=True)
class Walk:
    """One table of a kept survey as it is walked: its places in order, and at which one is."""

    kept: Kept
    survey: Survey
    table: Table
    places: tuple[Stop, ...]
    at: int | None


def walkable(kept: Kept) -> list[str]:
    """The tables of a survey that can be walked. Raises FlatcheckError as `document.build`."""
    return [table.name for table in built(kept.files).tables if table.kind in KINDS]


def walked() -> str:
    """The name of the table that is being walked, empty where none is: it is in the address."""
    return str(st.query_params.get("walk", ""))


def begin_walk(name: str) -> None:
    """From now on this table is walked, from the first place without a reading."""
    st.query_params["walk"] = name
    st.query_params.pop("at", None)
    st.session_state.pop("walk", None)


def end_walk() -> None:
    """Back to the survey as a whole."""
    for name in ("walk", "at"):
        st.query_params.pop(name, None)


@st.fragment
def walking(store: Store, key: str, who: str) -> None:
    """The screen of the place that is read next, in the table that the address names."""
    if not walked():
        st.rerun()
    try:
        walk = _walk(store, key)
    except FlatcheckError as error:
        tell(error)
        st.button(say("Back to the survey"), on_click=end_walk)
        return
    _screen(
        key="walking",
        data=_shown(walk, st.session_state.get("walk", {})),
        on_said_change=lambda: _hear(store, key, who),
    )


def _walk(store: Store, key: str) -> Walk:
    kept = store.head(key)
    survey = built(kept.files)
    table = table_in(survey, kept.files, walked())
    places = stops(table)
    cells = {f"{stop.row}.{stop.column}": k for k, stop in enumerate(places)}
    at = cells.get(st.query_params.get("at", ""), next_open(places, -1))
    return Walk(kept, survey, table, places, at)


def _shown(walk: Walk, state: dict[str, Any]) -> dict[str, Any]:
    """What the screen is told: the place, its keys, and what there is to say."""
    places, table, show = walk.places, walk.table, walk.survey.show
    left = sum(stop.open for stop in places)
    inches = table.unit == "in"
    shown: dict[str, Any] = {
        "session": st.session_state.setdefault("session", secrets.token_hex(8)),
        "ack": state.get("ack", ""),
        "status": state.get("status", ""),
        "error": state.get("error", ""),
        "doubt": state.get("doubt", ""),
        "base": walk.kept.last.number,
        "words": WORDS,
        "unit": table.unit,
        "fractions": (EIGHTHS if show.denominator == 8 else SIXTEENTHS) if inches else (),
        "digits": INCH_DIGITS if inches else DIGITS,
        "map": _map(walk),
        "place": walk.at is not None,
        "count": say("All {count} places have their entry.", count=len(places)),
        "offsets": [("", ""), ("", "")],
        "whole": "",
    }
    if walk.at is not None:
        stop = places[walk.at]
        going = say(
            "Place {number} of {count}, {left} to go",
            number=walk.at + 1,
            count=len(places),
            left=left,
        )
        shown |= {
            "row": stop.row,
            "column": stop.column,
            "count": say("{going}; written here: {text}", going=going, text=stop.text)
            if stop.text
            else going,
            "offsets": tape(walk.survey, stop),
            "whole": _whole(places, walk.at) if inches else "",
        }
    return shown


def _whole(places: Sequence[Stop], at: int) -> str:
    """The whole inches of the last reading on the way here."""
    texts = [stop.text for stop in places[:at] if stop.read] or [s.text for s in places if s.read]
    found = re.match(r"-?\d+(?=\D|$)", texts[-1]) if texts else None
    return found[0] if found else ""


def _map(walk: Walk) -> dict[str, Any]:
    """The places to scale, north at the top, in thousandths of the longer side."""
    rings = []
    if walk.survey.room:
        room = walk.survey.room
        rings = [room.outline.corners_mm, *(cutout.corners_mm for cutout in room.cutouts)]
    every = [*(stop.at for stop in walk.places), *(corner for ring in rings for corner in ring)]
    west, south = (min(place[k] for place in every) for k in (0, 1))
    east, north = (max(place[k] for place in every) for k in (0, 1))
    scale = 1000 / max(east - west, north - south, 1.0)

    def on(place: tuple[float, float]) -> tuple[int, int]:
        return round((place[0] - west) * scale), round((north - place[1]) * scale)

    states = [
        "at" if k == walk.at else "open" if stop.open else "read" if stop.read else "cannot"
        for k, stop in enumerate(walk.places)
    ]
    return {
        "size": on((east, south)),
        "dot": max(5, min(16, 300 // len(walk.places) ** 0.5 // 2)),
        "rings": [" ".join(f"{x},{y}" for x, y in map(on, ring)) for ring in rings],
        "places": [(*on(stop.at), state) for stop, state in zip(walk.places, states, strict=True)],
    }


def _hear(store: Store, key: str, who: str) -> None:
    """What the screen says: a reading, or a step along the way. Kept before anything is drawn."""
    said = st.session_state["walking"]["said"]
    state: dict[str, Any] = {"ack": said["id"]}
    try:
        _act(store, key, who, said, state)
    except FlatcheckError as error:
        state["error"] = str(error)
        if said.get("row"):
            st.query_params["at"] = f"{said['row']}.{said['column']}"
    st.session_state["walk"] = state


def _act(store: Store, key: str, who: str, said: dict[str, Any], state: dict[str, Any]) -> None:
    act, at = said["act"], (said.get("row"), said.get("column"))
    if act == "done":
        end_walk()
        st.session_state["step"] = "verdict"
        return
    walk = _walk(store, key)
    if act == "back" and walk.at is None:
        _go(walk.places, len(walk.places) - 1)
        return
    here = [k for k, stop in enumerate(walk.places) if (stop.row, stop.column) == at]
    if not here:
        raise SurveyError(
            say("this place is no longer in the table; somebody changed it meanwhile.")
        )
    number, stop = here[0], walk.places[here[0]]
    if act in ("back", "later"):
        # From the first place one goes back to the last, where the walk may have ended.
        _go(walk.places, (number + (1 if act == "later" else -1)) % len(walk.places))
        return
    if act in ("read", "skip"):
        text = CANNOT if act == "skip" else str(said["text"]).strip()
        if act == "read":
            parse_length(text, walk.table.unit)
        cells = written(walk.table.cells, stop.row, stop.column, text)
        base = int(said["base"])
        files = store.files(key, base) if base != walk.kept.last.number else walk.kept.files
        seen = cells_of(walk.table.name, files[walk.table.name])
        changed = csv_text(written(seen, stop.row, stop.column, text)).encode()
        try:
            kept = store.save(key, base, {**files, walk.table.name: changed}, who)
        except StaleError:
            raise StaleError(
                say(
                    "somebody wrote here meanwhile; your {reading!r} was not written over it.",
                    reading=text[:20],
                )
            ) from None
        state["status"] = (
            say("Kept, {number}: cannot be read", number=number + 1)
            if act == "skip"
            else say("Kept, {number}: {reading}", number=number + 1, reading=text)
        )
        if act == "read":
            table = replace(walk.table, cells=cells)
            found = doubt(built(kept.files), table, replace(stop, text=text))
            if found is not None:
                state["doubt"] = say(
                    "{doubt} Read it again?", doubt=doubt_words(found, table, walk.survey.show)
                )
                _go(walk.places, number)
                return
        walk = _walk(store, key)
    _go(walk.places, next_open(walk.places, number))


def _go(places: Sequence[Stop], to: int | None) -> None:
    """The place is in the address, so that a reload comes back to it."""
    if to is None:
        st.query_params.pop("at", None)
    else:
        st.query_params["at"] = f"{places[to].row}.{places[to].column}"
