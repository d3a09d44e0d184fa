"""How flat and how level is a slab, in F-numbers, and is it what was specified?

Along a line of heights h a foot apart, q = h[i] - 2 h[i-1] + h[i-2] is the curvature over 2 ft
(positive in a trough) and z = h[i] - h[i-10] the difference over 10 ft. With the mean m and the
standard deviation s (n - 1) of each, in inches,

    FF = 4.57 / (3 s_q + |m_q|)        FL = 12.5 / (3 s_z + |m_z|)

Lines are combined by readings: with r readings each, 1/F² is the mean of the lines' 1/F²; folding
F = F_j F_k sqrt((r_j + r_k) / (r_k F_j² + r_j F_k²)) over them gives the same. Sections are
combined by area: F is the mean of the sections' F.

How far a number can be trusted is asked in two ways. The *approximate* interval takes every reading
as independent, F (1 ± 1.645 / sqrt(2 (r - 1))), which neighboring q and overlapping z are not. The
interval *by lines* draws the lines of a section again, with replacement (bootstrap); it is widened
for few lines by sqrt(k / (k - 1)) and Student's t (see T_AT). Neither allows for a section without
lines.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtrit

from flatcheck.assess import floor_stations, surveyed
from flatcheck.errors import SurveyError
from flatcheck.intent import DRAINING
from flatcheck.language import say
from flatcheck.misread import Suspect
from flatcheck.rules import Citation
from flatcheck.run import Run
from flatcheck.runs import Q_STEPS, Q_WEIGHTS, Section, sections_of, stepped
from flatcheck.slab import Specified
from flatcheck.surface import Surface, decided, variance
from flatcheck.survey import Survey
from flatcheck.units import MM_PER_INCH
from flatcheck.verdict import Outcome, gravest

Floats = npt.NDArray[np.float64]

FF_MM = 4.57 * MM_PER_INCH
FL_MM = 12.5 * MM_PER_INCH
"""The constants, for q and z in millimeters; see F_CITATION."""

TEN = 10
"""Steps over which z is taken."""

CONFIDENCE = 0.90

T_AT = 0.975
"""Where Student's t is taken for the interval by lines: beyond the 0.95 of a 90 % interval, because
a sample of few lines seldom holds the roughest. On simulated floors the interval then holds the
truth in 91 to 96 % of cases and lies above it in 3 to 9 %; at 0.95 in 85 to 92 % and 6 to 14 %."""

DRAWS = 2000
SEED = 1155
"""Fixed, so that the same survey always gets the same interval."""

F_CITATION = Citation(
    document="ASTM E1155, Determining FF Floor Flatness and FL Floor Levelness Numbers",
    edition="E1155-96; now E1155/E1155M-23",
    clause="calculation of FF and FL",
    source="q and z: the symbols list, and a worked sheet whose q is reproduced to 0.001 mm; the "
    "form of FL: one article, in words",
    certainty="from memory",
    note=say(
        "The digits 4.57 and 12.5, the divisor n - 1, and how lines and sections are combined "
        "are from memory. The metric companion may use 115.8 for FF where 4.57 in is 116.1 mm: "
        "a quarter of a percent."
    ),
)

WITHIN_HOURS = 72
"""A slab is read within so many hours of its placing: it curls later (ASCC statement 35)."""


@dataclass(frozen=True, eq=False)
class LineNumbers:
    """One line: its heights (n,), and the numbers of it alone."""

    run: Run
    height_mm: Floats

    @property
    def q_mm(self) -> Floats:
        """Curvature over two steps (n - 2,) [mm]."""
        return curvatures(self.height_mm)

    @property
    def z_mm(self) -> Floats:
        """Difference over ten steps (n - 10,) [mm]."""
        return differences(self.height_mm)

    @property
    def ff(self) -> float:
        """Flatness of the line alone."""
        return f_number(self.q_mm, FF_MM)

    @property
    def fl(self) -> float:
        """Levelness of the line alone."""
        return f_number(self.z_mm, FL_MM)


@dataclass(frozen=True)
class Estimate:
    """An F-number with how far it can be trusted, at CONFIDENCE.

    `value` is as read, inf where nothing was read but a straight line. `low` and `high` are the
    interval by lines, None where there are too few; `near` and `far` the approximate one.
    `freed` is what the number would be without reading error.
    """

    value: float
    readings: int
    low: float | None
    high: float | None
    near: float
    far: float
    freed: float


@dataclass(frozen=True, eq=False)
class SectionNumbers:
    """One section: its lines, and its numbers where it has any."""

    section: Section
    lines: tuple[LineNumbers, ...]
    ff: Estimate | None
    fl: Estimate | None


@dataclass(frozen=True)
class Ask:
    """One number against what was asked: of a `section`, "" for the whole slab."""

    section: str
    kind: str
    value: float
    least: float
    outcome: Outcome
    as_read: Outcome


@dataclass(frozen=True, eq=False)
class SlabVerdict:
    """The F-numbers of a slab.

    `error_ff` and `error_fl` are what reading error alone would read as on a perfect floor.
    `asks` are empty where nothing was specified. `levelness` is False for a floor that is meant to
    fall: FL says nothing of it, and it is not judged.
    """

    sections: tuple[SectionNumbers, ...]
    ff: Estimate
    fl: Estimate
    error_ff: float
    error_fl: float
    pooled: tuple[float, float]
    specified: Specified | None
    local_share: float
    levelness: bool
    asks: tuple[Ask, ...]
    suspects: tuple[Suspect, ...]

    @property
    def proper(self) -> bool:
        """Whether every section was read as the method asks."""
        return all(numbers.section.proper for numbers in self.sections)

    @property
    def guarded(self) -> Outcome:
        """The outcome allowing for reading error and for the floor between the lines."""
        return gravest(ask.outcome for ask in self.asks)

    @property
    def as_read(self) -> Outcome:
        """The outcome taking the numbers at face value."""
        return gravest(ask.as_read for ask in self.asks)


def curvatures(height: Floats) -> Floats:
    """q of a line (n - 2,), in the unit of the heights: positive in a trough."""
    return np.diff(height, 2)


def differences(height: Floats) -> Floats:
    """z of a line (n - 10,), in the unit of the heights: each height less the one 10 steps back."""
    found: Floats = height[TEN:] - height[:-TEN]
    return found


def f_number(values: Floats, constant: float, error: float = 0.0) -> float:
    """constant / (3 s + |m|), of at least two values; inf where all are zero.

    With `error`, the standard uncertainty of one value, s² is freed of error².
    """
    spread = math.sqrt(max(float(np.var(values, ddof=1)) - error**2, 0.0))
    worst = 3 * spread + abs(float(np.mean(values)))
    return constant / worst if worst > 0 else math.inf


def by_readings(numbers: Sequence[float], readings: Sequence[int]) -> float:
    """Lines combined: 1/F² is the mean of their 1/F², weighted by readings."""
    inverse = np.average([number**-2.0 for number in numbers], weights=readings)
    return float(inverse**-0.5) if inverse > 0 else math.inf


def by_area(numbers: Sequence[float], areas: Sequence[float]) -> float:
    """Sections combined: the mean of their F, weighted by area."""
    return float(np.average(numbers, weights=areas))


def estimate(
    groups: Sequence[Sequence[Floats]], areas: Sequence[float], constant: float, error: float = 0.0
) -> Estimate:
    """The number of sections together, each a group of lines, each of these its q or z [mm].

    `error` is the standard uncertainty of one q or z [mm].
    """
    counts = [[len(values) for values in group] for group in groups]
    lines = [[f_number(values, constant) for values in group] for group in groups]
    freed = [[f_number(values, constant, error) for values in group] for group in groups]
    each = [by_readings(f, r) for f, r in zip(lines, counts, strict=True)]
    value = by_area(each, areas)
    share = np.array(areas) / sum(areas)
    readings = np.array([sum(count) for count in counts])
    low = high = None
    near = far = value
    if math.isfinite(value):
        alone = share * each / value / np.sqrt(2 * (readings - 1))
        off = -float(ndtri((1 - CONFIDENCE) / 2)) * float(np.hypot.reduce(alone))
        near, far = value * max(1 - off, 0.0), value * (1 + off)
        if min(len(group) for group in groups) > 1 and np.isfinite(np.concatenate(lines)).all():
            off = _by_lines(lines, counts, each, share)
            low, high = value * math.exp(-off), value * math.exp(off)
    return Estimate(
        value=value,
        readings=int(readings.sum()),
        low=low,
        high=high,
        near=near,
        far=far,
        freed=by_area([by_readings(f, r) for f, r in zip(freed, counts, strict=True)], areas),
    )


def _by_lines(
    lines: Sequence[Sequence[float]],
    counts: Sequence[Sequence[int]],
    each: Sequence[float],
    share: Floats,
) -> float:
    """Half the interval of the logarithm of the number, by drawing lines again in every section."""
    draws = np.random.default_rng(SEED)
    total = np.zeros(DRAWS)
    for own, readings, value, part in zip(lines, counts, each, share, strict=True):
        k = len(own)
        again = draws.integers(k, size=(DRAWS, k))
        weight = np.array(readings)[again]
        drawn = (np.sum(weight * np.array(own)[again] ** -2.0, axis=1) / weight.sum(axis=1)) ** -0.5
        # Drawing k of k lines again spreads by (k - 1) / k of what other lines would.
        total += part * value * np.exp(np.log(drawn / value) * math.sqrt(k / (k - 1)))
    freedom = sum(len(own) - 1 for own in lines)
    return float(np.std(np.log(total)) * stdtrit(freedom, T_AT))


def slab_numbers(survey: Survey) -> SlabVerdict:
    """FF and FL of a surveyed slab: line by line, section by section, and overall.

    Raises SurveyError for a wall, where no line can be used, where the readings do not decide the
    numbers, and whatever `surveyed` raises.
    """
    if survey.room and survey.room.upright:
        raise SurveyError(say("FF and FL are numbers of a slab, and this survey is of a wall."))
    readings, known, floor = surveyed(survey)
    sections = sections_of(survey, floor, known.piece[floor_stations(known)], readings)
    error_q, error_z = _errors(sections, floor)
    error_ff, error_fl = FF_MM / (3 * error_q), FL_MM / (3 * error_z)
    found = []
    for section in sections:
        lines = tuple(LineNumbers(run, floor.height_mm[run.stations]) for run in section.runs)
        ff = fl = None
        if lines:
            ff = estimate([[line.q_mm for line in lines]], [1.0], FF_MM, error_q)
            fl = estimate([[line.z_mm for line in lines]], [1.0], FL_MM, error_z)
        found.append(SectionNumbers(section, lines, ff, fl))
    read = [one for one in found if one.lines]
    areas = [one.section.area_mm2 for one in read]
    q = [[line.q_mm for line in one.lines] for one in read]
    z = [[line.z_mm for line in one.lines] for one in read]
    ff, fl = estimate(q, areas, FF_MM, error_q), estimate(z, areas, FL_MM, error_z)
    levelness = all(
        intent.kind not in ("fall", *DRAINING)
        for intent in (survey.intent, *(zone.intent for zone in survey.zones))
    )
    slab = survey.slab
    return SlabVerdict(
        sections=tuple(found),
        ff=ff,
        fl=fl,
        error_ff=error_ff,
        error_fl=error_fl,
        pooled=(
            f_number(np.concatenate([np.concatenate(group) for group in q]), FF_MM),
            f_number(np.concatenate([np.concatenate(group) for group in z]), FL_MM),
        ),
        specified=slab.specified,
        local_share=slab.local_share,
        levelness=levelness,
        asks=_asks(
            found,
            ((ff, error_ff), (fl, error_fl)),
            slab.specified,
            slab.local_share,
            levelness,
        ),
        suspects=known.suspects,
    )


def _errors(sections: Sequence[Section], floor: Surface) -> tuple[float, float]:
    """The standard uncertainty of one q and of one z [mm], over all lines, root mean square.

    Raises SurveyError where the readings leave z open.
    """
    found = []
    for steps, weights in ((Q_STEPS, Q_WEIGHTS), ((0, TEN), (-1.0, 1.0))):
        stations = stepped(sections, steps)
        form = np.broadcast_to(np.array(weights), stations.shape)
        if not decided(floor.free, stations, form).all():
            raise SurveyError(
                say(
                    "the readings leave the fall of the floor open, and FL is a matter of fall; "
                    "read heights with a laser or level, or level tilts in two directions."
                )
            )
        found.append(math.sqrt(float(np.mean(variance(floor.cov_mm2, stations, form)))))
    return found[0], found[1]


def _asks(
    found: Sequence[SectionNumbers],
    overall: Sequence[tuple[Estimate, float]],
    specified: Specified | None,
    share: float,
    levelness: bool,
) -> tuple[Ask, ...]:
    """What was specified, against what was found: overall, then of each section."""
    if specified is None:
        return ()
    proper = all(one.section.proper for one in found)
    (ff, error_ff), (fl, error_fl) = overall
    kinds = [("FF", specified.ff, ff, error_ff)]
    if levelness:
        kinds.append(("FL", specified.fl, fl, error_fl))
    asks = [_ask("", kind, number, least, error, proper) for kind, least, number, error in kinds]
    if len(found) > 1:
        for one in found:
            name, own = one.section.name, {"FF": one.ff, "FL": one.fl}
            asks += [
                _ask(name, kind, own[kind], share * least, error, one.section.proper)
                for kind, least, _, error in kinds
            ]
    return tuple(asks)


def _ask(
    section: str, kind: str, number: Estimate | None, least: float, error: float, proper: bool
) -> Ask:
    """One number against the least that was asked for; `error` is what reading error alone reads.

    Reading error makes a floor look worse: before one is called out, it is taken off. Rounding can
    make it look better, so that nothing beyond what reading error alone would read is shown.
    """
    if number is None or not proper:
        value = number.value if number else math.nan
        return Ask(section, kind, value, least, Outcome.NOT_ASSESSED, Outcome.NOT_ASSESSED)
    low = math.inf if math.isinf(number.value) else number.low
    outcome = Outcome.CLOSE
    if low is not None and min(low, error) >= least:
        outcome = Outcome.WITHIN
    elif number.high is not None and number.high * number.freed / number.value < least:
        outcome = Outcome.OUT
    as_read = Outcome.WITHIN if number.value >= least else Outcome.OUT
    return Ask(section, kind, number.value, least, outcome, as_read)
