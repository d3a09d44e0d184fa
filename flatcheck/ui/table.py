"""The readings of a kept survey as a table: each change on disk before the screen says so.

What cannot be read is told with its cell and stays in the table as it was typed, unkept, until it
is mended; what was right beside it is kept.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape

import streamlit as st

from flatcheck.amendment import Place, amended, built, replaced, table_in
from flatcheck.errors import FlatcheckError, StaleError, SurveyError
from flatcheck.language import say
from flatcheck.merge import difference
from flatcheck.readers.cells import cells_of
from flatcheck.store import Kept, Store
from flatcheck.survey import Cells, column_name
from flatcheck.ui.markup import tell, write

MOST_CELLS = 20_000
"""A larger table is for a spreadsheet: a phone should not have to hold it."""

SPARE = 3
"""Blank rows below the last one, to write on."""

TOLD = 3
"""So many of the cells that cannot be kept are told at a time."""


@dataclass
class Sheet:
    """What one browser sees of a table, and what became of it.

    `shown` are the cells that the editor began with, `kept` those on disk after the entry `number`;
    `bad` is what was typed and is not kept, with the reason, and `lost` why some was given up.
    """

    version: int = 0
    shown: Cells = ()
    kept: Cells = ()
    number: int = 0
    bad: dict[Place, tuple[str, str]] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    said: str = ""


def readings_table(store: Store, key: str, who: str) -> None:
    """The tables of a survey, one at a time, to be written in or replaced by a pasted block.

    Raises StoreError.
    """
    kept = store.head(key)
    try:
        survey = built(kept.files)
    except FlatcheckError:
        return  # told where the survey is read
    names = [table.name for table in survey.tables]
    if not names:
        return
    write(f"<h3>{say('The readings as they are written')}</h3>")
    name = names[0]
    if len(names) > 1:
        name = st.selectbox(say("Table"), names, key=f"table of {key}")
    try:
        cells = table_in(survey, kept.files, name).cells
        if sum(map(len, cells)) > MOST_CELLS:
            raise SurveyError(
                say("{table} is too large to be changed here; bring it in as a file.", table=name)
            )
    except SurveyError as error:
        tell(error)
        return
    _edit(store, kept, name, cells, who)
    _paste(store, kept, name, who)


def _edit(store: Store, kept: Kept, name: str, cells: Cells, who: str) -> None:
    """The cells in an editor, and what there is to say of what was typed last."""
    slot = f"sheet {kept.key} {name}"
    sheet: Sheet = st.session_state.setdefault(slot, Sheet())
    # An editor that was away, or whose table was changed elsewhere, begins with what is kept.
    if sheet.kept != cells or f"{slot} {sheet.version}" not in st.session_state:
        typed = {place: text for place, (text, _) in sheet.bad.items()}
        sheet.version, sheet.kept, sheet.shown = sheet.version + 1, cells, _drawn(cells, typed)
    sheet.number = kept.last.number
    columns = [column_name(c) for c in range(1, len(sheet.shown[0]) + 1)]
    import pandas as pd  # only who opens the table waits for it

    st.data_editor(
        pd.DataFrame(sheet.shown, range(1, len(sheet.shown) + 1), columns, dtype=str),
        key=f"{slot} {sheet.version}",
        on_change=_hear,
        args=(store, kept.key, name, who),
        height=min(35 * (len(sheet.shown) + 1) + 3, 400),
        column_config={
            column: st.column_config.TextColumn(column, width=80, default="") for column in columns
        },
    )
    # Below the table, which then stays where the next cell is being typed.
    for why in [*sheet.lost, *(why for _, why in sheet.bad.values())][:TOLD]:
        tell(SurveyError(why))
    if sheet.bad:
        stays = say("What is not kept stays in the table as it was typed, until it is mended.")
        write(f"<p class=fine>{stays}</p>")
    if sheet.said:
        write(f"<p role=status>{escape(say('Kept: {what}.', what=sheet.said))}</p>")


def _drawn(cells: Cells, typed: Mapping[Place, str]) -> Cells:
    """The cells as wide as the widest row, with spare rows, and with what is not kept."""
    wide = max(map(len, cells))
    tall = max(len(cells) + SPARE, *(row for row, _ in typed), 0)
    rows = [[*row, *[""] * (wide - len(row))] for row in cells]
    rows += [[""] * wide for _ in range(tall - len(rows))]
    for (row, column), text in typed.items():
        if column <= wide:
            rows[row - 1][column - 1] = text
    return tuple(map(tuple, rows))


def typed_in(sheet: Sheet, edits: Mapping[int, Mapping[str, str | None]]) -> dict[Place, str]:
    """What stands in an editor and is not on disk, by its cell; `edits` as the editor tells them.

    Those are by row from 0 and by the name of the column.
    """
    texts = {}
    columns = {column_name(c): c for c in range(1, len(sheet.shown[0]) + 1)}
    now = {(r, c): text for r, row in enumerate(sheet.shown, 1) for c, text in enumerate(row, 1)}
    for row, cells in edits.items():
        for name, text in cells.items():
            now[int(row) + 1, columns[name]] = text or ""
    for (row, column), text in now.items():
        line = sheet.kept[row - 1] if row <= len(sheet.kept) else ()
        was = line[column - 1] if column <= len(line) else ""
        if text.strip() != was.strip():
            texts[row, column] = text.strip()
    return texts


def _hear(store: Store, key: str, name: str, who: str) -> None:
    """What was typed is kept before anything is drawn."""
    slot = f"sheet {key} {name}"
    sheet: Sheet = st.session_state[slot]
    edits = st.session_state[f"{slot} {sheet.version}"]["edited_rows"]
    keep_typed(store, key, name, who, sheet, typed_in(sheet, edits))


def keep_typed(
    store: Store, key: str, name: str, who: str, sheet: Sheet, texts: Mapping[Place, str]
) -> None:
    """Cells of a table that were typed, kept as far as can be; the sheet then says what became.

    What another changed meanwhile stands, and is told; what cannot be read waits in the sheet.
    """
    sheet.said, sheet.lost = "", []
    try:
        files = store.files(key, sheet.number)
        after, refused = amended(files, name, texts)
        sheet.bad = {place: (texts[place], why) for place, why in refused.items()}
        good = {place: text for place, text in texts.items() if place not in refused}
        try:
            store.save(key, sheet.number, after, who)
        except StaleError:
            after = files
            for place, text in good.items():
                one, _ = amended(files, name, {place: text})
                try:
                    store.save(key, sheet.number, one, who)
                    after, _ = amended(after, name, {place: text})
                except StaleError as error:
                    sheet.lost.append(str(error))
        sheet.said = difference(files, after)
        sheet.kept = cells_of(name, after[name])
    except FlatcheckError as error:
        sheet.bad = {place: (text, str(error)) for place, text in texts.items()}


def _paste(store: Store, kept: Kept, name: str, who: str) -> None:
    """A block from a spreadsheet in place of all cells: looked at first, then kept."""
    field_key = f"block {kept.key} {name}"
    with st.expander(say("Paste cells from a spreadsheet in their place"), key=f"paste {kept.key}"):
        with st.form(f"{field_key} form", border=False):
            text = st.text_area(
                say("Cells in place of those of {table}", table=name), height=120, key=field_key
            )
            st.form_submit_button(say("Look at them first"), width="stretch")
        if not text.strip():
            return
        try:
            after = replaced(kept.files, name, text)
        except FlatcheckError as error:
            tell(error)
            return
        cells = cells_of(name, after[name])
        changes = difference(kept.files, after)
        if not changes:
            write(f"<p>{say('These are the cells that are there already.')}</p>")
            return
        told = say(
            "{rows} rows of up to {cells} cells. {changes}. Undo brings back what is there now.",
            rows=len(cells),
            cells=max(map(len, cells)),
            changes=changes,
        )
        write(f"<p>{escape(told)}</p>")
        st.button(
            say("Replace the cells"),
            on_click=_replace,
            args=(store, kept, after, who, field_key),
            type="primary",
            width="stretch",
        )


def _replace(store: Store, kept: Kept, after: dict[str, bytes], who: str, field_key: str) -> None:
    try:
        store.save(kept.key, kept.last.number, after, who)
    except FlatcheckError as error:
        st.session_state["notice"] = str(error)
    else:
        st.session_state["notice"] = say("Kept: {what}.", what=difference(kept.files, after))
        st.session_state[field_key] = ""
