"""Texts in the person's language, and that all of them stand in one place."""

import ast
import gettext
import os
import subprocess
import sys
from pathlib import Path

import pytest

from flatcheck.language import LANGUAGE, say, several
from flatcheck.languages.__main__ import (
    PACKAGE,
    TEMPLATE,
    compiled,
    places,
    said_in,
    template,
    texts,
)

SOURCES = [str(path.relative_to(PACKAGE)) for path in sorted(PACKAGE.rglob("*.py"))]

PO = r"""msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\n"
"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n>=2 && n<=4 ? 1 : 2);\n"

"""


def test_filled() -> None:
    """A text has its values in the places of their names; without values its braces stay."""
    assert say("{share:.0%} of the {about}", share=0.5, about="floor") == "50% of the floor"
    assert say("a {b} c") == "a {b} c"
    assert say("") == ""


def test_number() -> None:
    """One thing has its own text, and any other number of them another."""
    one, other = "{number} bag of {what}", "{number} bags of {what}"
    assert several(1, one, other, what="patch") == "1 bag of patch"
    assert several(0, one, other, what="patch") == "0 bags of patch"
    assert several(2, one, other, what="patch") == "2 bags of patch"


def test_template_is_what_the_code_says() -> None:
    """The file for translators holds exactly the texts of the code and of the rule book."""
    command = f"{Path(sys.executable).name} -m flatcheck.languages"
    assert TEMPLATE.read_text(encoding="utf-8") == template(), f"out of date: run {command}"


def test_template_names_files_and_no_lines() -> None:
    """A text is followed to its files, and a line that moves changes nothing."""
    heads = [row for row in template().splitlines() if row.startswith("#:")]
    assert heads
    assert all(place.endswith(".py") for row in heads for place in row[2:].split())
    assert "flatcheck/standards/us_deck.py" in " ".join(heads)


def test_said_in() -> None:
    """English is found within others, within formatted text, and never where it is worked out."""
    source = """
say("a {b} " "c", b=say("d"))
f"<b>{say('e')}</b>"
several(len(x), "{number} f", "{number} g")
say(word), other.say("h"), several(2, one, "i")
"""
    found = {text for _, text in said_in(source)}
    assert found == {"a {b} c", "d", "e", ("{number} f", "{number} g")}


@pytest.mark.parametrize("source", SOURCES)
def test_filled_as_said(source: str) -> None:
    """A text is given exactly the values that it names."""
    for call, text in said_in((PACKAGE / source).read_text(encoding="utf-8")):
        given = {keyword.arg for keyword in call.keywords}
        if isinstance(text, str) and not given:
            continue  # without values its braces are braces
        named = places(text) if isinstance(text, str) else set().union(*map(places, text))
        named -= set() if isinstance(text, str) else {"number"}
        assert given == named, f"line {call.lineno}: {text!r}"


@pytest.mark.parametrize("source", SOURCES)
def test_english_stands_where_it_is_said(source: str) -> None:
    """No text is put together in the call that says it, where nobody could find it."""
    tree = ast.parse((PACKAGE / source).read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            said = {"say": node.args[:1], "several": node.args[1:]}.get(node.func.id, [])
            assert not any(isinstance(text, ast.JoinedStr | ast.BinOp) for text in said), (
                f"line {node.lineno}"
            )


def test_compiled(tmp_path: Path) -> None:
    """What a translator wrote is said, each number in its own form; what is left is counted."""
    one, other = next(text for text, _ in texts() if not isinstance(text, str))
    left = [text for text, _ in texts() if isinstance(text, str) and places(text)]
    path = tmp_path / "flatcheck.po"
    path.write_text(
        PO + f'msgid "USA"\nmsgstr "Amerika"\n\n'
        f"msgid {quoted(one)}\nmsgid_plural {quoted(other)}\n"
        'msgstr[0] "{number} a"\nmsgstr[1] "{number} b"\nmsgstr[2] "{number} c"\n\n'
        f'msgid {quoted(left[0])}\nmsgstr "{{no_such_place}}"\n\n'
        'msgid "nowhere said"\nmsgstr "x"\n',
        encoding="utf-8",
    )
    told = compiled(path)
    count = len({text if isinstance(text, str) else text[0] for text, _ in texts() if text})
    assert f"{count - 2} of {count} texts lack a translation" in told
    assert "{no_such_place}" in told
    with path.with_suffix(".mo").open("rb") as file:
        spoken = gettext.GNUTranslations(file)
    assert spoken.gettext("USA") == "Amerika"
    assert [spoken.ngettext(one, other, n)[-1] for n in (1, 3, 7)] == ["a", "b", "c"]
    assert spoken.gettext(left[0]) == left[0]


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def test_language_asked_for(tmp_path: Path) -> None:
    """The program speaks the language of a folder; without that it says so, and English it is."""
    folder = tmp_path / "xx" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "flatcheck.po").write_text(PO + 'msgid "USA"\nmsgstr "Amerika"\n')
    compiled(folder / "flatcheck.po")
    code = "from flatcheck.rules import standards; print(standards()['us-tile'].region)"
    for asked, said, told in (
        (str(tmp_path / "xx"), "Amerika", ""),
        ("en", "USA", ""),
        ("qq", "USA", "qq is not among"),
        (str(tmp_path / "yy"), "USA", "yy is not among"),
    ):
        ran = subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, LANGUAGE: asked},
            cwd=PACKAGE.parent,
            capture_output=True,
            text=True,
            check=True,
        )
        assert ran.stdout.strip() == said
        assert told in ran.stderr
        assert bool(told) is bool(ran.stderr)
