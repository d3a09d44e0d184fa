"""What the page shows of a sample at each of its steps, as JSON: [[place, text], ...].

Run as a program, because a program speaks one language from its start to its end.
"""

import json
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

import flatcheck.threads  # noqa: F401  (before numpy is loaded)
from flatcheck.language import say
from flatcheck.ui.steps import STEPS

ROOT = Path(__file__).parents[1]

READ_OUT = ("title", "aria-label", "alt", "placeholder")
"""What of a tag is shown or read out."""

NOT_SHOWN = (
    *("id", "form_id", "key", "query_param_key", "deferred_file_id", "component_name", "format"),
    *("icon", "url", "type", "color", "config", "theme", "css_content", "js_content"),
    *("css_source_path", "js_source_path", "columns"),
    "default",  # what a person typed
)
"""Strings that streamlit hands to a browser for its own use."""


class Words(HTMLParser):
    """The text of a page's markup and of the attributes that are read out; no style, no script,
    nor what is kept as it was written."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.within = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.within = tag
        self.found += [value for name, value in attrs if name in READ_OUT and value]

    def handle_endtag(self, tag: str) -> None:
        self.within = ""

    def handle_data(self, data: str) -> None:
        if self.within not in ("style", "script", "pre"):
            self.found.append(data)


def words_of(markup: str) -> list[str]:
    """The texts of a piece of markup."""
    parser = Words()
    parser.feed(markup)
    parser.close()
    return parser.found


UNSEEN = ("session", "ack", "unit", "row", "column", "map")
"""What a component is handed for its own use."""


def drawn(handed: Any) -> Iterator[str]:
    """The texts of what a component is handed: its markup, and what it tells."""
    if isinstance(handed, dict):
        for key, value in handed.items():
            if key not in UNSEEN:
                yield from drawn(value)
    elif isinstance(handed, list):
        for one in handed:
            yield from drawn(one)
    elif isinstance(handed, str):
        yield from words_of(handed)


def texts(message: Any) -> Iterator[str]:
    """Every string of one thing on the page that a person can see."""
    for field, value in message.ListFields():
        many = value if isinstance(value, list) or hasattr(value, "append") else [value]
        if field.name in NOT_SHOWN:
            continue
        if field.type == field.TYPE_MESSAGE:
            if hasattr(value, "ListFields"):
                yield from texts(value)
            elif not field.message_type.GetOptions().map_entry:
                for one in value:
                    yield from texts(one)
        elif field.type == field.TYPE_STRING:
            for one in many:
                if field.name == "json":
                    yield from drawn(json.loads(one))
                else:
                    yield from words_of(one)


def elements(block: Any) -> Iterator[Any]:
    """Everything within a block of the page."""
    for child in block.children.values():
        if hasattr(child, "children"):
            if getattr(child, "proto", None) is not None:
                yield child
            yield from elements(child)
        else:
            yield child


def shown_on(page: AppTest, place: str) -> Iterator[tuple[str, str]]:
    """Every text that the page shows now, with where it is."""
    assert not page.exception, page.exception[0].message
    for element in elements(page._tree):
        at = f"{place}: {element.type}"
        yield from ((at, text) for text in texts(element.proto))
        if element.type == "arrow_data_frame":
            table = element.value
            yield from ((at, str(column)) for column in table.columns)
            cells = table.select_dtypes(exclude="number").to_numpy().ravel()
            yield from ((at, str(cell)) for cell in cells)


def named(boxes: Any, label: str) -> Any:
    """The one of some widgets that is called so."""
    (found,) = [box for box in boxes if box.label == label]
    return found


def of_samples(names: list[str]) -> Iterator[tuple[str, str]]:
    """What is shown of these samples at each step."""
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    for name in names:
        named(page.selectbox, say("Survey")).set_value(name).run()
        for step in STEPS:
            page.session_state["step"] = step
            page.run()
            yield from shown_on(page, f"{name}, {step}")


def of_one_begun() -> Iterator[tuple[str, str]]:
    """What is shown while a survey of one's own is begun, walked and corrected."""
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    page.session_state["source"] = "new"
    page.session_state["step"] = "job"
    page.run()
    yield from shown_on(page, "begin")
    named(page.button, say("Begin this survey")).click().run()
    yield from shown_on(page, "begin, nothing said")
    for label, words in (
        (say("Room, west to east"), "8 ft"),
        (say("South to north"), "6 ft"),
        (say("How far a reading may be off"), "1/32 in"),
        (say("Tile length"), "24 in"),
        (say("Tile width"), "12 in"),
        (say("A reading every"), "2 ft"),
    ):
        named(page.text_input, label).set_value(words)
    named(
        [radio for radio in page.radio if radio.key == "new/sense"], say("What a reading is")
    ).set_value("rod")
    named(page.button, say("Begin this survey")).click().run()
    yield from shown_on(page, "begun")
    named(page.button, say("Walk the floor")).click().run()
    yield from shown_on(page, "walk")


def main(names: list[str]) -> None:
    """Prints what is shown of these samples; of none, what is shown of a survey that is begun."""
    found = of_samples(names) if names else of_one_begun()
    json.dump(list(dict.fromkeys(found)), sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1:])
