"""Gaps under a bar on shapes with an answer in closed form: a wave and a bowl.

Source: geometry. A bar of length L over a wave of amplitude A and length λ rests on two points at
equal height, L apart around a trough: the gap is A (1 - cos(π L/λ)), and 2 A on two crests once
L reaches λ. Over a bowl z = c x² every bar of length L has the gap c L²/4 below its middle.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatcheck.assess import Assessment, assess
from flatcheck.readers.folder import read_folder
from flatcheck.room import Room, rectangle
from flatcheck.straightedge import Bars, bars
from flatcheck.surface import lines, surface
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH
from flatcheck.verdict import Finding, Outcome

STEP_MM = 50.0


def bars_on(z: np.ndarray, length_mm: float) -> Bars:
    """Every bar on one line of readings, STEP_MM apart."""
    xy = np.column_stack((STEP_MM * np.arange(len(z)), np.zeros(len(z))))
    room = Room(rectangle(0, -10, STEP_MM * len(z), 10))
    floor = surface(room, xy, z, np.full(len(z), 0.01), [f"reading {i}" for i in range(len(z))])
    return bars(lines(floor), z, length_mm)


def wave(amplitude: float, wave_steps: int, steps: int) -> np.ndarray:
    """A wave read from one trough on, so that troughs and crests lie on readings."""
    return -amplitude * np.cos(2 * math.pi * np.arange(steps + 1) / wave_steps)


@pytest.mark.parametrize(("length_m", "known"), [(0.5, 0.794731), (1.0, 2.547326)])
def test_known_waves(length_m: float, known: float) -> None:
    """A wave of 2 mm and 1.7 m has gaps of 0.794731 mm under 0.5 m and 2.547326 mm under 1 m."""
    assert 2 * (1 - math.cos(math.pi * length_m / 1.7)) == pytest.approx(known, abs=5e-7)
    found = bars_on(wave(2.0, 34, 102), 1000 * length_m)
    assert found.gap_mm.max() == pytest.approx(known, abs=5e-7)
    worst = int(np.argmax(found.gap_mm))
    assert found.span_mm[worst] == pytest.approx(1000 * length_m)
    assert found.stations[worst, 1] in (34, 68)


@settings(deadline=None)
@given(amplitude=st.floats(0.1, 20), half_wave=st.integers(2, 16), half_bar=st.integers(1, 24))
def test_any_wave(amplitude: float, half_wave: int, half_bar: int) -> None:
    """Over a wave the largest gap is A (1 - cos(π L/λ)) up to L = λ, and 2 A for longer bars."""
    wave_steps, bar_steps = 2 * half_wave, 2 * half_bar
    found = bars_on(wave(amplitude, wave_steps, 3 * wave_steps), bar_steps * STEP_MM)
    share = min(bar_steps / wave_steps, 1.0)
    exact = amplitude * (1 - math.cos(math.pi * share))
    assert found.gap_mm.max() == pytest.approx(exact, rel=1e-9)


@settings(deadline=None)
@given(bend=st.floats(1e-8, 1e-4), half_bar=st.integers(1, 10), start=st.integers(-30, 30))
def test_any_bowl(bend: float, half_bar: int, start: int) -> None:
    """Over a bowl every bar of length L has the gap c L²/4 below its middle, wherever it lies."""
    x = STEP_MM * np.arange(start, start + 26)
    length = 2 * half_bar * STEP_MM
    found = bars_on(bend * x**2, length)
    middle = np.isclose(found.span_mm, length) & np.isclose(found.weights[:, 0], 0.5)
    assert int(middle.sum()) == 26 - 2 * half_bar
    exact = bend * length**2 / 4
    assert found.gap_mm[middle] == pytest.approx(exact, rel=1e-6)
    assert found.gap_mm.max() == pytest.approx(exact, rel=1e-6)
    assert np.all(found.rests)


BOWL_ROWS, BOWL_COLUMNS, GRID_IN = 9, 41, 3


def judged(folder: Path, bend: float) -> Assessment:
    """File to verdict: a round bowl z = c (x² + y²) [mm], 10 ft by 2 ft, read by rod every 3 in.

    For tile 12 in by 12 in, by the bar: 1/4 in in 10 ft and 1/16 in in 12 in.
    """
    x = GRID_IN * np.arange(BOWL_COLUMNS)
    y = GRID_IN * np.arange(BOWL_ROWS)
    places = np.stack(np.meshgrid(x, y), axis=-1) * MM_PER_INCH - (
        5 * MM_PER_FOOT,
        1 * MM_PER_FOOT,
    )
    rod = 1500 - bend * (places**2).sum(axis=-1)
    rows = [",".join(["", *(f"{v} in" for v in x)])]
    rows += [
        ",".join([f"{v} in", *(repr(float(r)) for r in row)]) for v, row in zip(y, rod, strict=True)
    ]
    (folder / "rod.csv").write_text("\n".join(rows) + "\n")
    (folder / "survey.toml").write_text(
        """\
flatcheck = 1

[units]
readings = "mm"
offsets = "mm"

[instrument]
uncertainty = "0.1 mm"

[room]
outline = [["0", "0"], ["10'", "0"], ["10'", "2'"], ["0", "2'"]]

[intent]
kind = "level"

[tile]
length = "12 in"
width = "12 in"

[standard]
rule = "us-tile:bar"

[[table]]
file = "rod.csv"
kind = "grid"
sense = "rod"
"""
    )
    return assess(read_folder(folder))


def findings(assessment: Assessment) -> dict[str, Finding]:
    return {found.rule.id: found for found in assessment.verdict.findings}


@pytest.mark.parametrize(
    ("depth_mm", "outcome"), [(3.0, Outcome.WITHIN), (6.3, Outcome.CLOSE), (10.0, Outcome.OUT)]
)
def test_bowl_from_file_to_verdict(tmp_path: Path, depth_mm: float, outcome: Outcome) -> None:
    """A bowl is judged by c L²/4 under each bar; the limit of the long one is 1/4 in (6.35 mm).

    The depth is that under 10 ft; under 12 in it is a hundredth. A gap has a standard uncertainty
    of √1.5 times that of a reading, 0.12 mm, so 6.3 mm is too close to call.
    """
    length = 10 * MM_PER_FOOT
    assessment = judged(tmp_path, 4 * depth_mm / length**2)
    found = findings(assessment)
    for rule, span in (("10ft", length), ("short", 1 * MM_PER_FOOT)):
        worst = found[rule].worst
        assert worst is not None
        assert worst.value_mm == pytest.approx(depth_mm * (span / length) ** 2, abs=1e-9)
        assert worst.span_mm == pytest.approx(span)
        assert worst.u_mm == pytest.approx(0.1 * math.sqrt(1.5), rel=1e-9)
        assert found[rule].reach_ratio == 1
    assert found["short"].outcome is Outcome.WITHIN
    assert found["10ft"].outcome is outcome
    assert assessment.verdict.outcome is outcome
    assert (assessment.verdict.as_read is Outcome.OUT) == (depth_mm > MM_PER_INCH / 4)


def test_dome_shows_no_gap(tmp_path: Path) -> None:
    """The same shape upside down rises into every bar: there is no gap between two contacts."""
    found = findings(judged(tmp_path, -4 * 10.0 / (10 * MM_PER_FOOT) ** 2))
    for rule in ("10ft", "short"):
        worst = found[rule].worst
        assert worst is not None
        assert worst.value_mm < 0
