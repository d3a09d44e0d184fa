"""Readings as linear observations: the row of each kind against its form written by hand."""

import itertools

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.network import EXACT_MM, Network, network
from flatcheck.surface import SAME_PLACE_MM
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]


def rod(at: Place, height: float = 0.0, setup: str = "rod A", u: float = 0.5) -> Reading:
    return Reading(*at, height, u, setup, f"rod at {at}", f"{-height:g}", "rod")


def gap(
    start: Place,
    end: Place,
    along: float,
    value: float = 0.0,
    block: float | None = None,
    bar: str = "1",
    u: float = 0.2,
) -> Gap:
    return Gap(start, end, along, value, u, bar, block, f"bar {bar} at {along:g}", f"{value:g}")


def tilt(start: Place, end: Place, rise: float = 0.0, u: float = 0.3) -> Tilt:
    return Tilt(start, end, rise, u, f"level at {start}", f"{rise:g}")


def mark(at: Place, height: float = 0.0, u: float = 0.0) -> Benchmark:
    return Benchmark(*at, height, u, f"mark at {at}", f"{height:g}")


def station(net: Network, at: Place) -> int:
    """The number of the station at a place."""
    near = np.flatnonzero(np.hypot(*(net.xy_mm - at).T) < SAME_PLACE_MM)
    assert len(near) == 1
    return int(near[0])


def row(net: Network, number: int) -> dict[int, float]:
    """A row of the design matrix as {unknown: factor}, zeros left out."""
    dense = net.matrix.toarray()[number]
    return {int(k): float(dense[k]) for k in np.flatnonzero(dense)}


# The rows


def test_a_height_is_the_place_and_its_setup() -> None:
    """A height read is the height of the place and one unknown of its setup, as it was turned."""
    net = network([rod((0, 0), -1412.0, "rod A"), rod((500, 0), -1286.0, "rod B", u=0.7)])
    assert list(net.setups) == ["rod A", "rod B"]
    assert row(net, 0) == {station(net, (0, 0)): 1, net.setups["rod A"]: 1}
    assert row(net, 1) == {station(net, (500, 0)): 1, net.setups["rod B"]: 1}
    assert net.value.tolist() == [-1412.0, -1286.0]
    assert net.u.tolist() == [0.5, 0.7]
    assert net.matrix.shape == (2, 4)


def test_a_benchmark_is_the_place_alone() -> None:
    """A benchmark is the height of its place; one that counts as exact is good to a micrometer."""
    net = network([mark((0, 0), 100.0), mark((900, 0), 101.0, u=0.3)])
    assert row(net, 0) == {station(net, (0, 0)): 1}
    assert row(net, 1) == {station(net, (900, 0)): 1}
    assert net.value.tolist() == [100.0, 101.0]
    assert net.u.tolist() == [EXACT_MM, 0.3]
    assert net.known.tolist() == [station(net, (0, 0)), station(net, (900, 0))]


def test_a_tilt_is_a_difference() -> None:
    """A tilt is the height at its far end less that at its near end."""
    net = network([tilt((0, 0), (600, 0), 1.5), tilt((600, 0), (600, 600), -2.0)])
    near, turn, far = (station(net, at) for at in ((0, 0), (600, 0), (600, 600)))
    assert row(net, 0) == {near: -1, turn: 1}
    assert row(net, 1) == {turn: -1, far: 1}
    assert net.value.tolist() == [1.5, -2.0]
    assert not net.setups
    assert not net.bars


@pytest.mark.parametrize("along", [0.0, 300.0, 1000.0, 1700.0, 2000.0])
def test_a_gap_under_a_resting_bar(along: float) -> None:
    """A gap is offset + tilt t - height, t from -1 at the bar's start to 1 at its end."""
    net = network([gap((100, 200), (1300, 1800), along, 2.5), gap((100, 200), (1300, 1800), 600.0)])
    here = (100 + along * 0.6, 200 + along * 0.8)  # 1200 east and 1600 north are 2000 along
    offset = net.bars["1"]
    expected = {station(net, here): -1.0, offset: 1.0, offset + 1: along / 1000 - 1}
    assert row(net, 0) == pytest.approx({k: v for k, v in expected.items() if v})
    assert net.value.tolist() == [2.5, 0.0]
    assert net.matrix.shape == (2, 4)


def test_a_gap_under_a_bar_on_blocks() -> None:
    """On blocks the bar is the line between the floor at its feet: (1 - s) start + s end - here."""
    net = network([gap((0, 0), (0, 2000), 500.0, 3.0, block=20.0)])
    foot, here, other = (station(net, (0, y)) for y in (0, 500, 2000))
    assert row(net, 0) == {here: -1, foot: 0.75, other: 0.25}
    assert net.value.tolist() == [3.0]
    assert not net.bars
    assert net.matrix.shape == (1, 3)


def test_every_row_says_what_was_read() -> None:
    """On a floor of known heights, with known setups and bars, every row gives its reading."""
    rng = np.random.default_rng(1)
    places = [(float(x), float(y)) for x in (0, 800, 1600) for y in (0, 600, 1200)]
    z = dict(zip(places, rng.normal(0, 5, len(places)), strict=True))
    level = {"rod A": -1400.0, "rod B": -1310.0}
    seen: list[Observation] = [rod(at, z[at] + level[s], s) for at in places for s in level]
    seen += [tilt(a, b, z[b] - z[a]) for a, b in itertools.pairwise(places)]
    seen += [mark(places[4], z[places[4]])]
    rest, slope = 7.0, -0.002
    for at, along in (((0, 0), 0.0), ((800, 600), 1000.0), ((1600, 1200), 2000.0)):
        height = rest + slope * (along - 1000)
        seen.append(gap((0, 0), (1600, 1200), along, height - z[at]))
    feet = (z[(0, 1200)] + z[(1600, 1200)]) / 2
    seen.append(gap((0, 1200), (1600, 1200), 800.0, feet - z[(800, 1200)], block=10, bar="2"))
    net = network(seen)
    x = np.full(net.matrix.shape[1], np.nan)
    for at in places:
        x[station(net, at)] = z[at]
    for name, k in net.setups.items():
        x[k] = level[name]
    x[net.bars["1"] : net.bars["1"] + 2] = rest, slope * 1000
    assert net.matrix @ x == pytest.approx(net.value, abs=1e-9)


# Stations


@pytest.mark.parametrize(
    ("apart", "count"), [(0.0, 1), (0.4, 1), (0.99, 1), (1.01, 2), (2.0, 2), (300.0, 2)]
)
@pytest.mark.parametrize("way", [(1, 0), (0, 1), (0.6, -0.8)])
@pytest.mark.parametrize("origin", [0.0, 0.499, 12.4, -7.3])
def test_places_within_a_millimeter_are_one(
    apart: float, count: int, way: Place, origin: float
) -> None:
    """Places nearer than SAME_PLACE_MM are one station wherever they lie; farther ones are two."""
    here = (origin, origin)
    there = (origin + way[0] * apart * SAME_PLACE_MM, origin + way[1] * apart * SAME_PLACE_MM)
    net = network([rod(here), rod(there, setup="rod B"), rod((5000, 0))])
    assert len(net.xy_mm) == count + 1
    assert len(row(net, 0).keys() & row(net, 1).keys()) == 2 - count


def test_stations_are_named_after_their_first_reading() -> None:
    """Stations come in the order of the readings, each at its first place, with its first cell."""
    net = network(
        [
            rod((900, 0)),
            tilt((0, 0), (900.3, 0)),
            gap((0, 0), (0, 1500), 1000.0),
            mark((0.1, 1000)),
        ]
    )
    assert net.xy_mm.tolist() == [[900, 0], [0, 0], [0, 1000]]
    assert net.where == ("rod at (900, 0)", "level at (0, 0)", "bar 1 at 1000")


def test_a_bar_touches_only_where_it_was_read() -> None:
    """The ends of a resting bar are no stations unless a gap was read there; feet on blocks are."""
    resting = network([gap((0, 0), (2000, 0), 700.0), gap((0, 0), (2000, 0), 900.0)])
    assert resting.xy_mm.tolist() == [[700, 0], [900, 0]]
    on_blocks = network([gap((0, 0), (2000, 0), 700.0, block=20.0)])
    assert sorted(on_blocks.xy_mm.tolist()) == [[0, 0], [700, 0], [2000, 0]]


def test_a_placement_is_one_bar() -> None:
    """Gaps of one placement share its two unknowns; another placement has two of its own."""
    ends = ((0.0, 0.0), (2000.0, 0.0))
    net = network(
        [gap(*ends, 500.0), gap(*ends, 1500.0), gap(*ends, 500.0, bar="2"), gap(*ends, 900.0)]
    )
    assert sorted(net.bars) == ["1", "2"]
    assert net.matrix.shape == (4, 3 + 2 * 2)
    assert {net.bars["1"], net.bars["1"] + 1} <= row(net, 0).keys() & row(net, 3).keys()
    assert {net.bars["2"], net.bars["2"] + 1} <= row(net, 2).keys()


def test_where_unknowns_sit() -> None:
    """Stations sit where they are; a setup and a bar sit amid the stations that they meet."""
    net = network(
        [
            *(rod((x, 0)) for x in (0, 900)),
            *(gap((0, 600), (3000, 600), x) for x in (0, 1000, 2000)),
        ]
    )
    assert net.position[:5].tolist() == net.xy_mm.tolist()
    assert net.position[net.setups["rod A"]].tolist() == [450, 0]
    assert net.position[net.bars["1"]] == pytest.approx([1000, 600])


# Pieces


def test_pieces_are_what_no_reading_joins() -> None:
    """Setups without a common place are two pieces; a bar, a level or a tie makes them one."""
    west = [rod((x, 0), setup="rod A") for x in (0, 500)]
    east = [rod((x, 0), setup="rod B") for x in (1000, 1500)]
    apart = network([*west, *east])
    assert [int(p) for p in apart.piece[:4]] == [0, 0, 1, 1]
    assert apart.piece[apart.setups["rod A"]] == 0
    assert apart.piece[apart.setups["rod B"]] == 1
    ties: tuple[list[Observation], ...] = (
        [rod((500, 0), setup="rod B")],
        [tilt((500, 0), (1000, 0))],
        [gap((500, 0), (1000, 0), along) for along in (0.0, 500.0)],
        [gap((0, 0), (1500, 0), 1000.0, block=20.0)],
    )
    for tie in ties:
        assert set(network([*west, *east, *tie]).piece.tolist()) == {0}


def test_two_benchmarks_join_their_pieces() -> None:
    """Two setups that each read a benchmark stand in one datum, so they are one piece."""
    west = [rod((x, 0), setup="rod A") for x in (0, 500)]
    east = [rod((x, 0), setup="rod B") for x in (1000, 1500)]
    assert set(network([*west, *east, mark((0, 0)), mark((1500, 0))]).piece.tolist()) == {0}


# Places under bars that cross


def crossing(hair: float, way: str) -> Network:
    """Bars along 4 columns and 4 rows of a grid, places read up to a hair off along the bars of one
    way or of both."""
    rng = np.random.default_rng(3)
    seen: list[Observation] = []
    for k in range(4):
        for j in range(4):
            for name, start, end in (
                ("column", (k * 500.0, 0.0), (k * 500.0, 1500.0)),
                ("row", (0.0, k * 500.0), (1500.0, k * 500.0)),
            ):
                off = rng.uniform(-hair, hair) if way in (name, "both") else 0.0
                along = min(max(j * 500 + off, 0), 1500)
                seen.append(gap(start, end, along, bar=f"{name} {k}"))
    return network(seen)


@pytest.mark.parametrize("way", ["column", "row", "both"])
def test_a_place_under_two_bars_lies_where_they_cross(way: str) -> None:
    """Read a hair off along one bar or along both, the place is where the bars cross."""
    true, read = crossing(0, way), crossing(0.45, way)
    number = [
        station(true, (round(x / 500) * 500.0, round(y / 500) * 500.0)) for x, y in read.xy_mm
    ]
    assert read.xy_mm == pytest.approx(true.xy_mm[number], abs=1e-9)


@pytest.mark.parametrize("way", ["column", "row", "both"])
def test_a_hair_decides_nothing(way: str) -> None:
    """What bars both ways leave open, a plane and a twist, stays open for places a hair off."""
    for hair in (0.0, 0.45):
        design = crossing(hair, way).matrix.toarray()
        assert design.shape[1] - np.linalg.matrix_rank(design, tol=1e-9) == 4


def test_bars_side_by_side_do_not_cross() -> None:
    """Under two bars that lie nearly in one line a place stays where it was read first."""
    slant = (2000.0, 2.0)
    net = network([gap((0, 0), (2000, 0), 700.0), gap((0, 0), slant, 700.4, bar="2")])
    assert net.xy_mm.tolist() == [[700, 0]]


def test_a_place_is_not_moved_far() -> None:
    """Where bars would cross more than a millimeter away a place stays where it was first read."""
    lean = np.tan(np.radians(30))  # over the place it passes 0.9 mm north, and crosses 1.6 mm west
    ends = ((0.0, 0.9 - 700 * lean), (2000.0, 0.9 + 1300 * lean))
    along = 700 / np.cos(np.radians(30))
    net = network([gap((0, 0), (2000, 0), 700.0), gap(*ends, along, bar="2")])
    assert net.xy_mm.tolist() == [[700, 0]]


@pytest.mark.parametrize("hair", [0.0, 0.45])
def test_a_bar_on_blocks_over_crossings(hair: float) -> None:
    """On blocks too the share of a foot is that of its station, a hair off or not."""
    seen = [
        gap((0, 0), (2000, 0), 1000.0 + hair, block=20.0),
        gap((1000, -1000), (1000, 1000), 1000.0 - hair, block=20.0, bar="2"),
    ]
    net = network(seen)
    middle = station(net, (1000, 0))
    for number in range(2):
        feet = {k: v for k, v in row(net, number).items() if k != middle}
        assert feet == pytest.approx(dict.fromkeys(feet, 0.5), abs=1e-9)
