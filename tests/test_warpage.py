"""The tile itself: bow and twist by definition, product limits, joints and offsets that follow."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatcheck.errors import RuleError, SurveyError
from flatcheck.rules import CERTAINTY
from flatcheck.tile import Bow, Tile
from flatcheck.units import parse_length
from flatcheck.warpage import (
    OFFSETS,
    PRODUCTS,
    Face,
    Product,
    allowed,
    back_to_back,
    both,
    bow_at_offset,
    bow_of,
    excess,
    face_down,
    inherent,
    least_joint,
    may_offset,
    product_named,
    warpage,
)

LARGE = Tile(parse_length("24 in"), parse_length("12 in"))
SQUARE = Tile(parse_length("24 in"), parse_length("24 in"))


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
    assert found.center_mm == 2.0
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


def test_face_down_on_a_bench() -> None:
    """A crowned tile face down touches at its middle; the gaps at its corners are its crown."""
    found = warpage(face_down((2, 2, 2, 2), (1, 1, 1, 1), 0))
    assert found.center_mm == 2
    assert found.edges_mm == (1, 1, 1, 1)


def test_inherent_is_the_worst_of_the_box() -> None:
    """The warpage of the tiles is the largest along an edge or diagonal of any of them."""
    assert inherent((warpage(paraboloid(0.1, 0.0)), warpage(paraboloid(-0.4, 0.0)))) == 0.8
    with pytest.raises(SurveyError, match="no tile was measured"):
        inherent(())


def test_three_tiles_back_to_back() -> None:
    """Bows of 0.4, 0.7 and 0.1 mm give gaps of 1.1, 0.5 and 0.8 in pairs, and come back."""
    bows, u = back_to_back(1.1, 0.5, 0.8, 0.1)
    assert bows == pytest.approx((0.4, 0.7, 0.1))
    # (1, 1, -1) / 2 applied to three independent gaps.
    assert u == pytest.approx(0.1 * math.sqrt(3 * 0.5**2))


# Product limits


@pytest.mark.parametrize("product", PRODUCTS, ids=lambda product: product.id)
def test_every_class_has_a_source(product: Product) -> None:
    """Every class says where its figures were seen and how sure we are."""
    assert product.citation.certainty in CERTAINTY
    assert product_named(product.id) is product
    if "memory" in product.citation.source:
        assert product.citation.certainty == "from memory"


def test_unknown_class() -> None:
    """An unknown class is refused in words that name those there are."""
    with pytest.raises(RuleError, match="'iso-soft' is not one of ansi-rectified"):
        product_named("iso-soft")


def test_percent_or_cap_whichever_is_less() -> None:
    """0.4 % of 12 in is under the cap of 0.05 in; of 24 in it is over."""
    edge = product_named("ansi-rectified").edge
    assert allowed(edge, parse_length("12 in"))[1] == pytest.approx(0.048 * 25.4)
    assert allowed(edge, parse_length("24 in"))[1] == pytest.approx(0.05 * 25.4)
    assert allowed(both(0.005, 2.0), 600) == (-2.0, 2.0)


def test_wall_tile_bows_more_than_it_dishes() -> None:
    """Group BIII: +0.5 % and 2.0 mm, but -0.3 % and 1.5 mm."""
    assert allowed(product_named("iso-wall").edge, 200) == pytest.approx((-0.6, 1.0))
    assert allowed(product_named("iso-wall").edge, 2000) == (-1.5, 2.0)


@pytest.mark.parametrize(("edge_mm", "over"), [(1.9, -0.1), (2.0, 0.0), (2.3, 0.3), (-2.3, 0.3)])
def test_excess_over_a_class(edge_mm: float, over: float) -> None:
    """A tile meets its class by its worst departure: 600 mm edges are held to 2 mm by ISO 13006."""
    flat = Face((0, 0, 0, 0), (edge_mm, 0, 0, 0), 0)
    found = excess(warpage(flat), Tile(600, 300), product_named("iso-dry-pressed"))
    assert found == pytest.approx(over)


def test_twist_counts_where_it_is_limited() -> None:
    """A fourth corner 3 mm up is over by ISO; by ANSI its center, 0.75 mm, is not."""
    found = warpage(Face((0, 0, 0, 3.0), (0, 0, 1.5, 1.5), 0.75))
    assert excess(found, Tile(600, 600), product_named("iso-dry-pressed")) == pytest.approx(1.0)
    assert excess(found, Tile(600, 600), product_named("ansi-rectified")) < 0


def test_the_large_class_is_for_large_tile() -> None:
    """The larger cap is for a side over 24 in, not for 24 in itself."""
    found = warpage(paraboloid(0.0, 0.0))
    with pytest.raises(RuleError, match="does not hold for so small"):
        excess(found, SQUARE, product_named("ansi-rectified-large"))
    assert excess(found, Tile(610, 300), product_named("ansi-rectified-large")) < 0


# Joints and offsets


def test_the_bow_of_a_box() -> None:
    """Of long edges and diagonals the largest of any tile with its sign; short edges are none."""
    faces = (Face((0,) * 4, (0.3, 0.9, -0.5, 0), 0.2), Face((0,) * 4, (0.4, 0, 0, 0), -0.7))
    found = bow_of(Tile(600, 300), tuple(warpage(face) for face in faces), 0.05)
    assert found == Bow(-0.5, -0.7, measured=True, u_mm=0.05)
    assert found.most_mm == 0.7
    assert bow_of(Tile(300, 600), (warpage(faces[0]),)).edge_mm == 0.9
    with pytest.raises(SurveyError, match="no tile was measured"):
        bow_of(LARGE, ())


@pytest.mark.parametrize(
    ("variation", "joint"), [("1/16 in", "3/16 in"), ("0 in", "1/16 in"), ("1/64 in", "1/16 in")]
)
def test_joint_from_variation(variation: str, joint: str) -> None:
    """Three times what the tiles vary, never under 1/16 in: 1/16 in asks for 3/16 in."""
    assert least_joint(LARGE, parse_length(variation)) == pytest.approx(parse_length(joint))


@pytest.mark.parametrize(
    ("edges", "warp", "joint"),
    [
        ("rectified", "0 in", "1/8 in"),
        ("calibrated", "0 in", "3/16 in"),
        ("rectified", "1/32 in", "5/32 in"),
    ],
)
def test_joint_in_running_bond(edges: str, warp: str, joint: str) -> None:
    """Over 15 in in running bond: 1/8 or 3/16 in and the edge warpage; 1/8 + 1/32 = 5/32 in."""
    bow = Bow(-parse_length(warp), 0.0)
    found = least_joint(replace(LARGE, edges=edges, bow=bow), 0.0, running_bond=True)
    assert found == pytest.approx(parse_length(joint))
    small = Tile(parse_length("15 in"), parse_length("12 in"), edges=edges)
    assert least_joint(small, 0.0, running_bond=True) == parse_length("1/16 in")


def test_joint_refused() -> None:
    """Edges of another kind and tiles that vary by less than nothing are refused."""
    for edges in ("natural", ""):
        with pytest.raises(SurveyError, match=f"'{edges}' were expected to be one of rectified"):
            least_joint(replace(LARGE, edges=edges), 0.0, running_bond=True)
        assert least_joint(replace(LARGE, edges=edges), 1.0) == 3.0
    with pytest.raises(SurveyError, match="no less than zero"):
        least_joint(LARGE, -1.0)


@pytest.mark.parametrize(
    ("side", "offset", "newer", "older"),
    [
        ("24 in", 1 / 2, False, False),
        ("24 in", 1 / 3, True, True),
        ("24 in", 2 / 3, True, True),
        ("24 in", 0.34, False, False),
        ("18 in", 1 / 2, False, True),
        ("15 in", 1 / 2, True, True),
        ("16 in", 0.0, True, True),
    ],
)
def test_offset_rule(side: str, offset: float, newer: bool, older: bool) -> None:
    """Over 15 in (newer) or 18 in (2013) at most a third; two thirds is a third from the end."""
    by_edition = {rule.id: may_offset(rule, parse_length(side), offset) for rule in OFFSETS}
    assert by_edition == {"over-15": newer, "over-18": older}


def test_bow_at_an_offset() -> None:
    """Half an offset shows all of the bow, a third 8/9, a quarter 3/4, none nothing."""
    shares = {r: bow_at_offset(1.0, r) for r in (0.0, 1 / 4, 1 / 3, 1 / 2)}
    assert shares == pytest.approx({0.0: 0.0, 1 / 4: 3 / 4, 1 / 3: 8 / 9, 1 / 2: 1.0})
