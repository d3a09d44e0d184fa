"""The tile on the page: laid as asked, its answer in words, and what it refuses in a sentence."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from test_page import go, said, seen, widget

ROOT = Path(__file__).parents[1]


@pytest.fixture
def page() -> AppTest:
    """The page with the slab that rolls."""
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    widget(page, "Survey").set_value("tansy-ford-roll")
    return go(page, "tile")


def lay(page: AppTest) -> AppTest:
    return widget(page, "Lay the tile").click().run()


def test_nothing_is_foreseen_before_it_is_asked_for(page: AppTest) -> None:
    """The page offers to lay the tile, starting from what the survey says of it."""
    assert "NOT AS IT IS" not in seen(page)
    assert widget(page, "Pattern").value == "running bond"
    assert widget(page, "Offset of each row").value == "1/3"


def test_large_tile_then_small(page: AppTest) -> None:
    """24 x 48 in at a third will not do as it is; 12 x 24 in aligned can be laid as it is."""
    laid = seen(lay(page))
    assert "NOT AS IT IS" in laid
    assert "No correction was tried." in laid
    widget(page, "Tile length").set_value("24 in")
    widget(page, "Tile width").set_value("12 in").run()
    widget(page, "Pattern").set_value("aligned")
    assert "CAN BE TILED AS IT IS" in seen(lay(page))
    assert not page.exception


@pytest.mark.parametrize(
    ("label", "typed", "words"),
    [
        ("Joint of the tile", "<b>wide</b>", "tile.joint"),
        ("Offset of each row", "7", "between 0 and 1"),
        ("Turned by, in degrees", "north", "degrees"),
        ("Mortar at most", "", "tile.bed"),
        ("Mortar at least", "1 in", "no more than its most"),
    ],
)
def test_what_is_refused(page: AppTest, label: str, typed: str, words: str) -> None:
    """Whatever cannot be is one sentence, escaped."""
    widget(page, label).set_value(typed)
    assert words in said(lay(page))
