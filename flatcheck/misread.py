"""Readings that do not fit the others: which, by how much, and what they were probably misread as.

The test is data snooping (Baarda 1968): the residual over its own standard deviation, one reading
at a time, at a significance of SIGNIFICANCE for all readings together. A few readings far off are
slips; a whole kind of reading that scatters more than was stated is a stated uncertainty that is
too small, and is widened to what the readings show before any of them is accused.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from flatcheck.language import say
from flatcheck.network import Network
from flatcheck.normal import Solution, solve
from flatcheck.slips import FITS, Slip, slip_for
from flatcheck.survey import Observation, Reading, Tilt
from flatcheck.units import parse_length

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Kind = type[Observation]

SIGNIFICANCE = 0.05
"""How often a survey without a slip has some reading called a misreading."""

CHECKED = 0.01
"""A reading with less redundancy than this has no check on it: nobody would notice a slip."""

HUBER = 1.5
"""The robust start counts residuals beyond this many u for less, so that one cannot bend all."""

ROUNDS = 5
"""Reweighted solutions of the robust start."""

IGNORED = 1e3
"""A reading set aside stays in the equations with its u this much larger, so with no pull."""

NEAR_MM = 100.0
"""A reading farther off than this is ignored so many times more when it is set aside [mm]."""

ALIKE = -2 * math.log(SIGNIFICANCE)
"""Readings contradict each other when neither is this much likelier to be the wrong one.

Setting one reading aside takes the square of its score from the sum of squares, so the square of
one score less that of another is twice the log of how much likelier it is to be wrong: 20 to 1."""

FEW = 0.1
"""Slips are rare: where more than this share of a kind of reading would be, and more than ENOUGH,
its uncertainty is in doubt.

Common practice, no source: in routine data up to one in ten is a gross error (from memory)."""

ENOUGH = 10
"""A kind of reading shows its own scatter with this many readings to spare, not with fewer."""

SHOWN = 3.5
"""A scatter is beyond chance at 1 + SHOWN / √n with n to spare.

The median of n sizes tells a standard deviation to 1.17 / √n (normal errors); this is three
times as much."""

SETTLED = 0.1
"""What readings scatter is asked again until it changes by less than this share."""

MEDIAN = float(ndtri(0.75))
"""Half of all normal errors are smaller than this many standard deviations."""


@dataclass(frozen=True)
class Suspect:
    """A reading that does not fit, set aside.

    `number` counts the readings from 1. `error_mm` is how much too large it is, as it was read,
    with standard uncertainty `u_mm`; `should_mm` what the rod or rule, or the level over its
    length, would have shown; `score` the standardised residual; `slip` what explains it, None
    where no usual slip does. `others` are the numbers of readings that contradict it as much as it
    contradicts them: one of all these is wrong, nothing tells which, and none is used; what is
    told of each is then what holds if it is the wrong one.
    """

    number: int
    observation: Observation
    error_mm: float
    u_mm: float
    should_mm: float
    score: float
    slip: Slip | None
    others: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Sifted:
    """The solution without the readings that do not fit.

    `net` has the uncertainties that were used: those stated, but for the kinds of reading in
    `wider`, which scatter that many times as much. `clash` (m,) is zero for a reading that is kept
    and a number for one set aside; readings with the same number contradict each other equally.
    `blamed` tells of each of these, by its row, how much too large it is if it alone is wrong, and
    the standard uncertainty of that [mm].
    """

    net: Network
    solution: Solution
    clash: Ints
    blamed: dict[int, tuple[float, float]]
    wider: tuple[tuple[Kind, float], ...]


def sifted(net: Network, observations: Sequence[Observation]) -> Sifted:
    """The readings sifted: those that do not fit set aside.

    All readings are solved first; if every standardised residual is below the critical value that
    is all. Otherwise slips are looked for. Where they would be more than FEW of some kind, or what
    is left of a kind scatters more than stated still, its uncertainty is widened to what it shows,
    and slips are looked for again.
    """
    everything = np.ones(len(net.value), dtype=bool)
    solution = _solve(net, net.u)
    checked = checkable(solution, net)
    if _worst(solution, net, everything)[0] <= critical(checked):
        return Sifted(net, solution, np.zeros(len(net.value), dtype=np.int64), {}, ())
    kinds = tuple(dict.fromkeys(type(seen) for seen in observations))
    of_kind = {kind: np.array([type(seen) is kind for seen in observations]) for kind in kinds}
    found = _slips(net, solution, of_kind)
    wider: dict[Kind, float] = {}
    if found is None or _scatters(net, solution, found[0], found[1] == 0, of_kind):
        widened, wider = _widened(net, of_kind)
        if wider or found is None:
            net, found = widened, _slips(widened, _solve(widened, widened.u), {})
    assert found is not None  # without a limit to their number all slips are found
    return Sifted(net, *found, tuple(wider.items()))


def _slips(
    net: Network, solution: Solution, of_kind: dict[Kind, Mask]
) -> tuple[Solution, Ints, dict[int, tuple[float, float]]] | None:
    """The solution without the readings that do not fit, and which these are, as in `Sifted`.

    A robust start (residuals beyond HUBER u count for less, as in iteratively reweighted least
    squares) shows which stand apart when nothing bends to them. Those are set aside and taken back
    while they fit the solution without them; then the worst of the rest is set aside while it
    exceeds the critical value. None where that takes too many of a kind in `of_kind`.
    """
    clash = np.zeros(len(net.value), dtype=np.int64)
    blamed: dict[int, tuple[float, float]] = {}
    checked = checkable(solution, net)
    limit = critical(checked)
    off = np.abs(_robust(net, solution).residual)
    kept = (off <= limit * net.u) | ~checked
    # The farther off, the less it pulls, or good readings beside it would not be taken back.
    aside = _ignored(net) * np.clip(off / NEAR_MM, 1, IGNORED)
    rounds = 0
    while True:
        rounds += 1
        solution = _solve(net, np.where(kept, net.u, aside))
        back = np.flatnonzero(~kept & (clash == 0))
        score = scores(solution, net, kept)
        fits = back[np.abs(score[back]) <= limit]
        worst, number = _worst(solution, net, kept)
        if len(fits) and rounds < 4 * ROUNDS:
            kept[fits] = True
        elif any(np.sum(own & ~kept) > max(FEW * np.sum(own), ENOUGH) for own in of_kind.values()):
            return None
        elif worst > limit:
            equal = kept & (np.nan_to_num(score) ** 2 > (1 - 1e-9) * worst**2 - ALIKE)
            kept[number] = False
            if np.count_nonzero(equal) > 1:
                # Alike by chance they still do not fit without the worst; in contradiction with
                # it they do, or have no check left.
                without = _solve(net, np.where(kept, net.u, aside))
                equal &= np.abs(np.nan_to_num(scores(without, net, kept))) <= limit
                equal[number] = True
                if np.count_nonzero(equal) > 1:
                    kept[equal] = False
                    clash[equal] = number + 1
                    blamed |= _blame(net, solution, np.flatnonzero(equal))
        else:
            alone = ~kept & (clash == 0)
            clash[alone] = len(clash) + 1 + np.flatnonzero(alone)
            return solution, clash, blamed


def _blame(net: Network, solution: Solution, rows: Ints) -> dict[int, tuple[float, float]]:
    """How far off each reading is if it alone is wrong, and the u of that.

    Without a reading its residual v becomes v / r, where r is its redundancy, with u / √r. Of one
    that the others do not check, and so has none, nothing is told.
    """
    spare = 1 - solution.row_variance[rows] / net.u[rows] ** 2
    rows, spare = rows[spare > CHECKED], spare[spare > CHECKED]
    error, u = solution.residual[rows] / spare, net.u[rows] / np.sqrt(spare)
    return {int(k): (float(e), float(s)) for k, e, s in zip(rows, error, u, strict=True)}


def _widened(net: Network, of_kind: dict[Kind, Mask]) -> tuple[Network, dict[Kind, float]]:
    """The network with the uncertainties that its readings show, and what was widened.

    What a kind scatters is asked of all its readings, against a solution from those that do not
    stand apart. A robust solution is not good enough for that: each slip still pulls at it a
    little. A kind that scatters more spoils the others too, so all are asked again.
    """
    stated, wider = net.u, dict.fromkeys(of_kind, 1.0)
    for _ in range(ROUNDS):
        solution = _solve(net, net.u)
        spare = 1 - solution.row_variance / net.u**2
        off = np.abs(_robust(net, solution).residual) / net.u
        size = off / np.sqrt(spare.clip(CHECKED))
        for own in of_kind.values():
            if (checked := own & (spare > CHECKED)).any():
                off[own] /= max(float(np.median(size[checked])) / MEDIAN, 1.0)
        kept = (off <= critical(spare > CHECKED)) | (spare <= CHECKED)
        before = wider
        wider = dict.fromkeys(of_kind, 1.0) | _scatters(
            net, solution, _solve(net, _without(net, kept)), kept, of_kind, before
        )
        if all(abs(math.log(wider[kind] / before[kind])) < SETTLED for kind in of_kind):
            break
        u = stated.copy()
        for kind, own in of_kind.items():
            u[own] *= wider[kind]
        net = replace(net, u=u)
    return net, {kind: by for kind, by in before.items() if by > 1}


def _robust(net: Network, solution: Solution) -> Solution:
    """A solution that few readings cannot bend far, from the plain one."""
    for _ in range(ROUNDS):
        stretch = np.maximum(np.abs(solution.residual) / (HUBER * net.u), 1.0)
        solution = _solve(net, net.u * np.sqrt(stretch))
    return solution


def scatter(size: Floats, spare: float) -> float:
    """How many times their stated uncertainty readings scatter; 1 where chance may explain it.

    `size` (n,) are residuals over their standard deviation without sign, with `spare` readings to
    spare in all. Half of them may be slips of any size.
    """
    if spare < ENOUGH:
        return 1.0
    shown = float(np.median(size)) / MEDIAN
    return shown if shown > 1 + SHOWN / math.sqrt(spare) else 1.0


def _scatters(
    net: Network,
    every: Solution,
    solution: Solution,
    kept: Mask,
    of_kind: dict[Kind, Mask],
    used: dict[Kind, float] | None = None,
) -> dict[Kind, float]:
    """The kinds of reading that scatter more than stated, and how many times as much.

    `every` is the solution from all readings and `solution` that from those kept; `used` says how
    many times the stated uncertainty a kind already has in `net`.
    """
    spare = 1 - every.row_variance / net.u**2
    score = np.abs(scores(solution, net, kept))
    wider = {}
    for kind, own in of_kind.items():
        checked = own & (spare > CHECKED) & np.isfinite(score)
        already = used[kind] if used else 1.0
        wider[kind] = scatter(score[checked] * already, float(spare[checked].sum()))
    return {kind: by for kind, by in wider.items() if by > 1}


def _solve(net: Network, u: Floats) -> Solution:
    return solve(net.matrix, net.value, u, net.position)


def _without(net: Network, kept: Mask) -> Floats:
    """The u of all readings, so large for those not kept that they pull no more."""
    return np.where(kept, net.u, _ignored(net))


def _ignored(net: Network) -> Floats:
    return np.maximum(net.u, 1.0) * IGNORED


def checkable(solution: Solution, net: Network) -> Mask:
    """Which readings have a check on them: some redundancy of their own."""
    return np.asarray(1 - solution.row_variance / net.u**2 > CHECKED)


def critical(checked: Mask) -> float:
    """The two-sided score that some reading of a clean survey exceeds at SIGNIFICANCE."""
    return -float(ndtri(SIGNIFICANCE / 2 / max(int(checked.sum()), 1)))


def scores(solution: Solution, net: Network, kept: Mask) -> Floats:
    """Standardised residuals: of readings in the solution, and of those left out of it."""
    spread = np.where(kept, net.u**2 - solution.row_variance, net.u**2 + solution.row_variance)
    free = spread > CHECKED * net.u**2
    return np.where(free, solution.residual / np.sqrt(np.where(free, spread, 1.0)), np.nan)


def _worst(solution: Solution, net: Network, kept: Mask) -> tuple[float, int]:
    """The largest score of a reading in the solution, and its number."""
    score = np.where(kept, np.abs(np.nan_to_num(scores(solution, net, kept))), 0.0)
    number = int(np.argmax(score))
    return float(score[number]), number


def suspects(
    found: Sifted, observations: Sequence[Observation], scale: float
) -> tuple[Suspect, ...]:
    """The readings set aside, in order, each with what it would be and what may explain it.

    `scale` is how many times as much as their u the readings that were kept scatter.
    """
    net, solution, clash = found.net, found.solution, found.clash
    score = scores(solution, net, clash == 0)
    told = []
    for k in np.flatnonzero(clash):
        others = np.flatnonzero((clash == clash[k]) & (np.arange(len(clash)) != k)) + 1
        seen = observations[int(k)]
        turned = -1.0 if isinstance(seen, Reading) and seen.sense == "rod" else 1.0
        off = float(solution.residual[k])
        spread = float(np.hypot(net.u[k], np.sqrt(solution.row_variance[k])))
        off, spread = found.blamed.get(int(k), (off, spread))
        error, u, written = turned * off, scale * spread, as_written(seen)
        slip = None
        if not isinstance(seen, Tilt):
            slip = slip_for(seen.text, written, seen.unit, error, u)
        told.append(
            Suspect(
                int(k) + 1,
                seen,
                error,
                u,
                written - error,
                float(score[k]),
                slip,
                tuple(int(number) for number in others),
            )
        )
    return tuple(_exchanged(told))


def as_written(seen: Observation) -> float:
    """What the rod or rule showed [mm], before any correction; for a tilt its rise."""
    return seen.rise_mm if isinstance(seen, Tilt) else parse_length(seen.text, seen.unit)


def _exchanged(found: Sequence[Suspect]) -> list[Suspect]:
    """The same suspects; two that would be right in each other's place are told as exchanged.

    Where each has a slip of its own, such as an inch too much and one too little on a level floor,
    only if they were read one after the other.
    """
    told = list(found)
    # Of readings that contradict others it is not known what they would be.
    alone = [k for k, suspect in enumerate(found) if not suspect.others]
    for i in alone:
        for j in alone[: alone.index(i)]:
            one, other = found[i], found[j]
            near = FITS * max(one.u_mm, other.u_mm)
            explained = one.slip and other.slip and one.number != other.number + 1
            if (
                not explained
                and abs(one.should_mm - as_written(other.observation)) <= near
                and abs(other.should_mm - as_written(one.observation)) <= near
            ):
                for k, partner in ((i, other), (j, one)):
                    words = say("exchanged with reading {number}", number=partner.number)
                    told[k] = replace(told[k], slip=Slip(words, told[k].error_mm))
    return told
