"""Lines to read a room along: even steps, on marks of the tape, close enough for a rule."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.room import Room, inside
from flatcheck.surface import LINE_MM, Surface, lines
from flatcheck.tables import MOST_READINGS
from flatcheck.units import MM_PER_FOOT

Floats = npt.NDArray[np.float64]

WALL_MM = MM_PER_FOOT / 2
"""The outer lines of a plan are no farther from the walls than this, or half a step [mm].

6 in, or about 150 mm: common practice, no source."""

EXTRA = 0.1
"""For offsets on coarser marks of the tape this share of lines more is walked."""

_TINY = 1e-9
"""The noise of the arithmetic, where a length is divided by a step."""


@dataclass(frozen=True, eq=False)
class Layout:
    """A grid in a room.

    `east_mm` and `north_mm` are the offsets of its lines from the zero corner, growing; `xy_mm`
    (n, 2) its places on the floor in walking order, back and forth along the longer way.
    `seen_ratio` is the share of the places that a bar can be laid over in two directions.
    """

    east_mm: tuple[float, ...]
    north_mm: tuple[float, ...]
    xy_mm: Floats
    seen_ratio: float

    @property
    def step_mm(self) -> float:
        """The widest step between neighboring lines [mm]."""
        return max(widest(self.east_mm), widest(self.north_mm))


def layout(room: Room, pitch_mm: float, mark_mm: float) -> Layout:
    """Which lines and places, no farther apart than `pitch_mm`, does one read in this room?

    Lines lie within WALL_MM or half a pitch of the outermost walls, at least three each way: a bar
    needs a place between its contacts. Offsets are whole multiples of `mark_mm`, or of its half;
    of finer parts only where those would take over EXTRA more lines, and odd ones where the room
    leaves no other choice.

    Raises SurveyError for a room that takes more readings than a survey may hold, or is too narrow
    for three lines.
    """
    corners = np.array(room.outline.corners_mm)
    (west, south), (far_east, far_north) = corners.min(axis=0), corners.max(axis=0)
    rough = (far_east - west) * (far_north - south) / pitch_mm**2
    if rough > 4 * MOST_READINGS:
        raise SurveyError(_too_many(rough, pitch_mm))
    east = _offsets(west, far_east, pitch_mm, mark_mm)
    north = _offsets(south, far_north, pitch_mm, mark_mm)
    along, across = (east, north) if len(east) >= len(north) else (north, east)
    walk = [
        (a, b) for row, b in enumerate(across) for a in (along if row % 2 == 0 else along[::-1])
    ]
    xy = np.array(walk)
    if len(east) < len(north):
        xy = xy[:, ::-1]
    xy = xy[inside(room, xy)]
    if len(xy) > MOST_READINGS:
        raise SurveyError(_too_many(len(xy), pitch_mm))
    if len(xy) < 2 or min(np.diff(east).min(), np.diff(north).min()) <= LINE_MM:
        raise SurveyError(
            say("{name}: the floor is too narrow to be read on a grid.", name=room.outline.name)
        )
    return Layout(east, north, xy, _seen(room, xy))


def widest(offsets: Sequence[float] | Floats) -> float:
    """The widest step between neighboring lines [mm]."""
    return float(np.diff(offsets).max())


def _too_many(readings: float, pitch_mm: float) -> str:
    return say(
        "reading this floor every {pitch:g} mm takes about {count:,.0f} readings, more than the "
        "{most:,} of a survey; plan it for the longer rules, and lay a bar for the short one.",
        pitch=pitch_mm,
        count=readings,
        most=MOST_READINGS,
    )


def _offsets(low: float, high: float, pitch_mm: float, mark_mm: float) -> tuple[float, ...]:
    """Even lines between two walls, at least three."""
    width = high - low
    wall = min(pitch_mm / 2, WALL_MM, width / 4)
    fewest = max(math.ceil((width - 2 * wall) / pitch_mm - _TINY), 2)
    # A metric tape is divided by ten, an inch by halves.
    parts = (1, 2, 5, 10) if float(mark_mm).is_integer() else (1, 2, 4, 8, 16)
    more = fewest + math.ceil(EXTRA * fewest)
    for finest, most in ((2, more), (3, more), (4, more), (len(parts), 2 * fewest)):
        for count in range(fewest, most + 1):
            for mark in (mark_mm / part for part in parts[:finest]):
                step = math.floor(min(pitch_mm, (width - wall) / count) / mark + _TINY) * mark
                middle = round((low + (width - count * step) / 2) / mark) * mark
                for start in (middle, middle - mark, middle + mark):
                    margins = (start - low, high - start - count * step)
                    if step > 0 and min(margins) >= 0 and max(margins) <= wall + _TINY:
                        return tuple(start + step * k for k in range(count + 1))
    step = (width - 2 * wall) / fewest
    return tuple(low + wall + step * k for k in range(fewest + 1))


def _seen(room: Room, xy: Floats) -> float:
    """The share of places on lines of three or more in at least two directions."""
    none = np.empty((0, 3), np.int64)
    flat = Surface(room, xy.copy(), np.zeros(len(xy)), np.ones(len(xy)), ("",) * len(xy), none)
    seen = np.zeros(len(xy), np.int64)
    for family in lines(flat):
        bars = family.stations[(family.stations >= 0).sum(axis=1) > 2]
        seen[bars[bars >= 0]] += 1
    return float(np.mean(seen >= 2))
