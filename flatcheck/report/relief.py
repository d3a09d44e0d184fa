"""What a drawing of the floor shows: departures from the plane it should lie in, and the worst."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.intent import departures
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.parts import Face
from flatcheck.report.ticks import height_steps
from flatcheck.report.words import outcome_of
from flatcheck.units import Style
from flatcheck.verdict import Finding, gravest

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def departures_of(assessment: Assessment) -> Floats:
    """How far each station (n,) lies above the plane that it should lie in [mm].

    That is the plane of its zone, or of its part of a floor that falls; where two planes meet the
    one that it is farther from. NaN for a station on none: on a drain, or with too few beside it.
    """
    above = np.full(len(assessment.surface.height_mm), np.nan)
    for piece in assessment.parts:
        for face in piece.faces:
            own, here = piece.stations[face.stations], above_plane(face)
            farther = ~(np.abs(above[own]) >= np.abs(here))
            above[own[farther]] = here[farther]
    return above


def above_plane(face: Face) -> Floats:
    """How far each station of a plane lies above it [mm]."""
    floor = face.view.surface
    return departures(face.view.plane, floor.xy_mm, floor.height_mm)


def thinned(xy: Floats, above: Floats, most: int) -> Ints:
    """At most about `most` of the stations, in each square of floor the farthest from the plane."""
    if len(xy) <= most:
        return np.arange(len(xy))
    low = xy.min(axis=0)
    size = np.maximum(xy.max(axis=0) - low, 1.0)
    square = math.sqrt(float(size.prod()) / most)
    cell = ((xy - low) / square).astype(np.int64)
    order = np.argsort(-np.abs(above), kind="stable")
    _, first = np.unique(cell[order], axis=0, return_index=True)
    kept: Ints = np.sort(order[first])
    return kept


def worst_of(assessment: Assessment) -> Finding | None:
    """The finding of flatness to show: of those as grave as the gravest, the one nearest its limit.

    None where flatness was not asked for, or nothing could be laid.
    """
    verdict = assessment.verdict
    laid = [
        finding
        for finding in verdict.findings
        if finding.worst and finding.rule.measure in TOLD_AS_SPOTS
    ]
    outcome = gravest(outcome_of(finding, verdict.decision) for finding in laid)

    def gravity(finding: Finding) -> tuple[bool, float]:
        worst = finding.worst
        share = abs(worst.value_mm) / worst.limit_mm if worst else 0.0
        return outcome_of(finding, verdict.decision) is outcome, share

    return max(laid, key=gravity, default=None)


Corner = tuple[float, float, float]
"""A place on the plan and a value there."""

STEPS = 4
"""So many steps of color above zero, and as many below."""


def band_edges(most_mm: float, style: Style) -> tuple[float, ...]:
    """Where one color ends and the next begins [mm], evenly about zero and beyond `most_mm`.

    Whole steps of the person's own units; what is within one step of zero has one color.
    """
    finest = height_steps(style)[0]
    step = finest * max(1, math.ceil(most_mm / (STEPS * finest) - 1e-9))
    return tuple(step * k for k in range(-STEPS, STEPS + 1) if k)


def bands(
    xy: Floats, value: Floats, triangles: Ints, edges: Sequence[float]
) -> list[list[list[Corner]]]:
    """The floor between each edge and the next, as polygons: values run straight in a triangle.

    What lies beyond the outer edges belongs to the outer bands.
    """
    inner = (-math.inf, *edges[1:-1], math.inf)
    found: list[list[list[Corner]]] = [[] for _ in inner[1:]]
    for corners in triangles.tolist():
        whole = [(float(xy[i, 0]), float(xy[i, 1]), float(value[i])) for i in corners]
        least, most = min(c[2] for c in whole), max(c[2] for c in whole)
        for band, (low, high) in enumerate(pairwise(inner)):
            if least < high and (most > low or least == most == low):
                cut = _cut(_cut(whole, low, 1), high, -1)
                if len(cut) > 2:
                    found[band].append(cut)
    return found


def _cut(corners: list[Corner], level: float, side: int) -> list[Corner]:
    """The part of a polygon whose value is at least `level`, with `side` -1 at most."""
    if math.isinf(level):
        return corners
    kept: list[Corner] = []
    for here, ahead in zip(corners, [*corners[1:], *corners[:1]], strict=True):
        a, b = side * (here[2] - level), side * (ahead[2] - level)
        if a >= 0:
            kept.append(here)
        if a * b < 0:
            t = a / (a - b)
            x, y = (here[k] + t * (ahead[k] - here[k]) for k in (0, 1))
            kept.append((x, y, level))
    return kept


def edges_of(xy: Floats, triangles: Ints, stations: Sequence[int]) -> list[Floats]:
    """The outline of the floor that belongs to some stations, in pieces (k, 2) [mm].

    A third of each triangle belongs to each of its corners, cut along its medians.
    """
    own = np.zeros(len(xy), dtype=bool)
    own[list(stations)] = True
    found = []
    for corners in triangles[np.isin(own[triangles].sum(axis=1), (1, 2))]:
        alone = own[corners].sum() == 1
        k = int(np.flatnonzero(own[corners] == alone)[0])
        at, left, right = (xy[corners[(k + turn) % 3]] for turn in range(3))
        found.append(np.array([(at + left) / 2, (at + left + right) / 3, (at + right) / 2]))
    sides = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    rim, shared = np.unique(sides, axis=0, return_counts=True)
    for a, b in rim[(shared == 1) & own[rim].any(axis=1)]:
        middle = (xy[a] + xy[b]) / 2
        found.append(np.array([xy[a] if own[a] else middle, xy[b] if own[b] else middle]))
    return found
