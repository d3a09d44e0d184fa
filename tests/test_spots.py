"""Spots: what is out is named once, at its place, and as high or low as it is."""

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.assess import assess
from flatcheck.document import build
from flatcheck.readers.folder import bare
from flatcheck.verdict import Spot, Verdict

Floats = npt.NDArray[np.float64]

STEP = 300
TICKS = np.arange(11) * STEP
X, Y = np.meshgrid(TICKS, TICKS)
ROOM = {"outline": [[0, 0], [3000, 0], [3000, 3000], [0, 3000]]}

BARS = pytest.mark.parametrize("rule", ["bs-5385-3:substrate", "bs-5385-3:finished"])
"""One bar of 2 m and one limit, 3 mm: resting on high points, and on equal blocks."""


def hill(x: float, y: float, width: float) -> Floats:
    """A round hill 1 mm high; `width` is the standard deviation of its bell."""
    return np.exp(-((X - x) ** 2 + (Y - y) ** 2) / (2 * width**2))


def judged(z: Floats, rule: str, uncertainty: str = "0.1 mm", room: bool = True) -> Verdict:
    """The verdict on heights read every 300 mm in a room of 3 m by 3 m."""
    rows = [tuple(f"{h:.4f}" for h in row) for row in z]
    cells = (("", *map(str, TICKS)), *((str(y), *row) for y, row in zip(TICKS, rows, strict=True)))
    survey = bare(
        "floor",
        cells,
        kind="grid",
        sense="elevation",
        readings="mm",
        offsets="mm",
        uncertainty=uncertainty,
        sections={"standard": {"rule": rule}} | ({"room": ROOM} if room else {}),
    )
    return assess(survey).verdict


def places(spots: tuple[Spot, ...]) -> set[tuple[bool, float, float]]:
    return {(spot.high, *spot.at) for spot in spots}


@BARS
@pytest.mark.parametrize("width", [150, 300, 450])
@pytest.mark.parametrize("at", [(1500, 1500), (900, 1800)])
def test_one_hump(rule: str, width: float, at: tuple[int, int]) -> None:
    """One hump is one high spot, at its top."""
    assert places(judged(12 * hill(*at, width), rule).spots) == {(True, *at)}


@BARS
@pytest.mark.parametrize("width", [150, 300, 450, 600])
@pytest.mark.parametrize("at", [(1500, 1500), (900, 1800)])
def test_one_dip(rule: str, width: float, at: tuple[int, int]) -> None:
    """One dip is one low spot, at its bottom, as deep as the bar shows it."""
    found = judged(-12 * hill(*at, width), rule).spots
    assert places(found) == {(False, *at)}
    assert 3 < found[0].value_mm <= 12 + 1e-9


@BARS
@pytest.mark.parametrize("width", [150, 300])
def test_two_dips(rule: str, width: float) -> None:
    """Two dips apart are two low spots, numbered from the deeper one."""
    found = judged(-12 * hill(600, 600, width) - 9 * hill(2400, 2100, width), rule).spots
    assert [(s.number, s.high, *s.at) for s in found] == [
        (1, False, 600, 600),
        (2, False, 2400, 2100),
    ]


def test_a_hump_and_a_dip() -> None:
    """A hump and a dip apart are one high and one low spot."""
    z = 12 * hill(600, 600, 150) - 12 * hill(2400, 2400, 150)
    assert places(judged(z, "bs-5385-3:substrate").spots) == {
        (True, 600, 600),
        (False, 2400, 2400),
    }


def test_one_broad_hump() -> None:
    """A hump so broad that bars rest on its shoulders is one high spot all the same, at its top."""
    found = judged(12 * hill(1500, 1500, 600), "bs-5385-3:substrate").spots
    assert places(found) == {(True, 1500, 1500)}


@BARS
@pytest.mark.parametrize("width", [600, 750, 900])
@pytest.mark.parametrize("at", [(1500, 1500), (900, 1800)])
@pytest.mark.parametrize("high", [12, 20])
def test_a_broad_hump_has_one_summit(
    rule: str, width: float, at: tuple[int, int], high: float
) -> None:
    """However broad a hump, no two high spots are made of it, and one is at its top."""
    tops = {place for place in places(judged(high * hill(*at, width), rule).spots) if place[0]}
    assert tops <= {(True, *at)}


@pytest.mark.parametrize("at", [(0, 1500), (3000, 1500), (1500, 0)])
def test_a_dip_at_a_wall(at: tuple[int, int]) -> None:
    """A dip at a wall is seen by the bar along the wall."""
    assert places(judged(-8 * hill(*at, 100), "bs-5385-3:substrate").spots) == {(False, *at)}


def test_a_flat_floor_has_no_spots() -> None:
    """Where nothing is over its limit there is no spot: at the limit is not over it."""
    dip = np.where((X == 1500) & (Y == 1500), -3.0, 0.0)
    assert judged(np.zeros((11, 11)), "bs-5385-3:substrate").spots == ()
    assert judged(dip, "bs-5385-3:substrate").spots == ()
    assert len(judged(dip * 1.001, "bs-5385-3:substrate").spots) == 1


def test_what_a_spot_says() -> None:
    """A dip of one place: its depth, the limit, the rule, its stations and its size."""
    dip = np.where((X == 1200) & (Y == 900), -8.0, 0.0)
    (spot,) = judged(dip, "bs-5385-3:substrate").spots
    assert spot.value_mm == pytest.approx(8)
    assert spot.limit_mm == pytest.approx(3)
    assert spot.rule == "2m"
    assert spot.stations == (3 * 11 + 4,)
    assert spot.extent_mm == (STEP, STEP)  # half way to its neighbors on all sides
    # A third of the triangles at an inner place of a grid: its own cell, for either diagonal.
    assert STEP**2 * 2 / 3 <= spot.area_mm2 <= STEP**2 * 4 / 3


@pytest.mark.parametrize(("uncertainty", "proven"), [("0.1 mm", True), ("5 mm", False)])
def test_proven_beyond_reading_error(uncertainty: str, proven: bool) -> None:
    """A spot is proven where it is over its limit by more than reading error can explain."""
    (spot,) = judged(-8 * hill(1500, 1500, 100), "bs-5385-3:substrate", uncertainty).spots
    assert spot.proven is proven


def test_proven_spots_come_first() -> None:
    """A spot proven out is numbered before one that is larger but in doubt."""
    z = -3.5 * hill(600, 600, 100) - 8 * hill(2400, 2400, 100)
    found = judged(z, "bs-5385-3:substrate", "0.5 mm").spots
    assert [(spot.number, spot.proven) for spot in found] == [(1, True), (2, False)]


def test_spots_do_not_need_an_outline() -> None:
    """Without an outline the spots are the same, at the same offsets."""
    z = -12 * hill(600, 600, 150) + 12 * hill(2400, 2400, 150)
    with_room, without = (judged(z, "bs-5385-3:substrate", room=room) for room in (True, False))
    assert with_room.spots == without.spots


@pytest.mark.parametrize(
    ("turned", "to"),
    [
        (lambda z: z.T, lambda x, y: (y, x)),
        (lambda z: z[:, ::-1], lambda x, y: (3000 - x, y)),
        (lambda z: z[::-1], lambda x, y: (x, 3000 - y)),
    ],
    ids=["swapped axes", "east for west", "north for south"],
)
def test_spots_turn_with_the_floor(turned: object, to: object) -> None:
    """On a mirrored floor the spots are mirrored."""
    z = -12 * hill(600, 900, 150) + 12 * hill(2400, 2100, 150) - 9 * hill(2700, 600, 150)
    before = judged(z, "bs-5385-3:substrate").spots
    after = judged(turned(z), "bs-5385-3:substrate").spots  # type: ignore[operator]
    assert {(s.high, *to(*s.at)) for s in before} == places(after)  # type: ignore[operator]
    assert len(before) == 3


def test_spots_of_a_zone_count_stations_of_the_survey() -> None:
    """Spots in a zone name places and stations of the whole floor."""
    rows = [tuple(f"{h:g}" for h in row) for row in -8 * ((X == 2400) & (Y == 1200))]
    cells = (("", *map(str, TICKS)), *((str(y), *row) for y, row in zip(TICKS, rows, strict=True)))
    half = [[0, 0], [1650, 0], [1650, 3000], [0, 3000]]
    other = [[1650, 0], [3000, 0], [3000, 3000], [1650, 3000]]
    survey = bare(
        "floor",
        cells,
        kind="grid",
        sense="elevation",
        readings="mm",
        offsets="mm",
        uncertainty="0.1 mm",
        sections={"standard": {"rule": "bs-5385-3:substrate"}, "room": ROOM},
    )
    zoned = survey.document + "".join(
        f'\n[[zone]]\nname = "{name}"\noutline = {ring}\n'
        for name, ring in (("west", half), ("east", other))
    )
    found = assess(build(zoned, {table.name: table.cells for table in survey.tables}))
    (spot,) = found.verdict.spots
    assert spot.at == (2400, 1200)
    assert spot.stations == (4 * 11 + 8,)
    assert found.surface.height_mm[list(spot.stations)].tolist() == [-8]
