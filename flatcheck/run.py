"""One straight run of readings, and the rules for lines that it has to keep."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.language import say
from flatcheck.rules import Citation
from flatcheck.slab import Joint
from flatcheck.units import MM_PER_FOOT, MM_PER_INCH

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STEPS_MM = (MM_PER_FOOT, 300.0)
"""Steps between readings: of the method in inches, and of its metric companion [mm]."""

PLACE_OFF_MM = MM_PER_INCH
"""A distance that a rule asks for may be short by this: it also forgives 1.2 m for 4 ft [mm].
Common practice, no source."""

FEWEST = 12
"""Readings of a run at least: a line is then 11 steps long."""

EDGE_MM = 2 * MM_PER_FOOT
"""No reading is nearer to the edge of a section, a cutout or a joint [mm]."""

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
        say(
            "The symbols list has such a number; its formula is from memory: 2 sqrt(A), and "
            "A/30 above 1,600 square feet. Those two do not meet at 1,600, so the larger is "
            "asked for here: it is never less than what is remembered."
        ),
    ),
    "apart": _cite("7.3.3, lines at least 4 ft (1.2 m) apart", _SHEET, "single source"),
    "edge": _cite(
        "7.3, 2 ft (600 mm) clear of edges",
        f"{_SHEET}; a government report on floor smoothness",
        "agreed",
        say("That the edges are read too where they are over 25 % of a section is from memory."),
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
        say("Doubtful: the worked sheet passes a section of 221 square feet."),
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


def least_readings(area_mm2: float) -> float:
    """The least number of elevation differences over 10 steps in a section.

    max(2 sqrt(A), A/30), A in square feet; see LINE_RULES["least"].
    """
    square_feet = area_mm2 / MM_PER_FOOT**2
    return max(2 * math.sqrt(square_feet), square_feet / 30)


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


def checks_of(
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
