"""Least work: what it may do, what it must not, and how it says that it cannot."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatcheck.demand import MET_MM, Demand, demand, feather
from flatcheck.leastwork import Conflict, Correction, Work, cost_of, least_work, to_plane
from flatcheck.room import Room, rectangle
from flatcheck.rules import Limit, limit_at
from flatcheck.straightedge import bars
from flatcheck.surface import Lines, lines, surface

Floats = npt.NDArray[np.float64]

STEP_MM = 300.0


def grid(rows: int, columns: int, seed: int = 0, rough_mm: float = 3.0) -> tuple[Floats, Floats]:
    """Places and heights of a rough floor read on a grid."""
    x, y = np.meshgrid(np.arange(columns) * STEP_MM, np.arange(rows) * STEP_MM)
    z = np.random.default_rng(seed).normal(0, rough_mm, x.size)
    return np.column_stack((x.ravel(), y.ravel())), z


def families_of(xy: Floats, z: Floats) -> tuple[Lines, ...]:
    """The lines of readings over a floor with walls at its outer readings."""
    (west, south), (east, north) = xy.min(axis=0), xy.max(axis=0)
    room = Room(rectangle(west, south, east, max(north, south + STEP_MM)))
    return lines(surface(room, xy, z, np.ones(len(z)), [""] * len(z)))


def asked(
    xy: Floats, z: Floats, length_mm: float | None, limit_mm: float, **more: object
) -> Demand:
    """What a resting bar asks of a floor."""
    found = bars(families_of(xy, z), z, length_mm)
    return demand("bar", found.stations, found.weights, found.gap_mm, limit_mm, **more)  # type: ignore[arg-type]


def work(
    xy: Floats,
    z: Floats,
    fill: Floats | float = np.inf,
    grind: Floats | float = np.inf,
    costs: tuple[float, float] = (1.0, 1.5),
) -> Work:
    """Work at the same price everywhere."""
    whole = np.ones(len(z))
    return Work(xy, z, costs[0] * whole, costs[1] * whole, fill * whole, grind * whole)


def done(found: Correction | Conflict) -> Correction:
    """The correction, where there is one."""
    assert isinstance(found, Correction)
    return found


def correction(found: Correction | Conflict) -> Floats:
    """Fill less grinding."""
    return done(found).fill_mm - done(found).grind_mm


def line(*z: float) -> tuple[Floats, Floats]:
    """Places one step apart in a row, and their heights."""
    return np.column_stack((np.arange(len(z)) * STEP_MM, np.zeros(len(z)))), np.array(z)


@pytest.mark.parametrize(("fill", "grind"), [(1.0, 1.0), (1.0, 0.4), (3.0, 1.0), (1.0, 0.5001)])
def test_one_bar(fill: float, grind: float) -> None:
    """Under one bar a gap v too wide costs v of fill, or 2v of grinding at a contact."""
    xy, z = line(0, -5, 0)
    found = done(least_work(work(xy, z, costs=(fill, grind)), [asked(xy, z, None, 2.0)]))
    assert found.cost == pytest.approx(3 * min(fill, 2 * grind))
    assert found.proven
    assert not np.any((found.fill_mm > 0) & (found.grind_mm > 0))


def test_a_floor_that_is_within_is_left_alone() -> None:
    """Where no demand is broken nothing is done, at no cost, and no program is solved."""
    xy, z = line(0, -1, 0, -1)
    found = done(least_work(work(xy, z), [asked(xy, z, None, 2.0)]))
    assert (found.cost, found.least_cost, found.rounds, found.proven) == (0, 0, 0, True)


def test_no_demands() -> None:
    """Nothing asked, nothing done."""
    found = done(least_work(work(*line(0, -9, 0)), []))
    assert found.cost == 0
    assert found.proven


@pytest.mark.parametrize("seed", range(4))
def test_margin_is_kept(seed: float) -> None:
    """With a margin every bar stays that far within its limit, and it never costs less."""
    xy, z = grid(6, 7, int(seed))
    near, far = (
        done(least_work(work(xy, z), [asked(xy, z, 1300, 3.0, margin_mm=m)])) for m in (0.0, 0.7)
    )
    after = bars(families_of(xy, z), z + far.fill_mm - far.grind_mm, 1300)
    assert after.gap_mm.max() <= 2.3 + 2 * MET_MM
    assert far.cost > near.cost


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.5, 4.0), st.floats(0.2, 5.0), st.booleans())
def test_corrected_floor_measured_again(
    seed: int, limit_mm: float, grind_cost: float, two_rules: bool
) -> None:
    """Bars laid on the corrected floor find no gap over its limit, and bounds are kept."""
    xy, z = grid(5, 6, seed)
    rng = np.random.default_rng(seed)
    most_fill, most_grind = rng.uniform(6, 30, (2, len(z)))
    lengths = ((1300.0, limit_mm), (700.0, limit_mm / 2))[: 1 + two_rules]
    asks = [asked(xy, z, length, limit) for length, limit in lengths]
    found = least_work(work(xy, z, most_fill, most_grind, (1.0, grind_cost)), asks)
    if isinstance(found, Conflict):
        assert found.short_mm > 0
        return
    assert found.proven
    assert np.all(found.fill_mm <= most_fill + 1e-9)
    assert np.all(found.grind_mm <= most_grind + 1e-9)
    for length, limit in lengths:
        after = bars(families_of(xy, z), z + found.fill_mm - found.grind_mm, length)
        assert after.gap_mm.max() <= limit + 2 * MET_MM


@pytest.mark.parametrize("seed", range(5))
def test_resting_bars_are_enough(seed: int) -> None:
    """Where the limit grows with the span, bars that rest are within just where all are."""
    limit = Limit(((300.0, 0.6), (1000.0, 2.0), (4000.0, 5.0)))
    xy, z = grid(5, 9, seed, rough_mm=1.5)
    families = families_of(xy, z)
    found = bars(families, z, None)
    ask = demand(
        "table", found.stations, found.weights, found.gap_mm, limit_at(limit, found.span_mm)
    )
    fixed = correction(least_work(work(xy, z), [ask]))
    tight = np.linspace(0.9, 1.1, 21)  # through the edge of what is within
    for share in tight:
        after = bars(families, z + share * fixed, None)
        over = after.gap_mm - limit_at(limit, after.span_mm) > 1e-6
        assert over[after.rests].any() == over.any()


def test_fill_only_is_the_lowest_floor_that_will_do() -> None:
    """Without grinding the answer is, at any price, the lowest of all floors that meet the bars.

    Raising every place onto the chords above it again and again leads to that floor from below.
    """
    xy, z = grid(6, 6, 3)
    ask = asked(xy, z, 1300, 2.0)
    raised = z.copy()
    for _ in range(2000):
        left, place, right = (raised[ask.stations[:, k]] for k in range(3))
        low = ask.weights[:, 0] * left + ask.weights[:, 2] * right - 2.0
        np.maximum.at(raised, ask.stations[:, 1], np.where(low > place, low, -np.inf))
    priced = Work(
        xy,
        z,
        np.random.default_rng(0).uniform(1, 9, len(z)),
        np.ones(len(z)),
        np.full(len(z), np.inf),
        np.zeros(len(z)),
    )
    np.testing.assert_allclose(z + correction(least_work(priced, [ask])), raised, atol=1e-6)


def test_places_that_must_not_change() -> None:
    """Heights that must not change do not, and what was to be done there is done beside them."""
    xy, z = line(0, -5, 0)
    most = np.array([np.inf, 0.0, np.inf])
    found = least_work(work(xy, z, most, most), [asked(xy, z, None, 2.0)])
    assert correction(found)[1] == 0
    assert done(found).cost == pytest.approx(2 * 3 * 1.5)


def test_blocks_bound_both_sides() -> None:
    """A crown under a bar on blocks is lowered as a dip is filled."""
    xy, z = line(0, 5, 0)
    found = bars(families_of(xy, z), z, None)
    both = demand("blocks", found.stations, found.weights, found.gap_mm, 2.0, both_sides=True)
    assert correction(least_work(work(xy, z, fill=0.0), [both])) == pytest.approx([0, -3, 0])
    assert done(least_work(work(xy, z), [asked(xy, z, None, 2.0)])).cost == 0


def test_feather() -> None:
    """A place raised by 4 mm takes 16 in all where a step may differ by 1 mm: 4 + 2 (3 + 2 + 1)."""
    xy, z = line(*np.zeros(11))
    edges = np.column_stack((np.arange(10), np.arange(1, 11)))
    up = Demand("up", np.array([[5]]), np.array([[-1.0]]), np.array([-4.0]))
    gentle = feather("feather", xy, edges, 1 / STEP_MM)
    assert done(least_work(work(xy, z), [up])).cost == pytest.approx(4)
    fixed = correction(least_work(work(xy, z), [up, gentle]))
    assert fixed == pytest.approx([0, 0, 1, 2, 3, 4, 3, 2, 1, 0, 0], abs=1e-7)


def test_to_plane_is_the_cheapest_height() -> None:
    """Of all heights of the best plane, in steps of a hundredth, none in bounds costs less."""
    xy, z = grid(4, 5, 2)
    for most_grind in (np.inf, 5.0):
        here = work(xy, z, fill=11.0, grind=most_grind, costs=(1.0, 1.7))
        plane = to_plane(here)
        assert plane is not None
        base = np.column_stack((xy, np.ones(len(z))))
        assert np.linalg.lstsq(base, z + plane)[1] == pytest.approx(0, abs=1e-12)
        shifts = np.arange(-20, 20, 0.01)[:, None] + plane
        allowed = np.all((shifts <= 11.0) & (shifts >= -most_grind), axis=1)
        assert cost_of(here, plane) <= min(cost_of(here, d) for d in shifts[allowed]) + 1e-9
    assert to_plane(work(xy, z, fill=0.1, grind=0.1)) is None


def test_conflict_names_the_door_and_the_hard_place() -> None:
    """A door that keeps its height, and high places not to be ground, are named with their bar."""
    xy, z = line(0, 4, 0, 0, -5, 0, 0, 4, 0)
    most_fill, most_grind = np.full(9, np.inf), np.full(9, np.inf)
    most_fill[4] = 0.0  # the door
    most_grind[[1, 7]] = 0.0
    ask = asked(xy, z, None, 3.0)
    found = least_work(work(xy, z, most_fill, most_grind), [ask])
    assert isinstance(found, Conflict)
    ((kind, form),) = found.demands
    assert kind == 0
    assert ask.stations[form].tolist() == [1, 4, 7]
    assert found.unground.tolist() == [1, 7]
    assert found.unfilled.tolist() == [4]
    assert found.short_mm == pytest.approx(4 - (-5) - 3.0)


@pytest.mark.parametrize("seed", range(12))
def test_conflict_is_one_and_is_the_least(seed: int) -> None:
    """What is named contradicts itself; without any one demand of it the rest can be met.

    `short_mm` more limit for these demands is just enough to meet them.
    """
    xy, z = grid(4, 6, seed)
    rng = np.random.default_rng(seed)
    most_fill, most_grind = rng.uniform(0, 2.5, (2, len(z)))
    here = work(xy, z, most_fill, most_grind)
    asks = [asked(xy, z, 1600, 1.5), asked(xy, z, 700, 1.0)]
    found = least_work(here, asks)
    assert isinstance(found, Conflict)
    assert found.shares.sum() == pytest.approx(1)

    def of(
        picked: npt.NDArray[np.int64], more_mm: float = 0.0, at: Work = here
    ) -> Correction | Conflict:
        rows = [(asks[kind], form) for kind, form in picked]
        return least_work(
            at,
            [
                Demand(
                    "some",
                    np.array([a.stations[k] for a, k in rows]),
                    np.array([a.weights[k] for a, k in rows]),
                    np.array([a.spare_mm[k] for a, k in rows]) + more_mm,
                )
            ],
        )

    assert isinstance(of(found.demands), Conflict)
    assert isinstance(of(found.demands, found.short_mm - 1e-4), Conflict)
    assert isinstance(of(found.demands, found.short_mm + 1e-4), Correction)
    for left_out in range(len(found.demands)):
        if len(found.demands) > 1:
            rest = np.delete(found.demands, left_out, axis=0)
            assert isinstance(of(rest), Correction)
    free = np.arange(len(z))
    for station in found.unfilled:
        more = np.where(free == station, np.inf, most_fill)
        assert isinstance(of(found.demands, at=work(xy, z, more, most_grind)), Correction)
    for station in found.unground:
        more = np.where(free == station, np.inf, most_grind)
        assert isinstance(of(found.demands, at=work(xy, z, most_fill, more)), Correction)


def test_some_conflicts_take_many_bars() -> None:
    """Bars that could be met one by one may contradict each other together."""
    sizes = []
    for seed in range(40):
        xy, z = grid(4, 6, seed, rough_mm=2.0)
        found = least_work(work(xy, z, 1.2, 1.2), [asked(xy, z, 1600, 0.7)])
        if isinstance(found, Conflict):
            sizes.append(len(found.demands))
    assert max(sizes) > 1


@pytest.mark.parametrize("bounds", [(np.inf, np.inf), (14.0, 3.0), (9.0, 9.0)])
def test_stopped_with_the_best_so_far(bounds: tuple[float, float]) -> None:
    """Stopped after any round, what is returned meets every demand and its bounds enclose."""
    xy, z = grid(10, 10, 1)
    here, asks = work(xy, z, *bounds), [asked(xy, z, 1600, 2.0)]
    told: list[tuple[int, int, float, float]] = []
    whole = done(least_work(here, asks, lambda *news: told.append(news)))
    assert whole.proven
    assert len(told) > 2
    for last in range(whole.rounds):
        seen: list[int] = []
        part = done(
            least_work(
                here, asks, lambda *news, s=seen: s.append(news[0]), lambda s=seen, n=last: n in s
            )
        )
        assert part.rounds == last
        assert part.excess_mm <= MET_MM
        assert part.least_cost <= whole.cost * (1 + 1e-9) <= part.cost * (1 + 2e-9)
        assert not part.proven


def test_bounds_close_in() -> None:
    """The lower bound never falls, the upper never rises, and both end at the cost."""
    xy, z = grid(10, 10, 4)
    told: list[tuple[int, int, float, float]] = []
    found = done(
        least_work(work(xy, z), [asked(xy, z, 1600, 2.0)], lambda *news: told.append(news))
    )
    rounds, broken, low, high = np.array(told).T
    assert np.all(np.diff(low) >= 0)
    assert np.all(np.diff(high) <= 0)
    assert np.all(low <= high * (1 + 1e-9))
    assert rounds.tolist() == list(range(found.rounds + 1))
    assert broken[-1] == 0
    assert (low[-1], high[-1]) == (found.least_cost, found.cost)


def test_stopped_before_anything_is_known() -> None:
    """Stopped while no correction that meets all is known, it says how far it is from one."""
    xy, z = line(0, 4, 0, 0, -5, 0, 0, 4, 0)
    most = np.array([7.0, 7, 7, 7, 0, 7, 7, 7, 7])  # no plane fits, and no fill at the door
    asks = [asked(xy, z, None, 3.0)]
    found = done(least_work(work(xy, z, most, most), asks, stop=lambda: True))
    assert found.excess_mm == pytest.approx(6.0)
    assert not found.proven
    assert done(least_work(work(xy, z, most, most), asks)).proven


@pytest.mark.parametrize(
    "changed",
    [
        {"fill_cost": [-1.0]},
        {"grind_cost": [np.nan]},
        {"most_fill_mm": [-1.0]},
        {"grind_cost": [0.0], "most_grind_mm": [np.inf]},
    ],
)
def test_impossible_work(changed: dict[str, list[float]]) -> None:
    """Negative costs and bounds, and free work without end, are refused."""
    plain = {"fill_cost": [1.0], "grind_cost": [1.0], "most_fill_mm": [1.0], "most_grind_mm": [1.0]}
    arrays = {key: np.array(value) for key, value in (plain | changed).items()}
    with pytest.raises(ValueError, match=r"bound"):
        Work(np.zeros((1, 2)), np.zeros(1), **arrays)
