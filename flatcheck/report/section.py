"""The floor under one bar: the profile along its line of readings."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.compass import SIDE_WORDS
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.relief import above_plane
from flatcheck.report.ticks import one_digit
from flatcheck.surface import Lines
from flatcheck.verdict import Finding, Placement, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_NOT_A_BAR = {"plane": say("required plane"), "neighbors": say("middle of its neighbors")}
"""What a place is compared with by the measures that lay no bar."""


@dataclass(frozen=True, eq=False)
class Profile:
    """The floor along the line of readings under one bar, and the bar.

    `along_mm` (m,) is the distance from the bar's first contact, toward the second; `floor_mm`
    (m,) the floor above (positive) or below the straight line through the contacts; `places` (m,)
    are the places in words. The bar lies from 0 to `span_mm`; at `at_mm` the floor is `gap_mm`
    below it.
    """

    along_mm: Floats
    floor_mm: Floats
    places: tuple[str, ...]
    span_mm: float
    at_mm: float
    gap_mm: float
    limit_mm: float
    bar: str
    start: str


def profile_of(assessment: Assessment, finding: Finding) -> Profile:
    """The floor along the line of readings under the worst bar of a finding.

    Heights are taken from the straight line through the bar's contacts; under a rule from a plane
    from the required plane, raised to its high place.
    """
    worst = finding.worst
    assert worst is not None  # asked for only where a bar was laid
    piece = next(
        p
        for p in assessment.parts
        if p.name == finding.zone and np.isin(worst.stations, p.stations).all()
    )
    face = next(f for f in piece.faces if f.name == worst.face)
    floor = face.view.surface
    start, at, end = np.searchsorted(piece.stations[face.stations], worst.stations)
    line, along = _line_through(face.view.lines, int(start), int(end), worst.span_mm)
    along = along - along[line == start]
    if along[line == end][0] < 0:
        line, along = line[::-1], -along[::-1]
    from_plane = finding.rule.measure == "plane"
    height = above_plane(face) if from_plane else face.view.flat_mm
    span = float(along[line == end][0])
    rise = 0.0 if from_plane else (height[end] - height[start]) / span
    above = height[line] - height[start] - rise * along
    room, style = assessment.surface.room, assessment.survey.show
    return Profile(
        along_mm=along,
        floor_mm=above,
        places=tuple(where(room, place_of(floor.xy_mm[i]), style) for i in line),
        span_mm=span,
        at_mm=float(along[line == at][0]),
        gap_mm=worst.value_mm,
        limit_mm=worst.limit_mm,
        bar=_NOT_A_BAR.get(finding.rule.measure, say("bar")),
        start=say("high place") if from_plane else end_words(SIDE_WORDS[_end_side(worst)]),
    )


def _line_through(
    families: Sequence[Lines], start: int, end: int, span_mm: float
) -> tuple[Ints, Floats]:
    """The stations of the line of readings that holds both, in order, and how far along they lie.

    Two places that no line of readings joins are a line of their own.
    """
    for family in families:
        holds = (family.stations == start).any(axis=1) & (family.stations == end).any(axis=1)
        if holds.any():
            row = int(np.argmax(holds))
            read = family.stations[row] >= 0
            return family.stations[row][read], family.along[row][read]
    return np.array([start, end]), np.array([0.0, span_mm])


def end_words(side: str) -> str:
    """The end of a bar that lies on a side of the compass."""
    return say("{side} end", side=side)


def _end_side(worst: Placement) -> str:
    """Which way the bar's first contact looks, by the compass."""
    east, north = (e - s for s, e in zip(worst.start, worst.end, strict=True))
    slight = worst.span_mm / 10
    south_or_north = "south" if north > slight else "north" if north < -slight else ""
    west_or_east = "west" if east > slight else "east" if east < -slight else ""
    return "-".join(side for side in (south_or_north, west_or_east) if side)


def exaggeration(profile: Profile, width_px: float, height_px: float) -> float:
    """How many times taller heights are drawn, so that the profile fills this many pixels.

    Rounded down to one digit.
    """
    wide = float(np.ptp(profile.along_mm))
    tall = max(float(np.ptp(shown_heights(profile))), 1e-6)
    fits = max(height_px / tall * wide / width_px, 1.0)
    return one_digit(fits)


def shown_heights(profile: Profile) -> Floats:
    """All heights that the drawing must hold [mm]; the last is the limit below or above the bar."""
    limit = -math.copysign(profile.limit_mm, profile.gap_mm)
    return np.array([*profile.floor_mm, 0.0, limit])
