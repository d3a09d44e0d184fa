"""The terms of a correction: defaults with their sources, and what a person may put in."""

import math
from typing import Any

import numpy as np
import pytest
from slabs import slab

from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.terms import (
    LEVELER,
    MORTAR,
    MOST,
    PATCH,
    SAID,
    SUBSTRATES,
    Material,
    Terms,
    grind_cost,
    unit_cost,
    weighed,
)
from flatcheck.units import KG_PER_POUND, MM_PER_FOOT, MM_PER_INCH

FLAT = np.zeros((3, 3))
CUBIC_FOOT_L = MM_PER_FOOT**3 / 1e6
SQUARE_FOOT_M2 = MM_PER_FOOT**2 / 1e6


def terms(**correction: Any) -> Terms:
    """The terms that a survey gives."""
    return slab(FLAT, correction=correction).terms


def refused(**correction: Any) -> str:
    """Why terms cannot be used: one sentence that names the key."""
    with pytest.raises(FlatcheckError) as caught:
        terms(**correction)
    said = str(caught.value)
    assert said.endswith(".")
    assert "correction" in said or "patch" in said
    return said


# Defaults


def test_nothing_said() -> None:
    """Without a section the terms are the defaults, and none is the person's own."""
    read = slab(FLAT, correction=None).terms
    assert read == Terms()
    assert read.own == ()
    assert (read.patch, read.leveler, read.mortar) == (PATCH, LEVELER, MORTAR)


def test_mortar_weighs_12_pounds() -> None:
    """A mortar bed weighs 12 lb/ft2 for each inch, 3 lb/ft2 for each quarter (one trade page)."""
    for inches, pounds in ((1.0, 12.0), (0.25, 3.0)):
        kg_m2 = inches * MM_PER_INCH * MORTAR.wet_kg_l
        assert kg_m2 * SQUARE_FOOT_M2 / KG_PER_POUND == pytest.approx(pounds)


@pytest.mark.parametrize("material", [PATCH, LEVELER, MORTAR], ids=lambda m: m.name)
def test_a_default_says_where_it_is_from(material: Material) -> None:
    """Every material says its sources, and what of it is common practice without one."""
    assert "trade page" in material.said
    assert "no source" in material.said
    assert "no source" in SAID


def test_a_bag_of_leveler() -> None:
    """The default yield is the middle of 0.42 and 0.52 cubic ft from 50 lb."""
    assert LEVELER.bag_kg == pytest.approx(50 * KG_PER_POUND)
    assert LEVELER.yield_l == pytest.approx((0.42 + 0.52) / 2 * CUBIC_FOOT_L)


# What a person gives


def test_a_rate_of_their_own_replaces_the_default() -> None:
    """Rates, prices and amounts are those that were given; the others stay as they are."""
    read = terms(
        labor=80, grind_rate="2.5 l per h", grinder=0, waste=0.05, primer=2.5, dam=0,
        most_grind="1/8 in", feather="1:20", placing="1 mm", substrate=["concrete", "heated"],
    )  # fmt: skip
    assert (read.labor, read.grind_l_h, read.grinder) == (80, 2.5, 0)
    assert (read.waste, read.primer_m2, read.dam) == (0.05, 2.5, 0)
    assert read.most_grind_mm == pytest.approx(MM_PER_INCH / 8)
    assert (read.feather, read.placing_mm) == (0.05, 1)
    assert read.substrate == ("concrete", "heated")
    assert set(read.own) == {
        "labor", "grind_rate", "grinder", "waste", "primer", "dam",
        "most_grind", "feather", "placing", "substrate",
    }  # fmt: skip
    assert read.patch == PATCH


def test_a_data_sheet() -> None:
    """What stands on the data sheet of a bag replaces the default, and is said to be given."""
    sheet = {"bag": "20 kg", "yield": "12 l", "price": 25, "least": "3 mm", "most": "40 mm"}
    own = terms(leveler=sheet | {"rate": 15, "wait": 6}).leveler
    assert (own.bag_kg, own.yield_l, own.price) == (20, 12, 25)
    assert (own.least_mm, own.most_mm, own.bags_h, own.wait_h) == (3, 40, 15, 6)
    assert own.wet_kg_l == LEVELER.wet_kg_l
    assert own.said.startswith("bag, yield, price, least, most, rate, wait as you gave them.")


def test_another_bag_of_the_same_powder() -> None:
    """A bag of another weight gives as much for its weight; a yield that was given stands."""
    assert terms(patch={"bag": "50 lb"}).patch.yield_l == pytest.approx(2 * PATCH.yield_l)
    assert terms(patch={"bag": "50 lb", "yield": "9 l"}).patch.yield_l == 9


@pytest.mark.parametrize(
    ("said", "kg_m2"),
    [
        ("10 lb/ft2", 10 * KG_PER_POUND / SQUARE_FOOT_M2),
        ("10 lb per sq ft", 10 * KG_PER_POUND / SQUARE_FOOT_M2),
        ("50 kg/m²", 50.0),
        ("50kg/m2", 50.0),
        ("0 kg/m2", 0.0),
    ],
)
def test_load(said: str, kg_m2: float) -> None:
    """A load is given on a square foot or a square meter."""
    assert terms(load=said).load_kg_m2 == pytest.approx(kg_m2)


def test_no_load_is_none() -> None:
    """A load that nobody gave is not zero."""
    assert terms(labor=1).load_kg_m2 is None


# Costs


def test_unit_cost_of_a_material() -> None:
    """A cubic millimeter costs its share of a bag, of what is lost, and of an hour's work."""
    own = terms(labor=60, waste=0.2, patch={"bag": "10 kg", "yield": "5 l", "price": 20, "rate": 3})
    assert unit_cost(own.patch, own) == pytest.approx((20 * 1.2 + 60 / 3) / 5e6)


def test_unit_cost_of_grinding() -> None:
    """A cubic millimeter ground costs an hour's work by the liters that come off in it."""
    assert grind_cost(terms(labor=60, grind_rate="1.5 l/h")) == pytest.approx(60 / 1.5e6)


@pytest.mark.parametrize(
    ("labor", "price", "want"),
    [(60, 20, (40 / 5, 60 / 1.5)), (0, 20, (4, 0.004)), (0, 0, (1, 1))],
)
def test_free_work_counts_by_its_volume(
    labor: float, price: float, want: tuple[float, float]
) -> None:
    """What is free counts for a thousandth of the dearer, and by the liter where all is free."""
    patch = {"bag": "10 kg", "yield": "5 l", "price": price, "rate": 3}
    own = terms(labor=labor, waste=0, patch=patch)
    assert weighed(own, own.patch) == pytest.approx(tuple(each * 1e-6 for each in want))
    assert weighed(own, own.patch, grind=False) == pytest.approx((want[0] * 1e-6,) * 2)


# What is refused


@pytest.mark.parametrize("value", [-1, math.nan, math.inf, 1e10, 1e300, True, "5", [1]])
@pytest.mark.parametrize("key", ["labor", "grinder", "primer", "waste", "dam"])
def test_no_price(key: str, value: Any) -> None:
    """A price below zero, of no number or of too many digits is refused by its key."""
    assert f"correction.{key}" in refused(**{key: value})


@pytest.mark.parametrize("value", [-1, 0, math.nan, math.inf, 1e10, 1e-300])
def test_no_rate(value: float) -> None:
    """A rate of nothing, or beyond all reason, is refused: hours are worked out from it."""
    assert "rate" in refused(patch={"rate": value})


@pytest.mark.parametrize("value", ["0 l", "-1 l", "1e9 l", "nan l", "5", 5, "5 kg", "999999999 m3"])
def test_no_yield(value: Any) -> None:
    """A yield is a volume with its unit, larger than zero."""
    assert "yield" in refused(patch={"yield": value})


@pytest.mark.parametrize("value", ["0 l", "2", 2, "-1 l/h", "2 kg/h", "0.000000001 g"])
def test_no_grind_rate(value: Any) -> None:
    """What a grinder takes off in an hour is a volume with its unit, larger than zero."""
    assert "correction.grind_rate" in refused(grind_rate=value)


@pytest.mark.parametrize(
    "value", ["10", 10, "10 kg", "-5 kg/m2", "x kg/m2", True, "999999999 lb/ft2"]
)
def test_no_load(value: Any) -> None:
    """A load without its unit, or below zero, is refused."""
    assert "correction.load" in refused(load=value)


@pytest.mark.parametrize("key", ["most_grind", "placing"])
@pytest.mark.parametrize("value", ["-1 mm", -1, "x", True])
def test_no_depth(key: str, value: Any) -> None:
    """A depth below zero, or none, is refused."""
    assert f"correction.{key}" in refused(**{key: value})


@pytest.mark.parametrize("value", ["0", "-1:20", 0, "x"])
def test_no_feather(value: Any) -> None:
    """A patch has some edge: a slope of zero or below is refused."""
    assert "correction.feather" in refused(feather=value)


@pytest.mark.parametrize("value", ["marble", ["concrete", "marble"], ["x" * 200]])
def test_substrate_unknown(value: Any) -> None:
    """What nobody knows of is refused with the words that are known."""
    said = refused(substrate=value)
    assert all(word in said for word in SUBSTRATES)
    assert len(said) < 300


def test_more_than_it_may_be() -> None:
    """A least thickness above the most is refused."""
    assert "least" in refused(patch={"least": "20 mm", "most": "10 mm"})


@pytest.mark.parametrize("section", ["correction", "patch"])
def test_unknown_key(section: str) -> None:
    """A key that is none is refused with those that are known."""
    said = refused(colour=1) if section == "correction" else refused(patch={"colour": 1})
    assert "'colour' is not known here" in said


def test_largest_numbers_stay_finite() -> None:
    """The largest prices and smallest rates that are taken give costs that are numbers."""
    dear = Material("dear", 1, 1 / MOST, 1, MOST, 0, 1, 1 / MOST, 0, "")
    costly = Terms(labor=MOST, waste=MOST, grind_l_h=1 / MOST, patch=dear)
    assert math.isfinite(unit_cost(dear, costly))
    assert math.isfinite(grind_cost(costly))


# Parts of the floor that are kept


def keep(**own: Any) -> dict[str, Any]:
    return {"outline": [[0, 0], [500, 0], [500, 500], [0, 500]]} | own


def test_keeps() -> None:
    """A part is neither ground nor filled but where it says so."""
    read = slab(FLAT, keep=[keep(name="hatch"), keep(grind=True), keep(fill=True)]).terms.keeps
    assert [one.outline.name for one in read] == ["hatch", "part to keep 2", "part to keep 3"]
    assert [(one.grind, one.fill) for one in read] == [(False, False), (True, False), (False, True)]


@pytest.mark.parametrize("value", ["yes", 1, None])
def test_keep_is_yes_or_no(value: Any) -> None:
    """Whether a part may be ground is true or false."""
    wrong = keep(name="hatch", grind=value) if value is not None else keep(name="hatch", much=1)
    with pytest.raises(SurveyError, match=r"hatch|not known"):
        slab(FLAT, keep=[wrong])
