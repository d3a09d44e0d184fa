"""What a verdict rests on, in words: how many readings of what kind, and from where."""

from collections import Counter
from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.language import say, several
from flatcheck.misread import CHECKED
from flatcheck.network import places_of
from flatcheck.readers.points import drifts
from flatcheck.report.misread import listed, short
from flatcheck.surface import SAME_PLACE_MM
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Tilt
from flatcheck.zones import joined, zones_of

ALONE = {Gap: say("bars"), Tilt: say("levels"), Benchmark: say("benchmarks")}


def rests_on(assessment: Assessment) -> list[str]:
    """What each separate part of the floor rests on; nothing for one setup read once."""
    known = assessment.adjusted
    kept = _kept(assessment)
    pieces = int(known.piece.max()) + 1
    said = []
    if pieces > 1:
        said.append(
            say(
                "The readings fall into {count} pieces that no reading joins; each is judged "
                "alone, and nothing is known of steps between them.",
                count=pieces,
            )
        )
    said += _zones(assessment)
    counted = _counts([seen for seen, _ in kept])
    if len(assessment.parts) > 1:
        for piece in assessment.parts:
            own = set(piece.stations.tolist())
            of = _counts([seen for seen, stations in kept if own.intersection(stations)])
            said.append(say("{part} rests on {readings}.", part=piece.name, readings=listed(of)))
    elif len(known.setups) > 1 or len(counted) > 1:
        said.append(
            say("The wall rests on {readings}.", readings=listed(counted))
            if assessment.surface.room.upright
            else say("The floor rests on {readings}.", readings=listed(counted))
        )
    said += _alone(kept, len(assessment.surface.xy_mm))
    unchecked = int(np.count_nonzero(known.redundancy < CHECKED))
    if unchecked == len(known.redundancy):
        # A closing reading has served to take the drift out, and is no check any more.
        once = (known.reads <= 1).all() and not any(map(drifts, assessment.survey.tables))
        said.append(
            say("Every place was read once: nothing would show a misreading.")
            if once
            else say("No reading has another to check it: nothing would show a misreading.")
        )
    elif unchecked:
        said.append(
            several(
                int(np.count_nonzero(known.reads == 1)),
                "{unchecked} of {readings} readings have no check on them ({number} place read "
                "once): a slip there would go unseen.",
                "{unchecked} of {readings} readings have no check on them ({number} places read "
                "once): a slip there would go unseen.",
                unchecked=unchecked,
                readings=len(known.redundancy),
            )
        )
    return said


def _zones(assessment: Assessment) -> list[str]:
    """Which zones were judged together, and that no bar was laid across the lines of others."""
    survey, room = assessment.survey, assessment.surface.room
    said = [
        say(
            "{zones} are meant alike and adjoin, so they are judged as one floor; where one is to "
            "lie at a height of its own, say apart = true in its zone.",
            zones=name,
        )
        for name in joined(survey, room)
    ]
    if len(zones_of(survey, room)) > 1:
        said.append(
            say(
                "Zones that differ or stand apart are judged each by itself; no bar was laid "
                "across the lines where they meet."
            )
        )
    return said


def _kept(assessment: Assessment) -> list[tuple[Observation, list[int]]]:
    """The readings that were used, each with the stations of the surface that it touches."""
    aside = {suspect.number for suspect in assessment.adjusted.suspects}
    places = [places_of(seen) for seen in assessment.readings]
    tree = cKDTree(assessment.surface.xy_mm)
    away, nearest = tree.query([place for own in places for place in own])
    stations = np.where(away < 2 * SAME_PLACE_MM, nearest, -1)
    ends = np.cumsum([len(own) for own in places])[:-1]
    return [
        (seen, [int(k) for k in own if k >= 0])
        for number, (seen, own) in enumerate(
            zip(assessment.readings, np.split(stations, ends), strict=True), 1
        )
        if number not in aside
    ]


def _alone(kept: Sequence[tuple[Observation, list[int]]], count: int) -> list[str]:
    """How many places rest on one setup, on bars or on levels alone, where there are several."""
    sources: list[set[str]] = [set() for _ in range(count)]
    for seen, stations in kept:
        name = (
            say("setup {setup}", setup=short(seen.setup))
            if isinstance(seen, Reading)
            else ALONE[type(seen)]
        )
        for station in stations:
            sources[station].add(name)
    if len(set().union(*sources)) < 2:
        return []
    alone = Counter(next(iter(names)) for names in sources if len(names) == 1)
    told = [(number, say("on {source} alone", source=name)) for name, number in alone.items()]
    told.append((sum(len(names) > 1 for names in sources), say("on more than one of these")))
    told.append((sources.count(set()), say("on nothing that could be used")))
    told = [(number, on) for number, on in told if number]
    if len(told) == 1:
        return [say("Every place rests {on}.", on=told[0][1])]
    return [
        several(
            count,
            "Of {number} place, by what they rest on: {counts}.",
            "Of {number} places, by what they rest on: {counts}.",
            counts=listed([f"{number} {on}" for number, on in told]),
        )
    ]


def _counts(readings: Sequence[Observation]) -> list[str]:
    """How many readings of each kind, and from what."""
    setups = Counter(short(r.setup) for r in readings if isinstance(r, Reading))
    said = [
        several(
            count,
            "{number} height from setup {setup}",
            "{number} heights from setup {setup}",
            setup=name,
        )
        for name, count in setups.items()
    ]
    bars = {r.placement for r in readings if isinstance(r, Gap)}
    gaps = sum(isinstance(r, Gap) for r in readings)
    if bars:
        said.append(
            several(
                len(bars),
                "{gaps} under {number} placement of a bar",
                "{gaps} under {number} placements of a bar",
                gaps=several(gaps, "{number} gap", "{number} gaps"),
            )
        )
    if tilts := sum(isinstance(r, Tilt) for r in readings):
        said.append(several(tilts, "{number} level tilt", "{number} level tilts"))
    if marks := sum(isinstance(r, Benchmark) for r in readings):
        said.append(several(marks, "{number} benchmark", "{number} benchmarks"))
    return said
