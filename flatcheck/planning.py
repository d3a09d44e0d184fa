"""Before anything is read: where to read so that every rule can be judged, and what that will tell.

A plan is a grid close enough for the rules, inside the room, in the order it is walked.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from flatcheck.errors import RuleError, SurveyError
from flatcheck.guard import RISK
from flatcheck.instrument import fine, times
from flatcheck.judgment import REACH
from flatcheck.language import say
from flatcheck.layout import Layout, layout
from flatcheck.room import Room
from flatcheck.rules import Rule, pitch_for
from flatcheck.trial import Resolution, trial
from flatcheck.units import (
    LENGTH_UNITS,
    STYLES,
    Style,
    format_distance,
    format_length,
    parse_length,
)
from flatcheck.verdict import Place

MOST_REPEATS = 9
"""More readings of each place than this are not worth the walk; a bar is laid instead."""

_TINY = 1e-9
"""The noise of the arithmetic, where a length is divided by a step."""


@dataclass(frozen=True)
class Need:
    """What one rule asks of a survey: `readings` on a grid no wider than `pitch_mm` [mm].

    `step_mm` is the widest step of that grid; `narrow` says that it is far below `pitch_mm` because
    part of the floor is too narrow for wider ones. `seen_ratio` is the share of the places that a
    bar can be laid over in two directions.
    """

    rule: Rule
    pitch_mm: float
    step_mm: float
    readings: int
    seen_ratio: float
    narrow: bool


@dataclass(frozen=True, eq=False)
class SurveyPlan:
    """Where to read.

    `needs` says what each rule asks for by itself, the fewest readings first; the grid, `layout`,
    is that of the last. `u_mm` is the standard uncertainty of one reading.
    """

    room: Room
    u_mm: float
    needs: tuple[Need, ...]
    layout: Layout

    @property
    def east_mm(self) -> tuple[float, ...]:
        """The offsets of the lines to the east of the zero corner, growing."""
        return self.layout.east_mm

    @property
    def north_mm(self) -> tuple[float, ...]:
        """The offsets of the lines to the north of the zero corner, growing."""
        return self.layout.north_mm

    @property
    def stations_mm(self) -> tuple[Place, ...]:
        """The places on the floor in walking order."""
        return tuple((float(x), float(y)) for x, y in self.layout.xy_mm)


def plan(room: Room, rules: Sequence[Rule], u_mm: float, mark_mm: float = 10.0) -> SurveyPlan:
    """Where must this room be read so that every one of these rules can be judged?

    The grid is the one for the rule that needs the closest readings (`rules.pitch_for`), with even
    steps, on marks of the tape that are `mark_mm` apart (`layout.layout`). Where floor is so narrow
    that a bar could be laid over less than REACH of the places in two directions, the steps are
    made smaller, down to a quarter.

    Raises RuleError without rules, and SurveyError for an uncertainty that is not positive or a
    room that takes more readings than a survey may hold.
    """
    if not rules:
        raise RuleError(say("a plan needs at least one rule that the floor is to be judged by."))
    if not 0 < u_mm < math.inf:
        raise SurveyError(say("a plan needs an instrument whose uncertainty is larger than zero."))
    needs, grids = [], []
    for rule in rules:
        need, grid = _need(room, rule, mark_mm)
        needs.append(need)
        grids.append(grid)
    order = sorted(range(len(rules)), key=lambda i: (needs[i].readings, rules[i].id))
    return SurveyPlan(room, u_mm, tuple(needs[i] for i in order), grids[order[-1]])


def _need(room: Room, rule: Rule, mark_mm: float) -> tuple[Need, Layout]:
    """The widest grid on which the rule can be judged, down to a quarter of what it asks."""
    pitch = pitch_for(rule)
    grid, narrow = layout(room, pitch, mark_mm), False
    for share in (0.75, 0.5, 0.35, 0.25):
        if grid.seen_ratio >= REACH:
            break
        grid, narrow = layout(room, share * pitch, mark_mm), True
    step = grid.step_mm
    return Need(rule, pitch, step, len(grid.xy_mm), grid.seen_ratio, narrow), grid


def resolves(survey: SurveyPlan, rule: Rule) -> Resolution:
    """What can this instrument on this grid tell, by this rule? See `trial.trial`.

    Raises SurveyError when the grid is too wide for the rule.
    """
    return trial(survey.room, survey.layout, survey.u_mm, rule, RISK / len(survey.needs))


# In words


def plan_words(survey: SurveyPlan, style: Style) -> list[str]:
    """What the plan asks for: a sentence for each rule, the fewest readings first."""
    said = []
    for number, need in enumerate(survey.needs):
        length = need.rule.length_mm
        pitch, step = (format_distance(mm, style) for mm in (need.pitch_mm, need.step_mm))
        if need.narrow:
            step = say(
                "{step} (not {pitch}, as part of the floor is too narrow for that)",
                step=step,
                pitch=pitch,
            )
        elif step != pitch:
            step = say("{step} ({pitch} at most)", step=step, pitch=pitch)
        words = say(
            "For {rule}: a reading every {step}, {count:,} readings",
            rule=rule_called(need.rule, style),
            step=step,
            count=need.readings,
        )
        if number and length and need.readings > survey.needs[0].readings:
            words += ", " + say(
                "or lay a {length} straightedge instead", length=format_distance(length, style)
            )
        if need.seen_ratio < REACH:
            words += "; " + say(
                "even so a bar can be laid both ways over only {share:.0%} of the places",
                share=need.seen_ratio,
            )
        said.append(f"{words}. {need.rule.words}")
    return said


def resolution_words(found: Resolution, style: Style) -> list[str]:
    """What readings on a plan can tell by one rule, and what would let them tell more."""
    kinds = {"resting": say("a gap"), "plane": say("a depth")}
    kind = kinds.get(found.rule.measure, say("a departure"))
    out = say(
        "{departure} can go unseen between the readings, which takes closer ones or a bar",
        departure=kind,
    )
    if found.out_mm is not None:
        out = say(
            "{departure} of {length} or more is called out",
            departure=kind,
            length=_outward(found.out_mm, style, up=True),
        )
    within = say("not even a flat floor is called within")
    if found.within_mm is not None:
        within = say(
            "one up to {length} is called within",
            length=_outward(found.within_mm, style, up=False),
        )
    said = [
        say(
            "By {rule} (limit {limit}), with readings good to {doubt} every {step}, you can tell "
            "this of a round dip {width} across, 9 times in 10: {out}; {within}; anything else is "
            "mostly too close to call.",
            rule=rule_called(found.rule, style),
            limit=_exact(found.limit_mm, style),
            doubt=fine(found.u_mm, style),
            step=format_distance(found.step_mm, style),
            width=format_distance(found.width_mm, style),
            out=out,
            within=within,
        )
    ]
    if found.enough_u_mm is not None:
        again = say(
            "or read every place {count} times and write down each reading; repeating does not "
            "help against an angle of the instrument that all readings share",
            count=found.repeats,
        )
        if found.repeats > MOST_REPEATS:
            again = say(
                "or lay a bar; it would take {count:,} readings of every place",
                count=found.repeats,
            )
        said.append(
            say(
                "To pass floors with {departure} of half the limit, use an instrument {factor} "
                "times as good, to {doubt}, {instead}.",
                departure=kind,
                factor=times(found.u_mm / found.enough_u_mm),
                doubt=fine(found.enough_u_mm, style),
                instead=again,
            )
        )
    return said


def rule_called(rule: Rule, style: Style) -> str:
    """A rule in a sentence, by the length of its bar."""
    return (
        say("the {length} rule", length=format_distance(rule.length_mm, style))
        if rule.length_mm
        else say("the rule")
    )


def _exact(mm: float, style: Style) -> str:
    """A limit as a fraction of an inch where it is one, else in decimals."""
    said = format_length(mm, style)
    return said if abs(parse_length(said) - mm) < 1e-6 else fine(mm, style)


def _outward(mm: float, style: Style, *, up: bool) -> str:
    """A depth to 1/32 in, up or down to the safe side; in millimeters to two digits."""
    mark = LENGTH_UNITS["in"] / 32
    steps = mm / mark
    whole = math.ceil(steps - _TINY) if up else math.floor(steps + _TINY)
    if style.unit == "mm" or not whole:
        return fine(mm, style)
    return format_length(whole * mark, STYLES["in/32"])
