"""A survey folder: `survey.toml` and the tables of readings it names.

The document and the cells are kept as written, so writing a survey gives back what was read.
"""

import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomli_w

from flatcheck.document import DOCUMENT, build, table_files
from flatcheck.errors import SurveyError
from flatcheck.fields import MOST_BYTES as MOST_DOCUMENT
from flatcheck.language import say
from flatcheck.readers.cells import MOST_BYTES, cells_of, csv_text, size_words
from flatcheck.survey import Cells, Survey
from flatcheck.tables import readings_of

BARE_KINDS = ("grid", "points", "gaps")
"""Kinds of table that need nothing said of them that a bare table cannot say."""

TEXT_FILES = ("", ".csv", ".tsv", ".txt")
"""What the name of a table may end with that is written as text."""


def read_folder(folder: Path) -> Survey:
    """The survey in a folder, with every table it names.

    Raises SurveyError for a folder without a survey, a table that is missing or lies outside the
    folder, and whatever cannot be read in them.
    """
    return survey_of(folder_files(folder))


def folder_files(folder: Path) -> dict[str, bytes]:
    """The files of the survey in a folder as they are, its document first.

    Raises SurveyError as `read_folder`, but for what only reading the tables shows.
    """
    files = {DOCUMENT: file_bytes(folder / DOCUMENT, MOST_DOCUMENT)}
    left = MOST_BYTES
    for name in table_files(_text(files[DOCUMENT], str(folder / DOCUMENT))):
        files[name] = file_bytes(folder / name)
        left -= len(files[name])
        if left < 0:
            raise SurveyError(
                say(
                    "{folder} holds more than {size} of tables; a survey has at most that.",
                    folder=folder,
                    size=size_words(MOST_BYTES),
                )
            )
    return files


def survey_of(files: Mapping[str, bytes]) -> Survey:
    """The survey that the files of a folder hold. Raises SurveyError for what cannot be read."""
    document = _text(files[DOCUMENT], DOCUMENT)
    tables = table_files(document)
    if missing := [name for name in tables if name not in files]:
        raise SurveyError(
            say(
                "{document} names the table {table}, which is not there.",
                document=DOCUMENT,
                table=missing[0],
            )
        )
    return checked(document, {name: cells_of(name, files[name]) for name in tables})


def _text(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SurveyError(say("{file} is not a text file.", file=name)) from None


def checked(document: str, cells: Mapping[str, Cells]) -> Survey:
    """The survey, once its readings have been understood; falls may be planned without any."""
    survey = build(document, cells)
    if survey.tables:
        readings_of(survey)
    return survey


def write_folder(survey: Survey, folder: Path) -> None:
    """Write a survey as a folder that `read_folder` reads back the same.

    Tables that came from XLSX are refused: they are copied as files, not written anew.
    """
    files = files_of(survey)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # The document last: a folder with one is a whole survey.
        for name in reversed(files):
            (folder / name).write_bytes(files[name])
    except OSError as error:
        raise SurveyError(
            say("{file} cannot be written: {reason}.", file=folder, reason=error.strerror or error)
        ) from None


def files_of(survey: Survey) -> dict[str, bytes]:
    """The files of the folder of a survey, its document first: what `survey_of` reads back.

    Tables that came from XLSX are refused: they are copied as files, not written anew.
    """
    for table in survey.tables:
        if Path(table.name).suffix.lower() not in TEXT_FILES or table.name.startswith("."):
            raise SurveyError(say("table {table}: only text tables are written.", table=table.name))
    tables = {table.name: csv_text(table.cells).encode() for table in survey.tables}
    return {DOCUMENT: survey.document.encode(), **tables}


def bare(
    name: str,
    cells: Cells,
    *,
    kind: str,
    sense: str,
    readings: str,
    offsets: str,
    uncertainty: str,
    sections: Mapping[str, Mapping[str, Any]] | None = None,
) -> Survey:
    """A survey around one table that came without a document: the least that must be known.

    `sections` holds more of the document, such as {"tile": {...}, "standard": {...}}.
    """
    head: dict[str, Any] = {
        "flatcheck": 1,
        "survey": {"title": name},
        "units": {"readings": readings, "offsets": offsets},
        "instrument": {"uncertainty": uncertainty},
    }
    for section, values in (sections or {}).items():
        head[section] = head.get(section, {}) | dict(values)
    table = "".join(sign if sign.isprintable() else "?" for sign in name)
    head["table"] = [{"file": table, "kind": kind, "sense": sense}]
    return checked(tomli_w.dumps(head), {table: cells})


def bare_room(sections: Mapping[str, Any]) -> Survey:
    """A survey without readings, from the sections of its document: a room to lay tile in."""
    read = {"uncertainty": "1 mm"}  # asked for, and nothing is read with it
    return checked(tomli_w.dumps({"flatcheck": 1, "instrument": read} | dict(sections)), {})


def edited(survey: Survey, sections: Mapping[str, Mapping[str, Any] | None]) -> Survey:
    """The survey with some sections of its document replaced in part; None takes one out."""
    import tomllib

    head = tomllib.loads(survey.document)
    for section, values in sections.items():
        if values is None:
            head.pop(section, None)
        else:
            head[section] = head.get(section, {}) | dict(values)
    return checked(tomli_w.dumps(head), {table.name: table.cells for table in survey.tables})


def file_bytes(path: Path, most: int = MOST_BYTES, piped: bool = False) -> bytes:
    """A file's bytes, refused when it is too large to be of a survey, before reading if it says so.

    A device, which may have no end, is refused; a pipe as well, unless `piped`.
    """
    try:
        about = path.stat()
        kind = stat.S_IFMT(about.st_mode)
        if kind not in (stat.S_IFREG, stat.S_IFDIR) and not (piped and kind == stat.S_IFIFO):
            raise SurveyError(say("{file} is a device or a pipe; a file was expected.", file=path))
        if about.st_size > most:
            raise SurveyError(
                say(
                    "{file} is {size}; one such file of a survey has at most {most}.",
                    file=path.name,
                    size=size_words(about.st_size),
                    most=size_words(most),
                )
            )
        with path.open("rb") as file:
            data = file.read(most + 1)  # a pipe does not say how much there is
    except SurveyError:
        raise
    except ValueError as error:  # a NUL in the name
        raise SurveyError(
            say("{file!r} is no file name: {reason}.", file=str(path)[:40], reason=error)
        ) from None
    except OSError as error:
        raise SurveyError(
            say("{file} cannot be read: {reason}.", file=path, reason=error.strerror or error)
        ) from None
    if len(data) > most:
        raise SurveyError(
            say(
                "{file} holds more than {size}; no table of readings does.",
                file=path,
                size=size_words(most),
            )
        )
    return data
