"""A survey folder as one file: a ZIP that gives back every byte of what was packed."""

import io
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import PurePosixPath

from flatcheck.document import DOCUMENT, table_files
from flatcheck.errors import SurveyError
from flatcheck.fields import MOST_BYTES as MOST_DOCUMENT
from flatcheck.language import say
from flatcheck.readers.cells import MOST_BYTES, size_words


def packed(files: Mapping[str, bytes]) -> bytes:
    """The files of a survey folder as a ZIP; the same files give the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, data in files.items():
            # Without a time of its own: ZipInfo begins in 1980.
            pack.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def unpacked(name: str, data: bytes) -> dict[str, bytes]:
    """The files of the survey in a ZIP called `name`, its document first.

    Its folder may stand in another one; what the document does not name is left out.
    Raises SurveyError for a file without one survey, or that holds more than a survey does.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as pack:
            names = [item for item in pack.namelist() if PurePosixPath(item).name == DOCUMENT]
            if len(names) != 1:
                raise SurveyError(
                    say(
                        "{file} holds {count} files named {document}; one is needed.",
                        file=name,
                        count=len(names),
                        document=DOCUMENT,
                    )
                )
            folder = names[0].removesuffix(DOCUMENT)
            files = {DOCUMENT: _member(pack, names[0], MOST_DOCUMENT)}
            left = MOST_BYTES
            for table in table_files(files[DOCUMENT].decode("utf-8-sig")):
                files[table] = _member(pack, folder + table, left)
                left -= len(files[table])
    except KeyError as error:
        raise SurveyError(f"{name}: {str(error.args[0])[:200]}.") from None
    except UnicodeDecodeError:
        raise SurveyError(
            say("{file}: {document} is not a text file.", file=name, document=DOCUMENT)
        ) from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise SurveyError(
            say("{file} cannot be unpacked: {reason}.", file=name, reason=error)
        ) from None
    return files


def _member(pack: zipfile.ZipFile, name: str, most: int) -> bytes:
    with pack.open(name) as file:
        data = file.read(most + 1)  # what the file says of its size need not be so
    if len(data) > most:
        raise SurveyError(
            say(
                "{file} is larger than the {size} that are left for it.",
                file=name,
                size=size_words(most),
            )
        )
    return data
