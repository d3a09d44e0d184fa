"""A straightedge laid on the drawing of the floor, and the gaps read under it, kept as rows.

Its ends are chosen on the drawing, one after the other, or typed.
"""

from collections.abc import Mapping
from html import escape

import numpy as np
import streamlit as st

from flatcheck.amendment import Bar, bars_of, laid
from flatcheck.assess import Assessment
from flatcheck.errors import FlatcheckError
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.store import Kept, Store
from flatcheck.survey import Gap, Table
from flatcheck.tables import readings_of
from flatcheck.ui.drawing import Drawing, Line, Signs, Words, located
from flatcheck.ui.markup import chosen_station, tell, write
from flatcheck.ui.plan import FLOOR, add_drains, add_ground, add_room, frame
from flatcheck.ui.svg import shown
from flatcheck.units import format_offset, parse_length
from flatcheck.verdict import place_of

ENDS = {
    "x1": say("First end, x"),
    "y1": say("First end, y"),
    "x2": say("Second end, x"),
    "y2": say("Second end, y"),
}
"""What the fields of the ends are called."""

GAPS = {
    (f"at {number}", f"gap {number}"): (
        say("From first end, {number}", number=number),
        say("Gap there, {number}", number=number),
    )
    for number in (1, 2, 3, 4)
}
"""And those of the gaps that can be said of a bar at once."""

MORE = {
    "block": say("Blocks under its ends, if any"),
    "uncertainty": say("How far a gap may be off"),
}

UNITS = {
    "mm": say("millimeters"),
    "cm": say("centimeters"),
    "m": say("meters"),
    "in": say("inches"),
    "ft": say("feet"),
}

MOST_DOTS = 1500
"""On a floor read at more places than this the ends of a bar are typed, not chosen."""


def straightedge(store: Store, key: str, who: str, assessment: Assessment | None) -> None:
    """One bar, its ends and its gaps, to be kept; with the drawing of a floor that can be judged.

    Raises StoreError.
    """
    write(f"<h3>{say('A straightedge laid on the floor')}</h3>")
    if not st.toggle(say("Write down a bar and the gaps under it"), key=f"lay {key}"):
        return
    kept = store.head(key)
    try:
        _, table = bars_of(kept.files)
    except FlatcheckError as error:
        tell(error)
        return
    if assessment and len(assessment.surface.xy_mm) <= MOST_DOTS:
        _choose(key, assessment, table)
    with st.form(f"bar form {key}", border=False):
        ends = list(ENDS.items())
        _fields(key, dict(ends[:2]))
        _fields(key, dict(ends[2:]))
        for names, labels in GAPS.items():
            _fields(key, dict(zip(names, labels, strict=True)))
        made = table.name not in kept.files
        _fields(key, MORE if made else {"block": MORE["block"]})
        units = say(
            "Without a unit, gaps and blocks are {unit}, and places and how far along the bar "
            "{offset_unit}.",
            unit=UNITS[table.unit],
            offset_unit=UNITS[table.offset_unit],
        )
        write(f"<p class=fine>{units}</p>")
        st.form_submit_button(
            say("Keep this bar"),
            on_click=_keep,
            args=(store, kept, who),
            type="primary",
            width="stretch",
        )
    said: FlatcheckError | str = st.session_state.pop(f"bar said {key}", "")
    if isinstance(said, FlatcheckError):
        tell(said)
    elif said:
        write(f"<p role=status>{escape(said)}</p>")


def _slot(key: str, name: str) -> str:
    """What a field is called in the session."""
    return f"bar {key} {name}"


def _fields(key: str, labels: Mapping[str, str]) -> None:
    """Fields beside each other, by their names."""
    row = st.container(horizontal=True)
    for name, label in labels.items():
        row.text_input(label, key=_slot(key, name), max_chars=40, width=165)


def _said(key: str, name: str) -> str:
    return str(st.session_state.get(_slot(key, name), "")).strip()


def _choose(key: str, assessment: Assessment, table: Table) -> None:
    """The drawing; a place that is chosen becomes the first end, the next one the second."""
    chosen = chosen_station(_drawing(key, assessment, table), "bar", key)
    how = say("Choose the first end on the drawing, then the second; or type both.")
    write(f"<p class=fine>{how}</p>")
    before = st.session_state.get(f"bar chosen {key}")
    st.session_state[f"bar chosen {key}"] = chosen
    if chosen is None or chosen == before:
        return
    place = place_of(assessment.surface.xy_mm[chosen])
    texts = [format_offset(mm, assessment.survey.show) for mm in place]
    second = _said(key, "x1") and not _said(key, "x2")
    asked = texts if second else [*texts, "", ""]
    for name, text in zip(list(ENDS)[-len(asked) :], asked, strict=True):
        st.session_state[_slot(key, name)] = text
    st.rerun()


def _drawing(key: str, assessment: Assessment, table: Table) -> Drawing:
    """The room to scale, its readings as places to choose, bars laid before, and this one."""
    survey, floor = assessment.survey, assessment.surface
    room, style = floor.room, survey.show
    drawing = Drawing(say("The floor with its readings, to lay a bar on"))
    add_ground(drawing, room, FLOOR)
    add_room(drawing, room)
    add_drains(drawing, survey.drains)
    gaps = [seen for seen in readings_of(survey) if isinstance(seen, Gap)]
    for ends in dict.fromkeys((gap.start, gap.end) for gap in gaps):
        drawing.add(Line("bar laid before", np.array(ends), "#8c959f", 4))
    drawing.add(
        Signs(
            "places",
            floor.xy_mm,
            size_px=7,
            opacity=0.55,
            told=[shown(where(room, place_of(xy), style)) for xy in floor.xy_mm],
            numbers=range(len(floor.xy_mm)),
        )
    )
    ends_said = _ends(key, table)
    at = located(ends_said)
    drawing.add(Line("bar", at, width_px=5), Signs("ends of bar", at, "square", 11))
    for number, end in enumerate(ends_said, 1):
        words = f"<b>{number}</b>"
        drawing.write(Words("ends of bar", end, words, (0, 1), (0, 7), size_px=16, halo=True))
    frame(drawing, room, style)
    return drawing


def _ends(key: str, table: Table) -> list[tuple[float, float]]:
    """The ends of the bar that are said so far and can be read [mm]."""
    found = []
    for x, y in (("x1", "y1"), ("x2", "y2")):
        try:
            place = [parse_length(_said(key, name), table.offset_unit) for name in (x, y)]
        except FlatcheckError:
            continue
        found.append((place[0], place[1]))
    return found


def _keep(store: Store, kept: Kept, who: str) -> None:
    """The bar as it was typed is kept before anything is drawn; what cannot be stays typed."""
    key = kept.key
    x1, y1, x2, y2 = (_said(key, name) for name in ENDS)
    pairs = ((_said(key, at), _said(key, gap)) for at, gap in GAPS)
    gaps = tuple(pair for pair in pairs if any(pair))
    what = several(
        len(gaps),
        "bar laid from {x1}, {y1} to {x2}, {y2} with {number} gap",
        "bar laid from {x1}, {y1} to {x2}, {y2} with {number} gaps",
        x1=x1,
        y1=y1,
        x2=x2,
        y2=y2,
    )
    try:
        bar = Bar((x1, y1), (x2, y2), gaps, _said(key, "block"))
        after = laid(kept.files, bar, _said(key, "uncertainty"))
        store.save(key, kept.last.number, after, who, what)
    except FlatcheckError as error:
        st.session_state[f"bar said {key}"] = error
        return
    st.session_state[f"bar said {key}"] = say("Kept: {what}.", what=what)
    for name in (*ENDS, *(name for pair in GAPS for name in pair), "block"):
        st.session_state[_slot(key, name)] = ""
