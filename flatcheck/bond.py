"""How tiles lie: the patterns, and every tile of one that reaches into a rectangle.

A pattern is laid in a frame of its own: its origin a corner of a tile, its x the way that rows
run. There all tiles have level sides. But for planks, what repeats is a *cell* of one tile or two,
moved by two steps; a tile takes up its edges and one joint, so that any joint fits.
"""

import math
import random
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.room import Room
from flatcheck.tile import Tile, longest_edge
from flatcheck.units import MM_PER_INCH

Floats = npt.NDArray[np.float64]

CALLED = {
    "aligned": say("aligned"),
    "running bond": say("running bond"),
    "diagonal": say("diagonal"),
    "herringbone": say("herringbone"),
    "modular": say("modular"),
    "plank": say("plank"),
}
"""What each kind of pattern is called."""

KINDS = tuple(CALLED)

MOST_TILES = 100_000
"""More tiles than this are no room."""

FARTHEST_MM = 1e7
"""An origin farther off than this is a slip of the pen [mm]."""

END_MM = 6 * MM_PER_INCH
"""The ends of planks in neighboring rows lie at least this far apart [mm], or a third of the
shortest plank where that is less. Common practice, no source."""

SAME_END_MM = 1e-3
"""Ends this much nearer than asked for are far enough apart: rounding [mm]."""

TRIES = 200
"""So many starts of a row of planks are tried, and so many ways on for each plank of it."""


@dataclass(frozen=True)
class Pattern:
    """How tiles are to lie.

    `kind` is one of KINDS. `offset_ratio` is how far each row of a running bond is set off from
    the one before, as a share of a tile and its joint. Rows run east, the tile's longer edge along
    them, turned by `rotation_deg` counter-clockwise; "diagonal" adds 45 degrees. `origin` is where
    a corner of a tile lies, its south-west one before it is turned [mm]. `second_mm` are the edges
    of the smaller tile of "modular", along the rows and across. `lengths_mm` are those of planks,
    the tile's own where there are none; `end_mm` is the least distance between ends in neighboring
    rows, None for the usual; the same `seed` gives the same planks.
    """

    kind: str = "aligned"
    offset_ratio: float = 0.0
    rotation_deg: float = 0.0
    origin: tuple[float, float] = (0.0, 0.0)
    second_mm: tuple[float, float] | None = None
    lengths_mm: tuple[float, ...] = ()
    end_mm: float | None = None
    seed: int = 0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise SurveyError(
                say(
                    "pattern: kind {kind!r} is not one of {known}.",
                    kind=self.kind[:40],
                    known=", ".join(KINDS),
                )
            )
        if not 0 <= self.offset_ratio <= 1:
            raise SurveyError(say("pattern: the offset must lie between 0 and 1 of a tile."))
        if self.offset_ratio and self.kind != "running bond":
            raise SurveyError(
                say(
                    'pattern: an offset goes with "running bond", not with {kind!r}.',
                    kind=self.kind,
                )
            )
        if not abs(self.rotation_deg) <= 360:
            raise SurveyError(say("pattern: the rotation must lie between -360 and 360 degrees."))
        if not max(map(abs, self.origin)) <= FARTHEST_MM or math.isnan(sum(self.origin)):
            raise SurveyError(say("pattern: the origin lies farther off than 10 km."))
        if (self.second_mm is not None) != (self.kind == "modular"):
            raise SurveyError(say('pattern: a second size belongs to "modular", which needs one.'))
        if self.kind != "plank" and (self.lengths_mm or self.end_mm is not None):
            raise SurveyError(
                say('pattern: lengths and ends belong to "plank", not to {kind!r}.', kind=self.kind)
            )
        for size in (*(self.second_mm or ()), *self.lengths_mm):
            if not 0 < size < math.inf:
                raise SurveyError(say("pattern: every size of a pattern must be larger than zero."))
        if self.end_mm is not None and not 0 <= self.end_mm < math.inf:
            raise SurveyError(say("pattern: the distance between ends must not be below zero."))


@dataclass(frozen=True, eq=False)
class Frame:
    """The way of rows and the way across as `axes` (2, 2); `zero` (2,) is where a corner lies."""

    axes: Floats
    zero: Floats

    def of(self, xy: Floats) -> Floats:
        """Places (..., 2) of the room as they lie in the frame [mm]."""
        placed: Floats = (xy - self.zero) @ self.axes.T
        return placed

    def back(self, xy: Floats) -> Floats:
        """Places (..., 2) of the frame as they lie in the room [mm]."""
        placed: Floats = xy @ self.axes + self.zero
        return placed


def frame_of(tile: Tile, pattern: Pattern, room: Room) -> Frame:
    """The frame of a pattern, with that of its equal origins nearest to the room."""
    turn = (pattern.rotation_deg + (45 if pattern.kind == "diagonal" else 0)) % 360
    quarter, rest = divmod(turn, 90)
    c, s = math.cos(math.radians(rest)), math.sin(math.radians(rest))
    for _ in range(int(quarter)):
        c, s = -s, c
    axes = np.array([[c, s], [-s, c]])
    moves = cell_of(tile, pattern)[1] @ axes
    origin = np.array(pattern.origin, dtype=float)
    away = (origin - np.array(room.outline.corners_mm[0])) @ np.linalg.inv(moves)
    return Frame(axes, origin - np.trunc(away) @ moves)


def cell_of(tile: Tile, pattern: Pattern) -> tuple[Floats, Floats]:
    """What repeats: boxes (k, 4) of tiles, west, south, east, north, and two moves (2, 2).

    Each tile takes up a rectangle of its edges and a joint. Two such L x W fill the plane as
    herringbone by the moves (W, W) and (L, -L); L x W and l x w, the smaller at the foot of the
    larger, by (L, w) and (-l, W), as in the theorem of Pythagoras drawn with squares.
    """
    joint = tile.joint_mm
    long, wide = longest_edge(tile) + joint, min(tile.length_mm, tile.width_mm) + joint
    one = (0.0, 0.0, long, wide)
    if pattern.kind == "herringbone":
        spots = [(0.0, 0.0, wide, long), (wide, 0.0, wide + long, wide)]
        moves = [(wide, wide), (long, -long)]
    elif pattern.kind == "modular" and pattern.second_mm:
        less, low = (edge + joint for edge in pattern.second_mm)
        if less > long or low > wide:
            raise SurveyError(say("pattern: the second size must not exceed the first either way."))
        spots, moves = [one, (long, 0.0, long + less, low)], [(long, low), (-less, wide)]
    elif pattern.kind == "plank":
        long = max(pattern.lengths_mm or (longest_edge(tile),)) + joint
        spots, moves = [(0.0, 0.0, long, wide)], [(long, 0.0), (0.0, wide)]
    else:
        spots, moves = [one], [(long, 0.0), (pattern.offset_ratio * long, wide)]
    return np.array(spots) - np.array([0.0, 0.0, joint, joint]), np.array(moves)


def boxes_of(tile: Tile, pattern: Pattern, extent: tuple[Floats, Floats]) -> Floats:
    """All tiles that reach into a rectangle from `low` to `high`, (n, 4), row after row."""
    low, high = extent
    cell, moves = cell_of(tile, pattern)
    if np.prod(high - low) / abs(np.linalg.det(moves)) * len(cell) > MOST_TILES:
        raise SurveyError(
            say(
                "tile: the floor would take more than {most:,} tiles; check the tile's size.",
                most=MOST_TILES,
            )
        )
    if pattern.kind == "plank":
        boxes = _planks(tile, pattern, low, high)
    else:
        # Every cell that reaches in has its place within the rectangle, grown by the cell's size.
        near, far = low - cell[:, 2:].max(axis=0), high - cell[:, :2].min(axis=0)
        box = np.array([near, (far[0], near[1]), far, (near[0], far[1])])
        steps = box @ np.linalg.inv(moves)
        ends = np.floor(steps.min(axis=0)), np.ceil(steps.max(axis=0)) + 1
        i, j = (np.arange(a, b) for a, b in zip(*ends, strict=True))
        at = (i[:, None, None] * moves[0] + j[None, :, None] * moves[1]).reshape(-1, 2)
        boxes = (np.tile(at, 2)[:, None] + cell).reshape(-1, 4)
    reaches = (boxes[:, :2] < high).all(axis=1) & (boxes[:, 2:] > low).all(axis=1)
    boxes = boxes[reaches]
    ordered: Floats = boxes[np.lexsort((boxes[:, 0], np.round(boxes[:, 1], 3)))]
    return ordered


def _planks(tile: Tile, pattern: Pattern, low: Floats, high: Floats) -> Floats:
    """Rows of planks of mixed lengths, drawn by lot until their ends lie far enough apart."""
    lots = random.Random(pattern.seed)
    joint = tile.joint_mm
    lengths = sorted({length + joint for length in pattern.lengths_mm or (longest_edge(tile),)})
    least = pattern.end_mm
    if least is None:
        least = min(END_MM, lengths[0] / 3)
    wide = min(tile.length_mm, tile.width_mm) + joint
    far_west = math.floor(low[0] / lengths[-1]) * lengths[-1]
    before: list[float] = []
    rows = []
    for row in range(math.floor(low[1] / wide), math.ceil(high[1] / wide) + 1):
        for _ in range(TRIES):
            start = far_west - lots.random() * lengths[-1]
            ends = _row(start, float(high[0]), lengths, before, least, lots)
            if ends:
                break
        else:
            raise SurveyError(
                say(
                    "pattern: planks whose ends lie {least:.0f} mm apart were not found; ask for "
                    "less than half of the shortest plank.",
                    least=least,
                )
            )
        before = ends
        west = np.array(ends[:-1])
        south = np.full(len(west), row * wide)
        rows.append(np.stack((west, south, np.array(ends[1:]) - joint, south + wide - joint), 1))
    boxes: Floats = np.concatenate(rows)
    return boxes


def _row(
    start: float,
    stop: float,
    lengths: Sequence[float],
    before: Sequence[float],
    least: float,
    lots: random.Random,
) -> list[float]:
    """Ends of planks from `start` to beyond `stop`, none near to those before; [] where stuck."""

    def free(x: float) -> bool:
        k = bisect_left(before, x)
        return all(abs(x - other) >= least - SAME_END_MM for other in before[max(k - 1, 0) : k + 1])

    if not free(start):
        return []
    ends, waiting = [start], [lots.sample(lengths, len(lengths))]
    tries = 0
    while ends[-1] < stop:
        if not waiting[-1]:
            ends.pop()
            waiting.pop()
            if not ends:
                return []
            continue
        x = ends[-1] + waiting[-1].pop()
        if free(x):
            ends.append(x)
            waiting.append(lots.sample(lengths, len(lengths)))
        tries += 1
        if tries > TRIES * (1 + (stop - start) / lengths[0]):
            return []
    return ends
