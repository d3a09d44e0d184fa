"""The sample surveys get the verdicts that the README promises, from core and shell alike."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.commands.said import tile_section
from flatcheck.lippage import judge_steps
from flatcheck.readers.folder import BARE_KINDS, edited, read_folder, write_folder
from flatcheck.rules import grade_of
from flatcheck.survey import DECISIONS, Observation, Step, Survey
from flatcheck.tables import kinds, readings_of, steps_of, tiles_of
from flatcheck.verdict import gravest
from flatcheck.warpage import Bench, Pair

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_surveys"
STATUS = {"within": 0, "out": 1, "too close to call": 3, "not assessed": 3}


def promised(part: str = "The sample surveys") -> list[tuple[str, ...]]:
    """The rows of a table of samples in README."""
    table = (ROOT / "README.md").read_text().split(f"## {part}\n")[1].split("\n## ")[0]
    rows = [
        tuple(cell.strip() for cell in line.strip("|").split("|"))
        for line in table.splitlines()
        if line.startswith("|")
    ]
    return rows[2:]


def _seen(survey: Survey) -> tuple[Observation | Step | Bench | Pair, ...]:
    return (*readings_of(survey), *steps_of(survey), *tiles_of(survey))


SLABS = promised("A straightedge sample")


def named(standard: str) -> tuple[str, list[str], str]:
    """The standards of a row: for flatness, for falls, and for lippage, "" where there is none."""
    rule, *others = standard.split(" + ")
    steps = [name for name in others if grade_of(name)[0].about == "lippage"]
    return rule, [name for name in others if name not in steps], "".join(steps)


def test_every_sample_is_promised() -> None:
    """Each folder of sample_surveys stands in the README, and nothing else does."""
    folders = {path.name for path in SAMPLES.iterdir() if path.is_dir()}

    assert {row[0] for row in (*promised(), *SLABS)} == folders
    assert len(folders) >= 4


@pytest.mark.parametrize("row", promised(), ids=lambda row: f"{row[0]} {row[1]} {row[2]}")
def test_sample_verdict(row: tuple[str, ...]) -> None:
    """A sample gets its promised verdict under both decision rules."""
    name, tile, standard, verdict, as_read, _ = row
    rule, falls, lippage = named(standard)
    sections: dict[str, dict[str, object]] = {
        "standard": {"rule": rule, "falls": falls, "lippage": lippage}
    }
    if tile != "-":
        sections["tile"] = tile_section(tile)
    survey = edited(read_folder(SAMPLES / name), sections)
    assessment = assess(survey) if rule != "none" or falls else None
    found = [assessment.verdict] if assessment else []
    if steps := judge_steps(survey, assessment):
        found.append(steps)

    assert str(gravest(one.guarded for one in found)) == verdict
    assert str(gravest(one.as_read for one in found)) == as_read


@pytest.mark.parametrize("row", promised(), ids=lambda row: f"{row[0]} {row[1]} {row[2]}")
@pytest.mark.parametrize("decision", DECISIONS)
def test_sample_from_the_shell(row: tuple[str, ...], decision: str) -> None:
    """The command line says the same in its first words and in its exit status."""
    name, tile, standard, verdict, as_read, _ = row
    command = [sys.executable, "-m", "flatcheck", "check", f"sample_surveys/{name}"]
    rule, falls, lippage = named(standard)
    command += ["--standard", rule, "--decision", decision]
    command += ["--falls", ",".join(falls)] if falls else []
    command += ["--lippage", lippage] if lippage else []
    command += ["--tile", tile] if tile != "-" else []
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    expected = as_read if decision == "as read" else verdict

    assert ran.stdout.startswith(expected.upper())
    assert ran.returncode == STATUS[expected]
    assert ran.stderr == ""


@pytest.mark.parametrize("row", SLABS, ids=lambda row: row[0])
@pytest.mark.parametrize("decision", DECISIONS)
def test_slabs_and_samples_from_the_shell(
    row: tuple[str, ...], decision: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Slabs and samples end as README says, in the first words and in the exit status."""
    name, command, verdict, as_read, _ = row
    expected = as_read if decision == "as read" else verdict
    assert main([command, str(SAMPLES / name), "--decision", decision]) == STATUS[expected]
    assert capsys.readouterr().out.startswith(expected.upper())


@pytest.mark.parametrize("name", sorted({row[0] for row in (*promised(), *SLABS)}))
def test_sample_is_written_back_the_same(name: str, tmp_path: Path) -> None:
    """Reading a sample and writing it gives the same document and the same cells."""
    survey = read_folder(SAMPLES / name)
    write_folder(survey, tmp_path / "copy")

    assert read_folder(tmp_path / "copy") == survey
    assert (tmp_path / "copy" / "survey.toml").read_bytes() == (
        SAMPLES / name / "survey.toml"
    ).read_bytes()


def test_readme_survey_document_is_valid(tmp_path: Path) -> None:
    """The documented format is one that flatcheck reads: README's example, with a table."""
    readme = (ROOT / "README.md").read_text()
    document = re.search(r"```toml\n(.*?)```", readme, re.DOTALL).group(1)
    (tmp_path / "survey.toml").write_text(document)
    rows = (SAMPLES / "millbrook-plywood" / "laser.csv").read_text()
    inside_island = {"4' 6\"", "5' 6\""}
    kept = [
        line for line in rows.splitlines() if line.split(",")[0].strip('"') not in inside_island
    ]
    (tmp_path / "laser.csv").write_text("\n".join(kept))

    assert read_folder(tmp_path).title == "Kitchen subfloor, Millbrook"


TABLES = re.findall(
    r"```toml\n(\[\[table\]\]\n.*?)```\n\n```\n(.*?)```",
    (ROOT / "README.md").read_text(),
    re.DOTALL,
)


def test_readme_shows_every_kind_of_table() -> None:
    """README has an example of each kind of table: a bare one, or with its entry."""
    shown = {tomllib.loads(entry)["table"][0]["kind"] for entry, _ in TABLES}
    assert shown | set(BARE_KINDS) == set(kinds())
    assert {"gaps", "tilts", "corners", "steps", "bench", "pairs", "benchmarks"} == shown


@pytest.mark.parametrize(
    ("entry", "rows"), TABLES, ids=[tomllib.loads(e)["table"][0]["kind"] for e, _ in TABLES]
)
def test_readme_tables_are_read(entry: str, rows: str, tmp_path: Path) -> None:
    """Each example of a table is one that flatcheck reads, every row of it."""
    head = 'flatcheck = 1\n[units]\nreadings = "in"\noffsets = "ft"\n'
    head += '[instrument]\nuncertainty = "1/64 in"\n'
    (tmp_path / "survey.toml").write_text(head + entry)
    (tmp_path / tomllib.loads(entry)["table"][0]["file"]).write_text(rows)
    survey = read_folder(tmp_path)
    found = {seen.where.split(",")[1] for seen in _seen(survey)}

    assert len(found) == len(rows.splitlines()) - 1
