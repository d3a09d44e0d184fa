"""Least work: the cheapest filling and grinding after which every demand on the heights is met.

Fill f >= 0 and grind g >= 0 at every station, with d = f - g the correction. What a rule asks of
the corrected heights is a list of linear forms, each with a limit: w·(z + d) <= limit - margin,
that is w·d <= spare. So the cheapest correction is a linear program.

A bar of length L can lie on a floor in as many ways as there are chords up to L through two
readings of its line, and which of them touch changes as the floor is corrected; so *all* chords
are asked for, as `straightedge.bars` lists them. That is no more than the rule says: a place below
a chord is below the upper hull between the chord's ends, whose edges are chords that a bar can
rest on and are no longer; so where a limit does not fall with the distance between the contacts,
the chords a bar can rest on are within if and only if all are.

They are far too many to be written out, and few matter (cutting planes: Kelley, J. SIAM 8, 1960).
The program holds only the demands that some earlier answer broke; its optimum is a lower bound for
the whole, and once its answer breaks none of the others it is the optimum of the whole. Where it
would start with many, `guess` picks those that will likely bind; a poor guess costs rounds, no
more. The bound is not taken from the solver's word but from its multipliers, as weak duality gives
it. Every round also makes a correction that meets *all* demands, out of the answer and one that was
known before: demands are convex, so far enough along the way from one to the other all are met.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array, hstack

from flatcheck.demand import MET_MM, Demand, Rows
from flatcheck.guess import binding
from flatcheck.program import Program

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Progress = Callable[[int, int, float, float], None]

PROVEN = 1e-7
"""A cost is proven least when it is no farther than this above the lower bound, as a share."""

MANY = 400
"""A first program of more demands than this is worth a guess at which of all will bind."""

IDLE_MM = 0.3
"""A demand met with this to spare leaves the program while the bound still grows [mm]."""

GROWS = 1e-3
"""The bound grows when a round lifts it by this share; without growth nothing leaves, so that the
rounds come to an end."""

DEEP_MM = 0.1
"""A first correction that meets all demands with this much to spare is not sought any deeper."""

SWEEPS = 20
"""How often the places that are too low are filled in making a correction that meets all."""


@dataclass(frozen=True, eq=False)
class Work:
    """What may be done at n stations, and at what price.

    `xy_mm` (n, 2) and `height_mm` (n,) are where they lie. `fill_cost` and `grind_cost` (n,) are
    the cost of one millimeter of height over the floor around the station: the cost of a cubic
    millimeter times its area [money/mm]. `most_fill_mm` and `most_grind_mm` (n,) bound the
    correction: 0 where not to be touched, inf where there is no bound. A station that costs
    nothing may stand for a free unknown, such as one corner of a plane; its bounds are finite.
    """

    xy_mm: Floats
    height_mm: Floats
    fill_cost: Floats
    grind_cost: Floats
    most_fill_mm: Floats
    most_grind_mm: Floats

    def __post_init__(self) -> None:
        costs = np.concatenate((self.fill_cost, self.grind_cost))
        bounds = np.concatenate((self.most_fill_mm, self.most_grind_mm))
        if not (np.all(costs >= 0) and np.all(np.isfinite(costs)) and np.all(bounds >= 0)):
            raise ValueError("costs are finite and not negative, bounds are not negative")
        if np.any((costs == 0) & np.isinf(bounds)):
            raise ValueError("work that costs nothing needs a bound")

    @cached_property
    def cost(self) -> Floats:
        """Cost of a millimeter of fill, then of grinding (2n,)."""
        return np.concatenate((self.fill_cost, self.grind_cost))

    @cached_property
    def most_mm(self) -> Floats:
        """The bounds of fill, then of grinding (2n,)."""
        return np.concatenate((self.most_fill_mm, self.most_grind_mm))


@dataclass(frozen=True, eq=False)
class Correction:
    """What to fill and grind at n stations, what it costs, and what is known about the least cost.

    No correction that meets all demands costs less than `least_cost`. `excess_mm` is by how much
    the most broken demand is exceeded: 0 but where work was stopped before any correction that
    meets them was known. `rounds` is how often a program was solved, `held` how many demands the
    last one held.
    """

    fill_mm: Floats
    grind_mm: Floats
    cost: float
    least_cost: float
    excess_mm: float
    rounds: int
    held: int

    @property
    def proven(self) -> bool:
        """Whether all demands are met, and no correction that meets them costs less."""
        return self.excess_mm <= MET_MM and self.cost - self.least_cost <= PROVEN * self.cost


@dataclass(frozen=True, eq=False)
class Conflict:
    """Demands and bounds that contradict each other; without any one of them the rest could be met.

    `demands` (k, 2) holds the number of a `Demand` and of a form in it; `shares` (k,) add up to 1:
    the sum of the forms, so weighted, is more than their spare whatever is done within the bounds
    of grinding at the stations `unground` and of filling at the stations `unfilled`. `short_mm` is
    by how much: each of these demands would have to give way that far before all could be met.
    `names` are those of the demands, each once.
    """

    demands: Ints
    shares: Floats
    unground: Ints
    unfilled: Ints
    short_mm: float
    rounds: int
    names: tuple[str, ...] = ()


def cost_of(work: Work, correction_mm: Floats) -> float:
    """What a correction (n,) costs, filling where it is positive and grinding where negative."""
    return float(work.cost @ _parted(correction_mm))


def to_plane(work: Work) -> Floats | None:
    """The correction (n,) onto the plane that fits best, at the height that costs least.

    None where the bounds leave no height for it. The cost is piecewise linear and convex in the
    height of the plane, so the least is at one of its corners, or at an end of what is allowed.
    """
    base = np.column_stack((work.xy_mm - work.xy_mm.mean(axis=0), np.ones(len(work.xy_mm))))
    above = base @ np.linalg.lstsq(base, work.height_mm, rcond=None)[0] - work.height_mm
    lowest = float(np.max(-work.most_grind_mm - above))
    highest = float(np.min(work.most_fill_mm - above))
    if lowest > highest:
        return None
    corners = np.sort(-above)
    order = np.argsort(-above, kind="stable")
    # Below all corners everything is ground; every corner that is passed turns one station to fill.
    slope = np.cumsum((work.fill_cost + work.grind_cost)[order]) - work.grind_cost.sum()
    shift = corners[min(int(np.searchsorted(slope, 0.0)), len(corners) - 1)]
    plane: Floats = above + np.clip(shift, lowest, highest)
    return plane


def least_work(
    work: Work,
    demands: Sequence[Demand],
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
) -> Correction | Conflict:
    """The cheapest correction within the bounds that meets every demand, or why there is none.

    `progress` is told after every round: its number, how many demands its answer broke, the lower
    bound and the cost of the best correction that meets all (inf while none is known). `stop` is
    asked between rounds; when it says so the best correction known is returned as it is.
    """
    rows = Rows(len(work.height_mm), demands)
    watched = progress is not None or stop is not None
    tell = progress or (lambda *_: None)
    stopped = stop or (lambda: False)
    started = _start(work, rows, tell, stopped)
    if isinstance(started, Conflict):
        called = dict.fromkeys(demands[int(k)].name for k in started.demands[:, 0])
        return replace(started, names=tuple(called))
    known, rounds = started
    over_known = rows.over(known)
    if over_known.max(initial=0.0) > MET_MM:
        return _correction(work, rows, known, 0.0, rounds, 0)
    program = Program(work.cost, work.most_mm, rows.both_ways, rows.spare_mm)
    answer, best, least = np.zeros(len(known)), known, 0.0
    idle, grew = np.empty(0, bool), False
    while True:
        over = rows.over(answer)
        broken = int(np.count_nonzero(over > MET_MM))
        if watched or not broken:
            met = answer
            if broken:
                met = _toward(known, over_known, _lifted(work, rows, answer, 0.0), rows)
            best = min(best, met, key=lambda d: cost_of(work, d))
        highest = cost_of(work, best)
        tell(rounds, broken, least, highest)
        if highest - least <= PROVEN * highest or stopped():
            break
        if grew:
            program.drop(idle)
        new = np.setdiff1d(rows.worst(over), program.held)
        if len(new) > MANY and not len(program.held):
            guessed = binding(rows, work.cost, work.most_mm)
            new = guessed if len(guessed) else new
        if not len(new):
            break  # what is still broken is in the program, and the solver can do no better
        program.add(new)
        found = program.solve()
        rounds += 1
        answer = found.x[: len(known)] - found.x[len(known) :]
        idle = found.slack > IDLE_MM
        shares = np.zeros(len(over))
        shares[program.held] = found.shares
        spare = float(found.shares @ rows.spare_mm[program.held])
        bound = _bound(work, rows.forms.T @ shares, spare, highest)
        grew = bound > least * (1 + GROWS)
        least = max(least, bound)
    return _correction(work, rows, best, least, rounds, len(program.held))


def _lifted(work: Work, rows: Rows, answer: Floats, deep_mm: float) -> Floats:
    """A correction with places that are too low filled until they have `deep_mm` to spare.

    They are filled as far as the bounds let them, and in few sweeps. Under bars alone that closes
    in on the least fill that will do: the lower of two corrections that meet the demands meets
    them too, for each form has one negative weight.
    """
    lifted, (lowest, lift) = answer, rows.raised
    for _ in range(SWEEPS):
        over = rows.over(lifted) + deep_mm
        broken = np.flatnonzero(over > MET_MM)
        if not len(broken):
            break
        rise = np.zeros(len(answer))
        np.maximum.at(rise, lowest[broken], over[broken] / lift[broken])
        lifted = np.minimum(lifted + rise, work.most_fill_mm)
    return lifted


def _toward(known: Floats, over_known: Floats, answer: Floats, rows: Rows) -> Floats:
    """The first correction on the way from an answer to a known one that meets all demands."""
    over = rows.over(answer)
    broken = over > MET_MM
    span = over[broken] - np.minimum(over_known[broken], 0.0)
    way: Floats = answer + np.max(over[broken] / span, initial=0.0) * (known - answer)
    return way


def _start(
    work: Work, rows: Rows, tell: Progress, stopped: Callable[[], bool]
) -> tuple[Floats, int] | Conflict:
    """A correction that meets all demands, with some to spare if it can, and the rounds it took.

    Nothing at all, or all onto one plane, will mostly do. Else a program looks for the correction
    that has most to spare; should it find that there is less than none, its multipliers say why
    (Farkas; that a corner of them names demands none of which can be left out: Gleeson and Ryan,
    ORSA J. Computing 2, 1990).
    """
    n = len(work.height_mm)
    known = np.zeros(n)
    ways: tuple[Callable[[], Floats | None], ...] = (
        lambda: known,
        lambda: to_plane(work),
        lambda: _lifted(work, rows, known, DEEP_MM),
    )
    for way in ways:
        simple = way()
        if simple is not None and rows.over(simple).max(initial=0.0) <= 0:
            return simple, 0
    price = np.zeros(2 * n + 1)
    price[-1] = 1.0  # the last unknown is how far the demands are from having DEEP_MM to spare
    most = np.append(work.most_mm, np.inf)

    def forms_of(picked: Ints) -> csr_array:
        lacking = csr_array(np.full((len(picked), 1), -1.0))
        return csr_array(hstack((rows.both_ways(picked), lacking), format="csr"))

    program = Program(price, most, forms_of, rows.spare_mm - DEEP_MM)
    answer, rounds = known, 0
    while not stopped():
        new = np.setdiff1d(rows.worst(rows.over(answer) + DEEP_MM), program.held)
        program.add(new)
        found = program.solve()
        rounds += 1
        if found.cost > DEEP_MM + MET_MM:
            return _conflict(work, rows, program.held, found.shares, rounds)
        answer = found.x[:n] - found.x[n:-1]
        known = _lifted(work, rows, answer, max(DEEP_MM - found.cost, 0.0) / 2)
        over = rows.over(known)
        tell(rounds, int(np.count_nonzero(over > MET_MM)), 0.0, np.inf)
        if over.max() <= MET_MM or not len(new):
            break
    return known, rounds


def _conflict(work: Work, rows: Rows, held: Ints, shares: Floats, rounds: int) -> Conflict:
    shares = np.where(shares > 1e-9, shares, 0.0) / shares.sum()
    pull = rows.forms[held].T @ shares
    unground, unfilled = np.flatnonzero(pull > 1e-9), np.flatnonzero(pull < -1e-9)
    within = pull[unground] @ work.most_grind_mm[unground]
    within -= pull[unfilled] @ work.most_fill_mm[unfilled]
    named = np.flatnonzero(shares)
    return Conflict(
        demands=rows.of(held[named]),
        shares=shares[named],
        unground=unground,
        unfilled=unfilled,
        short_mm=float(-shares @ rows.spare_mm[held] - within),
        rounds=rounds,
    )


def _bound(work: Work, pull: Floats, spare: float, highest: float) -> float:
    """No correction that meets all demands costs less than this, by weak duality.

    For any multipliers y >= 0 of the demands the cost is at least that of the best d for
    cost(d) + y·(Ad - spare) within the bounds, which is found station by station. `pull` is A'y.
    A correction that costs no more than `highest` has no more of anything than that would buy.
    """
    gain = np.minimum(work.cost + np.concatenate((pull, -pull)), 0.0)
    bought = np.full(len(gain), np.inf)
    np.divide(highest, work.cost, out=bought, where=work.cost > 0)
    return float(gain @ np.minimum(work.most_mm, bought)) - spare


def _correction(
    work: Work, rows: Rows, d: Floats, least: float, rounds: int, held: int
) -> Correction:
    fill, grind = np.split(_parted(d), 2)
    excess = float(rows.over(d).max(initial=0.0))
    return Correction(fill, grind, cost_of(work, d), least, excess, rounds, held)


def _parted(correction_mm: Floats) -> Floats:
    """A correction (n,) as fill, then grinding (2n,)."""
    return np.concatenate((np.maximum(correction_mm, 0.0), np.maximum(-correction_mm, 0.0)))
