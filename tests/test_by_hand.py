"""The readings of a kept survey changed by hand on the page: a table, a block, a straightedge."""

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from test_kept import KITCHEN, TABLE, blank, opened, seen, store, widget

from flatcheck.document import DOCUMENT
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import folder_files, survey_of
from flatcheck.store import Store
from flatcheck.survey import Gap
from flatcheck.tables import readings_of
from flatcheck.ui.table import Sheet, keep_typed, typed_in

__all__ = ["store"]

LASER = cells_of("laser.csv", KITCHEN["laser.csv"])


def kept_cell(store: Store, key: str, row: int, column: int) -> str:
    """A cell of the kitchen's table on disk."""
    return cells_of("laser.csv", store.head(key).files["laser.csv"])[row - 1][column - 1]


def sheet_of(store: Store, key: str) -> Sheet:
    """What a browser sees that has just drawn the table."""
    return Sheet(1, LASER, LASER, store.head(key).last.number)


def lay(page: AppTest) -> None:
    """Opens the form for a straightedge."""
    (toggle,) = [found for found in page.toggle if "bar" in found.label]
    toggle.set_value(True).run()


def fill(page: AppTest, **said: str) -> None:
    """Fills the form of a bar, and asks to keep it."""
    labels = {"x1": "First end, x", "y1": "First end, y", "x2": "Second end, x"}
    labels |= {"y2": "Second end, y", "at": "From first end, 1", "gap": "Gap there, 1"}
    for name, text in said.items():
        widget(page, labels[name]).set_value(text)
    widget(page, "Keep this bar").click().run()


def test_what_was_typed() -> None:
    """What stands in the editor and is not on disk is what was typed, cleared cells among it."""
    sheet = Sheet(1, (*LASER, ("",) * len(LASER[0])), LASER, 1)
    edits: Any = {2: {"C": " 47 ", "D": None}, len(LASER): {"A": "99'"}, 3: {"B": LASER[3][1]}}
    assert typed_in(sheet, edits) == {(3, 3): "47", (3, 4): "", (len(LASER) + 1, 1): "99'"}


def test_typed_cells_are_kept(store: Store) -> None:
    """Good cells are on disk at once; a bad one waits in the sheet with its reason."""
    key = store.create(KITCHEN, "", "begun")
    sheet = sheet_of(store, key)
    keep_typed(store, key, "laser.csv", "Ana", sheet, {(3, 3): "pigs", (4, 4): "47"})
    assert kept_cell(store, key, 4, 4) == "47"
    assert kept_cell(store, key, 3, 3) == LASER[2][2]
    assert sheet.bad[3, 3][0] == "pigs"
    assert "laser.csv, row 3, cell C3" in sheet.bad[3, 3][1]
    assert "cell D4: '47'" in sheet.said
    assert store.head(key).last.who == "Ana"


def test_typed_over_what_another_changed(store: Store) -> None:
    """What another changed meanwhile stands and is told; what was typed elsewhere is kept."""
    key = store.create(KITCHEN, "", "begun")
    sheet = sheet_of(store, key)
    other = sheet_of(store, key)
    keep_typed(store, key, "laser.csv", "Bo", other, {(3, 3): "48"})
    keep_typed(store, key, "laser.csv", "Ana", sheet, {(3, 3): "46", (4, 4): "47"})
    assert kept_cell(store, key, 3, 3) == "48"
    assert kept_cell(store, key, 4, 4) == "47"
    assert len(sheet.lost) == 1
    assert "your '46' was not written over it" in sheet.lost[0]


def test_a_block_is_looked_at_first(store: Store) -> None:
    """A pasted block is told before it replaces the cells, and undo brings them back."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key, step="readings")
    page.text_area[0].set_value("\t1'\n1'\tpigs")
    widget(page, "Look at them first").click().run()
    assert "cell B2" in seen(page)
    block = "\n".join("\t".join(row) for row in (*LASER[:-1], (*LASER[-1][:-1], "47 1/32")))
    page.text_area[0].set_value(block)
    widget(page, "Look at them first").click().run()
    assert "'47 1/32' for" in seen(page)
    assert store.head(key).last.number == 1
    widget(page, "Replace the cells").click().run()
    assert kept_cell(store, key, len(LASER), len(LASER[0])) == "47 1/32"
    assert page.text_area[0].value == ""
    widget(page, "Undo").click().run()
    assert store.head(key).files == KITCHEN


def test_a_bar_is_kept(store: Store) -> None:
    """A bar that was typed is kept as a row of gaps; one that cannot be is told and stays typed."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key, step="readings")
    lay(page)
    fill(page, x1="1'", y1="2'", x2="7'", y2="2'", at="2'", gap="<b>")
    assert "'<b>' cannot be read" in seen(page)
    assert widget(page, "Gap there, 1").value == "<b>"
    assert store.head(key).last.number == 1
    fill(page, gap="1/8")
    assert "Kept: bar laid from 1', 2' to 7', 2' with 1 gap." in seen(page)
    read = readings_of(survey_of(store.head(key).files))
    assert [round(g.gap_mm, 3) for g in read if isinstance(g, Gap)] == [3.175]
    assert widget(page, "First end, x").value == ""


def test_a_survey_without_readings(store: Store) -> None:
    """Where nothing can be judged yet the table is there all the same, and a bar can be typed."""
    files = blank("Bath", ["8 ft", "5 ft"], "in", "rod", "1/32 in", ["12 in", "12 in"], "")
    key = store.create(files, "", "begun")
    page = opened(survey=key, step="readings")
    assert "holds no readings" in seen(page)
    assert page.dataframe
    lay(page)
    fill(page, x1="1'", y1="2'", x2="7'", y2="2'", at="2'", gap="1/8")
    assert "Kept: bar laid" in seen(page)
    assert TABLE in store.head(key).files


def test_samples_are_not_changed(store: Store) -> None:
    """A sample that is not one's own has no table to write in."""
    page = opened(step="readings")
    assert "The readings as they are written" not in seen(page)


def test_two_surveys_of_one_name(store: Store) -> None:
    """Of two surveys of one name the one in the address stays open, whichever was changed last."""
    keys = [store.create(KITCHEN, "", "begun") for _ in range(3)]
    page = opened(survey=keys[1])
    for number in (1, 2):
        head = store.head(keys[0])
        text = head.files[DOCUMENT].replace(b'length = "24 in"', b'length = "1%d in"' % number)
        store.save(keys[0], head.last.number, {**head.files, DOCUMENT: text}, "Bo")
        page.run()
        assert widget(page, "Survey").value == keys[1]
    labels = widget(page, "Survey").options
    assert len(set(labels)) == len(labels) == 3


@pytest.mark.parametrize("name", ["cobbler-yard-mixed", "tern-quay-bars-only"])
def test_samples_with_bars(store: Store, name: str) -> None:
    """A survey that has bars can be drawn for another one."""
    folder = Path(__file__).parents[1] / "sample_surveys" / name
    key = store.create(folder_files(folder), "", "begun")
    page = opened(survey=key, step="readings")
    lay(page)
    assert "Choose the first end" in seen(page)
