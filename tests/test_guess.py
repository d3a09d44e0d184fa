"""Which demands will bind: a good guess is most of the answer, and a poor one changes nothing."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import linprog
from scipy.sparse import csr_array, hstack

from flatcheck import leastwork
from flatcheck.demand import Demand, Rows, demand
from flatcheck.guess import binding
from flatcheck.leastwork import Correction, Work, least_work
from flatcheck.room import Room, rectangle
from flatcheck.straightedge import bars
from flatcheck.surface import lines, surface

Floats = npt.NDArray[np.float64]

STEP_MM, SIDE = 300.0, 15


def floor(seed: int, **bounds: float) -> tuple[Work, list[Demand]]:
    """A rough square floor and what a 3 m and a 0.6 m bar ask of it."""
    x, y = np.meshgrid(np.arange(SIDE) * STEP_MM, np.arange(SIDE) * STEP_MM)
    xy, z = (
        np.column_stack((x.ravel(), y.ravel())),
        np.random.default_rng(seed).normal(0, 3, x.size),
    )
    room = Room(rectangle(0, 0, STEP_MM * (SIDE - 1), STEP_MM * (SIDE - 1)))
    families = lines(surface(room, xy, z, np.ones(len(z)), [""] * len(z)))
    asks = []
    for length, limit in ((3000.0, 4.0), (600.0, 2.0)):
        found = bars(families, z, length)
        asks.append(demand("bar", found.stations, found.weights, found.gap_mm, limit))
    whole = np.ones(len(z))
    most_fill = whole * bounds.get("fill", np.inf)
    return Work(xy, z, whole, 1.5 * whole, most_fill, whole * bounds.get("grind", np.inf)), asks


def least_of(work: Work, forms: csr_array, spare: Floats) -> float:
    """The least cost that meets these forms."""
    bounds = np.column_stack((np.zeros(len(work.cost)), work.most_mm))
    found = linprog(work.cost, hstack((forms, -forms), format="csr"), spare, bounds=bounds)
    assert found.status == 0
    return float(found.fun)


@pytest.mark.parametrize("bounds", [{}, {"fill": 0.0}, {"grind": 0.0}, {"fill": 4.0, "grind": 6.0}])
@pytest.mark.parametrize("seed", range(3))
def test_few_demands_are_most_of_the_answer(seed: int, bounds: dict[str, float]) -> None:
    """One demand in ten, as guessed, alone asks for nine tenths of the least cost of all."""
    work, asks = floor(seed, **bounds)
    rows = Rows(len(work.height_mm), asks)
    picked = binding(rows, work.cost, work.most_mm)
    assert np.all(np.diff(picked) > 0)
    assert len(picked) < 0.1 * len(rows.spare_mm)
    alone = least_of(work, rows.forms[picked], rows.spare_mm[picked])
    assert alone > 0.9 * least_of(work, rows.forms, rows.spare_mm)


@pytest.mark.parametrize("guessed", [[], [0], [5, 17, 900]])
def test_a_poor_guess_costs_rounds_only(
    guessed: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is guessed, none at all or the wrong ones, the answer is proven least."""
    work, asks = floor(9)
    rows = Rows(len(work.height_mm), asks)
    want = least_of(work, rows.forms, rows.spare_mm)
    calls = []

    def poor(*_: object) -> npt.NDArray[np.int64]:
        calls.append(1)
        return np.array(guessed, np.int64)

    monkeypatch.setattr(leastwork, "binding", poor)
    found = least_work(work, asks)
    assert calls == [1]
    assert isinstance(found, Correction)
    assert found.proven
    assert found.cost == pytest.approx(want, rel=1e-7)
