"""Readings to heights: against the full least squares problem, solved by another solver."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import binom, chi2, norm

from flatcheck.adjust import REPEAT_U, Adjusted, adjust
from flatcheck.errors import SurveyError
from flatcheck.misread import CHECKED, SIGNIFICANCE
from flatcheck.network import EXACT_MM, network
from flatcheck.surface import SAME_PLACE_MM, decided, variance
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]


def inches(mm: float) -> str:
    """A length as written in decimal inches."""
    return f"{mm / 25.4:.9f}"


def reading(
    x: float, y: float, height: float, setup: str = "A", u: float = 0.5, where: str = ""
) -> Reading:
    return Reading(
        x,
        y,
        height,
        u,
        setup,
        where or f"{setup} at {x:g}, {y:g}",
        inches(height),
        unit="in",
    )


def full_solution(readings: list[Reading]) -> tuple[Floats, Floats]:
    """Adjusted and their covariance from the whole design matrix, setups as unknowns, by lstsq."""
    places = list(dict.fromkeys((r.x_mm, r.y_mm) for r in readings))
    setups = list(dict.fromkeys(r.setup for r in readings))[1:]
    design = np.zeros((len(readings), len(places) + len(setups)))
    for row, r in zip(design, readings, strict=True):
        row[places.index((r.x_mm, r.y_mm))] = 1 / r.u_mm
        if r.setup in setups:
            row[len(places) + setups.index(r.setup)] = 1 / r.u_mm
    observed = np.array([r.height_mm / r.u_mm for r in readings])
    solved, _, rank, _ = np.linalg.lstsq(design, observed, rcond=None)
    assert rank == design.shape[1]
    cov = np.linalg.inv(design.T @ design)
    return solved[: len(places)], cov[: len(places), : len(places)]


def dense(heights: Adjusted) -> Floats:
    return heights.cov_mm2 if heights.cov_mm2.ndim == 2 else np.diag(heights.cov_mm2)


def tied(seed: int, setups: str) -> list[Reading]:
    """A strip of 12 places read from several setups that overlap by two places each."""
    rng = np.random.default_rng(seed)
    floor = rng.normal(0, 2, 12)
    level = dict(zip(setups, rng.uniform(-2000, 2000, len(setups)), strict=True))
    share = 12 // len(setups)
    return [
        reading(i * 400, 0, floor[i] + level[s] + rng.normal(0, 0.3), s, rng.uniform(0.2, 1))
        for n, s in enumerate(setups)
        for i in range(max(n * share - 2, 0), (n + 1) * share)
    ]


@pytest.mark.parametrize("setups", ["A", "AB", "ABC", "ABCD"])
def test_equals_the_full_least_squares(setups: str) -> None:
    """Adjusted and covariance are those of the full problem with one unknown for each setup."""
    for seed in range(5):
        readings = tied(seed, setups)
        found = adjust(readings)
        height, cov = full_solution(readings)
        assert found.height_mm == pytest.approx(height, abs=1e-8)
        assert dense(found) == pytest.approx(cov, abs=1e-10)


def test_setups_in_a_ring() -> None:
    """Three setups, each tied to the next and the last to the first, share out the misclosure."""
    readings = [
        reading(0, 0, 0, "A"),
        reading(1000, 0, 1, "A"),
        reading(1000, 0, 501, "B"),
        reading(2000, 0, 502, "B"),
        reading(2000, 0, -98, "C"),
        reading(0, 0, -103, "C"),
    ]
    height, cov = full_solution(readings)
    found = adjust(readings)
    assert found.height_mm == pytest.approx(height, abs=1e-9)
    # One reading to spare, and it misses by 3 mm where 0.5 mm √6 is stated: what shows is used.
    shown = found.fit.sigma0**2
    assert shown == pytest.approx(9 / (6 * 0.25))
    assert dense(found) == pytest.approx(cov * shown, rel=1e-9)
    assert found.height_mm != pytest.approx([0, 1, 2])  # the ring does not close, by 3 mm


def test_the_order_of_readings_does_not_matter() -> None:
    """In another order the places have the same heights, but for one height common to all."""
    readings = tied(3, "ABC")
    found = adjust(readings)
    by_place = dict(zip(map(tuple, found.xy_mm), found.height_mm, strict=True))
    for seed in range(5):
        order = np.random.default_rng(seed).permutation(len(readings))
        again = adjust([readings[i] for i in order])
        other = np.array([by_place[tuple(xy)] for xy in again.xy_mm])
        assert np.ptp(again.height_mm - other) == pytest.approx(0, abs=1e-9)


def test_repeats_are_averaged() -> None:
    """A place read n times with u has the mean height and the variance u²/n."""
    seen = [3.0, 3.5, 3.1, 3.2]
    found = adjust([*(reading(0, 0, h) for h in seen), reading(500, 0, 1.0)])
    assert found.height_mm == pytest.approx([np.mean(seen), 1.0])
    assert found.cov_mm2 == pytest.approx([0.5**2 / 4, 0.5**2])


def test_better_readings_weigh_more() -> None:
    """Two readings of a place are weighted by 1/u², and the variance is 1/Σ(1/u²)."""
    found = adjust([reading(0, 0, 1.0, u=0.2), reading(0, 0, 2.0, u=0.4), reading(500, 0, 0)])
    weight = np.array([1 / 0.2**2, 1 / 0.4**2])
    assert found.height_mm[0] == pytest.approx(weight @ [1.0, 2.0] / weight.sum())
    assert found.cov_mm2[0] == pytest.approx(1 / weight.sum())


def test_repeats_that_disagree() -> None:
    """Two readings of one place that differ by more than chance are both named."""
    apart = REPEAT_U * np.hypot(0.5, 0.5)
    adjust([reading(0, 0, 0), reading(0, 0, apart * 0.99), reading(9, 9, 0)])
    with pytest.raises(
        SurveyError, match=r"^c\.csv, row 3: '.*' disagrees with '0.0*' in c\.csv, row"
    ):
        adjust(
            [
                reading(0, 0, 0, where="c.csv, row 2"),
                reading(0, 0, apart * 1.01, where="c.csv, row 3"),
                reading(9, 9, 0),
            ]
        )


def test_repeats_that_drift_apart() -> None:
    """The first and the third reading of a place may not differ by more than chance either."""
    step = REPEAT_U * np.hypot(0.5, 0.5) * 0.9
    with pytest.raises(SurveyError, match="disagrees"):
        adjust([*(reading(0, 0, step * k) for k in range(3)), reading(500, 0, 0)])


def test_a_closing_reading_that_disagrees() -> None:
    """Where the last reading of a setup misses its first the way to take a drift out is named."""
    seen = [reading(0, 0, 0), reading(500, 0, 0), reading(0, 0, 5)]
    with pytest.raises(SurveyError, match=r"from the same setup; .* say warmed_up = true in"):
        adjust(seen)
    with pytest.raises(SurveyError, match=r"from the same setup\.$"):
        adjust([*seen, reading(500, 0, 0)])  # no closing reading


def test_repeats_that_are_a_foot_apart() -> None:
    """What explains the difference of two readings of one place is named with them."""
    with pytest.raises(SurveyError, match=r"from the same setup \(a foot off\?\)\.$"):
        adjust([reading(0, 0, 0), reading(0, 0, 304.8), reading(500, 0, 0)])


def test_repeats_are_told() -> None:
    """A setup that read places again tells how far the worst two of one place are apart."""
    seen = [reading(0, 0, 0), reading(500, 0, 0), reading(0, 0, 1), reading(500, 0, 0.5)]
    (told,) = adjust([*seen, reading(0, 0, -0.5)]).repeats
    assert (told.setup, told.count, told.closing) == ("A", 3, False)
    assert (told.apart_mm, told.u_mm) == (pytest.approx(1.5), pytest.approx(np.hypot(0.5, 0.5)))
    (told,) = adjust(seen[:3]).repeats
    assert (told.count, told.closing, told.apart_mm) == (1, True, pytest.approx(1))
    assert adjust(seen[:2]).repeats == ()


def test_one_place_without_end() -> None:
    """A place that was read 30,000 times takes a second, not hours."""
    seen = [reading(0, 0, 0.1 * (k % 7)) for k in range(30_000)]
    (told,) = adjust([*seen, reading(500, 0, 0)]).repeats
    assert (told.count, told.apart_mm) == (29_999, pytest.approx(0.6))


def three_ties(wrong: str) -> list[Reading]:
    """Two setups on a level floor with three places read from both; one reading there is off."""
    readings = [reading(i * 500, 0, 50 * ((wrong, i) == ("A", 3)), "A") for i in range(5)]
    return readings + [
        reading(i * 500, 0, 100 + 50 * ((wrong, i) == ("B", 3)), "B") for i in range(2, 8)
    ]


@pytest.mark.parametrize("wrong", ["A", "B"])
def test_a_tie_that_does_not_fit(wrong: str) -> None:
    """Of three ties the one that is off by 50 mm is named, and bends no other place."""
    found = adjust(three_ties(wrong))
    assert {s.observation.x_mm for s in found.suspects} == {1500}
    others = found.xy_mm[:, 0] != 1500
    assert found.height_mm[others] == pytest.approx(np.zeros(7), abs=1e-3)


def test_two_readings_that_check_only_each_other() -> None:
    """Where two readings have the same score nothing tells which is wrong: both are named."""
    for wrong in "AB":
        assert {s.number for s in adjust(three_ties(wrong)).suspects} == {4, 7}


def test_setups_without_a_common_place() -> None:
    """Setups that no place ties together are two pieces, each told against its own setup."""
    readings = [reading(0, 0, 1, "A"), reading(500, 0, 42, "B"), reading(900, 0, 3, "A")]
    found = adjust(readings)
    assert found.piece.tolist() == [found.piece[0], 1 - found.piece[0], found.piece[0]]
    assert found.height_mm == pytest.approx([1, 42, 3])
    assert found.cov_mm2 == pytest.approx(np.eye(3) * 0.5**2)
    assert [(name, height) for name, _, height, _ in found.setups] == [("A", 0.0), ("B", 0.0)]


def test_a_chain_of_ties_is_enough() -> None:
    """A setup tied to a setup that is tied to the first is tied, in whatever order they come."""
    readings = [
        reading(0, 0, 0, "A"),
        reading(900, 0, 200, "C"),
        reading(600, 0, 200, "C"),
        reading(600, 0, 100, "B"),
        reading(0, 0, 100, "B"),
    ]
    assert adjust(readings).height_mm == pytest.approx([0, 0, 0], abs=1e-9)


@pytest.mark.parametrize("count", [0, 1])
def test_one_reading_is_no_surface(count: int) -> None:
    """Fewer than two readings are refused, with their number."""
    with pytest.raises(SurveyError, match=f"at least two readings; there is {count}"):
        adjust([reading(0, 0, 1)] * count)


def test_where_is_the_first_reading() -> None:
    """A station is named after the first reading of its place, and stations keep their order."""
    found = adjust(
        [reading(500, 0, 1, where="b"), reading(0, 0, 1, where="a"), reading(500, 0, 1, where="c")]
    )
    assert found.where == ("b", "a")
    assert found.xy_mm.tolist() == [[500, 0], [0, 0]]


@pytest.mark.parametrize("x", [500.0, 12.4])
def test_the_same_place_within_a_hair(x: float) -> None:
    """Offsets that differ by less than SAME_PLACE_MM are one place and tie two setups."""
    near = x + 0.2 * SAME_PLACE_MM
    readings = [reading(x, 0, 0, "A"), reading(900, 0, 0, "A"), reading(near, 0, 7, "B")]
    assert len(adjust(readings).height_mm) == 2


def test_repeats_that_disagree_within_a_hair() -> None:
    """Two readings that make one station are one place: they may not differ by 50 mm either."""
    readings = [reading(500, 0, 0), reading(500.5, 0, 50), reading(900, 0, 0)]
    with pytest.raises(SurveyError, match="disagrees"):
        adjust(readings)


def test_a_big_survey_from_two_setups() -> None:
    """20,000 places from two setups give heights, in the memory of a laptop."""
    code = """
import resource
from flatcheck.adjust import adjust
from flatcheck.survey import Reading
resource.setrlimit(resource.RLIMIT_AS, (2 * 1024**3, 2 * 1024**3))
places = [(i % 150 * 100.0, i // 150 * 100.0) for i in range(20_000)]
readings = [Reading(x, y, x % 7, 0.5, "A" if y < 5000 else "B", "", "") for x, y in places]
found = adjust([*readings, Reading(0.0, 0.0, 90.0, 0.5, "B", "", "")])
off = [h - x % 7 + 90 * (y >= 5000) for h, (x, y) in zip(found.height_mm, found.xy_mm)]
assert len(off) == 20_000
assert max(map(abs, off)) < 1e-6
"""
    done = subprocess.run(
        [sys.executable, "-c", code],
        check=False,
        capture_output=True,
        text=True,
        env={"OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr[-300:]


# Bars, levels and benchmarks

STEP = 500.0


def gap(start: Place, end: Place, along: float, value: float, bar: str, u: float = 0.2) -> Gap:
    return Gap(start, end, along, value, u, bar, None, f"{bar} at {along:g}", inches(value), "in")


def tilt(start: Place, end: Place, rise: float, u: float = 0.3) -> Tilt:
    return Tilt(start, end, rise, u, f"level at {start}", f"{rise:g}")


def mark(at: Place, height: float, u: float = 0.0) -> Benchmark:
    return Benchmark(*at, height, u, f"mark at {at}", inches(height), "in")


def chalk(column: int, row: int) -> list[list[Place]]:
    """Lines of three places over a chalk grid: its rows, its columns and one diagonal."""
    rows = [[((column + i) * STEP, (row + j) * STEP) for i in range(3)] for j in range(3)]
    return [*rows, *map(list, zip(*rows, strict=True)), [rows[k][k] for k in range(3)]]


def rough(lines: list[list[Place]]) -> dict[Place, float]:
    """A floor that is true nowhere, at all places of some lines."""
    rng = np.random.default_rng(1)
    return {place: rng.normal(0, 3) for line in lines for place in line}


def bars(lines: list[list[Place]], z: dict[Place, float], scatter: float = 0.0) -> list[Gap]:
    """A bar laid along each line, resting as it will, a gap read at each of its places."""
    rng = np.random.default_rng(2)
    found = []
    for number, line in enumerate(lines):
        start, end = line[0], line[-1]
        for place in line:
            along = float(np.hypot(place[0] - start[0], place[1] - start[1]))
            value = 4 + number - 0.002 * along - z[place] + rng.normal(0, scatter)
            found.append(gap(start, end, along, value, f"bar {number}"))
    return found


def in_span(directions: Floats, basis: Floats) -> bool:
    """Whether every column of `directions` is a mix of the columns of `basis`."""
    rest = directions - basis @ np.linalg.lstsq(basis, directions, rcond=None)[0]
    return bool(np.abs(rest).max(initial=0.0) < 1e-9)


def plane_over(xy: Floats) -> Floats:
    return np.column_stack((np.ones(len(xy)), (xy - xy.mean(axis=0)) / STEP))


def test_gaps_alone_leave_a_plane_open() -> None:
    """Bars both ways and on a diagonal fix the shape of a floor, and neither height nor slope."""
    lines = chalk(0, 0)
    z = rough(lines)
    found = adjust(bars(lines, z))
    truth = np.array([z[(x, y)] for x, y in found.xy_mm])
    assert found.free.shape == (9, 3)
    assert in_span(found.free, plane_over(found.xy_mm))
    assert np.abs(found.free).max(axis=0) == pytest.approx([1, 1, 1])
    assert in_span((found.height_mm - truth)[:, None], plane_over(found.xy_mm))
    assert set(found.piece.tolist()) == {0}
    assert found.setups == ()


def test_what_gaps_decide_is_the_same_from_any_datum() -> None:
    """A form that no free direction moves has the value and u of the minimum-norm solution."""
    lines = chalk(0, 0)
    seen = bars(lines, rough(lines), scatter=0.1)
    found, net = adjust(seen), network(seen)
    assert found.suspects == ()
    inverse = np.linalg.pinv(net.matrix.toarray() / net.u[:, None])
    least, cov = inverse @ (net.value / net.u), inverse @ inverse.T
    number = {(x, y): k for k, (x, y) in enumerate(found.xy_mm)}
    chords = np.array([[number[place] for place in line] for line in lines])
    weights = np.tile([0.5, -1.0, 0.5], (len(lines), 1))
    assert decided(found.free, chords, weights).all()
    told = np.sum(weights * found.height_mm[chords], axis=1)
    assert told == pytest.approx(np.sum(weights * least[chords], axis=1), abs=1e-8)
    expected = variance(cov[:9, :9], chords, weights)
    assert variance(found.cov_mm2, chords, weights) == pytest.approx(expected, rel=1e-6)
    assert not decided(found.free, np.arange(9)[:, None], np.ones((9, 1))).any()


@pytest.mark.parametrize(
    ("column", "row", "free"),
    [(10, 0, 6), (2, 2, 5), (2, 0, 4), (1, 0, 3)],
    ids=["apart", "a pin", "a hinge", "joined"],
)
def test_two_patches_of_bars(column: int, row: int, free: int) -> None:
    """Two stiff patches move as two planes; a shared place takes one freedom, an edge takes two.

    Two that share all places of one edge still fold along it: how many are read there is no help.
    """
    lines = [*chalk(0, 0), *chalk(column, row)]
    found = adjust(bars(lines, rough(lines)))
    assert found.free.shape[1] == free
    assert in_span(plane_over(found.xy_mm), found.free)
    assert len(set(found.piece.tolist())) == (2 if free == 6 else 1)


@pytest.mark.parametrize(("overlap", "free"), [(1, 3), (2, 2), (3, 2)])
def test_two_bars_in_line(overlap: int, free: int) -> None:
    """End to end two bars fold where they meet; it takes two places under both to join them."""
    row = [(i * STEP, 0.0) for i in range(8)]
    lines = [row[:4], row[4 - overlap : 8 - overlap]]
    found = adjust(bars(lines, rough(lines)))
    assert found.free.shape[1] == free
    assert in_span(found.free, plane_over(found.xy_mm)[:, :2]) is (free == 2)


@pytest.mark.parametrize("slope", [0.0, 0.004, -0.011])
def test_levels_tell_the_slope(slope: float) -> None:
    """A level laid east leaves two freedoms of three; one laid north as well leaves the height."""
    lines = chalk(0, 0)
    z = {place: h + slope * (place[0] - 2 * place[1]) for place, h in rough(lines).items()}
    (a, b), (c, d) = ((0.0, 0.0), (2 * STEP, 0.0)), ((STEP, 0.0), (STEP, 2 * STEP))
    east, north = tilt(a, b, z[b] - z[a]), tilt(c, d, z[d] - z[c])
    assert adjust([*bars(lines, z), east]).free.shape[1] == 2
    found = adjust([*bars(lines, z), east, north])
    assert found.free.shape == (9, 1)
    assert in_span(found.free, np.ones((9, 1)))
    truth = np.array([z[(x, y)] for x, y in found.xy_mm])
    assert np.ptp(found.height_mm - truth) == pytest.approx(0, abs=1e-9)


def test_two_levels_one_way_tell_one_slope() -> None:
    """However many levels lie east, how the floor falls to the north stays open."""
    lines = chalk(0, 0)
    z = rough(lines)
    levels = [tilt((0.0, y), (2 * STEP, y), z[(2 * STEP, y)] - z[(0.0, y)]) for y in (0.0, STEP)]
    found = adjust([*bars(lines, z), *levels])
    across = np.column_stack((np.ones(9), found.xy_mm[:, 1] / STEP))
    assert found.free.shape == (9, 2)
    assert in_span(found.free, across)


def test_an_exact_benchmark_is_the_datum() -> None:
    """Heights are told from an exact benchmark: its own place is exact, a rod reads the others."""
    found = adjust(
        [
            reading(0, 0, -1400, "A"),
            reading(500, 0, -1397, "A"),
            reading(900, 0, -1401, "A", u=0.2),
            mark((0.0, 0.0), 100.0),
        ]
    )
    assert found.free.shape == (3, 0)
    assert found.height_mm == pytest.approx([100, 103, 99], abs=1e-6)
    # From the rod on the benchmark and the rod on the place: u² adds up.
    expected = np.array([[0, 0, 0], [0, 2 * 0.5**2, 0.5**2], [0, 0.5**2, 0.5**2 + 0.2**2]])
    assert found.cov_mm2 == pytest.approx(expected, abs=2 * EXACT_MM**2)


def test_benchmarks_weigh_by_their_uncertainty() -> None:
    """Two benchmarks give the datum as their weighted mean, each with the rod read on it."""
    marks = ((0.0, 100.0, 0.3), (500.0, 105.0, 0.6))
    rods = (-1400.0, -1396.0)  # the rod says 4 mm between them, the benchmarks 5 mm
    found = adjust(
        [
            *(reading(x, 0, rod, "A") for (x, _, _), rod in zip(marks, rods, strict=True)),
            reading(900, 0, -1390, "A"),
            *(mark((x, 0.0), height, u) for x, height, u in marks),
        ]
    )
    weight = np.array([1 / (u**2 + 0.5**2) for _, _, u in marks])
    level = np.array([height - rod for (_, height, _), rod in zip(marks, rods, strict=True)])
    datum = float(weight @ level / weight.sum())
    assert found.suspects == ()
    assert found.height_mm[2] == pytest.approx(datum - 1390)
    assert found.cov_mm2[2, 2] == pytest.approx(1 / weight.sum() + 0.5**2)
    assert found.fit.redundancy == 1
    miss = (level[0] - level[1]) ** 2 / (1 / weight).sum()
    assert found.fit.sigma0**2 == pytest.approx(miss)


def test_a_bar_on_blocks_is_known_to_the_floor() -> None:
    """On blocks one gap tells how far a place lies under the line between the feet, and no more."""
    feet, places = ((0.0, 0.0), (2000.0, 0.0)), (500.0, 1200.0)
    seen = [
        Gap(*feet, along, value, 0.2, "bar", 20.0, "", "")
        for along, value in zip(places, (1.5, -2.0), strict=True)
    ]
    found = adjust(seen)
    number = {x: k for k, (x, _) in enumerate(found.xy_mm)}
    for along, value in zip(places, (1.5, -2.0), strict=True):
        share = along / 2000
        form = np.array([[1 - share, share, -1.0]])
        stations = np.array([[number[0.0], number[2000.0], number[along]]])
        assert decided(found.free, stations, form).all()
        assert float((form * found.height_mm[stations]).sum()) == pytest.approx(value)
        assert variance(found.cov_mm2, stations, form) == pytest.approx([0.2**2])
    assert found.free.shape[1] == 2


def test_one_setup_and_a_level() -> None:
    """A level laid between two places read from one setup adds to both readings."""
    found = adjust([reading(0, 0, 0), reading(600, 0, 1), tilt((0.0, 0.0), (600.0, 0.0), 1.6)])
    rods, level = 1 / (2 * 0.5**2), 1 / 0.3**2
    assert np.diff(found.height_mm) == pytest.approx([(rods * 1 + level * 1.6) / (rods + level)])


def test_one_setup_a_benchmark_and_a_bar_on_blocks() -> None:
    """A benchmark and a gap on blocks join the heights of one setup, whatever they add up to."""
    block = Gap((0.0, 0.0), (1000.0, 0.0), 500.0, 2.0, 0.2, "bar", 20.0, "", "")
    heights = [reading(x, 0, 0) for x in (0, 500, 1000)]
    found = adjust([*heights, block, mark((0.0, 0.0), 100.0)])
    assert found.height_mm[0] == pytest.approx(100, abs=1e-3)


# Readings that do not fit

PLACES = [(i * STEP, j * STEP) for i in range(4) for j in range(3)]
FLOOR = dict(zip(PLACES, np.random.default_rng(7).normal(0, 3, len(PLACES)), strict=True))
INCH = 25.4


def site(rng: np.random.Generator, slips: dict[int, float] | None = None) -> list[Observation]:
    """A floor read from three setups, with bars, levels and three benchmarks; every reading is off
    by its own u at random, and those in `slips` by that much more."""
    off = iter(rng.normal(0, 1, 100))
    level = dict(zip("ABC", rng.uniform(-1500, 1500, 3), strict=True))
    more = slips or {}
    seen: list[Observation] = []

    def read(true: float, u: float) -> float:
        return true + u * next(off) + more.get(len(seen), 0.0)

    for setup in "ABC":
        for x, y in PLACES:
            seen.append(reading(x, y, read(FLOOR[(x, y)] + level[setup], 0.5), setup))
    for bar, line in enumerate([PLACES[0::3], PLACES[1::3], PLACES[2::3]]):
        for place in line:
            along = float(np.hypot(place[0] - line[0][0], place[1] - line[0][1]))
            true = 5 + 0.003 * along - FLOOR[place]
            seen.append(gap(line[0], line[-1], along, read(true, 0.2), f"bar {bar}"))
    for one, other in ((0, 3), (4, 5), (9, 6), (2, 11)):
        start, end = PLACES[one], PLACES[other]
        seen.append(tilt(start, end, read(FLOOR[end] - FLOOR[start], 0.3)))
    for k in (1, 6, 10):
        seen.append(mark(PLACES[k], read(FLOOR[PLACES[k]], 0.4), 0.4))
    return seen


SITE = len(site(np.random.default_rng(0)))
SURVEYS = 200


def test_clean_surveys_are_seldom_accused() -> None:
    """Of surveys without a slip about SIGNIFICANCE have a suspect, not more than chance allows."""
    rng = np.random.default_rng(11)
    accused = sum(bool(adjust(site(rng)).suspects) for _ in range(SURVEYS))
    # The significance is shared out over all readings as if they were independent (Bonferroni).
    assert 1 <= accused <= binom.ppf(0.999, SURVEYS, SIGNIFICANCE)


def test_a_slip_of_an_inch_is_found_and_named() -> None:
    """One reading that is off by an inch is always found, by itself in nearly all surveys."""
    rng = np.random.default_rng(12)
    alone, errors = 0, []
    for number in range(SURVEYS):
        wrong = number % SITE
        slip = INCH if number % 2 else -INCH
        suspects = adjust(site(rng, {wrong: slip})).suspects
        (found,) = (s for s in suspects if s.number == wrong + 1)
        alone += len(suspects) == 1
        if not isinstance(found.observation, Tilt):
            assert found.slip is not None
            assert found.slip.words == "an inch off"
        errors.append((found.error_mm - slip) / found.u_mm)
    assert SURVEYS - alone <= binom.ppf(0.999, SURVEYS, SIGNIFICANCE)
    # What is said of the error is true: its errors over its u have the variance of 1.
    low, high = chi2.ppf([0.0005, 0.9995], SURVEYS) / SURVEYS
    assert low < np.mean(np.square(errors)) < high


def test_what_a_suspect_would_be() -> None:
    """A suspect would be what the other readings say: the fit without it, with its variance."""
    seen = site(np.random.default_rng(22), {5: INCH})
    (suspect,) = adjust(seen).suspects
    others = [s for k, s in enumerate(seen) if k != 5]
    design = network(seen).matrix.toarray()
    net = network(others)
    root = np.delete(design, 5, axis=0) / net.u[:, None]
    solved = np.linalg.lstsq(root, net.value / net.u, rcond=None)[0]
    own = design[5] @ np.linalg.inv(root.T @ root) @ design[5]
    assert suspect.number == 6
    assert suspect.observation == seen[5]
    assert suspect.should_mm == pytest.approx(design[5] @ solved, abs=1e-3)
    assert suspect.error_mm == pytest.approx(seen[5].height_mm - suspect.should_mm)
    assert suspect.u_mm == pytest.approx(np.sqrt(0.5**2 + own), rel=1e-4)
    assert suspect.score == pytest.approx(suspect.error_mm / suspect.u_mm)


def test_a_rod_is_told_as_it_was_read() -> None:
    """The error of a rod reading has the sign of the rod: too large is too low on the floor."""
    rods = {(s, x): 1400 + 50 * ((s, x) == ("C", 500)) for s in "ABC" for x in (0, 500, 1000)}
    heights = [Reading(x, 0, -rod, 0.5, s, "", f"{rod}", "rod") for (s, x), rod in rods.items()]
    (suspect,) = adjust(heights).suspects
    assert (suspect.error_mm, suspect.should_mm) == pytest.approx((50, 1400), abs=0.01)


def test_several_slips_do_not_hide_each_other() -> None:
    """Slips of several sizes in several kinds of reading are all found, the good readings kept."""
    slips = {3: 30.0, 20: -12.0, 38: 25.0, 50: 12.0}
    seen = site(np.random.default_rng(14), slips)
    assert isinstance(seen[38], Gap)
    assert isinstance(seen[50], Tilt)
    found = adjust(seen)
    assert {s.number - 1 for s in found.suspects} == slips.keys()
    errors = {s.number - 1: s.error_mm for s in found.suspects}
    assert errors == pytest.approx(slips, abs=3)


@pytest.mark.parametrize("off", [300.0, 3e3, 3e4, 1e6, -3e4])
def test_a_gross_slip_takes_none_with_it(off: float) -> None:
    """Of three readings of a place one that is off by any length is set aside, and no other."""
    seen: list[Observation] = [
        reading(i * STEP, j * STEP, 0, s) for s in "ABC" for i in range(5) for j in range(5)
    ]
    seen[7] = replace(seen[7], height_mm=off, text=inches(off))
    found = adjust(seen)
    assert [(s.number, s.others) for s in found.suspects] == [(8, ())]
    assert found.suspects[0].error_mm == pytest.approx(off, rel=1e-3)
    assert found.height_mm == pytest.approx(np.zeros(25), abs=0.02)


def test_a_suspect_bends_nothing() -> None:
    """Heights and their u are those of the survey without the suspect."""
    seen = site(np.random.default_rng(15), {17: 400.0})
    found = adjust(seen)
    without = adjust([s for k, s in enumerate(seen) if k != 17])
    assert [s.number for s in found.suspects] == [18]
    assert found.height_mm == pytest.approx(without.height_mm, abs=1e-3)
    assert found.cov_mm2 == pytest.approx(without.cov_mm2, abs=1e-5)
    assert found.fit.redundancy == without.fit.redundancy
    assert found.fit.sigma0 == pytest.approx(without.fit.sigma0, rel=1e-4)


def test_an_unchecked_reading_is_never_accused() -> None:
    """A slip where nothing checks it goes unseen, and the reading is told to have no check."""
    seen = [reading(i * STEP, 0, 0, s) for s in "AB" for i in range(3)]
    found = adjust([*seen, reading(3 * STEP, 0, 900, "A")])
    assert found.suspects == ()
    assert found.redundancy[6] == pytest.approx(0, abs=1e-9)
    assert np.isnan(found.score[6])
    assert (found.redundancy[:6] > CHECKED).all()


# A third reading that settles it


def read_three_times(*seen: tuple[float, float]) -> list[Observation]:
    """A level floor tied from three setups at four places; one more is read as in `seen`."""
    rods: list[Observation] = [reading(i * STEP, 0, 0, s, 0.3) for s in "ABC" for i in range(4)]
    return rods + [reading(5 * STEP, 0, h, s, u) for s, (h, u) in zip("ABC", seen, strict=False)]


@pytest.mark.parametrize("right", [0, 1])
def test_a_coarse_reading_settles_a_contradiction(right: int) -> None:
    """Of two readings 50 mm apart a third, ten times as coarse, tells which is wrong."""
    found = adjust(read_three_times((0.0, 0.3), (50.0, 0.3), (50.0 * right, 3.0)))
    assert [(s.number, s.others) for s in found.suspects] == [(14 - right, ())]
    assert found.height_mm[4] == pytest.approx(50 * right, abs=0.6)


@pytest.mark.parametrize(("third", "settled"), [(24.0, False), (-20.0, True)])
def test_a_reading_between_two(third: float, settled: bool) -> None:
    """A third reading, coarser still, tells which of two is wrong only where the odds are clear."""
    found = adjust(read_three_times((0.0, 0.3), (50.0, 0.3), (third, 20.0)))
    # The odds are those of a miss by 50 - third against one by third: 1.1 : 1 and 275 : 1.
    log_odds = ((50 - third) ** 2 - third**2) / 2 / (20**2 + 0.3**2)
    assert settled is bool(log_odds > np.log(1 / SIGNIFICANCE))
    assert {s.number for s in found.suspects} == ({14} if settled else {13, 14})
    assert all(bool(s.others) is not settled for s in found.suspects)


def test_two_equal_slips_are_no_contradiction() -> None:
    """Two slips of the same size far from each other are each named by themselves."""
    seen = [reading(x, y, 0, s) for s in "ABC" for x, y in PLACES]
    for k in (0, 23):
        seen[k] = reading(seen[k].x_mm, seen[k].y_mm, INCH, seen[k].setup)
    assert [(s.number, s.others) for s in adjust(seen).suspects] == [(1, ()), (24, ())]


# A stated uncertainty that is too small


def many_rods(rng: np.random.Generator, rods: float, gaps: float) -> list[Observation]:
    """A floor of 10 by 10 places read from three setups and under bars both ways, all with a
    stated uncertainty of 0.2 mm; how much readings truly scatter is given for each kind."""
    row = [[(i * STEP, j * STEP) for i in range(10)] for j in range(10)]
    lines = [*row, *map(list, zip(*row, strict=True))]
    z = rough(lines)
    seen: list[Observation] = [
        reading(*at, z[at] + level + rng.normal(0, rods), s, 0.2)
        for s, level in (("A", 0.0), ("B", 90.0), ("C", -40.0))
        for line in row
        for at in line
    ]
    return seen + [
        gap(bar.start, bar.end, bar.along_mm, bar.gap_mm + rng.normal(0, gaps), bar.placement)
        for bar in bars(lines, z)
    ]


@pytest.mark.parametrize(
    ("rods", "gaps"), [(1, 1), (5, 5), (100, 100), (5, 1), (1, 5)], ids=lambda by: f"{by} times"
)
@pytest.mark.parametrize("slip", [False, True], ids=["no slip", "a slip"])
def test_a_kind_that_scatters_more(rods: int, gaps: int, slip: bool) -> None:
    """A kind of reading that scatters more than stated is told so, and only slips are set aside."""
    seen = many_rods(np.random.default_rng(34), 0.2 * rods, 0.2 * gaps)
    if slip:
        one = seen[17]
        assert isinstance(one, Reading)
        seen[17] = replace(one, height_mm=one.height_mm + 12 * INCH)
    found = adjust(seen)
    assert [s.number for s in found.suspects] == [18] * slip
    told = dict(found.fit.wider)
    truth = {kind: by for kind, by in ((Reading, rods), (Gap, gaps)) if by > 1}
    assert told == pytest.approx(truth, rel=0.2)
    assert 0.8 < found.fit.sigma0 < 1.2  # what was used is what readings show


def test_heights_of_readings_that_scatter_more() -> None:
    """Heights and their covariance are those of readings stated with what they show."""
    seen = many_rods(np.random.default_rng(31), 1.0, 1.0)
    found = adjust(seen)
    by = dict(found.fit.wider)
    again = adjust([replace(s, u_mm=s.u_mm * by[type(s)]) for s in seen])
    assert again.fit.wider == ()
    assert found.height_mm == pytest.approx(again.height_mm, abs=1e-9)
    assert found.cov_mm2 == pytest.approx(again.cov_mm2, rel=1e-9)


@pytest.mark.parametrize("times", [8.0, 30.0])
def test_repeats_that_all_disagree(times: float) -> None:
    """Where repeats as a whole disagree none of them is refused: the uncertainty is too small."""
    rng = np.random.default_rng(32)
    seen = [reading(x, y, rng.normal(0, 0.5 * times)) for _ in range(2) for x, y in PLACES]
    found = adjust(seen)
    assert found.fit.sigma0 == pytest.approx(times, rel=0.4)
    assert found.cov_mm2 == pytest.approx(np.full(12, (found.fit.sigma0 * 0.5) ** 2 / 2))


# How well it all fits


@pytest.mark.parametrize("slips", [{}, {4: 60.0}, {4: 60.0, 40: 30.0}], ids=["clean", "one", "two"])
def test_redundancy_numbers_add_up(slips: dict[int, float]) -> None:
    """Redundancy numbers lie in 0 to 1 and add up to the readings beyond what heights need."""
    seen = site(np.random.default_rng(16), slips)
    found, net = adjust(seen), network(seen)
    kept = np.ones(len(seen), dtype=bool)
    kept[[s.number - 1 for s in found.suspects]] = False
    assert np.flatnonzero(~kept).tolist() == sorted(slips)
    rank = np.linalg.matrix_rank(net.matrix.toarray()[kept])
    assert found.fit.redundancy == kept.sum() - rank
    assert found.redundancy[kept].sum() == pytest.approx(found.fit.redundancy, abs=1e-3)
    assert found.redundancy.min() >= -1e-9
    assert found.redundancy.max() <= 1


def benchmarks_that_disagree(u: float) -> list[Observation]:
    """A level floor read from three setups, tied to a benchmark that was typed twice, once wrong,
    and to another that was typed right; the wrong one is reading 11."""
    heights = [
        reading(x, 0, h, s) for s, h in (("A", 0), ("B", 7), ("C", -5)) for x in (0, 500, 900)
    ]
    place = (0.0, 0.0)
    return [*heights, mark(place, 0.0, u), mark(place, 100.0, u), mark((500.0, 0.0), 0.0, u)]


EXACT = pytest.mark.parametrize("u", [0.2, 0.0], ids=["weighted", "exact"])


@EXACT
def test_benchmarks_that_disagree(u: float) -> None:
    """A benchmark that does not fit the other and the rods is set aside, and pulls no more."""
    found = adjust(benchmarks_that_disagree(u))
    assert [s.number for s in found.suspects] == [11]
    assert found.height_mm == pytest.approx([0, 0, 0], abs=1e-3)


@EXACT
def test_redundancy_with_benchmarks_that_disagree(u: float) -> None:
    """Redundancy numbers of what is kept add up, whatever was set aside."""
    found = adjust(benchmarks_that_disagree(u))
    kept = np.ones(len(found.redundancy), dtype=bool)
    kept[[s.number - 1 for s in found.suspects]] = False
    assert found.redundancy[kept].sum() == pytest.approx(found.fit.redundancy, abs=1e-3)


def test_redundancy_of_two_bars_that_disagree() -> None:
    """Where a place has lost all its readings the others have as much to spare as before."""
    row = [(i * STEP, 0.0) for i in range(5)]
    read = [[0.0] * 5, [0.0, 0.0, 2.0, 40.0, 0.0]]
    seen = [
        gap(row[0], row[-1], x, value, f"bar {bar}")
        for bar, values in enumerate(read)
        for (x, _), value in zip(row, values, strict=True)
    ]
    found = adjust(seen)
    kept = np.ones(len(seen), dtype=bool)
    kept[[s.number - 1 for s in found.suspects]] = False
    design = network(seen).matrix.toarray()[kept]
    assert found.fit.redundancy == kept.sum() - np.linalg.matrix_rank(design)


def test_readings_that_contradict_each_other() -> None:
    """Readings that nothing tells apart name each other, and hold no place."""
    found = adjust(three_ties("B"))
    assert [(s.number, s.others) for s in found.suspects] == [(4, (7,)), (7, (4,))]
    at = found.xy_mm[:, 0] == 1500
    assert found.reads[at].tolist() == [0]
    assert np.sqrt(np.diag(found.cov_mm2))[at] > 100


def test_what_a_contradiction_would_be() -> None:
    """Of readings that contradict each other each tells what it would be if it alone is wrong."""
    one, other = adjust(three_ties("B")).suspects
    assert (one.should_mm, other.should_mm) == (pytest.approx(50), pytest.approx(100))
    assert (one.error_mm, other.error_mm) == (pytest.approx(-50), pytest.approx(50))
    # The other reading of the place, and the two setups tied at two more places.
    assert one.u_mm == pytest.approx(0.5 * np.sqrt(2 + 2 / 2))
    assert [s.slip.words for s in (one, other) if s.slip] == ["two inches off"] * 2  # 50.8 mm


@pytest.mark.parametrize("u", [0.3, 0.5])
def test_setups_tied_by_a_contradiction_alone(u: float) -> None:
    """Where all that ties two setups contradicts itself, one is not told against the other."""
    seen = [reading(i * STEP, 0, 0, "A", u) for i in range(5)]
    seen += [reading(i * STEP, 0, 80 * (i == 3), "B", u) for i in range(3, 8)]
    found = adjust(seen)
    assert [s.others for s in found.suspects] == [(5, 6, 7), (4, 6, 7), (4, 5, 7), (4, 5, 6)]
    assert [found.setups[k][3] for k in (0, 1)] == [0, np.inf]


@pytest.mark.parametrize(
    ("scatter", "scaled"), [(0.15, False), (0.5, False), (0.75, True)], ids=["less", "as", "more"]
)
def test_uncertainty_grows_where_readings_disagree(scatter: float, scaled: bool) -> None:
    """Where readings scatter more than was said their own scatter counts, never less than said."""
    rng = np.random.default_rng(23)
    off = scatter * np.sqrt(3) * rng.uniform(-1, 1, (3, 12))  # none so far off as to be set aside
    seen = [
        reading(x, y, FLOOR[(x, y)] + off[k, i], s)
        for k, s in enumerate("ABC")
        for i, (x, y) in enumerate(PLACES)
    ]
    found = adjust(seen)
    assert found.suspects == ()
    _, cov = full_solution(seen)
    by = found.fit.sigma0**2 if scaled else 1.0
    assert found.cov_mm2 == pytest.approx(by * cov, rel=1e-6)
    assert found.fit.sigma0 == pytest.approx(scatter / 0.5, rel=0.3)


@pytest.mark.parametrize("scatter", [0.5, 1.5])
def test_repeats_tell_their_own_scatter(scatter: float) -> None:
    """Repeats from one setup that scatter more than was said make every height less certain."""
    rng = np.random.default_rng(24)
    off = np.clip(rng.normal(0, scatter, 24), -1.4, 1.4)  # beyond 2.8 apart repeats are refused
    seen = [reading(x, y, h) for h, (x, y) in zip(off, [*PLACES, *PLACES], strict=True)]
    found = adjust(seen)
    by = found.fit.sigma0**2 if scatter > 1 else 1.0
    assert found.cov_mm2 == pytest.approx(np.full(12, by * 0.5**2 / 2))
    assert (found.fit.sigma0 > 1.4) is (scatter > 1)


def test_residuals_balance() -> None:
    """Weighted residuals are at right angles to every unknown: of a setup they add up to 0."""
    seen = site(np.random.default_rng(17))
    found, net = adjust(seen), network(seen)
    assert found.suspects == ()
    assert net.matrix.T @ (found.residual_mm / net.u**2) == pytest.approx(
        np.zeros(net.matrix.shape[1]), abs=1e-8
    )
    of_setup = [np.sum(found.residual_mm[k : k + 12]) for k in (0, 12, 24)]
    assert of_setup == pytest.approx([0, 0, 0], abs=1e-9)


def test_scores_are_residuals_over_their_own_spread() -> None:
    """A score is the residual over u √r, r being the redundancy number of the reading."""
    seen = site(np.random.default_rng(18))
    found, net = adjust(seen), network(seen)
    expected = found.residual_mm / (net.u * np.sqrt(found.redundancy))
    assert found.score == pytest.approx(expected, rel=1e-9)
    checked = int((found.redundancy > CHECKED).sum())
    assert found.fit.critical == pytest.approx(-norm.ppf(SIGNIFICANCE / 2 / checked))


def test_sigma0_and_chance() -> None:
    """sigma0² is the weighted sum of squares per redundancy; chance is two-sided chi-square."""
    seen = site(np.random.default_rng(19))
    found, net = adjust(seen), network(seen)
    square = float(np.sum((found.residual_mm / net.u) ** 2))
    spare = found.fit.redundancy
    assert found.fit.sigma0**2 == pytest.approx(square / spare)
    tail = chi2.cdf(square, spare), chi2.sf(square, spare)
    assert found.fit.chance == pytest.approx(2 * min(tail))
    assert 0.01 < found.fit.chance <= 1


@pytest.mark.parametrize(("factor", "low", "high"), [(0.3, 0.2, 0.4), (1.0, 0.8, 1.2)])
def test_sigma0_tells_a_wrong_uncertainty(factor: float, low: float, high: float) -> None:
    """Readings that scatter by a third of what was said give a sigma0 of about a third."""
    rng = np.random.default_rng(20)
    seen = [
        reading(x, y, FLOOR[(x, y)] + factor * rng.normal(0, 0.5), s)
        for s in "ABC"
        for x, y in PLACES
    ]
    fit = adjust(seen).fit
    assert fit.redundancy == 36 - 12 - 2
    assert low < fit.sigma0 < high
    assert (fit.chance < 0.001) is (factor != 1)


def test_one_setup_read_twice() -> None:
    """One setup that read every place twice is checked by its repeats alone."""
    rng = np.random.default_rng(21)
    seen = [reading(x, y, rng.normal(0, 0.5)) for _ in range(2) for x, y in PLACES]
    found = adjust(seen)
    assert found.fit.redundancy == 12
    assert found.redundancy == pytest.approx(np.full(24, 0.5))
    apart = np.array([a.height_mm - b.height_mm for a, b in zip(seen[:12], seen[12:], strict=True)])
    assert found.fit.sigma0**2 == pytest.approx(np.sum(apart**2 / 2) / 0.5**2 / 12)
    assert found.score[:12] == pytest.approx(apart / (np.sqrt(2) * 0.5))
    assert found.reads.tolist() == [2] * 12


def test_setups_are_told_against_the_first() -> None:
    """How much higher a setup stands than the first is the mean of what their ties say."""
    level = {"A": -1400.0, "B": -1250.0}
    seen = [
        Reading(i * STEP, 0.0, level[s] + d * (s == "B"), 0.5, f"rod {s}", "", "", "rod")
        for s in "AB"
        for i, d in enumerate((0.3, -0.3, 0.6))
    ]
    lead, other = adjust(seen).setups
    assert lead == ("rod A", "rod A", 0.0, 0.0)
    # The rod reads 1400 from A and 1250 from B: B stands lower.
    assert other == (
        "rod B",
        "rod A",
        pytest.approx(-150 - 0.2),
        pytest.approx(np.sqrt(2 / 3) * 0.5),
    )
