"""The surveys on disk: which one is open, what was done to it, and the way in and out as a file.

The key of the open survey is in the address: after a reload, or on another machine, the same
address opens the same survey.
"""

import os
import re
from collections.abc import Callable
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError, StoreError
from flatcheck.language import say
from flatcheck.readers.bundle import packed, unpacked
from flatcheck.readers.cells import csv_text
from flatcheck.readers.folder import edited, survey_of
from flatcheck.store import Entry, Kept, Listed, Store, title_of, usual_folder
from flatcheck.survey import Survey
from flatcheck.ui.bar import straightedge
from flatcheck.ui.markup import offer, tell, write
from flatcheck.ui.serve import FOLDER
from flatcheck.ui.table import readings_table
from flatcheck.ui.walking import begin_walk, end_walk, walkable, walking

SHOWN = 100
"""Entries of a history that are listed, the latest first."""

Wanted = Callable[[str, Survey | None], dict[str, Any]]


@st.cache_resource
def _store(folder: str) -> Store:
    return Store(Path(folder))


def opened_store() -> Store:
    """The store, opened once for all who look at the page. Raises StoreError."""
    return _store(os.environ.get(FOLDER) or str(usual_folder()))


def opened_key() -> str:
    """The key in the address, empty where there is none."""
    return str(st.query_params.get("survey", ""))


def who() -> str:
    """Who is changing the survey, as that person says; it is in the address, too."""
    return str(st.query_params.get("by", ""))


def keep(store: Store, files: dict[str, bytes], what: str, step: str = "") -> None:
    """Keep a new survey and open it, at a step of the job or the one that is open.

    Raises StoreError.
    """
    key = store.create(files, who(), what)
    end_walk()
    st.query_params["survey"] = key
    # What has been drawn cannot be set any more, so that waits for the next run.
    st.session_state["next"] = {"source": "kept", "kept": key, **({"step": step} if step else {})}
    st.rerun()


def settle() -> None:
    """Sets what the last run asked for, before any of it is drawn."""
    for name, value in st.session_state.pop("next", {}).items():
        st.session_state[name] = value


def alike(one: Survey, other: Survey) -> bool:
    """Whether two surveys say the same, however their documents are written."""
    return replace(one, document="") == replace(other, document="")


def kept_survey(
    store: Store, listed: tuple[Listed, ...], wanted: Wanted
) -> tuple[str, Survey] | None:
    """The survey that is open, with the tools around it; what `wanted` asks is kept when changed.

    Returns a name for what is shown of it and the survey. Raises FlatcheckError for a survey that
    cannot be judged yet.
    """
    key = _chosen(listed)
    if not key:
        return None
    kept = store.head(key)
    notice = st.session_state.pop("notice", "")
    seen = st.session_state.setdefault("documents", {}).get(key)
    if seen and seen[0] != kept.files[DOCUMENT]:
        # Changed elsewhere, or undone: what the fields hold is no longer so.
        notice = notice or _told(kept.last)
        seen = (kept.files[DOCUMENT], seen[1] + 1)
    seen = seen or (kept.files[DOCUMENT], 0)
    st.session_state["documents"][key] = seen
    # Its room is always there: what follows keeps its place on the page, and stays unfolded.
    with st.container():
        if notice:
            write(f"<p class=warn role=status>{escape(notice)}</p>")
    tools = st.container()
    try:
        survey = survey_of(kept.files)
        source = f"{key}.{seen[1]}"
        asked = wanted(source, survey)
        if not alike(edited(survey, asked), survey):
            # Only what differs is written: a document keeps what it leaves unsaid.
            changed = edited(
                survey,
                {n: of for n, of in asked.items() if not alike(edited(survey, {n: of}), survey)},
            )
            files = {**kept.files, DOCUMENT: changed.document.encode()}
            kept = store.save(key, kept.last.number, files, who())
            st.session_state["documents"][key] = (kept.files[DOCUMENT], seen[1])
            survey = changed
    finally:
        # Above the fields, but drawn once what they change is kept: that can be undone, too.
        with tools:
            _tools(store, kept)
    return source, survey


def change(source: str, act: Callable[[Survey], Survey], what: str) -> None:
    """Keep what `act` makes of the open survey, and draw the page anew.

    `source` names it as `kept_survey` does. Raises FlatcheckError as `act` and the store do.
    """
    key, _, turn = source.rpartition(".")
    store = opened_store()
    kept = store.head(key)
    survey = survey_of(kept.files)
    changed = act(survey)
    files = {**kept.files, DOCUMENT: changed.document.encode()}
    files |= {t.name: csv_text(t.cells).encode() for t in changed.tables if t not in survey.tables}
    kept = store.save(key, kept.last.number, files, who(), what)
    st.session_state["documents"][key] = (kept.files[DOCUMENT], int(turn))
    st.rerun()


def mine(source: str) -> bool:
    """Whether what is shown is a kept survey, which may be changed."""
    return bool(opened_key()) and source.rpartition(".")[0] == opened_key()


def walk_alone() -> None:
    """The table that the address names is walked, with nothing else on the screen."""
    try:
        walking(opened_store(), opened_key(), who())
    except StoreError as error:
        tell(error)


def by_hand(assessment: Assessment | None) -> None:
    """The readings of the survey that is open, to be changed; nothing where none of one's own is.

    A survey that cannot be judged as it is can be mended here: it comes without an assessment.
    """
    if st.session_state.get("source") != "kept" or not opened_key():
        return
    try:
        readings_table(opened_store(), opened_key(), who())
        straightedge(opened_store(), opened_key(), who(), assessment)
    except StoreError as error:
        tell(error)


def _chosen(listed: tuple[Listed, ...]) -> str:
    """The key of the survey that is open: the address says it, and the list changes the address."""
    labels = _labels(listed)
    key = opened_key()
    if key and key not in labels:
        tell(StoreError(say("no survey is kept here under the key {key!r}.", key=key[:40])))
    if not labels:
        return ""
    if key not in labels:
        key = str(st.session_state.get("kept"))
        key = key if key in labels else next(iter(labels))
        end_walk()
        st.query_params["survey"] = key

    def choose() -> None:
        chosen = st.session_state["kept"]
        if chosen in labels:
            end_walk()
            st.query_params["survey"] = chosen

    # The browser remembers a label, not a key, and labels change with every change of a survey.
    st.session_state["kept"] = key
    st.selectbox(
        say("Survey"), list(labels), format_func=labels.__getitem__, key="kept", on_change=choose
    )
    return key


def _labels(listed: tuple[Listed, ...]) -> dict[str, str]:
    """What the surveys are called in the list, by key: no two alike, now or a minute ago."""
    titles = [item.title for item in listed]
    return {
        item.key: say("{title}, {time:%Y-%m-%d %H:%M}", title=item.title, time=item.at.astimezone())
        + (f", {item.key[:4]}" if titles.count(item.title) > 1 else "")
        for item in listed
    }


def _tools(store: Store, kept: Kept) -> None:
    """Walk, undo, redo, take away, bring in, and what was done."""
    try:
        tables = walkable(kept)
    except FlatcheckError:
        tables = []  # told when the survey is read
    for name in tables:
        label = (
            say("Walk the floor")
            if len(tables) == 1
            else say("Walk the floor: {table}", table=name)
        )
        st.button(label, on_click=begin_walk, args=(name,), type="primary", width="stretch")
    row = st.container(horizontal=True)
    for label, act, there in (
        (say("Undo"), store.undo, kept.undo),
        (say("Redo"), store.redo, kept.redo),
    ):
        row.button(
            label,
            on_click=_move,
            args=(act, kept.key, kept.last.number),
            disabled=not there,
            width="stretch",
        )
    title = (
        re.sub(r"[^A-Za-z0-9]+", "-", title_of(kept.files[DOCUMENT])).strip("-").lower() or "survey"
    )
    offer(row, say("Take away as ZIP"), lambda: packed(kept.files), f"{title}.zip")
    with st.expander(say("What was done, and by whom"), key=f"history {kept.key}"):
        name = st.text_input(say("Your name, for what you change"), who(), key="by", max_chars=60)
        if name.strip() != who():
            st.query_params["by"] = name.strip()
        _history(store.history(kept.key))
    with (
        st.expander(say("Bring in a survey that was taken away"), key="bring in"),
        st.form("bring in form", border=False),
    ):
        file = st.file_uploader(say("Survey folder as ZIP"), ["zip"])
        if st.form_submit_button(say("Bring it in"), width="stretch") and file:
            try:
                files = unpacked(file.name, file.getvalue())
                survey_of(files)
            except FlatcheckError as error:
                tell(error)
            else:
                keep(store, files, say("brought in from {file}", file=file.name), "verdict")


def _move(act: Callable[[str, int, str], Kept], key: str, base: int) -> None:
    try:
        kept = act(key, base, who())
        st.session_state["notice"] = _told(kept.last)
    except StoreError as error:
        st.session_state["notice"] = str(error)


def _told(entry: Entry) -> str:
    time, what = entry.at.astimezone(), entry.what
    if not entry.who:
        return say("Changed at {time:%H:%M}: {what}.", time=time, what=what)
    return say("Changed by {who} at {time:%H:%M}: {what}.", who=entry.who, time=time, what=what)


def _history(log: tuple[Entry, ...]) -> None:
    rows = "".join(
        f"<tr><td>{entry.number}</td>"
        f"<td class=when>{entry.at.astimezone():%Y-%m-%d<br>%H:%M:%S}</td>"
        f"<td>{escape(entry.who or '-')}</td><td>{escape(entry.what)}</td></tr>"
        for entry in log[: -SHOWN - 1 : -1]
    )
    more = say("{count} earlier ones are kept too.", count=len(log) - SHOWN)
    write(f"<table>{rows}</table>", f"<p class=fine>{more}</p>" if len(log) > SHOWN else "")
