"""Numbers that are possible but unlikely: which to look at again, and what may have been meant.

Nothing is left out for them; a slip of the pen, such as millimeters in a table of inches, would
otherwise be taken for the floor. What is usual is common practice, no source.
"""

import math

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.errors import UnitsError
from flatcheck.language import say
from flatcheck.misread import as_written
from flatcheck.report.words import tile_size
from flatcheck.room import Room, clear, inside
from flatcheck.survey import Gap, Observation, Reading, Tilt
from flatcheck.tile import Tile
from flatcheck.units import (
    LENGTH_UNITS,
    Style,
    format_distance,
    format_length,
    format_slope,
    parse_length,
)

FAR_MM = 300.0
"""No place of a floor is this far from the usual reading of its setup, unless many are [mm]."""

SPREAD = 10.0
"""... or this many times as far as half of the readings are."""

LONGEST_ROD_MM = 8000.0
"""A rod that reads more is longer than any that is carried through a door [mm]."""

LARGEST_GAP_MM = 50.0
"""A larger gap under a straightedge is no floor that tile is asked of [mm]."""

STEEPEST_RATIO = 0.1
"""A steeper floor is a ramp."""

TILE_MM = (8.0, 3500.0)
"""The smallest and the largest edge that a tile is made with [mm]."""

WIDEST_JOINT_MM = 30.0
"""No wider joint is grouted [mm]."""

WIDEST_MM = 200_000.0
CLOSEST_MM = 200.0
"""Readings that lie farther apart, or all within less, are of no floor [mm]."""

NAMED = 12
"""More doubts than this are counted, not told."""


def doubts(assessment: Assessment) -> list[str]:
    """What to look at again before the verdict is believed, a sentence each."""
    said = [
        *_sizes(assessment),
        *_rods(assessment),
        *_gaps(assessment),
        *_tilts(assessment),
        *_bars(assessment),
    ]
    if len(said) > NAMED:
        more = say("{count} more numbers look as unlikely.", count=len(said) - NAMED)
        said = [*said[:NAMED], more]
    return said


def tile_doubts(tile: Tile, room: Room, style: Style) -> list[str]:
    """A tile that nobody makes, one that the room does not hold, and a joint that nobody grouts."""
    said, edges, size = [], (tile.length_mm, tile.width_mm), tile_size(tile, style)
    wide = math.inf
    if not room.assumed:
        wide = float(np.ptp(np.array(room.outline.corners_mm), axis=0).max())
    if not TILE_MM[0] <= min(edges) <= max(edges) <= TILE_MM[1]:
        said.append(say("A tile of {size} is unusual: is its size right?", size=size))
    elif min(edges) > wide:
        said.append(say("A tile of {size} is larger than the room: is its size right?", size=size))
    if tile.joint_mm > WIDEST_JOINT_MM:
        joint = format_length(tile.joint_mm, style)
        said.append(say("A joint of {joint} is unusual: is its width right?", joint=joint))
    return said


def _kept(assessment: Assessment) -> list[Observation]:
    """The readings that were not set aside already."""
    aside = {suspect.number for suspect in assessment.adjusted.suspects}
    return [seen for k, seen in enumerate(assessment.readings, 1) if k not in aside]


def _sizes(assessment: Assessment) -> list[str]:
    """Tiles that nobody makes, and readings too far apart, or too close, for one floor."""
    tile, style = assessment.survey.tile, assessment.survey.show
    said = tile_doubts(tile, assessment.surface.room, style) if tile else []
    wide = float(np.ptp(assessment.surface.xy_mm, axis=0).max())
    span = format_distance(wide, style)
    if wide > WIDEST_MM:
        said.append(
            say(
                "The readings lie up to {span} apart: are the offsets in the unit that was said?",
                span=span,
            )
        )
    elif wide < CLOSEST_MM and len(assessment.surface.xy_mm) > 4:
        said.append(
            say(
                "The readings lie within {span}: are the offsets in the unit that was said?",
                span=span,
            )
        )
    return said


def _rods(assessment: Assessment) -> list[str]:
    """Heights far from those of their setup, and rods longer than there are."""
    style, said = assessment.survey.show, []
    of: dict[str, list[Reading]] = {}
    for seen in _kept(assessment):
        if isinstance(seen, Reading):
            of.setdefault(seen.setup, []).append(seen)
    for own in of.values():
        written = np.array([as_written(seen) for seen in own])
        usual = float(np.median(written))
        near = max(FAR_MM, SPREAD * float(np.median(np.abs(written - usual))))
        if own[0].sense == "rod" and usual > LONGEST_ROD_MM:
            long = format_distance(usual, style)
            said.append(
                say(
                    "{cell} and below: rods are read at {long}, longer than any; are the readings "
                    "in the unit that was said?",
                    cell=own[0].where,
                    long=long,
                )
            )
        elif len(own) > 3:
            said += [
                _unusual(seen, off, style) + _meant(seen, usual, near)
                for seen, off in zip(own, (written - usual).tolist(), strict=True)
                if abs(off) > near
            ]
    return said


def _unusual(seen: Reading, off_mm: float, style: Style) -> str:
    """How far a reading is from what is usual at its setup."""
    much = format_distance(abs(off_mm), style)
    off = say("{much} more than usual here", much=much)
    if off_mm < 0:
        off = say("{much} less than usual here", much=much)
    return say("{cell}: {reading} is {off}", cell=seen.where, reading=repr(seen.text), off=off)


def _meant(seen: Reading, usual_mm: float, near_mm: float) -> str:
    """What a reading may have been meant as: the same number in another unit, if that is usual."""
    try:
        parse_length(seen.text)
    except UnitsError:
        for unit in LENGTH_UNITS:
            try:
                if abs(parse_length(seen.text, unit) - usual_mm) <= near_mm:
                    return ": " + say("is it in {unit}?", unit=unit)
            except UnitsError:
                continue  # a fraction of a millimeter
    return "; " + say("is it right?")


def _gaps(assessment: Assessment) -> list[str]:
    """Gaps that a thumb would go under."""
    return [
        say(
            "{cell}: {reading} is a gap of {gap} under a straightedge; is it right?",
            cell=seen.where,
            reading=repr(seen.text),
            gap=format_distance(seen.gap_mm, assessment.survey.show),
        )
        for seen in _kept(assessment)
        if isinstance(seen, Gap) and seen.gap_mm > LARGEST_GAP_MM
    ]


def _tilts(assessment: Assessment) -> list[str]:
    """Levels that lay on a ramp."""
    said = []
    for seen in _kept(assessment):
        if isinstance(seen, Tilt):
            ratio = abs(seen.rise_mm) / math.dist(seen.start, seen.end)
            if ratio > STEEPEST_RATIO:
                slope = format_slope(ratio, assessment.survey.show)
                said.append(
                    say(
                        "{cell}: {reading} is a ramp, {slope}; is it right?",
                        cell=seen.where,
                        reading=repr(seen.text),
                        slope=slope,
                    )
                )
    return said


def _bars(assessment: Assessment) -> list[str]:
    """Bars that would have gone through a wall, or through what stands in the room."""
    room = assessment.surface.room
    bars: dict[str, Gap] = {}
    for seen in assessment.readings:
        if isinstance(seen, Gap):
            bars.setdefault(seen.placement, seen)
    if room.assumed or not bars:
        return []
    starts, ends = (
        np.array([getattr(bar, end) for bar in bars.values()]) for end in ("start", "end")
    )
    lies = inside(room, starts) & inside(room, ends) & clear(room, starts, ends)
    return [
        say(
            "{cell}: its bar would go through a wall or a cutout, or ends outside the room; are "
            "its ends right?",
            cell=bar.where,
        )
        for bar, free in zip(bars.values(), lies, strict=True)
        if not free
    ]
