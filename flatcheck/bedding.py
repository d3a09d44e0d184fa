"""The best that a bed can do: plates laid so that the worst step is least, then all steps together.

The unknowns are three for each plate, as changes from plates that follow the floor; everything is
linear in them. First the plates that the bed cannot hold are found, by the least total by which
its limits would have to give way; then the worst step; then, with that kept, the total.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.sparse import csc_array, csr_array, hstack, vstack

from flatcheck.interior import least
from flatcheck.language import say

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

KEPT_MM = 0.005
"""The worst step may be greater by this than the least while the total is made least [mm]: nobody
can measure it, and where there is no room inside its rows a program takes very long."""

ROOM_MM = 1e-3
"""A plate that the bed cannot hold gets this much more than it needs, for the same reason [mm]."""

ROUNDING_MM = 1e-5
"""What the solver's arithmetic may be off [mm]."""

NONE_MM = 0.01
"""A worst step of less than this is none: what is left is not made any less in total [mm]."""

TIGHT = {"primal_feasibility_tolerance": 1e-8, "dual_feasibility_tolerance": 1e-8}

STAGES = (say("what the bed can hold"), say("the worst step"), say("the total of all steps"))
"""What is worked out, in order; whoever waits is told."""

Progress = Callable[[int, str], None]


@dataclass(frozen=True, eq=False)
class Program:
    """Plates on a bed, as changes y (3 t,) of their unknowns.

    `bed` (p, 3 t) changes the thickness of the bed at its places, `thick_mm` (p,) before; each of
    plate `owner` (p,). It is to lie between `least_mm` and `most_mm`; it is enough to ask for the
    least where `thin` and for the most where `deep` is true (p,). `step` (j k, 3 t) changes the
    steps, `step_mm` (j k,) before, `places` = k for each joint; none may exceed `spacer_mm`,
    alike or (j k,). `above_mm` (t,) is how high the middle of each plate lies above the required
    surface, with one free height for all; none may leave that by more than `cap_mm`.
    """

    bed: csr_array
    thick_mm: Floats
    owner: Ints
    thin: Mask
    deep: Mask
    least_mm: float
    most_mm: float
    step: csr_array
    step_mm: Floats
    places: int
    above_mm: Floats
    cap_mm: float = np.inf
    spacer_mm: Floats | float = np.inf

    @property
    def count(self) -> int:
        return len(self.above_mm)


@dataclass(frozen=True, eq=False)
class Bedded:
    """What came of it: y (3 t,), and by how much the bed (or the cap) gives way at each plate."""

    change: Floats
    gives_mm: Floats


def bedded(program: Program, progress: Progress | None = None) -> Bedded:
    """The plates with the least worst step, and of those the ones with the least total."""
    tell = progress or (lambda number, words: None)
    tell(0, STAGES[0])
    gives = _gives(program)
    gives = np.where(gives > ROUNDING_MM, gives + ROOM_MM, 0.0)
    # Each program gets a little more room than the last, lest arithmetic leave it no answer.
    tell(1, STAGES[1])
    worst, change = _worst(_looser(program, 1), gives)
    if len(program.step_mm) and worst > NONE_MM:
        tell(2, STAGES[2])
        change = _total(_looser(program, 2), gives, worst)
    return Bedded(change, gives)


def _looser(program: Program, times: int) -> Program:
    more = times * ROUNDING_MM
    return replace(
        program,
        least_mm=program.least_mm - more,
        most_mm=program.most_mm + more,
        cap_mm=program.cap_mm + more,
        spacer_mm=program.spacer_mm + more,
    )


def _gives(program: Program) -> Floats:
    """By how much the bed has to give way at each plate (t,), in total the least [mm].

    All plates in one plane keep the spacers, and a cap gives way with the bed, so this always has
    an answer where no spacer asks for less than bowed tiles in one plane differ by.
    """
    t = program.count
    room = program.most_mm - program.least_mm
    low, high = np.full(t, np.inf), np.full(t, -np.inf)
    np.minimum.at(low, program.owner, program.thick_mm)
    np.maximum.at(high, program.owner, program.thick_mm)
    alone = np.isinf(program.cap_mm) and np.all(np.isinf(program.spacer_mm))
    if alone and np.all(high - low <= room):
        return np.zeros(t)
    rows, right = _limits(program, np.zeros(t), t, slack=True)
    cost = np.concatenate((np.zeros(3 * t + 1), np.ones(t)))
    found = _solved(cost, rows, right, np.full(t, np.inf))
    gives: Floats = np.maximum(found[3 * t + 1 :], 0.0)
    return gives


def _worst(program: Program, gives: Floats) -> tuple[float, Floats]:
    """The least worst step [mm], and plates with it."""
    t = program.count
    rows, right = _limits(program, gives, 1)
    steps, sizes = _steps(program, csr_array(np.ones((len(program.step_mm), 1))))
    cost = np.concatenate((np.zeros(3 * t + 1), [1.0]))
    rows, right = csr_array(vstack((rows, steps))), np.concatenate((right, sizes))
    found = _solved(cost, rows, right, np.array([np.inf]))
    return float(found[-1]), found[: 3 * t]


def _total(program: Program, gives: Floats, worst: float) -> Floats:
    """Plates whose steps add up to the least, none above the worst (3 t,)."""
    t, joints = program.count, len(program.step_mm) // program.places
    rows, right = _limits(program, gives, joints)
    joint = np.repeat(np.arange(joints), program.places)
    each = csr_array((np.ones(len(joint)), (np.arange(len(joint)), joint)))
    steps, sizes = _steps(program, each)
    cost = np.concatenate((np.zeros(3 * t + 1), np.ones(joints)))
    rows, right = csr_array(vstack((rows, steps))), np.concatenate((right, sizes))
    found = _solved(cost, rows, right, np.full(joints, worst + KEPT_MM))
    return found[: 3 * t]


def _limits(
    program: Program, gives: Floats, more: int, slack: bool = False
) -> tuple[csr_array, Floats]:
    """Rows and right sides of the bed, the cap and the spacers.

    The unknowns are those of the plates, the height of the required surface, and `more` others:
    with `slack` how far each plate's limits give way, else nothing to do with these limits.
    """
    t, plates = program.count, np.arange(program.count)
    datum = csr_array((len(program.owner), 1))
    kinds = [
        (program.bed, datum, program.owner, program.most_mm - program.thick_mm, program.deep),
        (-program.bed, datum, program.owner, program.thick_mm - program.least_mm, program.thin),
    ]
    if np.isfinite(program.cap_mm):
        middle = csr_array((np.ones(t), (plates, 3 * plates)), shape=(t, 3 * t))
        ones, every = csr_array(np.ones((t, 1))), np.ones(t, dtype=bool)
        kinds += [
            (middle, -ones, plates, program.cap_mm - program.above_mm, every),
            (-middle, ones, plates, program.cap_mm + program.above_mm, every),
        ]
    rows, right = [], []
    for matrix, level, plate, spare, asked in kinds:
        own = plate[asked]
        given = csr_array((len(own), more))
        if slack:
            given = csr_array((np.ones(len(own)), (np.arange(len(own)), own)), (len(own), more))
        rows.append(hstack((matrix[asked], level[asked], -given)))
        right.append(spare[asked] + gives[own])
    if np.all(np.isfinite(program.spacer_mm)):
        none = csr_array((len(program.step_mm), 1 + more))
        rows += [hstack((program.step, none)), hstack((-program.step, none))]
        right += [program.spacer_mm - program.step_mm, program.spacer_mm + program.step_mm]
    return csr_array(vstack(rows)), np.concatenate(right)


def _steps(program: Program, held: csr_array) -> tuple[csr_array, Floats]:
    """Rows and right sides by which no step exceeds the unknown that `held` (j k, e) names."""
    none = csr_array((len(program.step_mm), 1))
    both = [hstack((sign * program.step, none, -held)) for sign in (1, -1)]
    return csr_array(vstack(both)), np.concatenate((-program.step_mm, program.step_mm))


def _solved(cost: Floats, rows: csr_array, right: Floats, most: Floats) -> Floats:
    """The answer of a program whose last unknowns lie from 0 to `most`; the others are free."""
    n, last = len(cost), np.arange(len(cost) - len(most), len(cost))
    own = csr_array((np.ones(len(last)), (np.arange(len(last)), last)), shape=(len(last), n))
    bounded = np.isfinite(most)
    rows = csr_array(vstack((rows, own[bounded], -own)))
    right = np.concatenate((right, most[bounded], np.zeros(len(last))))
    used = np.unique(rows.indices)  # without a cap nothing asks for the required surface
    found = least(cost[used], csr_array(csc_array(rows)[:, used]), right)
    if found is None:
        return _by_other_means(cost, rows, right)
    answer = np.zeros(n)
    answer[used] = found
    return answer


def _by_other_means(cost: Floats, rows: csr_array, right: Floats) -> Floats:
    """The answer of a program that leaves no room inside its rows.

    There are many more rows than unknowns, so the dual program is solved, and its multipliers are
    the answer.
    """
    from scipy.optimize import linprog  # slow to import, and most surveys do not need it

    found = linprog(right, A_eq=rows.T, b_eq=-cost, method="highs-ipm", options=dict(TIGHT))
    if found.status != 0:
        raise RuntimeError(f"the program of the bed ended with: {found.message}")
    answer: Floats = found.eqlin.marginals
    return answer
