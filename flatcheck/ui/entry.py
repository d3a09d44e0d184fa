"""What the person enters: readings, what must be known of them, the tile and the standard."""

import tomllib
from pathlib import Path
from typing import Any

import streamlit as st

import flatcheck
from flatcheck.assess import reads_floor
from flatcheck.judgment import NO_FLATNESS
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import bare, edited, read_folder
from flatcheck.report.words import disputed_words, sure_words
from flatcheck.rules import Grade, grade_of, standards
from flatcheck.survey import DECISIONS, SENSES, Survey
from flatcheck.ui.markup import paragraphs, write
from flatcheck.units import LENGTH_UNITS, STYLES, style_name

SAMPLES = Path(flatcheck.__file__).parents[1] / "sample_surveys"
"""In a checkout beside the package; an installed one comes without."""

SOURCES = {"sample": "Sample survey", "file": "File", "pasted": "Pasted cells"}
# The kinds of table that say all there is to say without a survey document beside them.
KINDS = {"grid": "Grid: offsets on top and at the left", "points": "List: x, y, reading"}
SENSE = {"rod": "Rod or staff: larger is lower", "elevation": "Elevation: larger is higher"}
DECIDE = dict(zip(DECISIONS, ("Allow for reading error", "Take as read"), strict=True))
SHOW = {name: name.replace("in/", "in, to 1/").replace("mm/", "mm, to ") for name in STYLES}
NEEDED = {
    "sense": "what a reading means",
    "readings": "the unit of readings",
    "offsets": "the unit of offsets",
    "uncertainty": "how far one reading may be off",
}


def entered() -> tuple[str, Survey] | None:
    """Where the survey that was chosen or entered comes from, and it; None until all is said.

    Raises FlatcheckError for what cannot be used.
    """
    samples = sorted(path.parent for path in SAMPLES.glob("*/survey.toml"))
    sources = [source for source in SOURCES if samples or source != "sample"]
    source = st.radio("Readings from", sources, format_func=SOURCES.__getitem__, horizontal=True)
    if source == "sample":
        read = {folder.name: read_folder(folder) for folder in samples}
        # The page draws floors; steps across joints alone, or bars laid by lot, make none.
        surveys = {name: survey for name, survey in read.items() if reads_floor(survey)}
        name = st.selectbox("Survey", surveys, format_func=lambda name: surveys[name].title)
        _keep_others(name)
        return name, edited(surveys[name], _wanted(name, surveys[name]))
    _keep_others(source)
    table = _table(source)
    wanted = _wanted(source, None)
    if table is None:
        return None
    name, data, facts = table
    return source, bare(name, cells_of(name, data), sections=wanted, **facts)


def _keep_others(shown: str) -> None:
    """What was entered for another survey than the one shown is there again on the way back."""
    for key in map(str, list(st.session_state)):
        if "/" in key and not key.startswith(f"{shown}/"):
            st.session_state[key] = st.session_state[key]


def _table(source: str) -> tuple[str, bytes, dict[str, str]] | None:
    """A bare table with what must be known of it; None, and says what is missing, until then."""
    units = tuple(LENGTH_UNITS)
    name, data = "pasted cells", b""
    facts: dict[str, Any] = {}
    with st.form(f"{source} form", border=False):
        if source == "file":
            file = st.file_uploader("CSV, TSV or XLSX file", ["csv", "tsv", "txt", "xlsx"])
            if file:
                name, data = file.name, file.getvalue()
        else:
            label = "Cells, copied from a spreadsheet"
            data = st.text_area(label, height=160, key=f"{source}/cells").encode()
        facts["kind"] = st.radio(
            "How it is laid out",
            list(KINDS),
            0,
            KINDS.__getitem__,
            f"{source}/kind",
        )
        facts["sense"] = st.radio(
            "What a reading is", SENSES, None, SENSE.__getitem__, f"{source}/sense"
        )
        row = st.container(horizontal=True)
        facts["readings"] = row.selectbox("Readings in", units, None, key=f"{source}/readings")
        facts["offsets"] = row.selectbox("Offsets in", units, None, key=f"{source}/offsets")
        facts["uncertainty"] = st.text_input(
            "How far a reading may be off",
            key=f"{source}/uncertainty",
            placeholder="1/32 in, or 0.5 mm; two in three are nearer",
        )
        st.form_submit_button("Check this floor", type="primary", width="stretch")
    missing = [] if data.strip() else ["the readings"]
    missing += [words for fact, words in NEEDED.items() if not facts[fact]]
    if missing:
        st.info(f"Still to be said: {', '.join(missing)}.")
        return None
    return name, data, facts


def _wanted(source: str, survey: Survey | None) -> dict[str, Any]:
    """The sections of a survey document that the person may change; they start as the survey's."""
    own = tomllib.loads(survey.document).get("tile", {}) if survey else {}
    row = st.container(horizontal=True)
    tile = {
        name: row.text_input(
            f"Tile {name}", str(own.get(name, "")), key=f"{source}/{name}", placeholder=example
        )
        for name, example in (("length", "24 in"), ("width", "12 in"))
    }
    rule = _flatness(source, survey)
    falls = _falls(source, survey)
    decision = st.radio(
        "Near a limit",
        DECISIONS,
        DECISIONS.index(survey.decision) if survey else 0,
        DECIDE.__getitem__,
        f"{source}/decision",
        horizontal=True,
    )
    shown = tuple(SHOW) if survey else ("", *SHOW)
    show = st.selectbox(
        "Say lengths in",
        shown,
        shown.index(style_name(survey.show)) if survey else 0,
        lambda name: SHOW.get(name, "As the readings"),
        f"{source}/show",
    )
    sections: dict[str, Any] = {"standard": {"rule": rule, "falls": falls, "decision": decision}}
    if show:
        sections["units"] = {"show": show}
    if any(edge.strip() for edge in tile.values()):
        sections["tile"] = tile
    elif survey:
        sections["tile"] = None
    return sections


def _flatness(source: str, survey: Survey | None) -> str:
    """The standard for flatness with its grade, or that there is none."""
    own, called = survey.standard if survey else "us-tile", ""
    if own != NO_FLATNESS:
        standard, grade = grade_of(own)
        own, called = standard.id, grade.id
    about = survey.room.about if survey and survey.room else "floor"
    fits = {
        s.id: tuple(grade for grade in s.grades if grade.on in (about, "either"))
        for s in standards().values()
        if s.about == "flatness"
    }
    # What the survey itself names is offered, whatever it is.
    known = {s.id: s for s in standards().values() if fits.get(s.id) or s.id == own}
    titles = {name: f"{s.title}, {s.region}" for name, s in known.items()}
    titles[NO_FLATNESS] = "None: falls and water alone"
    chosen = st.selectbox(
        "Standard for flatness",
        list(titles),
        list(titles).index(own),
        titles.__getitem__,
        f"{source}/standard",
    )
    if chosen == NO_FLATNESS:
        return NO_FLATNESS
    offered = {grade.id: grade for grade in fits.get(chosen) or known[chosen].grades}
    if chosen == own and called not in offered:
        offered[called] = grade_of(f"{own}:{called}")[1]
    grades = {name: grade.title for name, grade in offered.items()}
    grade_id = st.selectbox(
        "Class, row or reading",
        list(grades),
        list(grades).index(called) if chosen == own else 0,
        grades.__getitem__,
        f"{source}/{chosen}/grade",
    )
    _doubts(offered[grade_id])
    return f"{chosen}:{grade_id}"


def _doubts(grade: Grade) -> None:
    """Under a choice, where sources disagree about it and how sure we are of its numbers."""
    said = [disputed_words(grade)] if grade.disputed else []
    said += [words for rule in grade.rules for words in sure_words(rule.citation)]
    if said:
        write(paragraphs(dict.fromkeys(said), "fine"))


def _falls(source: str, survey: Survey | None) -> list[str]:
    """The standards for falls and water, each with its grade; there may be none."""
    asked = [grade_of(name) for name in (survey.falls if survey else ())]
    own = [f"{standard.id}:{grade.id}" for standard, grade in asked]
    offered = [(s, g) for s in standards().values() if s.about == "falls" for g in s.grades]
    titles = {f"{s.id}:{g.id}": f"{s.title}, {s.region}: {g.title}" for s, g in (*offered, *asked)}
    chosen: list[str] = st.multiselect(
        "Standards for falls and water",
        list(titles),
        own,
        titles.__getitem__,
        key=f"{source}/falls",
        placeholder="None",
    )
    for name in chosen:
        _doubts(grade_of(name)[1])
    return chosen
