"""The report in a real browser: on both papers, on a phone, without a network, and verified."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from flatcheck.readers.folder import read_folder
from flatcheck.report.case import Case, case_of, judged
from flatcheck.report.dossier import report_html

SAMPLES = Path(__file__).parents[2] / "sample_surveys"
PAPERS = {"Letter": (612.0, 792.0), "A4": (595.0, 842.0)}
"""Widths and heights [points]; A4 is 210 by 297 mm, Letter 8.5 by 11 in."""

PRINTED = {"Letter": 8.5 * 96 - 24 / 25.4 * 96, "A4": (210 - 24) / 25.4 * 96}
"""The width between the margins of 12 mm [CSS pixels]."""

NAMES = ("withy-lane-dips", "cobbler-yard-mixed", "cressbrook-pan", "quillet-lane-steps")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Reports as files: one with its correction, one of every other kind without."""
    folder, found = tmp_path_factory.mktemp("reports"), {}
    for name in NAMES:
        survey = read_folder(SAMPLES / name)
        case = case_of(survey) if name == NAMES[0] else Case(survey, *judged(survey))
        found[name] = folder / f"{name}.html"
        found[name].write_bytes(report_html(case, date(2026, 11, 25)).encode())
    return found


@pytest.fixture
def offline(chromium: Any) -> Iterator[Any]:
    """A browser without a network, which keeps every address it is asked for."""
    context = chromium.new_context()
    context.set_offline(True)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    yield context
    context.close()
    assert asked
    assert all(url.startswith("file://") and url.endswith(".html") for url in asked)


def opened(offline: Any, file: Path) -> Any:
    """A report, opened from its file, with every complaint of the browser kept."""
    page = offline.new_page()
    page.complaints = []
    page.on("console", lambda said: page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.goto(file.as_uri())
    return page


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", NAMES)
def test_prints(name: str, paper: str, files: dict[str, Path], offline: Any, shots: Path) -> None:
    """It prints on either paper, in its size, with nothing beyond the margins, numbered pages."""
    page = opened(offline, files[name])
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int(PRINTED[paper]), "height": 900})
    assert page.evaluate("document.scrollingElement.scrollWidth") <= int(PRINTED[paper])
    file = shots / f"{name}-{paper}.pdf"
    page.pdf(path=file, format=paper, prefer_css_page_size=False)
    data = file.read_bytes()
    boxes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", data)
    assert 2 <= len(boxes) <= 12
    for box in boxes:
        assert tuple(map(float, box)) == pytest.approx(PAPERS[paper], abs=1)
    assert page.complaints == []


@pytest.mark.parametrize("name", NAMES)
def test_on_a_phone(name: str, files: dict[str, Path], offline: Any, shots: Path) -> None:
    """On a phone it fits the screen; only tables of readings may be pushed aside by themselves."""
    page = opened(offline, files[name])
    page.set_viewport_size({"width": 390, "height": 844})
    page.screenshot(path=shots / f"report-{name}-phone.png", full_page=True)
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 390
    assert page.complaints == []


def test_gray_print_tells_low_from_high(files: dict[str, Path], offline: Any) -> None:
    """The hatch over what is low is drawn: its pattern is found and it has a size."""
    page = opened(offline, files["withy-lane-dips"])
    assert page.locator("pattern#low").count() == 1
    box = page.locator("path.low").first.bounding_box()
    assert box["width"] > 10
    assert box["height"] > 10
    fill = page.evaluate("getComputedStyle(document.querySelector('path.low')).fill")
    assert fill == 'url("#low")'
