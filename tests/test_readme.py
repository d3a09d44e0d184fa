"""README: its examples, followed word by word, are read and judged."""

import re
import shlex
from pathlib import Path

import pytest

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.readers.folder import checked, read_folder
from flatcheck.report.text import text
from flatcheck.tables import kinds, readings_of

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
SAMPLES = Path(__file__).parents[1] / "sample_surveys"

PARTS = {
    title.strip(): body
    for title, body in re.findall(r"^###? (.+?)\n(.*?)(?=^##|\Z)", README, re.M | re.S)
}
"""The text under each heading."""

TABLES = {
    "grid": "A grid",
    "points": "A list of points",
    "gaps": "Gaps under a straightedge",
    "tilts": "Tilts of a level",
    "corners": "Corners of tiles",
    "steps": "Steps across joints",
    "bench": "Tiles on a bench",
    "pairs": "Tiles in pairs",
    "benchmarks": "Benchmarks",
}
"""Where README shows each kind of table."""


def blocks(title: str) -> list[tuple[str, str]]:
    """The language and the text of each block of code under a heading, in order."""
    return re.findall(r"^```(\w*)\n(.*?)^```$", PARTS[title], re.M | re.S)


def only_block(title: str, language: str) -> str:
    (found,) = [code for kind, code in blocks(title) if kind == language]
    return found


DOCUMENT, POINTS = (code for kind, code in blocks("A survey folder") if kind == "toml")
"""The survey that README writes out, and the entry it shows beside it for a list of points."""


def followed(folder: Path, *shown: str) -> Path:
    """The survey folder that README tells of, with the tables of some kinds as it shows them."""
    document = DOCUMENT
    (folder / "laser.csv").write_text(only_block("A grid", ""), encoding="utf-8")
    for kind in shown:
        entry = POINTS if kind == "points" else only_block(TABLES[kind], "toml")
        (name,) = re.findall(r'^file = "(.+)"$', entry, re.M)
        document += f"\n{entry}"
        (folder / name).write_text(only_block(TABLES[kind], ""), encoding="utf-8")
    (folder / "survey.toml").write_text(document, encoding="utf-8")
    return folder


def test_every_kind_of_table_is_shown() -> None:
    """README shows a table of every kind that is read."""
    assert TABLES.keys() == kinds().keys()


def test_the_survey_example(tmp_path: Path) -> None:
    """The survey that README writes out, around its grid, is read and judged."""
    survey = read_folder(followed(tmp_path))
    assert (survey.title, survey.tables[0].kind) == ("Kitchen subfloor, Millbrook", "grid")
    assert text(assess(survey))


@pytest.mark.parametrize("kind", [kind for kind in TABLES if kind != "grid"])
def test_the_table_examples(kind: str, tmp_path: Path) -> None:
    """Each table README shows, with its entry, is read in that survey, and judged."""
    survey = read_folder(followed(tmp_path, kind))
    assert [table.kind for table in survey.tables] == ["grid", kind]
    assert text(assess(survey))


def test_all_table_examples_together(tmp_path: Path) -> None:
    """All of them at once are one survey."""
    survey = read_folder(followed(tmp_path, *(kind for kind in TABLES if kind != "grid")))
    assert len(survey.tables) == len(TABLES)
    assert text(assess(survey))


KEYS = re.findall(r"^# (\w+ = .+?)(?: {2,}#.*)?$", DOCUMENT, re.M)


@pytest.mark.parametrize("line", [line for line in KEYS if not line.startswith(("fall", "toward"))])
def test_keys_that_are_commented_out(line: str, tmp_path: Path) -> None:
    """A key that README shows behind a # is known where it stands."""
    survey = read_folder(followed(tmp_path))
    used = survey.document.replace(f"# {line}", line).replace('setup = "1"', 'setup = "A"')
    cells = {table.name: table.cells for table in survey.tables}
    assert readings_of(checked(used, cells))


def test_the_fall_that_is_commented_out(tmp_path: Path) -> None:
    """The fall that README shows behind a # is one."""
    survey = read_folder(followed(tmp_path))
    used = re.sub(r"^# (?=fall|toward)", "", survey.document, flags=re.M)
    used = used.replace('kind = "best fit"', 'kind = "fall"')
    cells = {table.name: table.cells for table in survey.tables}
    intent = checked(used, cells).intent
    assert (intent.kind, intent.fall_ratio, intent.bearing_deg) == ("fall", 1 / 48, 180)


COMMANDS = [
    lines
    for title in PARTS
    for language, code in blocks(title)
    if language == "sh" and (lines := re.findall("^flatcheck .*", code, re.M))
]


@pytest.mark.parametrize("lines", COMMANDS)
def test_commands(lines: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The commands that README gives, one after the other, end without a complaint."""
    monkeypatch.chdir(tmp_path)
    Path("sample_surveys").symlink_to(SAMPLES)
    Path("grid.csv").write_text(only_block("A grid", ""), encoding="utf-8")
    Path("turned.csv").write_text("at,first,turned\n500,3,3.2\n900,3,3.4\n", encoding="utf-8")
    for line in lines:
        name, *arguments = shlex.split(line, comments=True)
        assert name == "flatcheck"
        if arguments[0] != "page":
            assert main(arguments) in (0, 1, 3), line


def test_points_on_the_command_line(tmp_path: Path) -> None:
    """The list of points that README shows is read without a survey document as well."""
    path = tmp_path / "points.csv"
    path.write_text(only_block("A list of points", ""), encoding="utf-8")
    units = ["--readings", "mm", "--offsets", "mm", "--uncertainty", "1 mm", "--sense", "rod"]
    options = [*units, "--kind", "points", "--tile", "12 x 24 in"]
    assert main(["check", str(path), *options]) in (0, 1, 3)
