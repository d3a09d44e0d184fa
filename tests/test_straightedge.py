"""The straightedge: every bar against brute force, and what must not change a gap."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from flatcheck import straightedge
from flatcheck.assess import assess
from flatcheck.errors import SurveyError
from flatcheck.readers.folder import bare
from flatcheck.room import Ring, Room, rectangle
from flatcheck.straightedge import REACH_MM, Bars, bars
from flatcheck.surface import lines, surface
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]
Floor = tuple[Room, Floats, Floats]

BAR_MM = 1300.0
EVEN = np.arange(9) * 300.0
UNEVEN = np.array([0, 90, 310, 640, 900, 1290, 1500, 1740, 2400.0])
WALLS = ((0, 0), (2400, 0), (2400, 1290), (1290, 1290), (1290, 2400), (0, 2400))
EVEN_WALLS = ((0, 0), (2400, 0), (2400, 1200), (1200, 1200), (1200, 2400), (0, 2400))


def made(ticks: Floats, shape: str, seed: int, holes: float = 0.0) -> Floor:
    """A rough floor read at ticks both ways: a box, an L, or a box with a counter in it."""
    rng = np.random.default_rng(seed)
    xy = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)
    room = Room(rectangle(0, 0, 2400, 2400))
    if shape == "ell":
        corners = EVEN_WALLS if ticks is EVEN else WALLS
        room, edge = Room(Ring("ell", corners)), corners[2][1]
        xy = xy[(xy <= edge).any(axis=1)]
    if shape == "counter":
        room = Room(rectangle(0, 0, 2400, 2400), (rectangle(650, 650, 1250, 950, "counter"),))
        xy = xy[~((xy > (650, 650)) & (xy < (1250, 950))).all(axis=1)]
    xy = xy[rng.random(len(xy)) >= holes]
    return room, xy, rng.normal(0, 3, len(xy))


def laid(floor: Floor, length_mm: float | None = BAR_MM) -> tuple[Bars, tuple[str, ...]]:
    """All bars on a floor, and the name of each direction that a bar may be laid along."""
    room, xy, z = floor
    flat = surface(room, xy, z, np.ones(len(z)), [""] * len(z))
    families = lines(flat)
    return bars(families, z, length_mm), tuple(family.direction for family in families)


def on_floor(shape: str, ticks: Floats, points: Floats) -> bool:
    """Whether all points lie on a floor of `made`, told without rings."""
    edge = 1200 if ticks is EVEN else 1290
    if shape == "ell":
        return bool((points <= edge + 1e-9).any(axis=-1).all())
    if shape == "counter":
        return not ((points > (650, 650)) & (points < (1250, 950))).all(axis=-1).any()
    return True


def walks(floor: Floor, shape: str, ticks: Floats, step: tuple[int, int]) -> list[list[int]]:
    """Stations in lines along a step of the ticks, cut where the floor ends between two of them."""
    _, xy, _ = floor
    place = {
        (int(np.flatnonzero(ticks == x)[0]), int(np.flatnonzero(ticks == y)[0])): k
        for k, (x, y) in enumerate(xy)
    }
    found: list[list[int]] = []
    for i in range(len(ticks)):
        for j in range(len(ticks)):
            if 0 <= i - step[0] < len(ticks) and 0 <= j - step[1] < len(ticks):
                continue  # not the first place of its line
            walk = [(i + k * step[0], j + k * step[1]) for k in range(len(ticks))]
            line: list[int] = []
            for k in (place[p] for p in walk if p in place):
                way = np.linspace(0, 1, 400)[:, None]
                if line and not on_floor(shape, ticks, xy[line[-1]] * (1 - way) + xy[k] * way):
                    found.append(line)
                    line = []
                line.append(k)
            found.append(line)
    return [line for line in found if line]


def brute(floor: Floor, walk: list[int], length_mm: float) -> dict[int, float]:
    """The largest gap at each station of a line: hull minus profile, over all windows."""
    _, xy, z = floor
    along = np.hypot(*(xy[walk] - xy[walk[0]]).T)
    gap = dict.fromkeys(walk, 0.0)
    for first in range(len(walk)):
        for last in range(first + 2, len(walk)):
            if along[last] - along[first] > length_mm + REACH_MM:
                break
            x, h = along[first : last + 1], z[walk[first : last + 1]]
            edges = ConvexHull(np.column_stack((x, h))).simplices
            for at, k in enumerate(walk[first : last + 1]):
                tops = [
                    h[a] + (h[b] - h[a]) * (x[at] - x[a]) / (x[b] - x[a])
                    for a, b in edges
                    if min(x[a], x[b]) <= x[at] <= max(x[a], x[b])
                ]
                gap[k] = max(gap[k], max(tops) - h[at])
    return gap


@pytest.mark.parametrize("shape", ["box", "ell", "counter"])
@pytest.mark.parametrize(
    ("ticks", "step"),
    [
        (EVEN, {"row": (1, 0), "rising diagonal": (1, 1), "falling diagonal": (1, -1)}),
        (UNEVEN, {"row": (1, 0), "column": (0, 1)}),
    ],
    ids=["even", "uneven"],
)
@pytest.mark.parametrize("holes", [0.0, 0.15], ids=["full", "holes"])
def test_the_largest_gap_is_that_of_all_windows(
    shape: str, ticks: Floats, step: dict[str, tuple[int, int]], holes: float
) -> None:
    """At every station the largest gap is the upper hull's, over every window of the bar."""
    floor = made(ticks, shape, 11, holes)
    found, directions = laid(floor)
    shown = 0
    for name, along in step.items():
        rows = found.direction == directions.index(name)
        largest = np.zeros(len(floor[2]))
        np.maximum.at(largest, found.stations[rows, 1], found.gap_mm[rows])
        expected = np.zeros(len(floor[2]))
        for walk in walks(floor, shape, ticks, along):
            for station, gap in brute(floor, walk, BAR_MM).items():
                expected[station] = gap
        assert largest == pytest.approx(expected, abs=1e-9)
        shown += (expected > 1e-9).sum()
    assert shown > 25


@pytest.mark.parametrize("length_mm", [600.0, BAR_MM, None])
@pytest.mark.parametrize("shape", ["box", "ell", "counter"])
@pytest.mark.parametrize("ticks", [EVEN, UNEVEN], ids=["even", "uneven"])
def test_what_a_bar_says_of_itself(shape: str, ticks: Floats, length_mm: float | None) -> None:
    """Gap, span, widest step and rest of a bar follow from its three stations and its line."""
    floor = made(ticks, shape, 12, 0.1)
    _, xy, z = floor
    found, directions = laid(floor, length_mm)
    steps = {
        "row": (1, 0),
        "column": (0, 1),
        "rising diagonal": (1, 1),
        "falling diagonal": (1, -1),
    }
    left, place, right = found.stations.T
    # On uneven ticks diagonals take in places a little off their line; rows and columns are true.
    true = found.direction < (4 if ticks is EVEN else 2)
    assert found.gap_mm == pytest.approx((found.weights * z[found.stations]).sum(axis=1))
    assert found.weights.sum(axis=1) == pytest.approx(np.zeros(len(left)), abs=1e-12)
    apart = np.hypot(*(xy[right] - xy[left]).T)
    assert found.span_mm[true] == pytest.approx(apart[true])
    share = np.hypot(*(xy[place] - xy[left]).T) / apart
    assert found.weights[true, 2] == pytest.approx(share[true])
    assert length_mm is None or found.span_mm.max() <= length_mm + REACH_MM
    if ticks is UNEVEN:
        return
    seen = 0
    for name in directions:
        walk_of = {k: walk for walk in walks(floor, shape, ticks, steps[name]) for k in walk}
        rows = np.flatnonzero(found.direction == directions.index(name))
        for k in rows[:: max(len(rows) // 40, 1)]:
            walk = walk_of[int(left[k])]
            window = walk[walk.index(int(left[k])) : walk.index(int(right[k])) + 1]
            assert int(place[k]) in window[1:-1]
            step = np.hypot(*np.diff(xy[window], axis=0).T)
            assert found.pitch_mm[k] == pytest.approx(step.max())
            along = np.cumsum(step)[:-1] / step.sum()
            chord = z[window[0]] + along * (z[window[-1]] - z[window[0]])
            assert found.rests[k] == bool(np.all(chord >= z[window[1:-1]] - 1e-9))
            seen += 1
    assert seen > 50


@pytest.mark.parametrize("shape", ["ell", "counter"])
@pytest.mark.parametrize("ticks", [EVEN, UNEVEN], ids=["even", "uneven"])
def test_never_over_what_is_no_floor(shape: str, ticks: Floats) -> None:
    """No bar of any length lies over the notch of an L or over a counter."""
    floor = made(ticks, shape, 13)
    found, _ = laid(floor, None)
    way = np.linspace(0, 1, 200)[:, None, None]
    ends = floor[1][found.stations[:, [0, 2]]]
    assert on_floor(shape, ticks, ends[:, 0] * (1 - way) + ends[:, 1] * way)
    assert len(ends) > 500


@given(
    height=st.floats(-1e4, 1e4),
    east=st.floats(-0.1, 0.1),
    north=st.floats(-0.1, 0.1),
    seed=st.integers(0, 10),
)
@settings(max_examples=25, deadline=None)
def test_a_plane_adds_nothing(height: float, east: float, north: float, seed: int) -> None:
    """Raising or tilting the whole floor changes no gap."""
    tilt = np.array([east, north])
    for ticks in (EVEN, UNEVEN):
        room, xy, z = made(ticks, "ell", seed)
        before, after = laid((room, xy, z))[0], laid((room, xy, z + height + xy @ tilt))[0]
        # On uneven ticks diagonals take in places a little off their line.
        true = before.direction < (4 if ticks is EVEN else 2)
        assert after.gap_mm[true] == pytest.approx(before.gap_mm[true], abs=1e-9)


@pytest.mark.parametrize(
    "turned",
    [
        lambda xy: np.column_stack((-xy[:, 1], xy[:, 0])),
        lambda xy: -xy,
        lambda xy: xy * (-1, 1),
        lambda xy: xy[:, ::-1],
        lambda xy: xy - np.array([12_345, 6_789]),
    ],
    ids=["quarter turn", "half turn", "mirror", "swapped axes", "moved"],
)
@pytest.mark.parametrize("shape", ["box", "ell", "counter"])
@pytest.mark.parametrize("ticks", [EVEN, UNEVEN], ids=["even", "uneven"])
def test_turning_the_plan(turned: Callable[[Floats], Floats], shape: str, ticks: Floats) -> None:
    """Turning, mirroring or moving the plan leaves all gaps as they are, in another order."""
    room, xy, z = made(ticks, shape, 14, 0.1)

    def ring(given: Ring) -> Ring:
        return Ring(given.name, tuple(map(tuple, turned(np.array(given.corners_mm, float)))))

    other = Room(ring(room.outline), tuple(map(ring, room.cutouts)))
    before, after = laid((room, xy, z))[0], laid((other, turned(xy), z))[0]
    assert np.sort(after.gap_mm) == pytest.approx(np.sort(before.gap_mm), abs=1e-9)
    assert np.sort(after.span_mm) == pytest.approx(np.sort(before.span_mm), abs=1e-9)


def test_shuffled_stations() -> None:
    """Numbering the stations in another order leaves all gaps as they are."""
    room, xy, z = made(UNEVEN, "counter", 15, 0.1)
    order = np.random.default_rng(1).permutation(len(z))
    before, after = laid((room, xy, z))[0], laid((room, xy[order], z[order]))[0]
    assert np.sort(after.gap_mm) == pytest.approx(np.sort(before.gap_mm), abs=1e-12)


def test_a_bar_as_long_as_its_span() -> None:
    """A bar reaches contacts that are its length apart, and a tape's error more."""
    room = Room(rectangle(0, 0, 3000, 100))
    xy = np.column_stack((np.array([0, 500, 1000, 1500 + 2 * REACH_MM]), np.zeros(4)))
    found, _ = laid((room, xy, np.zeros(4)), 1000)
    assert found.span_mm.tolist() == [1000]  # 500 to 1500 is 2 mm too far, 0 to 1000 just fits
    assert found.stations.tolist() == [[0, 1, 2]]


def test_nothing_between_the_contacts() -> None:
    """Where the bar is shorter than two steps there is no gap to see, and no bar is listed."""
    found, _ = laid(made(EVEN, "box", 1), 599 - REACH_MM)
    assert len(found.gap_mm) == 0
    assert found.stations.shape == found.weights.shape == (0, 3)


def test_too_many_bars(monkeypatch: pytest.MonkeyPatch) -> None:
    """More bars than can be listed are refused with both numbers, before any is made."""
    floor = made(EVEN, "box", 1)
    count = len(laid(floor, None)[0].gap_mm)
    monkeypatch.setattr(straightedge, "MOST_BARS", count - 1)
    monkeypatch.setattr(straightedge, "_spanning", None)
    with pytest.raises(SurveyError, match=rf"81 readings give {count:,} ways.* {count - 1:,} that"):
        laid(floor, None)


def test_stations_abreast_within_a_line() -> None:
    """Places 6 mm apart across the line do not make bars of no length, whose gap is no number."""
    xy = np.array([(100, 100), (100, 106), (100, 112), (600, 100), (1100, 100), (600, 600)], float)
    found, _ = laid((Room(rectangle(0, 0, 2000, 2000)), xy, np.zeros(6)), 2000)
    assert np.isfinite(found.gap_mm).all()
    assert (found.span_mm > 0).all()


def test_scattered_readings_of_a_true_plane() -> None:
    """Readings taken here and there on a floor that falls 2 % and is else true show no gap.

    The allowance is what a tape is good for: stations 12 mm off their line, both ways.
    """
    xy = np.random.default_rng(1).uniform(0, 4000, (300, 2))
    found, _ = laid((Room(rectangle(0, 0, 4000, 4000)), xy, 0.02 * xy[:, 1]), 3000)
    assert np.abs(found.gap_mm).max() < 2 * 12 * 0.02


# Through the whole chain


def verdict_on_a_dip(depth_mm: float, order: npt.NDArray[np.int64]) -> Outcome:
    """A level floor of 9 x 9 readings with one dip, written in some order."""
    ticks = np.arange(9) * 300
    rows = [(x, y, -depth_mm if (x, y) == (1200, 1200) else 0) for y in ticks for x in ticks]
    named = [("x", "y", "reading"), *(tuple(f"{v:g}" for v in rows[i]) for i in order)]
    survey = bare(
        "dip",
        tuple(named),
        kind="points",
        sense="elevation",
        readings="mm",
        offsets="mm",
        uncertainty="0.5 mm",
        sections={"standard": {"rule": "bs-5385-3:substrate"}},
    )
    return assess(survey).verdict.guarded


@pytest.mark.parametrize(
    ("depth_mm", "expected"),
    [
        (0.0, Outcome.WITHIN),
        (3.0, Outcome.CLOSE),
        (4.57, None),
        (6.0, Outcome.OUT),
    ],
)
def test_the_order_of_readings_leaves_the_verdict(
    depth_mm: float, expected: Outcome | None
) -> None:
    """The same readings written in another order get the same verdict."""
    rng = np.random.default_rng(3)
    orders = [np.arange(81), *(rng.permutation(81) for _ in range(7))]
    outcomes = {verdict_on_a_dip(depth_mm, order) for order in orders}
    assert len(outcomes) == 1
    assert expected is None or outcomes == {expected}
