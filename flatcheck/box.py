"""Are the tiles of this box as flat as their own standard asks, and what follows for the joints?

Each departure of each tile is judged by itself against the classes of `product`, guarded on both
sides as in `guard`. What was measured is the tile's own warpage wherever a limit or a forecast
asks.
"""

from dataclasses import dataclass, replace

import numpy as np

from flatcheck.errors import RuleError, SurveyError
from flatcheck.guard import each
from flatcheck.language import say
from flatcheck.product import PRODUCTS, Bound, Product, allowed, holds_for, product_named
from flatcheck.spacing import RUNNING_BOND_MM, least_joint
from flatcheck.survey import Survey
from flatcheck.tables import tiles_of
from flatcheck.tile import Tile
from flatcheck.verdict import Outcome, chosen, gravest
from flatcheck.warpage import PARTS, Departure, bow_of, departures, variation

BENCHES = ("bench", "pairs")
"""The kinds of table that hold tiles measured by themselves."""


@dataclass(frozen=True)
class Called:
    """One departure against its class: allowed from `low_mm` to `high_mm`, and how it ends."""

    departure: Departure
    low_mm: float
    high_mm: float
    outcome: Outcome
    as_read: Outcome

    @property
    def excess_mm(self) -> float:
        """How far it is beyond what is allowed [mm]; at most zero where it is not."""
        value = self.departure.value_mm
        return max(value - self.high_mm, self.low_mm - value)

    def ends(self, decision: str) -> Outcome:
        """Its outcome under the person's own decision rule."""
        return chosen(decision, self.outcome, self.as_read)


@dataclass(frozen=True)
class Judged:
    """All tiles of a box against one class; `open` are the parts it limits and nobody measured."""

    product: Product
    called: tuple[Called, ...]
    open: tuple[str, ...]

    @property
    def guarded(self) -> Outcome:
        """How the box ends, allowing for reading error."""
        return gravest([one.outcome for one in self.called] + self._unknown)

    @property
    def as_read(self) -> Outcome:
        """How it ends at face value."""
        return gravest([one.as_read for one in self.called] + self._unknown)

    @property
    def _unknown(self) -> list[Outcome]:
        return [Outcome.NOT_ASSESSED] * len(self.open)

    def ends(self, decision: str) -> Outcome:
        """How it ends under the person's own decision rule."""
        return chosen(decision, self.guarded, self.as_read)

    def worst(self, part: str) -> Called | None:
        """Of a part that was judged the departure most over what is allowed, or least below."""
        own = [one for one in self.called if one.departure.part == part]
        return max(own, key=lambda one: one.excess_mm, default=None)


@dataclass(frozen=True)
class Box:
    """What was measured of the tiles of a box, and how they end by one class, or by every one.

    `tile` has the bow that was measured; `variation_mm` is how much its edges vary, None where that
    was not measured, and `joint_mm` the narrowest joint that follows; `bond` says that it counts in
    what running bond asks.
    """

    tile: Tile
    names: tuple[str, ...]
    departures: tuple[Departure, ...]
    variation_mm: float | None
    joint_mm: float | None
    bond: bool
    judged: tuple[Judged, ...]
    named: bool
    decision: str

    @property
    def outcome(self) -> Outcome:
        """How the box ends by the class that was named."""
        return gravest(one.ends(self.decision) for one in self.judged)


def tile_of(survey: Survey) -> Tile | None:
    """The tile of a survey, with the bow that was measured where tiles of it were.

    Raises SurveyError where tiles were measured and no tile is named, or its warpage is written in
    [tile] besides, and as `warpage.departures` does.
    """
    names = [table.name for table in survey.tables if table.kind in BENCHES]
    if not names:
        return survey.tile
    if survey.tile is None:
        raise SurveyError(
            say(
                "table {table}: tiles were measured, and none is named; say its length and "
                "width under [tile].",
                table=names[0],
            )
        )
    if survey.tile.bow is not None:
        raise SurveyError(
            say(
                "tile.warpage is written, and tiles were measured in {table}; leave one out.",
                table=names[0],
            )
        )
    return replace(survey.tile, bow=bow_of(survey.tile, departures(survey.tile, tiles_of(survey))))


def judge_box(survey: Survey, product: str | None = None) -> Box:
    """Are the tiles that were measured as flat as the class asks, or by which classes are they?

    The class is `product`, or the one that the table names; else every class that holds for the
    tile is asked.

    Raises SurveyError where no tile was measured, RuleError for a class that is not known or does
    not hold for the tile.
    """
    tile, measured = tile_of(survey), tiles_of(survey)
    if tile is None or not measured:
        raise SurveyError(
            say('no tile was measured by itself; add a table of kind "bench" or "pairs".')
        )
    found = departures(tile, measured)
    name = product or _product(survey)
    asked = tuple(one for one in PRODUCTS if holds_for(one, tile))
    if name:
        asked = (product_named(name),)
        if not holds_for(asked[0], tile):
            raise RuleError(
                say(
                    "{tile_class}: the class does not hold for so small a tile.",
                    tile_class=asked[0].title,
                )
            )
    varies = variation(tile, measured)
    bond = (
        survey.pattern is not None
        and survey.pattern.kind == "running bond"
        and tile.edges in RUNNING_BOND_MM
    )
    return Box(
        tile=tile,
        names=tuple(dict.fromkeys(one.tile for one in found)),
        departures=found,
        variation_mm=varies,
        joint_mm=None if varies is None else least_joint(tile, varies, bond),
        bond=bond,
        judged=tuple(_judged(found, one) for one in asked),
        named=bool(name),
        decision=survey.decision,
    )


def bound_of(product: Product, part: str) -> Bound | None:
    """What a class allows of a part; None where it does not limit it."""
    return {"edge": product.edge, "diagonal": product.diagonal, "twist": product.twist}[part]


def _judged(found: tuple[Departure, ...], product: Product) -> Judged:
    """Every departure that the class limits, and the parts it limits of which there is none."""
    limits = [
        (one, allowed(bound, one.over_mm))
        for one in found
        if (bound := bound_of(product, one.part)) is not None
    ]
    excess = [max(one.value_mm - high, low - one.value_mm) for one, (low, high) in limits]
    ends, _ = each(np.array(excess), np.array([one.u_mm for one, _ in limits]))
    parts = {one.part for one in found}
    return Judged(
        product,
        tuple(
            Called(one, low, high, *end)
            for (one, (low, high)), end in zip(limits, ends, strict=True)
        ),
        tuple(part for part in PARTS if bound_of(product, part) and part not in parts),
    )


def _product(survey: Survey) -> str:
    """The class that the tables of measured tiles name, "" where none does."""
    found = {}
    for table in survey.tables:
        given = dict(table.options).get("product") if table.kind in BENCHES else None
        if given is not None:
            if not isinstance(given, str):
                raise SurveyError(
                    say("table {table}: product was expected as a class of tile.", table=table.name)
                )
            found[given] = table.name
    if len(found) > 1:
        raise SurveyError(
            say(
                "{tables} name different classes of tile.", tables=say(" and ").join(found.values())
            )
        )
    return next(iter(found), "")
