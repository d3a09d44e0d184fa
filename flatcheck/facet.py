"""The planes of a floor that falls: where each lies, how high it is, how far water runs on it.

Heights are above the rim of the drain, or above the lowest corner where there is none. They grow in
proportion to the fall, so the planes lie where they lie whatever the fall is.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from flatcheck.compass import bearing_of
from flatcheck.room import Ring, Room, inside, ring_area

Points = npt.NDArray[np.float64]

BESIDE_MM = 1e-6
"""How far beside a corner a way across a plane is measured, to pass it on one side [mm]."""


@dataclass(frozen=True)
class Facet:
    """One plane of a floor that falls, in its outline.

    The height above the rim at (x, y) [mm] is `coef` . (1, x, y). Water runs toward
    `bearing_deg`, at `fall_ratio`; `run_mm` is the longest way it runs down this plane.
    """

    name: str
    outline: Ring
    coef: tuple[float, float, float]
    fall_ratio: float
    bearing_deg: float
    run_mm: float


@dataclass(frozen=True)
class Crease:
    """A line where two planes meet, by the numbers of these; `valley` or else a ridge."""

    start: tuple[float, float]
    end: tuple[float, float]
    valley: bool
    planes: tuple[int, int]


@dataclass(frozen=True)
class Falls:
    """The floor of one zone that falls: its planes, their creases, and the corners' heights."""

    facets: tuple[Facet, ...]
    creases: tuple[Crease, ...]
    corners: tuple[tuple[float, float], ...]
    corner_mm: tuple[float, ...]


def one_fall(outline: Ring, fall_ratio: float, bearing_deg: float) -> Falls:
    """One plane across a zone, its lowest corner at height zero."""
    corners = corners_of(outline)
    turn = math.radians(bearing_deg)
    slope = -fall_ratio * np.array([math.sin(turn), math.cos(turn)])
    low = float((corners @ slope).min())
    coef = (-low, float(slope[0]), float(slope[1]))
    facet = facet_of(outline.name, corners, np.empty((0, 2)), coef)
    return Falls(
        (facet,),
        (),
        tuple((float(x), float(y)) for x, y in corners),
        tuple(float(h) for h in corners @ slope - low),
    )


def height_at(falls: Falls, xy: Points) -> Points:
    """Height above the rim of the drain at places (n, 2) [mm]; NaN outside every plane."""
    found = np.full(len(xy), np.nan)
    for facet in falls.facets:
        here = np.isnan(found) & inside(Room(facet.outline), xy)
        found[here] = facet.coef[0] + xy[here] @ np.array(facet.coef[1:])
    return found


def scaled(falls: Falls, factor: float) -> Falls:
    """The same planes with every height, and so every fall, times a factor."""
    facets = tuple(
        replace(
            f,
            coef=(factor * f.coef[0], factor * f.coef[1], factor * f.coef[2]),
            fall_ratio=factor * f.fall_ratio,
        )
        for f in falls.facets
    )
    heights = tuple(factor * h for h in falls.corner_mm)
    return replace(falls, facets=facets, corner_mm=heights)


def corners_of(outline: Ring) -> Points:
    """Corners counter-clockwise, without those where the wall only goes straight on."""
    corners = np.array(outline.corners_mm, dtype=float)
    if ring_area(corners) < 0:
        corners = corners[::-1]
    before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    sine = turn / (np.hypot(*before.T) * np.hypot(*after.T))
    kept: Points = corners[np.abs(sine) > 1e-6]
    return kept


def facet_of(name: str, outer: Points, inner: Points, coef: tuple[float, float, float]) -> Facet:
    """The plane between a chain of corners along walls and one along the drain."""
    corners = np.vstack((outer, inner[::-1]))
    ratio = math.hypot(coef[1], coef[2])
    return Facet(
        name=name,
        outline=Ring(name, tuple((float(x), float(y)) for x, y in corners)),
        coef=coef,
        fall_ratio=ratio,
        bearing_deg=bearing_of(-coef[1], -coef[2]),
        run_mm=_longest(corners, -np.array(coef[1:]) / ratio) if ratio else 0.0,
    )


def _longest(corners: Points, along: Points) -> float:
    """The longest way across an outline in one direction [mm]: it passes by one of the corners."""
    reach, off = corners @ along, corners @ np.array([-along[1], along[0]])
    onward, beyond = np.roll(reach, -1) - reach, np.roll(off, -1)
    longest = 0.0
    for beside in np.concatenate((off - BESIDE_MM, off + BESIDE_MM)):
        met = (off > beside) != (beyond > beside)
        share = (beside - off[met]) / (beyond - off)[met]
        meets = np.sort(reach[met] + share * onward[met])
        longest = max(longest, float((meets[1::2] - meets[::2]).max(initial=0.0)))
    return longest
