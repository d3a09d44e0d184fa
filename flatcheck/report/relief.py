"""What a drawing of the floor shows: departures from the plane it should lie in, and the worst."""

import math

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.intent import departures
from flatcheck.judgment import TOLD_AS_SPOTS
from flatcheck.parts import Face
from flatcheck.report.words import outcome_of
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
