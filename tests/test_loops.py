"""Loops: misclosures added up by hand, and a full set of them for every network."""

import itertools
import math

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.loops import Loop, loops
from flatcheck.network import network
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]

P, Q, R, S = (0.0, 0.0), (1000.0, 0.0), (1000.0, 1000.0), (0.0, 1000.0)


def rod(at: Place, height: float, setup: str, u: float = 0.5) -> Reading:
    return Reading(*at, height, u, setup, "", "", "rod")


def tilt(start: Place, end: Place, rise: float, u: float = 0.3) -> Tilt:
    return Tilt(start, end, rise, u, "", "")


def mark(at: Place, height: float, u: float = 0.0) -> Benchmark:
    return Benchmark(*at, height, u, "", "")


def found(seen: list[Observation]) -> tuple[Loop, ...]:
    return loops(network(seen), seen)


def test_a_loop_over_three_setups() -> None:
    """From place to place through three setups and back: the rises add up to the misclosure."""
    seen: list[Observation] = [
        rod(P, -1400, "A", 0.3),
        rod(Q, -1402, "A", 0.4),
        rod(Q, -1300, "B", 0.5),
        rod(R, -1297, "B", 0.6),
        rod(R, -1500, "C", 0.7),
        rod(P, -1504, "C", 0.8),
    ]
    # Q lies 2 below P by A, R 3 above Q by B, P 4 below R by C: back at P 3 too low.
    (loop,) = found(seen)
    assert loop.readings == (1, 2, 3, 4, 5, 6)
    assert abs(loop.misclosure_mm) == pytest.approx(abs(-2 + 3 - 4))
    assert loop.u_mm == pytest.approx(
        math.sqrt(0.3**2 + 0.4**2 + 0.5**2 + 0.6**2 + 0.7**2 + 0.8**2)
    )


def test_the_order_of_readings_leaves_the_loop() -> None:
    """Written in any order the readings make the same loop, told by their new numbers."""
    seen = [
        rod(P, -1400, "A"),
        rod(Q, -1402, "A"),
        rod(Q, -1300, "B"),
        rod(R, -1297, "B"),
        rod(R, -1500, "C"),
        rod(P, -1504, "C"),
        rod(S, -1504, "C"),
    ]
    for order in itertools.islice(itertools.permutations(range(7)), 0, 5040, 71):
        (loop,) = found([seen[i] for i in order])
        assert sorted(order[k - 1] for k in loop.readings) == [0, 1, 2, 3, 4, 5]
        assert abs(loop.misclosure_mm) == pytest.approx(3)


def test_two_places_read_from_two_setups() -> None:
    """Two ties say twice how two setups stand to each other; the loop is the difference."""
    seen = [rod(P, 10, "A"), rod(Q, 12, "A"), rod(P, 110, "B"), rod(Q, 115, "B")]
    (loop,) = found(seen)
    assert loop.readings == (1, 2, 3, 4)
    assert abs(loop.misclosure_mm) == pytest.approx(abs((12 - 10) - (115 - 110)))
    assert loop.u_mm == pytest.approx(2 * 0.5)


@pytest.mark.parametrize("size", [2, 3, 5])
def test_a_level_net_closes(size: int) -> None:
    """Tilts along all sides of a grid of squares have a loop for every square, all closed."""
    rng = np.random.default_rng(size)
    z = rng.normal(0, 5, (size, size))
    seen: list[Observation] = []
    for i in range(size):
        for j in range(size):
            for k, m in ((i + 1, j), (i, j + 1)):
                if k < size and m < size:
                    here, there = (600.0 * i, 600.0 * j), (600.0 * k, 600.0 * m)
                    seen.append(tilt(here, there, z[k, m] - z[i, j]))
    every = found(seen)
    assert len(every) == (size - 1) ** 2
    assert all(abs(loop.misclosure_mm) < 1e-9 for loop in every)
    assert all(loop.u_mm == pytest.approx(0.3 * math.sqrt(len(loop.readings))) for loop in every)
    assert all(len(loop.readings) >= 4 for loop in every)


@pytest.mark.parametrize("turned", list(itertools.product([1, -1], repeat=3)))
def test_a_triangle_of_tilts(turned: tuple[int, ...]) -> None:
    """A tilt taken against the way round counts with the other sign."""
    sides = ((P, Q, 1.0), (Q, R, 2.5), (R, P, -3.0))
    seen: list[Observation] = [
        tilt(a, b, rise) if way > 0 else tilt(b, a, -rise)
        for (a, b, rise), way in zip(sides, turned, strict=True)
    ]
    (loop,) = found(seen)
    assert abs(loop.misclosure_mm) == pytest.approx(1.0 + 2.5 - 3.0)
    assert loop.readings == (1, 2, 3)


def test_a_tilt_across_rod_readings() -> None:
    """A level laid between two places read by the rod closes a loop of three."""
    seen = [rod(P, -1400, "A", 0.4), rod(Q, -1398, "A", 0.4), tilt(P, Q, 2.6, 0.3)]
    (loop,) = found(seen)
    assert loop.readings == (1, 2, 3)
    assert abs(loop.misclosure_mm) == pytest.approx(0.6)
    assert loop.u_mm == pytest.approx(math.sqrt(0.4**2 + 0.4**2 + 0.3**2))


def test_two_benchmarks() -> None:
    """Between two benchmarks a setup that read both must find the difference of their heights."""
    seen = [mark(P, 100, 0.3), mark(Q, 105, 0.4), rod(P, -1400, "A"), rod(Q, -1396, "A")]
    (loop,) = found(seen)
    assert loop.readings == (1, 2, 3, 4)
    assert abs(loop.misclosure_mm) == pytest.approx((105 - 100) - (1400 - 1396))
    assert loop.u_mm == pytest.approx(math.sqrt(0.3**2 + 0.4**2 + 2 * 0.5**2))


def test_a_place_read_twice() -> None:
    """Two readings of one place from one setup are the shortest loop there is."""
    (loop,) = found([rod(P, 10, "A"), rod(P, 10.8, "A"), rod(Q, 3, "A")])
    assert loop.readings == (1, 2)
    assert abs(loop.misclosure_mm) == pytest.approx(0.8)
    assert loop.u_mm == pytest.approx(math.sqrt(2) * 0.5)


def test_the_worst_comes_first() -> None:
    """Loops are told by how many of their own u they miss, not by millimeters."""
    far = (9000.0, 0.0)
    seen = [
        rod(P, 0, "A", 2.0),
        rod(P, 3.0, "A", 2.0),
        rod(Q, 0, "A", 0.1),
        rod(Q, 1.0, "A", 0.1),
        rod(far, 0, "B", 0.5),
        rod(far, 0.1, "B", 0.5),
    ]
    every = found(seen)
    assert [loop.readings for loop in every] == [(3, 4), (1, 2), (5, 6)]


@pytest.mark.parametrize("seed", range(20))
def test_as_many_loops_as_readings_to_spare(seed: int) -> None:
    """There is one loop for every difference beyond a tree, and each closes on a true floor."""
    rng = np.random.default_rng(seed)
    places = [(500.0 * i, 400.0 * j) for i in range(4) for j in range(3)]
    z = dict(zip(places, rng.normal(0, 4, 12), strict=True))
    level = dict(zip("ABC", rng.normal(0, 500, 3), strict=True))
    seen: list[Observation] = []
    for _ in range(30):
        one, other = (places[i] for i in rng.choice(12, 2, replace=False))
        kind = rng.integers(3)
        if kind == 0:
            setup = "ABC"[rng.integers(3)]
            seen.append(rod(one, z[one] + level[setup], setup))
        elif kind == 1:
            seen.append(tilt(one, other, z[other] - z[one]))
        else:
            seen.append(mark(one, z[one], 0.2))
    net = network(seen)
    every = loops(net, seen)
    ends = np.zeros((len(seen), net.matrix.shape[1] + 1))
    ends[:, :-1] = net.matrix.toarray()
    ends[:, -1] = [-1.0 if isinstance(s, Benchmark) else 0.0 for s in seen]
    # A loop is a combination of the readings in which every unknown cancels.
    assert len(every) == len(seen) - np.linalg.matrix_rank(ends)
    assert all(abs(loop.misclosure_mm) < 1e-9 for loop in every)
    members = np.zeros((len(every), len(seen)))
    for k, loop in enumerate(every):
        members[k, np.array(loop.readings) - 1] = 1
    # Independent: no loop is told twice, and each has a reading of its own at the end of a tree.
    assert len({loop.readings for loop in every}) == len(every)
    assert np.linalg.matrix_rank(members) == len(every)


def test_gaps_make_no_loops() -> None:
    """A gap is no difference between two places: bars that cross have checks, but no loops."""
    bars: list[Observation] = [
        Gap(a, b, s * 1000, 1.0, 0.2, name, None, "", "")
        for name, a, b in (("1", P, Q), ("2", P, Q), ("3", S, R))
        for s in (0.0, 0.5, 1.0)
    ]
    assert found(bars) == ()


def test_no_loop_in_a_tree() -> None:
    """Where every place was read once, or setups share one place, nothing closes."""
    assert found([rod(P, 0, "A"), rod(Q, 1, "A"), rod(Q, 5, "B"), rod(R, 6, "B")]) == ()
