"""The site: what may be done where, what the rules ask, and the least that meets it."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from slabs import AS_READ, STEP, STRICT, rough, scattered, site_of, slab

from flatcheck.errors import SurveyError
from flatcheck.leastwork import Conflict, Correction
from flatcheck.refusal import unjudged
from flatcheck.room import area
from flatcheck.site import AT_LIMIT_MM, NOT_GROUND, Site, cheapest, corrected, rejudged
from flatcheck.terms import grind_cost, unit_cost
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

LIMIT_MM, BAR_MM = 3.0, 2000.0
"""BS 8204 SR1: 3 mm under a 2 m bar."""

ONE_SIDED = 1.6448536269514722
"""The 95 % point of the normal distribution (any table)."""


def station(site: Site, x: float, y: float) -> int:
    """The station that was read at a place."""
    return int(np.argmin(np.hypot(*(site.floor.xy_mm - [x, y]).T)))


def box(west: float, south: float, east: float, north: float, **own: Any) -> dict[str, Any]:
    outline = [[west, south], [east, south], [east, north], [west, north]]
    return {"name": "hatch", "outline": outline} | own


# The floor around each station


@pytest.mark.parametrize("shape", [(2, 2), (4, 6), (1, 5)])
def test_areas_add_up_to_the_room(shape: tuple[int, int]) -> None:
    """The floor around all stations is the room, read on a grid, or along one line of a strip."""
    rows, columns = shape
    room = [[0, 0], [2500, 0], [2500, 1500], [0, 1500]]
    places = [(500 * x, 500 * y, 0.0) for x in range(columns) for y in range(rows)]
    site = site_of(scattered(np.array(places), room))
    assert site.area_mm2.sum() == pytest.approx(2500 * 1500)
    assert np.all(site.area_mm2 > 0)


def test_what_nobody_read_is_shared_out() -> None:
    """Cut out and unread floor: areas add up to the room less its cutout."""
    room = {
        "outline": [[-200, -200], [3200, -200], [3200, 2700], [-200, 2700]],
        "cutout": [{"name": "stove", "outline": [[600, 600], [900, 600], [900, 900], [600, 900]]}],
    }
    site = site_of(slab(np.zeros((6, 7)), room=room))
    assert area(site.floor.room) == pytest.approx(3400 * 2900 - 300 * 300)
    assert site.area_mm2.sum() == pytest.approx(3400 * 2900 - 300 * 300)


def test_a_place_in_no_triangle_costs_something() -> None:
    """A place that a wall cuts off from the others has floor around it as well: work is not free.

    In a room like a U nothing joins the end of one leg to the rest but a line.
    """
    room = [[0, 0], [1000, 0], [1000, 1000], [600, 1000], [600, 20], [400, 20], [400, 1000]]
    places = [(x, y, 0.0) for x in (0, 200) for y in (0, 500)] + [(800.0, 500.0, 0.0)]
    site = site_of(scattered(np.array(places), [*room, [0, 1000]]))
    assert not np.isin(station(site, 800, 500), site.floor.triangles)
    assert np.all(site.area_mm2 > 0)
    assert site.area_mm2.sum() == pytest.approx(area(site.floor.room))


# What may be done where


@pytest.mark.parametrize("kind", NOT_GROUND)
def test_not_ground(kind: str) -> None:
    """A floor that holds what is not ground has nothing to grind anywhere, and says why."""
    site = site_of(slab(np.zeros((3, 3)), correction={"substrate": ["concrete", kind]}))
    assert site.ungrindable == NOT_GROUND[kind]
    assert not site.most_grind_mm.any()


def test_bounds() -> None:
    """Most grinding is what the terms say, filling is bound by nothing, where nothing else is."""
    site = site_of(slab(np.zeros((3, 3)), correction={"most_grind": "5 mm"}))
    assert site.ungrindable == ""
    assert np.all(site.most_grind_mm == 5)
    assert np.all(np.isinf(site.most_fill_mm))


@pytest.mark.parametrize(("grind", "fill"), [(False, False), (True, False), (False, True)])
def test_parts_that_are_kept(grind: bool, fill: bool) -> None:
    """What lies in a part that is kept, its edge too, may only be worked on as it says."""
    kept = box(500, 500, 1000, 1000, grind=grind, fill=fill)
    site = site_of(slab(np.zeros((4, 5)), keep=[kept]))
    x, y = site.floor.xy_mm.T
    within = (x >= 500) & (x <= 1000) & (y >= 500) & (y <= 1000)
    assert int(within.sum()) == 4
    assert np.array_equal(site.most_grind_mm == 0, within & (not grind))
    assert np.array_equal(site.most_fill_mm == 0, within & (not fill))


@pytest.mark.parametrize(
    "outline", [(9000, 0, 9500, 500), (100, 100, 400, 400)], ids=["outside", "between"]
)
def test_a_kept_part_that_nobody_read(outline: tuple[float, float, float, float]) -> None:
    """Outside the room, or between readings, nothing would keep a hand off it: that is refused."""
    site = site_of(slab(np.zeros((4, 5)), keep=[box(*outline)]))
    for bounds in ("most_fill_mm", "most_grind_mm"):
        with pytest.raises(SurveyError, match="hatch: no reading"):
            getattr(site, bounds)


def test_heights_that_must_not_change() -> None:
    """A hold is not ground, and filled by its rise at most."""
    holds = [
        {"name": "door", "at": [0, 500]},
        {"name": "stair", "at": [1030, 1000], "rise": "6 mm"},
    ]
    site = site_of(slab(np.zeros((4, 5)), hold=holds))
    door, stair = station(site, 0, 500), station(site, 1000, 1000)
    assert [(stations.tolist(), rise) for stations, rise in site.held] == [
        ([door], 0.0),
        ([stair], 6.0),
    ]
    assert (site.most_fill_mm[door], site.most_fill_mm[stair]) == (0, 6)
    assert np.flatnonzero(site.most_grind_mm == 0).tolist() == sorted([door, stair])


@pytest.mark.parametrize("at", [[250, 250], [-5000, 250]])
def test_a_hold_that_nobody_read(at: list[float]) -> None:
    """A height that was not read cannot be held: that is refused by its name."""
    site = site_of(slab(np.zeros((4, 5)), hold=[{"name": "door", "at": at}]))
    with pytest.raises(SurveyError, match=r"door: no reading lies within 50 mm of it\."):
        _ = site.held


DRAIN = {"name": "drain", "center": [1000, 1000], "size": [200, 200]}


def test_a_drain_stays() -> None:
    """Nothing is ground off a drain, nor filled over it."""
    height = -np.abs(np.arange(5) - 2.0)[None] - np.abs(np.arange(5) - 2.0)[:, None]
    site = site_of(
        slab(
            -5 * height,
            drain=[DRAIN],
            intent={"kind": "to drain"},
            standard={"rule": "none", "falls": ["bs-falls"]},
        )
    )
    on = station(site, 1000, 1000)
    assert site.drained.tolist() == [on]
    assert np.flatnonzero(site.most_fill_mm == 0).tolist() == [on]
    assert np.flatnonzero(site.most_grind_mm == 0).tolist() == [on]


# After the work


def test_corrected() -> None:
    """The corrected surface has the new heights, and placing error where anything was done."""
    site = site_of(slab(np.zeros((3, 3)), correction={"placing": "0.5 mm"}))
    fill, grind = np.zeros(9), np.zeros(9)
    fill[2], grind[5] = 3.0, 2.0
    after = corrected(site, fill, grind)
    assert after.height_mm == pytest.approx(site.floor.height_mm + fill - grind)
    extra = after.cov_mm2 - site.floor.cov_mm2
    extra = extra if extra.ndim == 1 else np.diag(extra)
    assert extra == pytest.approx([0.25 if k in (2, 5) else 0.0 for k in range(9)])


def test_unjudged() -> None:
    """A rule that the readings cannot show is named; one that they can is not."""
    coarse = {"rule": "us-tile"}
    tile = {"length": "24 in", "width": "24 in"}
    assert "straightedge" in unjudged(site_of(slab(np.zeros((4, 4)), standard=coarse, tile=tile)))
    assert unjudged(site_of(slab(np.zeros((4, 4))))) == ""


# The least that meets the rules


def every_bar(site: Site) -> tuple[Floats, Floats]:
    """All chords up to 2 m through two readings of a row, a column or a diagonal, as rows.

    Written out here from the places alone: the gap below a chord and what it may be more.
    """
    xy, z = site.floor.xy_mm, site.floor.height_mm
    at = {(round(x), round(y)): k for k, (x, y) in enumerate(xy.tolist())}
    rows, spare = [], []
    cov = site.floor.cov_mm2 if site.floor.cov_mm2.ndim == 2 else np.diag(site.floor.cov_mm2)
    for (x, y), left in at.items():
        for east, north in ((1, 0), (0, 1), (1, 1), (1, -1)):
            step = STEP * math.hypot(east, north)
            for n in range(2, int((BAR_MM + 1) / step) + 1):
                right = at.get((x + round(n * east * STEP), y + round(n * north * STEP)))
                if right is None:
                    break
                for k in range(1, n):
                    row = np.zeros(len(z))
                    row[left], row[right] = 1 - k / n, k / n
                    row[at[x + round(k * east * STEP), y + round(k * north * STEP)]] = -1
                    margin = AT_LIMIT_MM
                    if site.guarded:
                        u2 = row @ cov @ row + row @ row * site.terms.placing_mm**2
                        margin += ONE_SIDED * math.sqrt(u2)
                    rows.append(row)
                    spare.append(LIMIT_MM - margin - row @ z)
    return np.array(rows), np.array(spare)


def by_one_program(site: Site, grind: bool, fill: bool) -> float | None:
    """The least cost by one linear program with every bar in it, None where there is none."""
    rows, spare = every_bar(site)
    n = len(site.floor.height_mm)
    patch = site.terms.patch
    price = np.concatenate(
        (
            site.area_mm2 * unit_cost(patch, site.terms),
            site.area_mm2 * grind_cost(site.terms),
        )
    )
    most = np.concatenate(
        (
            np.minimum(site.most_fill_mm, patch.most_mm) if fill else np.zeros(n),
            site.most_grind_mm if grind else np.zeros(n),
        )
    )
    # Prices of hundredths of a cent would drown in the solver's tolerance.
    solved = linprog(
        price / price.max(),
        np.hstack((rows, -rows)),
        spare,
        bounds=np.column_stack((np.zeros(2 * n), most)),
    )
    assert solved.status in (0, 2)
    return float(solved.fun) * price.max() if solved.status == 0 else None


@pytest.mark.parametrize("standard", [STRICT, AS_READ], ids=["guarded", "as read"])
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("grind", "fill"), [(True, True), (True, False), (False, True)])
def test_the_least_there_is(seed: int, grind: bool, fill: bool, standard: dict[str, str]) -> None:
    """By cutting planes it costs as little as by one program with every bar written out."""
    most = "8 mm" if seed % 2 else "20 mm"
    hold = [{"name": "door", "at": [0, 500]}] if seed % 3 == 0 else []
    site = site_of(
        slab(
            rough(5, 6, seed, 1.2),
            standard=standard,
            hold=hold,
            correction={"most_grind": most, "placing": "0.2 mm", "grind_rate": "0.3 l/h"},
        )
    )
    assert site.assessment.verdict.outcome is not Outcome.WITHIN
    found = cheapest(site, grind, site.terms.patch if fill else None)
    want = by_one_program(site, grind, fill)
    if want is None:
        assert isinstance(found, Conflict)
        return
    assert isinstance(found, Correction)
    assert found.cost == pytest.approx(want, rel=1e-6)
    assert found.least_cost <= found.cost * (1 + 1e-9)
    assert found.cost - found.least_cost <= 1e-6 * found.cost


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_any_correction_holds(data: st.DataObject) -> None:
    """On any floor what is found is within when judged again, and keeps every bound.

    Together never costs more than grinding alone or filling alone.
    """
    rows, columns = data.draw(st.integers(3, 5)), data.draw(st.integers(3, 5))
    tenths = data.draw(
        st.lists(st.integers(-60, 60), min_size=rows * columns, max_size=rows * columns)
    )
    z = np.array(tenths).reshape(rows, columns) / 10
    holds = [{"name": "door", "at": [0, 500], "rise": data.draw(st.sampled_from([0, "2 mm"]))}]
    site = site_of(
        slab(
            z,
            hold=holds if data.draw(st.booleans()) else [],
            keep=[box(400, 400, 1100, 600)] if data.draw(st.booleans()) else [],
            standard=data.draw(st.sampled_from([STRICT, AS_READ])),
            correction={
                "placing": data.draw(st.sampled_from([0, "0.2 mm"])),
                "most_grind": data.draw(st.sampled_from(["2 mm", "20 mm"])),
            },
        )
    )
    patch, costs = site.terms.patch, []
    for grind, fill in ((True, patch), (True, None), (False, patch)):
        found = cheapest(site, grind, fill)
        costs.append(math.inf if isinstance(found, Conflict) else found.cost)
        if isinstance(found, Conflict):
            continue
        assert rejudged(site, found.fill_mm, found.grind_mm)[1].outcome is Outcome.WITHIN
        most = np.minimum(site.most_fill_mm, patch.most_mm) if fill else 0.0
        assert np.all((found.fill_mm >= 0) & (found.fill_mm <= most + 1e-9))
        assert np.all(found.grind_mm >= 0)
        assert np.all(found.grind_mm <= (site.most_grind_mm if grind else 0.0) + 1e-9)
    assert costs[0] <= min(costs[1:]) * (1 + 1e-7)


def test_a_floor_that_is_within_takes_no_work() -> None:
    """A floor that is within as it is, however narrowly, costs nothing: no room for placing."""
    z = np.zeros((3, 5))
    z[1, 2] = -2.7
    site = site_of(slab(z, correction={"placing": "2 mm"}))
    assert site.assessment.verdict.outcome is Outcome.WITHIN
    found = cheapest(site, True, site.terms.patch)
    assert isinstance(found, Correction)
    assert (found.cost, found.least_cost) == (0, 0)
    assert not (found.fill_mm + found.grind_mm).any()


@pytest.mark.parametrize("ratio", [1 / 100, 1 / 150])
def test_feather(ratio: float) -> None:
    """No edge of what is filled or ground is steeper than it may be."""
    z = np.zeros((5, 9))
    z[2, 4] = -6.0
    site = site_of(slab(z, correction={"feather": f"1:{1 / ratio:g}", "placing": 0}))
    found = cheapest(site, False, site.terms.patch)
    assert isinstance(found, Correction)
    change = found.fill_mm - found.grind_mm
    one, other = site.edges.T
    apart = np.hypot(*(site.floor.xy_mm[one] - site.floor.xy_mm[other]).T)
    steepest = np.max(np.abs(change[one] - change[other]) / apart)
    assert steepest <= ratio * (1 + 1e-6)
    loose = cheapest(site_of(slab(z, correction={"placing": 0})), False, site.terms.patch)
    assert isinstance(loose, Correction)
    assert found.cost >= loose.cost * (1 - 1e-9)


@pytest.mark.parametrize("kind", ["best fit", "level"])
@pytest.mark.parametrize("decision", ["allowing for reading error", "as read"])
def test_depth_below_a_plane(kind: str, decision: str) -> None:
    """Depths below the required plane are mended too, and a plane that tilts with them is followed.

    Only where the plane keeps its tilt is the cost proven to be the least.
    """
    site = site_of(
        slab(
            rough(7, 8, 3, 0.8),
            step=150,
            intent={"kind": kind},
            tile={"length": "24 in", "width": "24 in"},
            standard={"rule": "us-tile:plane", "decision": decision},
            instrument={"uncertainty": "0.05 mm"},
            correction={"placing": "0.1 mm"},
        )
    )
    assert site.assessment.verdict.outcome is Outcome.OUT
    assert site.linear == (kind == "level")
    found = cheapest(site, True, site.terms.patch)
    assert isinstance(found, Correction)
    assert rejudged(site, found.fill_mm, found.grind_mm)[1].outcome is Outcome.WITHIN


def test_placing_counts_once() -> None:
    """Measured again after the work, a demand allows for as much as before: the search ends.

    One program is enough where the rules are linear: the least of it is the least there is.
    """
    site = site_of(slab(rough(5, 6, 1, 1.5), correction={"placing": "0.5 mm"}))
    found = cheapest(site, True, site.terms.patch)
    assert isinstance(found, Correction)
    want = by_one_program(site, True, True)
    assert want is not None
    assert found.cost == pytest.approx(want, rel=1e-6)


def test_demands_are_measured_once() -> None:
    """All remedies share what the rules ask of the floor as it is."""
    site = site_of(slab(rough(4, 5, 1)))
    assert site.demands is site.demands


def test_stopped_at_once() -> None:
    """A search that is stopped gives a correction, or says by how much it fails: no endless rounds.

    What it gives keeps all bounds.
    """
    for seed in range(4):
        plain = site_of(slab(rough(5, 6, seed, 2.0)))
        site = Site(plain.assessment, plain.terms, stop=lambda: True)
        found = cheapest(site, True, site.terms.patch)
        assert isinstance(found, Correction)
        assert np.all(found.fill_mm <= site.terms.patch.most_mm + 1e-9)
        assert np.all(found.grind_mm <= site.most_grind_mm + 1e-9)
        after = rejudged(site, found.fill_mm, found.grind_mm)[1].outcome
        assert after is Outcome.WITHIN or found.excess_mm > 0
