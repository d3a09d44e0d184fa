"""What is said of the readings: misreadings, setups, loops, and what they leave open."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from scipy.stats import norm

from flatcheck.adjust import DOUBT
from flatcheck.assess import Assessment, assess
from flatcheck.instrument import describe, statement
from flatcheck.misread import CHECKED
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.checks import checks
from flatcheck.report.misread import NAMED, misread
from flatcheck.report.text import record, text
from flatcheck.report.words import explain, shape_words
from flatcheck.units import STYLES, Style, format_length, parse_length
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
SIDE = 2000
STEP = 500
HEADERS = {
    "points": "x,y,reading,setup",
    "gaps": "bar,x1,y1,x2,y2,at,gap",
    "tilts": "x,y,toward,reading",
    "benchmarks": "x,y,height,uncertainty",
}
TICKS = range(0, SIDE + 1, STEP)

Row = tuple[object, ...]


def judged(uncertainty: str = "0.3 mm", room: bool = True, **tables: list[Row]) -> Assessment:
    """A survey of a room 2 m by 2 m from rows of some kinds of table, lengths in millimeters."""
    entries, cells = [], {}
    for kind, rows in tables.items():
        name = f"{kind}.csv"
        entry: dict[str, Any] = {"file": name, "kind": kind, "sense": "rod"}
        if kind == "tilts":
            entry |= {"slope": "mm/m", "length": "500 mm", "tilt_uncertainty": "0.5 mm/m"}
        entries.append(entry)
        written = (
            tuple(f"{cell:g}" if isinstance(cell, float) else str(cell) for cell in row)
            for row in rows
        )
        cells[name] = (tuple(HEADERS[kind].split(",")), *written)
    head = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm", "show": "mm/0.1"},
        "instrument": {"uncertainty": uncertainty},
        "standard": {"rule": "bs-5385-3:substrate"},
        "table": entries,
    }
    if room:
        head["room"] = {"outline": [[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]]}
    return assess(checked(tomli_w.dumps(head), cells))


def heights(
    setup: str, level: float, fall: tuple[float, float] = (0, 0), west: int = 0, east: int = SIDE
) -> list[Row]:
    """Rod readings of a plane over the room's grid, from one setup; a fall is mm per mm."""
    return [
        (x, y, level + fall[0] * x + fall[1] * y, setup)
        for x in TICKS
        for y in TICKS
        if west <= x <= east
    ]


def cross(gap: float = 0.0, scatter: float = 0.0) -> list[Row]:
    """Bars along all rows and columns of the grid and one diagonal, resting on a true floor."""
    ends = [((0, t), (SIDE, t)) for t in TICKS] + [((t, 0), (t, SIDE)) for t in TICKS]
    ends.append(((0, 0), (SIDE, SIDE)))
    rng = np.random.default_rng(1)
    rows: list[Row] = []
    for number, (start, end) in enumerate(ends):
        length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
        for k in range(5):
            value = abs(gap + scatter * rng.normal())
            rows.append((number, *start, *end, f"{length * k / 4:.6f}", value))
    return rows


def with_one(rows: list[Row], at: int, value: object, column: int = 2) -> list[Row]:
    """The rows with one cell written otherwise."""
    row = list(rows[at])
    row[column] = value
    return [*rows[:at], tuple(row), *rows[at + 1 :]]


def about(said: list[str], word: str) -> str:
    """The one sentence that holds a word."""
    (sentence,) = (s for s in said if word in s)
    return sentence


# The sample


@pytest.fixture(scope="module")
def cobbler() -> Assessment:
    return assess(read_folder(SAMPLES / "cobbler-yard-mixed"))


def test_the_misread_rod_of_the_sample(cobbler: Assessment) -> None:
    """The rod that was read an inch low is named by number, cell, place, size and slip."""
    (sentence,) = misread(cobbler)
    assert sentence == (
        "Reading 10 (rods.csv, row 11, cell C11; 3' from the west wall, 5' from the south wall) "
        """does not fit: '45 15/16' reads 15/16" too low, would be 46 7/8" (an inch off?). """
        "It was set aside; read it again."
    )
    (suspect,) = cobbler.adjusted.suspects
    # What else is known of the place: 52 1/2 from setup B, which stands 5 5/8 higher, and a level
    # that lay flat between it and the place 2 ft south, where A read 46 15/16.
    others = (52 + 1 / 2 - (5 + 5 / 8), 46 + 15 / 16)
    assert suspect.should_mm == pytest.approx(np.mean(others) * 25.4, abs=suspect.u_mm)


def test_the_misread_rod_is_said_first(cobbler: Assessment) -> None:
    """The report tells the misread reading before it tells how the others fit."""
    told = " ".join(text(cobbler).split())
    assert told.index("Reading 10 (rods.csv") < told.index("The floor rests on")


def test_what_the_sample_rests_on(cobbler: Assessment) -> None:
    """Readings are counted by setup and kind, and those without a check are counted too."""
    said = checks(cobbler)
    rods = cobbler.survey.tables[0].cells[1:]
    rods = rods[:9] + rods[10:]  # one was misread
    of = {name: sum(row[3] == name for row in rods) for name in "AB"}
    assert about(said, "The floor rests on") == (
        f"The floor rests on {of['A']} heights from setup A, {of['B']} heights from setup B, "
        "13 gaps under 3 placements of a bar and 5 level tilts."
    )
    unchecked = int((cobbler.adjusted.redundancy < CHECKED).sum())
    assert about(said, "no check").startswith(f"{unchecked} of 62 readings have no check on them")


def test_setups_of_the_sample(cobbler: Assessment) -> None:
    """The second setup stands as much higher as its rod readings are larger at the ties."""
    rods = {
        (*row[:2], row[3]): parse_length(row[2], "in") for row in cobbler.survey.tables[0].cells[1:]
    }
    ties = [
        rods[(x, y, "B")] - rods[(x, y, "A")]
        for x, y, setup in rods
        if setup == "B" and (x, y, "A") in rods and (x, y) != ("3'", "5'")  # the misread one
    ]
    assert len(ties) == 8
    _, (name, _, height, u) = cobbler.adjusted.setups
    assert name == "rod B"
    assert height == pytest.approx(np.mean(ties), abs=2 * u)
    assert about(checks(cobbler), "stood") == (
        f"At setup B the instrument stood {format_length(height, Style('in', 16))} higher than at "
        f'setup A (give or take {2 * u / 25.4:.2g}").'
    )
    assert format_length(float(np.mean(ties)), Style("in", 16)) == '5 5/8"'


def test_loops_of_the_sample(cobbler: Assessment) -> None:
    """The loop that misses by the inch runs through the misread rod; the others are told."""
    every = cobbler.adjusted.loops
    assert abs(every[0].misclosure_mm) == pytest.approx(25.4, abs=2 * every[0].u_mm)
    assert 10 in every[0].readings
    others = [loop for loop in every if 10 not in loop.readings]
    worst = max(others, key=lambda loop: abs(loop.misclosure_mm) / loop.u_mm)
    expected = norm.ppf(1 - DOUBT / 2 / len(others)) * worst.u_mm  # the worst of as many
    assert about(checks(cobbler), "loops") == (
        f"{len(others)} loops of readings return to their start; the worst misses by "
        f'{abs(worst.misclosure_mm) / 25.4:.2g}" over {len(worst.readings)} readings, where up to '
        f'{expected / 25.4:.2g}" is to be expected.'
    )
    assert abs(worst.misclosure_mm) < expected


def test_without_the_misread_rod(cobbler: Assessment) -> None:
    """Read again and written right, the rod is no suspect, and the verdict is the same."""
    survey = cobbler.survey
    tables = {t.name: t.cells for t in survey.tables}
    rows = list(tables["rods.csv"])
    rows[10] = (*rows[10][:2], "46 15/16", *rows[10][3:])
    again = assess(checked(survey.document, tables | {"rods.csv": tuple(rows)}))
    assert misread(again) == []
    assert [f.outcome for f in again.verdict.findings] == [
        f.outcome for f in cobbler.verdict.findings
    ]


def test_other_units_of_the_sample(cobbler: Assessment) -> None:
    """In millimeters places are told so, and a rod in inches as it will be read again."""
    (sentence,) = misread(assess(edited(cobbler.survey, {"units": {"show": "mm"}})))
    assert """'45 15/16' reads 15/16" too low, would be 46 7/8" (an inch off?)""" in sentence
    assert "914 mm from the west wall, 1.52 m from the south wall" in sentence


# Misreadings of every kind


TWICE = [*heights("A", 1400), *heights("B", 1250), *heights("C", 1300)]


def test_a_gap_that_does_not_fit() -> None:
    """A gap is named at its place under the bar, with what it would be."""
    bar: list[Row] = [(1, 0, 500, SIDE, 500, x, 1.0 + 9 * (x == 1500)) for x in TICKS]
    (sentence,) = misread(judged(points=TWICE, gaps=bar))
    assert sentence.startswith(
        "Reading 79 (gaps.csv, row 5, cell G5; 500 mm from the south wall, 500 mm from the east"
    )
    assert "'10' reads 9.0 mm too high, would be 1.0 mm" in sentence


def test_a_tilt_that_does_not_fit() -> None:
    """A tilt is named at its near end, its error over the level, and what slope it would be."""
    (sentence,) = misread(judged(points=TWICE, tilts=[(500, 1000, "east", 20)]))
    assert sentence == (
        "Reading 76 (tilts.csv, row 2, cell D2; 500 mm from the west wall, 1.00 m from the south "
        "wall) does not fit: '20' reads 10.0 mm too high over its length, would be 0.0% (0 mm/m) "
        "or 0.0 degrees. It was set aside; read it again."
    )


def test_readings_that_contradict_each_other() -> None:
    """Two readings that check only each other are named together, as a contradiction."""
    rows = [*heights("A", 1400), *heights("B", 1250, east=STEP)]
    (sentence,) = misread(judged(points=with_one(rows, 6, 1430)))
    place = "500 mm from the south wall, 500 mm from the west wall"
    assert sentence == (
        f"Readings 7 (points.csv, row 8, cell C8; {place}) '1430' and 32 (points.csv, row 33, cell "
        f"C33; {place}) '1250' contradict each other: one is wrong, and nothing tells which. "
        "Neither was used; read them again."
    )


def test_a_contradiction_is_no_spot() -> None:
    """A place of which nothing is known is no place to grind or fill."""
    rows = [*heights("A", 1400), *heights("B", 1250, east=STEP)]
    found = judged(points=with_one(rows, 6, 1430))
    x, y = rows[6][:2]
    assert found.surface.xy_mm.tolist().count([x, y]) == 1
    assert not [spot for spot in found.verdict.spots if spot.at == (x, y)]
    assert judged(points=with_one(TWICE, 6, 1430)).verdict.spots == ()  # here two others settle it


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_slip_in_the_units_that_were_written(unit: str) -> None:
    """A rod written with its own unit is told in that unit, whatever the survey's is."""
    rows = with_one(TWICE, 6, "57 in")  # 1447.8 mm
    (sentence,) = misread(with_options({"points": rows}, points={}))
    assert """'57 in' reads 1 7/8" too high, would be 55 1/8\"""" in sentence  # 1400 mm
    rows = [(x, y, f"{z} mm", s) for x, y, z, s in with_one(TWICE, 6, 1450)]
    (sentence,) = misread(with_options({"points": rows}, points={"readings": unit}))
    assert "'1450 mm' reads 50.0 mm too high, would be 1400.0 mm" in sentence


def slipped(offs: list[float], setup: str = "") -> Assessment:
    """A floor read from seven setups, 15 readings of all or of one of them off by sizes in turn."""
    rows = [(x, y, 1400.0, s) for s in "ABCDEFG" for x in TICKS for y in TICKS]
    at = [k for k, row in enumerate(rows) if setup in ("", row[3])]
    for number, k in enumerate(at[:: len(at) // 15][:15]):
        rows = with_one(rows, k, 1400.0 + offs[number % len(offs)])
    return judged(points=rows)


ODD = [31.0, -57.0, 23.0, -41.0]


@pytest.mark.parametrize(
    ("offs", "setup", "said"),
    [
        ([100.0, 100.0, 37.0], "", "10 are 100 mm off: the rod or rule was read from another mark"),
        (ODD, "", "So many are hardly slips: the uncertainty you gave is probably too small, or"),
        (ODD, "G", "15 are of setup G: its instrument probably moved; give what it read after"),
    ],
)
def test_more_slips_than_are_told(offs: list[float], setup: str, said: str) -> None:
    """Of many slips the dozen farthest off are told, and the others counted with what is likely."""
    found = slipped(offs, setup)
    sentences = misread(found)
    count = len(found.adjusted.suspects)
    assert count == 15
    assert len(sentences) == NAMED + 1
    assert f"{count} of 175 readings were set aside." in sentences[-1]
    assert sentences[-1].startswith(f"{count - NAMED} more do not fit either")
    assert said in sentences[-1]
    assert len(record(found)["misread"]) == count


@pytest.mark.parametrize(
    ("off", "slip"), [(12.0, " (a foot off?)"), (-1.0, " (an inch off?)"), (0.7, "")]
)
def test_a_contradiction_with_a_slip(off: float, slip: str) -> None:
    """Where one slip explains a contradiction, whichever reading is wrong, it is named once."""
    rows = [
        (x, y, 48.0 + off * (s == "B" and (x, y) == (500, 500)), s)
        for s in "AB"
        for x in TICKS
        for y in TICKS
        if s == "A" or x <= STEP
    ]
    found = with_options({"points": rows}, points={"readings": "in"})
    (sentence,) = misread(found)
    assert f"contradict each other: one is wrong{slip}, and nothing tells which." in sentence
    assert sentence.count("?") == bool(slip)


def test_a_place_that_nothing_tells_of() -> None:
    """Where a contradiction leaves a place unknown that is said, and no size of its gap."""
    rows = [*heights("A", 1400), *heights("B", 1250, east=STEP)]
    found = judged(points=with_one(rows, 6, 1430))
    (finding,) = found.verdict.findings
    assert finding.outcome is Outcome.CLOSE
    said = explain(finding, found)
    assert said[0] == (
        "Of the place 500 mm from the south wall, 500 mm from the west wall nothing is known: the "
        "readings there, or those that tie it to the rest, contradict each other. Read them again."
    )
    assert not any("give or take" in s or "To settle it" in s for s in said)


def test_slips_of_each_side() -> None:
    """Where each reading of a contradiction has a slip of its own, each is told with its own."""
    rows = [(x, y, 1412, s) for s in "AB" for x in TICKS for y in TICKS if s == "A" or x <= STEP]
    (sentence,) = misread(judged(points=with_one(rows, 32, 1421)))
    assert "'1412' (1412 written for 1421?) and 33 (" in sentence
    assert "'1421' (1421 written for 1412?) contradict each other: one is wrong, and" in sentence


@pytest.mark.parametrize("setups", [3, 8])
def test_a_ring_that_does_not_close(setups: int) -> None:
    """Setups each tied to the next, and a miss of 30 mm: any reading may be wrong, one is."""
    ring = [(i * STEP, 0) for i in range(5)] + [(x * STEP, STEP) for x in (4, 3, 2)]
    rows: list[Row] = []
    for k in range(setups):
        here, there = ring[k], ring[(k + 1) % setups]
        rows += [(*here, 1400 + k, f"S{k}"), (*there, 1400 + k + 30 * (k == 1), f"S{k}")]
    extra: list[Row] = [(SIDE, SIDE, 1400, "S0"), (0, SIDE, 1400, "S0")]
    (sentence,) = misread(judged(points=[*rows, *extra]))
    assert sentence.endswith(
        "contradict each other: one is wrong, and nothing tells which. None of them was used; read "
        "them again."
    )
    numbers = range(1, 2 * setups + 1)
    if setups == 3:
        assert all(f"{n} (points.csv, row {n + 1}, cell C{n + 1}; " in sentence for n in numbers)
    else:
        assert sentence.startswith(f"16 readings ({', '.join(map(str, numbers))}) contradict")


@pytest.mark.parametrize(("off", "way"), [(50, "high"), (-50, "low")])
def test_a_rod_that_does_not_fit(off: int, way: str) -> None:
    """A rod reading is told too high where the number is too large, though the floor is lower."""
    (sentence,) = misread(judged(points=with_one(TWICE, 6, 1400 + off)))
    assert f"'{1400 + off}' reads 50.0 mm too {way}, would be 1400.0 mm (50 mm off?)" in sentence


def test_a_slip_in_a_table_of_another_unit() -> None:
    """In a table in inches a rod that is an inch off is told so, whatever table comes first."""
    cells = {
        "a.csv": tuple(tuple(map(str, row)) for row in [("x", "y", "reading", "setup"), *TWICE]),
        "b.csv": (
            ("x", "y", "reading"),
            *((str(x), "0", "47") for x in TICKS[1:]),
            ("0", "0", "46"),
        ),
    }
    entries = [{"file": name, "kind": "points", "sense": "rod"} for name in cells]
    entries[1]["readings"] = "in"
    survey = checked(
        tomli_w.dumps(
            {
                "flatcheck": 1,
                "units": {"readings": "mm", "offsets": "mm"},
                "instrument": {"uncertainty": "0.3 mm"},
                "standard": {"rule": "bs-5385-3:substrate"},
                "table": entries,
            }
        ),
        cells,
    )
    (sentence,) = misread(assess(survey))
    assert """'46' reads 1" too low, would be 47" (an inch off?)""" in sentence


def with_options(cells: dict[str, list[Row]], **options: dict[str, object]) -> Assessment:
    """A survey in millimeters of some tables, each of the kind it is named for, with options."""
    return assess(
        checked(
            tomli_w.dumps(
                {
                    "flatcheck": 1,
                    "units": {"readings": "mm", "offsets": "mm", "show": "mm/0.1"},
                    "instrument": {"uncertainty": "0.3 mm"},
                    "standard": {"rule": "bs-5385-3:substrate"},
                    "table": [
                        {"file": f"{kind}.csv", "kind": kind, "sense": "rod", **options[kind]}
                        for kind in cells
                    ],
                }
            ),
            {
                f"{kind}.csv": (
                    tuple(HEADERS[kind].split(",")),
                    *(tuple(map(str, row)) for row in rows),
                )
                for kind, rows in cells.items()
            },
        )
    )


def test_what_a_bowed_bar_would_have_shown() -> None:
    """What a gap would be is said as the rule shows it: with the bow of the bar, not without."""
    bow = [4 * t * (1 - t) * 8.0 for t in (0.0, 0.25, 0.5, 0.75, 1.0)]
    gaps: list[Row] = [
        (1, 0, 500, SIDE, 500, x, b + 10 * (x == 1500)) for x, b in zip(TICKS, bow, strict=True)
    ]
    found = with_options({"points": TWICE, "gaps": gaps}, points={}, gaps={"bow": "8 mm"})
    (sentence,) = misread(found)
    assert "'16.0' reads 10.0 mm too high, would be 6.0 mm (10 mm off?)" in sentence


def test_what_a_drifting_level_would_have_shown() -> None:
    """What a rod would be is said as it was read that day: with the drift still in it."""
    rows = [(x, y, z, name) for x, y, z, name in TWICE if name != "C"]
    last = heights("C", 1300)
    drifted: list[Row] = [
        (x, y, 1300 + 0.2 * k + 50 * (k == 10), name) for k, (x, y, _, name) in enumerate(last)
    ]
    closing = (*last[0][:2], 1300 + 0.2 * len(last), "C")
    for name in "AB":
        rows.append(next(row for row in rows if row[3] == name))  # A and B did not drift
    order = sorted(rows, key=lambda row: str(row[3]))
    found = with_options({"points": [*order, *drifted, closing]}, points={"warmed_up": True})
    (sentence,) = misread(found)
    assert "'1352.0' reads 50.0 mm too high, would be 1302.0 mm (50 mm off?)" in sentence


def test_a_fraction_of_an_inch_would_be_one() -> None:
    """A rod in inches and sixteenths is told what it would be in inches and sixteenths."""
    rows = [(x, y, "3 13/16", s) for s in "ABC" for x in TICKS for y in TICKS]
    rows[13] = (*rows[13][:2], "2 13/16", "A")
    found = with_options({"points": rows}, points={"readings": "in"})
    (sentence,) = misread(found)
    assert """'2 13/16' reads 1" too low, would be 3 13/16" (an inch off?).""" in sentence


def test_how_sure_a_misreading_is() -> None:
    """With a misreading the significance of the test is stated, and without one it is not."""
    found = judged(points=with_one(TWICE, 6, 1450))
    # Two sided, for 74 readings kept and checked together: the one set aside is not among them.
    limit = norm.ppf(1 - 0.05 / 2 / 74)
    assert about(checks(found), "called misread") == (
        f"A reading is called misread where it is off by more than {limit:.1f} times what reading "
        "error explains; that befalls one in 20 surveys without a slip."
    )
    assert not any("misread " in s for s in checks(judged(points=TWICE)))


def test_nothing_is_said_of_good_readings() -> None:
    """Where all readings fit none is named."""
    assert misread(judged(points=TWICE)) == []


# What they rest on


def test_one_setup_read_once() -> None:
    """One setup that read every place once has nothing to be checked by, and says only that."""
    said = checks(judged(points=heights("A", 1400)))
    assert said[0] == "Every place was read once: nothing would show a misreading."
    assert len(said) == 3  # and how near one reading is, and how the floor lies
    assert not any("rest on" in s or "Setup" in s or "loop" in s or "spare" in s for s in said)


def test_a_benchmark_is_counted() -> None:
    """One is a benchmark, two are benchmarks."""
    marks: list[Row] = [(0, 0, 100, 0.3), (SIDE, SIDE, 100, 0.3)]
    for count, said in ((1, "and 1 benchmark."), (2, "and 2 benchmarks.")):
        found = checks(judged(points=TWICE, benchmarks=marks[:count]))
        assert about(found, "The floor rests on").endswith(said)


def test_setups_are_told_as_they_stand() -> None:
    """How high the instrument stands against the first is told for each, with twice its u."""
    said = checks(judged(points=TWICE))
    u = 0.3 * np.sqrt(2 / 25)  # 25 places were read from both
    for name, level in (("B", 1250), ("C", 1300)):
        assert about(said, f"At setup {name}") == (
            f"At setup {name} the instrument stood {1400 - level:.1f} mm lower than at setup A "
            f"(give or take {2 * u:.2g} mm)."
        )


def test_setups_of_one_height() -> None:
    """An instrument that stood as high as before is told so, not 0 mm lower."""
    said = checks(judged(points=[*heights("A", 1400), *heights("B", 1400.04)]))
    assert about(said, "At setup B").startswith(
        "At setup B the instrument stood as high as at setup A (give or take "
    )


def test_corrections_are_told() -> None:
    """What was taken off for a sight that is not level, or a bowed bar, is said."""
    bar: list[Row] = [(1, 0, 500, SIDE, 500, x, 1) for x in TICKS]
    found = with_options(
        {"points": TWICE, "gaps": bar},
        points={"collimation": "-0.5 mm/m", "level_at": [0, 0]},
        gaps={"bow": "0.8 mm"},
    )
    said = checks(found)
    assert (
        "The readings of points.csv were corrected for a sight that falls 0.5 mm in a meter."
        in said
    )
    assert (
        "The gaps of gaps.csv were corrected for a bar with an arch of 0.8 mm at its middle."
        in said
    )
    assert not any("corrected" in s for s in checks(judged(points=TWICE)))


def in_pieces() -> Assessment:
    """A room whose west was read from A, and its east from B and C, which share their places."""
    west = heights("A", 1400, east=500)
    east = [*heights("B", 1250, west=1000), *heights("C", 1300, west=1000)]
    return judged(points=[*west, *east])


def test_pieces_are_told() -> None:
    """Where no reading joins two parts of a floor it is said that a step between them is open."""
    said = checks(in_pieces())
    assert said[0] == (
        "The readings fall into 2 pieces that no reading joins; each is judged alone, and nothing "
        "is known of steps between them."
    )
    assert any(s.startswith("floor, piece 1: As a whole") for s in said)
    assert any(s.startswith("floor, piece 2: As a whole") for s in said)


def test_setups_of_another_piece() -> None:
    """A setup is told against one that it is tied to: C against B, and nothing against A."""
    said = [s for s in checks(in_pieces()) if "the instrument stood" in s]
    assert len(said) == 1
    assert said[0].startswith(
        "At setup C the instrument stood 50.0 mm higher than at setup B (give"
    )


def test_pieces_rest_on_their_own_readings() -> None:
    """Each piece is told with the readings that it rests on, and no others."""
    said = checks(in_pieces())
    assert "floor, piece 1 rests on 10 heights from setup A." in said
    assert "floor, piece 2 rests on 15 heights from setup B and 15 heights from setup C." in said


def test_places_by_what_they_rest_on() -> None:
    """Places on one setup alone are counted for each, and those on more than one together."""
    rows = [*heights("A", 1400), *heights("B", 1250, east=STEP), (SIDE, SIDE + STEP, 1250, "B")]
    assert about(checks(judged(points=rows, room=False)), "rest on:") == (
        "Of 26 places, by what they rest on: 15 on setup A alone, 1 on setup B alone and 10 on "
        "more than one of these."
    )
    assert "Every place rests on more than one of these." in checks(judged(points=TWICE))


def test_read_twice_and_not_checked() -> None:
    """Where a place was read twice, and only to tie two setups, no reading has a check."""
    rows = [*heights("A", 1400, east=500), *heights("B", 1250, west=500)]
    rows = [row for row in rows if row[:2] not in [(500, y) for y in TICKS[1:]] or row[3] == "A"]
    said = checks(judged(points=rows))
    assert "No reading has another to check it: nothing would show a misreading." in said
    assert "Every place was read once" not in " ".join(said)


def test_one_reading_of_a_setup() -> None:
    """One height from a setup is said in the singular."""
    said = checks(judged(points=[*heights("A", 1400), (0, 0, 1250, "B")]))
    assert about(said, "The floor rests on") == (
        "The floor rests on 25 heights from setup A and 1 height from setup B."
    )


@pytest.mark.parametrize("times", [5, 100])
def test_an_uncertainty_far_too_small(times: int) -> None:
    """One sentence says by how much the stated uncertainty is too small; no reading is accused."""
    rng = np.random.default_rng(6)
    rows: list[Row] = [
        (x, y, f"{level + 0.3 * times * rng.normal():.3f}", setup)
        for setup, level in (("A", 1400.0), ("B", 1250.0), ("C", 1300.0))
        for x in TICKS
        for y in TICKS
    ]
    found = judged(points=rows)
    assert len(misread(found)) <= 1  # chance accuses one in SIGNIFICANCE of surveys
    sentence = about(checks(found), "to spare")
    start = "The uncertainty you gave for heights is too small: they scatter "
    end = " times as much. What they show was used instead (4"
    assert sentence.startswith(start)
    said, _, _ = sentence.removeprefix(start).partition(end)
    assert float(said) == pytest.approx(times, rel=0.3)


def test_setups_on_a_hinge() -> None:
    """Setups that a bar joins at one place each are not told against each other: it is open."""
    west, east = heights("A", 1400, east=500), heights("B", 1250, west=1000)
    bar: list[Row] = [(1, 0, 0, SIDE, 0, x, 0.0) for x in (500, 1000)]
    said = " ".join(checks(judged(points=[*west, *east], gaps=bar)))
    assert "inf" not in said
    assert "the instrument stood" not in said


def test_how_an_uncertainty_came_about(cobbler: Assessment) -> None:
    """What was said of the instrument is told for each table, with the rule that was used."""
    said = [s for s in checks(cobbler) if s.startswith("One reading")]
    rods, bars = (
        describe(statement(words), 0, STYLES["in/16"])
        for words in ("1/48 in, reading to 1/16 in", "1/96 in, reading to 1/32 in")
    )
    assert said == [f"One reading of rods.csv: {rods}", f"One reading of bars.csv: {bars}"]
    alone = about(checks(judged("reading to 1 mm", points=TWICE)), "One reading")
    assert alone == (
        "One reading: reading to 1 mm: 1 mm / √12 = 0.29 mm (rounding to a step); about two "
        "readings in three fall this near the truth."
    )


@pytest.mark.parametrize(
    ("miss", "said"),
    [
        (0.0, "came back to its first exactly; both were used."),
        (0.8, "came back to its first within 0.8 mm, no more than reading error; both were used"),
        (0.9, "missed its first by 0.9 mm, more than reading error usually does (0.85 mm); both"),
    ],
)
def test_a_closing_reading(miss: float, said: str) -> None:
    """How far the last reading of a setup misses its first is told, and how to take a drift out."""
    rows = heights("A", 1400)
    found = checks(judged(points=[*rows, (0, 0, 1400 + miss, "A")]))
    sentence = about(found, "The last reading")
    assert sentence.startswith(f"The last reading of setup A {said}")
    assert ("say warmed_up = true" in sentence) is (miss > 0.85)
    assert not any("The last reading" in s for s in checks(judged(points=rows)))


def test_places_read_again() -> None:
    """How far the worst two readings of a place are apart is told, with what is to be expected."""
    rows = [*heights("A", 1400), (500, 0, 1400.5, "A"), (0, 500, 1400.2, "A")]
    expected = norm.ppf(1 - DOUBT / 2 / 2) * np.hypot(0.3, 0.3)  # the worse of two
    assert about(checks(judged(points=rows)), "again") == (
        "From setup A places were read again, by 2 readings; the worst differ by 0.5 mm, where up "
        f"to {expected:.2g} mm is to be expected. All were used."
    )


def test_a_closing_reading_is_no_check() -> None:
    """Where the closing reading took the drift out no reading is left to check another."""
    rows = [*heights("A", 1400), (0, 0, 1400.8, "A")]
    said = checks(with_options({"points": rows}, points={"warmed_up": True}))
    assert "No reading has another to check it: nothing would show a misreading." in said
    assert "Setup A changed by 0.8 mm" in " ".join(said)


# How they fit


@pytest.mark.parametrize(
    ("scatter", "said"),
    [
        (
            0.3,
            "The readings fit together as well as you said they would (24 readings to spare; they "
            "scatter {:.2g} times as much; chi-square test passed).",
        ),
        (
            0.45,
            "The readings disagree more than the uncertainty you gave allows: it is too small, or "
            "something moved (24 readings to spare; they scatter {:.2g} times as much; chi-square "
            "test failed). What they show was used instead.",
        ),
        (
            0.06,
            "The readings agree better than the uncertainty you gave; it may be smaller than you "
            "said (24 readings to spare; they scatter {:.2g} times as much). What you gave was "
            "used.",
        ),
    ],
)
def test_how_well_they_fit(scatter: float, said: str) -> None:
    """Readings that scatter more, or less, than was said are told so; with how many to spare."""
    rng = np.random.default_rng(4)
    rows: list[Row] = [
        (x, y, f"{level + scatter * rng.normal():.3f}", setup)
        for setup, level in (("A", 1400.0), ("B", 1250.0))
        for x in TICKS
        for y in TICKS
    ]
    found = judged(points=rows)
    fit = found.adjusted.fit
    assert found.adjusted.suspects == ()
    assert fit.sigma0 == pytest.approx(scatter / 0.3, rel=0.3)
    assert about(checks(found), "to spare") == said.format(fit.sigma0)


def test_readings_that_hardly_differ() -> None:
    """Readings that agree to the last digit are told so, and not to scatter 0 times as much."""
    sentence = about(checks(judged(points=TWICE)), "to spare")
    assert sentence == (
        "The readings agree better than the uncertainty you gave; it may be smaller than you said "
        "(48 readings to spare; they hardly differ at all). What you gave was used."
    )


def test_nothing_to_spare() -> None:
    """Where heights take every reading nothing is said of how well they fit."""
    assert not any("to spare" in s for s in checks(judged(points=heights("A", 1400))))


# Loops


@pytest.mark.parametrize("miss", [0.2, 1.0, 1.4])
def test_the_worst_loop(miss: float) -> None:
    """The worst loop is told with what is to be expected, and its readings where it misses more."""
    rows: list[Row] = [*heights("A", 1400), (0, 0, 1250, "B"), (SIDE, 0, 1250 + miss, "B")]
    sentence = about(checks(judged(points=rows)), "loop")
    expected = norm.ppf(1 - DOUBT / 2) * 0.3 * 2  # four readings of 0.3 mm
    assert sentence.startswith(
        f"1 loop of readings returns to its start; it misses by {miss:.2g} mm over 4 readings, "
        f"where up to {expected:.2g} mm is to be expected"
    )
    assert sentence.endswith(": too much (readings 1, 21, 26, 27).") is bool(miss > expected)


def test_loops_through_a_misread_reading() -> None:
    """Loops through a misread reading are not told: that it does not fit is said already."""
    found = judged(points=with_one(TWICE, 6, 1450))
    others = [loop for loop in found.adjusted.loops if 7 not in loop.readings]
    assert len(misread(found)) == 1
    assert 0 < len(others) < len(found.adjusted.loops)
    assert about(checks(found), "loop").startswith(f"{len(others)} loops of readings return")


# How the floor lies


@pytest.mark.parametrize(("rise", "said"), [(3.03, "3.030 mm"), (3.3, "3.3 mm")])
def test_a_crown_just_over_the_limit(rise: float, said: str) -> None:
    """A crown that is over the limit by less than a step of the tape is told finer than that."""
    rows = [
        (x, y, 1400 + rise * ((x - 1000) ** 2 + (y - 1000) ** 2) / 2e6, "A")
        for x in TICKS
        for y in TICKS
    ]
    told, crown = shape_words(judged(points=rows))
    assert told.endswith(f"the floor as read spans {said}.")
    assert crown.startswith("That is more than the 3")
    assert ("3 mm" in crown) is (rise == 3.03)


@pytest.mark.parametrize(
    ("fall", "said"),
    [
        ((0.02, 0.0), "As a whole the floor falls 2.0% (20 mm/m) to the east."),
        ((0.0, -0.01), "As a whole the floor falls 1.0% (10 mm/m) to the south."),
        ((-0.01, 0.01), "As a whole the floor falls 1.4% (14 mm/m) to the north-west."),
        ((0.0, 0.0), "As a whole the floor is level, as far as the readings tell."),
        ((0.0003, 0.0), "As a whole the floor is level, as far as the readings tell."),
    ],
)
def test_how_the_floor_lies(fall: tuple[float, float], said: str) -> None:
    """A fall is told with the side it goes to; what a rod cannot show is level."""
    rows = heights("A", 1400, fall)
    assert checks(judged(points=rows))[-1] == said  # a rod reads more where the floor is lower


@pytest.mark.parametrize(
    ("levels", "open_"),
    [([], True), (["east"], True), (["north"], True), (["east", "north"], False)],
)
def test_gaps_do_not_tell_a_fall(levels: list[str], open_: bool) -> None:
    """From gaps alone, or with levels one way only, the fall is not assessed, and what helps."""
    tilts: list[Row] = [(500, 500, way, 10) for way in levels]
    tables = {"gaps": cross()} | ({"tilts": tilts} if tilts else {})
    sentence = checks(judged(**tables))[-1]
    if open_:
        assert sentence == (
            "Fall not assessed: the readings fix the shape of the floor, but not how it lies. "
            "Add laser readings, or level tilts in two directions."
        )
    else:
        assert sentence == "As a whole the floor falls 1.4% (14 mm/m) to the south-west."


def test_one_line_does_not_tell_a_fall() -> None:
    """Readings along one line do not tell how the floor as a whole falls."""
    rows: list[Row] = [(x, 500, 1400 + 0.02 * x, "A") for x in TICKS]
    assert not any("falls 2.0%" in s for s in checks(judged(points=rows)))
