"""The tile itself: bow and twist by definition, on a bench and held against others."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatcheck.errors import SurveyError
from flatcheck.tile import Bow, Tile
from flatcheck.warpage import Bench, Face, Pair, bow_of, departures, pair_bows, variation, warpage


def paraboloid(crown: float, saddle: float) -> Face:
    """Heights of crown (x² + y²) + saddle x y over corners at ±1, middles of edges, and center."""

    def z(x: float, y: float) -> float:
        return crown * (x * x + y * y) + saddle * x * y

    return Face(
        (z(-1, -1), z(1, -1), z(1, 1), z(-1, 1)), (z(0, -1), z(1, 0), z(0, 1), z(-1, 0)), z(0, 0)
    )


def test_a_bowed_tile() -> None:
    """A dome is 1 unit high over every edge and 2 over the diagonals, and not twisted."""
    found = warpage(paraboloid(-1.0, 0.0))
    assert found.edges_mm == (1.0, 1.0, 1.0, 1.0)
    assert found.diagonals_mm == (2.0, 2.0)
    assert found.twist_mm == 0.0


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3))
def test_how_the_tile_lies_does_not_matter(height: float, dx: float, dy: float, bow: float) -> None:
    """A tile lying higher or aslant departs by no more and no less."""
    flat = paraboloid(bow, 0.7)
    at = ((-1, -1), (1, -1), (1, 1), (-1, 1)), ((0, -1), (1, 0), (0, 1), (-1, 0))
    corners = tuple(
        z + height + dx * x + dy * y for z, (x, y) in zip(flat.corners_mm, at[0], strict=True)
    )
    edges = tuple(
        z + height + dx * x + dy * y for z, (x, y) in zip(flat.edges_mm, at[1], strict=True)
    )
    tilted, plain = warpage(Face(corners, edges, flat.center_mm + height)), warpage(flat)
    assert tilted.edges_mm == pytest.approx(plain.edges_mm, abs=1e-9)
    assert tilted.diagonals_mm == pytest.approx(plain.diagonals_mm, abs=1e-9)
    assert tilted.twist_mm == pytest.approx(plain.twist_mm, abs=1e-9)


def on_bench(face: Face, name: str = "1", size=(None, None), u_mm: float = 0.1) -> Bench:
    return Bench(name, face, size, u_mm, "bench.csv, row 2, cell A2", "")


def pair(one: str, two: str, gap_mm: float, u_mm: float = 0.1) -> Pair:
    return Pair(one, two, gap_mm, u_mm, "pairs.csv, row 2, cell C2", str(gap_mm))


def test_what_one_tile_departs_by() -> None:
    """Four edges over their own lengths, two centers and a twist over the diagonal, each with u.

    The middle less half of each of two corners: u √(1 + 1/4 + 1/4); four corners: 2 u.
    """
    found = departures(Tile(400, 300), (on_bench(paraboloid(-1.0, 0.25)),))
    assert [one.part for one in found] == ["edge"] * 4 + ["diagonal"] * 2 + ["twist"]
    assert [one.over_mm for one in found] == [400, 300, 400, 300, 500, 500, 500]
    assert [one.value_mm for one in found] == [1, 1, 1, 1, 1.75, 2.25, -1]
    assert [one.u_mm for one in found] == pytest.approx([0.1 * math.sqrt(1.5)] * 6 + [0.2])


def test_uncertainty_by_simulation() -> None:
    """Heights that err by u make departures that err by their stated u, to 3 % in 20,000 draws."""
    rng = np.random.default_rng(10545)
    draws = rng.normal(0, 0.1, (20_000, 9))
    found = np.array(
        [
            [
                one.value_mm
                for one in departures(
                    Tile(400, 300), (on_bench(Face(tuple(d[:4]), tuple(d[4:8]), d[8])),)
                )
            ]
            for d in draws.tolist()
        ]
    )
    stated = [one.u_mm for one in departures(Tile(400, 300), (on_bench(paraboloid(0, 0)),))]
    assert found.std(axis=0) == pytest.approx(np.array(stated), rel=0.03)


def test_three_tiles_in_pairs() -> None:
    """Hollows of 0.4, 0.7 and 0.1 mm stand 1.1, 0.5 and 0.8 mm apart in pairs, and come back.

    Each is half the sum of its two gaps less the third: u = √3/2 of one.
    """
    gaps = (pair("a", "b", 1.1), pair("a", "c", 0.5), pair("b", "c", 0.8))
    found = pair_bows(gaps)
    assert {name: bow for name, (bow, _) in found.items()} == pytest.approx(
        {"a": -0.4, "b": -0.7, "c": -0.1}
    )
    assert [u for _, u in found.values()] == pytest.approx([0.1 * math.sqrt(3) / 2] * 3)


def test_more_pairs_tell_more_closely() -> None:
    """Five tiles in all ten pairs: the bows come back, each better known than of three."""
    bows = {"a": 0.3, "b": -0.2, "c": 0.0, "d": -1.1, "e": 0.05}
    names = list(bows)
    pairs = [pair(p, q, -bows[p] - bows[q]) for i, p in enumerate(names) for q in names[i + 1 :]]
    found = pair_bows(pairs)
    assert {name: bow for name, (bow, _) in found.items()} == pytest.approx(bows, abs=1e-12)
    # Normal equations of all pairs of n tiles: (n - 2) I + ones; the diagonal of the inverse.
    n = len(names)
    u = 0.1 * math.sqrt((1 - 1 / (2 * n - 2)) / (n - 2))
    assert [spread for _, spread in found.values()] == pytest.approx([u] * n)


def test_a_worse_gap_counts_for_less() -> None:
    """Two readings of one pair count by their uncertainty: 1.0 ± 0.1 and 2.0 ± 0.3 make 1.1."""
    rest = (pair("a", "c", 0.5), pair("b", "c", 0.5))
    found = pair_bows((pair("a", "b", 1.0), pair("b", "a", 2.0, 0.3), *rest))
    assert found["a"][0] + found["b"][0] == pytest.approx(-1.1)


@pytest.mark.parametrize(
    "pairs",
    [
        (("a", "b"),),
        (("a", "b"), ("b", "c")),
        (("a", "b"), ("b", "c"), ("c", "d"), ("d", "a")),
        (("x", "y"), ("y", "z"), ("z", "x"), ("a", "b")),
    ],
)
def test_pairs_that_do_not_tell(pairs: tuple[tuple[str, str], ...]) -> None:
    """Pairs without a ring of an odd number of tiles leave a bow open, and the tile is named."""
    with pytest.raises(SurveyError, match=r"^tile '[abcd]': the pairs do not tell its bow"):
        pair_bows([pair(*names, 0.5) for names in pairs])


def test_too_many_pairs() -> None:
    """Nobody holds so many tiles against each other."""
    with pytest.raises(SurveyError, match="501 pairs of tiles are more"):
        pair_bows([pair("a", "b", 0.0)] * 501)


def test_the_bow_of_a_box() -> None:
    """Of long edges and diagonals the largest of any tile with its sign; short edges are none."""
    faces = (Face((0,) * 4, (0.3, 0.9, -0.5, 0), 0.2), Face((0,) * 4, (0.4, 0, 0, 0), -0.7))
    benches = [on_bench(face) for face in faces]
    tile = Tile(600, 300)
    found = bow_of(tile, departures(tile, benches))
    assert found == Bow(-0.5, -0.7, measured=True, u_mm=0.1 * math.sqrt(1.5))
    assert found.most_mm == 0.7
    turned = Tile(300, 600)
    assert bow_of(turned, departures(turned, benches[:1])).edge_mm == 0.9
    with pytest.raises(SurveyError, match="no tile was measured"):
        bow_of(tile, ())


def test_how_much_tiles_vary() -> None:
    """The larger of the spreads of length and width; one tile alone says nothing."""
    flat = paraboloid(0, 0)
    sizes = ((600.0, 299.0), (600.4, None), (599.9, 300.0))
    assert variation(Tile(600, 300), [on_bench(flat, size=size) for size in sizes]) == 1.0
    assert variation(Tile(600, 300), [on_bench(flat, size=sizes[0])]) is None
    assert variation(Tile(600, 300), [pair("a", "b", 0.1)]) is None
