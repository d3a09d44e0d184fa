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
from flatcheck.evidence import decided_rows, measure_named, some_rows
from flatcheck.guard import CLEAR
from flatcheck.judgment import NO_FLATNESS, judge
from flatcheck.quantities import Quantities, quantities
from flatcheck.refusal import Refusal, still_bad, unjudged
from flatcheck.rules import Rule, grade_of, limit_at, pitch_for, rules_for, standards
from flatcheck.site import Proposal, Site, pieces, rejudged
from flatcheck.tile import Tile
from flatcheck.units import MM_PER_INCH
from flatcheck.verdict import Outcome, Place, Verdict, place_of

Floats = npt.NDArray[np.float64]
Kind = tuple[str, float | None, float]

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
    def gap_ratio(self) -> float:
        """How far its variable cost may be above the least there is, as a share; 0 if proven."""
        least, own = self.proposal.least_cost, self.proposal.cost
        return max(own - least, 0.0) / own if least is not None and own > 0 else 0.0


@dataclass(frozen=True)
class Flip:
    """What would make the second choice the first: this price or rate, from `now` beyond `then`."""

    what: str
    now: float
    then: float


@dataclass(frozen=True, eq=False)
class Choice:
    """All remedies for a floor: those that pass, the cheapest first, and why the others do not.

    `flips` are changes that would turn the order of the first two. `instead` are other tiles and
    standards that the floor passes as it is.
    """

    site: Site
    fixes: tuple[Fix, ...]
    refused: tuple[Refusal, ...]
    flips: tuple[Flip, ...]
    instead: tuple[str, ...]


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
    for remedy in remedies():
        now = remedy.ID
        if open_rule:
            refused.append(Refusal(remedy.ID, remedy.TITLE, open_rule))
            continue
        offered = remedy.propose(site)
        if isinstance(offered, Refusal):
            refused.append(offered)
            continue
        if as_is and remedy.ID != "nothing" and not (offered.fill_mm + offered.grind_mm).any():
            why = "There is nothing to do: every rule holds as it is."
            refused.append(Refusal(offered.id, offered.title, why))
            continue
        _, verdict = rejudged(site, offered.fill_mm, offered.grind_mm)
        bad = still_bad(site, verdict)
        if bad:
            refused.append(Refusal(offered.id, offered.title, bad))
            continue
        fixes.append(Fix(offered, quantities(site, offered), verdict, _rises(site, offered)))
    fixes.sort(key=lambda fix: (fix.takes.money, fix.proposal.id))
    bare = replace(site, progress=None, stop=None)
    return Choice(bare, tuple(fixes), tuple(refused), _flips(bare, fixes), _instead(assessment))


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
    raise SurveyError(f"remedy {remedy[:40]!r} is not one of {known}.")


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
    """Prices at which the second remedy costs no more than the first, the nearest change first.

    Cost is linear in each price, so with a difference D and amounts a and b of a thing at a price
    p, the two cost the same at p + D / (a - b).
    """
    if len(fixes) < 2 or fixes[0].takes.money == fixes[1].takes.money:
        return ()
    first, second = fixes[0], fixes[1]
    apart = second.takes.money - first.takes.money
    terms = site.terms
    amounts: list[tuple[str, float, float, float]] = [
        ("an hour of work", terms.labor, first.takes.hours, second.takes.hours),
        (
            "the grinder for the job",
            terms.grinder,
            float(first.takes.grind_l > 0),
            float(second.takes.grind_l > 0),
        ),
    ]
    for material in (terms.patch, terms.leveler, terms.mortar):
        bags = [
            float(fix.takes.bags) if fix.proposal.material is material else 0.0
            for fix in (first, second)
        ]
        amounts.append((f"a bag of {material.name}", material.price, bags[0], bags[1]))
    found = []
    for what, now, own, other in amounts:
        if abs(own - other) < 1e-9:
            continue
        then = now + apart / (own - other)
        if then >= 0:
            found.append(Flip(what, now, then))
    found.sort(key=lambda flip: abs(math.log((flip.then + 1e-9) / (flip.now + 1e-9))))
    return tuple(found[:2])


def _instead(assessment: Assessment) -> tuple[str, ...]:
    """Other grades and smaller tiles that the floor is within as it was read."""
    survey = assessment.survey
    if survey.standard == NO_FLATNESS or assessment.verdict.outcome is Outcome.WITHIN:
        return ()
    site = Site(assessment, survey.terms)
    small = Tile(12 * MM_PER_INCH, 12 * MM_PER_INCH)
    tries = []
    if survey.tile and max(survey.tile.length_mm, survey.tile.width_mm) >= 15 * MM_PER_INCH:
        tries.append((f"{survey.standard} with tile under 15 in", survey.standard, small))
    for standard in standards().values():
        if standard.about != "flatness":
            continue
        for grade in standard.grades:
            if grade.on not in (site.floor.room.about, "either"):
                continue
            name = f"{standard.id}:{grade.id}"
            tries.append((name, name, survey.tile or small))
    missed = _missed(site, {rule for _, name, tile in tries for rule in _rules(name, tile)})
    found: list[str] = []
    reached: dict[frozenset[Kind], bool] = {}
    for said, name, tile in tries:
        rules = _rules(name, tile)
        if said in found or not missed.isdisjoint(rules):
            continue
        # Whether the readings reach far enough depends on the bars alone, not on the limits.
        bars = frozenset((rule.measure, rule.length_mm, pitch_for(rule)) for rule in rules)
        if bars not in reached:
            other = replace(survey, standard=name, tile=tile)
            reached[bars] = judge(other, site.floor, pieces(site))[1].outcome is Outcome.WITHIN
        if reached[bars]:
            found.append(said)
    return tuple(found)


def _rules(name: str, tile: Tile | None) -> tuple[Rule, ...]:
    return rules_for(grade_of(name)[1], tile)


def _missed(site: Site, rules: set[Rule]) -> set[Rule]:
    """The rules that the floor is not within, and those whose bars are too many to be listed.

    Each kind of bar is laid once, whatever the number of rules: that takes far longer than to
    hold its values against a limit.
    """
    kinds: dict[tuple[str, float | None], list[Rule]] = {}
    for rule in rules:
        kinds.setdefault((rule.measure, rule.length_mm), []).append(rule)
    guard = CLEAR if site.guarded else 0.0
    missed: set[Rule] = set()
    for (name, length_mm), alike in kinds.items():
        for face in (face for part in site.assessment.parts for face in part.faces):
            try:
                seen = measure_named(name)(face.view, length_mm)
            except SurveyError:
                missed.update(alike)
                break
            if seen is not None:
                seen = some_rows(seen, decided_rows(face.view, seen))
                value = np.abs(seen.value_mm) if seen.signed else seen.value_mm
                value = value + guard * seen.u_mm
                missed |= {r for r in alike if np.any(value > limit_at(r.limit, seen.span_mm))}
    return missed
