"""DIN 18202 table 3, every printed cell, against the limits that flatcheck works out.

Source: extract of the ZDB handbook for screeds and coverings, deploy.doczz.net/doc/5839552, which
prints limits [mm] for seven rows at thirteen distances [m]. Rows 2 to 4 were also seen at
a planning office's page (which prints 2, not 3, for row 4 at 1 m), row 3 at a screed firm's, row 5
at a block maker's and row 6 at a building expert's. Only the values at 0.1, 1, 4, 10 and
15 m are the standard's own; the handbook fills in the rest by the straight line, in whole mm.
"""

from dataclasses import replace

import numpy as np
import pytest

from flatcheck.rules import Limit, grade_of, limit_at

DISTANCES_M = (0.1, 0.6, 1, 1.5, 2, 2.5, 3, 3.5, 4, 6, 8, 10, 15)
PRINTED_MM = {
    "1": (10, 13, 15, 16, 17, 18, 18, 19, 20, 22, 23, 25, 30),
    "2": (5, 7, 8, 9, 9, 10, 11, 12, 12, 13, 14, 15, 20),
    "3": (2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 11, 12, 15),
    "4": (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15),
    "5": (5, 8, 10, 11, 12, 13, 13, 14, 15, 18, 22, 25, 30),
    "6": (3, 4, 5, 6, 7, 8, 8, 9, 10, 13, 17, 20, 25),
    "7": (2, 2, 3, 4, 5, 6, 6, 7, 8, 10, 13, 15, 20),
}
# Printed cells off the straight line: the line's value between its two anchors, before rounding.
ODD = {
    ("2", 3.5): 8 + (12 - 8) * (3.5 - 1) / (4 - 1),
    ("7", 0.6): 2 + (3 - 2) * (0.6 - 0.1) / (1 - 0.1),
}
CELLS = [
    (row, distance, printed)
    for row, line in PRINTED_MM.items()
    for distance, printed in zip(DISTANCES_M, line, strict=True)
]
GRADES = pytest.mark.parametrize("suffix", ["", "-grid"], ids=["bar", "grid"])


def limit_of(grade_id: str) -> Limit:
    _, grade = grade_of(f"din-18202:{grade_id}")
    (rule,) = grade.rules
    return rule.limit


def limit_mm(limit: Limit, distance_m: float) -> float:
    return float(limit_at(limit, np.array([distance_m * 1000]))[0])


@GRADES
@pytest.mark.parametrize(
    ("row", "distance_m", "printed_mm"), [cell for cell in CELLS if cell[:2] not in ODD]
)
def test_printed_cell(row: str, distance_m: float, printed_mm: int, suffix: str) -> None:
    """The limit is the printed one."""
    assert limit_mm(limit_of(row + suffix), distance_m) == printed_mm


@GRADES
@pytest.mark.parametrize(
    ("row", "distance_m", "printed_mm"), [cell for cell in CELLS if cell[:2] in ODD]
)
def test_odd_cell(row: str, distance_m: float, printed_mm: int, suffix: str) -> None:
    """The two cells printed off the straight line differ by one whole mm, up in row 2, down in 7.

    The line gives 11.33 where row 2 prints 12 at 3.5 m, and 2.56 where row 7 prints 2 at 0.6 m.
    """
    limit = limit_of(row + suffix)
    line_mm = limit_mm(replace(limit, whole_mm=False), distance_m)
    assert line_mm == pytest.approx(ODD[row, distance_m], abs=1e-9)
    assert line_mm == pytest.approx({"2": 11.33, "7": 2.56}[row], abs=0.005)
    assert printed_mm - limit_mm(limit, distance_m) == {"2": 1, "7": -1}[row]


def test_every_cell_asked() -> None:
    """Table 3 has seven rows at thirteen distances, and two of its 91 cells are odd."""
    assert len(CELLS) == 7 * 13
    assert len([cell for cell in CELLS if cell[:2] in ODD]) == 2


@GRADES
@pytest.mark.parametrize("row", PRINTED_MM)
def test_beyond_the_table(row: str, suffix: str) -> None:
    """Beyond 15 m the value at 15 m holds."""
    assert limit_mm(limit_of(row + suffix), 40) == PRINTED_MM[row][-1]


@pytest.mark.parametrize("row", PRINTED_MM)
def test_how_it_is_measured(row: str) -> None:
    """A plain row lays a bar on high points, its grid twin compares neighbors, at any distance.

    Readings may be 1 m apart, the usual grid (neighbors 2 m apart; a planning office's page).
    """
    for suffix, measure in (("", "resting"), ("-grid", "neighbors")):
        _, grade = grade_of(f"din-18202:{row}{suffix}")
        (rule,) = grade.rules
        assert (rule.measure, rule.length_mm, rule.pitch_mm) == (measure, None, 1000)
