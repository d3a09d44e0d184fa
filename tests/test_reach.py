"""Where a rule could not judge: in connected parts, as rectangles, in words and on maps."""

import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.reach import blind_spots, hatches
from flatcheck.readers.folder import checked
from flatcheck.report.reach import blind_words, reach_html
from flatcheck.report.text import record, text
from flatcheck.room import EDGE_MM
from flatcheck.survey import Survey
from flatcheck.ui.drawing import Drawing, Line
from flatcheck.ui.reach import add_reach
from flatcheck.verdict import Finding, Reach

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


def reach_of(picture: str, wide: float = 100.0, high: float = 50.0) -> Reach:
    """Cells as drawn, the first row north: `#` was not judged, `.` was, a space is no floor."""
    rows = picture.split("/")[::-1]
    held = [(x, y, sign) for y, row in enumerate(rows) for x, sign in enumerate(row) if sign != " "]
    places = np.array([((x + 0.5) * wide, (y + 0.5) * high) for x, y, _ in held])
    judged = np.array([sign == "." for *_, sign in held])
    return Reach(places, np.tile([wide, high], (len(held), 1)), judged)


def half_read(**sections: Any) -> Survey:
    """A room of 4 m by 3 m read every 500 mm in its western half alone."""
    given: dict[str, Any] = {
        "flatcheck": 1,
        "survey": {"title": "<script>alert(1)</script>"},
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.1 mm"},
        "room": {"outline": [[0, 0], [4000, 0], [4000, 3000], [0, 3000]]},
        "standard": {"rule": "bs-8204"},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "elevation"}],
    }
    cells = [("", *(str(500 * k) for k in range(5)))]
    cells += [(str(500 * k), *("0",) * 5) for k in range(7)]
    return checked(tomli_w.dumps(given | sections), {"t.csv": tuple(cells)})


def finding_of(survey: Survey) -> Finding:
    (finding,) = assess(survey).verdict.findings
    return finding


def test_parts_that_touch_are_one() -> None:
    """Cells that share a side or a corner are one part; the largest comes first."""
    spots = blind_spots(reach_of("##..#/..#.#/....#/#..../"))
    assert [spot.area_mm2 for spot in spots] == [3 * 5000, 3 * 5000, 5000]
    assert sorted(spot.extent_mm for spot in spots) == [(100, 50), (100, 150), (300, 100)]
    assert blind_spots(reach_of("....")) == ()


def test_a_blind_spot_lies_where_it_is() -> None:
    """The place named is one of the part's own cells, though its middle be judged floor."""
    (spot,) = blind_spots(reach_of("#####/#...#/#...#/#####"))
    assert spot.at in {(x + 50.0, y + 25.0) for x in range(0, 500, 100) for y in range(0, 200, 50)}
    ring = reach_of("#####/#...#/#...#/#####")
    index = np.flatnonzero((ring.places_mm == spot.at).all(axis=1))
    assert not ring.judged[index].any()


@pytest.mark.parametrize("seed", range(4))
def test_rectangles_cover_what_was_not_judged(seed: int) -> None:
    """Together they have its area, each lies on cells not judged, and none covers a judged one."""
    rng = np.random.default_rng(seed)
    picture = "/".join("".join(rng.choice(list("#. "), 9)) for _ in range(7))
    reach = reach_of(picture)
    runs = hatches(reach)
    area = np.sum((runs[:, 2] - runs[:, 0]) * (runs[:, 3] - runs[:, 1]))
    assert area == pytest.approx(np.count_nonzero(~reach.judged) * 100 * 50)
    held = (
        (reach.places_mm[:, None, 0] > runs[:, 0])
        & (reach.places_mm[:, None, 0] < runs[:, 2])
        & (reach.places_mm[:, None, 1] > runs[:, 1])
        & (reach.places_mm[:, None, 1] < runs[:, 3])
    ).any(axis=1)
    assert (held == ~reach.judged).all()


def test_share_and_map_agree() -> None:
    """The share that was judged is the share of the places on the map that were."""
    finding = finding_of(half_read())
    assert finding.reach is not None
    assert np.mean(finding.reach.judged) == pytest.approx(finding.reach_ratio)
    whole = finding.reach.cells_mm.prod(axis=1).sum()
    assert whole == pytest.approx(4000 * 3000)


def test_half_a_floor() -> None:
    """Half read, the other half but a strip is not judged, in one part around its middle.

    A place counts up to 500 / √2 from a judged reading, so that the strip is at most that wide.
    """
    finding = finding_of(half_read())
    assert finding.reach is not None
    (spot,) = blind_spots(finding.reach)
    strip = 500 * 1.01 / math.sqrt(2) + EDGE_MM
    assert (2000 - strip) * 3000 <= spot.area_mm2 <= 2000 * 3000
    assert spot.at[0] == pytest.approx(3000 + strip / 2, abs=150)
    assert spot.extent_mm[1] == pytest.approx(3000)


def test_said_in_check() -> None:
    """The verdict says how much was not judged, how far it reaches and where."""
    assessment = assess(half_read())
    said = " ".join(text(assessment).split())
    assert re.search(r"Only 5\d% of the floor could be judged", said)
    assert re.search(r"Not judged: 4\.9\d m²; 1\.\d+ m by 3\.00 m over all, around", said)
    (rule,) = record(assessment)["rules"]
    (spot,) = rule["not_judged"]
    assert spot["area_m2"] == pytest.approx(4.97, abs=0.05)
    json.dumps(rule, allow_nan=False)


def test_nothing_said_where_all_was_judged() -> None:
    """Where a rule judged the whole floor, or the readings are too far apart, no part is named."""
    full = half_read(room={"outline": [[0, 0], [2000, 0], [2000, 3000], [0, 3000]]})
    assessment = assess(full)
    assert "Not judged" not in text(assessment)
    coarse = assess(half_read(standard={"rule": "ns-3420:PD"}))
    for finding in coarse.verdict.findings:
        if finding.rule.length_mm == 250:
            assert finding.reach_ratio == 0
            assert blind_words(finding, coarse.surface.room, coarse.survey.show) == []


def test_map_to_print() -> None:
    """The page has a plan for every rule, hatched with what was not judged; titles are escaped."""
    assessment = assess(half_read())
    page = reach_html(assessment)
    finding = assessment.verdict.findings[0]
    assert finding.reach is not None
    assert page.count('fill="url(#unjudged)"') == len(hatches(finding.reach)) > 0
    assert page.count("<svg") == 1
    assert "<script>" not in page
    assert "http" not in page.replace("http-equiv", "")


def test_hatched_on_the_page() -> None:
    """On the map of the page it is one layer of closed rectangles, as many as there are runs."""
    reach = reach_of("##..#/..#.#")
    drawing = Drawing("a floor")
    add_reach(drawing, reach)
    (layer,) = drawing.layers
    assert isinstance(layer, Line)
    assert np.isnan(layer.xy[:, 0]).sum() == len(hatches(reach)) == 4
    assert layer.hatch == "/"


def test_from_the_shell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check --reach` writes the page and keeps one that is there, and takes no other kind."""
    path, folder = tmp_path / "reach.html", str(SAMPLES / "saltmarsh-l-shaped")
    assert main(["check", folder, "--reach", str(path)]) == 0
    assert "Not judged:" in capsys.readouterr().out
    assert path.read_text().count("<svg") == 1
    assert main(["check", folder, "--reach", str(path)]) == 2
    assert "there already" in capsys.readouterr().err
    assert main(["check", folder, "--reach", str(path), "--overwrite"]) == 0
    assert main(["check", folder, "--reach", str(tmp_path / "reach.csv")]) == 2
    steps = str(SAMPLES / "tansy-row-steps")
    assert main(["check", steps, "--reach", str(tmp_path / "none.html")]) == 2
    assert not (tmp_path / "none.html").exists()
