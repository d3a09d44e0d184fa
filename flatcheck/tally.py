"""What the few places that were read under a straightedge say of the floor.

The sample that was read is judged against its plan: what was drawn and not read counts as open,
what was read and not drawn counts for no share; but where it is over a limit for all placements,
not all are in.

A floor has placements without number, so how many of n are within is binomial. If k are, the share
that is within of all of them is at least p at a confidence of 95 %, where p solves
P(at least k of n | p) = 0.05 (Clopper & Pearson, Biometrika 26, 1934): p is the 5 % quantile of the
beta distribution with k and n - k + 1.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtrc, betaincinv

from flatcheck.errors import SurveyError
from flatcheck.guard import EXACT_MM, RISK, each
from flatcheck.language import say
from flatcheck.room import area
from flatcheck.sampling import Drawn, Plan, about_of, plan_of
from flatcheck.scheme import Bar, Scheme, asked, scheme_named
from flatcheck.survey import Gap, Sample, Survey
from flatcheck.tables import readings_of
from flatcheck.verdict import Outcome, chosen, gravest

END_MM = 25.0
"""Nearer to an end of the bar than this nothing is told of the floor under it [mm]. Common
practice, no source."""

SAME_MM = 50.0
"""A bar laid this near to where it was drawn is the one that was drawn [mm]. Common practice, no
source."""

WORSE = 0.10
"""By how much a floor is worse of which it is told how often it would pass."""


@dataclass(frozen=True)
class Read:
    """What was read under one placement: the largest gap, or departure from the blocks [mm]."""

    name: str
    gap_mm: float
    u_mm: float
    where: str


@dataclass(frozen=True)
class Share:
    """One limit of one bar against the sample.

    Of `count` placements `needed` must be within `limit_mm`; `read` were read, `within` are at face
    value, `surely` whatever the reading error, `over` are not whatever it is. `bound` is the share
    of all placements on the floor that are within, at least, at 95 %. `more` further ones, all
    within, would prove the share; 0 where it is proven, None where no number can. `passes` is how
    often a floor with WORSE fewer within than asked would pass such a sample. `stray` and
    `stray_as_read` are how the places read and not drawn end, where the limit is for all places.
    """

    bar: Bar
    share: float
    limit_mm: float
    count: int
    needed: int
    read: int
    within: int
    surely: int
    over: int
    bound: float
    more: int | None
    passes: float
    stray: Outcome = Outcome.WITHIN
    stray_as_read: Outcome = Outcome.WITHIN

    @property
    def as_read(self) -> Outcome:
        """Taking the gaps at face value."""
        if self.stray_as_read is Outcome.OUT:
            return Outcome.OUT
        if self.within >= self.needed:
            return Outcome.WITHIN
        open_ = self.count - self.read
        return Outcome.OUT if self.within + open_ < self.needed else Outcome.NOT_ASSESSED

    @property
    def guarded(self) -> Outcome:
        """Allowing for reading error."""
        if self.stray is Outcome.OUT:
            return Outcome.OUT
        if self.surely >= self.needed:
            return self.stray
        if self.count - self.over < self.needed:
            return Outcome.OUT
        return Outcome.CLOSE if self.read == self.count else Outcome.NOT_ASSESSED


@dataclass(frozen=True)
class SampleVerdict:
    """The answer for one sample.

    `drawn` says that the plan is known, so that what was read could be held against it; `missed`
    are the placements of it that were not read, `strangers` those read that are none of it, of
    which `strays` were read with a bar of the scheme. `contacts` are placements read only where the
    bar rests at its ends: they say nothing of the floor under it, and count as not read.
    """

    scheme: Scheme
    decision: str
    drawn: bool
    shares: tuple[Share, ...]
    reads: tuple[tuple[int, Read], ...]
    missed: tuple[str, ...]
    strangers: tuple[str, ...]
    strays: tuple[tuple[int, Read], ...]
    contacts: tuple[str, ...]

    @property
    def guarded(self) -> Outcome:
        """Allowing for reading error."""
        return gravest(share.guarded for share in self.shares)

    @property
    def as_read(self) -> Outcome:
        """Taking the gaps at face value."""
        return gravest(share.as_read for share in self.shares)

    @property
    def outcome(self) -> Outcome:
        """Under the person's own decision rule."""
        return chosen(self.decision, self.guarded, self.as_read)


def tally(survey: Survey, standard: str | None = None) -> SampleVerdict:
    """Does the sample that was read keep its standard, and what does it say of the floor?

    With [sample] in the survey and its room the plan is drawn again and held against what was read.

    Raises SurveyError where no straightedge was read, or only with bars of other lengths, and where
    nothing says which standard.
    """
    sample = survey.sample
    name = standard or (sample.standard if sample else None)
    if name is None:
        raise SurveyError(say("say which standard the sample is of: --standard, or [sample]."))
    if sample and standard:
        sample = Sample(standard, sample.seed, sample.count)
    scheme = scheme_named(name, survey.tile, about_of(survey))
    bars: dict[str, list[Gap]] = {}
    for seen in readings_of(survey):
        if isinstance(seen, Gap):
            bars.setdefault(seen.placement, []).append(seen)
    if not bars:
        raise SurveyError(say("no gap under a straightedge was read; add a table of kind gaps."))
    plan = None
    if sample and survey.room:
        plan = plan_of(survey, sample, scheme)
    reads: list[tuple[int, Read]] = []
    strays: list[tuple[int, Read]] = []
    strangers, contacts, met = [], list[tuple[int, str]](), set[str]()
    for placement, gaps in bars.items():
        number = _which(scheme, gaps[0], placement)
        if number is None:
            strangers.append(placement)
            continue
        worst = max(gaps, key=lambda gap: abs(gap.gap_mm))
        read = Read(placement, abs(worst.gap_mm), worst.u_mm, worst.where)
        drawn = _matching(plan, number, gaps[0], met) if plan else None
        if plan and not drawn:
            strangers.append(placement)
            strays.append((number, read))
        elif all(_at_contact(gap) for gap in gaps):
            contacts.append((number, placement))
        else:
            reads.append((number, read))
            met |= {drawn.name} if drawn else set()
    if not reads and not contacts:
        raise SurveyError(
            say(
                "none of the {count} placements read is one of {standard}: check the length of "
                "the bar, its places and the seed.",
                count=len(bars),
                standard=scheme.standard,
            )
        )
    missed = [one.name for one in plan.placements if one.name not in met] if plan else []
    least = asked(scheme, area(survey.room)) if survey.room and scheme.each_mm2 else 0
    shares = []
    for number, bar in enumerate(scheme.bars):
        own = [read for which, read in reads if which == number]
        # More than the standard asks may be agreed, fewer may not.
        laid = len(own) + sum(which == number for which, _ in contacts)
        count = max(plan.count if plan else laid, least, laid, 1)
        beside = [read for which, read in strays if which == number]
        shares += [_share(bar, own, beside, count, part, limit) for part, limit in bar.shares]
    return SampleVerdict(
        scheme=scheme,
        decision=survey.decision,
        drawn=plan is not None,
        shares=tuple(shares),
        reads=tuple(reads),
        missed=tuple(missed),
        strangers=tuple(strangers),
        strays=tuple(strays),
        contacts=tuple(name for _, name in contacts),
    )


def lower_bound(within: int, read: int) -> float:
    """The least share of all placements that are within, at 1 - RISK: exact, binomial."""
    return float(betaincinv(within, read - within + 1, RISK)) if within else 0.0


def more_to_prove(share: float, within: int, read: int) -> int | None:
    """How many further placements, all within, prove the share; None where no number can."""
    if share >= 1:
        return None
    if lower_bound(within, read) >= share:
        return 0
    low, high = 0, 1
    while lower_bound(within + high, read + high) < share:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if lower_bound(within + middle, read + middle) < share:
            low = middle
        else:
            high = middle
    return high


def _at_contact(gap: Gap) -> bool:
    """Whether this is the contact at an end of the bar, and not a gap under it."""
    end = min(gap.along_mm, math.dist(gap.start, gap.end) - gap.along_mm)
    return end < END_MM and abs(gap.gap_mm) <= 2 * gap.u_mm + EXACT_MM


def _strays(beside: Sequence[Read], limit: float) -> tuple[Outcome, Outcome]:
    """How places read and not drawn end by a limit for all: with reading error, and as read."""
    if not beside:
        return Outcome.WITHIN, Outcome.WITHIN
    excess = np.array([read.gap_mm for read in beside]) - limit
    u = np.array([read.u_mm for read in beside])
    guarded, as_read = zip(*each(excess, u)[0], strict=True)
    return gravest(guarded), gravest(as_read)


def _share(
    bar: Bar, own: Sequence[Read], beside: Sequence[Read], count: int, share: float, limit: float
) -> Share:
    stray, stray_as_read = _strays(beside if share >= 1 else (), limit)
    excess = np.array([read.gap_mm for read in own]) - limit
    u = np.array([read.u_mm for read in own])
    ends = each(excess, u)[0] if len(own) else []
    needed = math.ceil(share * count - 1e-9)
    within = sum(as_read is Outcome.WITHIN for _, as_read in ends)
    return Share(
        bar=bar,
        share=share,
        limit_mm=limit,
        count=count,
        needed=needed,
        read=len(own),
        within=within,
        surely=sum(end is Outcome.WITHIN for end, _ in ends),
        over=sum(end is Outcome.OUT for end, _ in ends),
        bound=lower_bound(within, len(own)),
        more=more_to_prove(share, within, len(own)),
        passes=float(bdtrc(needed - 1, count, share - WORSE)),
        stray=stray,
        stray_as_read=stray_as_read,
    )


def _which(scheme: Scheme, gap: Gap, placement: str) -> int | None:
    """Which bar of the scheme this is, by its length and whether it stood on blocks."""
    length = math.dist(gap.start, gap.end)
    for number, bar in enumerate(scheme.bars):
        if abs(length - bar.length_mm) <= max(0.01 * bar.length_mm, 2 * 1.0):
            if bar.blocks != (gap.block_mm is not None):
                stood = (
                    say("on two equal blocks")
                    if bar.blocks
                    else say("on the floor, without blocks")
                )
                raise SurveyError(
                    say(
                        "{where}: by {standard} the bar of {placement} lies {stood}.",
                        where=gap.where,
                        standard=scheme.standard,
                        placement=placement,
                        stood=stood,
                    )
                )
            return number
    return None


def _matching(plan: Plan, number: int, gap: Gap, met: set[str]) -> Drawn | None:
    """The placement of the plan that was read, either way round, if it was not met before."""
    for drawn in plan.placements:
        if drawn.bar != number or drawn.name in met:
            continue
        for start, end in ((gap.start, gap.end), (gap.end, gap.start)):
            if max(math.dist(start, drawn.start), math.dist(end, drawn.end)) <= SAME_MM:
                return drawn
    return None
