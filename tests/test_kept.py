"""The person's own surveys on the page: kept, changed, undone, brought in, and told as they are."""

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from test_page import drawings

from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError
from flatcheck.readers.folder import folder_files, survey_of
from flatcheck.rules import standards
from flatcheck.store import Store
from flatcheck.ui import serve
from flatcheck.ui.begin import STANDARD, TABLE, blank
from flatcheck.ui.kept import alike
from flatcheck.walk import stops

ROOT = Path(__file__).parents[1]
KITCHEN = folder_files(ROOT / "sample_surveys" / "millbrook-plywood")


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """The store that the page of a test uses."""
    monkeypatch.setenv(serve.FOLDER, str(tmp_path / "kept"))
    return Store(tmp_path / "kept")


def opened(**address: str) -> AppTest:
    """The page at an address."""
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    for name, said in address.items():
        page.query_params[name] = said
    return page.run()


def widget(page: AppTest, label: str) -> Any:
    """The one widget with a label."""
    kinds = (page.radio, page.selectbox, page.text_input, page.button)
    (found,) = [w for kind in kinds for w in kind if w.label == label]
    return found


def seen(page: AppTest) -> str:
    """The words on the page, its markup taken off."""
    assert not page.exception
    return unescape(re.sub(r"<[^>]+>", " ", " ".join(str(h.value) for h in page.html)))


def address(page: AppTest, name: str) -> str:
    """What the address says."""
    said = page.query_params.get(name, "")
    return said if isinstance(said, str) else said[0]


def test_make_it_mine(store: Store) -> None:
    """One click makes the sample one's own: the same files, opened under its key."""
    page = opened()
    widget(page, "Survey").set_value("millbrook-plywood").run()
    widget(page, "Make it mine").click().run()
    (kept,) = store.surveys()
    assert address(page, "survey") == kept.key
    assert store.head(kept.key).files == KITCHEN
    assert widget(page, "Readings from").value == "kept"
    assert "OUT" in seen(page)
    assert not [button for button in page.button if button.label == "Make it mine"]


def test_pasted_cells_are_kept(store: Store) -> None:
    """Cells that were judged are kept as they were pasted, with what was said of them."""
    page = opened()
    widget(page, "Readings from").set_value("pasted").run()
    cells = "\t1'\t2'\t3'\n1'\t47\t47\t47\n2'\t47\t47\t47"
    page.text_area[0].set_value(cells)
    widget(page, "What a reading is").set_value("rod")
    widget(page, "Readings in").set_value("in")
    widget(page, "Offsets in").set_value("ft")
    widget(page, "How far a reading may be off").set_value("1/32 in")
    widget(page, "Tile length").set_value("12 in")
    widget(page, "Tile width").set_value("12 in")
    widget(page, "Check this floor").click().run()
    widget(page, "Keep this survey").click().run()
    files = store.head(address(page, "survey")).files
    assert files["pasted cells"].decode() == cells
    assert survey_of(files).tile is not None


def test_change_undo_redo(store: Store) -> None:
    """What is changed in a field is kept under one's name; undo brings the field back, too."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key, by="Ana")
    assert store.head(key).last.number == 1
    widget(page, "Tile length").set_value("12 in").run()
    assert store.head(key).last.what == "survey.toml: tile changed"
    assert store.head(key).last.who == "Ana"
    widget(page, "Undo").click().run()
    assert store.head(key).files == KITCHEN
    assert widget(page, "Tile length").value == "24 in"
    assert "Changed by Ana" in seen(page)
    widget(page, "Redo").click().run()
    assert widget(page, "Tile length").value == "12 in"
    assert [entry.kind for entry in store.history(key)] == ["edit", "edit", "undo", "redo"]
    page.run()
    assert len(store.history(key)) == 4


def test_changed_elsewhere(store: Store) -> None:
    """What another changed meanwhile is shown and told, and a stale field does not undo it."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key)
    changed = KITCHEN[DOCUMENT].replace(b'length = "24 in"', b'length = "18 in"')
    store.save(key, 1, {**KITCHEN, DOCUMENT: changed}, "Bo")
    widget(page, "Near a limit").set_value("as read").run()
    assert "Changed by Bo" in seen(page)
    assert widget(page, "Tile length").value == "18 in"
    assert store.head(key).files[DOCUMENT] == changed


def test_undo_of_what_was_not_seen(store: Store) -> None:
    """Undo pressed on a page drawn before another's change is refused in words."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key)
    widget(page, "Tile length").set_value("12 in").run()
    head = store.head(key)
    store.save(key, 2, {**head.files, "laser.csv": head.files["laser.csv"] + b"\n"}, "Bo")
    widget(page, "Undo").click().run()
    assert "last by Bo" in seen(page)
    assert "look at it before you undo" in seen(page)
    assert store.head(key).last.number == 3


def test_unknown_key(store: Store) -> None:
    """An address whose survey is not here is one sentence; the others can be chosen."""
    other = store.create(KITCHEN, "", "begun")
    page = opened(survey="nobody")
    assert "no survey is kept here under the key 'nobody'" in seen(page)
    assert address(page, "survey") == other


def test_store_that_cannot_be_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a store the page says so in a sentence and still judges."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(serve.FOLDER, str(tmp_path / "file"))
    page = opened()
    assert "cannot be used to keep surveys" in seen(page)
    assert not [button for button in page.button if button.label == "Make it mine"]
    assert drawings(page)


def test_hostile_words(store: Store) -> None:
    """A title, a name and a file name that are markup are shown as they are written."""
    bad = "<img src=x>"
    head = KITCHEN[DOCUMENT].replace(b"Kitchen subfloor", bad.encode())
    key = store.create({**KITCHEN, DOCUMENT: head}, bad, f"brought in as {bad}")
    page = opened(survey=key, by=bad)
    shown = " ".join(str(h.value) for h in page.html)
    assert "<img" not in shown
    assert seen(page).count(bad) >= 3
    assert not page.markdown


def test_key_is_asked(monkeypatch: pytest.MonkeyPatch, store: Store) -> None:
    """Where a key is set nothing is shown without it, and a wrong one does not let in."""
    monkeypatch.setenv(serve.KEY, "abcde23456")
    monkeypatch.setattr("flatcheck.ui.door.WRONG_S", 0.0)
    page = opened()
    assert "This page asks for a key" in seen(page)
    assert not page.radio
    page.text_input[0].set_value("abcde23457")
    page.button[0].click().run()
    assert "That is not the key." in seen(page)
    page.text_input[0].set_value(" ABCDE23456 ")
    page.button[0].click().run()
    assert page.radio
    assert opened(key="abcde23456").radio
    assert not opened(key="ébcde23456").radio


def test_walk_of_what_cannot_be_walked(store: Store) -> None:
    """An address to a table that is not there, or is a spreadsheet, is told, with a way back."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key, walk="other.csv")
    assert "no table 'other.csv'" in seen(page)
    widget(page, "Back to the survey").click().run()
    assert "OUT" in seen(page)


ROOM = ["14 ft", "10 ft"]


def test_new_survey() -> None:
    """A new survey has a grid as close as its longest rule needs, each place to be read."""
    files = blank("Bath", ROOM, "in", "rod", "1/32 in", ["12 in", "12 in"], "")
    with pytest.raises(FlatcheckError, match="holds no readings"):
        survey_of(files)
    close = blank("Bath", ROOM, "in", "rod", "1/32 in", ["12 in", "12 in"], "6 in")
    assert len(close[TABLE]) > len(files[TABLE])
    assert b"Bath" in files[DOCUMENT]
    filled = files[TABLE].decode().replace(",,", ",47,").replace(",,", ",47,")
    filled = re.sub(r",$", ",47", filled, flags=re.MULTILINE)
    survey = survey_of({**files, TABLE: filled.encode()})
    assert all(stop.text == "47" for stop in stops(survey.tables[0]))
    metric = blank("", ["4 m", "3000"], "mm", "rod", "0.5 mm", ["600", "300"], "500")
    assert b"500 mm" in metric[TABLE]


@pytest.mark.parametrize(
    ("sides", "tile", "pitch", "words"),
    [
        (["pigs", "10 ft"], ["12 in", "12 in"], "", "'pigs' cannot be read"),
        (["-3 ft", "10 ft"], ["12 in", "12 in"], "", "room"),
        (["0", "10 ft"], ["12 in", "12 in"], "", "room"),
        (["1e9 ft", "10 ft"], ["12 in", "12 in"], "", "cannot be read|too many|takes about"),
        (ROOM, ["12 in", "12 in"], "0", "more than nothing"),
        (ROOM, ["12 in", "12 in"], "9 mi", "cannot be read"),
        (ROOM, ["12 in", "12 in"], "0.01 mm", "takes about"),
    ],
)
def test_bad_new_survey(sides: list[str], tile: list[str], pitch: str, words: str) -> None:
    """What makes no survey is refused in a sentence."""
    with pytest.raises(FlatcheckError, match=words) as refused:
        blank("", sides, "in", "rod", "1/32 in", tile, pitch)
    assert str(refused.value).endswith(".")


def test_new_survey_on_the_page(store: Store) -> None:
    """All that must be said is asked for; then the grid waits to be walked."""
    page = opened()
    widget(page, "Readings from").set_value("new").run()
    widget(page, "Begin this survey").click().run()
    assert "the room" in page.info[0].value
    widget(page, "What floor is it").set_value("Bath")
    widget(page, "Room, west to east").set_value("8 ft")
    widget(page, "South to north").set_value("5 ft")
    widget(page, "What a reading is").set_value("rod")
    widget(page, "How far a reading may be off").set_value("1/32 in")
    widget(page, "Tile length").set_value("12 in")
    widget(page, "Tile width").set_value("12 in")
    widget(page, "Begin this survey").click().run()
    assert store.surveys()[0].title == "Bath"
    assert "holds no readings" in seen(page)
    widget(page, "Walk the floor").click().run()
    assert address(page, "walk") == TABLE
    assert not page.exception


def test_standards_to_begin_with() -> None:
    """What a new floor is held to until the person says otherwise is a standard for flatness."""
    for name in STANDARD.values():
        assert standards()[name.partition(":")[0]].about == "flatness"


def test_alike() -> None:
    """Surveys that say the same are alike, however written; a changed tile is not."""
    again = KITCHEN[DOCUMENT] + b"\n# a word in the margin\n"
    assert alike(survey_of(KITCHEN), survey_of({**KITCHEN, DOCUMENT: again}))
    other = KITCHEN[DOCUMENT].replace(b"24 in", b"12 in")
    assert not alike(survey_of(KITCHEN), survey_of({**KITCHEN, DOCUMENT: other}))


def choosing(page: AppTest) -> str:
    """What the drawing that one can choose on is called in the session."""
    (found,) = [
        shown.proto.id.split("-", 2)[2]
        for shown in page.get("bidi_component")
        if '"choosing"' in shown.proto.json
    ]
    return str(found)


def test_a_choice_does_not_pass_to_other_places(store: Store) -> None:
    """A place that was chosen is left once places of the same floor are read elsewhere."""
    key = store.create(KITCHEN, "", "begun")
    page = opened(survey=key)
    page.session_state[choosing(page)] = {"chosen": 40}
    assert "through the place you chose" in seen(page.run())
    moved = KITCHEN["laser.csv"].replace(b'"4\' 6"""', b"4'")
    assert moved != KITCHEN["laser.csv"]
    store.save(key, 1, KITCHEN | {"laser.csv": moved}, "Bo")
    assert "through the place you chose" not in seen(page.run())


@pytest.mark.parametrize("title", ["north__hall", "<b>x</b>", "-"])
def test_any_title_names_a_floor(store: Store, title: str) -> None:
    """Whatever a survey is called, its map is drawn and a place on it can be chosen."""
    called = KITCHEN[DOCUMENT].replace(b"Kitchen subfloor, Millbrook", title.encode())
    page = opened(survey=store.create(KITCHEN | {DOCUMENT: called}, "", "begun"))
    assert title in unescape(" ".join(str(h.value) for h in page.html))
    page.session_state[choosing(page)] = {"chosen": 40}
    assert "through the place you chose" in seen(page.run())
