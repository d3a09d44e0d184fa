"""How long a survey by hand takes, from its files to its verdict.

The promise is 50 ms after import for 20 x 20 readings. The yardstick in the same run is
`scipy.spatial.ConvexHull`, the general tool, called once for every placement of both bars along
every line of readings: the whole verdict must cost less than those hulls alone.
"""

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.spatial import ConvexHull

from flatcheck.assess import assess
from flatcheck.readers.folder import bare, read_folder, write_folder
from flatcheck.survey import Survey

SIDE = 20


def best_of(runs: int, job: Callable[[], object]) -> float:
    """The shortest of several runs [s]: the one least disturbed by others."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return min(times)


def floor(folder: Path) -> None:
    """A 20 x 20 survey at 1 ft on disk, wavy, with reading noise and a rule near its limit."""
    rng = np.random.default_rng(3)
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    height = 0.08 * np.sin(x / 3) * np.cos(y / 4) + rng.normal(0, 0.02, x.shape)
    cells = [["", *(f"{v}'" for v in range(SIDE))]]
    for v in range(SIDE):
        cells.append([f"{v}'", *(f"{round((45 - h) * 32)}/32" for h in height[v])])
    survey = bare(
        "grid.csv",
        tuple(tuple(row) for row in cells),
        kind="grid",
        sense="rod",
        readings="in",
        offsets="ft",
        uncertainty="1/48 in",
        sections={"tile": {"length": "24 in", "width": "24 in"}},
    )
    write_folder(survey, folder)


def profiles(survey: Survey) -> list[np.ndarray]:
    """Distance and height along every line of readings, (n, 2)."""
    view = assess(survey).parts[0].view
    found = []
    for family in view.lines:
        for stations, along in zip(family.stations, family.along, strict=True):
            held = stations >= 0
            height = view.surface.height_mm[stations[held]]
            found.append(np.column_stack((along[held], height)))
    return found


def test_file_to_verdict(tmp_path: Path) -> None:
    """A 20 x 20 survey goes from file to verdict in less than half of what the yardstick takes.

    The 50 ms that are promised on a quick machine are printed.
    """
    floor(tmp_path / "survey")
    along = profiles(read_folder(tmp_path / "survey"))

    def yardstick() -> None:
        for profile in along:
            for bar in (3048, 609.6):
                last = np.searchsorted(profile[:, 0], profile[:, 0] + bar + 1)
                for first, end in enumerate(last):
                    if end - first >= 3:
                        # Joggled: level readings lie on one line, which Qhull refuses.
                        ConvexHull(profile[first:end], qhull_options="QJ")

    verdict = best_of(7, lambda: assess(read_folder(tmp_path / "survey")))
    hulls = best_of(3, yardstick)
    print(
        f"\n20 x 20 survey, file to verdict {verdict * 1e3:.1f} ms; ConvexHull of every placement "
        f"{hulls * 1e3:.1f} ms; ratio {verdict / hulls:.2f}"
    )

    assert verdict < hulls / 2
