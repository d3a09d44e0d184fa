"""Everything as CSV: numbers stay numbers, texts stay texts, and nothing is worked out."""

import csv
import io
import math
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatcheck.cli import main
from flatcheck.correction import marks
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.case import Case, case_of, judged
from flatcheck.report.glossary import COLUMNS
from flatcheck.report.ledger import cell, packed, tables
from flatcheck.report.relief import departures_of
from flatcheck.survey import Survey

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if read_folder(path.parent).sample is None  # bars laid by lot are judged by `tally` alone
)


def sample(name: str) -> Survey:
    """A sample survey."""
    return read_folder(SAMPLES / name)


def plain(survey: Survey) -> Case:
    """A survey with its verdicts alone."""
    return Case(survey, *judged(survey))


def frames(case: Case) -> dict[str, pd.DataFrame]:
    """The tables as pandas reads them, out of the ZIP."""
    with zipfile.ZipFile(io.BytesIO(packed(case))) as held:
        return {name: pd.read_csv(held.open(name)) for name in held.namelist()}


@pytest.mark.parametrize("name", NAMES)
def test_every_column_is_told(name: str) -> None:
    """Each file has the columns that columns.csv tells, in that order, with a meaning."""
    read = frames(plain(sample(name)))
    told = read["columns.csv"]
    assert set(told["file"]) == set(read)
    assert told["meaning"].str.len().min() > 3
    for file, frame in read.items():
        assert list(frame.columns) == list(told[told["file"] == file]["column"])
        assert len(frame)


@pytest.mark.parametrize("name", NAMES)
def test_numbers_are_numbers(name: str) -> None:
    """A column that has a unit is read as numbers by a general reader, in every file."""
    for file, frame in frames(plain(sample(name))).items():
        for column, unit, _ in COLUMNS[file.removesuffix(".csv")]:
            if unit:
                assert pd.api.types.is_numeric_dtype(frame[column]), f"{file}: {column}"


@pytest.mark.parametrize("name", NAMES)
def test_what_is_read_back_is_what_was_found(name: str) -> None:
    """Heights, departures, findings and spots come back to a millionth of a millimeter."""
    case = plain(sample(name))
    read = frames(case)
    if case.assessment:
        floor, verdict = case.assessment.surface, case.assessment.verdict
        there = read["stations.csv"]
        assert there[["x_mm", "y_mm"]].to_numpy() == pytest.approx(floor.xy_mm, abs=1e-6)
        assert there["height_mm"].to_numpy() == pytest.approx(floor.height_mm, abs=1e-6)
        above = departures_of(case.assessment)
        assert there["departure_mm"].to_numpy() == pytest.approx(above, abs=1e-6, nan_ok=True)
        rules = read["rules.csv"]
        assert list(rules["words"]) == [finding.rule.words for finding in verdict.findings]
        assert list(rules["allowing_for_reading_error"]) == [f.outcome for f in verdict.findings]
        worst = [f.worst.value_mm if f.worst else math.nan for f in verdict.findings]
        assert rules["value_mm"].to_numpy(float) == pytest.approx(worst, abs=1e-6, nan_ok=True)
        if verdict.spots:
            assert list(read["spots.csv"]["spot"]) == [spot.number for spot in verdict.spots]
            area = [spot.area_mm2 / 1e6 for spot in verdict.spots]
            assert read["spots.csv"]["area_m2"].to_numpy() == pytest.approx(area, abs=1e-6)
        readings = read["readings.csv"]
        known = readings[readings["kind"] != "step"]
        assert len(known) == len(case.assessment.readings)
        assert list(known["u_mm"]) == pytest.approx(
            [seen.u_mm for seen in case.assessment.readings], abs=1e-6
        )
    if case.lippage:
        assert len(read["joints.csv"]) == len(case.lippage.joints)
    facts = dict(read["survey.csv"].itertuples(index=False))
    assert facts["fingerprint of the readings"] == fingerprint(canonical(case.survey))
    assert facts["outcome"] == case.outcome


def test_uncertainty_of_independent_heights() -> None:
    """Where each place was read once from one setup, u is that of the reading."""
    case = plain(sample("millbrook-plywood"))
    read = frames(case)
    assert read["stations.csv"]["u_mm"].to_numpy() == pytest.approx(
        read["readings.csv"]["u_mm"].to_numpy(), abs=1e-6
    )
    assert read["readings.csv"]["residual_mm"].abs().max() == pytest.approx(0, abs=1e-6)


def test_what_is_open_is_blank() -> None:
    """A survey of gaps alone fixes no height, so no height has an uncertainty."""
    there = frames(plain(sample("tern-quay-bars-only")))["stations.csv"]
    assert there["u_mm"].isna().all()
    assert there["height_mm"].notna().all()


def test_a_reading_set_aside() -> None:
    """A misread rod is marked in the table of readings, and no other."""
    case = plain(sample("cobbler-yard-mixed"))
    assert case.assessment is not None
    read = frames(case)["readings.csv"]
    aside = read[read["set_aside"] == "yes"]["reading"].tolist()
    assert aside == [suspect.number for suspect in case.assessment.adjusted.suspects]
    assert aside


def test_the_correction_and_the_change() -> None:
    """Remedies, marks and changes come back as they were worked out, without prices."""
    case = case_of(sample("withy-lane-dips"))
    assert case.choice is not None
    assert case.fix is not None
    read = frames(case)
    remedies = read["remedies.csv"].set_index("remedy")
    own = remedies.loc[case.fix.proposal.id]
    assert own["chosen"] == "yes"
    assert (own["bags"], own["fill_l"]) == pytest.approx(
        (case.fix.takes.bags, case.fix.takes.fill_l), abs=1e-6
    )
    depths = [abs(mark.depth_mm) for mark in marks(case.choice.site, case.fix.proposal)]
    assert read["marks.csv"]["depth_mm"].to_numpy() == pytest.approx(depths, abs=1e-6)
    assert not any("money" in column or "price" in column for column in remedies)
    worked = case_of(sample("gorse-yard-ground"), sample("gorse-yard-humps"))
    assert worked.change is not None
    changes = frames(worked)["changes.csv"]
    assert changes["rise_mm"].to_numpy() == pytest.approx(worked.change.rise_mm, abs=1e-6)
    sure = np.abs(worked.change.rise_mm) > 2 * worked.change.u_mm
    assert list(changes["beyond_reading_error"] == "yes") == list(sure)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("=1+1", "'=1+1"),
        ("  =cmd|'/c calc'!A1", "'  =cmd|'/c calc'!A1"),
        ("+SUM(A1)", "'+SUM(A1)"),
        ("-2+3", "'-2+3"),
        ("@now", "'@now"),
        ("\t=1", "'\t=1"),
        ("\rtext", "'\rtext"),
        ("＝1", "'＝1"),
        ("3/16", "'3/16"),
        ("1-2", "'1-2"),
        ("2026-05-06", "'2026-05-06"),
        ("-1/8", "'-1/8"),
        ("47 1/2", "47 1/2"),
        ("-3.5", "-3.5"),
        ("+3", "+3"),
        ("4,5", "4,5"),
        ("wall = north", "wall = north"),
        (-3.25, "-3.25"),
        (1e-9, "0"),
        (-1e-9, "0"),
        (1234567.125, "1234567.125"),
        (math.nan, ""),
        (math.inf, ""),
        (None, ""),
        (True, "yes"),
        (7, "7"),
    ],
)
def test_cells(value: str | float | None, written: str) -> None:
    """A text that a spreadsheet would work out, or make a date of, gets an apostrophe in front."""
    assert cell(value) == written


@given(st.text(max_size=30))
def test_no_text_is_a_formula(text: str) -> None:
    """Whatever was typed, the cell does not begin as a formula does, unless it is a number."""
    said = cell(text)
    start = said.lstrip()[:1]
    assert said in (text, f"'{text}")
    assert start not in set("=+-@＝＋－＠") or said.replace(",", ".").lstrip("+-")[0].isdecimal()
    assert said[:1] not in set("\t\r\n")


def test_hostile_names_stay_in_their_cells() -> None:
    """Formulas, separators and line ends in names come back as the texts they are."""
    nasty = '=HYPERLINK("http://elsewhere.example";"x")\n;=1,+2\t@3'
    survey = sample("saltmarsh-l-shaped")
    cells = {table.name: table.cells for table in survey.tables}
    named = edited(checked(survey.document, cells), {"survey": {"title": nasty, "by": "@me"}})
    text = tables(plain(named))["survey.csv"]
    rows = list(csv.reader(io.StringIO(text, newline="")))
    facts = {row[0]: row[1] for row in rows}
    assert all(len(row) == 2 for row in rows)
    assert facts["title"] == f"'{' '.join(nasty.split())}"
    assert facts["read by"] == "'@me"


def test_same_bytes_twice() -> None:
    """The ZIP of one case is the same bytes whenever it is made."""
    case = plain(sample("millbrook-plywood"))
    assert packed(case) == packed(case)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--tables` writes a ZIP or a folder with the same files, and overwrites nothing."""
    one, other = tmp_path / "tables.zip", tmp_path / "tables"
    survey = str(SAMPLES / "tern-quay-bars-only")
    assert main(["report", survey, "--tables", str(one)]) == 0
    assert main(["report", survey, "--tables", str(other)]) == 0
    with zipfile.ZipFile(one) as held:
        assert sorted(held.namelist()) == sorted(path.name for path in other.iterdir())
        for name in held.namelist():
            assert held.read(name) == (other / name).read_bytes()
            assert held.read(name).startswith(b"\xef\xbb\xbf")
    assert main(["report", survey, "--tables", str(one)]) == 2
    assert "is there already" in capsys.readouterr().err
