"""Walking a floor: the order of places, where each lies by tape, and readings that do not fit."""

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatcheck.document import build
from flatcheck.errors import SurveyError
from flatcheck.readers.folder import read_folder
from flatcheck.survey import Cells, Survey, Table
from flatcheck.tables import readings_of
from flatcheck.units import STYLES, parse_length
from flatcheck.walk import (
    AROUND,
    KINDS,
    Stop,
    doubt,
    doubt_words,
    next_open,
    stops,
    tape,
    written,
)

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
HEAD = """flatcheck = 1
[units]
readings = "{unit}"
offsets = "mm"
[instrument]
uncertainty = "0.5 mm"
{more}
[[table]]
file = "t.csv"
kind = "{kind}"
sense = "rod"
"""


def survey(cells: Cells, kind: str = "grid", unit: str = "mm", more: str = "") -> Survey:
    """A survey with one table."""
    return build(HEAD.format(kind=kind, unit=unit, more=more), {"t.csv": cells})


def grid(columns: int, rows: int, text: str = "") -> Cells:
    """A grid every 500 mm, north at the top, each cell with this text."""
    east = tuple(str(500 * c) for c in range(1, columns + 1))
    lines = [(str(500 * r), *[text] * columns) for r in range(rows, 0, -1)]
    return (("", *east), *lines)


def order(table: Table) -> list[tuple[float, float]]:
    """Where the places lie, in the order they are walked."""
    return [stop.at for stop in stops(table)]


def test_back_and_forth() -> None:
    """A grid is walked along its longer way, from the zero corner, turning at each end."""
    wide = order(survey(grid(3, 2)).tables[0])
    assert wide == [(500, 500), (1000, 500), (1500, 500), (1500, 1000), (1000, 1000), (500, 1000)]
    high = order(survey(grid(2, 3)).tables[0])
    assert high == [(y, x) for x, y in wide]


def test_order_is_that_of_places_not_of_cells() -> None:
    """However the rows and columns are written down, the walk is the same."""
    head, *lines = grid(4, 3)
    turned = [(cells[0], *cells[:0:-1]) for cells in (head, *lines[::-1])]
    assert order(survey(tuple(turned)).tables[0]) == order(survey(grid(4, 3)).tables[0])


def test_a_list_is_walked_as_it_is_written() -> None:
    """A list of points keeps its order, and its blank readings are the places to read."""
    cells = (("x", "y", "reading"), ("900", "0", ""), ("0", "0", "1400"), ("5", "5", "x"))
    table = survey(cells, "points").tables[0]
    assert order(table) == [(900, 0), (0, 0), (5, 5)]
    assert [stop.open for stop in stops(table)] == [True, False, False]
    assert [stop.read for stop in stops(table)] == [False, True, False]
    assert len(readings_of(survey(cells, "points"))) == 1
    with pytest.raises(SurveyError, match="holds no readings"):
        readings_of(survey(cells[:2], "points"))


def test_other_tables_are_not_walked() -> None:
    """Bars and levels have no places of their own, which is said in a sentence."""
    with pytest.raises(SurveyError, match="walked in a grid or a list of points"):
        stops(replace(survey(grid(2, 2)).tables[0], kind="gaps"))


@pytest.mark.parametrize(
    ("texts", "after", "found"),
    [("..1.", -1, 0), ("1.1.", 1, 3), ("1.11", 3, 1), ("1111", 2, None), (".111", 0, 0)],
)
def test_next(texts: str, after: int, found: int | None) -> None:
    """The next place is the first without an entry, from here on and then from the beginning."""
    walk = [Stop(1, k, (k, 0), text.strip(".")) for k, text in enumerate(texts)]
    assert next_open(walk, after) == found


def test_written() -> None:
    """One cell is written, in a row that was too short as well, and no other changes."""
    cells = (("a", "b"), ("c",))
    assert written(cells, 2, 2, "d") == (("a", "b"), ("c", "d"))
    assert written(cells, 1, 1, "") == (("", "b"), ("c",))
    assert cells == (("a", "b"), ("c",))


def test_tape() -> None:
    """A place is told from the two walls at zero by their names, else from the zero corner."""
    outline = 'outline = [["0","0"],["3 m","0"],["3 m","2 m"],["0","2 m"]]'
    named = f'[room]\n{outline}\nwalls = ["sink wall", "b", "c", "stair"]'
    (stop, *_) = stops(survey(grid(3, 3), more=named).tables[0])
    at = replace(stop, at=(812.5, 1250))
    assert tape(survey(grid(3, 3), more=named), at) == [
        ("812.5 mm", "from the stair wall"),
        ("1250 mm", "from the sink wall"),
    ]
    assert tape(survey(grid(3, 3)), at) == [
        ("812.5 mm", "east of zero"),
        ("1250 mm", "north of zero"),
    ]
    assert tape(survey(grid(3, 3), unit="in"), replace(stop, at=(25.4 * 18.25, 0))) == [
        ("1' 6 1/4\"", "east of zero"),
        ('0"', "north of zero"),
    ]


def walked(found: Survey, table: Table, slips_mm: tuple[float, ...]) -> tuple[int, list[int]]:
    """A sample read again place by place: of those with six around, how often is it questioned?

    Returns the number of questions about readings as they are, and about those with each slip.
    """
    order = [stop for stop in stops(table) if stop.read]
    cells = table.cells
    for stop in order:
        cells = written(cells, stop.row, stop.column, "")
    alone, asked = 0, [0] * len(slips_mm)
    for stop in order:
        for k, slip_mm in enumerate((0.0, *slips_mm)):
            text = stop.text
            if slip_mm:
                text = f"{parse_length(stop.text, table.unit) + slip_mm:.3f} mm"
            trial = replace(table, cells=written(cells, stop.row, stop.column, text))
            said = doubt(found, trial, replace(stop, text=text)) is not None
            if k:
                asked[k - 1] += said
            else:
                alone += said
        cells = written(cells, stop.row, stop.column, stop.text)
    return alone, asked


PLAIN = [
    "gorse-yard-humps",
    "millbrook-plywood",
    "saltmarsh-l-shaped",
    "hollin-ghyll-shower",
    "linden-weir-recess",
    "cressbrook-pan",
]


@pytest.mark.parametrize("name", PLAIN)
def test_samples_are_seldom_questioned(name: str) -> None:
    """In sample floors, humps, falls and recesses among them, at most one place in 50 is
    questioned that is right, and of inches off nine in ten are."""
    found = read_folder(SAMPLES / name)
    (table,) = (table for table in found.tables if table.kind in KINDS)
    alone, (inch,) = walked(found, table, (25.4,))
    count = sum(stop.read for stop in stops(table))
    assert alone <= count / 50
    assert inch >= 0.9 * count


def test_flat_floor_is_not_questioned() -> None:
    """Readings of a level floor, rounded to a millimeter, are never questioned."""
    chance = np.random.default_rng(5)
    cells = grid(12, 8, "1400")
    for stop in stops(survey(cells).tables[0]):
        cells = written(cells, stop.row, stop.column, f"{1400 + chance.normal(0, 0.7):.0f}")
    table = survey(cells).tables[0]
    assert [stop for stop in stops(table) if doubt(survey(cells), table, stop)] == []


def test_slope_is_not_questioned() -> None:
    """A fall of 2% is what the neighbors lead to expect, from the third place on."""
    cells = grid(6, 4)
    found = survey(cells)
    for stop in stops(found.tables[0]):
        text = f"{1400 + 0.02 * stop.at[0] - 0.01 * stop.at[1]:.1f}"
        cells = written(cells, stop.row, stop.column, text)
        table = replace(found.tables[0], cells=cells)
        assert doubt(found, table, replace(stop, text=text)) is None


def test_question_names_the_slip() -> None:
    """Digits exchanged, 1421 for 1412, are named with what is expected, in the rod's own marks."""
    found = survey(grid(5, 5, "1412"))
    (stop, *_) = stops(found.tables[0])
    table = replace(
        found.tables[0], cells=written(found.tables[0].cells, stop.row, stop.column, "1421")
    )
    said = doubt(found, table, replace(stop, text="1421"))
    assert said is not None
    assert said.off_mm == pytest.approx(9, abs=0.01)
    assert doubt_words(said, table, STYLES["in/16"]) == (
        "1421 is 9.0 mm more than its neighbors lead to expect, about 1412.0 mm (1421 written for "
        "1412?)."
    )


def test_other_setups_and_zones_are_no_neighbors() -> None:
    """Readings of another setup, or of a zone that lies lower, are not held against each other."""
    chance = random.Random(2)
    rows = [("x", "y", "reading", "setup")]
    for k in range(40):
        setup = "AB"[k % 2]
        level = 1400 if setup == "A" else 1250
        at = (str(300 * (k % 8)), str(300 * (k // 8)))
        rows.append((*at, f"{level + chance.uniform(-1, 1):.1f}", setup))
    found = survey(tuple(rows), "points")
    table = found.tables[0]
    assert not [stop for stop in stops(table) if doubt(found, table, stop)]
    west = '[["0","0"],["1.2 m","0"],["1.2 m","9 m"],["0","9 m"]]'
    east = '[["1.2 m","0"],["9 m","0"],["9 m","9 m"],["1.2 m","9 m"]]'
    cells = grid(6, 5)
    for stop in stops(survey(cells).tables[0]):
        low = 50 * (stop.at[0] > 1200)
        cells = written(cells, stop.row, stop.column, str(1400 + low))
    zones = f"[[zone]]\noutline = {west}\n[[zone]]\noutline = {east}"
    apart = survey(cells, more=zones)
    assert not [s for s in stops(apart.tables[0]) if doubt(apart, apart.tables[0], s)]
    together = survey(cells)
    assert [s for s in stops(together.tables[0]) if doubt(together, together.tables[0], s)]


def test_all_readings_speak_where_they_check_each_other() -> None:
    """A misread rod that its neighbors let pass is found by the adjustment of two setups."""
    name = "cobbler-yard-mixed"
    found = read_folder(SAMPLES / name)
    said = {}
    for table in found.tables:
        if table.kind in KINDS:
            for stop in stops(table):
                if stop.read and (why := doubt(found, table, stop)):
                    said[stop.row] = why
    assert any(why.slip and "an inch" in why.slip.words for why in said.values())


@pytest.mark.parametrize(
    ("before", "text", "asked"), [(1, "1100", False), (2, "1412", False), (2, "1430", True)]
)
def test_few_neighbors(before: int, text: str, asked: bool) -> None:
    """After one reading nothing is questioned, after two what is off by more than 20 mm."""
    cells = grid(4, 2)
    walk = stops(survey(cells).tables[0])
    for stop in walk[:before]:
        cells = written(cells, stop.row, stop.column, "1400")
    found = survey(written(cells, walk[before].row, walk[before].column, text))
    said = doubt(found, found.tables[0], replace(walk[before], text=text))
    assert (said is not None) is asked


def test_text_that_is_no_length() -> None:
    """What cannot be read is told elsewhere, and is no doubt."""
    found = survey(grid(4, 4, "1400"))
    stop = stops(found.tables[0])[5]
    assert doubt(found, found.tables[0], replace(stop, text="pigs")) is None


def test_large_grid() -> None:
    """A grid of 1,600 places is answered by the AROUND places that are nearest."""
    large = survey(grid(40, 40, "1400"))
    assert len(stops(large.tables[0])) == 1600 > AROUND
    stop = stops(large.tables[0])[800]
    assert doubt(large, large.tables[0], replace(stop, text="1401")) is None
