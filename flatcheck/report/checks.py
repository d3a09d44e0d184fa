"""What the readings say of each other: the sentences about misreadings, loops and what is open."""

import math
from collections import Counter

import numpy as np
from scipy.special import ndtri

from flatcheck.adjust import CHECKED, DOUBT, Suspect
from flatcheck.assess import Assessment
from flatcheck.compass import side_of
from flatcheck.instrument import fine
from flatcheck.network import places_of
from flatcheck.report.words import many, where
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt
from flatcheck.units import format_length, format_slope

KINDS = {Reading: "height", Gap: "gap under a bar", Tilt: "level tilt", Benchmark: "benchmark"}

LEVEL = 0.0005
"""A floor that falls by less than this as a whole, 0.5 mm in a meter, is called level."""


def checks(assessment: Assessment) -> list[str]:
    """How the other readings fit together, in the order a person would ask."""
    known, style = assessment.adjusted, assessment.survey.show
    said = _rests_on(assessment)
    said += [
        f"Setup {_short(name)} stands {format_length(height, style, sign=True)} against setup "
        f"{_short(first)} (give or take {fine(2 * u, style)})."
        for name, first, height, u in known.setups
        if name != first and np.isfinite(u)
    ]
    said += _fit(assessment)
    said += _loops(assessment)
    said += _falls(assessment)
    return said


def misread(assessment: Assessment) -> list[str]:
    """The readings that do not fit the others, each with what it would be."""
    return [suspect_words(suspect, assessment) for suspect in assessment.adjusted.suspects]


def suspect_words(suspect: Suspect, assessment: Assessment) -> str:
    """A reading that does not fit: which, how far off, what it would be, what may have happened."""
    style, room = assessment.survey.show, assessment.surface.room
    seen = suspect.observation
    way = "high" if suspect.error_mm > 0 else "low"
    slip = f" ({suspect.slip.words}?)" if suspect.slip else ""
    off = format_length(abs(suspect.error_mm), style)
    if isinstance(seen, Tilt):
        ratio = suspect.should_mm / math.dist(seen.start, seen.end)
        would = f"would be {format_slope(ratio, style)}"
        off = f"{off} over the level"
    else:
        would = f"would be {format_length(suspect.should_mm, style)}"
    place = places_of(seen)[0]
    if suspect.others:
        with_them = ", ".join(map(str, suspect.others))
        return (
            f"Reading {suspect.number} ({seen.where}; {where(room, place, style)}): {seen.text!r} "
            f"and readings {with_them} contradict each other; one of them is wrong, and nothing "
            "tells which. None of them was used; read them again."
        )
    return (
        f"Reading {suspect.number} ({seen.where}; {where(room, place, style)}) does not fit: "
        f"{seen.text!r} is {off} too {way}, {would}{slip}. It was set aside; read it again."
    )


def _short(setup: str) -> str:
    """A setup's own name, without the sense it was read in."""
    return setup.split(" ", 1)[1]


def _rests_on(assessment: Assessment) -> list[str]:
    """What each separate piece of the floor rests on; nothing for one setup read once."""
    known = assessment.adjusted
    counted = _counts(assessment.readings)
    pieces = int(known.piece.max()) + 1
    said = []
    if pieces > 1:
        said.append(
            f"The readings fall into {pieces} pieces that no reading joins; each is judged alone, "
            "and nothing is known of steps between them."
        )
    if len(assessment.survey.zones) > 1:
        said.append(
            "Each zone is judged by itself; no bar was laid across the lines where zones meet."
        )
    if len(known.setups) > 1 or len(counted) > 1 or pieces > 1:
        said.append(f"The heights rest on {_list(counted)}.")
    once = int(np.count_nonzero(known.reads == 1))
    unchecked = int(np.count_nonzero(known.redundancy < CHECKED))
    if unchecked == len(known.redundancy):
        said.append("Every place was read once: nothing would show a misreading.")
    elif unchecked:
        said.append(
            f"{unchecked} of {len(known.redundancy)} readings have no check on them "
            f"({once} places were read once): a slip there would go unseen."
        )
    return said


def _counts(readings: tuple[Observation, ...]) -> list[str]:
    """How many readings of each kind, and from what."""
    said = []
    setups = Counter(_short(r.setup) for r in readings if isinstance(r, Reading))
    for name, count in setups.items():
        said.append(f"{count} heights from setup {name}")
    bars = {r.placement for r in readings if isinstance(r, Gap)}
    gaps = sum(isinstance(r, Gap) for r in readings)
    if bars:
        said.append(f"{gaps} gaps under {many(len(bars), 'placement')} of a bar")
    for kind in (Tilt, Benchmark):
        count = sum(isinstance(r, kind) for r in readings)
        if count:
            said.append(many(count, KINDS[kind]))
    return said


def _fit(assessment: Assessment) -> list[str]:
    fit = assessment.adjusted.fit
    if not fit.redundancy:
        return []
    spare = f"{many(fit.redundancy, 'reading')} to spare"
    if fit.chance >= DOUBT:
        return [f"The readings fit together as well as you said they would ({spare})."]
    if fit.sigma0 > 1:
        return [
            f"The readings disagree {fit.sigma0:.1f} times as much as the uncertainty you gave "
            f"({spare}); what they show was used instead."
        ]
    return [
        f"The readings agree better than the uncertainty you gave ({spare}, "
        f"{fit.sigma0:.1f} of it); it may be smaller than you said."
    ]


def _loops(assessment: Assessment) -> list[str]:
    """How well the loops close that do not run through a misread reading."""
    aside = {suspect.number for suspect in assessment.adjusted.suspects}
    found = [loop for loop in assessment.adjusted.loops if not aside & set(loop.readings)]
    if not found:
        return []
    style, worst = assessment.survey.show, found[0]
    # The worst of several good loops misses by more than one good loop does.
    allowed = -float(ndtri(DOUBT / 2 / len(found))) * worst.u_mm
    said = (
        f"{many(len(found), 'loop')} of readings; the worst misses by "
        f"{fine(abs(worst.misclosure_mm), style)} over {len(worst.readings)} readings, where up "
        f"to {fine(allowed, style)} is to be expected"
    )
    if abs(worst.misclosure_mm) <= allowed:
        return [f"{said}."]
    return [f"{said} (readings {', '.join(map(str, worst.readings))})."]


def _falls(assessment: Assessment) -> list[str]:
    """How each part lies as a whole, or that the readings do not tell."""
    style = assessment.survey.show
    said = []
    for piece in assessment.parts:
        name = f"{piece.name}: " if len(assessment.parts) > 1 else ""
        if piece.fall is None:
            said.append(
                f"{name}Fall not assessed: the readings fix the shape of the floor, but not how "
                "it lies. Add laser readings, or level tilts in two directions."
            )
        elif piece.fall[0] > max(2 * piece.fall[2], LEVEL):
            ratio, bearing, _ = piece.fall
            said.append(
                f"{name}As a whole the floor falls {format_slope(ratio, style)} to the "
                f"{side_of(bearing)}."
            )
        else:
            said.append(f"{name}As a whole the floor is level, as far as the readings tell.")
    return said


def _list(parts: list[str]) -> str:
    return ", ".join(parts[:-1]) + f" and {parts[-1]}" if len(parts) > 1 else parts[0]
