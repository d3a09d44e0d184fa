"""From a depth map to what one buys and pays: volume, weight, bags, hours and money."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.site import Proposal, Site
from flatcheck.surface import Surface, form_u

Floats = npt.NDArray[np.float64]

SETUP_H = 0.5
"""To unload, mix the first batch and clean up, for each kind of work [h].

Common practice, no source."""


@dataclass(frozen=True)
class Quantities:
    """What a proposal takes.

    `fill_l` and `grind_l` are volumes of floor [l] with standard uncertainties from the readings
    alone; `fill_m2` and `grind_m2` the floor that is worked on. `bags` are whole, waste counted.
    `fill_kg` is the material laid, `load_kg_m2` its weight at the thickest place. `hours` is work,
    `wait_h` how long before tile. `money` adds up bags, work, primer, dams and the grinder.
    """

    fill_l: float
    u_fill_l: float
    fill_m2: float
    deepest_mm: float
    grind_l: float
    u_grind_l: float
    grind_m2: float
    highest_mm: float
    bags: int
    fill_kg: float
    load_kg_m2: float
    hours: float
    wait_h: float
    money: float


def quantities(site: Site, proposal: Proposal) -> Quantities:
    """What a proposal takes, rounded up as one buys it."""
    terms, material = site.terms, proposal.material
    fill, grind = proposal.fill_mm, proposal.grind_mm
    fill_l, u_fill = _volume(site.floor, site.area_mm2, fill)
    grind_l, u_grind = _volume(site.floor, site.area_mm2, grind)
    bags, hours, money, wait = 0, 0.0, 0.0, 0.0
    fill_m2 = float(site.area_mm2[fill > 0].sum()) / 1e6
    if material is not None and fill_l > 0:
        bags = math.ceil(fill_l * (1 + terms.waste) / material.yield_l - 1e-9)
        hours += bags / material.bags_h + SETUP_H
        money += bags * material.price + fill_m2 * terms.primer_m2 + proposal.dams * terms.dam
        wait = material.wait_h * proposal.lifts
    if grind_l > 0:
        hours += grind_l / terms.grind_l_h + SETUP_H
        money += terms.grinder
    return Quantities(
        fill_l=fill_l,
        u_fill_l=u_fill,
        fill_m2=fill_m2,
        deepest_mm=float(fill.max(initial=0.0)),
        grind_l=grind_l,
        u_grind_l=u_grind,
        grind_m2=float(site.area_mm2[grind > 0].sum()) / 1e6,
        highest_mm=float(grind.max(initial=0.0)),
        bags=bags,
        fill_kg=fill_l * (material.wet_kg_l if material else 0.0),
        load_kg_m2=float(fill.max(initial=0.0)) * (material.wet_kg_l if material else 0.0),
        hours=hours,
        wait_h=wait,
        money=money + hours * terms.labor,
    )


def _volume(floor: Surface, area: Floats, depth: Floats) -> tuple[float, float]:
    """Volume of a depth map over the floor around its stations, and its standard uncertainty [l].

    The sum of area times depth is the integral of the depth between the stations, taken straight
    from each to the next. The uncertainty is that of the heights where there is any depth.
    """
    form = np.where(depth > 0, area, 0.0)
    return float(area @ depth) / 1e6, form_u(floor.cov_mm2, form) / 1e6
