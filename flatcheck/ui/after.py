"""Before and after the work: the floor read again, and what changed."""

import io
import zipfile
import zlib
from pathlib import PurePosixPath

import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.change import changed
from flatcheck.correction import Fix
from flatcheck.document import DOCUMENT, table_files
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.fields import MOST_BYTES as MOST_DOCUMENT
from flatcheck.readers.cells import MOST_BYTES, cells_of, size_words
from flatcheck.readers.folder import checked
from flatcheck.report.change import change_html, change_words
from flatcheck.survey import Survey
from flatcheck.ui.depths import map_of_change
from flatcheck.ui.figures import map_aspect
from flatcheck.ui.markup import draw, listed, offer, paragraphs, tell, word, write

CHANGE_KEY = (
    "X: lower than before, O: higher, beyond reading error, with how much. Small dots did not "
    "change beyond reading error."
)


def before_and_after(source: str, before: Assessment, plan: Fix | None) -> None:
    """Asks for the floor as read after the work; shows what changed, against the plan if any."""
    with st.expander("Before and after: the floor read again", key=f"again {source}"):
        file = st.file_uploader(
            "The same table read again, or a survey folder as ZIP",
            ["csv", "tsv", "txt", "xlsx", "zip"],
            key=f"after {source}",
        )
        if not file:
            return
        try:
            after = assess(read_again(before.survey, file.name, file.getvalue()))
            change = changed(before, after, plan)
        except FlatcheckError as error:
            tell(error)
            return
        write(
            f"<p>{word(after.verdict.outcome)} after the work</p>",
            f"<p>The plan is that of {plan.proposal.title.lower()}, as above.</p>" if plan else "",
            listed(change_words(change, after)),
        )
        draw(map_of_change(before, change), "change", map_aspect(before))
        write(paragraphs([CHANGE_KEY], "fine"))
        sheet = change_html(change, before, after)
        offer(st.container(), "Before and after as a sheet to print", sheet, "change.html")


def read_again(before: Survey, name: str, data: bytes) -> Survey:
    """The survey after the work: a zipped survey folder, or the one table of `before` read anew.

    Raises SurveyError for a file that is neither.
    """
    if name.lower().endswith(".zip"):
        return zipped(name, data)
    if len(before.tables) != 1:
        raise SurveyError(
            f"{name}: this survey has {len(before.tables)} tables; zip the folder of the new one."
        )
    return checked(before.document, {before.tables[0].name: cells_of(name, data)})


def zipped(name: str, data: bytes) -> Survey:
    """The survey in a ZIP file, whose folder may stand in another one.

    Raises SurveyError for a file without one survey, or that holds more than a survey does.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            names = [item for item in packed.namelist() if PurePosixPath(item).name == DOCUMENT]
            if len(names) != 1:
                raise SurveyError(
                    f"{name} holds {len(names)} files named {DOCUMENT}; one is needed."
                )
            folder = names[0].removesuffix(DOCUMENT)
            document = _unpacked(packed, names[0], MOST_DOCUMENT).decode("utf-8-sig")
            left, cells = MOST_BYTES, {}
            for table in table_files(document):
                found = _unpacked(packed, folder + table, left)
                left -= len(found)
                cells[table] = cells_of(table, found)
    except KeyError as error:
        raise SurveyError(f"{name}: {str(error.args[0])[:200]}.") from None
    except UnicodeDecodeError:
        raise SurveyError(f"{name}: {DOCUMENT} is not a text file.") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise SurveyError(f"{name} cannot be unpacked: {error}.") from None
    return checked(document, cells)


def _unpacked(packed: zipfile.ZipFile, name: str, most: int) -> bytes:
    with packed.open(name) as file:
        data = file.read(most + 1)  # what the file says of its size need not be so
    if len(data) > most:
        raise SurveyError(f"{name} is larger than the {size_words(most)} that are left for it.")
    return data
