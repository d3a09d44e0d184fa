"""A case worked by hand for every standard: readings written out, the value and the limit by hand.

Each case is a survey document with a table of readings that goes the ordinary way: read, adjusted,
measured by the standard's own measure, judged. Nothing here looks into the standard's data; the
numbers are those of the documents as their citations print them (`flatcheck standards`), and the
arithmetic stands beside each case. Values are exact: readings are given to the hundredth of a
millimeter with an uncertainty far below it.

Floors are profiles along x, repeated in rows, so that every bar across is level and every bar on
the diagonal sees the profile stretched.
"""

from dataclasses import dataclass, field
from typing import Any

import pytest
import tomli_w

from flatcheck.assess import assess
from flatcheck.lippage import judge_steps
from flatcheck.readers.folder import checked
from flatcheck.rules import grade_of, standards
from flatcheck.survey import Survey
from flatcheck.verdict import Outcome

IN = 25.4
FT = 304.8


@dataclass(frozen=True)
class Case:
    """A profile read every `step` mm, and what one rule must find there, by hand."""

    name: str
    rule: str
    step: float
    heights: tuple[float, ...]
    value: float
    limit: float
    by_hand: str
    edge: float = 300.0
    intent: dict[str, Any] = field(default_factory=dict)
    wall: bool = False
    at: tuple[float, ...] = ()


def groove(depth: float, count: int = 9) -> tuple[float, ...]:
    """A level profile with one reading in the middle that is `depth` low."""
    return tuple(-depth if k == count // 2 else 0.0 for k in range(count))


def falling(ratio: float, step: float, count: int = 9) -> tuple[float, ...]:
    """A profile that falls to the east."""
    return tuple(round(100 - ratio * step * k, 4) for k in range(count))


LEVEL = {"kind": "level"}
PLUMB = {"kind": "plumb"}
EAST = {"kind": "fall", "fall": "2 %", "toward": "east"}

UNEVEN = (0.0, 2.0, 1.0, 3.5, 0.0)
"""A bar on the second and the fourth place: 2.0 + (3.5 - 2.0) / 2 - 1.0 = 1.75 over the third. Of
the other bars over it the one from the first to the fourth comes next: 3.5 * 2/3 - 1.0 = 1.33."""

FLAT = [
    # United States, Canada
    Case("us-tile:bar", "10ft", 500, groove(6.5), 6.5, IN / 4, "1/4 in = 6.35 < 6.5: out"),
    Case("us-tile:bar", "10ft", 500, groove(6.5), 6.5, IN / 8, "large: 1/8 in = 3.175", 600),
    Case("us-tile:bar", "short", 76.2, groove(1.5), 1.5, IN / 16, "1/16 in = 1.5875 > 1.5"),
    Case("us-tile:plane", "10ft", 500, UNEVEN, 3.5, IN / 8, "3.5 - 0 = 3.5 > 3.175", 600, LEVEL),
    Case("us-tile:panels", "24in", 150, groove(1.6), 1.6, IN / 16, "1.6 > 1.5875, whatever tile"),
    Case("us-tile:before-2009", "10ft", 500, groove(6.3), 6.3, IN / 4, "6.3 < 6.35", 600),
    Case("us-tile-older:mortar-bed", "10ft", 500, UNEVEN, 3.5, IN / 4, "3.5 < 6.35", 300, LEVEL),
    Case("us-tile-older:thin-8ft", "8ft", 500, UNEVEN, 3.5, IN / 8, "3.5 > 3.175", 300, LEVEL),
    Case("us-tile-older:thin-10ft", "10ft", 500, UNEVEN, 3.5, IN / 8, "3.5 > 3.175", 300, LEVEL),
    Case("us-tile-older:adhesive", "3ft", 200, groove(1.7), 1.7, IN / 16, "1.7 > 1.59", 300, LEVEL),
    Case("us-finished:tile", "10ft", 500, UNEVEN, 3.5, IN / 4, "3.5 < 6.35", 300, LEVEL),
    Case("us-finished:stone", "10ft", 500, UNEVEN, 3.5, IN / 8, "3.5 > 3.175", 300, LEVEL),
    Case(
        "us-finished:pavers",
        "10ft",
        600,
        groove(-9.6),
        -9.6,
        3 * IN / 8,
        "a ridge of 9.6 stands 9.6 over a bar whose feet are on both sides: 3/8 in = 9.525 < 9.6",
    ),
    Case(
        "us-modular:edges",
        "2in",
        0,
        (0, 0, 0, 0.9, 0.9, 0.9),
        0.9,
        IN / 32,
        "0.9 - 0 across the joint, 40 mm apart: 1/32 in = 0.794 < 0.9",
        at=(0, 300, 580, 620, 900, 1200),
    ),
    Case("aci-bar:flat", "10ft", 600, groove(9.5), 9.5, 3 * IN / 8, "3/8 in = 9.525 > 9.5"),
    Case("aci-bar:1990-flat", "10ft", 600, groove(4.8), 4.8, 3 * IN / 16, "3/16 in = 4.7625 < 4.8"),
    Case("ca-tile:bar", "10ft", 500, groove(3.2), 3.2, IN / 8, "1/8 in = 3.175 < 3.2", 600),
    # Britain
    Case("bs-5385-3:substrate", "2m", 500, UNEVEN, 1.75, 3, "2.75 - 1.0 = 1.75 < 3"),
    Case("bs-5385-3:finished", "2m", 500, groove(-3.1), -3.1, 3, "a ridge of 3.1 on blocks > 3"),
    Case("bs-5385-1:substrate", "2m", 500, groove(3.1), 3.1, 3, "3.1 > 3", wall=True),
    Case("bs-8204:SR1", "2m", 500, groove(2.9), 2.9, 3, "2.9 < 3"),
    Case("bs-8204:SR2", "2m", 500, groove(5.1), 5.1, 5, "5.1 > 5"),
    Case("bs-8204:SR3", "2m", 500, groove(5.1), 5.1, 10, "5.1 < 10"),
    Case(
        "bs-8204-level:datum-15",
        "datum",
        500,
        (0, 12, 5, -19, 0),
        -15.5,
        15,
        "midway between 12 and -19 is -3.5; 12 - (-3.5) = 15.5 high > 15",
        intent=LEVEL,
    ),
    Case(
        "bs-8204-level:datum-10",
        "datum",
        500,
        (0, 9, 5, -10, 0),
        -9.5,
        10,
        "midway between 9 and -10 is -0.5; 9 - (-0.5) = 9.5 high < 10",
        intent=LEVEL,
    ),
    Case(
        "bs-8204-level:joint-1",
        "50mm",
        0,
        (0, 0, 0, 1.2, 1.2, 1.2),
        1.2,
        1,
        "1.2 - 0 = 1.2 > 1",
        at=(0, 300, 580, 620, 900, 1200),
    ),
    Case("uk-warranty:nhbc-floor", "2m", 500, groove(4.9), 4.9, 5, "4.9 < 5", intent=LEVEL),
    Case(
        "uk-warranty:nhbc-floor",
        "level",
        500,
        (13, 9, 7, 6, 5, 4, 3, 1, 0),
        13,
        12,
        "13 - 0 = 13 over 8 * 500 = 4 m; 3 mm/m * 4 m = 12 < 13",
        intent=LEVEL,
    ),
    Case(
        "uk-warranty:other-floor",
        "level",
        500,
        (0, 1, 3, 4, 5, 6, 7, 9, 13),
        -13,
        16,
        "0 - 13 = -13: high toward its end; 4 mm/m * 4 m = 16 > 13",
        intent=LEVEL,
    ),
    Case("uk-warranty:other-wall", "2m", 500, groove(-5.2), -5.2, 5, "5.2 > 5", wall=True),
    Case("tr34:FM2", "600mm", 300, (0, 0, 4, 4, 4), 4, 3.5, "4 - 0 = 4 > 3.5", intent=LEVEL),
    Case(
        "tr34:FM2-bend",
        "bend",
        300,
        (0, 0, 4, 4, 4),
        2,
        1.75,
        "steps of 300 mm: 0, 4, 0, 0; 4 - 0 = 4 > 3.5, and half of each is 2 > 1.75",
    ),
    # Germany
    Case(
        "din-18202:3",
        "bar",
        1000,
        groove(6.4),
        6.4,
        6,
        "contacts 2 m apart: 4 + (10 - 4) * (2 - 1) / (4 - 1) = 6 < 6.4",
    ),
    Case(
        "din-18202:4",
        "bar",
        500,
        groove(2.5),
        2.5,
        3,
        "contacts 1 m apart: 3 > 2.5",
    ),
    Case("din-18202:4-2mm", "bar", 500, groove(2.5), 2.5, 2, "contacts 1 m apart: 2 < 2.5"),
    Case(
        "din-18202:3-grid",
        "grid",
        1000,
        groove(-6.4),
        -6.4,
        6,
        "neighbors 2 m apart: (0 + 0) / 2 - 6.4 = -6.4; limit 6",
    ),
    Case(
        "din-18202:7",
        "bar",
        500,
        groove(3.4),
        3.4,
        3,
        "contacts 1 m apart: 3 < 3.4",
        wall=True,
    ),
    Case(
        "din-18202:angle",
        "angle",
        500,
        (13, 9, 7, 6, 5, 4, 3, 1, 0),
        13,
        12,
        "13 - 0 over 8 * 500 = 4 m; over 3 up to 6 m: 12 < 13",
        intent=LEVEL,
    ),
    # France, Belgium, Sweden, Norway
    Case("dtu-tile:bonded", "2m", 500, groove(5.1), 5.1, 5, "5.1 > 5"),
    Case("dtu-tile:bonded-short", "0-2m", 50, groove(1.1), 1.1, 1, "1.1 > 1"),
    Case("dtu-tile:wall", "2m", 500, groove(6.9), 6.9, 7, "6.9 < 7", wall=True),
    Case("dtu-tile:mortar-finished", "2m", 500, UNEVEN, 1.75, 3, "2.75 - 1.0 = 1.75 < 3"),
    Case("dtu-slabs:slab", "2m", 500, groove(-7.1), -7.1, 7, "a ridge of 7.1 on blocks > 7"),
    Case("dtu-slabs:slab", "0-2m", 50, groove(2.1), 2.1, 2, "2.1 > 2"),
    Case(
        "dtu-slabs:level",
        "level",
        1000,
        (21, 16, 15, 12, 10, 8, 6, 2, 0),
        21,
        20,
        "21 - 0 over 8 * 1 m; 10 * 8^(1/3) = 20 < 21",
        intent=LEVEL,
    ),
    Case("dtu-slabs:underlay", "2m", 500, groove(6.9), 6.9, 7, "6.9 < 7"),
    Case("dtu-slabs:thick-underlay", "2m", 500, groove(3.1), 3.1, 3, "3.1 > 3"),
    Case("be-tile:class-1", "2m", 500, groove(-3.1), -3.1, 3, "3.1 > 3"),
    Case("be-tile:class-2", "2m", 500, groove(3.1), 3.1, 4, "3.1 < 4"),
    Case("be-tile:class-3", "2m", 500, groove(5.9), 5.9, 6, "5.9 < 6"),
    Case("ama-hus:A", "2m", 500, groove(3.1), 3.1, 3, "3.1 > 3"),
    Case("ama-hus:A", "0-25m", 62.5, groove(1.1), 1.1, 1.2, "1.1 < 1.2"),
    Case("ama-hus:A-plus", "0-25m", 62.5, groove(1.1), 1.1, 1, "1.1 > 1"),
    Case(
        "ama-hus:wall",
        "plumb",
        500,
        (0, 1, 2, 3, 4, 4, 5, 6, 7),
        -7,
        4000 / 600,
        "0 - 7 = -7 up 8 * 500 = 4 m; 4000 / 600 = 6.67 < 7",
        intent=PLUMB,
        wall=True,
    ),
    Case("ns-3420:PB", "2m", 500, groove(3.1), 3.1, 3, "3.1 > 3"),
    Case("ns-3420:PB", "1m", 250, groove(-2.1), -2.1, 2, "2.1 > 2"),
    Case("ns-3420:PC", "0-25m", 62.5, groove(1.9), 1.9, 2, "1.9 < 2"),
    # Australia, New Zealand
    Case("au-tile:finished", "2m", 500, groove(-4.1), -4.1, 4, "4.1 > 4"),
    Case("au-tile:substrate-2m", "2m", 500, groove(-3.1), -3.1, 3, "3.1 > 3"),
    Case("au-tile:substrate-3m", "3m", 750, groove(2.9), 2.9, 3, "2.9 < 3"),
    Case("au-tile:concrete-A", "3m", 750, groove(3.1), 3.1, 3, "3.1 > 3"),
    Case("au-tile:concrete-C", "600mm", 150, groove(5.9), 5.9, 6, "5.9 < 6"),
    Case("nz-tile:finished", "2m", 500, groove(-3.9), -3.9, 4, "3.9 < 4"),
    Case("nz-tile:concrete-3mm", "3m", 750, groove(-3.1), -3.1, 3, "3.1 > 3"),
    Case("nz-tile:concrete-5mm", "3m", 750, groove(4.9), 4.9, 5, "4.9 < 5"),
    Case("nz-tile:concrete-5mm", "200mm", 50, groove(3.2), 3.2, 3, "3.2 - 0 > 3", intent=LEVEL),
]


def level_over(ratio: float) -> float:
    """What a slope is over the two feet of a level [mm]."""
    return ratio * 2 * FT


def fall(name: str, rule: str, ratio: float, limit: float, by_hand: str) -> Case:
    """A plane that falls to the east, judged over two feet; a least fall is a rise below zero."""
    sign = -1 if rule == "least" else 1
    heights = falling(ratio, 250)
    return Case(
        name,
        rule,
        250,
        heights,
        sign * level_over(ratio),
        sign * level_over(limit),
        by_hand,
        intent=EAST,
    )


def change(name: str, rule: str, step_mm: float, limit: float, by_hand: str) -> Case:
    """An edge across the floor, read 20 mm from it on both sides."""
    return Case(
        name,
        rule,
        0,
        (0, 0, 0, step_mm, step_mm, step_mm),
        step_mm,
        limit,
        by_hand,
        at=(0, 300, 580, 620, 900, 1200),
        intent=LEVEL,
    )


FALLS = [
    fall("irc-shower", "least", 0.0200, 1 / 48, "1/4 in per ft is 1/48 = 2.083 % > 2.00 %: out"),
    fall("irc-shower:percent", "most", 0.0410, 0.04, "4.1 % > 4 %"),
    fall("upc-shower", "most", 0.0410, 1 / 24, "1/2 in per ft is 1/24 = 4.17 % > 4.1 %"),
    fall("upc-shower:liner", "least", 0.0208, 1 / 48, "20.8 mm in 1 m < 20.83 mm"),
    fall("upc-shower:gang", "least", 0.0210, 0.02, "2.1 % > 2 %"),
    fall("ipc-pan", "least", 0.0210, 1 / 48, "2.1 % > 2.083 %"),
    fall("ada-floors:slope", "most", 0.0210, 1 / 48, "2.1 % > 2.083 %"),
    change("ada-floors:vertical", "step", 6.3, IN / 4, "1/4 in = 6.35 > 6.3"),
    fall("ada-routes:running", "most", 0.0510, 1 / 20, "5.1 % > 5 %"),
    fall("ada-routes:cross", "most", 0.0200, 1 / 48, "2 % < 2.083 %"),
    fall("ada-routes:ramp", "most", 0.0830, 1 / 12, "8.3 % < 8.33 %"),
    fall("ada-routes:ramp-6in", "most", 0.1010, 1 / 10, "10.1 % > 10 %"),
    fall("ada-routes:ramp-3in", "most", 0.1240, 1 / 8, "12.4 % < 12.5 %"),
    fall("au-wet:ncc-2022", "least", 0.0120, 1 / 80, "1:80 is 1.25 % > 1.2 %"),
    fall("au-wet:ncc-2022", "most", 0.0190, 1 / 50, "1:50 is 2 % > 1.9 %"),
    fall("bs-falls", "least", 0.0130, 1 / 80, "1.3 % > 1.25 %"),
    fall("bs-falls", "most", 0.0290, 1 / 35, "1:35 is 2.857 % < 2.9 %"),
    fall("din-falls:balcony", "least", 0.0140, 0.015, "1.4 % < 1.5 %"),
    fall("din-falls:roof", "least", 0.0210, 0.02, "2.1 % > 2 %"),
    fall("tek17-wet:near-drain", "least", 0.0190, 1 / 50, "1.9 % < 2 %"),
    fall("tek17-wet:whole", "least", 0.0110, 1 / 100, "1.1 % > 1 %"),
    fall("us-deck:eighth", "least", 0.0100, 1 / 96, "1/8 in per ft is 1/96 = 1.0417 % > 1 %"),
    change("us-walkways:vertical", "2in", 6.4, IN / 4, "6.4 > 6.35"),
    change("us-walkways:bevelled", "2in", 12.6, IN / 2, "1/2 in = 12.7 > 12.6"),
    change("us-walkways:threshold", "2in", 12.8, IN / 2, "12.8 > 12.7"),
    change("us-walkways:sliding-threshold", "2in", 19.0, 3 * IN / 4, "3/4 in = 19.05 > 19"),
]


@dataclass(frozen=True)
class Edge:
    """One step at a joint with a tile, and the limit by hand; `warped` is what the tile bows."""

    name: str
    step: float
    joint: float
    tile: tuple[float, float]
    warped: float
    limit: float
    by_hand: str


STEPS = [
    Edge("us-lippage", 1.2, 4.0, (600, 300), 0.5, IN / 32 + 0.5, "4 < 6.35: 0.794 + 0.5 = 1.294"),
    Edge("us-lippage", 1.7, 8.0, (600, 300), 0.0, IN / 16, "8 > 6.35: 1.5875 < 1.7"),
    Edge("us-lippage:pavers", 3.1, 3.0, (600, 600), 0.5, IN / 8, "1/8 in = 3.175, nothing added"),
    Edge("bs-lippage", 1.1, 5.0, (300, 300), 0.5, 1.0, "5 < 6: 1 < 1.1"),
    Edge("dtu-lippage", 1.0, 4.0, (300, 300), 0.2, 1.1, "0.5 + 4 / 10 + 0.2 = 1.1 > 1.0"),
    Edge("de-lippage", 2.0, 3.0, (600, 300), 0.5, 1.9, "1.0 + (600 + 300) / 1000 = 1.9 < 2.0"),
    Edge("be-lippage:class-2", 1.4, 3.0, (300, 300), 0.5, 1.5, "1.4 < 1.5"),
    Edge("au-lippage:ground", 1.6, 3.0, (300, 300), 0.5, 1.5, "1.6 > 1.5"),
    Edge("nz-lippage", 1.4, 3.0, (300, 300), 0.5, 1.5, "1.4 < 1.5"),
]

ELSEWHERE = {"wet-practice": "test_ponding.py and test_falls_geometry.py"}
"""Standards whose cases are worked by hand in another file."""

ROWS = 9


def document(case: Case, **sections: Any) -> dict[str, Any]:
    standard, _ = grade_of(case.name)
    about = standard.about == "falls"
    return {
        "flatcheck": 1,
        "survey": {"about": "wall" if case.wall else "floor"},
        "units": {"readings": "mm", "offsets": "mm", "show": "mm/0.01"},
        "instrument": {"uncertainty": "0.001 mm"},
        "standard": {"rule": "none" if about else case.name}
        | ({"falls": [case.name]} if about else {}),
        "tile": {"length": case.edge, "width": case.edge, "joint": 3},
        "table": [{"file": "t.csv", "kind": "grid", "sense": "elevation"}],
        "intent": case.intent or {"kind": "best fit"},
    } | sections


def survey_of(case: Case) -> Survey:
    """The profile in rows; up the wall where the wall's own rule looks up it."""
    along = case.at or tuple(case.step * k for k in range(len(case.heights)))
    apart = case.step or 300.0
    across = tuple(apart * k for k in range(ROWS))
    up = case.wall and case.intent == PLUMB
    x, y = (across, along) if up else (along, across)
    rows: list[tuple[str, ...]] = [("", *(f"{v:g}" for v in x))]
    for k, place in enumerate(y):
        line = [case.heights[k]] * len(x) if up else case.heights
        rows.append((f"{place:g}", *(f"{height:.6f}" for height in line)))
    outline = [[0, 0], [x[-1], 0], [x[-1], y[-1]], [0, y[-1]]]
    text = tomli_w.dumps(document(case, room={"outline": outline}))
    return checked(text, {"t.csv": tuple(rows)})


def named(case: Case | Edge) -> str:
    return f"{case.name} {getattr(case, 'rule', '')} {case.by_hand}"


@pytest.mark.parametrize("case", [*FLAT, *FALLS], ids=named)
def test_case(case: Case) -> None:
    """The rule finds the value worked out by hand, holds the document's limit to it, and says so.

    Exactly at face value, so that over is out and not over is never called out.
    """
    assessment = assess(survey_of(case))
    (finding,) = (f for f in assessment.verdict.findings if f.rule.id == case.rule)
    worst = finding.worst
    assert worst is not None
    assert worst.value_mm == pytest.approx(case.value, abs=2e-5)
    assert worst.limit_mm == pytest.approx(case.limit, rel=1e-9)
    over = case.value > case.limit if case.rule in ("least", "most") else None
    if over is None:
        over = abs(case.value) > case.limit
    assert finding.as_read is (Outcome.OUT if over else Outcome.WITHIN)


@pytest.mark.parametrize("edge", STEPS, ids=named)
def test_step(edge: Edge) -> None:
    """The joint's limit is the document's for this joint, tile and warpage, by hand."""
    case = Case("bs-8204", "", 500, (0.0,), 0, 0, "")
    text = tomli_w.dumps(
        document(
            case,
            tile={
                "length": edge.tile[0],
                "width": edge.tile[1],
                "joint": edge.joint,
                "warpage": {"edge": edge.warped, "bow": "crown", "measured": True},
            },
            standard={"rule": "none", "lippage": edge.name},
            table=[{"file": "t.csv", "kind": "steps"}],
        )
    )
    cells = (("x", "y", "step", "proud"), ("100", "100", f"{edge.step:g}", "north"))
    verdict = judge_steps(checked(text, {"t.csv": cells}), None)
    assert verdict is not None
    (joint,) = verdict.joints
    assert joint.height_mm == pytest.approx(edge.step)
    assert joint.limit_mm == pytest.approx(edge.limit, rel=1e-9)
    assert joint.as_read is (Outcome.OUT if edge.step > edge.limit else Outcome.WITHIN)


def test_every_standard_has_a_case() -> None:
    """No standard is offered without a case worked by hand."""
    worked = {grade_of(case.name)[0].id for case in (*FLAT, *FALLS, *STEPS)}
    assert worked | ELSEWHERE.keys() == standards().keys()


def test_cases_lie_on_both_sides() -> None:
    """Of each kind of rule some cases are over their limit and some are not, so either can fail."""
    for cases in (FLAT, FALLS):
        over = [abs(case.value) > abs(case.limit) for case in cases]
        assert 0.25 < sum(over) / len(over) < 0.75
