"""F-numbers of a survey: lines and rules for them, sections, what was asked, and what is told."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from lines import BAY, FOOT, Line, across, read_along, room, surveyed

from flatcheck.cli import main
from flatcheck.errors import SurveyError
from flatcheck.fnumber import SlabVerdict, slab_numbers
from flatcheck.report.slab import slab_words
from flatcheck.run import Check, least_readings
from flatcheck.slab import CLASSES, specified_of
from flatcheck.survey import Survey
from flatcheck.verdict import Outcome
from flatcheck.waviness import waviness

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


def rolling(xy: np.ndarray) -> np.ndarray:
    """A floor with waves both ways, a few millimeters high."""
    x, y = xy.T
    return 2 * np.sin(x / 700) + 2 * np.sin(y / 800) + 3 * np.sin((x + y) / 3000)


def flat(xy: np.ndarray) -> np.ndarray:
    return np.zeros(len(xy))


def check_of(verdict: SlabVerdict, rule: str, section: int = 0) -> Check:
    (found,) = (c for c in verdict.sections[section].section.checks if c.rule == rule)
    return found


def said(survey: Survey) -> str:
    found = slab_numbers(survey)
    return "\n".join(slab_words(found, waviness(found), survey))


def test_a_bay_that_keeps_every_rule() -> None:
    """Three lines each way, 5 ft apart and 2 ft clear, are a proper sample of a bay of 30 ft."""
    found = slab_numbers(read_along(across(3), rolling, room=BAY))
    assert [line.run.name for line in found.sections[0].lines] == [
        *("line E0", "line E1", "line E2"),
        *("line N0", "line N1", "line N2"),
    ]
    assert all(check.kept for check in found.sections[0].section.checks)
    assert found.proper
    # 27 readings of a line are 25 q and 17 z; 2 sqrt(900) = 60 are asked for.
    assert (found.ff.readings, found.fl.readings) == (6 * 25, 6 * 17)
    assert check_of(found, "least") == Check("least", True, 102, 60)


def test_edges_are_left_out() -> None:
    """Readings nearer than 2 ft to a wall are left out of a line that runs from wall to wall."""
    lines: list[Line] = [
        (name, (0.0, y * FOOT), (FOOT, 0.0), 41) for name, y in (("A", 5.0), ("B", 20.0))
    ]
    found = slab_numbers(read_along(lines, rolling, room=room(40 * FOOT, 40 * FOOT)))
    section = found.sections[0].section
    assert not section.waived
    # (40² - 36²) / 40² = 19 % of the bay are its edges.
    assert section.kept_ratio == pytest.approx(0.81, abs=0.01)
    assert [len(run.stations) for run in section.runs] == [37, 37]
    assert section.left_out == 8


def test_edges_of_a_small_bay_are_read() -> None:
    """Where edges are over a quarter of a section they are read too: 36 % of 20 by 20 ft."""
    lines: list[Line] = [("A", (0.0, 5 * FOOT), (FOOT, 0.0), 21)]
    section = slab_numbers(read_along(lines, rolling, room=room(20 * FOOT, 20 * FOOT))).sections[0]
    assert section.section.waived
    assert section.section.kept_ratio == pytest.approx(0.64, abs=0.01)
    assert len(section.lines[0].run.stations) == 21


def test_a_column_has_an_edge() -> None:
    """A line is cut 2 ft before and behind a column, and both pieces count if long enough."""
    outline = room(60 * FOOT, 40 * FOOT)["outline"]
    column = [[x * FOOT, y * FOOT] for x, y in ((29, 9), (31, 9), (31, 11), (29, 11))]
    lines: list[Line] = [("A", (2 * FOOT, 10 * FOOT), (FOOT, 0.0), 57)]
    rows = read_along(lines, rolling)  # without the column: some readings lie on it
    cells = tuple(
        row
        for row in rows.tables[0].cells
        if row[0] == "line" or not 28.9 * FOOT < float(row[1]) < 31.1 * FOOT
    )
    survey = surveyed(
        cells, "points", room={"outline": outline, "cutout": [{"name": "c", "outline": column}]}
    )
    runs = slab_numbers(survey).sections[0].section.runs
    # 2 to 27 ft, and 33 to 58 ft.
    assert [len(run.stations) for run in runs] == [26, 26]


def test_no_line_crosses_a_joint() -> None:
    """A line over a joint is cut there, and its readings within 2 ft of it are left out."""
    lines: list[Line] = [("A", (2 * FOOT, 10 * FOOT), (FOOT, 0.0), 57)]
    joint = {"from": [30 * FOOT, 0], "to": [30 * FOOT, 40 * FOOT]}
    plain = read_along(lines, rolling, room=room(60 * FOOT, 40 * FOOT))
    cut = read_along(lines, rolling, room=room(60 * FOOT, 40 * FOOT), joint=[joint])
    assert [len(run.stations) for run in slab_numbers(plain).sections[0].section.runs] == [57]
    assert [len(run.stations) for run in slab_numbers(cut).sections[0].section.runs] == [27, 27]
    assert "The survey tells of no joint" in said(plain)
    assert "No line crosses the joint" in said(cut)


def test_a_joint_cuts_where_edges_are_read() -> None:
    """In a bay so small that its edges are read, a joint still ends a line."""
    lines: list[Line] = [("A", (0.0, 5 * FOOT), (FOOT, 0.0), 25)]
    joint = {"from": [12.5 * FOOT, 0], "to": [12.5 * FOOT, 10 * FOOT]}
    found = slab_numbers(read_along(lines, rolling, room=room(24 * FOOT, 10 * FOOT), joint=[joint]))
    section = found.sections[0].section
    assert section.waived
    assert [len(run.stations) for run in section.runs] == [13, 12]


def test_sections_are_judged_each_on_its_own() -> None:
    """A bay that falls by 1 in 100 fails its local FL, and the one beside it does not.

    FL of an even fall of 1:100 is 12.5 in / (0.01 · 120 in) = 10.4.
    """
    bays = [
        {
            "name": name,
            "outline": [[x, 0], [x + 30 * FOOT, 0], [x + 30 * FOOT, 30 * FOOT], [x, 30 * FOOT]],
        }
        for name, x in (("west", 0), ("east", 30 * FOOT))
    ]
    lines = across(3)
    lines += [(f"B{name}", (x + 30 * FOOT, y), step, n) for name, (x, y), step, n in across(3)]

    def height(xy: np.ndarray) -> np.ndarray:
        return np.maximum(xy[:, 0] - 30 * FOOT, 0) / 100 + 0.05 * np.sin(xy[:, 0])

    found = slab_numbers(
        read_along(
            lines,
            height,
            room=room(60 * FOOT, 30 * FOOT),
            section=bays,
            slab={"specified": "35/25", "local": 0.6},
        )
    )
    ends = {(ask.section, ask.kind): ask for ask in found.asks}
    assert ends["east", "FL"].least == 15
    assert ends["east", "FL"].value == pytest.approx(14.6, abs=0.2)  # three lines fall, three not
    assert ends["east", "FL"].as_read is Outcome.OUT
    assert ends["west", "FL"].as_read is Outcome.WITHIN
    assert found.as_read is Outcome.OUT
    shares = [numbers.section.area_mm2 for numbers in found.sections]
    assert shares == pytest.approx([(30 * FOOT) ** 2] * 2, rel=0.001)
    assert found.fl.value == pytest.approx(np.mean([n.fl.value for n in found.sections]))


def test_sections_that_overlap() -> None:
    """Two sections that share floor are refused by name."""
    square = [[0, 0], [9000, 0], [9000, 9000], [0, 9000]]
    bays = [{"name": "one", "outline": square}, {"name": "two", "outline": square}]
    with pytest.raises(SurveyError, match="two: the section overlaps one"):
        slab_numbers(read_along(across(2), rolling, room=BAY, section=bays))


@pytest.mark.parametrize(("step", "taken"), [(FOOT / 2, FOOT), (FOOT / 4, FOOT), (150.0, 300.0)])
def test_finer_readings_are_taken_a_foot_apart(step: float, taken: float) -> None:
    """Of readings every 6, 3 in or 150 mm every second or fourth is taken: it changes nothing."""
    count = round(27 * FOOT / step)
    lines: list[Line] = [("A", (2 * FOOT, 10 * FOOT), (step, 0.0), count)]
    found = slab_numbers(read_along(lines, rolling, room=room(60 * FOOT, 60 * FOOT)))
    run = found.sections[0].section.runs[0]
    assert run.step_mm == taken
    every = round(taken / step)
    xy = np.column_stack(
        (2 * FOOT + taken * np.arange(-(-count // every)), np.full(-(-count // every), 10 * FOOT))
    )
    assert found.sections[0].lines[0].q_mm == pytest.approx(np.diff(rolling(xy), 2), abs=1e-6)


def test_metric_steps_are_flagged() -> None:
    """Steps of 300 mm are worked out in inches, and it is said that they flatter."""
    lines: list[Line] = [("A", (600.0, 3000.0), (300.0, 0.0), 20)]
    survey = read_along(lines, rolling, room=room(9000, 9000))
    assert check_of(slab_numbers(survey), "spacing").has == 300
    assert "come out up to 3% better than on 12 in" in said(survey)


@pytest.mark.parametrize("step", [250.0, 290.0, 400.0])
def test_another_step_is_no_line(step: float) -> None:
    """Readings that are neither a foot nor 300 mm apart give no F-numbers."""
    lines: list[Line] = [("A", (600.0, 3000.0), (step, 0.0), 30)]
    with pytest.raises(SurveyError, match="no straight line of 12 readings"):
        slab_numbers(read_along(lines, rolling, room=room(20000, 9000)))


@pytest.mark.parametrize(("readings", "good"), [(11, False), (12, True)])
def test_a_line_has_twelve_readings(readings: int, good: bool) -> None:
    """Eleven readings in a row are too few, twelve are a line."""
    survey = read_along(
        [("A", (2 * FOOT, 10 * FOOT), (FOOT, 0.0), readings)], rolling, room=room(20000, 20000)
    )
    if good:
        assert len(slab_numbers(survey).sections[0].lines[0].z_mm) == 2
    else:
        with pytest.raises(SurveyError, match="lines are too short"):
            slab_numbers(survey)


def test_a_grid_gives_its_own_lines() -> None:
    """Of a grid a foot apart, rows and columns 4 ft apart are taken, the others left out."""
    ticks = [f"{FOOT * k:.1f}" for k in range(31)]
    xy = np.array([[FOOT * i, FOOT * j] for j in range(31) for i in range(31)])
    heights = rolling(xy).reshape(31, 31)
    cells = (("", *ticks), *((ticks[j], *(f"{z:.6f}" for z in heights[j])) for j in range(31)))
    found = slab_numbers(surveyed(cells, "grid", room=BAY))
    section = found.sections[0].section
    rows = [run for run in section.runs if run.name.startswith("row")]
    assert [run.start[1] / FOOT for run in rows] == pytest.approx(
        [2, 6, 10, 14, 18, 22, 26], abs=0.01
    )
    assert len(section.runs) == 14
    assert section.close == 2 * (27 - 7)
    assert check_of(found, "apart").kept
    assert found.proper


def test_lines_too_near_to_each_other() -> None:
    """Named lines 3 ft apart are used, and the rule is said not to be kept."""
    found = slab_numbers(read_along(across(3, 3 * FOOT), rolling, room=BAY))
    assert check_of(found, "apart") == Check("apart", False, pytest.approx(3 * FOOT), 4 * FOOT)
    assert not found.proper


def slanted(count: int) -> list[Line]:
    """Lines at 45 degrees in a bay of 20 by 60 ft, 6 ft apart along its side."""
    leg = FOOT / math.sqrt(2)
    return [(f"D{k}", ((2.5 + 6 * k) * FOOT, 2.5 * FOOT), (leg, leg), 21) for k in range(count)]


def test_a_narrow_bay_is_read_at_45_degrees() -> None:
    """Under 25 ft wide: lines at 45 degrees are proper, and lines along the side are not."""
    narrow = room(60 * FOOT, 20 * FOOT)
    assert check_of(slab_numbers(read_along(slanted(6), rolling, room=narrow)), "narrow").kept
    straight: list[Line] = [("A", (2 * FOOT, 10 * FOOT), (FOOT, 0.0), 50)]
    mixed = slab_numbers(read_along([*slanted(3), *straight], rolling, room=narrow))
    assert check_of(mixed, "narrow") == Check("narrow", False, 3, 4)


def test_never_from_corner_to_corner() -> None:
    """At 45 degrees in a square bay a line through two corners is refused, one beside it is not."""
    leg, square = FOOT / math.sqrt(2), room(20 * FOOT, 20 * FOOT)
    for start, kept in ((2 * FOOT, False), (4 * FOOT, True)):
        lines: list[Line] = [("D", (start, 2 * FOOT), (leg, leg), 20)]
        found = slab_numbers(read_along(lines, rolling, room=square))
        assert check_of(found, "narrow").kept is kept


def test_a_wide_bay_is_read_both_ways() -> None:
    """From 25 ft on lines along and across are to be of equal length: along alone will not do."""
    along = [line for line in across(3) if line[0].startswith("E")]
    found = slab_numbers(read_along(along, rolling, room=BAY))
    assert check_of(found, "wide").kept is False
    assert not found.proper


def test_without_an_outline_edges_are_not_told() -> None:
    """Whether readings keep clear of edges cannot be told without edges, and nothing is judged."""
    found = slab_numbers(read_along(across(3), flat, slab={"specified": "20/15"}))
    assert check_of(found, "edge").kept is None
    assert {ask.outcome for ask in found.asks} == {Outcome.NOT_ASSESSED}


def test_a_bent_line_is_refused_by_its_reading() -> None:
    """A reading 300 mm beside its line is named: it is a slip of the offsets."""
    survey = read_along([("A", (600.0, 3000.0), (300.0, 0.0), 20)], flat, room=room(9000, 9000))
    cells = [list(row) for row in survey.tables[0].cells]
    cells[8][2] = "3300"
    with pytest.raises(SurveyError, match=r"t\.csv, row 9, cell D9: .* 300 mm beside line A"):
        slab_numbers(surveyed(tuple(map(tuple, cells)), "points", room=room(9000, 9000)))


@pytest.mark.parametrize(
    ("square_feet", "least"), [(400, 40), (900, 60), (1600, 80), (3600, 120), (6000, 200)]
)
def test_least_readings(square_feet: float, least: float) -> None:
    """2 sqrt(A) up to 3,600 square feet, where it meets A/30, and that from there on."""
    assert least_readings(square_feet * FOOT**2) == pytest.approx(least)


def test_a_straight_floor_is_beyond_any_number() -> None:
    """Lines without any unevenness have no finite number, and are within whatever is asked."""
    survey = read_along(across(3), flat, room=BAY, slab={"specified": "super flat"})
    found = slab_numbers(survey)
    assert math.isinf(found.ff.value)
    assert found.guarded is found.as_read is Outcome.WITHIN
    assert "FF beyond any number" in said(survey)


def test_a_broken_rule_is_never_within() -> None:
    """A straight floor read along one way only is not assessed, however good its numbers."""
    along = [line for line in across(3) if line[0].startswith("E")]
    found = slab_numbers(read_along(along, flat, room=BAY, slab={"specified": "conventional"}))
    assert found.guarded is found.as_read is Outcome.NOT_ASSESSED


def test_a_floor_that_falls_has_no_levelness() -> None:
    """FL of a floor that is meant to fall is told and not judged."""
    intent = {"kind": "fall", "fall": "1:50", "toward": "north"}
    survey = read_along(across(3), flat, room=BAY, intent=intent, slab={"specified": "35/25"})
    assert [ask.kind for ask in slab_numbers(survey).asks] == ["FF"]
    assert "FL says nothing of it" in said(survey)


def test_reading_error_is_not_the_floor() -> None:
    """A perfect floor read to 1/32 in is FF 20 by error alone, and not called out for it.

    q = h - 2 h + h has u sqrt(6): FF 4.57 / (3 sqrt(6) / 32) = 19.9 on a floor without a fault.
    """
    u = FOOT / 12 / 32
    noise = np.random.default_rng(5)
    survey = read_along(
        across(3),
        lambda xy: noise.normal(0, u, len(xy)),
        room=BAY,
        slab={"specified": "45/35"},
        instrument={"uncertainty": "1/32 in"},
    )
    found = slab_numbers(survey)
    # Places where two lines cross are read twice, which makes them a little better.
    assert found.error_ff == pytest.approx(19.9, rel=0.04)
    assert found.ff.value == pytest.approx(20, abs=2.5)
    (ff,) = (ask for ask in found.asks if ask.kind == "FF")
    assert ff.as_read is Outcome.OUT
    assert ff.outcome is Outcome.CLOSE


def test_rounding_hides_a_floor() -> None:
    """Readings to 1/8 in that are all equal show no super flat floor: rounding can hide its waves.

    They are good to 1/8 / sqrt(12) = 0.0361 in; of that alone q reads as FF 4.57 / (3 sqrt(6) u),
    which is 17.
    """
    survey = read_along(
        across(3),
        flat,
        room=BAY,
        slab={"specified": "super flat"},
        instrument={"uncertainty": "0.0001 in", "reads_to": "1/8 in"},
    )
    found = slab_numbers(survey)
    assert found.error_ff == pytest.approx(17, rel=0.05)
    assert (found.guarded, found.as_read) == (Outcome.CLOSE, Outcome.WITHIN)


@pytest.mark.parametrize("setup_of", ["AB", "AA"])
def test_a_line_over_two_setups(setup_of: str) -> None:
    """A line read from two setups that nothing ties together ends where the second begins."""
    survey = read_along([("A", (600.0, 3000.0), (300.0, 0.0), 20)], rolling, room=room(9000, 9000))
    rows = survey.tables[0].cells
    cells = [(*row, "setup" if k == 0 else setup_of[k > 9]) for k, row in enumerate(rows)]
    survey = surveyed(tuple(cells), "points", room=room(9000, 9000))
    if setup_of == "AA":
        assert slab_numbers(survey).ff.value > 0
    else:
        with pytest.raises(SurveyError, match="cut too short"):
            slab_numbers(survey)


def test_one_line_has_no_interval() -> None:
    """With a single line nothing tells how far it can be trusted, and that is said."""
    survey = read_along([("A", (600.0, 3000.0), (300.0, 0.0), 20)], rolling, room=room(9000, 9000))
    assert slab_numbers(survey).ff.low is None
    assert "nothing tells how far" in said(survey)


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("35/25", (35, 25, "")),
        ("FF 35 / FL 25", (35, 25, "")),
        ("ff35/fl25", (35, 25, "")),
        (" Super  flat ", (60, 40, "super flat")),
        ("37.5/21", (37.5, 21, "")),
    ],
)
def test_what_was_specified(written: str, found: tuple[float, float, str]) -> None:
    """FF and FL as they are written in contracts, or a class by its name."""
    got = specified_of(written)
    assert (got.ff, got.fl, got.named) == found


@pytest.mark.parametrize("written", ["35", "flat/25", "0/20", "-35/25", "35/2500", "", "nan/nan"])
def test_what_cannot_be_specified(written: str) -> None:
    """Anything else is refused with what was read and the names of the classes."""
    with pytest.raises(SurveyError, match=r"was expected to be FF and FL.*super flat"):
        specified_of(written)


@pytest.mark.parametrize(
    ("sections", "message"),
    [
        ({"slab": {"local": 1.5}}, "slab.local = 1.5 was expected to be a share"),
        ({"slab": {"local": True}}, "slab.local = True was expected to be a number"),
        ({"slab": {"class": "flat"}}, "'class' is not known here"),
        ({"joint": [{"from": [0, 0]}]}, "joint 1.to = nothing was expected to be two lengths"),
        ({"section": [{"name": "a"}]}, "a: an outline is a list of corners"),
    ],
)
def test_a_slab_that_cannot_be_read(sections: dict[str, object], message: str) -> None:
    """What a survey says of its slab is checked at the door, by name."""
    with pytest.raises(SurveyError, match=message):
        read_along([("A", (600.0, 3000.0), (300.0, 0.0), 20)], flat, **sections)


def test_a_wall_has_no_f_numbers() -> None:
    """A survey of a wall is refused."""
    with pytest.raises(SurveyError, match="of a wall"):
        slab_numbers(read_along(across(1), flat, room=BAY, survey={"about": "wall"}))


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    """`numbers` judges the sample: good overall, and its second bay below the local FL."""
    folder = str(SAMPLES / "harnmoor-bays")
    assert main(["numbers", folder]) == 1
    words = capsys.readouterr().out
    assert words.startswith("OUT as FF 25 / FL 20 (moderately flat): Warehouse slab")
    assert "OUT: [bay 2] FL" in words
    assert "OUT: [bay 1]" not in words
    assert main(["numbers", folder, "--specified", "20/8", "--local", "0.5"]) == 0
    assert capsys.readouterr().out.startswith("WITHIN as FF 20 / FL 8:")
    assert main(["numbers", folder, "--json"]) == 1
    got = json.loads(capsys.readouterr().out)
    assert [section["name"] for section in got["sections"]] == ["bay 1", "bay 2"]
    assert got["asks"][-1]["as_read"] == "out"
    assert got["waviness_mm"]["certainty"] == "from memory"


def test_the_command_without_anything_specified(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without anything specified the numbers are told with the class that they reach."""
    survey = read_along(across(3), rolling, room=BAY)
    (tmp_path / "survey.toml").write_text(survey.document)
    (tmp_path / "t.csv").write_text("\n".join(",".join(row) for row in survey.tables[0].cells))
    assert main(["numbers", str(tmp_path)]) == 0
    words = capsys.readouterr().out
    assert words.startswith("FF ")
    assert 'the class "' in words
    assert any(f'"{name}"' in words for name in CLASSES)


def test_a_bare_grid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bare table gives numbers too, and exit status 3: nothing tells of its edges."""
    rows = ["," + ",".join(str(k) for k in range(13))]
    rows += [f"{j}," + ",".join(f"{40 + (i * j) % 3 / 16}" for i in range(13)) for j in (0, 4, 8)]
    (tmp_path / "grid.csv").write_text("\n".join(rows))
    options = ["--sense", "rod", "--readings", "in", "--offsets", "ft", "--uncertainty", "1/64 in"]
    assert main(["numbers", str(tmp_path / "grid.csv"), *options]) == 3
    assert "NOT TOLD" in capsys.readouterr().out
