"""Classes of tile: sources, limits by percentage and cap, and the tile each is meant for."""

import pytest

from flatcheck.errors import RuleError
from flatcheck.product import PRODUCTS, Product, allowed, both, holds_for, product_named
from flatcheck.rules import CERTAINTY
from flatcheck.tile import Tile
from flatcheck.units import parse_length


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


def test_the_large_class_is_for_large_tile() -> None:
    """The larger cap is for a side over 24 in, not for 24 in itself."""
    large = product_named("ansi-rectified-large")
    side = parse_length("24 in")
    assert not holds_for(large, Tile(side, side))
    assert holds_for(large, Tile(side + 1, side))
