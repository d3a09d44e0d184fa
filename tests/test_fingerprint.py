"""The canonical text of the readings and its fingerprint."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatcheck.errors import SurveyError
from flatcheck.fingerprint import canonical, differences, fingerprint, tables_in
from flatcheck.readers.folder import checked, edited, read_folder, write_folder

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
NAMES = sorted(path.parent.name for path in SAMPLES.glob("*/survey.toml"))
CALLED = ("the report", "the survey")


@pytest.mark.parametrize("name", NAMES)
def test_holds_every_cell(name: str) -> None:
    """The canonical text is ASCII, and every table stands in it cell by cell as written."""
    survey = read_folder(SAMPLES / name)
    text = canonical(survey)
    assert text.isascii()
    assert [(t.name, [list(row) for row in t.cells]) for t in survey.tables] == [
        (file, rows) for file, (_, rows) in tables_in(text)
    ]


def test_worked_out_without_flatcheck(tmp_path: Path) -> None:
    """The fingerprint is what sha256sum says of the text in a file."""
    text = canonical(read_folder(SAMPLES / "millbrook-plywood"))
    (tmp_path / "readings").write_bytes(text.encode())
    assert fingerprint(text) == hashlib.sha256(text.encode()).hexdigest()
    if tool := shutil.which("sha256sum"):
        said = subprocess.run([tool, tmp_path / "readings"], capture_output=True, text=True)
        assert said.stdout.split()[0] == fingerprint(text)


def test_does_not_depend_on_the_question(tmp_path: Path) -> None:
    """Another tile, rule, title or unit to say lengths in leaves it; so does a copy."""
    survey = read_folder(SAMPLES / "millbrook-plywood")
    asked = edited(
        survey,
        {
            "tile": {"length": "8 in", "width": "8 in"},
            "standard": {"rule": "din-18202:3"},
            "survey": {"title": "another"},
            "units": {"show": "mm"},
        },
    )
    assert canonical(asked) == canonical(survey)
    write_folder(survey, tmp_path / "copy")
    assert canonical(read_folder(tmp_path / "copy")) == canonical(survey)


@pytest.mark.parametrize("name", NAMES)
def test_any_changed_digit_is_named(name: str) -> None:
    """One digit changed in any table changes the fingerprint, and its cell is named, alone."""
    survey = read_folder(SAMPLES / name)
    text = canonical(survey)
    for k, table in enumerate(survey.tables):
        r, c, cell = next(
            (r, c, cell)
            for r, row in reversed(list(enumerate(table.cells)))
            for c, cell in reversed(list(enumerate(row)))
            if any(sign.isdigit() for sign in cell)
        )
        last = next(sign for sign in reversed(cell) if sign.isdigit())
        other = cell[::-1].replace(last, str((int(last) + 1) % 10), 1)[::-1]
        lines = text.splitlines(keepends=True)
        at = [i for i, line in enumerate(lines) if line.startswith("{")][k + 1] + 1 + r
        row = json.loads(lines[at])
        row[c] = other
        lines[at] = json.dumps(row, separators=(",", ":")) + "\n"
        changed = "".join(lines)
        assert fingerprint(changed) != fingerprint(text)
        (said,) = differences(text, changed, CALLED)
        assert said.startswith(f"{table.name}, row {r + 1}, cell ")
        assert said.endswith(f" is {cell!r} in the report and {other!r} in the survey.")


def test_a_changed_meaning_is_named() -> None:
    """Readings in another unit, or an elevation for a rod, are other readings."""
    survey = read_folder(SAMPLES / "millbrook-plywood")
    cells = {table.name: table.cells for table in survey.tables}
    other = checked(survey.document.replace('sense = "rod"', 'sense = "elevation"'), cells)
    assert differences(canonical(survey), canonical(other), CALLED) == [
        'laser.csv: sense is "rod" in the report and "elevation" in the survey.'
    ]


def test_tables_and_rows_too_many() -> None:
    """A table, or a row, that only one of the two has is named."""
    text = canonical(read_folder(SAMPLES / "millbrook-plywood"))
    more = text + '["new",""]\n'
    rows = len(tables_in(text)[0][1][1])
    assert differences(text, more, CALLED) == [
        f"laser.csv, row {rows + 1}, cell A{rows + 1} is '' in the report and 'new' in the survey."
    ]
    assert differences(text, text.splitlines(keepends=True)[0], CALLED) == [
        "the report holds the table laser.csv, and the survey does not."
    ]


@given(st.text(max_size=200))
def test_any_other_text_is_refused(text: str) -> None:
    """What is not canonical is refused in a sentence, whatever it is."""
    with pytest.raises(SurveyError, match="form"):
        tables_in(text)


@pytest.mark.parametrize("text", ['{"flatcheck readings":1}\n[1]\n', '{"flatcheck readings":2}\n'])
def test_another_form_is_refused(text: str) -> None:
    """Rows without a table, and a later form, are refused."""
    with pytest.raises(SurveyError):
        tables_in(text)
