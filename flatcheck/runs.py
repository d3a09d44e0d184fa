"""Straight runs of readings a foot apart, as the test methods for slabs ask for them.

A slab is read along lines, section by section. From every line of readings, whatever its spacing,
the readings a step of 12 in (or 300 mm) apart are taken; those too near to the edge of a section,
to a cutout or to a joint are left out, and a run ends where it would cross a joint or leave the
floor. What is left is held against the rules for lines; each rule says how sure we are of it.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.errors import RoomError, SurveyError
from flatcheck.room import Ring, Room, area, cell_middles, clear, foot_on, inside, onto, overlap
from flatcheck.rules import Citation
from flatcheck.slab import Joint
from flatcheck.surface import LINE_MM, SAME_PLACE_MM, Surface, decided, lines
from flatcheck.survey import Observation, Reading, Survey
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

STEPS_MM = (MM_PER_FOOT, 300.0)
"""Steps between readings: of the method in inches, and of its metric companion [mm]."""

STEP_OFF_MM = MM_PER_INCH / 2
"""One step may be off by this, as a tape is laid on site [mm]. Common practice, no source."""

PLACE_OFF_MM = MM_PER_INCH
"""A distance that a rule asks for may be short by this: it also forgives 1.2 m for 4 ft [mm].
Common practice, no source."""

MEAN_OFF_MM = 1.5
"""The mean step of a run may be off by this [mm]: it tells 12 in from 300 mm."""

BENT_MM = 4 * LINE_MM
"""A line that a person named may stray this far from straight [mm]. Common practice, no source."""

Q_STEPS, Q_WEIGHTS = (0, 1, 2), (1.0, -2.0, 1.0)
"""Curvature along a run as a form of its heights: by steps on from a place, and weights."""

FEWEST = 12
"""Readings of a run at least: a line is then 11 steps long."""

EDGE_MM = 2 * MM_PER_FOOT
"""No reading is nearer to the edge of a section, a cutout or a joint [mm]."""

WAIVED = 0.25
"""Where leaving out the edges takes more than this share of a section, they are read too."""

APART_MM = 4 * MM_PER_FOOT
"""Lines side by side are no nearer to each other [mm]."""

NARROW_MM = 25 * MM_PER_FOOT
"""A section narrower than this is read at 45 degrees to its longest side [mm]."""

TURN_DEG = 5.0
"""A line this near to a direction runs that way. Common practice, no source."""

ALIKE = 0.8
"""The shorter of two total lengths is at least this share of the longer one where the rule says
that they are equal. Common practice, no source."""

LEAST_AREA_MM2 = 320 * MM_PER_FOOT**2
LEAST_WIDTH_MM = 8 * MM_PER_FOOT
"""A section is at least this large and this wide [mm², mm]."""

CELLS = 200
"""Cells each way by which areas are counted where their outline is not the room's own."""

_E1155 = "ASTM E1155, Determining FF Floor Flatness and FL Floor Levelness Numbers"
_EDITION = "E1155-96 and the worked sheet of its metric companion; now E1155/E1155M-23"
_SHEET = "a national laboratory's worked sheet of 2003"


def _cite(clause: str, source: str, certainty: str, note: str = "") -> Citation:
    return Citation(_E1155, _EDITION, clause, source, certainty, note)


LINE_RULES: dict[str, Citation] = {
    "spacing": _cite("readings every 12 in (300 mm)", f"the symbols list; {_SHEET}", "agreed"),
    "count": _cite("at least 12 readings in a line", f"the symbols list; {_SHEET}", "agreed"),
    "least": _cite(
        "least number of elevation differences in a section",
        "not seen",
        "from memory",
        "The symbols list has such a number; its formula is from memory: 2 sqrt(A), and A/30 above "
        "1,600 square feet. Those two do not meet at 1,600, so the larger is asked for here: it is "
        "never less than what is remembered.",
    ),
    "apart": _cite("7.3.3, lines at least 4 ft (1.2 m) apart", _SHEET, "single source"),
    "edge": _cite(
        "7.3, 2 ft (600 mm) clear of edges",
        f"{_SHEET}; a government report on floor smoothness",
        "agreed",
        "That the edges are read too where they are over 25 % of a section is from memory.",
    ),
    "narrow": _cite(
        "8.2.3, sections under 25 ft (7.5 m) wide: lines at 45 degrees, never corner to corner",
        _SHEET,
        "single source",
    ),
    "wide": _cite(
        "other sections: equal lengths of lines along and across the longest side",
        "not seen for E1155; abstracts of E1486 have the same rule",
        "from memory",
    ),
    "joint": _cite(
        "no measuring across construction joints",
        f"{_SHEET}; a government report on floor smoothness",
        "agreed",
    ),
    "size": _cite(
        "a section is at least 8 ft wide and 320 square feet",
        "not seen",
        "from memory",
        "Doubtful: the worked sheet passes a section of 221 square feet.",
    ),
}
"""The rules for lines, and how sure we are of each."""

ADVICE = ("size",)
"""Rules too doubtful to refuse a sample by; they are told."""


@dataclass(frozen=True, eq=False)
class Run:
    """A straight run of readings at even steps inside one section.

    `stations` (n,) are their numbers in the surface, in walking order; `start` and `end` its ends
    on the plan [mm].
    """

    name: str
    stations: Ints
    start: tuple[float, float]
    end: tuple[float, float]
    step_mm: float

    @property
    def length_mm(self) -> float:
        """From the first reading to the last [mm]."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True)
class Check:
    """One rule for lines, held against a section.

    `kept` is None where the survey does not tell. `has` and `asks` are what was found and what is
    asked for, in mm, mm² or counts.
    """

    rule: str
    kept: bool | None
    has: float
    asks: float


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
                raise SurveyError(f"{ring.name}: the section overlaps {other.name}.")
    found = list(_named(floor, readings)) or list(_families(floor))
    sections = [
        _section(survey, floor, piece, found, ring, leaves)
        for ring, leaves in (
            [(ring, True) for ring in rings] or [(floor.room.outline, not floor.room.assumed)]
        )
    ]
    if not any(section.runs for section in sections):
        raise SurveyError(
            f"no straight line of {FEWEST} readings 12 in or 300 mm apart lies on the floor"
            f"{_why(sections)}; FF, FL and waviness are worked out along such lines."
        )
    curved = stepped(sections, Q_STEPS)
    if not decided(floor.free, curved, np.broadcast_to(np.array(Q_WEIGHTS), curved.shape)).all():
        raise SurveyError(
            "the readings leave open how high the places of a line are against each other; read "
            "each line from one setup, or tie the setups together."
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


def least_readings(area_mm2: float) -> float:
    """The least number of elevation differences over 10 steps in a section.

    max(2 sqrt(A), A/30), A in square feet; see LINE_RULES["least"].
    """
    square_feet = area_mm2 / MM_PER_FOOT**2
    return max(2 * math.sqrt(square_feet), square_feet / 30)


def _why(sections: Sequence[Section]) -> str:
    for count, words in (
        (sum(s.uneven for s in sections), "readings have another step"),
        (sum(s.short for s in sections), "lines are too short or are cut too short"),
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
                f"{bent.where}: the reading lies {off.max():,.0f} mm beside line {name}, which was "
                "expected to be straight."
            )
        away, station = tree.query(xy)
        # A reading that was set aside as misread has no station.
        stations = np.unique(station[away <= SAME_PLACE_MM])
        along = (floor.xy_mm[stations] - near) @ way
        order = np.argsort(along)
        yield _Line(f"line {name}", stations[order], along[order], True)


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
        raise RoomError(f"{ring.name}: the section has no floor.")
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
        name=ring.name if not whole else "the floor",
        room=room,
        area_mm2=size,
        width_mm=min(extent),
        kept_ratio=kept_ratio,
        waived=waived,
        runs=tuple(runs),
        checks=_checks(runs, size, min(extent), along, corners, edges, has_edges, waived, joints),
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


def _beside(run: Run, other: Run) -> float:
    """How far two runs lie from each other [mm], inf where they are not side by side."""
    way = np.subtract(run.end, run.start) / run.length_mm
    if abs(_turned(way, np.subtract(other.end, other.start))) > TURN_DEG:
        return math.inf
    spans = [sorted(float(way @ end) for end in (r.start, r.end)) for r in (run, other)]
    if min(spans[0][1], spans[1][1]) <= max(spans[0][0], spans[1][0]):
        return math.inf
    middle = np.add(other.start, other.end) / 2 - np.add(run.start, run.end) / 2
    return float(abs(way[0] * middle[1] - way[1] * middle[0]))


def _turned(way: Floats, other: Floats) -> float:
    """The angle from one direction to another, either way along [degrees, -90 to 90]."""
    turn = math.degrees(math.atan2(way[0] * other[1] - way[1] * other[0], float(way @ other)))
    return (turn + 90) % 180 - 90


def _longest_side(corners: Floats) -> Floats:
    sides = np.roll(corners, -1, axis=0) - corners
    longest = sides[np.argmax(np.hypot(*sides.T))]
    unit: Floats = longest / np.hypot(*longest)
    return unit


def _checks(
    runs: Sequence[Run],
    size: float,
    width: float,
    along: Floats,
    corners: Floats,
    edges: Floats,
    has_edges: bool,
    waived: bool,
    joints: Sequence[Joint],
) -> tuple[Check, ...]:
    """The rules for lines, held against the runs of a section."""
    counts = [len(run.stations) for run in runs]
    differences, least = sum(count - 10 for count in counts), least_readings(size)
    steps = [run.step_mm for run in runs]
    beside = [_beside(a, b) for n, a in enumerate(runs) for b in runs[:n]]
    nearest = min(beside, default=math.inf)
    edge = float(edges.min()) if len(edges) else math.inf
    clear_of_edge = None if not has_edges else waived or edge >= EDGE_MM - PLACE_OFF_MM
    return (
        Check("spacing", bool(runs), max(steps, default=0.0), STEPS_MM[0]),
        Check("count", bool(runs), min(counts, default=0), FEWEST),
        Check("least", differences >= least, differences, math.ceil(least)),
        Check("apart", nearest >= APART_MM - PLACE_OFF_MM, nearest, APART_MM),
        Check("edge", clear_of_edge, edge, EDGE_MM),
        _ways(runs, width, along, corners),
        # Runs are cut at every joint that the survey tells of.
        Check("joint", True, len(joints), 0),
        Check("size", size >= LEAST_AREA_MM2 and width >= LEAST_WIDTH_MM, size, LEAST_AREA_MM2),
    )


def _ways(runs: Sequence[Run], width: float, along: Floats, corners: Floats) -> Check:
    """Which way the lines run against the longest side of the section.

    Of a narrow section: how many are at 45 degrees and not from corner to corner, of how many. Of
    a wide one: the lesser of the total lengths along and across, of the greater [mm].
    """
    turns = [abs(_turned(along, np.subtract(run.end, run.start))) for run in runs]
    if width < NARROW_MM:
        right = [
            abs(turn - 45) <= TURN_DEG and not _corner_to_corner(run, corners)
            for run, turn in zip(runs, turns, strict=True)
        ]
        return Check("narrow", bool(runs) and all(right), sum(right), len(runs))
    totals = [0.0, 0.0, 0.0]  # along, across, and any other way
    for run, turn in zip(runs, turns, strict=True):
        way = 0 if turn <= TURN_DEG else 1 if turn >= 90 - TURN_DEG else 2
        totals[way] += run.length_mm
    lesser, greater = sorted(totals[:2])
    return Check("wide", not totals[2] and lesser >= ALIKE * greater > 0, lesser, greater)


def _corner_to_corner(run: Run, corners: Floats) -> bool:
    """Whether the line, drawn on both ways, passes within half a step of two corners."""
    way = np.subtract(run.end, run.start) / run.length_mm
    off = np.abs((corners - np.array(run.start)) @ np.array([-way[1], way[0]]))
    return int(np.count_nonzero(off <= run.step_mm / 2)) >= 2
