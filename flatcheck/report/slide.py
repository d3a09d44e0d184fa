"""A bar slid along a row of readings: what a person sees who lays it down anywhere."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.compass import side_of
from flatcheck.language import say
from flatcheck.parts import Face
from flatcheck.places import where
from flatcheck.report.section import Profile, end_words
from flatcheck.rules import Rule, limit_at
from flatcheck.straightedge import REACH_MM
from flatcheck.verdict import place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Row:
    """A straight row of readings on one plane: station numbers (m,) and how far along they lie.

    `start` is the side of the compass that its first reading lies on.
    """

    face: Face
    stations: Ints
    along_mm: Floats
    start: str


def rows_through(assessment: Assessment, station: int) -> tuple[Row, ...]:
    """The rows of readings that hold a station: across, along and on both diagonals."""
    found = []
    for piece in assessment.parts:
        for face in piece.faces:
            (own,) = np.nonzero(piece.stations[face.stations] == station)
            if len(own):
                found += _rows(face, int(own[0]))
    return tuple(found)


def _rows(face: Face, station: int) -> list[Row]:
    xy, found = face.view.surface.xy_mm, []
    for family in face.view.lines:
        (holds,) = np.nonzero((family.stations == station).any(axis=1))
        for number in holds:
            read = family.stations[number] >= 0
            line = family.stations[number][read]
            along = family.along[number][read]
            east, north = xy[line[0]] - xy[line[-1]]
            start = side_of(float(np.degrees(np.arctan2(east, north))) % 360)
            found.append(Row(face, line, along - along[0], start))
    return found


def starts(row: Row, length_mm: float) -> tuple[float, ...]:
    """Where along a row a bar may begin so that it lies on the row to its end, at readings [mm].

    Only the start of the row where it is shorter than the bar.
    """
    last = row.along_mm[-1] - length_mm + REACH_MM
    return tuple(float(at) for at in row.along_mm if at <= last) or (0.0,)


def laid(assessment: Assessment, row: Row, start_mm: float, rule: Rule) -> Profile:
    """The floor under a bar that begins here on a row, resting as it would on its high points.

    It rests on the edge of the upper hull that lies below its middle. The gap is the largest
    beneath it between the two points that it touches, against the limit of the rule.
    """
    length = rule.length_mm or float(row.along_mm[-1])
    along, height = row.along_mm, row.face.view.flat_mm[row.stations]
    (under,) = np.nonzero((along >= start_mm - REACH_MM) & (along <= start_mm + length + REACH_MM))
    middle = (along[under[0]] + along[under[-1]]) / 2
    left, right = _contacts(along[under], height[under], middle)
    first, last = under[left], under[right]
    span = float(along[last] - along[first])
    slope = (height[last] - height[first]) / span
    above = height - height[first] - slope * (along - along[first])
    deepest = first + int(np.argmin(above[first : last + 1]))
    xy, room = row.face.view.surface.xy_mm, assessment.surface.room
    return Profile(
        along_mm=along - along[first],
        floor_mm=above,
        places=tuple(where(room, place_of(xy[i]), assessment.survey.show) for i in row.stations),
        span_mm=span,
        at_mm=float(along[deepest] - along[first]),
        gap_mm=float(-above[deepest]),
        limit_mm=float(limit_at(rule.limit, np.array(span))),
        bar=say("bar"),
        start=end_words(row.start),
    )


def _contacts(along: Floats, height: Floats, middle: float) -> tuple[int, int]:
    """The two readings that a bar over all of them touches: the hull's edge below its middle."""
    hull: list[int] = []
    for k in range(len(along)):
        while len(hull) > 1 and _sags(along, height, hull[-2], hull[-1], k):
            hull.pop()
        hull.append(k)
    right = next(n for n, k in enumerate(hull[1:], 1) if along[k] >= middle)
    return hull[right - 1], hull[right]


def _sags(along: Floats, height: Floats, a: int, b: int, c: int) -> bool:
    """Whether the middle of three readings lies on or below the line through the others."""
    rise = (height[c] - height[a]) * (along[b] - along[a])
    return bool((height[b] - height[a]) * (along[c] - along[a]) <= rise)
