"""A scanned floor, the concrete floor of a garage: pixels to a grid of readings, file to verdict.

Source: the Motorcycle scene of the Middlebury 2014 stereo sets (D. Scharstein et al.,
High-resolution stereo datasets with subpixel-accurate ground truth, GCPR 2014); scikit-image ships
its disparity map as `skimage.data.stereo_motorcycle`, whose notes print the calibration.
A real scan, not a certified floor: part of its shape may be bowing of the cameras.

How the floor is found was worked out once before this package was written: the pixels below row
300 whose disparity lies within 0.25 px of a plane. Their count, their range, the height of the
camera, the scatter about the floor and its 1 % point come out here to all digits noted then; its
99 % point comes out as 3.32 mm where 3.33 was noted. How the cells were made was not noted. Cells
of 50 mm with 20 pixels and more, chosen here, are 472 as noted then, but their best fit band is
6.81 mm where 6.74 was noted, and their minimum zone 6.53 mm where 6.56 was. Neither is asserted;
both fits are checked along other routes instead.
"""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from flatcheck.assess import Assessment, assess
from flatcheck.intent import Intent, band, departures, fit
from flatcheck.readers.folder import read_folder
from flatcheck.straightedge import bars
from flatcheck.surface import lines
from flatcheck.verdict import Outcome

FOCAL_PX, CENTER_PX = 994.978, (311.193, 254.877)
OFFSET_PX, BASELINE_MM = 31.086, 193.001

FLOOR_PX = (-0.00311931, 0.17586369, -29.87863)
"""Disparity of the floor [px] for each column, each row, and at the corner of the picture."""

NEAR_PX, TOP_ROW = 0.25, 300
CELL_MM, LEAST_PIXELS = 50.0, 20

U_MM = 0.2
"""Assumed for a cell: one pixel is good to 0.7 mm at 2.4 m (0.025 px), and neighbors err alike."""


@pytest.fixture(scope="module")
def disparity() -> np.ndarray:
    """The disparity map [px]; where it cannot be had the tests fail in CI and are skipped else."""
    try:
        import skimage.data

        found: np.ndarray = skimage.data.stereo_motorcycle()[2]
    except (ImportError, OSError) as error:
        reason = f"the disparity map of scikit-image cannot be had: {error}"
        if os.environ.get("CI", "").lower() in ("1", "true"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found.astype(float)


@pytest.fixture(scope="module")
def selected(disparity: np.ndarray) -> np.ndarray:
    """The pixels of the floor."""
    row, column = np.indices(disparity.shape)
    a, b, c = FLOOR_PX
    off = np.abs(disparity - (a * column + b * row + c))
    return np.isfinite(disparity) & (row > TOP_ROW) & (off < NEAR_PX)


@pytest.fixture(scope="module")
def scanned(disparity: np.ndarray, selected: np.ndarray) -> np.ndarray:
    """The floor in camera axes (n, 3) [mm]: right, down, ahead."""
    row, column = np.nonzero(selected)
    ahead = FOCAL_PX * BASELINE_MM / (disparity[selected] + OFFSET_PX)
    right = (column - CENTER_PX[0]) * ahead / FOCAL_PX
    down = (row - CENTER_PX[1]) * ahead / FOCAL_PX
    return np.column_stack((right, down, ahead))


@pytest.fixture(scope="module")
def up(scanned: np.ndarray) -> np.ndarray:
    """The normal of the plane that fits the scan best, square to itself, pointing up."""
    normal = np.linalg.svd(scanned - scanned.mean(axis=0), full_matrices=False)[2][2]
    return normal * -np.sign(normal[1])


@pytest.fixture(scope="module")
def grid(scanned: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Mean height [mm] of the cells, rows to the north (ahead), columns to the east (right).

    NaN where a cell has too few pixels. Rounded as it is written to the file.
    """
    east = np.array([1.0, 0, 0]) - up * up[0]
    east /= np.linalg.norm(east)
    height = (scanned - scanned.mean(axis=0)) @ up
    cells = [np.floor(scanned @ axis / CELL_MM).astype(int) for axis in (np.cross(up, east), east)]
    place = tuple(cell - cell.min() for cell in cells)
    shape = tuple(int(cell.max()) + 1 for cell in place)
    pixels, total = np.zeros(shape), np.zeros(shape)
    np.add.at(pixels, place, 1)
    np.add.at(total, place, height)
    return np.where(pixels >= LEAST_PIXELS, (total / np.maximum(pixels, 1)).round(4), np.nan)


def stations(grid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    row, column = np.nonzero(np.isfinite(grid))
    return CELL_MM * np.column_stack((column, row)).astype(float), grid[row, column]


def largest_gaps(grid: np.ndarray, length_mm: float) -> dict[str, float]:
    """Largest gap [mm] along each direction of the grid, by trying every chord."""
    corner = CELL_MM * np.sqrt(2)
    spread = range(-grid.shape[0], grid.shape[1])
    return {
        "row": max(deepest(line, CELL_MM, length_mm) for line in grid),
        "column": max(deepest(line, CELL_MM, length_mm) for line in grid.T),
        "rising diagonal": max(deepest(np.diagonal(grid, k), corner, length_mm) for k in spread),
        "falling diagonal": max(
            deepest(np.diagonal(grid[::-1], k), corner, length_mm) for k in spread
        ),
    }


def deepest(line: np.ndarray, step: float, length_mm: float) -> float:
    at = np.flatnonzero(np.isfinite(line))
    largest = -np.inf
    for i, left in enumerate(at):
        for k, right in enumerate(at[i + 2 :], i + 2):
            if (right - left) * step > length_mm:
                break
            between = at[i + 1 : k]
            share = (between - left) / (right - left)
            chord = line[left] * (1 - share) + line[right] * share
            largest = max(largest, float((chord - line[between]).max()))
    return largest


def judged(folder: Path, grid: np.ndarray, rule: str) -> Assessment:
    """File to verdict: the grid as a survey folder."""
    rows = ["," + ",".join(f"{CELL_MM * column:g}" for column in range(grid.shape[1]))]
    for number, line in enumerate(grid):
        cells = ["x" if np.isnan(height) else f"{height:.4f}" for height in line]
        rows.append(",".join([f"{CELL_MM * number:g}", *cells]))
    (folder / "scan.csv").write_text("\n".join(rows) + "\n")
    (folder / "survey.toml").write_text(
        f"""\
flatcheck = 1

[survey]
title = "Garage floor from a pair of cameras"

[units]
readings = "mm"
offsets = "mm"

[instrument]
uncertainty = "{U_MM} mm"

[standard]
rule = "{rule}"

[[table]]
file = "scan.csv"
kind = "grid"
sense = "elevation"
"""
    )
    return assess(read_folder(folder))


def test_floor_pixels(disparity: np.ndarray, selected: np.ndarray, scanned: np.ndarray) -> None:
    """The floor is 59,929 pixels, 2.16 to 3.57 m ahead, 0.108 px off the plane (rms)."""
    assert int(selected.sum()) == 59_929
    ahead = scanned[:, 2]
    assert (round(ahead.min() / 1000, 2), round(ahead.max() / 1000, 2)) == (2.16, 3.57)
    row, column = np.nonzero(selected)
    a, b, c = FLOOR_PX
    rest = disparity[selected] - (a * column + b * row + c)
    assert round(float(np.sqrt(np.mean(rest**2))), 3) == 0.108


def test_floor_plane(scanned: np.ndarray, up: np.ndarray) -> None:
    """The camera stands 1,063.5 mm above the floor, which scatters by 1.53 mm (rms)."""
    assert round(float(-scanned.mean(axis=0) @ up), 1) == 1063.5
    height = (scanned - scanned.mean(axis=0)) @ up
    assert round(float(height.std()), 2) == 1.53
    assert round(float(np.percentile(height, 1)), 2) == -2.77


def test_best_fit(grid: np.ndarray) -> None:
    """The best fit plane over the 472 cells is numpy's."""
    xy, z = stations(grid)
    assert len(z) == 472
    base = np.column_stack((xy, np.ones(len(z))))
    coef = np.linalg.lstsq(base, z, rcond=None)[0]
    plane = fit(Intent("best fit"), xy, z)
    assert plane.coef[1:] == pytest.approx(coef[:2], rel=1e-9)
    assert departures(plane, xy, z) == pytest.approx(z - base @ coef, abs=1e-9)


def test_minimum_zone(grid: np.ndarray) -> None:
    """The minimum zone over the 472 cells is narrower than the best fit band, and proven least.

    The proof is a bound from below: weights w with Σw = Σwx = Σwy = 0 and Σ|w| = 2 give a sum Σwz
    that no zone can be narrower than.
    """
    xy, z = stations(grid)
    zone = band(departures(fit(Intent("minimum zone"), xy, z), xy, z))
    base = np.column_stack((xy / 1000, np.ones(len(z)))).T
    solved = linprog(
        np.concatenate((-z, z)),
        A_eq=np.block([[base, -base], [np.ones((1, 2 * len(z)))]]),
        b_eq=[0, 0, 0, 2],
        method="highs-ipm",
    )
    weights = solved.x[: len(z)] - solved.x[len(z) :]
    assert base @ weights == pytest.approx(0, abs=1e-9)
    assert np.abs(weights).sum() == pytest.approx(2, abs=1e-9)
    assert zone == pytest.approx(float(weights @ z), abs=1e-6)
    assert zone < band(departures(fit(Intent("best fit"), xy, z), xy, z))


@pytest.mark.parametrize("length_mm", [300.0, 600.0, 2000.0])
def test_every_direction(grid: np.ndarray, tmp_path: Path, length_mm: float) -> None:
    """Along rows, columns and both diagonals the largest gap is that of trying every chord."""
    floor = judged(tmp_path, grid, "bs-8204:SR1").surface
    families = lines(floor)
    found = bars(families, floor.height_mm, length_mm)
    largest = {
        family.direction: found.gap_mm[found.direction == number].max()
        for number, family in enumerate(families)
    }
    assert largest == pytest.approx(largest_gaps(grid, length_mm), abs=1e-9)


@pytest.mark.parametrize(("grade", "limit_mm"), [("SR1", 3), ("SR2", 5), ("SR3", 10)])
def test_scan_to_verdict(grid: np.ndarray, tmp_path: Path, grade: str, limit_mm: float) -> None:
    """The floor is judged by the largest gap under a 2 m bar that trying every chord finds.

    It is over 3 mm by more than six times its standard uncertainty, which is beyond doubt for a
    million bars (Bonferroni: 5.4 at 5 %), and not over 10 mm.
    """
    assessment = judged(tmp_path, grid, f"bs-8204:{grade}")
    xy, z = stations(grid)
    assert np.array_equal(assessment.surface.xy_mm, xy)
    assert np.array_equal(assessment.surface.height_mm.round(4), z)
    (found,) = assessment.verdict.findings
    gap = max(largest_gaps(grid, 2000.0).values())
    assert found.worst is not None
    assert found.worst.value_mm == pytest.approx(gap, abs=1e-9)
    assert found.worst.limit_mm == limit_mm
    assert (assessment.verdict.as_read is Outcome.OUT) == (gap > limit_mm)
    excess = (gap - limit_mm) / found.worst.u_mm
    assert found.placements < 1_000_000
    if grade == "SR1":
        assert excess > 6
        assert assessment.verdict.guarded is Outcome.OUT
        assert assessment.verdict.spots
    if grade == "SR3":
        assert excess < -1.645
        assert assessment.verdict.guarded is not Outcome.OUT
        assert assessment.verdict.spots == ()
