"""What a command writes to a file."""

from pathlib import Path

from flatcheck.errors import SurveyError
from flatcheck.language import say

SHEETS = (".html", ".csv")
"""What a reading sheet can be written as."""


def may_write(sheet: Path, overwrite: bool, kinds: tuple[str, ...] = SHEETS) -> None:
    """Raises SurveyError for a sheet of another kind, or in the place of a file that is there."""
    if sheet.suffix.lower() not in kinds:
        raise SurveyError(
            say("{sheet}: a sheet is a {kinds} file.", sheet=sheet, kinds=say(" or ").join(kinds))
        )
    if sheet.exists() and not overwrite:
        raise SurveyError(
            say("{file} is there already; say --overwrite, or give it another name.", file=sheet)
        )


def is_table(sheet: Path) -> bool:
    return sheet.suffix.lower() == ".csv"


def write_sheet(sheet: Path, page: str | bytes, overwrite: bool) -> None:
    data = page if isinstance(page, bytes) else page.encode()
    try:
        with sheet.open("wb" if overwrite else "xb") as out:
            out.write(data)
    except OSError as error:
        raise SurveyError(
            say("{file} cannot be written: {reason}.", file=sheet, reason=error.strerror or error)
        ) from None
