"""Measures: shapes with known values, and uncertainties against the full propagation."""

import math

import numpy as np
import numpy.typing as npt
import pytest

from flatcheck.errors import RuleError, SurveyError
from flatcheck.evidence import Evidence, View, looks_at, measure_named, words_of
from flatcheck.intent import Intent, departures, fit
from flatcheck.measures import blocks, neighbors, plane, resting
from flatcheck.room import Room, rectangle
from flatcheck.surface import lines, surface

Floats = npt.NDArray[np.float64]

STEP = 200.0
SIDE = 2000.0
BAR = 1000.0
CURVE = 2e-5  # [1/mm]: 5 mm over 1 m
INTENTS = [
    Intent("level"),
    Intent("best fit"),
    Intent("minimum zone"),
    Intent("fall", 0.02, 30.0),
]


def grid() -> Floats:
    ticks = np.arange(0, SIDE + 1, STEP)
    return np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)


def view(xy: Floats, z: Floats, cov: Floats | None = None, intent: Intent | None = None) -> View:
    cov = np.full(len(xy), 0.25) if cov is None else cov
    floor = surface(Room(rectangle(0, 0, SIDE, SIDE)), xy, z, cov, [""] * len(xy))
    weight = 1 / (cov if cov.ndim == 1 else np.diag(cov))
    return View(floor, lines(floor), fit(intent or Intent(), xy, z, weight))


def along_rows(seen: View, found: Evidence) -> Evidence:
    """The same evidence, with the rows of other directions than `row` marked by NaN."""
    names = [family.direction for family in seen.lines]
    value = np.where(found.direction == names.index("row"), found.value_mm, np.nan)
    return Evidence(**(vars(found) | {"value_mm": value}))


def rough(seed: int, n: int = 40) -> tuple[Floats, Floats, Floats]:
    """Scattered places, heights and a full covariance."""
    rng = np.random.default_rng(seed)
    root = rng.normal(0, 0.3, (n, n))
    return rng.uniform(0, SIDE, (n, 2)), rng.normal(0, 3, n), root @ root.T + 0.1 * np.eye(n)


# Known shapes: a trough z = c (x - m)², its crown, a single low and a single high place


@pytest.mark.parametrize("length", [BAR, 600.0])
def test_trough_under_a_resting_bar(length: float) -> None:
    """In a trough z = c x² a bar of length L shows c (L/2)² in its middle, and nowhere more."""
    xy = grid()
    seen = view(xy, CURVE * (xy[:, 0] - SIDE / 2) ** 2)
    value = along_rows(seen, resting.measure(seen, length)).value_mm
    # The middle of the bar falls on a reading only where the bar spans an even number of steps.
    steps = int(length // STEP)
    half = STEP * STEP * (steps // 2) * (steps - steps // 2)
    assert np.nanmax(value) == pytest.approx(CURVE * half)


def test_a_crown_shows_no_gap_under_a_resting_bar() -> None:
    """On a crown, a dome or a corner that falls away a resting bar shows no gap at all.

    The bar rocks, and under an end that hangs over nothing is measured: this practice is blind to
    high ground. The two tests below show that the other practices are not.
    """
    xy = grid()
    crown = -CURVE * (xy[:, 0] - SIDE / 2) ** 2
    dome = -CURVE * ((xy - SIDE / 2) ** 2).sum(axis=1)
    corner = np.where((xy == 0).all(axis=1), -80.0, 0.0)
    for z in (crown, dome, corner):
        seen = view(xy, z)
        assert resting.measure(seen, BAR).value_mm.max() <= 1e-9
        assert resting.measure(seen, None).value_mm.max(initial=0) <= 1e-9


@pytest.mark.parametrize("sign", [1, -1], ids=["trough", "crown"])
def test_a_bar_on_blocks_shows_both(sign: int) -> None:
    """On equal blocks a trough shows c (L/2)² low and a crown as much high, with a minus."""
    xy = grid()
    seen = view(xy, sign * CURVE * (xy[:, 0] - SIDE / 2) ** 2)
    found = along_rows(seen, blocks.measure(seen, 2 * BAR))
    assert found.signed
    assert np.nanmax(sign * found.value_mm) == pytest.approx(CURVE * BAR**2)
    assert np.nanmin(sign * found.value_mm) > 0


def test_a_fallen_corner_shows_below_the_plane() -> None:
    """A corner that lies 80 mm below a level floor is 80 mm below its high points."""
    xy = grid()
    seen = view(xy, np.where((xy == 0).all(axis=1), -80.0, 0.0), intent=Intent("level"))
    assert plane.measure(seen, BAR).value_mm.max() == pytest.approx(80)


@pytest.mark.parametrize("sign", [1, -1], ids=["trough", "crown"])
@pytest.mark.parametrize("length", [400.0, 800.0, None])
def test_neighbors_show_the_curvature(sign: int, length: float | None) -> None:
    """A place less the mean of its two neighbors d away shows c d², on a trough as low."""
    xy = grid()
    seen = view(xy, sign * CURVE * (xy[:, 0] - SIDE / 2) ** 2)
    found = along_rows(seen, neighbors.measure(seen, length))
    rows = np.isfinite(found.value_mm)
    assert found.value_mm[rows] == pytest.approx(sign * CURVE * (found.span_mm[rows] / 2) ** 2)
    spans = set(np.round(found.span_mm[rows]))
    assert spans == set(np.arange(2 * STEP, (length or SIDE) + 1, 2 * STEP))


def test_neighbors_stand_even() -> None:
    """Only a place midway between its neighbors is compared with their mean."""
    xs = np.array([0, 200, 400, 700, 1000, 1800.0])
    xy = np.column_stack((np.tile(xs, 2), np.repeat([0.0, 500.0], 6)))
    seen = view(xy, np.zeros(12))
    found = along_rows(seen, neighbors.measure(seen, None))
    rows = np.isfinite(found.value_mm)
    placed = {tuple(xy[i, 0] for i in row) for row in found.stations[rows]}
    expected = {
        (a, b, c) for a in xs for b in xs for c in xs if a < b < c and abs(a + c - 2 * b) < 1
    }
    assert placed == expected


def test_the_feet_of_a_bar_on_blocks() -> None:
    """The feet stand as far apart as the length allows, the bar cut short only by a wall."""
    xs = np.array([0, 300, 450, 900, 1000, 1400, 1700, 2000.0])
    xy = np.column_stack((np.tile(xs, 2), np.repeat([0.0, 900.0], len(xs))))
    seen = view(xy, np.zeros(len(xy)))
    found = along_rows(seen, blocks.measure(seen, BAR))
    rows = np.isfinite(found.value_mm)
    feet = {(xy[a, 0], xy[c, 0]) for a, _, c in found.stations[rows]}
    # From a left foot the farthest right one, where from that one no left foot is farther.
    fits = [(a, c) for a in xs for c in xs if 0 < c - a <= BAR + 1 and ((xs > a) & (xs < c)).any()]
    expected = {
        (a, c)
        for a, c in fits
        if c == max(r for left, r in fits if left == a)
        and a == min(left for left, r in fits if r == c)
    }
    assert feet == expected


def test_without_a_length_only_real_rests_count() -> None:
    """Where the limit depends on the span, only contacts with nothing higher between are kept."""
    xy, rng = grid(), np.random.default_rng(3)
    seen = view(xy, rng.normal(0, 2, len(xy)))
    found = resting.measure(seen, None)
    assert found.contact.all()
    assert found.value_mm.min() >= -1e-9
    assert len(found.value_mm) < len(resting.measure(seen, 10 * SIDE).value_mm)


@pytest.mark.parametrize("measure", [resting, blocks, neighbors], ids=lambda m: m.__name__[19:])
def test_places_a_little_off_their_line(measure: object) -> None:
    """On a floor that falls 2 % and is else true, places read 5 mm off the grid show no gap."""
    rng = np.random.default_rng(2)
    xy = np.clip(grid() + rng.uniform(-5, 5, (len(grid()), 2)), 0, SIDE)
    found = measure.measure(view(xy, 0.02 * xy[:, 1]), BAR)  # type: ignore[attr-defined]
    assert len(found.value_mm) > 100
    assert np.abs(found.value_mm).max() < 1e-9


# The plane


@pytest.mark.parametrize("intent", INTENTS, ids=lambda intent: intent.kind)
@pytest.mark.parametrize("length", [700.0, None])
def test_plane_compares_every_two_places(intent: Intent, length: float | None) -> None:
    """Every two places within the length are compared once: their departures, high less low."""
    xy, z, cov = rough(1)
    seen = view(xy, z, cov, intent)
    found = plane.measure(seen, length)
    above = departures(seen.plane, xy, z)
    expected = {
        (i, j): abs(above[i] - above[j])
        for i in range(len(z))
        for j in range(i)
        if length is None or math.dist(xy[i], xy[j]) <= length + 1
    }
    pairs = [(int(max(p)), int(min(p))) for p in found.forms]
    assert dict(zip(pairs, found.value_mm, strict=True)) == pytest.approx(expected)
    assert len(pairs) == len(expected)
    assert np.all(above[found.stations[:, 0]] >= above[found.stations[:, 1]])
    assert found.span_mm == pytest.approx([math.dist(xy[i], xy[j]) for i, j in pairs])


@pytest.mark.parametrize("intent", INTENTS, ids=lambda intent: intent.kind)
@pytest.mark.parametrize("tied", [False, True], ids=["independent", "tied"])
def test_uncertainty_of_a_departure(intent: Intent, tied: bool) -> None:
    """u is that of w·D·z, D taking the plane's own uncertainty along: u² = w D C D' w'.

    D = 1 - B F: F is the plane as a form of the heights, B the plane's columns 1, x and y.
    """
    xy, z, full = rough(2)
    cov = full if tied else np.diag(full).copy()
    seen = view(xy, z, cov, intent)
    found = plane.measure(seen, None)
    base = np.column_stack((np.ones(len(z)), xy - seen.plane.middle))
    rest = np.eye(len(z)) - base @ seen.plane.form
    spread = rest @ (full if tied else np.diag(cov)) @ rest.T
    pair = np.zeros((len(found.forms), len(z)))
    np.put_along_axis(pair, found.forms, found.weights, axis=1)
    expected = np.sqrt(np.maximum(np.einsum("ki,ij,kj->k", pair, spread, pair), 1e-12))
    assert found.u_mm == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("measure", [resting, blocks, neighbors], ids=lambda m: m.__name__[19:])
@pytest.mark.parametrize("tied", [False, True], ids=["independent", "tied"])
def test_value_and_uncertainty_of_bars(measure: object, tied: bool) -> None:
    """Value and u of a bar are w·z and √(w'Cw), and tied readings have their covariance."""
    xy = grid()
    rng = np.random.default_rng(5)
    root = rng.normal(0, 0.1, (len(xy), 20))
    full = root @ root.T + 0.05 * np.eye(len(xy))
    z = rng.normal(0, 2, len(xy))
    seen = view(xy, z, full if tied else np.diag(full).copy())
    found = measure.measure(seen, BAR)  # type: ignore[attr-defined]
    form = np.zeros((len(found.forms), len(z)))
    np.put_along_axis(form, found.forms, found.weights, axis=1)
    assert found.value_mm == pytest.approx(form @ z)
    spread = full if tied else np.diag(np.diag(full))
    assert found.u_mm == pytest.approx(np.sqrt(np.einsum("ki,ij,kj->k", form, spread, form)))
    assert len(found.value_mm) > 300


def test_too_many_pairs(monkeypatch: pytest.MonkeyPatch) -> None:
    """More pairs than can be listed are refused with the number of readings."""
    monkeypatch.setattr(plane, "MOST_BARS", 100)
    xy = grid()
    with pytest.raises(SurveyError, match="121 readings are too many to compare in pairs"):
        plane.measure(view(xy, np.zeros(len(xy))), None)


# By name


@pytest.mark.parametrize(
    ("name", "of"),
    [
        ("resting", "plane"),
        ("blocks", "plane"),
        ("neighbors", "plane"),
        ("plane", "plane"),
        ("fall_least", "plane"),
        ("fall_most", "plane"),
        ("ponding", "zone"),
        ("wall_level", "zone"),
        ("valley_line", "zone"),
        ("step", "zone"),
    ],
)
def test_what_measures_look_at(name: str, of: str) -> None:
    """Bars and slopes are of one plane, never across a valley; water and walls of a whole zone."""
    assert looks_at(name) == of


@pytest.mark.parametrize("module", [resting, blocks, neighbors, plane])
def test_measures_are_found_by_the_name_of_their_file(module: object) -> None:
    """A measure is found by its file's name, and says what it measures."""
    name = module.__name__.rsplit(".", 1)[1]  # type: ignore[attr-defined]
    assert measure_named(name) is module.measure  # type: ignore[attr-defined]
    assert words_of(name) == module.WORDS  # type: ignore[attr-defined]


def test_unknown_measures() -> None:
    """A measure that does not exist is refused with the names of those that do."""
    with pytest.raises(
        RuleError, match="'bounce' is not one of blocks, datum, fall_least, fall_most, l"
    ):
        measure_named("bounce")
