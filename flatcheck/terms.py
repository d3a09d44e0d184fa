"""On what terms a floor is corrected: what it is made of, what may not be touched, and the prices.

Every number here is a default that the person replaces by what stands on the data sheet of the bag
and by what the last jobs took. None is anybody's price.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.fields import length_of, names_of, quoted, section_of, slope_of
from flatcheck.language import say
from flatcheck.room import Ring
from flatcheck.units import (
    KG_PER_POUND,
    LITERS_PER_CUBIC_FOOT,
    M2_PER_SQUARE_FOOT,
    MASS_UNITS,
    MM_PER_INCH,
    VOLUME_UNITS,
    parse_amount,
)

SUBSTRATES = (
    "concrete",
    "screed",
    "wood",
    "membrane",
    "heated",
    "post-tensioned",
    "old adhesive",
    "tile",
)
"""What a floor may be made of, or hold; several may be true at once."""

MOST = 1e9
"""A price, rate or amount above this is a slip of the pen, and arithmetic is not made for it."""


@dataclass(frozen=True)
class Material:
    """A material as it is bought: what a bag gives, what it costs, how thick it may be laid.

    `yield_l` is the volume that a bag of `bag_kg` gives [l]; `wet_kg_l` its weight when laid
    [kg/l]. `least_mm` and `most_mm` are the thickness of one lift, `bags_h` how many bags are
    placed in an hour, `wait_h` how long before tile. `said` says where the defaults come from.
    """

    name: str
    bag_kg: float
    yield_l: float
    wet_kg_l: float
    price: float
    least_mm: float
    most_mm: float
    bags_h: float
    wait_h: float
    said: str

    def __post_init__(self) -> None:
        positive = (self.bag_kg, self.yield_l, self.wet_kg_l, self.most_mm, self.bags_h)
        if not all(1 / MOST <= value <= MOST for value in positive):
            raise SurveyError(
                say(
                    "{material}: bag, yield, weight, most and rate were expected to be larger "
                    "than zero, and at most {most:,.0f}.",
                    material=self.name,
                    most=MOST,
                )
            )
        if not 0 <= self.least_mm <= self.most_mm:
            raise SurveyError(
                say("{material}: least must lie between zero and most.", material=self.name)
            )
        if not (0 <= self.price <= MOST and 0 <= self.wait_h <= MOST):
            raise SurveyError(
                say(
                    "{material}: price and wait must not be below zero, nor above {most:,.0f}.",
                    material=self.name,
                    most=MOST,
                )
            )


PATCH = Material(
    name=say("patch"),
    bag_kg=25 * KG_PER_POUND,
    yield_l=25 * KG_PER_POUND / 1.7,
    wet_kg_l=2.0,
    price=30.0,
    least_mm=0.0,
    most_mm=MM_PER_INCH / 2,
    bags_h=2.0,
    wait_h=16.0,
    said=say(
        "Featheredge to 1/2 in (two trade pages for 1/4 in, fewer for 1/2 in); 1.7 kg "
        "of powder for each liter, price, rate and wait from memory or common "
        "practice, no source."
    ),
)

LEVELER = Material(
    name=say("self-leveler"),
    bag_kg=50 * KG_PER_POUND,
    yield_l=0.47 * LITERS_PER_CUBIC_FOOT,
    wet_kg_l=2.0,
    price=42.0,
    least_mm=MM_PER_INCH / 8,
    most_mm=MM_PER_INCH,
    bags_h=12.0,
    wait_h=24.0,
    said=say(
        "At least 1/8 in (three trade pages), 1 to 1-1/2 in a lift (two), 0.42 to 0.52 "
        "cubic ft from 50 lb (two weak pages; one says half that); the rest common "
        "practice, no source."
    ),
)

MORTAR = Material(
    name=say("mortar bed"),
    bag_kg=60 * KG_PER_POUND,
    yield_l=0.5 * LITERS_PER_CUBIC_FOOT,
    wet_kg_l=12 * KG_PER_POUND / (LITERS_PER_CUBIC_FOOT / 12),
    price=9.0,
    least_mm=1.25 * MM_PER_INCH,
    most_mm=2 * MM_PER_INCH,
    bags_h=6.0,
    wait_h=24.0,
    said=say(
        "1-1/4 to 2 in thick (two trade pages), 12 lb/ft² for each inch (one); the "
        "rest common practice, no source."
    ),
)


@dataclass(frozen=True)
class Keep:
    """A part of the floor that may not be ground, not be filled, or neither."""

    outline: Ring
    grind: bool = False
    fill: bool = False


@dataclass(frozen=True)
class Terms:
    """On what terms the floor of a survey is corrected.

    `substrate` are words of SUBSTRATES. `most_grind_mm` is what may come off anywhere, `feather`
    the steepest edge of a patch [ratio], `placing_mm` how truly work is done (a standard
    uncertainty). `load_kg_m2` is what may be added on a wood floor, None where nobody said.
    `labor` is an hour's price, `grind_l_h` the liters that a grinder takes off in an hour,
    `grinder` what it costs for the job, `primer_m2` the price of primer on a square meter, `waste`
    the share that is lost, `dam` the price of a dam at an opening. `own` names the numbers that
    the person gave.
    """

    substrate: tuple[str, ...] = ("concrete",)
    keeps: tuple[Keep, ...] = ()
    most_grind_mm: float = MM_PER_INCH / 4
    feather: float = math.inf
    placing_mm: float = MM_PER_INCH / 64
    load_kg_m2: float | None = None
    labor: float = 60.0
    grind_l_h: float = 1.5
    grinder: float = 150.0
    primer_m2: float = 1.5
    waste: float = 0.1
    dam: float = 15.0
    patch: Material = PATCH
    leveler: Material = LEVELER
    mortar: Material = MORTAR
    own: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        for kind in self.substrate:
            if kind not in SUBSTRATES:
                raise SurveyError(
                    say(
                        "correction.substrate: {given!r} is not one of {known}.",
                        given=kind[:40],
                        known=", ".join(SUBSTRATES),
                    )
                )
        bounds = {
            "most_grind": self.most_grind_mm,
            "placing": self.placing_mm,
            "labor": self.labor,
            "grinder": self.grinder,
            "primer": self.primer_m2,
            "waste": self.waste,
            "dam": self.dam,
        }
        for name, value in bounds.items():
            if not 0 <= value <= MOST:
                raise SurveyError(
                    say(
                        "{key} must not be below zero, nor above {most:,.0f}.",
                        key=f"correction.{name}",
                        most=MOST,
                    )
                )
        if not 1 / MOST <= self.grind_l_h <= MOST:
            raise SurveyError(
                say(
                    "{key} must be larger than zero, and at most {most:,.0f}.",
                    key="correction.grind_rate",
                    most=MOST,
                )
            )
        if not self.feather > 0:
            raise SurveyError(say("{key} must be larger than zero.", key="correction.feather"))
        if self.load_kg_m2 is not None and not 0 <= self.load_kg_m2 <= MOST:
            raise SurveyError(
                say(
                    "{key} must not be below zero, nor above {most:,.0f}.",
                    key="correction.load",
                    most=MOST,
                )
            )


SAID = say(
    "Prices, rates, waste and how truly work is placed are common practice, no "
    "source: put in your own. A quarter of an inch of grinding, more where the "
    "cover of the reinforcement is known, is a cautious bound, common practice, no "
    "source."
)
"""What is said of the defaults that are not of a material."""


def unit_cost(material: Material, terms: Terms) -> float:
    """What a cubic millimeter of a material costs, laid: bag, waste and work [money/mm³]."""
    bag = material.price * (1 + terms.waste) + terms.labor / material.bags_h
    return bag / (material.yield_l * 1e6)


def grind_cost(terms: Terms) -> float:
    """What a cubic millimeter of floor costs to grind off [money/mm³]."""
    return terms.labor / (terms.grind_l_h * 1e6)


FREE, BY_VOLUME = 1e-3, 1e-6
"""Work that is free counts for this share of the dearer; and each cubic millimeter for this where
all of it is free."""


def weighed(terms: Terms, fill: Material | None, grind: bool = True) -> tuple[float, float]:
    """What a cubic millimeter filled, and one ground, counts for where the least work is sought.

    That is its cost [money/mm³]; but were it nothing, work that nobody needs would do as well as
    none. What is not allowed is priced like the other: a solver works to a share of the dearest.
    """
    filled = unit_cost(fill, terms) if fill else grind_cost(terms)
    ground = grind_cost(terms) if grind else filled
    least = FREE * max(filled, ground) or BY_VOLUME
    return max(filled, least), max(ground, least)


_MATERIAL_KEYS = ("bag", "yield", "price", "least", "most", "rate", "wait")
_KEYS = (
    "substrate",
    "most_grind",
    "feather",
    "placing",
    "load",
    "labor",
    "grind_rate",
    "grinder",
    "primer",
    "waste",
    "dam",
    "patch",
    "leveler",
    "mortar",
)


def terms_of(head: Mapping[str, Any], unit: str, keeps: tuple[Keep, ...]) -> Terms:
    """The terms written in the `[correction]` section of a survey document.

    Raises SurveyError naming the key that cannot be used.
    """
    section = section_of(head, "correction", _KEYS)
    given: dict[str, Any] = {"keeps": keeps}
    if "substrate" in section:
        kinds = section["substrate"]
        kinds = [kinds] if isinstance(kinds, str) else kinds
        given["substrate"] = names_of(kinds, "correction.substrate")
    for key, field_name in (("most_grind", "most_grind_mm"), ("placing", "placing_mm")):
        if key in section:
            given[field_name] = length_of(section[key], f"correction.{key}", unit)
    if "feather" in section:
        given["feather"] = slope_of(section["feather"], "correction.feather", "ratio")
    if "load" in section:
        given["load_kg_m2"] = _load(section["load"])
    if "grind_rate" in section:
        rate = str(section["grind_rate"]).removesuffix(" per h").removesuffix("/h")
        given["grind_l_h"] = _amount(rate, "correction.grind_rate", VOLUME_UNITS)
    for key, field_name in (
        ("labor", "labor"),
        ("grinder", "grinder"),
        ("primer", "primer_m2"),
        ("waste", "waste"),
        ("dam", "dam"),
    ):
        if key in section:
            given[field_name] = _number(section[key], f"correction.{key}")
    for name, usual in (("patch", PATCH), ("leveler", LEVELER), ("mortar", MORTAR)):
        own = section_of(section, name, _MATERIAL_KEYS)
        if own:
            given[name] = _material(usual, own, f"correction.{name}", unit)
    return Terms(**given, own=tuple(section))


def _material(usual: Material, own: Mapping[str, Any], name: str, unit: str) -> Material:
    changes: dict[str, Any] = {}
    if "bag" in own:
        changes["bag_kg"] = _amount(own["bag"], f"{name}.bag", MASS_UNITS)
        # The same powder in another bag gives as much for its weight.
        changes["yield_l"] = usual.yield_l * changes["bag_kg"] / usual.bag_kg
    if "yield" in own:
        changes["yield_l"] = _amount(own["yield"], f"{name}.yield", VOLUME_UNITS)
    for key, field_name in (("price", "price"), ("rate", "bags_h"), ("wait", "wait_h")):
        if key in own:
            changes[field_name] = _number(own[key], f"{name}.{key}")
    for key, field_name in (("least", "least_mm"), ("most", "most_mm")):
        if key in own:
            changes[field_name] = length_of(own[key], f"{name}.{key}", unit)
    return replace(
        usual,
        **changes,
        said=say("{keys} as you gave them. {rest}", keys=", ".join(own), rest=usual.said),
    )


def _number(given: Any, name: str) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise SurveyError(
            say("{name} = {given} was expected to be a number.", name=name, given=quoted(given))
        )
    return float(given)


def _amount(given: Any, name: str, units: Mapping[str, float]) -> float:
    try:
        return parse_amount(str(given), units)
    except UnitsError as error:
        raise SurveyError(f"{name}: {error}") from None


def _load(given: Any) -> float:
    """A load on a floor [kg/m²], from `10 lb/ft2` or `50 kg/m2`."""
    said = str(given).replace("²", "2").replace(" per ", "/")
    for ending, each_m2 in (
        ("/ft2", M2_PER_SQUARE_FOOT),
        ("/sq ft", M2_PER_SQUARE_FOOT),
        ("/m2", 1),
    ):
        if said.endswith(ending):
            weight = _amount(said.removesuffix(ending), "correction.load", MASS_UNITS)
            return weight / each_m2
    raise SurveyError(
        say("correction.load = {given} was expected as 10 lb/ft2 or 50 kg/m2.", given=quoted(given))
    )
