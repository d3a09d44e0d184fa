"""Quantities: from a depth map to bags, hours and money, as one buys them."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from slabs import rough, site_of, slab

from flatcheck.quantities import SETUP_H, Quantities, quantities
from flatcheck.site import Proposal, Site
from flatcheck.terms import LEVELER, MORTAR
from flatcheck.units import KG_PER_POUND, MM_PER_INCH

Floats = npt.NDArray[np.float64]

TEN = {"bag": "20 kg", "yield": "10 l", "price": 20, "rate": 4, "wait": 12}
"""A bag that gives ten liters."""


def takes(
    site: Site, fill: Floats | float = 0.0, grind: Floats | float = 0.0, **more: Any
) -> Quantities:
    """What a proposal with these depths takes, filled with the site's patch."""
    n = len(site.floor.xy_mm)
    depths = [np.broadcast_to(np.asarray(depth, float), n).copy() for depth in (fill, grind)]
    return quantities(site, Proposal("x", "X", depths[0], depths[1], site.terms.patch, **more))


def square(**correction: Any) -> Site:
    """A room of 2 by 2 m, read every 500 mm."""
    return site_of(slab(np.zeros((5, 5)), correction=correction))


def test_nothing_takes_nothing() -> None:
    """No depth takes no bag, no hour and no money, whatever a job costs to set up."""
    none = takes(square(grinder=500, dam=50))
    assert (none.bags, none.hours, none.money, none.wait_h) == (0, 0, 0, 0)
    assert (none.fill_l, none.grind_l, none.fill_m2, none.grind_m2) == (0, 0, 0, 0)


def test_an_even_layer() -> None:
    """A layer of 5 mm over 4 m2 is 20 liters, and weighs what its density says."""
    site = square(patch=TEN, waste=0)
    all_over = takes(site, fill=5.0)
    assert all_over.fill_l == pytest.approx(5 * 4)
    assert all_over.fill_m2 == pytest.approx(4)
    assert all_over.deepest_mm == 5
    assert all_over.fill_kg == pytest.approx(20 * site.terms.patch.wet_kg_l)
    assert all_over.load_kg_m2 == pytest.approx(5 * site.terms.patch.wet_kg_l)


def test_an_inch_of_mortar() -> None:
    """An inch of mortar bed weighs 12 lb on each square foot (one trade page)."""
    site = square()
    inch = np.full(25, MM_PER_INCH)
    bed = quantities(site, Proposal("x", "X", inch, 0 * inch, MORTAR))
    assert bed.load_kg_m2 / KG_PER_POUND * 0.3048**2 == pytest.approx(12)
    assert bed.fill_kg == pytest.approx(bed.load_kg_m2 * 4)


@pytest.mark.parametrize(
    ("depth", "waste", "bags"),
    [(5.0, 0.0, 2), (5.01, 0.0, 3), (5.0, 0.1, 3), (4.5, 0.1, 2), (0.01, 0.0, 1), (25, 0.25, 13)],
)
def test_bags_are_bought_whole(depth: float, waste: float, bags: int) -> None:
    """Volume with waste, by the yield of a bag, is rounded up; a full bag takes no other one."""
    site = square(patch=TEN, waste=waste)
    assert takes(site, fill=depth).bags == bags == math.ceil(depth * 4 * (1 + waste) / 10 - 1e-9)


def test_hours_and_money_of_a_fill() -> None:
    """Bags by the hour and setting up; bags, primer, dams and hours at their prices."""
    site = square(patch=TEN, waste=0, labor=60, primer=1.5, dam=15, grinder=150)
    fill = takes(site, fill=5.0, dams=2, lifts=3)
    assert fill.hours == pytest.approx(2 / 4 + SETUP_H)
    assert fill.money == pytest.approx(2 * 20 + 4 * 1.5 + 2 * 15 + fill.hours * 60)
    assert fill.wait_h == 3 * 12


def test_hours_and_money_of_grinding() -> None:
    """Liters by the hour and setting up; the grinder, and hours at their price."""
    site = square(labor=60, grind_rate="2 l/h", grinder=150)
    ground = takes(site, grind=1.0)
    assert ground.grind_l == pytest.approx(4)
    assert ground.hours == pytest.approx(4 / 2 + SETUP_H)
    assert ground.money == pytest.approx(150 + ground.hours * 60)
    assert (ground.bags, ground.wait_h, ground.fill_kg) == (0, 0, 0)
    assert ground.highest_mm == 1


def test_only_what_is_worked_on_counts() -> None:
    """Area and depth are those of the places that are worked on."""
    site = square()
    fill, grind = np.zeros(25), np.zeros(25)
    fill[12], grind[0] = 4.0, 2.0
    both = takes(site, fill, grind)
    assert both.fill_m2 == pytest.approx(site.area_mm2[12] / 1e6)
    assert both.fill_l == pytest.approx(4 * both.fill_m2)
    assert both.grind_l == pytest.approx(2 * both.grind_m2)
    assert both.hours > 2 * SETUP_H


def test_a_rate_of_their_own() -> None:
    """A rate that was measured replaces the default, in hours and in money."""
    usual, own = square(), square(patch={"rate": 8}, grind_rate="6 l/h", labor=50)
    slow, fast = takes(usual, 5.0, 1.0), takes(own, 5.0, 1.0)
    assert slow.bags == fast.bags
    assert slow.hours == pytest.approx(2 * SETUP_H + slow.bags / 2 + slow.grind_l / 1.5)
    assert fast.hours == pytest.approx(2 * SETUP_H + fast.bags / 8 + fast.grind_l / 6)
    saved = (slow.hours * 60 - fast.hours * 50) - (slow.money - fast.money)
    assert saved == pytest.approx(0)


def test_uncertainty_of_a_volume() -> None:
    """Heights known to u each give a volume known to u times the root of the squared areas."""
    site = square()
    cov = site.floor.cov_mm2
    assert cov.ndim == 1
    fill = np.zeros(25)
    fill[[6, 7, 13]] = 3.0
    found = takes(site, fill)
    areas = site.area_mm2[[6, 7, 13]]
    assert found.u_fill_l == pytest.approx(math.sqrt(areas**2 @ cov[[6, 7, 13]]) / 1e6)
    assert found.u_grind_l == 0
    even = takes(site, 5.0)
    assert even.u_fill_l == pytest.approx(math.sqrt(site.area_mm2**2 @ cov) / 1e6)


def test_uncertainty_by_reading_again() -> None:
    """Over many simulated surveys a poured volume spreads as its uncertainty says.

    The level that is poured to is fixed by a pin, so the volume moves with every height.
    """
    site = square()
    level, rng = 10.0, np.random.default_rng(5)
    said = takes(site, level - site.floor.height_mm).u_fill_l
    errors = rng.normal(0, np.sqrt(site.floor.cov_mm2), (4000, 25))
    volumes = (level - site.floor.height_mm + errors) @ site.area_mm2 / 1e6
    assert np.std(volumes) == pytest.approx(said, rel=0.05)


def test_sum_of_a_rough_floor() -> None:
    """The volume is the integral of the depth, run straight between readings: triangle by triangle.

    A third of its area at each corner is the prism's mean depth times its area.
    """
    site = site_of(slab(rough(5, 7, 3)))
    depth = site.floor.height_mm - site.floor.height_mm.min()
    xy, corners = site.floor.xy_mm, site.floor.triangles
    a, b, c = (xy[corners[:, k]] for k in range(3))
    size = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    by_prisms = float(size @ depth[corners].mean(axis=1)) / 1e6
    found = quantities(site, Proposal("x", "X", depth, 0 * depth, LEVELER))
    assert found.fill_l == pytest.approx(by_prisms)
