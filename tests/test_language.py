"""Texts in the person's language, and that all of them stand in one place."""

import ast
import csv
import gettext
import json
import os
import re
import string
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from shown import words_of

from flatcheck.fnumber import F_CITATION
from flatcheck.language import LANGUAGE, say, several
from flatcheck.languages.__main__ import (
    PACKAGE,
    TEMPLATE,
    catalog,
    compiled,
    places,
    said_in,
    template,
    texts,
)
from flatcheck.product import PRODUCTS
from flatcheck.rules import standards
from flatcheck.run import LINE_RULES
from flatcheck.scheme import scheme_named
from flatcheck.slab import CLASS_CITATION, LOCAL_CITATION
from flatcheck.tables import kinds
from flatcheck.ui.serve import FOLDER
from flatcheck.waviness import WI_CITATION

ROOT = PACKAGE.parent
SAMPLES = ROOT / "sample_surveys"
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


# A trial language: every letter of a text is wide (Ａ for A), so what is shown in plain letters has
# not been said in it. Letters rather than brackets around a text, for brackets hide what is filled
# in, and come apart where a text is wrapped or cut.

KEPT = re.compile(r"(\{[^{}]*\}|<[^<>]*>|&[a-z]+;|%\(\w+\)s|%%)")
"""What of a text is no words: places, tags, signs."""


WIDE = {ord(letter): ord(letter) + 0xFEE0 for letter in string.ascii_letters}


def wide(text: str) -> str:
    """A text in the trial language."""
    parts = KEPT.split(text)
    parts[::2] = [
        re.sub("[A-Za-z]", lambda m: chr(ord(m[0]) + 0xFEE0), part) for part in parts[::2]
    ]
    return "".join(parts)


@pytest.fixture(scope="session")
def trial(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the trial language."""
    folder = tmp_path_factory.mktemp("trial")
    made = Catalog(locale="en", charset="utf-8")
    for message in catalog():
        if isinstance(message.id, str):
            made.add(message.id, wide(message.id))
        else:
            made.add(message.id, tuple(map(wide, message.id)))
    (folder / "LC_MESSAGES").mkdir()
    with (folder / "LC_MESSAGES" / "flatcheck.mo").open("wb") as file:
        write_mo(file, made)
    return folder


def shown(trial: Path, *command: str) -> str:
    """What a program prints in the trial language."""
    ran = subprocess.run(
        [sys.executable, *command],
        env={**os.environ, LANGUAGE: str(trial), "PYTHONPATH": str(ROOT), "COLUMNS": "500"},
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert "Traceback" not in ran.stderr, ran.stderr[-2000:]
    return ran.stdout + "".join(r for r in ran.stderr.splitlines(True) if "ScriptRun" not in r)


FREE = (
    "title",
    "place",
    "by",
    "surface",
    "notes",
    "note",
    "name",
    "walls",
    "drain",
    "id",
    "specified",
)
"""Keys of a survey document whose text is the person's own."""


def typed(document: Any, key: str = "") -> Iterator[str]:
    """What a person wrote in a survey in words of their own."""
    if isinstance(document, dict):
        for name, value in document.items():
            yield from typed(value, name)
    elif isinstance(document, list):
        for value in document:
            yield from typed(value, key)
    elif isinstance(document, str) and key in FREE:
        yield document


def records() -> Iterator[str]:
    """Of the rule book: ids, and the documents, editions, clauses and sources it cites."""
    cited = [*LINE_RULES.values(), F_CITATION, CLASS_CITATION, LOCAL_CITATION, WI_CITATION]
    cited += [product.citation for product in PRODUCTS]
    cited += [scheme_named(name).how_many for name in ("bs-8204", "dtu-slabs", "aci-bar")]
    for standard in standards().values():
        yield standard.id
        for grade in standard.grades:
            yield f"{standard.id}:{grade.id}"
            cited += [rule.citation for rule in grade.rules]
    yield from (product.id for product in PRODUCTS)
    for one in cited:
        yield from (one.document, one.edition, one.clause, one.source)


ALLOWED = {
    # units
    *("mm", "cm", "ft", "in", "sq", "cubic", "kg", "lb", "gal", "deg"),
    # numbers and bodies that are called by these letters everywhere
    *("FF", "FL", "DIN", "ASTM", "ANSI", "ISO", "EN", "ACI"),
    # the program, and kinds of files
    *("flatcheck", "CSV", "JSON", "HTML", "XLSX", "ZIP", "TOML"),
}
"""Words that are the same in every language."""

CODE = re.compile(
    r"`[^`]*`"  # commands
    r"|--[\w-]+|\b[\w-]+\.(?:toml|csv|txt|html|xlsx|zip|json)\b|/\S+/\S*"  # options, files
    rf"|(?<=: )(?:{'|'.join(kinds())})\b"  # what a table is
    r"|^ *(?:\[[a-z.]+\]|[a-z_]+ = .*)$|, [a-z_]+ = "  # lines of a survey document
    r"|\b[0-9a-f]{64}\b",  # fingerprints
    re.MULTILINE,
)
"""What is written in no language."""

ARGPARSE = re.compile(
    r"^usage: .*|^flatcheck [\w-]+: error: .*|^positional arguments:$|^options:$"
    r"|show this help message and exit|^ +(?:-.*?|[\w-]+)(?=  |$)",
    re.MULTILINE,
)
"""Of a help page what Python's own argparse says, and the names of commands and arguments."""


@pytest.fixture(scope="session")
def own() -> re.Pattern[str]:
    """What persons wrote in the sample surveys and what the rule book cites, the longest first."""
    found = set(records())
    for path in SAMPLES.glob("*/survey.toml"):
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        found |= {path.parent.name, *typed(document)}
        found.add(", ".join(document.get("correction", ())).replace("_", " "))  # keys, as written
    phrases = sorted((p for p in found if re.search("[A-Za-z]{2}", p)), key=len, reverse=True)
    spaced = [r"\s+".join(map(re.escape, phrase.split())) for phrase in phrases]
    ids = {re.escape(grade.id) for one in standards().values() for grade in one.grades}
    grades = "|".join(sorted(ids, key=len, reverse=True))
    spaced.insert(0, rf"(?:{grades})(?:,\s+(?:{grades}))+")  # the classes of a standard, listed
    return re.compile(rf"(?<![A-Za-z])(?:{'|'.join(spaced)})(?![A-Za-z])")


def plain(text: str, own: re.Pattern[str], *written: re.Pattern[str]) -> list[str]:
    """Where words stand in plain letters that are neither allowed nor a person's own, and which."""
    kept = text
    for pattern in (*written, own, CODE):
        kept = pattern.sub(lambda found: re.sub(r"\S", " ", found[0]), kept)
    left = []
    for row, bare in zip(text.split("\n"), kept.split("\n"), strict=True):
        words = [word for word in re.findall(r"[A-Za-z]{2,}", bare) if word not in ALLOWED]
        if words:
            left.append(f"{', '.join(words)}: in {row.strip()[:150]!r}")
    return left


SAID = (
    "check fernhollow-corridor",
    "check millbrook-plywood",
    "check larkfield-coarse",
    "check cobbler-yard-mixed",
    "check tern-quay-bars-only",
    "check withy-end-wall",
    "check cressbrook-pan",
    "check quillet-lane-steps",
    "falls cressbrook-pan",
    "falls hollin-ghyll-shower",
    "flood cressbrook-pan 20mm",
    "correct gorse-yard-humps",
    "lay tansy-ford-roll",
    "forecast tansy-ford-roll --quick",
    "compare larkfield-coarse",
    "numbers harnmoor-bays",
    "box quillet-lane-steps",
    "change gorse-yard-humps gorse-yard-ground",
    "check 404",
    "check fernhollow-corridor --standard 5385-3:9",
    "sample 12x14ft --standard bs-8204",
    "standards",
    "two-peg --help",
    "check --help",
    "--help",
)


@pytest.mark.parametrize("command", SAID)
def test_nothing_left_in_english(command: str, trial: Path, own: re.Pattern[str]) -> None:
    """In another language the terminal says nothing in English but what has none."""
    words = [str(SAMPLES / word) if (SAMPLES / word).is_dir() else word for word in command.split()]
    said = shown(trial, "-m", "flatcheck", *words)
    assert said
    left = plain(said, own, ARGPARSE) if "--help" in command else plain(said, own)
    assert not left, "\n".join(left)


PAPERS = (
    "report millbrook-plywood -o",
    "report cressbrook-pan -o",
    "report quillet-lane-steps -o",
    "check larkfield-coarse --reach",
    "falls hollin-ghyll-shower --sheet",
    "lay tansy-ford-roll --sheet",
    "plan fernhollow-corridor --sheet",
    "correct gorse-yard-humps --sheet",
)


@pytest.mark.parametrize("command", PAPERS)
def test_nothing_left_in_english_on_paper(
    command: str, trial: Path, own: re.Pattern[str], tmp_path: Path
) -> None:
    """In another language no page to print holds anything in English but what has none."""
    paper = tmp_path / "paper.html"
    words = [str(SAMPLES / word) if (SAMPLES / word).is_dir() else word for word in command.split()]
    shown(trial, "-m", "flatcheck", *words, str(paper))
    said = words_of(paper.read_text(encoding="utf-8"))
    assert len(said) > 20
    cells = {
        cell.strip()
        for path in (SAMPLES / command.split()[1]).glob("*.csv")
        for row in csv.reader(path.open(encoding="utf-8", newline=""))
        for cell in row
    }
    left = [found for text in said if text.strip() not in cells for found in plain(text, own)]
    assert not left, "\n".join(left)


@pytest.mark.parametrize("sample", ["millbrook-plywood", "cressbrook-pan", "quillet-lane-steps"])
def test_nothing_left_in_english_on_the_page(
    sample: str, trial: Path, own: re.Pattern[str]
) -> None:
    """In another language no step of the page shows anything in English but what has none."""
    said = json.loads(shown(trial, "tests/shown.py", sample))
    assert len(said) > 100
    left = [f"{place}: {found}" for place, text in said for found in plain(text, own)]
    assert not left, "\n".join(left)


def test_nothing_left_in_english_where_a_survey_is_begun(
    trial: Path, own: re.Pattern[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor does the page while a survey of one's own is begun and its floor is walked."""
    monkeypatch.setenv(FOLDER, str(tmp_path))
    said = json.loads(shown(trial, "tests/shown.py"))
    assert {place.partition(":")[0] for place, _ in said} >= {"begin", "begun", "walk"}
    left = [f"{place}: {found}" for place, text in said for found in plain(text, own)]
    assert not left, "\n".join(left)
