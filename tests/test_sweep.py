"""The raster straightedge against two slow oracles, against formulas, and against its own laws."""

import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial import ConvexHull

from flatcheck.sweep import Sweep, sweep

KERNEL = sys.modules[sweep.__module__]
TOLERANCE_MM = 1e-9


def chord_gap(window):
    """The definition by trial: the deepest sample under any chord of the window, O(n^3)."""
    n = len(window)
    worst = 0.0
    for left in range(n - 2):
        for right in range(left + 2, n):
            share = np.arange(1, right - left) / (right - left)
            chord = window[left] * (1 - share) + window[right] * share
            worst = max(worst, np.max(chord - window[left + 1 : right]))
    return worst


def hull_gap(window):
    """The upper facets of scipy's hull, less the window.

    One point far below the middle keeps a window that is a straight line from having no area.
    """
    n = len(window)
    x = np.arange(n)
    below = ((n - 1) / 2, window.min() - np.ptp(window) - n)
    facets = ConvexHull(np.vstack((np.column_stack((x, window)), below))).equations
    upper = facets[facets[:, 1] > 1e-12]
    height = np.min(-(upper[:, [0]] * x + upper[:, [2]]) / upper[:, [1]], axis=0)
    return np.max(height - window)


def expected(profiles, samples, oracle):
    """The oracle on every window, NaN where the window holds a place that is no floor."""
    windows = np.lib.stride_tricks.sliding_window_view(profiles, samples, axis=1)
    # Subtracting a reading from its neighbors is exact where they are close, so it costs no digits.
    return np.array(
        [[oracle(w - w[0]) if np.all(np.isfinite(w)) else np.nan for w in row] for row in windows]
    )


def assert_rests(profiles, samples, got: Sweep):
    """The named contacts carry a bar that no sample of the window rises above, `gap` over `at`."""
    for row, start in np.ndindex(got.gap.shape):
        gap = got.gap[row, start]
        at, left, right = (int(of[row, start]) for of in (got.at, got.left, got.right))
        if np.isnan(gap):
            assert (at, left, right) == (-1, -1, -1)
        elif gap == 0:
            assert (at, left, right) == (start, start, start)
        else:
            assert start <= left < at < right < start + samples
            z = profiles[row] - profiles[row, at]
            x = np.arange(start, start + samples)
            bar = z[left] + (z[right] - z[left]) / (right - left) * (x - left)
            assert np.all(bar - z[start : start + samples] >= -TOLERANCE_MM)
            assert bar[at - start] == pytest.approx(gap, abs=TOLERANCE_MM)


def random_floor(kind, rng, shape):
    if kind == "noise":
        return rng.normal(0, 1, shape)
    if kind == "ties":
        return rng.integers(0, 3, shape).astype(float)
    if kind == "plateaus":
        return np.repeat(rng.integers(0, 4, shape), 5, axis=1)[:, : shape[1]] * 0.7
    if kind == "collinear runs":
        return (
            np.cumsum(np.repeat(rng.integers(-2, 3, shape), 4, axis=1)[:, : shape[1]], axis=1) / 3
        )
    if kind == "steps of a reading":
        return np.round(np.cumsum(rng.normal(0, 0.3, shape), axis=1), 1)
    if kind == "far datum":
        return 1e6 + rng.normal(0, 1, shape)
    if kind == "far datum with ties":
        return 1e6 + rng.integers(0, 3, shape) * 0.1
    if kind == "domes":
        return -((np.arange(shape[1]) - rng.uniform(0, shape[1], (shape[0], 1))) ** 2) / 50
    if kind == "waves":
        return np.sin(np.arange(shape[1]) / rng.uniform(1, 8, (shape[0], 1))) * 2
    holes = rng.random(shape) < 0.06
    return np.where(holes, np.nan, rng.normal(0, 1, shape))


KINDS = [
    "noise",
    "ties",
    "plateaus",
    "collinear runs",
    "steps of a reading",
    "far datum",
    "far datum with ties",
    "domes",
    "waves",
    "holes",
]
SHAPES = [(1, 23, 3), (3, 23, 23), (2, 24, 4), (2, 37, 6), (1, 30, 9), (2, 26, 13), (2, 31, 17)]


@pytest.mark.parametrize(("rows", "n", "samples"), SHAPES)
@pytest.mark.parametrize("kind", KINDS)
def test_equals_the_search_over_all_chords(kind, rows, n, samples):
    """Every gap is the deepest place under any chord of its window, and its contacts carry it."""
    profiles = random_floor(kind, np.random.default_rng(n * samples), (rows, n))
    got = sweep(profiles, samples)
    want = expected(profiles, samples, chord_gap)
    np.testing.assert_allclose(got.gap, want, rtol=0, atol=TOLERANCE_MM)
    assert_rests(profiles, samples, got)


@pytest.mark.parametrize("samples", [3, 8, 33, 60, 121])
@pytest.mark.parametrize("kind", KINDS)
def test_equals_scipys_hull(kind, samples):
    """Every gap is the upper hull of its window, as scipy finds it, less the profile."""
    profiles = random_floor(kind, np.random.default_rng(samples), (2, 150))
    got = sweep(profiles, samples)
    np.testing.assert_allclose(got.gap, expected(profiles, samples, hull_gap), rtol=0, atol=1e-9)
    assert_rests(profiles, samples, got)


@pytest.mark.parametrize("samples", [3, 5, 16, 40])
def test_parts_and_tables_leave_no_seam(samples, monkeypatch):
    """The size of the parts that the work is done in has no influence on any result."""
    profiles = random_floor("holes", np.random.default_rng(7), (5, 90))
    whole = sweep(profiles, samples)
    monkeypatch.setattr(KERNEL, "SAMPLES_AT_ONCE", 50)
    monkeypatch.setattr(KERNEL, "TABLE_CELLS", 40)
    parts = sweep(profiles, samples)
    for name in ("gap", "at", "left", "right"):
        np.testing.assert_array_equal(getattr(parts, name), getattr(whole, name))


def test_shapes_and_types():
    """One answer for each placement of the bar along each row, in the promised types."""
    got = sweep(np.zeros((3, 10)), 4)
    for name, kind in (("gap", float), ("at", np.int32), ("left", np.int32), ("right", np.int32)):
        assert getattr(got, name).shape == (3, 7)
        assert getattr(got, name).dtype == kind


@pytest.mark.parametrize("shape", [(4, 6), (4, 0), (0, 6), (0, 20)])
def test_no_placement(shape):
    """A row shorter than the bar has no placement, and no rows have none."""
    got = sweep(np.zeros(shape), 7)
    assert got.gap.shape == got.at.shape == (shape[0], max(shape[1] - 6, 0))


@pytest.mark.parametrize("samples", [2, 1, 0, -5])
def test_bar_too_short(samples):
    """A bar with no sample between its ends is refused."""
    with pytest.raises(ValueError, match="none between its ends"):
        sweep(np.zeros((2, 9)), samples)


def test_profiles_are_left_alone():
    """The caller's heights are not written to."""
    profiles = random_floor("holes", np.random.default_rng(1), (3, 40))
    before = profiles.copy()
    sweep(profiles, 7)
    np.testing.assert_array_equal(profiles, before)


def test_one_hole_takes_just_the_windows_over_it():
    """A hole at sample h leaves no answer for placements h-samples+1 to h, and all others as is."""
    samples, hole = 9, 20
    solid = np.random.default_rng(3).normal(size=(1, 60))
    pierced = solid.copy()
    pierced[0, hole] = np.nan
    got, want = sweep(pierced, samples), sweep(solid, samples)
    over = np.isin(np.arange(60 - samples + 1), np.arange(hole - samples + 1, hole + 1))
    np.testing.assert_array_equal(np.isnan(got.gap[0]), over)
    np.testing.assert_allclose(got.gap[0, ~over], want.gap[0, ~over], rtol=0, atol=TOLERANCE_MM)
    np.testing.assert_array_equal(got.at[0, ~over], want.at[0, ~over])


def test_far_datum_costs_no_digits():
    """Heights in 1/64 mm, 2^30 mm above their datum, give the gaps they give on it to 1e-9 mm."""
    near = np.random.default_rng(5).integers(0, 300, (3, 70)) / 64
    got, want = sweep(near + 2.0**30, 24), sweep(near, 24)
    np.testing.assert_allclose(got.gap, want.gap, rtol=0, atol=TOLERANCE_MM)


def test_no_floor_at_all():
    """A raster with no floor, of NaN or of infinite heights, has no gap anywhere."""
    for nothing in (np.nan, np.inf, -np.inf):
        got = sweep(np.full((2, 12), nothing), 5)
        assert np.all(np.isnan(got.gap))
        assert np.all(got.at == -1)


@pytest.mark.parametrize("samples", [3, 21, 50, 120])
def test_dome_has_no_gap(samples):
    """On a dome the bar's contacts are neighbors wherever it lies: no gap, and no place of one."""
    x = np.arange(200.0)
    got = sweep(-((x - 90) ** 2)[None], samples)
    assert np.all(got.gap == 0)
    np.testing.assert_array_equal(got.at[0], np.arange(200 - samples + 1))


@pytest.mark.parametrize("length", [2, 10, 60, 122])
def test_bowl(length):
    """In a bowl z = c x^2 a bar of length L spans a gap c L^2/4, the same wherever it lies."""
    c = 3e-4
    x = np.arange(300.0)
    got = sweep(c * (x - 110)[None] ** 2, length + 1)
    np.testing.assert_allclose(got.gap, c * length**2 / 4, rtol=0, atol=TOLERANCE_MM)
    start = np.arange(300 - length)
    np.testing.assert_array_equal(got.at[0], start + length // 2)
    np.testing.assert_array_equal(got.left[0], start)
    np.testing.assert_array_equal(got.right[0], start + length)


@pytest.mark.parametrize("length", [4, 20, 50, 100, 144, 200])
def test_sine(length):
    """The worst gap under a bar of length L <= lambda on a sine is A (1 - cos(pi L/lambda))."""
    amplitude, wave = 2.5, 200
    x = np.arange(3 * wave + 1)
    got = sweep(-amplitude * np.cos(2 * np.pi * x / wave)[None], length + 1)
    worst = amplitude * (1 - np.cos(np.pi * length / wave))
    assert np.max(got.gap) == pytest.approx(worst, abs=TOLERANCE_MM)
    assert np.argmax(got.gap[0]) % wave == -(length // 2) % wave


def test_v_groove():
    """Over one low sample the gap is its depth while it lies between the ends of the bar."""
    depth, samples, groove = 4.0, 11, 30
    profile = np.zeros((1, 61))
    profile[0, groove] = -depth
    got = sweep(profile, samples)
    start = np.arange(got.gap.shape[1])
    spanned = (start < groove) & (groove < start + samples - 1)
    np.testing.assert_array_equal(got.gap[0], np.where(spanned, depth, 0))
    np.testing.assert_array_equal(got.at[0], np.where(spanned, groove, start))


heights = st.floats(-100, 100).map(lambda mm: round(mm, 3))
rasters = st.tuples(st.integers(1, 3), st.integers(3, 40)).flatmap(
    lambda shape: arrays(float, shape, elements=heights)
)
bars = st.integers(3, 40)


@given(rasters, bars, st.floats(-10, 10), st.floats(-1e4, 1e4))
@settings(deadline=None)
def test_tilt_and_datum_leave_the_gaps(profiles, samples, tilt_ratio, datum_mm):
    """Adding a plane to the heights changes no gap."""
    tilted = profiles + datum_mm + tilt_ratio * np.arange(profiles.shape[1])
    got, want = sweep(tilted, samples).gap, sweep(profiles, samples).gap
    np.testing.assert_allclose(got, want, rtol=0, atol=TOLERANCE_MM)


@given(rasters, bars)
@settings(deadline=None)
def test_mirror(profiles, samples):
    """Reading the rows from the other end mirrors the gaps."""
    got, want = sweep(profiles[:, ::-1], samples).gap, sweep(profiles, samples).gap
    np.testing.assert_allclose(got[:, ::-1], want, rtol=0, atol=TOLERANCE_MM)


def test_mirror_of_places():
    """Where no two places tie, reading from the other end mirrors places and swaps contacts."""
    profiles = np.random.default_rng(11).normal(size=(4, 80))
    got, want = sweep(profiles[:, ::-1], 14), sweep(profiles, 14)
    np.testing.assert_array_equal(79 - got.at[:, ::-1], want.at)
    np.testing.assert_array_equal(79 - got.left[:, ::-1], want.right)
    np.testing.assert_array_equal(79 - got.right[:, ::-1], want.left)


@given(rasters, bars)
@settings(deadline=None)
def test_longer_bar(profiles, samples):
    """A longer bar over the same floor never shows a smaller gap."""
    short, long = sweep(profiles, samples).gap, sweep(profiles, samples + 1).gap
    assert np.all(long >= np.maximum(short[:, :-1], short[:, 1:]) - TOLERANCE_MM)


@given(rasters, bars, st.floats(0.01, 100))
@settings(deadline=None)
def test_scale(profiles, samples, factor):
    """Heights in another unit give the gaps in that unit."""
    got, want = sweep(profiles * factor, samples).gap, sweep(profiles, samples).gap * factor
    np.testing.assert_allclose(got, want, rtol=1e-9, atol=TOLERANCE_MM)
