"""A bar slid along a row of readings rests as a bar does, and shows the gap beneath it."""

from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import Assessment, assess
from flatcheck.readers.folder import read_folder
from flatcheck.report.slide import laid, rows_through, starts

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


@pytest.fixture(scope="module")
def kitchen() -> Assessment:
    """A floor of 12 by 9 readings with a hump and a dip."""
    return assess(read_folder(SAMPLES / "millbrook-plywood"))


def test_rows_through_a_place(kitchen: Assessment) -> None:
    """A place inside a grid lies on four rows, which begin at four sides; a corner on three."""
    xy = kitchen.surface.xy_mm
    middle = int(np.argmin(np.hypot(*(xy - xy.mean(axis=0)).T)))
    rows = rows_through(kitchen, middle)
    assert [row.start for row in rows] == ["west", "south", "south-west", "north-west"]
    assert len(rows_through(kitchen, int(np.argmin(xy.sum(axis=1))))) == 3


def test_the_bar_touches_and_never_cuts_the_floor(kitchen: Assessment) -> None:
    """Wherever it begins, the bar touches two readings, holds its middle, and none lies above."""
    rule = kitchen.verdict.findings[0].rule
    for station in range(0, len(kitchen.surface.xy_mm), 7):
        for row in rows_through(kitchen, station):
            for start in starts(row, rule.length_mm or 0):
                bar = laid(kitchen, row, start, rule)
                first = float(row.along_mm[0] - bar.along_mm[0])  # the contact, along the row
                under = (row.along_mm >= start - 1) & (row.along_mm <= start + rule.length_mm + 1)
                assert bar.floor_mm[under].max() <= 1e-9
                touched = np.isin(bar.along_mm, [0, bar.span_mm])
                assert np.abs(bar.floor_mm[touched]).max() < 1e-9
                ends = row.along_mm[under][[0, -1]]
                assert first <= ends.mean() <= first + bar.span_mm
                between = (bar.along_mm >= 0) & (bar.along_mm <= bar.span_mm)
                assert bar.gap_mm == pytest.approx(-bar.floor_mm[between].min())


def test_the_largest_of_all_is_the_worst_found(kitchen: Assessment) -> None:
    """No place of the bar shows more than the worst gap of the verdict, and one shows as much."""
    finding = kitchen.verdict.findings[0]
    assert finding.worst
    gaps = [
        laid(kitchen, row, start, finding.rule).gap_mm
        for station in range(len(kitchen.surface.xy_mm))
        for row in rows_through(kitchen, station)
        for start in starts(row, finding.rule.length_mm or 0)
    ]
    assert max(gaps) == pytest.approx(finding.worst.value_mm, rel=1e-9)
