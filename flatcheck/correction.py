"""The correction: every remedy proposed, laid on the surface, judged again, priced and compared."""

import importlib
import math
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from types import ModuleType

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.errors import SurveyError
from flatcheck.instead import Instead, instead
from flatcheck.language import say
from flatcheck.quantities import Quantities, quantities
from flatcheck.refusal import NOT_TRIED, UNFINISHED, Refusal, still_bad, unjudged
from flatcheck.site import Proposal, Site, rejudged
from flatcheck.units import MM_PER_INCH
from flatcheck.verdict import Outcome, Place, Verdict, place_of

Floats = npt.NDArray[np.float64]

SOUGHT = ("grind", "least", "patch")
"""Remedies that are searched for; that takes time, so they are the last to be tried."""

GRINDER, TO_GRIND = say("the grinder"), say("liters to grind off")
"""What a `Flip` is called that is about renting a grinder, and about how much there is to grind."""

CLOSE = 1e-6
"""A cost that is no farther above what is known to be the least is the least, as a share."""

FAR = 20
"""A price or an amount that would have to change by more than so many times turns nothing."""

TINY, MANY = 1e-9, 1e6
"""A price of nothing, in a ratio of prices; and more bags than anybody counts."""

MARK_MM = MM_PER_INCH / 64
"""Less than this is not marked on the floor: nobody grinds or patches so finely."""


@dataclass(frozen=True, eq=False)
class Fix:
    """A proposal that passes: what it would come to, as predicted by judging the surface again.

    `rises` are (name of a height that must not change, by how much the floor rises there [mm]).
    """

    proposal: Proposal
    takes: Quantities
    verdict: Verdict
    rises: tuple[tuple[str, float], ...]

    @property
    def proven(self) -> bool:
        """Whether it is known that no work of its kind costs less."""
        return self.proposal.least_cost is not None and self.gap_ratio <= CLOSE

    @property
    def gap_ratio(self) -> float:
        """How far its variable cost may be above the least there is, as a share; 0 if proven."""
        least, own = self.proposal.least_cost, self.proposal.cost
        return max(own - least, 0.0) / own if least is not None and own > 0 else 0.0


@dataclass(frozen=True)
class Flip:
    """What would make another remedy the cheapest, all plans staying as they are.

    `what` is a price ("a bag of patch", "an hour of work", "the grinder") or an amount that the
    first remedy takes ("bags of patch", "liters to grind off"). It is `now`; beyond `then` the
    remedy `to`, by its title, costs less. An amount of `bags` is whole: from `then` on.
    """

    what: str
    now: float
    then: float
    to: str
    bags: bool = False


@dataclass(frozen=True, eq=False)
class Choice:
    """All remedies for a floor: those that pass, the cheapest first, and why the others do not.

    Of those that cost the same the quickest is first.

    `flips` are changes that would make another remedy the cheapest, the amount that would first.
    `instead` are other tiles and standards that the floor passes as it is. `stopped` says that the
    search was stopped before all remedies were searched to the end.
    """

    site: Site
    fixes: tuple[Fix, ...]
    refused: tuple[Refusal, ...]
    flips: tuple[Flip, ...]
    instead: tuple[Instead, ...]
    stopped: bool = False


@dataclass(frozen=True)
class Mark:
    """A mark to paint on the floor: fill where `depth_mm` is positive, grind where negative."""

    number: int
    at: Place
    depth_mm: float


def remedies() -> tuple[ModuleType, ...]:
    """Every remedy there is: whatever file in `flatcheck/remedies/` holds ID."""
    import flatcheck.remedies as shelf

    names = sorted(m.name for m in pkgutil.iter_modules(shelf.__path__))
    return tuple(importlib.import_module(f"{shelf.__name__}.{name}") for name in names)


def correct(
    assessment: Assessment,
    progress: Callable[[str, int, int, float, float], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Choice:
    """What to do with this floor: all remedies, on the terms of its survey.

    `progress` is told the remedy, the round of its search, how many demands are broken, the
    proven lower bound and the best cost so far; `stop` may end the search with what is known.
    """
    now = ""

    def tell(*told: float) -> None:
        if progress is not None:
            progress(now, int(told[0]), int(told[1]), told[2], told[3])

    site = Site(assessment, assessment.survey.terms, tell if progress is not None else None, stop)
    open_rule = unjudged(site)
    as_is = assessment.verdict.outcome is Outcome.WITHIN
    fixes: list[Fix] = []
    refused: list[Refusal] = []
    for remedy in sorted(remedies(), key=lambda remedy: remedy.ID in SOUGHT):
        now = remedy.ID
        if open_rule:
            refused.append(Refusal(remedy.ID, remedy.TITLE, open_rule))
            continue
        if site.stopped and remedy.ID in SOUGHT and not as_is:
            refused.append(Refusal(remedy.ID, remedy.TITLE, NOT_TRIED))
            continue
        offered = remedy.propose(site)
        if isinstance(offered, Refusal):
            refused.append(offered)
            continue
        if as_is and remedy.ID != "nothing" and not (offered.fill_mm + offered.grind_mm).any():
            why = say("There is nothing to do: every rule holds as it is.")
            refused.append(Refusal(offered.id, offered.title, why))
            continue
        _, verdict = rejudged(site, offered.fill_mm, offered.grind_mm)
        bad = still_bad(site, verdict)
        if bad:
            open_end = site.stopped and remedy.ID in SOUGHT
            refused.append(Refusal(offered.id, offered.title, UNFINISHED if open_end else bad))
            continue
        fixes.append(Fix(offered, quantities(site, offered), verdict, _rises(site, offered)))
    fixes.sort(key=lambda fix: (fix.takes.money, fix.takes.hours, fix.proposal.id))
    refused.sort(key=lambda refusal: refusal.id)
    cut = any(refusal.why in (NOT_TRIED, UNFINISHED) for refusal in refused)
    cut |= site.stopped and any(fix.gap_ratio > CLOSE for fix in fixes)
    bare = replace(site, progress=None, stop=None)
    return Choice(bare, tuple(fixes), tuple(refused), _flips(bare, fixes), instead(bare), cut)


def fix_named(choice: Choice, remedy: str | None) -> Fix | None:
    """The fix of a remedy, or the cheapest; None where nothing passes.

    Raises SurveyError for a remedy that is none, or does not pass.
    """
    if not remedy:
        return choice.fixes[0] if choice.fixes else None
    for fix in choice.fixes:
        if fix.proposal.id == remedy:
            return fix
    for refusal in choice.refused:
        if refusal.id == remedy:
            raise SurveyError(f"{remedy}: {refusal.why}")
    known = ", ".join(module.ID for module in remedies())
    raise SurveyError(
        say("remedy {remedy!r} is not one of {known}.", remedy=remedy[:40], known=known)
    )


def marks(site: Site, proposal: Proposal) -> tuple[Mark, ...]:
    """Every station with work to do, grinding first, each from the west and then the south."""
    # Where a leveler is poured over ground floor there is both to do.
    xy = site.floor.xy_mm
    work = [(-float(d), i) for i, d in enumerate(proposal.grind_mm.tolist()) if d >= MARK_MM]
    work += [(float(d), i) for i, d in enumerate(proposal.fill_mm.tolist()) if d >= MARK_MM]
    work.sort(key=lambda one: (one[0] > 0, xy[one[1], 1], xy[one[1], 0]))
    return tuple(Mark(number, place_of(xy[i]), depth) for number, (depth, i) in enumerate(work, 1))


def _rises(site: Site, offered: Proposal) -> tuple[tuple[str, float], ...]:
    change = offered.fill_mm - offered.grind_mm
    return tuple(
        (hold.name, float(change[stations].max()))
        for hold, (stations, _) in zip(site.assessment.survey.holds, site.held, strict=True)
    )


def _flips(site: Site, fixes: list[Fix]) -> tuple[Flip, ...]:
    """The amount of work, and the price, nearest to what they are now that turn the choice."""
    if len(fixes) < 2 or fixes[0].takes.money == fixes[1].takes.money:
        return ()
    return (*_nearest(_amounts(site, fixes)), *_nearest(_prices(site, fixes)))


def _nearest(flips: list[Flip]) -> list[Flip]:
    """The one that takes the smallest change; what is free now may cost something any day."""

    def far(flip: Flip) -> float:
        return abs(math.log(max(flip.then, TINY) / flip.now)) if flip.now > 0 else 0.0

    return [flip for flip in sorted(flips, key=far) if far(flip) <= math.log(FAR)][:1]


def _amounts(site: Site, fixes: list[Fix]) -> list[Flip]:
    """How much the first remedy would have to take for the second to cost less."""
    terms, first, second = site.terms, fixes[0], fixes[1]
    apart, to, found = second.takes.money - first.takes.money, second.proposal.title, []
    material, bags = first.proposal.material, first.takes.bags
    if material is not None and bags:
        each = material.price + terms.labor / material.bags_h
        if each > 0 and apart / each < MANY:
            then = bags + int(apart / each) + 1
            found.append(
                Flip(say("bags of {material}", material=material.name), bags, then, to, bags=True)
            )
    if first.takes.grind_l > 0 and terms.labor > 0:
        more = apart / terms.labor * terms.grind_l_h
        found.append(Flip(TO_GRIND, first.takes.grind_l, first.takes.grind_l + more, to))
    return found


def _prices(site: Site, fixes: list[Fix]) -> list[Flip]:
    """Prices at which another remedy costs no more than the first.

    Cost is linear in each price, so with a difference D and amounts a and b of a thing at a price
    p, two remedies cost the same at p + D / (a - b). Of all others the one that is met first when
    the price rises, or falls, is then the cheapest.
    """
    terms, first = site.terms, fixes[0]
    things = [
        (say("an hour of work"), terms.labor, [fix.takes.hours for fix in fixes]),
        (GRINDER, terms.grinder, [float(fix.takes.grind_l > 0) for fix in fixes]),
    ]
    for material in (terms.patch, terms.leveler, terms.mortar):
        bags = [
            float(fix.takes.bags) if fix.proposal.material is material else 0.0 for fix in fixes
        ]
        things.append((say("a bag of {material}", material=material.name), material.price, bags))
    found = []
    for what, now, amounts in things:
        turns = []
        for fix, amount in zip(fixes[1:], amounts[1:], strict=True):
            if abs(amounts[0] - amount) > 1e-9:
                then = now + (fix.takes.money - first.takes.money) / (amounts[0] - amount)
                turns.append(Flip(what, now, then, fix.proposal.title))
        dearer = [flip for flip in turns if flip.then > now]
        cheaper = [flip for flip in turns if 0 <= flip.then < now]
        found += [min(dearer, key=lambda flip: flip.then)] if dearer else []
        found += [max(cheaper, key=lambda flip: flip.then)] if cheaper else []
    return found
