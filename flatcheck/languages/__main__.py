"""Every text of flatcheck in one place: `python -m flatcheck.languages`.

It writes `flatcheck.pot` in this folder: the English of every `say` and `several` of the package,
and of the rule book. A translator's copy of it, `xx/LC_MESSAGES/flatcheck.po`, is compiled for the
program by the same command, which tells how many texts that still lacks.
"""

import ast
import io
import string
from collections.abc import Iterator, Sequence
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from flatcheck.language import DOMAIN, ENGLISH, FOLDER
from flatcheck.rules import shelf, spoken

PACKAGE = FOLDER.parent
TEMPLATE = FOLDER / f"{DOMAIN}.pot"

HEADER = r"""# All texts of flatcheck, by `python -m flatcheck.languages`: copy it, edit the copy.
# What stands in {braces} is filled in: keep every name as it is, and put it where it belongs.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\n"

"""

Text = str | tuple[str, str]
"""What is said: one text, or one for a single thing and one for several."""


def said_in(source: str) -> Iterator[tuple[ast.Call, Text]]:
    """Every `say` and `several` of a file whose English stands there, with it.

    A text that is worked out, as in `say(word)`, stands elsewhere as it is written.
    """
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        if node.func.id == "say":
            match node.args:
                case [ast.Constant(value=str(text))]:
                    yield node, text
        elif node.func.id == "several":
            match node.args:
                case [_, ast.Constant(value=str(one)), ast.Constant(value=str(other))]:
                    yield node, (one, other)


def texts() -> Iterator[tuple[Text, str]]:
    """Every text there is, with the file that says it."""
    for path in sorted(PACKAGE.rglob("*.py")):
        place = str(path.relative_to(PACKAGE.parent))
        for _, text in said_in(path.read_text(encoding="utf-8")):
            yield text, place
    for name, standard in shelf():
        found: list[str] = []

        def keep(text: str, found: list[str] = found) -> str:
            found.append(text)
            return text

        spoken(standard, keep)
        yield from ((text, f"{name.replace('.', '/')}.py") for text in found)


def catalog() -> Catalog:
    """Every text with the files that say it, to be translated."""
    made = Catalog()
    for text, place in texts():
        if text:
            made.add(text, locations=[(place, 0)])
    for message in made:
        message.flags.discard("python-format")  # a percent sign here is one
    return made


def template() -> str:
    """What stands in `flatcheck.pot`."""
    page = io.BytesIO()
    write_po(page, catalog(), sort_output=True, omit_header=True, include_lineno=False)
    return HEADER + page.getvalue().decode()


def places(text: str) -> set[str]:
    """The names in braces of a text. Raises ValueError where its braces do not match."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def compiled(path: Path) -> str:
    """Compiles a translation for the program; how much of it there is, in words.

    A text that names a place which the English does not have cannot be filled: it is left out, and
    the English stands.
    """
    with path.open("rb") as page:
        given = read_po(page, locale=ENGLISH)  # unless its header says otherwise
    whole, kept, wrong = catalog(), Catalog(locale=given.locale, charset="utf-8"), []
    kept.mime_headers = given.mime_headers
    for message in given:
        own = _forms(message.string or "")
        if message.id not in whole or message.fuzzy or not all(own):
            continue
        if message.id and not _fits(_forms(message.id), own):
            wrong.append(f"\n  its names in braces are not those of the English: {own[0]}")
        else:
            kept.add(message.id, message.string)
    with path.with_suffix(".mo").open("wb") as page:
        write_mo(page, kept)
    left = len(whole) - len(kept)
    return f"{path}: {left} of {len(whole)} texts lack a translation.{''.join(wrong)}"


def _forms(text: str | Sequence[str]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)


def _fits(english: tuple[str, ...], own: tuple[str, ...]) -> bool:
    try:
        known = {"number"} if len(english) > 1 else set()
        known = known.union(*map(places, english))
    except ValueError:
        return True  # nothing is filled in: its braces are braces
    try:
        return all(places(text) <= known for text in own)
    except ValueError:
        return False


def main() -> None:
    """Writes the template, and compiles every translation beside it."""
    TEMPLATE.write_text(template(), encoding="utf-8")
    print(f"{TEMPLATE}: {len(catalog())} texts.")
    for path in sorted(FOLDER.glob(f"*/LC_MESSAGES/{DOMAIN}.po")):
        print(compiled(path))


if __name__ == "__main__":
    main()
