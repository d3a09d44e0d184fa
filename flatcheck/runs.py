"""Straight runs of readings a foot apart, as the test methods for slabs ask for them.

A slab is read along lines, section by section. From every line of readings, whatever its spacing,
the readings a step of 12 in (or 300 mm) apart are taken; those too near to the edge of a section,
to a cutout or to a joint are left out, and a run ends where it would cross a joint or leave the
floor. What is left is held against the rules for lines; each rule says how sure we are of it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.errors import RoomError, SurveyError
from flatcheck.language import say
from flatcheck.room import Ring, Room, area, cell_middles, clear, foot_on, inside, onto, overlap
from flatcheck.run import (
    ADVICE,
    APART_MM,
    EDGE_MM,
    FEWEST,
    PLACE_OFF_MM,
    STEPS_MM,
    Check,
    Run,
    _beside,
    checks_of,
)
from flatcheck.slab import Joint
from flatcheck.surface import LINE_MM, SAME_PLACE_MM, Surface, decided, lines
from flatcheck.survey import Observation, Reading, Survey
from flatcheck.units import MM_PER_INCH

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


STEP_OFF_MM = MM_PER_INCH / 2
"""One step may be off by this, as a tape is laid on site [mm]. Common practice, no source."""


MEAN_OFF_MM = 1.5
"""The mean step of a run may be off by this [mm]: it tells 12 in from 300 mm."""

BENT_MM = 4 * LINE_MM
"""A line that a person named may stray this far from straight [mm]. Common practice, no source."""

Q_STEPS, Q_WEIGHTS = (0, 1, 2), (1.0, -2.0, 1.0)
"""Curvature along a run as a form of its heights: by steps on from a place, and weights."""


WAIVED = 0.25
"""Where leaving out the edges takes more than this share of a section, they are read too."""


CELLS = 200
"""Cells each way by which areas are counted where their outline is not the room's own."""


@dataclass(frozen=True, eq=False)
class Section:
    """One section of a slab with its runs.

    `kept_ratio` is the share of its area that is clear of edges; `waived` says that the edges were
    read too, because that share is small. `left_out` counts readings of lines too near to an edge,
    `short` pieces of lines with fewer than FEWEST readings, `uneven` lines of another step, `close`
    lines left out because they lie nearer than APART_MM to one that was kept.
    """

    name: str
    room: Room
    area_mm2: float
    width_mm: float
    kept_ratio: float
    waived: bool
    runs: tuple[Run, ...]
    checks: tuple[Check, ...]
    left_out: int
    short: int
    uneven: int
    close: int

    @property
    def proper(self) -> bool:
        """Whether the sample keeps every rule that it can be refused by."""
        return all(check.kept for check in self.checks if check.rule not in ADVICE)


@dataclass(frozen=True, eq=False)
class _Line:
    """A straight line of stations before it is held against anything."""

    name: str
    stations: Ints
    along: Floats
    named: bool


def sections_of(
    survey: Survey, floor: Surface, piece: Ints, readings: Sequence[Observation]
) -> tuple[Section, ...]:
    """The sections of a slab with the runs that were read in each.

    `piece` (n,) numbers the parts of the floor that no reading joins. Lines are those that a table
    of points names; where none is named, the rows, columns and diagonals that the readings make.

    Raises SurveyError for a named line that is not straight, sections that overlap, and a survey
    in which no section has a run.
    """
    rings = survey.slab.sections
    for number, ring in enumerate(rings):
        for other in rings[:number]:
            if overlap(ring, other):
                raise SurveyError(
                    say(
                        "{section}: the section overlaps {other}.",
                        section=ring.name,
                        other=other.name,
                    )
                )
    found = list(_named(floor, readings)) or list(_families(floor))
    sections = [
        _section(survey, floor, piece, found, ring, leaves)
        for ring, leaves in (
            [(ring, True) for ring in rings] or [(floor.room.outline, not floor.room.assumed)]
        )
    ]
    if not any(section.runs for section in sections):
        raise SurveyError(
            say(
                "no straight line of {fewest} readings 12 in or 300 mm apart lies on the "
                "floor{why}; FF, FL and waviness are worked out along such lines.",
                fewest=FEWEST,
                why=_why(sections),
            )
        )
    curved = stepped(sections, Q_STEPS)
    if not decided(floor.free, curved, np.broadcast_to(np.array(Q_WEIGHTS), curved.shape)).all():
        raise SurveyError(
            say(
                "the readings leave open how high the places of a line are against each other; "
                "read each line from one setup, or tie the setups together."
            )
        )
    return tuple(sections)


def stepped(sections: Sequence[Section], steps: tuple[int, ...]) -> Ints:
    """Stations (K, m) of every place along every run, each with those so many steps on."""
    return np.concatenate(
        [
            np.stack([run.stations[k : len(run.stations) - steps[-1] + k] for k in steps], -1)
            for section in sections
            for run in section.runs
        ]
    )


def _why(sections: Sequence[Section]) -> str:
    for count, words in (
        (sum(s.uneven for s in sections), say("readings have another step")),
        (sum(s.short for s in sections), say("lines are too short or are cut too short")),
    ):
        if count:
            return f": {words}"
    return ""


def _named(floor: Surface, readings: Iterable[Observation]) -> Iterator[_Line]:
    """The lines that a person named, in the order they were written."""
    places: dict[str, list[Reading]] = {}
    for seen in readings:
        if isinstance(seen, Reading) and seen.line:
            places.setdefault(seen.line, []).append(seen)
    tree = cKDTree(floor.xy_mm)
    for name, several in places.items():
        xy = np.array([(seen.x_mm, seen.y_mm) for seen in several])
        # The longest way between two of its places, so that the order of writing does not matter.
        start = xy[0]
        far = xy[np.argmax(np.hypot(*(xy - start).T))]
        near = xy[np.argmax(np.hypot(*(xy - far).T))]
        if np.hypot(*(start - near)) > np.hypot(*(start - far)):
            near, far = far, near
        length = float(np.hypot(*(far - near)))
        if length <= SAME_PLACE_MM:
            continue
        way = (far - near) / length
        off = np.abs((xy - near) @ np.array([-way[1], way[0]]))
        if off.max() > BENT_MM:
            bent = several[int(np.argmax(off))]
            raise SurveyError(
                say(
                    "{where}: the reading lies {off:,.0f} mm beside line {line}, which was "
                    "expected to be straight.",
                    where=bent.where,
                    off=off.max(),
                    line=name,
                )
            )
        away, station = tree.query(xy)
        # A reading that was set aside as misread has no station.
        stations = np.unique(station[away <= SAME_PLACE_MM])
        along = (floor.xy_mm[stations] - near) @ way
        order = np.argsort(along)
        yield _Line(say("line {name}", name=name), stations[order], along[order], True)


def _families(floor: Surface) -> Iterator[_Line]:
    """Every row, column and diagonal of the readings."""
    for family in lines(floor):
        for number, (stations, along) in enumerate(
            zip(family.stations, family.along, strict=True), 1
        ):
            held = stations >= 0
            yield _Line(f"{family.direction} {number}", stations[held], along[held], False)


def _section(
    survey: Survey,
    floor: Surface,
    piece: Ints,
    found: Sequence[_Line],
    ring: Ring,
    has_edges: bool,
) -> Section:
    """One section: its floor, its runs, and the rules they keep."""
    whole = ring is floor.room.outline
    room = floor.room
    if not whole:
        # Where nobody gave the room, the section is the floor.
        room = Room(ring) if room.assumed else Room(room.outline, room.cutouts, (), zone=ring)
    joints = survey.slab.joints
    rings = [ring, *room.cutouts] + ([] if whole or floor.room.assumed else [room.outline])
    corners = np.array(ring.corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    cells = cell_middles(low, high, (CELLS, CELLS))
    cells = cells[inside(room, cells)]
    if not len(cells):
        raise RoomError(say("{section}: the section has no floor.", section=ring.name))
    size = area(room) if whole else float(np.prod(high - low)) * len(cells) / CELLS**2
    kept_ratio, waived = 1.0, False
    lies = inside(room, floor.xy_mm)
    from_edge = np.full(len(lies), np.inf)
    if has_edges:
        kept_ratio = float(np.mean(_from_edge(rings, joints, cells) >= EDGE_MM))
        waived = 1 - kept_ratio > WAIVED
        from_edge = _from_edge(rings, joints, floor.xy_mm)
    allowed = lies if waived else lies & (from_edge >= EDGE_MM - PLACE_OFF_MM)
    runs: list[Run] = []
    left_out = short = uneven = close = 0
    for line in found:
        left_out += int(np.count_nonzero(lies[line.stations] & ~allowed[line.stations]))
        for stations in _pieces(line, floor, piece, room, joints, allowed):
            mean = float(np.mean(np.hypot(*np.diff(floor.xy_mm[stations], axis=0).T)))
            step = min(STEPS_MM, key=lambda step: abs(step - mean))
            if len(stations) < FEWEST:
                short += 1
            elif abs(step - mean) > MEAN_OFF_MM:
                uneven += 1
            else:
                ends = floor.xy_mm[stations[[0, -1]]].tolist()
                run = Run(line.name, stations, tuple(ends[0]), tuple(ends[1]), step)
                if not line.named and any(_beside(run, o) < APART_MM - PLACE_OFF_MM for o in runs):
                    close += 1
                else:
                    runs.append(run)
    along = _longest_side(corners)
    extent = [float(np.ptp(corners @ way)) for way in (along, np.array([-along[1], along[0]]))]
    edges = from_edge[np.concatenate([run.stations for run in runs])] if runs else from_edge[:0]
    return Section(
        name=ring.name if not whole else say("the floor"),
        room=room,
        area_mm2=size,
        width_mm=min(extent),
        kept_ratio=kept_ratio,
        waived=waived,
        runs=tuple(runs),
        checks=checks_of(runs, size, min(extent), along, corners, edges, has_edges, waived, joints),
        left_out=left_out,
        short=short,
        uneven=uneven,
        close=close,
    )


def _from_edge(rings: Sequence[Ring], joints: Sequence[Joint], xy: Floats) -> Floats:
    """How far each place (n, 2) is from the nearest edge or joint (n,) [mm]."""
    feet = [onto(ring, xy) for ring in rings]
    feet += [foot_on(np.array(joint.start), np.array(joint.end), xy) for joint in joints]
    nearest: Floats = np.min([np.hypot(*(xy - foot).T) for foot in feet], axis=0)
    return nearest


def _pieces(
    line: _Line, floor: Surface, piece: Ints, room: Room, joints: Sequence[Joint], allowed: Mask
) -> Iterator[Ints]:
    """The parts of a line with a reading at every step, none across a joint or off the floor."""
    held = allowed[line.stations]
    stations, along = line.stations[held], line.along[held]
    k = 0
    while k < len(stations):
        taken = [k]
        while True:
            here = taken[-1]
            aim = along[here] + STEPS_MM[0]
            after = int(np.searchsorted(along, aim))
            close = [m for m in (after - 1, after) if here < m < len(along)]
            if not close:
                break
            best = min(close, key=lambda m: abs(along[m] - aim))
            if abs(along[best] - aim) > STEP_OFF_MM:
                break
            taken.append(best)
        yield from _uncut(stations[taken], floor, piece, room, joints)
        k = taken[-1] + 1


def _uncut(
    stations: Ints, floor: Surface, piece: Ints, room: Room, joints: Sequence[Joint]
) -> Iterator[Ints]:
    """A row of stations, cut where a leg of it crosses a joint, leaves the floor, or joins places
    that no reading joins."""
    if len(stations) < 2:
        return
    starts, ends = floor.xy_mm[stations[:-1]], floor.xy_mm[stations[1:]]
    whole = clear(room, starts, ends) & (np.diff(piece[stations]) == 0)
    for joint in joints:
        whole &= ~_crossed(starts, ends, np.array(joint.start), np.array(joint.end))
    cuts = [0, *(np.flatnonzero(~whole) + 1).tolist(), len(stations)]
    for first, last in pairwise(cuts):
        if last - first > 2:
            yield stations[first:last]


def _crossed(start: Floats, end: Floats, p: Floats, q: Floats) -> Mask:
    """Whether legs (n, 2) touch or cross the joint from p to q."""

    def turn(a: Floats, b: Floats, c: Floats) -> Floats:
        area2: Floats = (b - a)[..., 0] * (c - a)[..., 1] - (b - a)[..., 1] * (c - a)[..., 0]
        return area2

    apart = turn(p, q, start) * turn(p, q, end)
    across = turn(start, end, p) * turn(start, end, q)
    return np.asarray((apart <= 0) & (across <= 0))


def _longest_side(corners: Floats) -> Floats:
    sides = np.roll(corners, -1, axis=0) - corners
    longest = sides[np.argmax(np.hypot(*sides.T))]
    unit: Floats = longest / np.hypot(*longest)
    return unit
