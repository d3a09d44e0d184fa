"""`flatcheck verify`: a report agrees with itself, and whatever was changed in it is named."""

import json
import re
from datetime import date
from html import escape
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatcheck.cli import main
from flatcheck.errors import SurveyError
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.readers.folder import checked, edited, read_folder, write_folder
from flatcheck.report.case import Case, judged
from flatcheck.report.dossier import report_html
from flatcheck.report.proof import apart_from, proof_words, proven

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if read_folder(path.parent).sample is None  # bars laid by lot are judged by `tally` alone
)
DAY = date(2026, 11, 25)


def report(name: str) -> str:
    """The report of a sample, without a correction."""
    survey = read_folder(SAMPLES / name)
    return report_html(Case(survey, *judged(survey)), DAY)


KITCHEN = report("millbrook-plywood")


def problems(text: str) -> tuple[str, ...]:
    """What does not agree in a report."""
    return proven("report.html", text.encode()).problems


def changed(text: str, old: str, new: str) -> str:
    """A text with the one place of a piece of it changed."""
    assert text.count(old) == 1, f"{old} stands there {text.count(old)} times"
    return text.replace(old, new)


@pytest.mark.parametrize("name", NAMES)
def test_every_sample_agrees(name: str) -> None:
    """A report just made agrees with itself, and with its survey, to the last digit."""
    survey = read_folder(SAMPLES / name)
    found = proven("report.html", report(name).encode())
    assert found.problems == ()
    assert found.fingerprint == fingerprint(canonical(survey))
    assert apart_from(found, survey) == []


def test_as_mail_may_leave_it() -> None:
    """Carriage returns and a byte order mark that a mail program puts in change nothing."""
    assert proven("report.html", KITCHEN.replace("\n", "\r\n").encode("utf-8-sig")).problems == ()


@pytest.mark.parametrize("place", ["1:4:4", "1:2:2", "1:10:13", "1:1:3"])
def test_a_digit_changed_in_the_table(place: str) -> None:
    """One digit changed in the table that is shown is named, by its cell and both readings."""
    cell = re.search(rf'data-at="{place}">(.*?)<', KITCHEN)[1]
    digit = next(sign for sign in cell if sign.isdigit())
    other = cell.replace(digit, str((int(digit) + 1) % 10), 1)
    (said,) = problems(
        changed(KITCHEN, f'data-at="{place}">{cell}<', f'data-at="{place}">{other}<')
    )
    _, row, column = map(int, place.split(":"))
    assert said.startswith(f"laser.csv, row {row}, cell {chr(64 + column)}{row} is ")
    assert said.endswith("in the text that is hashed.")


def test_a_digit_changed_in_the_hashed_text() -> None:
    """One digit changed in the hashed text breaks the fingerprint, and its cell is named."""
    row = next(line for line in KITCHEN.splitlines() if line.startswith("[&quot;3&#x27; 6"))
    said = problems(changed(KITCHEN, row, row.replace("47 ", "46 ", 1)))
    assert said[0].startswith("It shows the fingerprint ")
    assert any(re.match(r"laser\.csv, row \d+, cell B\d+ is '47 .*' in the table", s) for s in said)


def test_both_and_the_fingerprint_changed() -> None:
    """Who changes all three is not found out by the file, but by the survey, digit by digit."""
    survey = read_folder(SAMPLES / "millbrook-plywood")
    (table,) = survey.tables
    rows = [list(row) for row in table.cells]
    rows[3][3] = "47 15/16"
    forged = checked(survey.document, {table.name: tuple(map(tuple, rows))})
    text = report_html(Case(forged, *judged(forged)), DAY)
    found = proven("report.html", text.encode())
    assert found.problems == ()
    assert found.fingerprint != fingerprint(canonical(survey))
    (said,) = apart_from(found, survey)
    assert said == (
        f"laser.csv, row 4, cell D4 is '47 15/16' in the report and {table.cells[3][3]!r} in the "
        "survey."
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('id="verdict">OUT<', 'id="verdict">WITHIN<', "It says WITHIN, and its readings give OUT."),
        (
            'class="outcome">OUT<',
            'class="outcome">WITHIN<',
            "It says WITHIN of 'No gap over 1/8 in",
        ),
        (
            '<b class="rule">No gap over 1/8 in',
            '<b class="rule">No gap over 1/2 in',
            "It shows the rule 'No gap over 1/2 in",
        ),
        (
            escape("[tile]\nlength"),
            escape("[tile]\nwarpage = 3\nlength"),
            "Its readings cannot be judged again: ",
        ),
    ],
)
def test_a_changed_verdict(old: str, new: str, said: str) -> None:
    """A verdict, a rule or a survey that the readings do not give is named."""
    assert any(words.startswith(said) for words in problems(changed(KITCHEN, old, new)))


def test_another_question_is_another_verdict() -> None:
    """The tile changed in the survey of the file gives another verdict than it shows."""
    text = KITCHEN.replace("length = &quot;24 in&quot;", "length = &quot;12 in&quot;")
    assert text != KITCHEN
    assert problems(text)


def test_a_changed_unit_is_named() -> None:
    """Readings that the file's own survey takes for another unit are named."""
    text = changed(KITCHEN, "readings = &quot;in&quot;", "readings = &quot;ft&quot;")
    assert 'laser.csv: readings is "ft" in its survey and "in" in the text that is hashed.' in (
        problems(text)
    )


def test_a_cell_taken_out() -> None:
    """A reading that is shown no more is named; so is one that was put in."""
    cell = re.search(r'<td data-at="1:5:5">.*?</td>', KITCHEN)[0]
    assert problems(KITCHEN.replace(cell, "")) == ("laser.csv, row 5, cell E5 is not shown.",)
    more = KITCHEN.replace(cell, f'{cell}<td data-at="1:99:1">9</td>')
    assert problems(more) == (
        "cell 1:99:1 is '9' in the table that is shown and '' in the text that is hashed.",
    )


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe\x00",
        b"<html></html>",
        b"\x00" * 100,
        KITCHEN[: len(KITCHEN) // 2].encode(),
        KITCHEN.replace('id="survey"', 'id="other"').encode(),
        (KITCHEN + KITCHEN).encode(),
        re.sub(r'(id="readings">\n).*?</pre>', r"\1[1]</pre>", KITCHEN, flags=re.S).encode(),
    ],
)
def test_what_is_no_report(data: bytes) -> None:
    """Any other file is refused in one sentence."""
    with pytest.raises(SurveyError):
        proven("file.html", data)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_damage_is_a_sentence(data: st.DataObject) -> None:
    """However a report is damaged, it is refused or its faults are told; nothing breaks."""
    raw = bytearray(KITCHEN.encode())
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at] = data.draw(st.integers(0, 255))
    try:
        found = proven("report.html", bytes(raw))
    except SurveyError:
        return
    assert proof_words("report.html", found, None)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its status says it: 0 it agrees, 1 it does not, 2 it is no report."""
    path = tmp_path / "report.html"
    path.write_text(KITCHEN, encoding="utf-8", newline="")
    own, other = SAMPLES / "millbrook-plywood", SAMPLES / "withy-lane-dips"
    assert main(["verify", str(path)]) == 0
    assert main(["verify", str(path), str(own)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "They are the readings of the survey, to the last digit, judged as it asks." in said
    assert fingerprint(canonical(read_folder(own))) in said
    assert main(["verify", str(path), str(other)]) == 1
    assert "They are not the readings of the survey, or not judged" in capsys.readouterr().out
    path.write_text(KITCHEN.replace('id="verdict">OUT', 'id="verdict">WITHIN'), encoding="utf-8")
    assert main(["verify", str(path)]) == 1
    assert main(["verify", str(SAMPLES / "README.md")]) == 2
    assert main(["verify", str(own / "laser.csv")]) == 2


@pytest.mark.parametrize(
    "foreign",
    [
        "<script>document.body.textContent = 'WITHIN'</script>",
        '<p style="display:none">x</p>',
        "<p hidden>x</p>",
        '<img src="data:," onerror="alert(1)">',
        "<iframe></iframe>",
    ],
)
def test_markup_of_others_is_told(foreign: str) -> None:
    """What could hide what a report says, or show something else, is told by its element."""
    assert any(
        "does not write" in words
        for words in problems(KITCHEN.replace("</h1>", "</h1>" + foreign, 1))
    )


def test_a_laxer_rule_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same readings judged by a laxer rule, or for another tile, are not as the survey asks."""
    survey = read_folder(SAMPLES / "gorse-yard-humps")
    for sections in ({"standard": {"rule": "bs-8204:SR3"}}, {"tile": {"length": "100 mm"}}):
        changed_survey = edited(survey, sections)
        case = Case(changed_survey, *judged(changed_survey))
        path = tmp_path / "lax.html"
        path.write_text(report_html(case, DAY), encoding="utf-8", newline="")
        assert main(["verify", str(path)]) == 0
        capsys.readouterr()
        assert main(["verify", str(path), str(SAMPLES / "gorse-yard-humps")]) == 1
        said = " ".join(capsys.readouterr().out.split())
        assert f"The {next(iter(sections))} of the report is not that of the survey" in said
    same = edited(survey, {"standard": {"falls": [], "decision": survey.decision}})
    path.write_text(report_html(Case(same, *judged(same)), DAY), encoding="utf-8", newline="")
    assert main(["verify", str(path), str(SAMPLES / "gorse-yard-humps")]) == 0
    inches = edited(survey, {"units": {"show": "in/16"}})
    shown = Case(inches, *judged(inches))
    path.write_text(report_html(shown, DAY), encoding="utf-8", newline="")
    assert main(["verify", str(path), str(SAMPLES / "gorse-yard-humps")]) == 0


def test_many_differences_are_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A survey with every reading changed is told by its first twenty cells and their number."""
    survey = read_folder(SAMPLES / "millbrook-plywood")
    (table,) = survey.tables
    rows = tuple(tuple(cell.replace("47", "48") for cell in row) for row in table.cells)
    folder = tmp_path / "other"
    write_folder(checked(survey.document, {table.name: rows}), folder)
    path = tmp_path / "report.html"
    path.write_text(KITCHEN, encoding="utf-8", newline="")
    assert main(["verify", str(path), str(folder)]) == 1
    said = capsys.readouterr().out
    assert re.search(r"  and \d+ more\.", said)
    assert said.count("laser.csv, row") == 20


def test_units_shown_do_not_matter() -> None:
    """The same survey said in millimeters gives a report of the same readings."""
    survey = edited(read_folder(SAMPLES / "millbrook-plywood"), {"units": {"show": "mm"}})
    found = proven("report.html", report_html(Case(survey, *judged(survey)), DAY).encode())
    assert found.problems == ()
    assert found.fingerprint == proven("report.html", KITCHEN.encode()).fingerprint


def test_the_text_is_json_lines() -> None:
    """The hashed text in a report is one JSON value a line, as its words say."""
    found = proven("report.html", KITCHEN.encode())
    values = [json.loads(line) for line in found.readings.splitlines()]
    assert values[0] == {"flatcheck readings": 1}
    assert found.readings.endswith("\n")
