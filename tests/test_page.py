"""The page: what it shows of a survey, what it asks of a bare table, and what it never runs."""

import csv
import io
import json
import math
import re
import socket
import subprocess
import sys
import time
import tomllib
import zipfile
from collections.abc import Iterable
from html import unescape
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from streamlit.testing.v1 import AppTest

from flatcheck.assess import assess, reads_floor
from flatcheck.correction import correct
from flatcheck.errors import FlatcheckError
from flatcheck.falls import plane_falls
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.readers.folder import read_folder
from flatcheck.remedies import least
from flatcheck.report.falls import plane_words
from flatcheck.report.words import titles
from flatcheck.rules import standards
from flatcheck.ui import correction, serve
from flatcheck.ui.report import NOT_YET, case_now
from flatcheck.ui.steps import STEPS

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_surveys"
LASER = (SAMPLES / "millbrook-plywood" / "laser.csv").read_bytes()

NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if reads_floor(read_folder(path.parent))
)

FALLING = [name for name in NAMES if plane_falls(assess(read_folder(SAMPLES / name)))]

ANSWERS = {
    "What a reading is": "rod",
    "Readings in": "in",
    "Offsets in": "ft",
    "How far a reading may be off": "1/64 in",
    "Tile length": "24 in",
    "Tile width": "12 in",
}


@pytest.fixture(autouse=True)
def _own_store(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Each test begins with no survey kept."""
    monkeypatch.setenv(serve.FOLDER, str(tmp_path / "kept"))


@pytest.fixture
def page() -> AppTest:
    """The page as it opens."""
    return AppTest.from_file(str(ROOT / "app.py"), default_timeout=30).run()


def widget(page: AppTest, label: str) -> Any:
    """The one widget with a label."""
    kinds: Iterable[Iterable[Any]] = (
        page.radio,
        page.selectbox,
        page.multiselect,
        page.text_input,
        page.number_input,
        page.text_area,
        page.button,
        page.toggle,
    )
    (found,) = [w for kind in kinds for w in kind if w.label == label]
    return found


def seen(page: AppTest) -> str:
    """The words on the page, its markup taken off."""
    return unescape(re.sub(r"<[^>]+>", " ", " ".join(str(h.value) for h in page.html)))


def go(page: AppTest, step: str) -> AppTest:
    """Opens a step of the job."""
    page.session_state["step"] = step
    return page.run()


def verdict(page: AppTest) -> str:
    """The word of the line that stands first; empty where there is no verdict."""
    shown = " ".join(str(h.value) for h in page.html)
    found = re.search(r"<(?:h2|p)><span class=\"word[^>]*>([^<]+)</span>", shown)
    return found[1] if found else ""


def answer(page: AppTest, left_out: str = "") -> AppTest:
    """Answers what a bare table asks, and asks for the verdict."""
    for label, value in ANSWERS.items():
        if label != left_out:
            widget(page, label).set_value(value)
    return widget(page, "Check this floor").click().run()


def said(page: AppTest) -> str:
    """The one error on the page, as a person reads it."""
    assert not page.exception
    (error,) = errors(page)
    assert not re.search("[<>]", error)
    return unescape(error)


def drawings(page: AppTest) -> list[dict[str, Any]]:
    """What is handed to a browser of each drawing on the page."""
    return [
        json.loads(shown.proto.json)
        for shown in page.get("bidi_component")
        if shown.proto.component_name == "flatcheck.drawing"
    ]


def errors(page: AppTest) -> list[str]:
    """What the page says is wrong, as it is written in its markup."""
    return re.findall(r"<p class=error role=alert>(.*?)</p>", " ".join(h.value for h in page.html))


@pytest.mark.parametrize("sample", NAMES)
def test_sample(page: AppTest, sample: str) -> None:
    """Every sample opens with the core's verdict in a word, its drawings and nothing broken."""
    found = assess(read_folder(SAMPLES / sample)).verdict
    widget(page, "Survey").set_value(sample).run()
    assert verdict(page) == found.outcome.upper()
    assert not page.exception
    assert not errors(page)
    laid = any(f.worst and f.rule.measure in TOLD_AS_SPOTS for f in found.findings)
    falls = sample in FALLING
    assert len(drawings(page)) == 1 + laid
    for title in titles(found):
        assert title in seen(page)
    for step in STEPS:
        go(page, step)
        assert verdict(page) == found.outcome.upper()
        assert not page.exception
        assert not errors(page)
    go(page, "falls")
    assert len(drawings(page)) == 2 * falls
    assert ("Planned heights" in seen(page)) is falls


def test_samples_differ() -> None:
    """Among the samples are all four outcomes, so every word has been shown."""
    assert len({assess(read_folder(SAMPLES / name)).verdict.outcome for name in NAMES}) == 4


def test_other_decision(page: AppTest) -> None:
    """Beside the verdict stands the outcome of the other decision, and it becomes the verdict."""
    widget(page, "Survey").set_value("harrow-close-call").run()
    assert "Taken as read, at face value, it would be: within." in seen(page)
    widget(page, "Near a limit").set_value("as read").run()
    assert verdict(page) == "WITHIN"
    assert "Allowing for reading error it would be: too close to call." in seen(page)


def test_tile_changes_verdict(page: AppTest) -> None:
    """A corridor within 1/4 in in 10 ft, for 12 in tile, is out of 1/8 in, for 24 in tile."""
    widget(page, "Survey").set_value("fernhollow-corridor").run()
    assert verdict(page) == "WITHIN"
    widget(page, "Tile length").set_value("24 in").run()
    assert verdict(page) == "OUT"
    assert "limit 1/8" in seen(page)


def test_units_shown(page: AppTest) -> None:
    """The worst gap of 5/16 in is said in millimeters when asked: more than 7, less than 9."""
    widget(page, "Survey").set_value("millbrook-plywood").run()
    assert 'Worst gap 5/16"' in seen(page)
    widget(page, "Say lengths in").set_value("mm/0.1").run()
    gap = re.search(r"Worst gap ([0-9.]+) mm", seen(page))
    assert gap
    assert 25.4 * 9 / 32 <= float(gap[1]) <= 25.4 * 11 / 32


def test_standard_and_grade(page: AppTest) -> None:
    """Another standard brings its own grades, the first of them chosen, and its own rule."""
    widget(page, "Survey").set_value("saltmarsh-l-shaped").run()
    assert widget(page, "Class, row or reading").value == "SR1"
    widget(page, "Standard for flatness").set_value("din-18202").run()
    assert widget(page, "Class, row or reading").value == "3"
    assert "DIN 18202" in seen(page)
    assert not errors(page)


@pytest.mark.parametrize("sample", FALLING)
def test_falls(page: AppTest, sample: str) -> None:
    """A floor that falls shows every plane in words, and no error."""
    go(page, "falls")
    found = assess(read_folder(SAMPLES / sample))
    widget(page, "Survey").set_value(sample).run()
    for plane in plane_falls(found):
        assert plane_words(plane, found.survey.show) in seen(page)
    labels = [button.label for button in page.get("download_button")]
    assert "Heights as a sheet to print" in labels
    assert not page.exception
    assert not page.warning


def test_standards_of_the_sample(page: AppTest) -> None:
    """At first the standards are those of the survey: one for flatness or none, some for falls."""
    for name in NAMES:
        survey = read_folder(SAMPLES / name)
        widget(page, "Survey").set_value(name).run()
        flatness = widget(page, "Standard for flatness").value
        assert flatness == survey.standard.partition(":")[0]
        chosen = widget(page, "Standards for falls and water").value
        assert [c.partition(":")[0] for c in chosen] == [f.partition(":")[0] for f in survey.falls]


def test_falls_standard_changes_verdict(page: AppTest) -> None:
    """A shower at 1.7 % is within 1:80 to 1:35, and out where no more than 1:80 is allowed."""
    widget(page, "Survey").set_value("linden-weir-wet-room").run()
    assert verdict(page) == "WITHIN"
    widget(page, "Standards for falls and water").set_value(["au-wet:2004-other"]).run()
    assert verdict(page) == "OUT"
    assert "The floor falls at most 1:80." in seen(page)
    assert "No wall that is to be level" not in seen(page)


def test_flatness_alone_and_falls_alone(page: AppTest) -> None:
    """Either may be left out; without both there is one sentence and no verdict."""
    widget(page, "Survey").set_value("linden-weir-wet-room").run()
    widget(page, "Standards for falls and water").set_value([]).run()
    assert verdict(page) == "WITHIN"
    assert "The floor falls at least" not in seen(page)
    widget(page, "Standard for flatness").set_value("none").run()
    assert "no standard is named" in said(page)
    assert verdict(page) == ""
    widget(page, "Standards for falls and water").set_value(["bs-falls:range"]).run()
    assert verdict(page) == "WITHIN"
    assert "straightedge" not in seen(page)
    assert not page.exception


def test_every_standard_is_offered_once(page: AppTest) -> None:
    """Those for flatness are in one list, and those for falls, each grade, in the other."""
    known = standards().values()
    flatness = widget(page, "Standard for flatness").options
    falls = widget(page, "Standards for falls and water").options
    floors = [s for s in known if s.about == "flatness" and {g.on for g in s.grades} != {"wall"}]
    assert len(flatness) == 1 + len(floors)
    assert len(falls) == len(set(falls)) == sum(len(s.grades) for s in known if s.about == "falls")


def test_doubts_of_a_standard(page: AppTest) -> None:
    """Where sources disagree, and that a number is from memory, is told at the choice and after."""
    widget(page, "Standard for flatness").set_value("dtu-tile").run()
    assert seen(page).count("Sources disagree. One page asks 5 mm under 2 m alone") == 2
    assert "from memory, seen in no page" not in seen(page)
    widget(page, "Class, row or reading").set_value("bonded-short").run()
    assert seen(page).count("This number is from memory, seen in no page") == 2


def test_held_against_every_standard(page: AppTest) -> None:
    """Behind a switch the survey is held against every standard, its own outcome among them."""
    widget(page, "Survey").set_value("larkfield-coarse").run()
    assert "Strictest class within" not in seen(page)
    widget(page, "Hold it against every other standard").set_value(True).run()
    assert "Strictest class within: din-18202:4-2mm (of" in seen(page)
    assert "Not judged, no zone is meant to fall: bs-falls:range" in seen(page)
    assert not errors(page)


def test_hatched_where_not_judged(page: AppTest) -> None:
    """The map hatches what the chosen rule could not judge; nothing until a rule is chosen."""
    widget(page, "Survey").set_value("saltmarsh-l-shaped").run()
    assert "Not judged: 2.92 m²" in seen(page)
    assert "Hatched: what the readings could not judge" not in seen(page)
    widget(page, "Hatch what a rule could not judge").set_value(0).run()
    assert "Hatched: what the readings could not judge" in seen(page)
    assert not errors(page)


def test_rules_for_a_wall(page: AppTest) -> None:
    """A wall is offered rules for walls, and for both, and none for floors alone."""
    widget(page, "Survey").set_value("withy-end-wall").run()
    assert verdict(page) == "WITHIN"
    offered = widget(page, "Standard for flatness").options
    assert any("BS 5385-1" in title for title in offered)
    assert not any("BS 8204" in title for title in offered)
    rows = widget(page, "Class, row or reading").options
    assert rows
    assert all("wall" in title for title in rows)


def test_falls_of_a_bare_table(page: AppTest) -> None:
    """A bare table may be held against the most slope of a level floor too."""
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(as_pasted())
    answer(page)
    widget(page, "Standards for falls and water").set_value(["ada-floors:slope"]).run()
    assert "The floor falls at most 1:48" in seen(page)
    assert "How it falls" not in seen(page)
    assert not errors(page)


def test_refused_heights(page: AppTest) -> None:
    """Rules that no floor meets are one sentence where the heights would be; the verdict stays."""
    go(page, "falls")
    widget(page, "Survey").set_value("cressbrook-pan").run()
    charts = len(drawings(page))
    both = ["irc-shower:inch", "au-wet:ncc-2022"]
    widget(page, "Standards for falls and water").set_value(both).run()
    assert "none does both" in said(page)
    assert said(page).endswith(".")
    assert verdict(page) == "OUT"
    assert len(drawings(page)) == charts - 1
    assert "How it falls" in seen(page)


def test_spacing_of_marks(page: AppTest) -> None:
    """Marks stand every 12 in, and every 6 in when asked: 3 ft 6 in of wall has 3 more."""
    go(page, "falls")
    widget(page, "Survey").set_value("hollin-ghyll-shower").run()
    assert tub_wall(page) == ['0"', "1'", "2'", "3'", "3' 6\""]
    widget(page, "Marks along the walls every").set_value(152.4).run()
    assert tub_wall(page) == ['0"', '6"', "1'", "1' 6\"", "2'", "2' 6\"", "3'", "3' 6\""]


def tub_wall(page: AppTest) -> list[str]:
    """How far along the tub wall the marks of the table stand."""
    shown = unescape(" ".join(str(h.value) for h in page.html))
    table = shown.partition("<caption><b>tub wall</b>")[2].partition("</table>")[0]
    return re.findall("<tr><td>(.*?)</td>", table)


@pytest.mark.parametrize("edges", [("", ""), ("24 in", ""), ("24 pigs", "12 in"), ("-2 in", "1")])
def test_bad_tile(page: AppTest, edges: tuple[str, str]) -> None:
    """A tile that is missing or cannot be read is one sentence, and no verdict."""
    widget(page, "Survey").set_value("millbrook-plywood").run()
    for name, value in zip(("Tile length", "Tile width"), edges, strict=True):
        widget(page, name).set_value(value)
    page.run()
    assert "tile" in said(page).lower()
    assert said(page).endswith(".")
    assert verdict(page) == ""


@pytest.mark.parametrize("kind", ["csv", "tsv", "xlsx"])
def test_upload(page: AppTest, kind: str) -> None:
    """The plywood readings as a bare file are out by the same gap as in their survey."""
    data = LASER
    if kind != "csv":
        rows = [line.split("\t") for line in as_pasted().splitlines()]
        data = as_pasted().encode()
    if kind == "xlsx":
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append(row)
        packed = io.BytesIO()
        book.save(packed)
        data = packed.getvalue()
    widget(page, "Readings from").set_value("file").run()
    page.file_uploader[0].set_value((f"floor.{kind}", data, "application/octet-stream"))
    answer(page)
    assert not page.exception
    assert verdict(page) == "OUT"
    assert 'Worst gap 5/16"' in seen(page)


def as_pasted() -> str:
    """The plywood readings as a spreadsheet puts them on the clipboard."""
    rows = csv.reader(io.StringIO(LASER.decode()))
    return "\n".join("\t".join(row) for row in rows)


def test_paste(page: AppTest) -> None:
    """Pasted cells are judged as a file is."""
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(as_pasted())
    answer(page)
    assert not page.exception
    assert verdict(page) == "OUT"
    assert "pasted cells" in seen(page)


@pytest.mark.parametrize(
    ("left_out", "words"),
    [
        ("What a reading is", "what a reading means"),
        ("Readings in", "the unit of readings"),
        ("Offsets in", "the unit of offsets"),
        ("How far a reading may be off", "how far one reading may be off"),
    ],
)
def test_nothing_is_guessed(page: AppTest, left_out: str, words: str) -> None:
    """Without sense, units and uncertainty a table gets no verdict; the page says what lacks."""
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(as_pasted())
    answer(page, left_out)
    assert verdict(page) == ""
    assert [str(info.value) for info in page.info] == [f"Still to be said: {words}."]


@pytest.mark.parametrize(
    ("cells", "names"),
    [
        ("\t1'\t2'\n1'\t47\tforty\n2'\t47\t47", "row 2, cell C2"),
        ("\t1'\t2'\n1'\t47", "row 2"),
        ("no grid at all", "no grid"),
    ],
)
def test_bad_cells(page: AppTest, cells: str, names: str) -> None:
    """Cells that cannot be read are one sentence that names them; what was typed is still there."""
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(cells)
    answer(page)
    assert names in said(page)
    assert said(page).count("\n") == 0
    assert "Traceback" not in said(page)
    assert widget(page, "Cells, copied from a spreadsheet").value == cells
    assert widget(page, "Tile length").value == "24 in"


def test_not_a_table(page: AppTest) -> None:
    """A picture is refused in one sentence that names the file."""
    widget(page, "Readings from").set_value("file").run()
    page.file_uploader[0].set_value(("floor.csv", b"\x89PNG\x00\x01", "text/csv"))
    answer(page)
    assert "floor.csv is not a table" in said(page)


def test_what_was_typed_stays(page: AppTest) -> None:
    """Cells and answers are there again after a look at a sample, and so is a changed tile."""
    widget(page, "Survey").set_value("fernhollow-corridor").run()
    widget(page, "Tile length").set_value("24 in").run()
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(as_pasted())
    answer(page)
    widget(page, "Readings from").set_value("sample").run()
    widget(page, "Survey").set_value("larkfield-coarse").run()
    widget(page, "Survey").set_value("fernhollow-corridor").run()
    assert verdict(page) == "OUT"
    widget(page, "Readings from").set_value("pasted").run()
    assert widget(page, "Cells, copied from a spreadsheet").value == as_pasted()
    assert widget(page, "What a reading is").value == "rod"
    assert verdict(page) == "OUT"
    assert not page.warning


WORKED = {
    "gorse-yard-humps": "grind",
    "withy-lane-dips": "patch",
    "marram-hall-waves": "pour",
}

GRINDER = "The grinder costs, 0 if it is yours"


def work_out(page: AppTest) -> AppTest:
    """Presses the button for the correction, and waits until it is there."""
    widget(page, "Work out the correction").click().run()
    while any(button.label == "Stop with the best so far" for button in page.button):
        page.run()
    return page


def recommended(page: AppTest) -> str:
    """The large sentence of the correction; empty where none is shown."""
    found = re.search(r"<p class=large>(.*?)</p>", " ".join(str(h.value) for h in page.html))
    return unescape(found[1]) if found else ""


@pytest.mark.parametrize("sample", WORKED)
def test_correction(page: AppTest, sample: str) -> None:
    """Worked out when asked: the cheapest first, why others are refused, its plan and marks."""
    go(page, "correction")
    choice = correct(assess(read_folder(SAMPLES / sample)))
    first = choice.fixes[0].proposal
    assert first.id == WORKED[sample]
    widget(page, "Survey").set_value(sample).run()
    charts = len(drawings(page))
    assert recommended(page) == ""
    work_out(page)
    assert not page.exception
    assert not page.warning
    assert not errors(page)
    assert recommended(page).startswith(f"{first.title} is the cheapest that passes")
    assert choice.refused
    for refusal in choice.refused:
        assert refusal.why in seen(page)
    assert len(drawings(page)) == charts + 1
    labels = [button.label for button in page.get("download_button")]
    assert labels[:2] == ["Marks as a sheet to print", "Marks as a table"]
    options = widget(page, "Show the work of").options
    assert [o.rpartition(", ")[0] for o in options] == [f.proposal.title for f in choice.fixes]


def test_nothing_can_be_proven(page: AppTest) -> None:
    """Where the readings cannot show a rule no remedy is offered, and the reason stands once."""
    go(page, "correction")
    widget(page, "Survey").set_value("larkfield-coarse").run()
    assert recommended(work_out(page)).startswith("What was read does not show")
    assert seen(page).count("The readings cannot show this rule") == 1
    assert not [radio for radio in page.radio if radio.label == "Show the work of"]
    assert not page.exception


@pytest.mark.parametrize("sample", ["cressbrook-pan"])
def test_correction_of_a_floor_that_falls(page: AppTest, sample: str) -> None:
    """A floor that falls gets its correction and its plan; a self-leveler is refused."""
    go(page, "correction")
    widget(page, "Survey").set_value(sample).run()
    charts = len(drawings(page))
    assert "is the cheapest that passes" in recommended(work_out(page))
    assert "A self-leveler finds its own level and makes no falls." in seen(page)
    assert len(drawings(page)) == charts + 1
    assert not page.exception


def test_grinder_price_flips_the_order(page: AppTest) -> None:
    """Past the price at which the page says that patching is the cheaper, it is; below, not."""
    go(page, "correction")
    found = correct(assess(read_folder(SAMPLES / "gorse-yard-humps")))
    (then,) = [flip.then for flip in found.flips if "grinder" in flip.what]
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    widget(page, GRINDER).set_value(float(math.floor(then)))
    assert recommended(work_out(page)).startswith("Grinding the high places")
    widget(page, GRINDER).set_value(float(math.ceil(then)))
    assert recommended(work_out(page)).startswith("Patching the low places")


def test_what_the_floor_is_made_of(page: AppTest) -> None:
    """A wood floor is not ground: what was the cheapest is refused, and the reason stands there."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    widget(page, "What the floor is made of, or holds").set_value(["wood"])
    assert recommended(work_out(page)).startswith("Patching the low places")
    assert "Wood is not ground" in seen(page)


def test_correction_is_kept(page: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another remedy, or a way there and back, does not work it out anew; a change says so."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    said_first = recommended(work_out(page))

    def again(*_: object) -> None:
        raise AssertionError("worked out again")

    monkeypatch.setattr("flatcheck.ui.correction.correct", again)
    widget(page, "Show the work of").set_value(1).run()
    assert "Cautions for patching the low places" in seen(page)
    assert "silica" not in seen(page)
    assert recommended(page) == said_first
    widget(page, "Class, row or reading").set_value("SR2").run()
    assert recommended(page) == ""
    assert not page.exception
    widget(page, "Class, row or reading").set_value("SR1").run()
    assert recommended(page) == said_first
    widget(page, "Survey").set_value("withy-lane-dips").run()
    assert recommended(page) == ""
    assert "Something was changed since" not in seen(page)
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    assert recommended(page) == said_first
    assert not page.exception


def test_progress_is_told() -> None:
    """While it is searched the remedy, the round, the bound and the best cost are told."""
    told: list[str] = []

    class Heard(correction.Search):
        """A search whose every word is kept."""

        def __setattr__(self, name: str, value: object) -> None:
            if name == "told":
                told.append(str(value))
            super().__setattr__(name, value)

    search = Heard(assess(read_folder(SAMPLES / "marram-hall-waves")))
    assert search.done(60)
    assert any(f"{least.TITLE}, round 1: at least" in words for words in told)
    assert any("best so far" in words for words in told)


def test_changed_tile_drops_the_correction(page: AppTest) -> None:
    """With another tile the correction is gone, and the page says why until it is asked again."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    work_out(page)
    widget(page, "Tile length").set_value("300 mm").run()
    assert verdict(page) == "OUT"
    assert recommended(page) == ""
    assert "Something was changed since; work it out again." in seen(page)
    assert recommended(work_out(page))


@pytest.mark.parametrize(
    ("label", "text", "names"),
    [
        ("Grind off at most", "six pigs", "correction.most_grind"),
        ("Depth is placed to within", "-1 mm", "correction.placing"),
        ("Patch, bag of", "<img src=x>", "correction.patch.bag"),
    ],
)
def test_bad_terms(page: AppTest, label: str, text: str, names: str) -> None:
    """A term that cannot be used is one sentence that names it; the verdict stays."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    widget(page, label).set_value(text)
    work_out(page)
    assert names in said(page)
    assert said(page).endswith(".")
    assert verdict(page) == "OUT"
    assert recommended(page) == ""
    assert widget(page, label).value == text
    widget(page, label).set_value("")
    assert recommended(work_out(page))


def test_terms_stay(page: AppTest) -> None:
    """Prices that were given are there again after a look at another survey."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    widget(page, GRINDER).set_value(80.0)
    shown = recommended(work_out(page))
    widget(page, "Survey").set_value("withy-lane-dips").run()
    assert widget(page, GRINDER).value is None
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    assert widget(page, GRINDER).value == 80.0
    assert recommended(page) == shown
    assert not page.warning


def test_no_correction_of_a_floor_that_is_within(page: AppTest) -> None:
    """A floor that is within offers none."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-ground").run()
    assert verdict(page) == "WITHIN"
    assert "Work out the correction" not in [button.label for button in page.button]


def read_after(page: AppTest, name: str, data: bytes) -> AppTest:
    """The humps, with this file as read after the work."""
    go(page, "correction")
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    work_out(page)
    page.file_uploader[0].set_value((name, data, "application/octet-stream"))
    return page.run()


def packed(**files: bytes) -> bytes:
    """A ZIP file; _ in a name stands for its dot."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, held in files.items():
            archive.writestr("floor/" + name.replace("_", "."), held)
    return data.getvalue()


GROUND = SAMPLES / "gorse-yard-ground"


@pytest.mark.parametrize("kind", ["csv", "zip"])
def test_before_and_after(page: AppTest, kind: str) -> None:
    """The floor read again, as a table or a zipped folder, was ground at two places, and passes."""
    table, document = (GROUND / "staff.csv").read_bytes(), (GROUND / "survey.toml").read_bytes()
    data = table if kind == "csv" else packed(staff_csv=table, survey_toml=document)
    read_after(page, f"after.{kind}", data)
    assert not page.exception
    assert not errors(page)
    assert "ground at 2 places" in seen(page)
    assert "Against the plan" in seen(page)
    assert "After the work the floor is within." in seen(page)
    labels = [button.label for button in page.get("download_button")]
    assert "Before and after as a sheet to print" in labels


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.zip", b"no archive", "cannot be unpacked"),
        ("a.zip", packed(staff_csv=b"1,2"), "holds 0 files named survey.toml"),
        ("a.zip", packed(survey_toml=(GROUND / "survey.toml").read_bytes()), "no item named"),
        ("a.zip", packed(survey_toml=b"#" * 20_000_000), "larger than"),
        ("a.zip", packed(survey_toml=b"\xff\xfe\x00"), "not a text file"),
        ("a.csv", b"\x89PNG\x00\x01", "a.csv is not a table"),
        ("a.csv", b",0,1,2\n0,1,1,1\n1,1,1,one", "row 3"),
    ],
)
def test_bad_after(page: AppTest, name: str, data: bytes, words: str) -> None:
    """A file that is no survey after the work is one sentence; the rest of the page stays."""
    read_after(page, name, data)
    assert words in said(page)
    assert said(page).endswith(".")
    assert recommended(page)


def test_downloads(page: AppTest) -> None:
    """Buttons give the report, its tables and the verdict to take away."""
    go(page, "report")
    widget(page, "Survey").set_value("millbrook-plywood").run()
    labels = [button.label for button in page.get("download_button")]
    assert labels == [
        "Report to print or to send",
        "Everything as tables, CSV in a ZIP",
        "Verdict as text",
        "Verdict as JSON, in mm",
    ]
    assert any(NOT_YET in block.proto.body for block in page.get("html"))


def test_the_report_has_the_correction_of_its_floor() -> None:
    """The correction worked out last for a floor goes into its report, no other floor's does."""
    dips, humps = (
        assess(read_folder(ROOT / "sample_surveys" / name))
        for name in ("withy-lane-dips", "gorse-yard-humps")
    )
    choice = correct(dips)
    assert case_now(dips, {"a": choice}).choice is choice
    assert case_now(dips, {"a": choice}).fix is choice.fixes[0]
    assert case_now(humps, {"a": choice}).choice is None
    assert case_now(dips, {}).fix is None


def test_report_after_a_correction(page: AppTest) -> None:
    """Once the correction is worked out the report has it, and says no more that it lacks it."""
    widget(page, "Survey").set_value("gorse-yard-humps").run()
    assert NOT_YET in seen(go(page, "report"))
    go(page, "correction")
    work_out(page)
    go(page, "report")
    assert not page.exception
    assert NOT_YET not in seen(page)
    (made,) = worked(page)
    assert made.fixes[0].proposal.id == "grind"


def worked(page: AppTest) -> list[Any]:
    """The corrections that the page keeps."""
    return [search.choice for search in page.session_state["corrections"].values()]


def test_bug_shows_as_bug(page: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error that is not the person's is not dressed up as one."""

    def broken(survey: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("flatcheck.ui.page.assess", broken)
    widget(page, "Survey").set_value("larkfield-coarse").run()
    assert len(page.exception) == 1
    assert not errors(page)


def test_installed_without_samples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there are no samples the page begins with a new survey, or the person's own file."""
    monkeypatch.setattr("flatcheck.ui.entry.SAMPLES", tmp_path)
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=30).run()
    assert widget(page, "Readings from").options == ["New survey", "File", "Pasted cells"]
    assert not page.exception


@pytest.mark.parametrize("text", ["<b>4</b>", "<img src=x>", "![x](http://elsewhere.example)"])
def test_hostile_cell(page: AppTest, text: str) -> None:
    """A cell that is markup is quoted letter by letter in the sentence that refuses it."""
    widget(page, "Readings from").set_value("pasted").run()
    widget(page, "Cells, copied from a spreadsheet").set_value(f"\t1'\t2'\n1'\t47\t{text}")
    answer(page)
    assert text in said(page)
    assert not page.markdown


def test_hostile_file_name(page: AppTest) -> None:
    """A file name that is markup is escaped wherever it is shown."""
    name = "<img src=x>![x](y).csv"
    widget(page, "Readings from").set_value("file").run()
    page.file_uploader[0].set_value((name, LASER, "text/csv"))
    answer(page)
    assert not errors(page)
    assert verdict(page) == "OUT"
    shown = " ".join(str(h.value) for h in page.html)
    assert "<img" not in shown
    assert "&lt;img" in shown
    figures = " ".join(str(drawn) for drawn in drawings(page))
    assert "<img" not in figures
    assert "&lt;img src" in figures


def test_settings_agree() -> None:
    """A checkout's settings file says what `flatcheck page` says with flags."""
    written = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text())
    flat = {
        f"{section}.{name}": value
        for section, held in written.items()
        for name, value in held.items()
    }
    assert flat == serve.SETTINGS
    assert serve.SETTINGS["server.address"] == "127.0.0.1"
    assert serve.SETTINGS["browser.gatherUsageStats"] is False


def test_settings_are_flags() -> None:
    """Every setting is passed as a flag, and the script lies inside the package."""
    command = serve.command(8765)
    assert "--server.port=8765" in command
    assert "--browser.gatherUsageStats=false" in command
    assert {flag.partition("=")[0].lstrip("-") for flag in command if flag.startswith("--")} == {
        *serve.SETTINGS,
        "server.port",
    }
    assert Path(command[4]).is_relative_to(Path(serve.__file__).parent)


@pytest.mark.parametrize("port", ["taken", "absurd"])
def test_port_refused(port: str) -> None:
    """A port that is taken, or none at all, is one sentence."""
    with socket.create_server(("127.0.0.1", 0)) as holder:
        number = holder.getsockname()[1] if port == "taken" else 123456
        with pytest.raises(FlatcheckError, match=f"port {number} cannot be used"):
            serve.serve(number)


def test_optimizer_is_not_loaded() -> None:
    """The page opens without scipy.optimize, which takes a second to import."""
    program = "import sys, flatcheck.ui.page; print('scipy.optimize' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


def test_a_long_search_can_be_stopped(page: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a search runs the page tells of it and offers to stop it; stopped, it says so."""
    from flatcheck.ui import correction

    whole = correction.correct

    def slowly(assessment: Any, tell: Any, stop: Any) -> Any:
        while not stop():
            time.sleep(0.01)
        return whole(assessment, tell, stop)

    monkeypatch.setattr(correction, "correct", slowly)
    monkeypatch.setattr(correction, "AT_ONCE_S", 0.0)
    go(page, "correction")
    widget(page, "Survey").set_value("withy-lane-dips").run()
    widget(page, "Work out the correction").click().run()
    assert "Trying every remedy." in " ".join(str(h.value) for h in page.html)
    assert recommended(page) == ""
    widget(page, "Stop with the best so far").click().run()
    while any(button.label == "Stop with the best so far" for button in page.button):
        page.run()
    assert "The search was stopped" in " ".join(str(h.value) for h in page.html)
    assert not page.exception
