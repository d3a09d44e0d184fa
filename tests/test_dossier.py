"""The report: what it must say, in the person's units, alone, and nothing a person typed runs."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from flatcheck.cli import main
from flatcheck.correction import marks
from flatcheck.errors import SurveyError
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.lippage import histogram
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.case import Case, case_of, judged, outcomes
from flatcheck.report.correction import DUST, FRESH, HIDDEN, OLD_FLOORS, WET_LOAD
from flatcheck.report.dossier import report_html
from flatcheck.report.joints import histogram_svg
from flatcheck.report.text import cite
from flatcheck.report.words import spot_words
from flatcheck.survey import Survey
from flatcheck.tables import readings_of
from flatcheck.units import STYLES

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/survey.toml")
    if read_folder(path.parent).sample is None  # bars laid by lot are judged by `tally` alone
)
DAY = date(2026, 11, 25)
NASTY = "\"><script>alert('1')</script>&amp;<img src=x onerror=y>"


class Page(HTMLParser):
    """The tags, attributes and words of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.data: list[str] = []
        self.feed(text)
        self.words = " ".join(" ".join(self.data).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.data.append(data)


def plain(survey: Survey) -> Case:
    """A survey with its verdicts alone: corrections take seconds."""
    return Case(survey, *judged(survey))


def sample(name: str) -> Survey:
    """A sample survey."""
    return read_folder(SAMPLES / name)


def drawings(page: str) -> list[ET.Element]:
    """Every drawing of a page, which must be well-formed."""
    return [ET.fromstring(found) for found in re.findall(r"<svg.*?</svg>", page, re.S)]


@pytest.mark.parametrize("name", NAMES)
def test_says_what_was_found(name: str) -> None:
    """Each rule stands there with its outcome in words, its sources, every spot and the facts."""
    case = plain(sample(name))
    page = Page(report_html(case, DAY))
    survey = case.survey
    for fact in (survey.title, survey.place, survey.by, survey.instrument, str(survey.day)):
        assert fact in page.words
    assert page.words.count(fingerprint(canonical(survey))) == 2
    for words, outcome in outcomes(case):
        assert f"{outcome.upper()} {words}" in page.words
    if case.assessment:
        verdict, room = case.assessment.verdict, case.assessment.surface.room
        for finding in verdict.findings:
            assert " ".join(cite(finding.rule.citation).split()) in page.words
            assert finding.rule.citation.certainty in page.words
        for spot in verdict.spots[:40]:
            assert f"{spot.number} {spot_words(spot, room, survey.show)}" in page.words


@pytest.mark.parametrize("name", NAMES)
def test_holds_every_reading(name: str) -> None:
    """Every cell of every table stands in the report, at its own place, as it was written."""
    survey = sample(name)
    text = report_html(plain(survey), DAY)
    cells = dict(re.findall(r'<td data-at="([0-9:]+)">(.*?)</td>', text, re.S))
    assert {place: unescape(cell) for place, cell in cells.items()} == {
        f"{t}:{r}:{c}": cell
        for t, table in enumerate(survey.tables, 1)
        for r, row in enumerate(table.cells, 1)
        for c, cell in enumerate(row, 1)
    }


@pytest.mark.parametrize("name", NAMES)
def test_is_self_contained(name: str) -> None:
    """Nothing is loaded and nothing runs: no script, no link, no address but names of sources."""
    text = report_html(plain(sample(name)), DAY)
    page = Page(text)
    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form"} & page.tags
    names = {name for name, _ in page.attributes}
    assert not {"src", "href", "xlink:href", "srcset", "action"} & names
    assert not [name for name in names if name.startswith("on")]
    assert "://" not in text
    assert "@import" not in text
    assert set(re.findall(r"url\((.*?)\)", text)) <= {"#low"}
    assert "default-src 'none'" in text
    assert drawings(text)


@pytest.mark.parametrize("style", STYLES)
def test_every_unit(style: str) -> None:
    """Lengths are said in the person's own units throughout, whatever they are."""
    survey = edited(sample("millbrook-plywood"), {"units": {"show": style}})
    text = report_html(plain(survey), DAY)
    body = Page(text[text.index("<body>") : text.index("Readings in full")]).words
    if style.startswith("mm"):
        assert " mm" in body
        assert not re.search(r"[0-9]\"|[0-9]' ", body)
        assert "departures in millimeters" in body
    else:
        assert re.search(r'[0-9]"', body)
        assert "departures in inches" in body


def hostile() -> Survey:
    """A survey in which whatever a person may type is markup."""
    survey = sample("saltmarsh-l-shaped")
    document = survey.document.replace('"counter"', repr(NASTY.replace("'", "")))
    sections = {
        "survey": dict.fromkeys(("title", "place", "by", "surface", "notes"), NASTY),
        "instrument": {"name": NASTY},
    }
    cells = {table.name: table.cells for table in survey.tables}
    kept = edited(checked(document, cells), sections)
    table = kept.tables[0]
    rows = (("<script>x</script>", *table.cells[0][1:]), *table.cells[1:])
    return checked(kept.document, {**cells, table.name: rows})


def test_all_that_is_typed_is_text() -> None:
    """Names, notes and cells that are markup are shown as text, everywhere."""
    text = report_html(plain(hostile()), DAY)
    page = Page(text)
    assert not {"script", "img"} & page.tags
    assert "<script" not in text
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    # Title (twice), place, who, floor, instrument and notes, and once more in the document.
    assert "".join(page.data).count(NASTY) >= 7
    assert "<script>x</script>" in "".join(page.data)


@pytest.fixture(scope="module")
def dips() -> Case:
    """A slab with two dips and its correction."""
    return case_of(sample("withy-lane-dips"))


def test_the_correction(dips: Case) -> None:
    """The remedy stands there with quantities, every mark and its cautions, and without prices."""
    assert dips.choice is not None
    assert dips.fix is not None
    page = Page(report_html(dips, DAY))
    takes = dips.fix.takes
    assert f"{takes.bags} bag" in page.words
    assert f"{takes.fill_l:.1f} l (give or take" in page.words
    found = marks(dips.choice.site, dips.fix.proposal)
    assert all(re.search(rf"\b{mark.number}: ", page.words) for mark in found)
    assert WET_LOAD in page.words
    assert FRESH in page.words
    assert not any(words in page.words for words in (DUST, OLD_FLOORS, HIDDEN))
    assert f"{takes.money:,.0f}" not in page.words
    assert "within, as predicted" in page.words


def test_grinding_has_its_cautions() -> None:
    """Where the remedy grinds it warns of dust, of old floors and of what lies hidden."""
    case = case_of(sample("gorse-yard-humps"), remedy="grind")
    words = Page(report_html(case, DAY)).words
    assert all(caution in words for caution in (DUST, OLD_FLOORS, HIDDEN))


def test_own_prices_stay_out() -> None:
    """The section of the survey with a firm's own prices is nowhere in the report."""
    survey = sample("withy-lane-dips")
    own = survey.document.replace("[correction]", "[correction]\ndam = 1234.56", 1)
    assert own != survey.document
    priced = checked(own, {table.name: table.cells for table in survey.tables})
    text = report_html(plain(priced), DAY)
    assert "1234.56" not in text
    assert "[correction" not in text


def test_no_remedy_is_said_so() -> None:
    """Where nothing passes the report says so, and why, once."""
    case = case_of(sample("millbrook-plywood"))
    assert case.fix is None
    words = Page(report_html(case, DAY)).words
    assert "No remedy was found that brings it in" in words


def test_before_and_after() -> None:
    """With the floor before the work both verdicts stand there, and what changed."""
    case = case_of(sample("gorse-yard-ground"), sample("gorse-yard-humps"))
    words = Page(report_html(case, DAY)).words
    assert "Before and after before out 2 places out after within 0 places out" in words
    assert "places were read both times" in words


def test_steps_alone_are_not_compared() -> None:
    """Where only steps were read there is nothing to compare or to correct, and that is said."""
    steps = sample("tansy-row-steps")
    for asked in ({"before": sample("gorse-yard-humps")}, {"remedy": "grind"}):
        with pytest.raises(SurveyError, match="only steps across joints were read"):
            case_of(steps, **asked)


def test_falls_and_ponds() -> None:
    """A floor that falls has its arrows, and every pond is outlined and numbered."""
    text = report_html(plain(sample("cressbrook-pan")), DAY)
    (plan,) = [d for d in drawings(text) if "where water stands" in d.get("aria-label", "")]
    kinds = [part.get("class") for part in plan.iter()]
    assert kinds.count("pond") >= 1
    assert kinds.count("flow") == 4 * 3
    assert "pond 1" in "".join(plan.itertext())


def test_joints_have_signs() -> None:
    """Every joint that was read is on the plan, with a sign of its own for how it ends."""
    case = plain(sample("quillet-lane-steps"))
    assert case.lippage is not None
    text = report_html(case, DAY)
    (plan,) = [d for d in drawings(text) if d.get("aria-label", "").startswith("joints")]
    signs = [part.get("d", "") for part in plan.iter() if part.get("class") == "mark"]
    out = [joint for joint in case.lippage.joints if case.lippage.ends(joint) == "out"]
    assert len(signs) == len(case.lippage.joints)
    assert sum("l2.8 2.8" in sign for sign in signs) == len(out) > 0


def test_histogram_is_drawn() -> None:
    """Each class of steps is a bar with its count, as tall as it has of the fullest; each a limit.

    A hundred classes would not fit: beyond sixteen they stand together.
    """
    case = plain(sample("quillet-lane-steps"))
    assert case.lippage is not None
    rows = histogram(case.lippage, 25.4 / 32)
    (drawn,) = drawings(histogram_svg(case.lippage, case.survey.show))
    bars = [part for part in drawn.iter() if part.get("class") == "count"]
    tall = [float(bar.get("height", "")) for bar in bars]
    assert tall == pytest.approx([30 * n / max(k for *_, k in rows) for *_, n in rows], abs=0.01)
    assert 'limit 3/64"' in "".join(drawn.itertext())
    high = replace(case.lippage.joints[0].step, step_mm=45.0)
    one = replace(case.lippage.joints[0], step=high)
    tower = replace(case.lippage, joints=(*case.lippage.joints[1:], one))
    (drawn,) = drawings(histogram_svg(tower, case.survey.show))
    assert len([part for part in drawn.iter() if part.get("class") == "count"]) == 17


def test_tiles_of_the_box_are_told() -> None:
    """Where tiles were measured by themselves the report tells how they end, and by what."""
    words = Page(report_html(plain(sample("quillet-lane-steps")), DAY)).words
    assert "The tiles themselves WITHIN for ANSI A137.1 porcelain, rectified" in words
    clean = Page(report_html(plain(sample("tansy-row-steps")), DAY)).words
    assert "The tiles themselves" not in clean


def test_never_by_color_alone() -> None:
    """What is low is hatched, and spots point up or down: in gray the map says the same."""
    case = plain(sample("millbrook-plywood"))
    text = report_html(case, DAY)
    (plan,) = [d for d in drawings(text) if "above and below" in d.get("aria-label", "")]
    paths = {}
    for part in plan.iter():
        paths.setdefault(part.get("class"), []).append(part.get("d", ""))
    low = [d for band in ("b0", "b1", "b2") for d in paths.get(band, [])]
    assert sorted(paths["low"]) == sorted(low)
    assert case.assessment is not None
    ups = sum("l1.5 2.6" in d for found in paths.values() for d in found)
    assert ups == sum(spot.high for spot in case.assessment.verdict.spots)


def test_the_plan_is_to_scale() -> None:
    """Readings lie on the plan where they are in the room, north up, and so does the scale."""
    case = plain(sample("saltmarsh-l-shaped"))
    assert case.assessment is not None
    text = report_html(case, DAY)
    (plan,) = [d for d in drawings(text) if "above and below" in d.get("aria-label", "")]
    dots = np.array([(float(d.get("cx")), -float(d.get("cy"))) for d in plan.iter("circle")])
    true = case.assessment.surface.xy_mm
    scale = np.ptp(dots, axis=0) / np.ptp(true, axis=0)
    assert scale[0] == pytest.approx(scale[1], rel=1e-3)
    assert dots - dots[0] == pytest.approx((true - true[0]) * scale[0], abs=0.02)
    (legend,) = [d for d in drawings(text) if d.get("aria-label") == "legend"]
    bar = next(p.get("d") for p in legend.iter("path") if p.get("d", "").startswith("M128"))
    end = float(re.search(r"H([0-9.]+)", bar)[1])
    assert (end - 128) / scale[0] == pytest.approx(1000, rel=2e-3)
    assert "1.00 m" in "".join(legend.itertext())


def test_wide_tables_are_cut_to_the_paper() -> None:
    """A table of many columns goes below itself in parts, each with the offsets in front."""
    rows = [["", *(f"{100 * k}" for k in range(40))]]
    rows += [[f"{100 * r}", *("1400" for _ in range(40))] for r in range(3)]
    survey = checked(
        'flatcheck = 1\n[units]\nreadings = "mm"\noffsets = "mm"\n[instrument]\n'
        'uncertainty = "0.3 mm"\n[standard]\nrule = "bs-8204:SR1"\n'
        '[[table]]\nfile = "t.csv"\nkind = "grid"\nsense = "rod"\n',
        {"t.csv": tuple(map(tuple, rows))},
    )
    assert readings_of(survey)
    text = report_html(plain(survey), DAY)
    tables = re.findall(r'<table class="readings">(.*?)</table>', text)
    assert len(tables) > 1
    for table in tables:
        first, *_ = re.findall(r"<tr>(.*?)</tr>", table)[1:]
        assert re.findall(r'data-at="1:2:1">0<', first)
        assert sum(len(cell) + 3 for cell in re.findall(r">([^<]*)</td>", first)) <= 100


def test_a_table_as_read_is_worded_as_read() -> None:
    """Taken at face value the headline does not speak of reading error allowed for."""
    survey = edited(sample("harrow-close-call"), {"standard": {"decision": "as read"}})
    words = Page(report_html(plain(survey), DAY)).words
    assert "WITHIN : every rule holds, the readings taken at face value." in words
    assert "Allowing for reading error it would be: too close to call." in words


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes the file, says the verdict by its status, and overwrites nothing."""
    out = tmp_path / "report.html"
    command = ["report", str(SAMPLES / "tern-quay-bars-only"), "-o", str(out)]
    assert main(command) == 0
    assert "WITHIN" in capsys.readouterr().out
    first = out.read_bytes()
    assert b"\r" not in first
    assert main(command) == 2
    assert "is there already" in capsys.readouterr().err
    assert main([*command, "--overwrite", "--show", "in/16"]) == 0
    assert out.read_bytes() != first


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "say where"),
        (["-o", "report.pdf"], "a sheet is a .html file"),
        (["-o", "no/such/folder.html"], "cannot be written"),
        (["--tables", "no/such/tables.zip"], "cannot be written"),
    ],
)
def test_bad_commands(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What cannot be done is said in one sentence."""
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(SAMPLES / "tern-quay-bars-only"), *arguments]) == 2
    assert said in capsys.readouterr().err
