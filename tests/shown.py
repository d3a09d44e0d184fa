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
    *("css_source_path", "js_source_path"),
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


def drawn(handed: Any) -> Iterator[str]:
    """The texts of what a component is handed: its markup, and what it tells."""
    if isinstance(handed, dict | list):
        for one in handed.values() if isinstance(handed, dict) else handed:
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


def main(names: list[str]) -> None:
    """Prints what is shown of these samples."""
    found = []
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    for name in names:
        (choice,) = [box for box in page.selectbox if box.label == say("Survey")]
        choice.set_value(name).run()
        for step in STEPS:
            page.session_state["step"] = step
            page.run()
            assert not page.exception, page.exception[0].message
            for element in elements(page._tree):
                place = f"{name}, {step}: {element.type}"
                found += [(place, text) for text in texts(element.proto)]
                if element.type == "arrow_data_frame":
                    table = element.value
                    found += [(place, str(column)) for column in table.columns]
                    cells = table.select_dtypes(exclude="number").to_numpy().ravel()
                    found += [(place, str(cell)) for cell in cells]
    json.dump(list(dict.fromkeys(found)), sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1:])
