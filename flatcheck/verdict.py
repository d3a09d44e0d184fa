"""What was found: plain records, from one rule's finding to the verdict on a survey.

The error policy lives in `Outcome`: calling a bad floor good is the worse mistake, so *not
assessed* and *too close to call* are outcomes of their own and never shown as *within*.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from flatcheck.language import say
from flatcheck.rules import Rule

Place = tuple[float, float]
"""A place on the plan, x and y [mm]."""


def place_of(xy: Sequence[float] | npt.NDArray[np.float64]) -> Place:
    """A place out of an array of places."""
    return float(xy[0]), float(xy[1])


class Outcome(StrEnum):
    """How a rule, or a survey, ends."""

    WITHIN = "within"
    OUT = "out"
    CLOSE = "too close to call"
    NOT_ASSESSED = "not assessed"


SAID = {
    Outcome.WITHIN: say("within"),
    Outcome.OUT: say("out"),
    Outcome.CLOSE: say("too close to call"),
    Outcome.NOT_ASSESSED: say("not assessed"),
}
"""How each outcome is said."""

_GRAVITY = (Outcome.OUT, Outcome.CLOSE, Outcome.NOT_ASSESSED, Outcome.WITHIN)


def gravest(outcomes: Iterable[Outcome]) -> Outcome:
    """The outcome of several rules together: out if any is out, within only if all are within."""
    return min(outcomes, key=_GRAVITY.index, default=Outcome.NOT_ASSESSED)


def chosen(decision: str, guarded: Outcome, as_read: Outcome) -> Outcome:
    """Of both outcomes the one under the person's own decision rule."""
    return as_read if decision == "as read" else guarded


@dataclass(frozen=True)
class Placement:
    """One bar on the floor: where it lies, what it rests on, and where the gap is worst.

    For a rule from a plane, `start` and `end` are the two places compared. `face` names the plane
    of a floor that falls on which it lies.
    """

    value_mm: float
    u_mm: float
    limit_mm: float
    span_mm: float
    at: Place
    start: Place
    end: Place
    stations: tuple[int, ...]
    face: str = ""


@dataclass(frozen=True)
class Spot:
    """A connected place that is out: to be taken down if high, to be filled if low.

    `value_mm` is the worst value that is laid to it, `at` its highest or lowest station.
    `proven` says whether it is out even after allowing for reading error. `extent_mm` is its size
    east-west and north-south, `area_mm2` the floor nearer to its stations than to any other.
    """

    number: int
    high: bool
    proven: bool
    value_mm: float
    limit_mm: float
    at: Place
    extent_mm: tuple[float, float]
    area_mm2: float
    stations: tuple[int, ...]
    rule: str


@dataclass(frozen=True)
class Settle:
    """What would settle a rule that is too close to call.

    `share` is what the uncertainty of the readings would have to shrink to, as a share of what it
    is; `places` are the nearest calls, worst first.
    """

    share: float
    places: tuple[Placement, ...]


@dataclass(frozen=True, eq=False)
class Reach:
    """Where a rule could judge: places spread evenly over the floor, and whether it could at each.

    `places_mm` (p, 2) are the middles of cells `cells_mm` (p, 2) wide and high, `judged` (p,) is
    true where the rule could say something of the floor there.
    """

    places_mm: npt.NDArray[np.float64]
    cells_mm: npt.NDArray[np.float64]
    judged: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Finding:
    """One rule on one zone: what was measured, how sure it is, and how it ends.

    `worst` is the placement that is most over its limit, or least below it, in millimeters; None
    where no bar could be laid.
    `guard_mm` is what was allowed for reading error at the worst place before calling it out;
    `reach_ratio` the share of the floor that this rule could judge, `pitch_mm` the reading
    spacing that it needs, `have_mm` the median spacing that the readings have. `left_open` counts
    placements that the readings do not decide, such as slopes where only gaps were read;
    `joined` says that readings join the floor judged here to all of its zone. `reach` is the same
    as `reach_ratio` on the plan, None where that is no share of the floor.
    """

    zone: str
    rule: Rule
    outcome: Outcome
    as_read: Outcome
    worst: Placement | None
    guard_mm: float
    placements: int
    reach_ratio: float
    pitch_mm: float
    have_mm: float
    longest_bar_mm: float
    left_open: int
    joined: bool
    settle: Settle | None
    reach: Reach | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Verdict:
    """The answer for one survey, tile and standard, and its standards for falls.

    `guarded` allows for reading error, `as_read` takes the readings at face value; `outcome` is
    the one that the person asked for by `decision`.
    """

    standard: str
    grade: str
    decision: str
    guarded: Outcome
    as_read: Outcome
    findings: tuple[Finding, ...]
    spots: tuple[Spot, ...]
    falls: tuple[str, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """The outcome under the person's own decision rule."""
        return chosen(self.decision, self.guarded, self.as_read)
