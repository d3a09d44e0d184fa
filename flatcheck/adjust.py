"""From readings to heights: the one least squares, and what it says of the readings.

Every reading is a linear observation with its own standard uncertainty (`flatcheck.network`); one
weighted sparse least squares takes any mix of them. It gives heights with their covariance, says
what the readings cannot tell, tests whether they fit together, and names those that do not.

A reading that does not fit is set aside, never silently: it stands in `suspects` with what it
would have to be. The test is data snooping (Baarda 1968): the residual over its own standard
deviation, one reading at a time, at a significance of SIGNIFICANCE for all readings together.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.special import gammaincc, ndtri

from flatcheck.errors import SurveyError
from flatcheck.loops import Loop, loops
from flatcheck.network import Network, network, station_of
from flatcheck.normal import Solution, covariance, solve, variances
from flatcheck.slips import FITS, Slip, slip_for
from flatcheck.survey import Benchmark, Observation, Reading, Tilt, height_from

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SIGNIFICANCE = 0.05
"""How often a survey without a slip has some reading called a misreading."""

DOUBT = 0.05
"""Readings are taken to fit worse, or better, than stated when chance gives less than this."""

CHECKED = 0.01
"""A reading with less redundancy than this has no check on it: nobody would notice a slip."""

WHOLE = 4000
"""Up to this many unknowns the whole covariance is kept (128 MB)."""

REPEAT_U = 4.0
"""Two readings of one place from one setup may differ by this many u of a difference.

Chance exceeds it once in 16,000 repeats, so beyond it one of the two is a slip."""

HUBER = 1.5
"""The robust start counts residuals beyond this many u for less, so that one cannot bend all."""

ALIKE = 0.99
"""Readings with scores this near to the worst contradict each other: with one check between them
both have the same score, and only rounding would tell them apart."""

ROUNDS = 5
"""Reweighted solutions of the robust start."""


@dataclass(frozen=True)
class Suspect:
    """A reading that does not fit, set aside.

    `number` counts the readings from 1. `error_mm` is how much too large it is, as it was read,
    with standard uncertainty `u_mm`; `should_mm` what it would be; `score` the standardised
    residual; `slip` what explains it, None where no usual slip does. `others` are the numbers of
    readings that contradict it as much as it contradicts them: one of all these is wrong, nothing
    tells which, and none is used.
    """

    number: int
    observation: Observation
    error_mm: float
    u_mm: float
    should_mm: float
    score: float
    slip: Slip | None
    others: tuple[int, ...] = ()


@dataclass(frozen=True)
class Fit:
    """How well the readings fit together.

    `redundancy` is how many readings there are beyond what the heights need; `sigma0` the
    a-posteriori standard deviation of unit weight (1 when the stated uncertainties are right);
    `chance` that sigma0 is this large or larger, or as small or smaller, if they are right (two
    sided); `critical` the score beyond which a reading is a suspect.
    """

    redundancy: int
    sigma0: float
    chance: float
    critical: float


@dataclass(frozen=True, eq=False)
class Adjusted:
    """Adjusted heights of n stations from m readings.

    `cov_mm2` is (n,) where the heights are independent, else (n, n), and empty beyond WHOLE
    unknowns; it belongs to forms that the readings decide, and is scaled up where the readings
    disagree more than stated. `free` (n, k) are the directions in which the heights may move
    without any reading noticing. `piece` (n,) numbers the parts that no reading joins, `known`
    are the stations with a benchmark. `residual_mm`, `redundancy` and `score` are (m,); the last
    is NaN where there is no check.
    `reads` (n,) counts the readings that touch a station. `setups` are the heights of the
    instrument setups against the first of their piece, [(name, first, height,
    standard uncertainty)], the last inf where the readings leave it open;
    `loops` those that readings close, suspects among them.
    """

    xy_mm: Floats
    height_mm: Floats
    cov_mm2: Floats
    where: tuple[str, ...]
    free: Floats
    piece: Ints
    known: Ints
    reads: Ints
    residual_mm: Floats
    redundancy: Floats
    score: Floats
    suspects: tuple[Suspect, ...]
    fit: Fit
    setups: tuple[tuple[str, str, float, float], ...]
    loops: tuple[Loop, ...]


IGNORED = 1e3
"""A reading set aside stays in the equations with its u this much larger, so with no pull."""


def adjust(observations: Sequence[Observation]) -> Adjusted:
    """Heights of all places that readings touch, and what the readings say of each other.

    Raises SurveyError for fewer than two readings, for two of one place and setup that disagree,
    and for a tie without a partner.
    """
    if len(observations) < 2:
        raise SurveyError(f"a surface needs at least two readings; there is {len(observations)}.")
    net = network(observations)
    check_repeats(net, observations)
    check_ties(net, observations)
    if len(net.setups) == 1 and all(isinstance(seen, Reading) for seen in observations):
        return _one_setup(net)
    clash, solution = _set_aside(net)
    return _result(net, observations, clash, solution)


def _one_setup(net: Network) -> Adjusted:
    """One setup read every place: each height is the weighted mean of its own readings."""
    n, m = len(net.xy_mm), len(net.value)
    station = net.matrix[:, :n].indices
    weight = 1 / net.u**2
    total = np.bincount(station, weight, minlength=n)
    level = net.value.mean()
    height = np.bincount(station, weight * (net.value - level), minlength=n) / total + level
    residual = net.value - height[station]
    redundancy = 1 - weight / total[station]
    spread = net.u**2 - 1 / total[station]
    checkable = redundancy > CHECKED
    fit = _fit(m - n, float(np.sum(weight * residual**2)), checkable)
    return Adjusted(
        xy_mm=net.xy_mm,
        height_mm=height,
        cov_mm2=_inflation(fit) / total,
        where=net.where,
        free=np.empty((n, 0)),
        piece=net.piece[:n],
        known=net.known,
        reads=np.bincount(station, minlength=n),
        residual_mm=residual,
        redundancy=redundancy,
        score=np.where(checkable, residual / np.sqrt(np.where(checkable, spread, 1)), np.nan),
        suspects=(),
        fit=fit,
        setups=tuple((name, name, 0.0, 0.0) for name in net.setups),
        loops=(),
    )


def _fit(redundancy: int, square: float, checkable: Mask) -> Fit:
    above = float(gammaincc(redundancy / 2, square / 2)) if redundancy else 0.5
    return Fit(
        redundancy=redundancy,
        sigma0=float(np.sqrt(square / redundancy)) if redundancy else 1.0,
        chance=2 * min(above, 1 - above),
        critical=_critical(checkable),
    )


def _inflation(fit: Fit) -> float:
    """What to multiply the covariance by: sigma0² where the readings disagree more than stated."""
    return fit.sigma0**2 if fit.sigma0 > 1 and fit.chance < DOUBT else 1.0


def _set_aside(net: Network) -> tuple[Ints, Solution]:
    """Which observations do not fit, and the solution without them.

    Returns (m,) zero for a reading that is kept and a number for one set aside; readings with the
    same number contradict each other equally, so that nothing tells which of them is wrong.

    All readings are solved first; if every standardised residual is below the critical value that
    is all. Otherwise a robust start (residuals beyond HUBER u count for less, as in iteratively
    reweighted least squares) shows which stand apart when nothing bends to them. Those are set
    aside and taken back while they fit the solution without them; then the worst of
    the rest is set aside while it exceeds the critical value.
    """
    m = len(net.value)
    kept = np.ones(m, dtype=bool)
    clash = np.zeros(m, dtype=np.int64)
    solution = _solve(net, net.u)
    if _worst(solution, net, kept)[0] <= _critical(_checkable(solution, net)):
        return clash, solution
    u = net.u
    for _ in range(ROUNDS):
        robust = _solve(net, u)
        stretch = np.maximum(np.abs(robust.residual) / (HUBER * net.u), 1.0)
        u = net.u * np.sqrt(stretch)
    critical = _critical(_checkable(solution, net))
    kept = np.abs(robust.residual) <= critical * net.u
    kept |= ~_checkable(solution, net)
    rounds = 0
    while True:
        rounds += 1
        solution = _solve(net, _without(net, kept))
        back = np.flatnonzero(~kept & (clash == 0))
        scores = _scores(solution, net, kept)
        fits = back[np.abs(scores[back]) <= critical]
        worst, number = _worst(solution, net, kept)
        if len(fits) and rounds < 4 * ROUNDS:
            kept[fits] = True
        elif worst > critical:
            equal = kept & (np.abs(np.nan_to_num(scores)) > ALIKE * worst)
            kept[number] = False
            if np.count_nonzero(equal) > 1:
                # Alike by chance they still do not fit without the worst; in contradiction with
                # it they do, or have no check left.
                without = _solve(net, _without(net, kept))
                rest = np.abs(np.nan_to_num(_scores(without, net, kept)))
                equal &= rest <= critical
                equal[number] = True
                if np.count_nonzero(equal) > 1:
                    kept[equal] = False
                    clash[equal] = number + 1
        else:
            alone = ~kept & (clash == 0)
            clash[alone] = m + 1 + np.flatnonzero(alone)
            return clash, solution


def _solve(net: Network, u: Floats) -> Solution:
    return solve(net.matrix, net.value, u, net.position)


def _without(net: Network, kept: Mask) -> Floats:
    """The u of all readings, so large for those not kept that they pull no more."""
    return np.where(kept, net.u, np.maximum(net.u, 1.0) * IGNORED)


def _checkable(solution: Solution, net: Network) -> Mask:
    """Which readings have a check on them: some redundancy of their own."""
    return np.asarray(1 - solution.row_variance / net.u**2 > CHECKED)


def _critical(checkable: Mask) -> float:
    """The two-sided score that some reading of a clean survey exceeds at SIGNIFICANCE."""
    return -float(ndtri(SIGNIFICANCE / 2 / max(int(checkable.sum()), 1)))


def _scores(solution: Solution, net: Network, kept: Mask) -> Floats:
    """Standardised residuals: of readings in the solution, and of those left out of it."""
    spread = np.where(kept, net.u**2 - solution.row_variance, net.u**2 + solution.row_variance)
    free = spread > CHECKED * net.u**2
    return np.where(free, solution.residual / np.sqrt(np.where(free, spread, 1.0)), np.nan)


def _worst(solution: Solution, net: Network, kept: Mask) -> tuple[float, int]:
    """The largest score of a reading in the solution, and its number."""
    scores = np.where(kept, np.abs(np.nan_to_num(_scores(solution, net, kept))), 0.0)
    number = int(np.argmax(scores))
    return float(scores[number]), number


def _result(
    net: Network,
    observations: Sequence[Observation],
    clash: Ints,
    solution: Solution,
) -> Adjusted:
    n, kept = len(net.xy_mm), clash == 0
    free = solution.free
    checkable = _checkable(solution, net) & kept
    # The redundancy numbers of what is kept add up to it, whatever only the rest had touched.
    redundancy = round(float(np.sum((1 - solution.row_variance / net.u**2)[kept])))
    square = float(np.sum((solution.residual[kept] / net.u[kept]) ** 2))
    touched = abs(net.matrix[kept][:, :n]).sign()
    fit = _fit(redundancy, square, checkable)
    datum = _datum(net)
    height = datum @ solution.x
    free = datum @ free
    size = np.abs(free).max(axis=0, initial=0.0)
    free = free[:, size > 1e-9] / size[size > 1e-9]
    return Adjusted(
        xy_mm=net.xy_mm,
        height_mm=_levelled(net, height, free),
        cov_mm2=_inflation(fit) * _whole(datum, solution),
        where=net.where,
        free=free,
        piece=net.piece[:n],
        known=net.known,
        reads=np.asarray(touched.sum(axis=0)).ravel().astype(np.int64),
        residual_mm=solution.residual,
        redundancy=np.where(kept, 1 - solution.row_variance / net.u**2, 1.0),
        score=_scores(solution, net, kept),
        suspects=_suspects(net, solution, observations, clash),
        fit=fit,
        setups=_setups(net, solution),
        loops=loops(net, observations),
    )


def _whole(datum: csr_array, solution: Solution) -> Floats:
    if datum.shape[1] > WHOLE:
        return np.empty((0, 0))
    whole: Floats = datum @ (datum @ covariance(solution)).T
    return whole


def _datum(net: Network) -> csr_array:
    """The forms (n, p) of the unknowns that are told as heights.

    Without a benchmark in its piece a height is told against the first setup there, which the
    readings do decide: the height of the place plus that setup's unknown.
    """
    n, p = len(net.xy_mm), net.matrix.shape[1]
    own = csr_array((np.ones(n), (np.arange(n), np.arange(n))), shape=(n, p))
    against: dict[int, int] = {}
    for k in net.setups.values():
        against.setdefault(int(net.piece[k]), k)
    known = set(net.piece[net.known].tolist())
    rows = [i for i in range(n) if net.piece[i] in against and net.piece[i] not in known]
    columns = [against[int(net.piece[i])] for i in rows]
    return csr_array(own + csr_array((np.ones(len(rows)), (rows, columns)), shape=(n, p)))


def _levelled(net: Network, height: Floats, free: Floats) -> Floats:
    """Heights of a solution, less as much of a plane in each piece as the readings leave open."""
    height = height.copy()
    n = len(net.xy_mm)
    for piece in np.unique(net.piece[:n]):
        own = np.flatnonzero(net.piece[:n] == piece)
        middle = net.xy_mm[own] - net.xy_mm[own].mean(axis=0)
        base = np.column_stack((np.ones(len(own)), middle / max(np.abs(middle).max(), 1.0)))
        moves = free[own]
        within = base @ np.linalg.lstsq(base, moves, rcond=None)[0]
        rigid = moves[:, np.abs(moves - within).max(axis=0, initial=0.0) < 1e-6]
        if rigid.size:
            height[own] -= rigid @ np.linalg.lstsq(rigid, height[own], rcond=None)[0]
    return height


def _setups(net: Network, solution: Solution) -> tuple[tuple[str, str, float, float], ...]:
    """Each setup's height against the first of its piece, with its standard uncertainty [mm].

    A rod reading is the instrument's height less the floor's, so the setup's unknown is the
    negative of its height above the datum, and higher instruments come out higher here.
    """
    if not net.setups:
        return ()
    first: dict[int, int] = {}
    own = np.array(list(net.setups.values()))
    lead = np.array([first.setdefault(int(net.piece[k]), int(k)) for k in own])
    names = {k: name for name, k in net.setups.items()}
    rows = np.arange(len(own))
    shape = (len(own), net.matrix.shape[1])
    forms = csr_array((np.ones(len(own)), (rows, lead)), shape=shape)
    forms = csr_array(forms - csr_array((np.ones(len(own)), (rows, own)), shape=shape))
    spread, _ = variances(solution, forms)
    heights = solution.x[lead] - solution.x[own]
    return tuple(
        (name, names[int(k)], float(height), math.sqrt(max(float(square), 0.0)))
        for name, k, height, square in zip(net.setups, lead, heights, spread, strict=True)
    )


def _suspects(
    net: Network, solution: Solution, observations: Sequence[Observation], clash: Ints
) -> tuple[Suspect, ...]:
    scores = _scores(solution, net, clash == 0)
    found = []
    for k in np.flatnonzero(clash):
        others = np.flatnonzero((clash == clash[k]) & (np.arange(len(clash)) != k)) + 1
        seen = observations[int(k)]
        turned = -1.0 if isinstance(seen, Reading) and seen.sense == "rod" else 1.0
        error = turned * float(solution.residual[k])
        u = float(np.hypot(net.u[k], np.sqrt(solution.row_variance[k])))
        written = as_written(seen)
        slip = None
        if not isinstance(seen, Tilt) and not len(others):
            slip = slip_for(seen.text, written, seen.unit, error, u)
        found.append(
            Suspect(
                int(k) + 1,
                seen,
                error,
                u,
                written - error,
                float(scores[k]),
                slip,
                tuple(int(number) for number in others),
            )
        )
    return tuple(_exchanged(found))


def as_written(seen: Observation) -> float:
    """The length a person wrote down for a reading [mm]; for a tilt the rise that it stands for."""
    if isinstance(seen, Reading):
        return height_from(seen.sense, seen.height_mm)  # turning the sign twice gives it back
    if isinstance(seen, Benchmark):
        return seen.height_mm
    return seen.rise_mm if isinstance(seen, Tilt) else seen.gap_mm + (seen.block_mm or 0.0)


def _exchanged(found: Sequence[Suspect]) -> list[Suspect]:
    """The same suspects; two that would be right in each other's place are told as exchanged."""
    told = list(found)
    for i, one in enumerate(found):
        for j, other in enumerate(found[:i]):
            near = FITS * max(one.u_mm, other.u_mm)
            if (
                abs(one.should_mm - as_written(other.observation)) <= near
                and abs(other.should_mm - as_written(one.observation)) <= near
            ):
                for k, partner in ((i, other), (j, one)):
                    words = f"exchanged with reading {partner.number}"
                    told[k] = replace(told[k], slip=Slip(words, told[k].error_mm))
    return told


def check_ties(net: Network, observations: Sequence[Observation]) -> None:
    """Refuse a tie without a partner: a place said to be read from two setups, read from one.

    Raises SurveyError naming the first.
    """
    seen: dict[int, set[str]] = {}
    for number, reading in enumerate(observations):
        if isinstance(reading, Reading | Benchmark):
            name = reading.setup if isinstance(reading, Reading) else "benchmark"
            seen.setdefault(station_of(net, number), set()).add(name)
    for number, reading in enumerate(observations):
        if isinstance(reading, Reading) and reading.tie and len(seen[station_of(net, number)]) < 2:
            raise SurveyError(
                f"{reading.where}: the tie {reading.text!r} has no partner; no other setup read "
                "this place."
            )


def check_repeats(net: Network, observations: Sequence[Observation]) -> None:
    """Refuse two readings of one place from one setup that disagree: nobody can say which is right.

    Raises SurveyError naming both when they differ by more than REPEAT_U standard uncertainties.
    """
    seen: dict[tuple[str, int], list[Reading]] = {}
    for number, reading in enumerate(observations):
        if not isinstance(reading, Reading):
            continue
        place = (reading.setup, station_of(net, number))
        for first in seen.setdefault(place, []):
            apart = abs(first.height_mm - reading.height_mm)
            if apart > REPEAT_U * math.hypot(first.u_mm, reading.u_mm):
                raise SurveyError(
                    f"{reading.where}: {reading.text!r} disagrees with {first.text!r} in "
                    f"{first.where}, read at the same place from the same setup."
                )
        seen[place].append(reading)
