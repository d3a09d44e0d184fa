"""How long least squares over a large mixed survey takes, and how much memory.

The promise is 100,000 observations of 30,000 stations in under 4 s and 1.5 GB, with the variance
of every observation, growing no faster than n^1.5. The yardstick in the same run is
`scipy.sparse.linalg.lsqr`, the general tool, run on columns of norm 1 to the same residuals: it
finds a solution, and neither variances nor what is free.

Each size runs in a process of its own, so that the peak of memory is that of one solve, and with
one BLAS thread: on dense blocks this small a second one only waits, and on a busy machine it makes
the solution ten times slower.
"""

import json
import math
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.linalg import lsqr

from flatcheck.covariance import variances
from flatcheck.normal import solve

Floats = npt.NDArray[np.float64]

SIZES = (3_000, 10_000, 30_000)
SETUPS = 8
BAR = 10


def survey(stations: int) -> tuple[sparse.csr_array, Floats, Floats, Floats]:
    """A, y, u and position of 10 readings for every 3 stations of a grid at 300 mm.

    60 % are heights, each from one of 8 setups that see the whole floor and have a height and two
    tilts of their plane; 30 % are gaps under bars of 10 stations, along rows, columns and both
    diagonals, each with an offset and a tilt; 10 % are tilts between two stations.
    """
    rng = np.random.default_rng(stations)
    side = math.ceil(stations**0.5)
    count = side * side
    grid = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2)
    plan = grid * 300.0
    heights, bars, tilts = 2 * count, count // BAR, count // 3
    n = count + 3 * SETUPS + 2 * bars
    position = np.empty((n, 2))
    position[:count] = plan
    position[count : count + 3 * SETUPS] = plan.mean(0)

    place = np.concatenate((rng.permutation(count), rng.integers(0, count, heights - count)))
    setup = count + 3 * rng.integers(0, SETUPS, heights)
    lever = (plan[place] - plan.mean(0)) / 1000
    unknown = [np.column_stack((place, setup, setup + 1, setup + 2))]
    factor = [np.column_stack((np.ones((heights, 2)), lever))]
    u = [rng.uniform(0.5, 1.5, heights)]

    step = np.array([(1, 0), (0, 1), (1, 1), (-1, 1)])[rng.integers(0, 4, bars)]
    reach = (BAR - 1) * step
    low, high = np.maximum(-reach, 0), side - np.maximum(reach, 0)
    at = rng.integers(low, high)[:, None] + np.arange(BAR)[:, None] * step[:, None]
    under = at[..., 1] * side + at[..., 0]
    own = count + 3 * SETUPS + 2 * np.arange(bars)
    position[own] = position[own + 1] = plan[under].mean(1)
    along = (np.arange(BAR) - (BAR - 1) / 2) * 0.3 * np.hypot(*step.T)[:, None]
    offset = np.repeat(own, BAR)
    unknown.append(np.column_stack((under.ravel(), offset, offset + 1)))
    factor.append(np.column_stack((np.ones(bars * BAR), -np.ones(bars * BAR), -along.ravel())))
    u.append(rng.uniform(0.1, 0.3, bars * BAR))

    one = rng.integers(0, count - 2 * side, tilts)
    other = one + rng.choice([1, 2, side, 2 * side], tilts)
    per_meter = 1000 / np.hypot(*(plan[one] - plan[other]).T)
    unknown.append(np.column_stack((one, other)))
    factor.append(np.column_stack((per_meter, -per_meter)))
    u.append(rng.uniform(0.2, 0.5, tilts))

    held = np.concatenate([np.full(len(part), part.shape[1]) for part in unknown])
    a = sparse.csr_array(
        (
            np.concatenate([part.ravel() for part in factor]),
            np.concatenate([part.ravel() for part in unknown]),
            np.append(0, np.cumsum(held)),
        ),
        shape=(len(held), n),
    )
    every_u = np.concatenate(u)
    y = a @ rng.normal(0, 3, n) + every_u * rng.normal(0, 1, len(held))
    return a, y, every_u, position


def best_of(runs: int, job: Callable[[], object]) -> float:
    """The shortest of several runs [s]: the one least disturbed by others."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return min(times)


def lsqr_to(misfit: float, a: sparse.csr_array, y: Floats) -> tuple[float, int]:
    """Seconds and iterations of the loosest lsqr that comes within 1e-6 of the least misfit."""
    for tolerance in 10.0 ** -np.arange(4, 15):
        start = time.perf_counter()
        _, _, iterations, found, *_ = lsqr(a, y, atol=tolerance, btol=tolerance, iter_lim=50_000)
        seconds = time.perf_counter() - start
        if found <= misfit * (1 + 1e-6):
            return seconds, iterations
    raise AssertionError("lsqr did not come near the least misfit")


def measure(stations: int) -> dict[str, float]:
    """One size, in this process."""
    a, y, u, position = survey(stations)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    solution = solve(a, y, u, position)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds = best_of(5, lambda: solve(a, y, u, position))
    rows = a[np.random.default_rng(0).permutation(a.shape[0])[:10_000]]
    forms = best_of(2, lambda: variances(solution, rows))
    scaled = (sparse.diags_array(1 / u) @ a @ sparse.diags_array(1 / solution.scale)).tocsr()
    misfit = float(np.linalg.norm(solution.residual / u))
    yardstick, iterations = lsqr_to(misfit, scaled, y / u)
    return {
        "observations": a.shape[0],
        "unknowns": a.shape[1],
        "free": solution.free.shape[1],
        "shares": float((solution.row_variance / u**2).sum()),
        "seconds": seconds,
        "forms": forms,
        "lsqr": yardstick,
        "iterations": iterations,
        "before_mb": before / 1024,
        "peak_mb": peak / 1024,
    }


def apart(stations: int) -> dict[str, float]:
    """One size, in a process of its own with one BLAS thread."""
    done = subprocess.run(
        [sys.executable, __file__, str(stations)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        check=True,
        capture_output=True,
        text=True,
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def test_large_survey() -> None:
    """30,000 stations are solved in under 4 s and 1.5 GB, growing slower than n^1.5."""
    found = [apart(size) for size in SIZES]
    print("\nstations  obs.     unknowns  solve s  lsqr s (iter.)   ratio  10,000 forms s  peak MB")
    for size, f in zip(SIZES, found, strict=True):
        print(
            f"{size:8,}  {f['observations']:7,}  {f['unknowns']:8,}  {f['seconds']:7.2f}  "
            f"{f['lsqr']:6.2f} ({f['iterations']:6,})  {f['seconds'] / f['lsqr']:5.2f}  "
            f"{f['forms']:14.2f}  {f['peak_mb']:7.0f} ({f['before_mb']:.0f} before)"
        )
    first, last = found[0], found[-1]
    growth = np.log(last["seconds"] / first["seconds"]) / np.log(SIZES[-1] / SIZES[0])
    print(f"grows as n^{growth:.2f}")

    # The tilts hold the slope of the floor; only its level is free.
    assert all(f["free"] == 1 for f in found)
    assert all(abs(f["shares"] - f["unknowns"] + f["free"]) < 1e-6 for f in found)
    assert last["seconds"] < 4
    assert last["peak_mb"] < 1536
    # Measured 1.1; the shortest of five runs still varies by some 20 %, which moves it by 0.1.
    assert growth <= 1.5


if __name__ == "__main__":
    print(json.dumps(measure(int(sys.argv[1]))))
