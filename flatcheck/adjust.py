"""From readings to heights: the one least squares, and what it says of the readings.

Every reading is a linear observation with its own standard uncertainty (`flatcheck.network`); one
weighted sparse least squares takes any mix of them. It gives heights with their covariance, says
what the readings cannot tell, tests whether they fit together, and names those that do not.

A reading that does not fit is set aside (`flatcheck.misread`), never silently: it stands in
`suspects` with what it would have to be.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter, itemgetter
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.special import gammaincc

from flatcheck.covariance import Factored, covariance, variances
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.loops import Loop, loops
from flatcheck.misread import (
    CHECKED,
    IGNORED,
    Kind,
    Sifted,
    Suspect,
    as_written,
    checkable,
    critical,
    scatter,
    scores,
    sifted,
    suspects,
)
from flatcheck.network import Network, network, station_of
from flatcheck.normal import Solution
from flatcheck.slips import slip_for
from flatcheck.survey import Benchmark, Observation, Reading

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

DOUBT = 0.05
"""Readings are taken to fit worse, or better, than stated when chance gives less than this."""

WHOLE = 1000
"""Up to this many unknowns the whole covariance is written out; of more its factor is quicker."""

REPEAT_U = 4.0
"""Two readings of one place from one setup may differ by this many u of a difference.

Chance exceeds it once in 16,000 repeats, so beyond it one of the two is a slip."""


@dataclass(frozen=True)
class Fit:
    """How well the readings fit together.

    `redundancy` is how many readings there are beyond what the heights need; `sigma0` the
    a-posteriori standard deviation of unit weight (1 when the uncertainties used are right);
    `chance` that sigma0 is this large or larger, or as small or smaller, if they are right (two
    sided); `critical` the score beyond which a reading is a suspect. The uncertainties used are
    those stated, times the factor in `wider` for a kind of reading that plainly scatters more.
    """

    redundancy: int
    sigma0: float
    chance: float
    critical: float
    wider: tuple[tuple[Kind, float], ...]


@dataclass(frozen=True)
class Repeat:
    """A setup that read places again, by `count` readings more than places.

    The worst two of one place differ by `apart_mm`, and `u_mm` is the standard uncertainty of such
    a difference; `closing` says that they are the first and the last reading of the setup.
    """

    setup: str
    count: int
    apart_mm: float
    u_mm: float
    closing: bool


@dataclass(frozen=True, eq=False)
class Adjusted:
    """Adjusted heights of n stations from m readings.

    `cov_mm2` is (n,) where the heights are independent, else (n, n), as a `Factored` beyond WHOLE
    unknowns; it belongs to forms that the readings decide, and is scaled up where the readings
    disagree more than stated. `free` (n, k) are the directions in which the heights may move
    without any reading noticing. `piece` (n,) numbers the parts that no reading joins, `known`
    are the stations with a benchmark. `residual_mm`, `redundancy` and `score` are (m,); the last
    is NaN where there is no check.
    `reads` (n,) counts the readings that touch a station. `setups` are the heights of the
    instrument setups against the first of their piece, [(name, first, height,
    standard uncertainty)], the last inf where the readings leave it open;
    `loops` those that readings close, suspects among them; `repeats` what setups show that read a
    place again.
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
    repeats: tuple[Repeat, ...]


def adjust(observations: Sequence[Observation]) -> Adjusted:
    """Heights of all places that readings touch, and what the readings say of each other.

    Raises SurveyError for fewer than two readings, for two of one place and setup that disagree,
    and for a tie without a partner.
    """
    if len(observations) < 2:
        raise SurveyError(
            say(
                "a surface needs at least two readings; there is {count}.",
                count=len(observations),
            )
        )
    net = network(observations)
    again = repeats(net, observations)
    check_ties(net, observations)
    if len(net.setups) == 1 and all(isinstance(seen, Reading) for seen in observations):
        return _one_setup(net, again)
    return _result(sifted(net, observations), observations, again)


def _one_setup(net: Network, again: tuple[Repeat, ...]) -> Adjusted:
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
    checked = redundancy > CHECKED
    fit = _fit(m - n, float(np.sum(weight * residual**2)), checked)
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
        score=np.where(checked, residual / np.sqrt(np.where(checked, spread, 1)), np.nan),
        suspects=(),
        fit=fit,
        setups=tuple((name, name, 0.0, 0.0) for name in net.setups),
        loops=(),
        repeats=again,
    )


def _fit(
    redundancy: int, square: float, checked: Mask, wider: tuple[tuple[Kind, float], ...] = ()
) -> Fit:
    above = float(gammaincc(redundancy / 2, square / 2)) if redundancy else 0.5
    return Fit(
        redundancy=redundancy,
        sigma0=float(np.sqrt(square / redundancy)) if redundancy else 1.0,
        chance=2 * min(above, 1 - above),
        critical=critical(checked),
        wider=wider,
    )


def _inflation(fit: Fit) -> float:
    """What to multiply the covariance by: sigma0² where the readings disagree more than stated."""
    return fit.sigma0**2 if fit.sigma0 > 1 and fit.chance < DOUBT else 1.0


def _result(
    found: Sifted, observations: Sequence[Observation], again: tuple[Repeat, ...]
) -> Adjusted:
    net, solution, kept = found.net, found.solution, found.clash == 0
    n = len(net.xy_mm)
    spare = 1 - solution.row_variance / net.u**2
    # The redundancy numbers of what is kept add up to it, whatever only the rest had touched.
    redundancy = round(float(np.sum(spare[kept])))
    square = float(np.sum((solution.residual[kept] / net.u[kept]) ** 2))
    fit = _fit(redundancy, square, checkable(solution, net) & kept, found.wider)
    touched = abs(net.matrix[kept][:, :n]).sign()
    datum = _datum(net)
    free = datum @ solution.free
    size = np.abs(free).max(axis=0, initial=0.0)
    free = free[:, size > 1e-9] / size[size > 1e-9]
    return Adjusted(
        xy_mm=net.xy_mm,
        height_mm=_levelled(net, datum @ solution.x, free),
        cov_mm2=_covariance(datum, solution, _inflation(fit)),
        where=net.where,
        free=free,
        piece=net.piece[:n],
        known=net.known,
        reads=np.asarray(touched.sum(axis=0)).ravel().astype(np.int64),
        residual_mm=solution.residual,
        redundancy=np.where(kept, spare, 1.0),
        score=scores(solution, net, kept),
        suspects=suspects(found, observations, math.sqrt(_inflation(fit))),
        fit=fit,
        setups=_setups(net, solution, math.sqrt(_inflation(fit))),
        loops=loops(net, observations),
        repeats=again,
    )


def _covariance(datum: csr_array, solution: Solution, scale: float) -> Floats:
    if datum.shape[1] > WHOLE:
        return cast(Floats, Factored(solution, datum, scale, np.zeros(datum.shape[0])))
    whole: Floats = scale * (datum @ (datum @ covariance(solution)).T)
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


def _setups(
    net: Network, solution: Solution, scale: float
) -> tuple[tuple[str, str, float, float], ...]:
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
    u = np.sqrt(spread.clip(0))
    # Tied by nothing but readings that were set aside, whose u is IGNORED times a millimeter.
    u[u > IGNORED / 2] = math.inf
    return tuple(
        (name, names[int(k)], float(height), scale * float(of))
        for name, k, height, of in zip(net.setups, lead, heights, u, strict=True)
    )


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
                say(
                    "{where}: the tie {text!r} has no partner; no other setup read this place.",
                    where=reading.where,
                    text=reading.text,
                )
            )


def repeats(net: Network, observations: Sequence[Observation]) -> tuple[Repeat, ...]:
    """What each setup that read a place again shows of itself.

    Two readings of one place from one setup that disagree are refused, as nobody can say which is
    right: raises SurveyError naming both when they differ by more than REPEAT_U standard
    uncertainties, or more than REPEAT_U times what repeats show where all of them scatter more than
    stated. Where they open and close a setup it says how to take a drift out.
    """
    taken: dict[str, list[int]] = {}
    for number, reading in enumerate(observations):
        if isinstance(reading, Reading):
            taken.setdefault(reading.setup, []).append(number)
    worst: dict[str, tuple[float, Reading, Reading]] = {}
    sizes, counts = [], Counter[str]()
    for setup, own in taken.items():
        seen: dict[int, tuple[Reading, Reading, Reading]] = {}
        for number in own:
            reading, station = observations[number], station_of(net, number)
            assert isinstance(reading, Reading)
            # Against the last, lowest and highest so far: all pairs of many would take too long.
            last, low, high = seen.get(station, (reading,) * 3)
            if station in seen:
                sizes.append(_apart(last, reading))
                counts[setup] += 1
                size, first = max(
                    ((_apart(one, reading), one) for one in (low, high)), key=itemgetter(0)
                )
                if setup not in worst or size > worst[setup][0]:
                    worst[setup] = size, first, reading
            seen[station] = (
                reading,
                min(low, reading, key=attrgetter("height_mm")),
                max(high, reading, key=attrgetter("height_mm")),
            )
    most = REPEAT_U * scatter(np.array(sizes), len(sizes))
    told = []
    for setup, (size, first, reading) in worst.items():
        opened, closed = (observations[taken[setup][k]] for k in (0, -1))
        closing = first is opened and reading is closed
        if size > most:
            raise SurveyError(_disagree(first, reading, closing))
        u = math.hypot(first.u_mm, reading.u_mm)
        told.append(Repeat(setup, counts[setup], size * u, u, closing))
    return tuple(told)


def _apart(first: Reading, reading: Reading) -> float:
    """By how many times the standard uncertainty of their difference two readings differ."""
    apart = abs(first.height_mm - reading.height_mm)
    return apart / math.hypot(first.u_mm, reading.u_mm)


def _disagree(first: Reading, reading: Reading, closing: bool) -> str:
    """Why two readings of one place from one setup cannot both be used."""
    error = as_written(reading) - as_written(first)
    u = math.hypot(first.u_mm, reading.u_mm)
    slip = slip_for(reading.text, as_written(reading), reading.unit, error, u)
    perhaps = f" ({slip.words}?)" if slip else ""
    said = say(
        "{where}: {text!r} disagrees with {first!r} in {there}, read at the same "
        "place from the same setup{perhaps}",
        where=reading.where,
        text=reading.text,
        first=first.text,
        there=first.where,
        perhaps=perhaps,
    )
    if closing:
        return say(
            "{said}; if the instrument drifted between this first and last reading, say "
            "warmed_up = true in the table's entry.",
            said=said,
        )
    return f"{said}."
