"""What a plan on paper is drawn from: bands of departures and outlines of spots, as geometry."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from flatcheck.report.relief import STEPS, band_edges, bands, edges_of
from flatcheck.units import STYLES, Style

GRID = np.stack(np.meshgrid(np.arange(5) * 100.0, np.arange(4) * 100.0), axis=-1).reshape(-1, 2)
MESH = Delaunay(GRID).simplices
EDGES = (-4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0)


def area(ring: list[tuple[float, float, float]]) -> float:
    """The area of a polygon, by the shoelace formula."""
    x, y = np.array(ring)[:, 0], np.array(ring)[:, 1]
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2


@given(st.lists(st.floats(-6, 6), min_size=len(GRID), max_size=len(GRID)))
@settings(max_examples=60, deadline=None)
def test_bands_cover_the_floor_once(heights: list[float]) -> None:
    """The bands together have the area of the triangles, and hold only their own values."""
    found = bands(GRID, np.array(heights), MESH, EDGES)
    assert sum(area(ring) for band in found for ring in band) == pytest.approx(400 * 300, rel=1e-9)
    inner = (-math.inf, *EDGES[1:-1], math.inf)
    for band, low, high in zip(found, inner, inner[1:], strict=False):
        values = [value for ring in band for _, _, value in ring]
        assert all(low - 1e-9 <= value <= high + 1e-9 for value in values)


def test_bands_of_a_slope_are_strips() -> None:
    """On a floor that rises evenly from -4 to 4 each band is a strip of its own width."""
    found = bands(GRID, GRID[:, 0] / 50 - 4, MESH, EDGES)
    areas = [sum(area(ring) for ring in band) for band in found]
    assert areas == pytest.approx([50 * 300, 50 * 300, 50 * 300, 100 * 300] + [50 * 300] * 3)


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES.keys())
@given(st.floats(0, 1000))
@settings(max_examples=40, deadline=None)
def test_colors_are_even_about_zero(style: Style, most: float) -> None:
    """The edges are whole steps of the person's units, even about zero, and reach the most."""
    edges = band_edges(most, style)
    step = edges[STEPS]
    finest = 25.4 / style.denominator if style.unit == "in" else 10.0**-style.decimals
    assert edges == pytest.approx([step * k for k in (-4, -3, -2, -1, 1, 2, 3, 4)])
    assert step / finest == pytest.approx(max(1, round(step / finest)))
    assert edges[-1] >= most * (1 - 1e-9)
    assert step == pytest.approx(finest) or edges[-1] - STEPS * finest < most * (1 + 1e-9)


def closed(pieces: list[np.ndarray]) -> bool:
    """Whether pieces of line join into closed ones: every end belongs to two of them."""
    ends = [tuple(np.round(end, 6)) for piece in pieces for end in (piece[0], piece[-1])]
    return all(ends.count(end) % 2 == 0 for end in ends)


@given(st.sets(st.integers(0, len(GRID) - 1), min_size=1, max_size=len(GRID)))
@settings(max_examples=60, deadline=None)
def test_an_outline_is_closed(stations: set[int]) -> None:
    """Whatever stations belong to a spot, its outline has no open end."""
    assert closed(edges_of(GRID, MESH, sorted(stations)))


def test_the_outline_of_all_is_the_rim() -> None:
    """A spot of all stations is outlined by the rim of the readings."""
    pieces = edges_of(GRID, MESH, range(len(GRID)))
    length = sum(float(np.hypot(*np.diff(piece, axis=0).T).sum()) for piece in pieces)
    assert length == pytest.approx(2 * (400 + 300))
