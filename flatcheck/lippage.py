"""Does any edge stand proud of the next by more than the standard allows for this joint and tile?

Steps come from a gauge laid across joints, or from heights at the corners of tiles. Each joint is
judged by itself, guarded on both sides as in `guard`: *within* must clear its limit by 1.645 u;
*out* must exceed it by q u, where q allows for all joints near their limit at once, so that gauge
error alone calls any of them out in at most RISK of surveys.

Where the standard adds the tile's own warpage to its limit, the limit is the standard's number
plus what was measured. Nobody measured it: then a step within the bare number is within, and one
beyond it is not assessed, for it may be the tile that is bent.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flatcheck.acceptance import Sampling, more_to_show, sampling
from flatcheck.assess import Assessment
from flatcheck.box import tile_of
from flatcheck.errors import RuleError, SurveyError
from flatcheck.guard import each
from flatcheck.language import say
from flatcheck.product import bow_met
from flatcheck.room import inside
from flatcheck.rules import ABOUT, Grade, Rule, grade_of, step_limit, step_rule
from flatcheck.steps import MOST_JOINTS, Joints, corner_steps, joints_of, places
from flatcheck.survey import Step, Survey
from flatcheck.tables import steps_of
from flatcheck.tile import Tile
from flatcheck.verdict import Outcome, chosen, gravest

SHOWN = 0.8
"""The share of all joints that those read must show to be within, before the floor is called so.

Common practice, no source: the same share as of a floor that is judged (`judgment.REACH`). With
none bad that takes 14 joints on a large floor."""


@dataclass(frozen=True)
class Joint:
    """One joint that was read, and how it ends.

    `strict_mm` is the limit without the tile's warpage, `limit_mm` with what was measured of it,
    `u_limit_mm` its uncertainty; `open` says that warpage is allowed for and was not measured.
    """

    step: Step
    rule: Rule
    strict_mm: float
    limit_mm: float
    u_limit_mm: float
    open: bool
    outcome: Outcome
    as_read: Outcome

    @property
    def height_mm(self) -> float:
        """How far the higher tile stands proud [mm]."""
        return abs(self.step.step_mm)

    @property
    def excess_mm(self) -> float:
        """How far that is over the limit [mm]."""
        return self.height_mm - self.limit_mm


@dataclass(frozen=True)
class LippageVerdict:
    """The answer for the joints of one survey.

    `factor` is the q that a step must exceed its limit by, in units of its uncertainty, to be out.
    `warpage_mm` is what the tiles were measured to warp, None where nobody measured; `met` says
    that this is within their own product standard, without which it is not added. `sampling` is
    of the joints of `counted`, None where they could not be counted, and where steps lie off them.
    `lacking` is how many more joints it takes to speak for the floor, 0 where those read do.
    """

    standard: str
    grade: str
    decision: str
    guarded: Outcome
    as_read: Outcome
    joints: tuple[Joint, ...]
    factor: float
    warpage_mm: float | None
    met: bool
    counted: Joints | None
    sampling: Sampling | None
    lacking: int

    @property
    def off(self) -> int:
        """How many steps were read where the pattern has no joint."""
        return self.counted.on.count(-1) if self.counted else 0

    @property
    def outcome(self) -> Outcome:
        """The outcome under the person's own decision rule."""
        return chosen(self.decision, self.guarded, self.as_read)

    @property
    def worst(self) -> Joint:
        """The joint that is most over its limit, or least below it."""
        return max(self.joints, key=lambda joint: joint.excess_mm)

    def ends(self, joint: Joint) -> Outcome:
        """A joint's outcome under the person's own decision rule."""
        return chosen(self.decision, joint.outcome, joint.as_read)

    @property
    def share_within(self) -> float:
        """The share of joints within under the person's own decision rule."""
        within = sum(self.ends(joint) is Outcome.WITHIN for joint in self.joints)
        return within / len(self.joints)


def judge_steps(survey: Survey, assessment: Assessment | None = None) -> LippageVerdict | None:
    """Is the lippage within the survey's standard for it? No surface is needed.

    With an assessment, steps between heights at tile corners are judged too. None where the
    survey neither read steps nor names a standard for lippage, and for a floor whose pattern is
    still to be laid.

    Raises SurveyError for steps without a standard, a standard without steps, a joint whose width
    the limit depends on and nobody wrote, and more joints read than there are.
    """
    steps = steps_of(survey)
    if not survey.lippage:
        if steps:
            raise SurveyError(
                say(
                    "steps were read across joints, and no standard for lippage is named; write, "
                    'for example, lippage = "us-lippage" in [standard].'
                )
            )
        return None
    found = steps + (corner_steps(assessment) if assessment else ())
    if not found and assessment and survey.pattern:
        return None  # the tile is still to be laid, and its lippage can only be foreseen
    if not found:
        raise SurveyError(
            say(
                "{lippage} asks for lippage, and no step across a joint was read; add a table "
                'of kind "steps", or heights at tile corners with the tile\'s joint.',
                lippage=survey.lippage,
            )
        )
    if survey.room:
        stray = ~inside(survey.room, np.array([(step.x_mm, step.y_mm) for step in found]))
        if stray.any():
            raise SurveyError(
                say(
                    "{where}: the step lies outside the room or inside a cutout; check its "
                    "offsets, or the outline.",
                    where=found[int(np.argmax(stray))].where,
                )
            )
    standard, grade = grade_of(survey.lippage)
    if standard.about != "lippage":
        raise SurveyError(
            say(
                "{lippage}, named for lippage, is about {about}.",
                lippage=survey.lippage,
                about=ABOUT[standard.about],
            )
        )
    tile = tile_of(survey)
    bow = tile.bow if tile else None
    warpage = (bow.most_mm, bow.u_mm) if bow and bow.measured else None
    met = bow_met(tile, standard.region) is True if warpage and tile else True
    # Warpage is allowed to tile that meets its own standard; of other tile none is added.
    joints, factor = judged(found, grade, survey.tile, warpage if met else (0.0, 0.0))
    counted = joints_of(survey, found)
    lacking = _lacking(joints, counted)
    ends = [gravest(joint.outcome for joint in joints), gravest(joint.as_read for joint in joints)]
    # A pattern with many steps off its joints is not the one that was laid.
    astray = counted is not None and counted.on.count(-1) > (1 - SHOWN) * len(joints)
    guarded, as_read = (
        Outcome.NOT_ASSESSED if (lacking or astray) and end is Outcome.WITHIN else end
        for end in ends
    )
    return LippageVerdict(
        standard=standard.id,
        grade=grade.id,
        decision=survey.decision,
        guarded=guarded,
        as_read=as_read,
        joints=joints,
        factor=factor,
        warpage_mm=warpage[0] if warpage else None,
        met=met,
        counted=counted,
        sampling=_sampled(joints, counted),
        lacking=lacking,
    )


def _lacking(joints: Sequence[Joint], counted: Joints | None) -> int:
    """How many more joints must be read, all within, before those read speak for the floor.

    Steps that lie on no joint of the pattern speak for none. Where nobody can say how many joints
    there are it takes as many as for the largest of floors, each step at a place of its own.
    """
    total, on = counted.total if counted else MOST_JOINTS, counted.on if counted else ()
    read = len(set(on) - {-1}) if counted else len(places(joint.step for joint in joints))
    return more_to_show(total, min(read, total), 0, SHOWN) or 0


def _sampled(joints: Sequence[Joint], counted: Joints | None) -> Sampling | None:
    """What the joints read say of all: one is bad if any step on it is not within."""
    if counted is None or -1 in counted.on:
        return None
    ends: dict[int, bool] = {}
    for number, joint in zip(counted.on, joints, strict=False):
        ends[number] = ends.get(number, False) or joint.outcome is not Outcome.WITHIN
    return sampling(counted.total, len(ends), sum(ends.values()))


def judged(
    steps: Sequence[Step], grade: Grade, tile: Tile | None, warpage: tuple[float, float] | None
) -> tuple[tuple[Joint, ...], float]:
    """Every step against its own limit, and the q of the out side.

    `warpage` is what the tiles were measured to warp, with its uncertainty [mm].

    Raises SurveyError naming the step that has no limit.
    """
    called = [_limited(step, grade, tile, warpage) for step in steps]
    u = np.array(
        [math.hypot(step.u_mm, spread) for step, (_, _, spread) in zip(steps, called, strict=True)]
    )
    excess = np.array(
        [abs(s.step_mm) - limit for s, (_, limit, _) in zip(steps, called, strict=True)]
    )
    ends, factor = each(excess, u)
    joints = []
    for step, (rule, limit, spread), (outcome, as_read) in zip(steps, called, ends, strict=True):
        unknown = rule.adds_warpage and warpage is None
        if unknown and as_read is Outcome.OUT:
            outcome = as_read = Outcome.NOT_ASSESSED
        joints.append(
            Joint(
                step=step,
                rule=rule,
                strict_mm=limit - (warpage[0] if rule.adds_warpage and warpage else 0.0),
                limit_mm=limit,
                u_limit_mm=spread,
                open=unknown,
                outcome=outcome,
                as_read=as_read,
            )
        )
    return tuple(joints), factor


def _limited(
    step: Step, grade: Grade, tile: Tile | None, warpage: tuple[float, float] | None
) -> tuple[Rule, float, float]:
    """The rule for one step, its limit and the limit's own uncertainty [mm]."""
    joint = step.joint_mm
    if joint is None and tile and tile.joint_mm > 0:
        joint = tile.joint_mm
    try:
        rule = step_rule(grade, tile, joint)
    except RuleError as error:
        raise SurveyError(f"{step.where}: {error}") from None
    limit, spread = step_limit(rule, tile, joint), 0.0
    if rule.adds_warpage and warpage:
        limit, spread = limit + warpage[0], warpage[1]
    return rule, limit, spread


def histogram(verdict: LippageVerdict, class_mm: float) -> tuple[tuple[float, float, int], ...]:
    """How many joints stand proud by how much: (from, to [mm], count), empty classes in between
    too; a step at the edge of two classes counts in the lower one."""
    held = Counter(
        max(math.ceil(joint.height_mm / class_mm - 1e-9) - 1, 0) for joint in verdict.joints
    )
    return tuple((n * class_mm, (n + 1) * class_mm, held[n]) for n in range(max(held) + 1))
