"""What the person enters: readings, what must be known of them, the tile and the standard."""

import tomllib
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

import streamlit as st

import flatcheck
from flatcheck.assess import reads_floor
from flatcheck.document import DOCUMENT
from flatcheck.errors import StoreError
from flatcheck.judgment import NO_FLATNESS
from flatcheck.language import say
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import bare, edited, folder_files, read_folder
from flatcheck.report.words import disputed_words, sure_words
from flatcheck.rules import Grade, grade_of, standards
from flatcheck.store import Listed, Store
from flatcheck.survey import DECISIONS, SENSES, Survey
from flatcheck.ui.begin import EDGES, SENSE, TILE, begun
from flatcheck.ui.kept import alike, keep, kept_survey, opened_key, opened_store
from flatcheck.ui.markup import paragraphs, tell, write
from flatcheck.units import LENGTH_UNITS, STYLES, style_name

SAMPLES = Path(flatcheck.__file__).parents[1] / "sample_surveys"
"""In a checkout beside the package; an installed one comes without."""

SOURCES = {
    "kept": say("Your surveys"),
    "sample": say("Sample survey"),
    "new": say("New survey"),
    "file": say("File"),
    "pasted": say("Pasted cells"),
}
# The kinds of table that say all there is to say without a survey document beside them.
KINDS = {"grid": say("Grid: offsets on top and at the left"), "points": say("List: x, y, reading")}
DECIDE = dict(zip(DECISIONS, (say("Allow for reading error"), say("Take as read")), strict=True))


def _style_words(name: str) -> str:
    unit, _, step = name.partition("/")
    step = f"1/{step}" if unit == "in" else step
    return say("{unit}, to {step}", unit=unit, step=step) if "/" in name else unit


SHOW = {name: _style_words(name) for name in STYLES}
NEEDED = {
    "sense": say("what a reading means"),
    "readings": say("the unit of readings"),
    "offsets": say("the unit of offsets"),
    "uncertainty": say("how far one reading may be off"),
}


@dataclass(frozen=True)
class Entered:
    """A survey that was chosen or entered: a name for where it is from, and the survey.

    `files` are those of its folder where it is not among the person's own yet, and `came` says in
    words where from. `sample` is whether it is one of the samples.
    """

    source: str
    survey: Survey
    files: dict[str, bytes] | None = None
    came: str = ""
    sample: bool = False


FIRST = "millbrook-plywood"
"""The sample that is seen first: a floor that is out, at a place that shows."""


@cache
def _samples(shelf: Path) -> dict[str, Survey]:
    """The samples that the page can draw, floors and joints; bars laid by lot are none."""
    return {
        path.parent.name: found
        for path in sorted(shelf.glob("*/*.toml"))
        # Asked at once of each, while its tables are remembered as read.
        if reads_floor(found := read_folder(path.parent)) or found.lippage
    }


def entered(units: Any) -> Entered | None:
    """What was chosen or entered; None until all is said. `units` is where units are chosen.

    Raises FlatcheckError for what cannot be used.
    """
    store, listed = _shelf()
    samples = _samples(SAMPLES)
    wanted = partial(_wanted, units)
    offered = {"kept": listed or opened_key(), "sample": samples, "new": store}
    sources = [source for source in SOURCES if offered.get(source, True)]
    source = st.radio(
        say("Readings from"),
        sources,
        format_func=SOURCES.__getitem__,
        key="source",
        horizontal=True,
    )
    if source == "kept" and store:
        found = kept_survey(store, listed, wanted)
        return Entered(*found) if found else None
    if source == "new" and store:
        if files := begun():
            keep(store, files, say("begun"), "readings")
        return None
    if source == "sample":
        names = list(samples)
        first = names.index(FIRST) if FIRST in names else 0
        name = st.selectbox(say("Survey"), names, first, lambda name: samples[name].title)
        _keep_others(name)
        survey = edited(samples[name], wanted(name, samples[name]))
        files = folder_files(SAMPLES / name)
        if not alike(survey, samples[name]):
            files[DOCUMENT] = survey.document.encode()
        came = say("a copy of the sample {title}", title=samples[name].title)
        return Entered(name, survey, files, came, sample=True)
    _keep_others(source)
    table = _table(source)
    sections = wanted(source, None)
    if table is None:
        return None
    name, data, facts = table
    survey = bare(name, cells_of(name, data), sections=sections, **facts)
    files = {DOCUMENT: survey.document.encode(), survey.tables[0].name: data}
    return Entered(source, survey, files, say("brought in as {file}", file=name))


def make_mine(found: Entered) -> None:
    """The one click that makes a survey the person's own: kept, with all that is done to it."""
    store = _shelf()[0] if found.files else None
    if found.files and store:
        label = say("Make it mine") if found.sample else say("Keep this survey")
        if st.button(label, type="primary"):
            keep(store, found.files, found.came)


def _shelf() -> tuple[Store | None, tuple[Listed, ...]]:
    """The store and what it holds; without it, which is told, the page can still judge."""
    try:
        store = opened_store()
        return store, store.surveys()
    except StoreError as error:
        tell(error)
        return None, ()


def _keep_others(shown: str) -> None:
    """What was entered for another survey than the one shown is there again on the way back."""
    for key in map(str, list(st.session_state)):
        if "/" in key and not key.startswith(f"{shown}/"):
            st.session_state[key] = st.session_state[key]


def _table(source: str) -> tuple[str, bytes, dict[str, str]] | None:
    """A bare table with what must be known of it; None, and says what is missing, until then."""
    units = tuple(LENGTH_UNITS)
    name, data = say("pasted cells"), b""
    facts: dict[str, Any] = {}
    with st.form(f"{source} form", border=False):
        if source == "file":
            file = st.file_uploader(say("CSV, TSV or XLSX file"), ["csv", "tsv", "txt", "xlsx"])
            if file:
                name, data = file.name, file.getvalue()
        else:
            label = say("Cells, copied from a spreadsheet")
            data = st.text_area(label, height=160, key=f"{source}/cells").encode()
        facts["kind"] = st.radio(
            say("How it is laid out"),
            list(KINDS),
            0,
            KINDS.__getitem__,
            f"{source}/kind",
        )
        facts["sense"] = st.radio(
            say("What a reading is"), SENSES, None, SENSE.__getitem__, f"{source}/sense"
        )
        row = st.container(horizontal=True)
        facts["readings"] = row.selectbox(say("Readings in"), units, None, key=f"{source}/readings")
        facts["offsets"] = row.selectbox(say("Offsets in"), units, None, key=f"{source}/offsets")
        facts["uncertainty"] = st.text_input(
            say("How far a reading may be off"),
            key=f"{source}/uncertainty",
            placeholder=say("1/32 in, or 0.5 mm; two in three are nearer"),
        )
        st.form_submit_button(say("Check this floor"), type="primary", width="stretch")
    missing = [] if data.strip() else [say("the readings")]
    missing += [words for fact, words in NEEDED.items() if not facts[fact]]
    if missing:
        st.info(say("Still to be said: {missing}.", missing=", ".join(missing)))
        return None
    return name, data, facts


def _wanted(units: Any, source: str, survey: Survey | None) -> dict[str, Any]:
    """The sections of a survey document that the person may change; they start as the survey's."""
    own = tomllib.loads(survey.document).get("tile", {}) if survey else {}
    row = st.container(horizontal=True)
    tile = {
        name: row.text_input(
            label, str(own.get(name, "")), key=f"{source}/{name}", placeholder=TILE[name]
        )
        for name, label in EDGES.items()
    }
    rule = _flatness(source, survey)
    falls = _falls(source, survey)
    decision = st.radio(
        say("Near a limit"),
        DECISIONS,
        DECISIONS.index(survey.decision) if survey else 0,
        DECIDE.__getitem__,
        f"{source}/decision",
        horizontal=True,
    )
    shown = tuple(SHOW) if survey else ("", *SHOW)
    show = units.selectbox(
        say("Say lengths in"),
        shown,
        shown.index(style_name(survey.show)) if survey else 0,
        lambda name: SHOW.get(name, say("As the readings")),
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
    titles[NO_FLATNESS] = say("None: falls and water alone")
    chosen = st.selectbox(
        say("Standard for flatness"),
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
        say("Class, row or reading"),
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
        say("Standards for falls and water"),
        list(titles),
        own,
        titles.__getitem__,
        key=f"{source}/falls",
        placeholder=say("None"),
    )
    for name in chosen:
        _doubts(grade_of(name)[1])
    return chosen
