"""Reading a floor place by place: which place is next, and does what was read there fit?

A reading that was typed is held at once against its neighbors, as a setter would see it on a
pencil sheet, and against all other readings where those check each other.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.adjust import adjust
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.language import say
from flatcheck.places import wall_called
from flatcheck.readers.columns import UNREAD, rows_of
from flatcheck.readers.grid import KIND as GRID
from flatcheck.readers.grid import offsets_of
from flatcheck.readers.points import KIND as POINTS
from flatcheck.readers.points import NEEDED, OPTIONAL
from flatcheck.room import Room, inside, wall_names
from flatcheck.slips import Slip, slip_for
from flatcheck.survey import Cells, Survey, Table, cell_name
from flatcheck.tables import readings_of
from flatcheck.units import STYLES, Style, format_length, format_offset, parse_length

Floats = npt.NDArray[np.float64]

KINDS = (GRID, POINTS)
"""The kinds of table that can be walked."""

CANNOT = "x"
"""What is written where a place cannot be read."""

NEIGHBORS = 8
"""So many of the nearest places read say what is to be expected at one."""

AROUND = 60
"""And so many around it how well places there tell each other."""

KNOWN = 6
"""With fewer to learn from, nothing is questioned but what is off by more than UNHEARD_MM."""

DOUBTED = 5.0
"""A reading is questioned from so many times what its surroundings are usually off by.

Common practice, no source: at 4.5 and more a normal error is one in 100,000, floors are rougher."""

LEAST_MM = 4.0
"""Nothing is questioned that is off by less: the humps and dips one looks for begin there."""

UNHEARD_MM = 20.0
"""No floor steps by more between two places that are read, as a rule (common practice)."""


STEEPEST_RATIO = 0.03
"""A floor may fall so much where the readings do not tell: to drains up to 1:35 (BS 5385)."""


@dataclass(frozen=True)
class Stop:
    """A place to read: its cell in the table, where it lies [mm], and what is written there."""

    row: int
    column: int
    at: tuple[float, float]
    text: str
    setup: str = ""

    @property
    def open(self) -> bool:
        """Whether nothing is written there yet."""
        return not self.text

    @property
    def read(self) -> bool:
        """Whether a reading is written there."""
        return self.text not in UNREAD


@dataclass(frozen=True)
class Doubt:
    """A reading that does not fit: how much too large it is, and what would fit, as read [mm].

    `by` says what it was held against.
    """

    stop: Stop
    off_mm: float
    should_mm: float
    slip: Slip | None
    by: str


def stops(table: Table) -> tuple[Stop, ...]:
    """The places of a table in the order they are walked.

    A grid is walked back and forth along its longer way, from the corner nearest to the zero
    corner; a list of points as it is written. Raises SurveyError for another kind of table, or
    one whose places cannot be read.
    """
    if table.kind == GRID:
        return _back_and_forth(table)
    if table.kind not in KINDS:
        raise SurveyError(
            say(
                "table {table}: places are walked in a grid or a list of points, and this holds "
                "{kind}.",
                table=table.name,
                kind=table.kind,
            )
        )
    return tuple(
        Stop(
            row=row.number,
            column=row.at["reading"],
            at=row.place("x", "y"),
            text=row.text("reading"),
            setup=row.text("setup"),
        )
        for row in rows_of(table, say("a list of points"), NEEDED, OPTIONAL)
    )


def _back_and_forth(table: Table) -> tuple[Stop, ...]:
    rows, east, north = offsets_of(table)
    columns = sorted(range(len(east)), key=lambda c: east[c])
    lines = sorted(range(len(north)), key=lambda r: north[r])
    wide = len(columns) >= len(lines)
    along, across = (columns, lines) if wide else (lines, columns)
    walk = []
    for turn, b in enumerate(across):
        for a in along if turn % 2 == 0 else along[::-1]:
            column, line = (a, b) if wide else (b, a)
            number, cells = rows[line + 1]
            text = cells[column + 1].strip()
            walk.append(Stop(number, column + 2, (east[column], north[line]), text))
    return tuple(walk)


def tape(survey: Survey, stop: Stop) -> list[tuple[str, str]]:
    """Where a place is by tape: how far from the wall on the west and on the south side of zero.

    Each is a length and what it is measured from. The same two walls all the way, as a tape lies;
    from the zero corner where no wall runs there.
    """
    names = ["", ""]
    if survey.room:
        corners = np.array(survey.room.outline.corners_mm)
        along = np.abs(corners) + np.abs(np.roll(corners, -1, axis=0)) < 1.0  # both ends at zero
        for name, on in zip(wall_names(survey.room), along, strict=True):
            names = [own or (name if at else "") for own, at in zip(names, on, strict=True)]
    said = []
    zero = (say("east of zero"), say("north of zero"))
    for mm, name, way in zip(stop.at, names, zero, strict=True):
        off = format_offset(mm, survey.show)
        said.append((off, say("from the {wall}", wall=wall_called(name)) if name else way))
    return said


def next_open(walk: Sequence[Stop], after: int) -> int | None:
    """The first place without an entry after the one with index `after`, or before it if none is.

    None where every place has one.
    """
    order = [*range(after + 1, len(walk)), *range(min(after + 1, len(walk)))]
    return next((k for k in order if walk[k].open), None)


def written(cells: Cells, row: int, column: int, text: str) -> Cells:
    """The cells with one of them, counted from 1, written."""
    changed = list(map(list, cells))
    line = changed[row - 1]
    line += [""] * (column - len(line))
    line[column - 1] = text
    return tuple(map(tuple, changed))


def doubt(survey: Survey, table: Table, stop: Stop) -> Doubt | None:
    """Why what was read at a place of the survey should be read again; None where it may be right.

    It is held against the places around it, then, where readings check each other, against all of
    them. Nothing is said of a survey that cannot be read otherwise: that is told elsewhere.
    """
    every = stops(table)
    found = _by_neighbors(table, _beside(survey, every, stop), stop)
    setups = {seen.setup for seen in every}
    if found is not None or (len(survey.tables) == 1 and len(setups) <= 1):
        return found
    try:
        suspects = adjust(readings_of(survey)).suspects
    except FlatcheckError:
        return None
    cell = cell_name(table.name, stop.row, stop.column)
    for suspect in suspects:
        if suspect.observation.where == cell:
            return Doubt(
                stop, suspect.error_mm, suspect.should_mm, suspect.slip, say("all other readings")
            )
    return None


def _beside(survey: Survey, places: Sequence[Stop], stop: Stop) -> list[Stop]:
    """The nearest other places read from the same setup in the same zones, nearest first."""
    every = [seen for seen in places if seen.read and seen.setup == stop.setup]
    every = [seen for seen in every if (seen.row, seen.column) != (stop.row, stop.column)]
    if not every:
        return []
    xy = np.array([stop.at, *(seen.at for seen in every)])
    alike = np.ones(len(xy), dtype=bool)
    for zone in survey.zones:
        # Floors of two zones may be meant to lie at different heights.
        within = inside(Room(zone.outline), xy)
        alike &= within == within[0]
    near = [seen for seen, same in zip(every, alike[1:], strict=True) if same]
    near.sort(key=lambda seen: math.dist(seen.at, stop.at))
    return near[:AROUND]


def _by_neighbors(table: Table, near: Sequence[Stop], stop: Stop) -> Doubt | None:
    """The reading against a plane through its nearest neighbors.

    How well such a plane tells a reading is learned from the readings around: their median miss,
    so that a floor in waves is not questioned at every place.
    """
    try:
        value = parse_length(stop.text, table.unit)
        read = np.array([parse_length(seen.text, table.unit) for seen in near])
    except FlatcheckError:
        return None
    if len(near) < 2:
        return None
    xy = np.array([seen.at for seen in near])
    told, wide, aside = (float(of[0]) for of in _told(xy, read, np.array([stop.at]), own=False))
    off, most = value - told, UNHEARD_MM
    if len(near) >= KNOWN:
        others, by, _ = _told(xy, read, xy, own=True)
        usual = float(np.median(np.abs(read - others) / by)) * wide
        most = max(DOUBTED * max(usual, table.u_mm), LEAST_MM) + STEEPEST_RATIO * aside
    if abs(off) <= most:
        return None
    slip = slip_for(stop.text, value, table.unit, off, most / DOUBTED)
    return Doubt(stop, off, told, slip, say("its neighbors"))


def _told(xy: Floats, read: Floats, at: Floats, *, own: bool) -> tuple[Floats, Floats, Floats]:
    """What the nearest readings (n,) say of places `at` (m, 2), [mm] as read.

    A plane through them, the nearer the heavier; along a line where they lie on one. With `own`
    the places are those of the readings, each without its own. Also returned are how many times as
    uncertain the difference from a reading there is as a reading, and how far a place lies to the
    side of a line that tells nothing of the slope there [mm].
    """
    away = np.hypot(*np.moveaxis(at[:, None] - xy, 2, 0))
    if own:
        np.fill_diagonal(away, np.inf)
    nearest = np.argsort(away, axis=1, kind="stable")[:, : min(NEIGHBORS, len(xy) - own)]
    away = np.take_along_axis(away, nearest, axis=1)
    weight = 1 / np.maximum(away, 1.0)
    middle = np.sum(xy[nearest] * weight[..., None] ** 2, axis=1)
    middle /= np.sum(weight**2, axis=1)[:, None]
    scale = np.maximum(away.max(axis=1), 1.0)[:, None]
    ones = np.ones((*nearest.shape, 1))
    columns = np.concatenate([ones, (xy[nearest] - middle[:, None]) / scale[..., None]], axis=2)
    columns *= weight[..., None]
    here = np.column_stack([np.ones(len(at)), (at - middle) / scale])[:, None]
    # The pseudo-inverse leaves out the way of which nothing is told.
    inverse = here @ np.linalg.pinv(columns, rcond=1e-6)
    shares = inverse[:, 0] * weight
    aside = scale[:, 0] * np.hypot(*(here - inverse @ columns)[:, 0, 1:].T)
    told = np.sum(shares * read[nearest], axis=1)
    return told, np.sqrt(1 + np.sum(shares**2, axis=1)), aside


def doubt_words(found: Doubt, table: Table, show: Style) -> str:
    """What does not fit, in a sentence, as the rod or rule is marked."""
    inches = table.unit in ("in", "ft")
    style = show if inches is (show.unit == "in") else STYLES["in/16" if inches else "mm/0.1"]
    slip = f" ({found.slip.words}?)" if found.slip else ""
    words = (
        say("{reading} is {off} more than {others} lead to expect, about {expected}{slip}.")
        if found.off_mm > 0
        else say("{reading} is {off} less than {others} lead to expect, about {expected}{slip}.")
    )
    return words.format(
        reading=found.stop.text,
        off=format_length(abs(found.off_mm), style),
        others=found.by,
        expected=format_length(found.should_mm, style),
        slip=slip,
    )
