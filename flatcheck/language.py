"""What is said to people, in their language: English, unless another one is asked for.

Every sentence, label and word that a person reads goes through `say`, with named places for what
changes; its English stands where it is said. All of it together stands in
`languages/flatcheck.pot`, which `python -m flatcheck.languages` writes and a translator copies.
"""

import gettext
import os
import sys
from pathlib import Path

LANGUAGE = "FLATCHECK_LANGUAGE"
"""In the environment: the language to speak, by the name of its folder in `languages/`.

A path to a folder outside of it, which holds LC_MESSAGES/flatcheck.mo, does as well."""

FOLDER = Path(__file__).with_name("languages")
DOMAIN = "flatcheck"
ENGLISH = "en"


def _spoken() -> tuple[str, gettext.NullTranslations]:
    asked = os.environ.get(LANGUAGE, ENGLISH)
    if asked == ENGLISH:
        return ENGLISH, gettext.NullTranslations()
    folder = Path(asked) if os.sep in asked else FOLDER / asked
    try:
        with (folder / "LC_MESSAGES" / f"{DOMAIN}.mo").open("rb") as file:
            return folder.name, gettext.GNUTranslations(file)
    except OSError:
        print(f"{LANGUAGE}: {asked} is not among {FOLDER}; English it is.", file=sys.stderr)
        return ENGLISH, gettext.NullTranslations()


SPOKEN, _SPOKEN = _spoken()
"""The language that is spoken, by the name of its folder, and its texts."""


def say(text: str, /, **values: object) -> str:
    """A text in the person's language, each `{name}` in it filled with the value of that name.

    Without values the text is given back as it is, so braces in it are braces.
    """
    said = _SPOKEN.gettext(text) if text else ""
    return said.format(**values) if values else said


def several(number: int, one: str, other: str, /, **values: object) -> str:
    """The text for one thing or for another number of them; `{number}` is how many."""
    return _SPOKEN.ngettext(one, other, number).format(number=number, **values)
