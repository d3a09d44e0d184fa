"""What was measured, exactly as written: the survey document and its tables of readings.

A survey keeps the text of its `survey.toml` and the cells of its tables as the person typed them;
everything else in the record is read out of those, once, by `flatcheck.document`. Writing it back
therefore gives the same survey.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from flatcheck.bond import Pattern
from flatcheck.drain import Bed, Drain, Hold
from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.instrument import Statement
from flatcheck.intent import Intent
from flatcheck.language import say
from flatcheck.room import Ring, Room
from flatcheck.slab import Slab
from flatcheck.terms import Terms
from flatcheck.tile import Tile
from flatcheck.units import Style, parse_length

SENSES = ("rod", "elevation")
"""A rod reading is larger where the floor is lower; an elevation is larger where it is higher."""

DECISIONS = ("allowing for reading error", "as read")
"""How a value near its limit is decided; the first is used when the person does not say."""

MOST_MM = 1e7
"""No height, gap or offset of a floor is longer: 10 km [mm]."""

Cells = tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Table:
    """One table of readings as written, and what its bare numbers mean.

    `kind` names the reader that understands the cells; `u_mm` is the standard uncertainty of one
    of its readings, by what is `stated` of it at the distance `sight_mm`, and `own_u` says whether
    its own entry gives it or only the instrument's does.
    `options` are further keys of the document that only that reader knows.
    `setups` are the names an instrument setup may have, any where it is empty.
    """

    name: str
    kind: str
    sense: str
    setup: str
    unit: str
    offset_unit: str
    u_mm: float
    cells: Cells = field(repr=False)
    options: tuple[tuple[str, Any], ...] = ()
    setups: tuple[str, ...] = ()
    own_u: bool = False
    stated: Statement | None = None
    sight_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One height read at one place, turned so that larger is higher, and where it is written.

    `line` names the straight line it was read along, "" where none was written.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    u_mm: float
    setup: str
    where: str
    text: str
    sense: str = "elevation"
    unit: str = "mm"
    tie: bool = False
    line: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """One gap read under a straightedge: from the bar down to the floor.

    The bar `placement` lies from `start` to `end` on the plan; the gap is read `along_mm` from
    its start, with the height of equal blocks taken off. `block_mm` is that height: the bar then
    stood on them at its two ends; None where it rests freely and touches where it will.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    along_mm: float
    gap_mm: float
    u_mm: float
    placement: str
    block_mm: float | None
    where: str
    text: str
    unit: str = "mm"


@dataclass(frozen=True, slots=True)
class Tilt:
    """One reading of a level: how much higher the floor is at its end than at its start."""

    start: tuple[float, float]
    end: tuple[float, float]
    rise_mm: float
    u_mm: float
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A place whose height is known: exactly where `u_mm` is zero, else with that uncertainty."""

    x_mm: float
    y_mm: float
    height_mm: float
    u_mm: float
    where: str
    text: str
    unit: str = "mm"


@dataclass(frozen=True, slots=True)
class Step:
    """One step read with a gauge across the joint between two tiles.

    `step_mm` is positive where the tile on the side `proud` (a compass side, "" where none was
    written) stands higher. `joint_mm` is the joint's own width, None where it was not written.
    A step is no height: it stands beside the adjustment, not in it.
    """

    x_mm: float
    y_mm: float
    step_mm: float
    u_mm: float
    proud: str
    joint_mm: float | None
    where: str
    text: str


Observation = Reading | Gap | Tilt | Benchmark
"""What a table of readings holds: each is one linear observation of heights."""


@dataclass(frozen=True)
class Zone:
    """A named part of the floor with its own intent.

    One that stands `apart` lies at a height of its own: no bar is laid across its edge.
    """

    outline: Ring
    intent: Intent
    apart: bool = False


@dataclass(frozen=True)
class Sample:
    """A sampling plan that was drawn: placements of a bar, again the same from the same `seed`.

    `count` is how many of each bar, None for as many as the standard asks of the floor's area.
    """

    standard: str
    seed: int
    count: int | None = None


@dataclass(frozen=True)
class Survey:
    """A whole survey: who read what, where, with what, and what the floor is to carry.

    `standard` is the one for flatness, `falls` are those for falls and water, `lippage` the one for
    steps between tiles.
    """

    document: str = field(repr=False)
    tables: tuple[Table, ...]
    title: str
    place: str
    day: date | None
    by: str
    surface: str
    notes: str
    instrument: str
    room: Room | None
    zones: tuple[Zone, ...]
    intent: Intent
    tile: Tile | None
    standard: str
    decision: str
    show: Style
    falls: tuple[str, ...] = ()
    lippage: str = ""
    drains: tuple[Drain, ...] = ()
    holds: tuple[Hold, ...] = ()
    bed: Bed = field(default_factory=Bed)
    terms: Terms = field(default_factory=Terms)
    pattern: Pattern | None = None
    slab: Slab = field(default_factory=Slab)
    sample: Sample | None = None


def height_from(sense: str, reading_mm: float) -> float:
    """The height a reading stands for [mm]: the one place where the sign of a rod is turned."""
    return -reading_mm if sense == "rod" else reading_mm


def sense_of(table: Table) -> str:
    """The table's sense. Raises SurveyError where it was not said: it is never guessed."""
    if not table.sense:
        raise SurveyError(no_sense(table.name, None))
    return table.sense


def no_sense(name: str, sense: object) -> str:
    """Why a table without a sense cannot be read."""
    said = say("nothing") if sense is None else repr(sense)
    return say(
        'table {table}: sense = {given} was expected to be "rod" (larger is lower) or "elevation" '
        "(larger is higher).",
        table=name,
        given=said,
    )


def setup_named(table: Table, written: str, where: str) -> str:
    """The setup a reading belongs to: as written, or the table's own.

    Raises SurveyError where the document lists its setups and this is none of them.
    """
    name = written or table.setup
    if table.setups and name not in table.setups:
        raise SurveyError(
            say(
                "{cell}: setup {setup!r} is not one of {setups}, the setups that survey.toml "
                "lists.",
                cell=where,
                setup=name[:40],
                setups=", ".join(table.setups),
            )
        )
    return name


def cell_name(name: str, row: int, column: int) -> str:
    """How a cell is called in messages: table, row, and the cell as a spreadsheet names it."""
    return say(
        "{table}, row {row}, cell {column}{row}",
        table=name,
        row=row,
        column=column_name(column),
    )


def column_name(column: int) -> str:
    """What a spreadsheet calls a column, counted from 1: A to Z, then AA."""
    letters, rest = "", column
    while rest > 0:
        rest, letter = divmod(rest - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return letters


def cell_error(table: Table, row: int, column: int, problem: FlatcheckError | str) -> SurveyError:
    """One sentence about a bad cell."""
    return SurveyError(f"{cell_name(table.name, row, column)}: {problem}")


def cell_length(table: Table, row: int, column: int, cell: str, unit: str) -> float:
    """The length in a cell [mm]; a bare number is in `unit`. Raises SurveyError naming the cell."""
    try:
        length = parse_length(cell, unit)
    except UnitsError as error:
        raise cell_error(table, row, column, error) from None
    if abs(length) > MOST_MM:
        raise cell_error(
            table,
            row,
            column,
            say("{cell!r} is more than 10 km; no floor has such a length.", cell=cell.strip()[:40]),
        )
    return length
