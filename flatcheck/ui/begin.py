"""A new survey: the room, the tile and the instrument, and an empty grid to walk."""

from typing import Any

import streamlit as st
import tomli_w

from flatcheck.document import DOCUMENT, build
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.language import say
from flatcheck.layout import layout
from flatcheck.planning import SurveyPlan, plan
from flatcheck.readers.cells import cells_of
from flatcheck.report.sheet import sheet_csv
from flatcheck.rules import grade_of, rules_for
from flatcheck.survey import SENSES
from flatcheck.ui.markup import tell
from flatcheck.units import LENGTH_UNITS, parse_length

TABLE = "readings.csv"

SENSE = {
    "rod": say("Rod or staff: larger is lower"),
    "elevation": say("Elevation: larger is higher"),
}

UNITS = {"in": say("Inches and fractions"), "mm": say("Millimeters")}

EDGES = {"length": say("Tile length"), "width": say("Tile width")}
"""What the edges of the tile are called."""

TILE = {"length": "24 in", "width": "12 in"}
"""The example beside each of them."""

STANDARD = {"in": "us-tile:bar", "mm": "bs-5385-3:substrate"}
"""What a floor is held to until the person says otherwise, by the unit that is read."""

OFFSETS = {"in": "ft", "mm": "mm"}


def begun() -> dict[str, bytes] | None:
    """The files of a survey without readings yet, once all is said; None until then."""
    with st.form("new survey", border=False):
        title = st.text_input(say("What floor is it"), key="new/title", max_chars=100)
        row = st.container(horizontal=True)
        sides = [
            row.text_input(label, key=f"new/{key}", placeholder=example, width=150)
            for key, label, example in (
                ("Room, west to east", say("Room, west to east"), "14 ft"),
                ("South to north", say("South to north"), "10 ft"),
            )
        ]
        unit = st.radio(say("The rod is marked in"), list(UNITS), 0, UNITS.__getitem__, "new/unit")
        sense = st.radio(say("What a reading is"), SENSES, None, SENSE.__getitem__, "new/sense")
        uncertainty = st.text_input(
            say("How far a reading may be off"),
            key="new/uncertainty",
            placeholder=say("1/32 in, or 0.5 mm"),
        )
        row = st.container(horizontal=True)
        tile = [
            row.text_input(label, key=f"new/{name}", placeholder=TILE[name], width=150)
            for name, label in EDGES.items()
        ]
        pitch = st.text_input(
            say("A reading every"), key="new/pitch", placeholder=say("as the longest rule needs")
        )
        if not st.form_submit_button(say("Begin this survey"), type="primary", width="stretch"):
            return None
    asked = {
        say("the room"): all(sides),
        say("what a reading is"): sense,
        say("the tile"): all(tile),
        say("how far a reading may be off"): uncertainty,
    }
    if missing := [words for words, said in asked.items() if not said]:
        st.info(say("Still to be said: {missing}.", missing=", ".join(missing)))
        return None
    try:
        return blank(title, sides, unit, str(sense), uncertainty, tile, pitch)
    except FlatcheckError as error:
        tell(error)
        return None


def blank(
    title: str,
    sides: list[str],
    unit: str,
    sense: str,
    uncertainty: str,
    tile: list[str],
    pitch: str,
) -> dict[str, bytes]:
    """A survey of a rectangular room, its grid without readings: lengths as a person writes them.

    The grid is as close as the rule for the tile needs that asks for the fewest readings, as on a
    reading sheet, or `pitch` where that is said. Raises FlatcheckError for what cannot be used.
    """
    east, north = (said.strip() for said in sides)
    offsets = OFFSETS[unit]
    head: dict[str, Any] = {
        "flatcheck": 1,
        "survey": {"title": title.strip() or say("Floor")},
        "units": {"readings": unit, "offsets": offsets},
        "instrument": {"uncertainty": uncertainty},
        "room": {"outline": [["0", "0"], [east, "0"], [east, north], ["0", north]]},
        "tile": dict(zip(("length", "width"), tile, strict=True)),
        "standard": {"rule": STANDARD[unit]},
    }
    for side in sides:
        if not parse_length(side, offsets) > 0:
            raise SurveyError(
                say("room {side!r}: both sides were expected to be larger than zero.", side=side)
            )
    survey = build(tomli_w.dumps(head), {})
    assert survey.room is not None  # it was just written
    mark_mm = LENGTH_UNITS["in"] if unit == "in" else 10.0
    head["table"] = [{"file": TABLE, "kind": "grid", "sense": sense}]
    document = tomli_w.dumps(head)
    u_mm = build(document, {TABLE: (("",),)}).tables[0].u_mm
    if pitch.strip():
        step = parse_length(pitch, offsets)
        if not step > 0:
            raise SurveyError(
                say("a reading every {pitch!r} was expected to be more than nothing.", pitch=pitch)
            )
        ahead = SurveyPlan(survey.room, u_mm, (), layout(survey.room, step, mark_mm))
    else:
        rules = rules_for(grade_of(survey.standard)[1], survey.tile)
        ahead = plan(survey.room, rules, u_mm, mark_mm)
        ahead = plan(survey.room, [ahead.needs[0].rule], u_mm, mark_mm)
    cells = sheet_csv(ahead, survey.show).encode()
    build(document, {TABLE: cells_of(TABLE, cells)})
    return {DOCUMENT: document.encode(), TABLE: cells}
