"""Surfaces: the triangulation, the uncertainty of linear forms, and lines of readings."""

import math
import pickle

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.errors import SurveyError
from flatcheck.room import Ring, Room, area, rectangle
from flatcheck.surface import (
    LINE_MM,
    Lines,
    Surface,
    lines,
    noise,
    part,
    station_areas,
    station_pitch,
    surface,
    triangulate,
    variance,
)

Floats = npt.NDArray[np.float64]

ELL = Ring("ell", ((0, 0), (3000, 0), (3000, 1500), (1500, 1500), (1500, 3000), (0, 3000)))
ISLAND = rectangle(600, 600, 1200, 1200, "island")


def grid(xs: Floats, ys: Floats) -> Floats:
    return np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)


def on_floor(xy: Floats, room: Room) -> Floats:
    """The stations of a grid that stand on an L with its island, told from boxes alone."""
    x, y = xy.T
    keep = (x <= 1500) | (y <= 1500)
    if room.cutouts:
        keep &= ~((x > 600) & (x < 1200) & (y > 600) & (y < 1200))
    return xy[keep]


def laid(room: Room, xy: Floats, height: Floats | None = None) -> Surface:
    z = np.zeros(len(xy)) if height is None else height
    return surface(room, xy, z, np.full(len(xy), 0.25), [f"reading {i}" for i in range(len(xy))])


def covariance(n: int, seed: int) -> Floats:
    root = np.random.default_rng(seed).normal(0, 1, (n, n))
    return root @ root.T / n + np.eye(n)


def by_direction(floor: Surface) -> dict[str, Lines]:
    return {family.direction: family for family in lines(floor)}


def rows_of(family: Lines) -> set[tuple[int, ...]]:
    """The lines of a family as tuples of stations, their padding left out."""
    return {tuple(int(i) for i in row if i >= 0) for row in family.stations}


# Triangles


@pytest.mark.parametrize("cutouts", [(), (ISLAND,)], ids=["ell", "ell with island"])
@pytest.mark.parametrize("step", [150, 300])
def test_triangles_cover_the_floor(cutouts: tuple[Ring, ...], step: int) -> None:
    """With stations on all corners the triangles cover the whole floor and nothing else."""
    room = Room(ELL, cutouts)
    ticks = np.arange(0, 3001, float(step))
    floor = laid(room, on_floor(grid(ticks, ticks), room))
    assert station_areas(floor).sum() == pytest.approx(area(room), rel=1e-12)


@pytest.mark.parametrize("cutouts", [(), (ISLAND,)], ids=["ell", "ell with island"])
def test_triangles_stay_on_the_floor(cutouts: tuple[Ring, ...]) -> None:
    """Between scattered stations too no triangle reaches into the notch or the island."""
    room = Room(ELL, cutouts)
    xy = on_floor(np.random.default_rng(5).uniform(0, 3000, (400, 2)), room)
    corners = xy[laid(room, xy).triangles]
    share = np.random.default_rng(6).dirichlet((1, 1, 1), 60)
    within = np.einsum("sk,tkd->tsd", share, corners).reshape(-1, 2)
    assert len(on_floor(within, room)) == len(within)
    assert len(corners) > 300


def test_triangles_run_counter_clockwise() -> None:
    """Every triangle has a positive area in its own order."""
    xy = np.random.default_rng(1).uniform(0, 1000, (50, 2))
    a, b, c = (xy[laid(Room(rectangle(0, 0, 1000, 1000)), xy).triangles[:, k]] for k in range(3))
    assert np.all((b - a)[:, 0] * (c - a)[:, 1] > (b - a)[:, 1] * (c - a)[:, 0])


@pytest.mark.parametrize("count", [1, 2, 5])
def test_no_triangles_in_one_line(count: int) -> None:
    """Stations in one line have no triangle between them, and nothing tells their pitch."""
    xy = np.column_stack((np.arange(count) * 300.0, np.arange(count) * 300.0))
    floor = laid(Room(rectangle(0, 0, 3000, 3000)), xy)
    assert triangulate(floor.room, xy).shape == (0, 3)
    assert np.isinf(station_pitch(floor)).all()


@pytest.mark.parametrize(("dx", "dy"), [(300, 300), (300, 450)])
def test_pitch_of_a_grid(dx: float, dy: float) -> None:
    """On a grid the pitch at a station is the wider of its two steps."""
    xy = grid(np.arange(6) * dx, np.arange(5) * dy)
    floor = laid(Room(rectangle(0, 0, 5 * dx, 4 * dy)), xy)
    assert station_pitch(floor) == pytest.approx(np.full(len(xy), max(dx, dy)))


def test_a_reading_outside_is_named() -> None:
    """The first reading that is not on the floor is named."""
    room = Room(ELL)
    with pytest.raises(SurveyError, match=r"^reading 1: .*outside the room"):
        laid(room, np.array([(100.0, 100.0), (2900.0, 2900.0), (-500.0, 0.0)]))


def test_part_is_a_smaller_surface() -> None:
    """A part holds the stations of the smaller room with their heights, names and covariance."""
    ticks = np.arange(0, 3001, 500.0)
    room = Room(rectangle(0, 0, 3000, 3000))
    xy = grid(ticks, ticks)
    cov = covariance(len(xy), 2)
    whole = surface(room, xy, np.arange(len(xy)) * 1.0, cov, [str(i) for i in range(len(xy))])
    piece, kept = part(whole, Room(rectangle(900, 0, 2100, 3000)))
    assert kept.tolist() == [i for i, (x, _) in enumerate(xy) if 900 <= x <= 2100]
    assert piece.height_mm.tolist() == kept.tolist()
    assert piece.where == tuple(str(i) for i in kept)
    assert np.array_equal(piece.cov_mm2, cov[np.ix_(kept, kept)])
    assert station_areas(piece).sum() == pytest.approx(1000 * 3000)


def test_arrays_stay_locked_when_pickled() -> None:
    """A surface that went through a pickle is the same, and its arrays are read-only still."""
    room = Room(ELL, (ISLAND,))
    ticks = np.arange(0, 3001, 300.0)
    floor = laid(room, on_floor(grid(ticks, ticks), room))
    again = pickle.loads(pickle.dumps(floor))
    assert (again.room, again.where) == (floor.room, floor.where)
    for name in ("xy_mm", "height_mm", "cov_mm2", "triangles"):
        assert np.array_equal(getattr(again, name), getattr(floor, name))
        for array in (getattr(floor, name), getattr(again, name)):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 0


def test_a_surface_keeps_its_own_heights() -> None:
    """Changing the arrays a surface was made from does not change it, nor are they locked."""
    xy, z = np.array([(0.0, 0.0), (500.0, 0.0), (0.0, 500.0)]), np.zeros(3)
    floor = laid(Room(ELL), xy, z)
    z[0] = xy[0, 0] = 9
    assert (floor.height_mm[0], floor.xy_mm[0, 0]) == (0, 0)


# Uncertainty


@pytest.mark.parametrize("dense", [False, True], ids=["independent", "tied"])
def test_variance_is_w_c_w(dense: bool) -> None:
    """The variance of a linear form is w'Cw with the whole covariance written out."""
    rng = np.random.default_rng(8)
    cov = covariance(9, 8) if dense else rng.uniform(0.1, 2, 9)
    stations = np.array([rng.permutation(9)[:3] for _ in range(40)])
    weights = rng.normal(0, 1, (40, 3))
    full = np.zeros((40, 9))
    np.put_along_axis(full, stations, weights, axis=1)
    expected = np.diag(full @ (cov if dense else np.diag(cov)) @ full.T)
    assert variance(cov, stations, weights) == pytest.approx(expected)


@pytest.mark.parametrize("dense", [False, True], ids=["independent", "tied"])
def test_noise_has_the_covariance(dense: bool) -> None:
    """Simulated errors have mean zero and the covariance asked for, to 5 standard errors."""
    draws = 40_000
    cov = covariance(5, 3) if dense else np.array([0.1, 0.5, 1.0, 2.0, 4.0])
    full = cov if dense else np.diag(cov)
    errors = noise(cov, draws, seed=1)
    variances = np.diag(full)
    assert np.all(np.abs(errors.mean(axis=1)) < 5 * np.sqrt(variances / draws))
    # The variance of a sample covariance of normal errors is (c_ij² + c_ii c_jj) / draws.
    spread = np.sqrt((full**2 + np.outer(variances, variances)) / draws)
    assert np.all(np.abs(np.cov(errors) - full) < 5 * spread)


def test_noise_is_repeatable() -> None:
    """The same seed gives the same errors, another seed others."""
    cov = np.ones(4)
    assert np.array_equal(noise(cov, 10, 1), noise(cov, 10, 1))
    assert not np.array_equal(noise(cov, 10, 1), noise(cov, 10, 2))


# Lines


@pytest.mark.parametrize(
    ("dx", "dy"), [(300, 300), (300, 500), (304.8, 406.4), (1000, 250)], ids=str
)
def test_lines_of_a_grid(dx: float, dy: float) -> None:
    """A grid, square or not, has its rows, columns and both diagonals from step to step."""
    nx, ny = 7, 5
    number = {(i, j): j * nx + i for j in range(ny) for i in range(nx)}
    floor = laid(
        Room(rectangle(0, 0, (nx - 1) * dx, (ny - 1) * dy)),
        grid(np.arange(nx) * dx, np.arange(ny) * dy),
    )
    found = by_direction(floor)
    for direction, step in {
        "row": (1, 0),
        "column": (0, 1),
        "rising diagonal": (1, 1),
        "falling diagonal": (1, -1),
    }.items():
        expected = set()
        for i, j in number:
            if (i - step[0], j - step[1]) not in number:
                steps = range(max(nx, ny))
                walk = [(i + k * step[0], j + k * step[1]) for k in steps]
                line = tuple(number[place] for place in walk if place in number)
                expected |= {line} if len(line) > 1 else set()
        assert rows_of(found[direction]) == expected
        apart = math.hypot(step[0] * dx, step[1] * dy)
        steps_along = np.diff(found[direction].along, axis=1)
        # Diagonals follow steps rounded to the millimeter, which costs less than a millionth.
        assert steps_along[np.isfinite(steps_along)] == pytest.approx(apart, rel=2e-6)
    assert len(found) == 4


def test_lines_end_at_walls_and_islands() -> None:
    """A row over the notch or the island is no line; it stops on one side and starts again."""
    room = Room(ELL, (ISLAND,))
    ticks = np.arange(0, 3001, 300.0)
    xy = on_floor(grid(ticks, ticks), room)
    rows = rows_of(by_direction(laid(room, xy))["row"])
    spans = {(xy[row[0], 1], xy[row[0], 0], xy[row[-1], 0]) for row in rows}
    assert {span for span in spans if span[0] == 900} == {(900, 0, 600), (900, 1200, 3000)}
    assert {span for span in spans if span[0] == 600} == {(600, 0, 3000)}  # along the island
    assert {span for span in spans if span[0] == 1800} == {(1800, 0, 1500)}


def test_a_place_not_read_leaves_a_wider_step() -> None:
    """Over a place that was not read the line goes on, with a step twice as wide."""
    xy = np.delete(grid(np.arange(5) * 300.0, np.arange(2) * 300.0), 2, axis=0)
    row = by_direction(laid(Room(rectangle(0, 0, 1200, 300)), xy))["row"]
    assert np.diff(row.along[0])[:3].tolist() == [300, 600, 300]


def test_one_place_has_no_lines() -> None:
    """A single station, or two that share no row and no column, have no lines."""
    room = Room(ELL)
    assert lines(laid(room, np.array([(100.0, 100.0)]))) == ()
    assert lines(laid(room, np.array([(100.0, 100.0), (500.0, 700.0)]))) == ()


def test_a_tape_is_good_for_a_few_millimeters() -> None:
    """Stations that stand a little off their row are in it still."""
    off = np.array([0, 5, -5, 4, 0]) / 12 * LINE_MM
    xy = np.column_stack((np.arange(5) * 300.0, 500 + off))
    assert rows_of(by_direction(laid(Room(ELL), xy))["row"]) == {(0, 1, 2, 3, 4)}


@pytest.mark.parametrize("step", [10.0, 5.0])
def test_close_rows_are_rows_of_their_own(step: float) -> None:
    """Rows nearer together than LINE_MM are not strung into one: a line is straight."""
    xy = grid(np.arange(8) * step, np.arange(8) * step)
    floor = laid(Room(rectangle(0, 0, 7 * step, 7 * step)), xy)
    off = [np.ptp(xy[list(row), 1]) for row in rows_of(by_direction(floor)["row"])]
    assert max(off) <= 2 * LINE_MM


def test_scattered_stations_are_no_lines() -> None:
    """Of places read here and there only those near one straight line are called a line."""
    xy = np.random.default_rng(4).uniform(0, 3000, (400, 2))
    floor = laid(Room(rectangle(0, 0, 3000, 3000)), xy)
    off = [np.ptp(xy[list(row), 1]) for row in rows_of(by_direction(floor)["row"])]
    assert max(off) <= 2 * LINE_MM
