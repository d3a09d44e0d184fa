"""What was measured, exactly as written: the survey document and its tables of readings.

A survey keeps the text of its `survey.toml` and the cells of its tables as the person typed them;
everything else in the record is read out of those, once, when it is built. Writing it back
therefore gives the same survey.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.intent import Intent
from flatcheck.room import Ring, Room
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, Style, parse_length, parse_slope, parse_style

FORMAT = 1
"""Version of the survey document that this code reads and writes."""

SENSES = ("rod", "elevation")
"""A rod reading is larger where the floor is lower; an elevation is larger where it is higher."""

DECISIONS = ("allowing for reading error", "as read")
"""How a value near its limit is decided; the first is used when the person does not say."""

Cells = tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Table:
    """One table of readings as written, and what its bare numbers mean.

    `kind` names the reader that understands the cells; `u_mm` is the standard uncertainty of one
    of its readings. `options` are further keys of the document that only that reader knows.
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


@dataclass(frozen=True, slots=True)
class Reading:
    """One height read at one place, turned so that larger is higher, and where it is written."""

    x_mm: float
    y_mm: float
    height_mm: float
    u_mm: float
    setup: str
    where: str
    text: str
    sense: str = "elevation"


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


Observation = Reading | Gap | Tilt | Benchmark
"""What a table of readings holds: each is one linear observation of heights."""


@dataclass(frozen=True)
class Zone:
    """A named part of the floor with its own intent."""

    outline: Ring
    intent: Intent


@dataclass(frozen=True)
class Survey:
    """A whole survey: who read what, where, with what, and what the floor is to carry."""

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


def height_from(sense: str, reading_mm: float) -> float:
    """The height a reading stands for [mm]: the one place where the sign of a rod is turned."""
    return -reading_mm if sense == "rod" else reading_mm


def build(document: str, cells: Mapping[str, Cells]) -> Survey:
    """The survey written in the text of a `survey.toml` and the cells of the tables it names.

    Raises SurveyError (or its siblings) with one sentence that names what cannot be used.
    """
    head = _parsed(document)
    _only(head, "survey.toml", _SECTIONS)
    version = head.get("flatcheck")
    if version != FORMAT:
        raise SurveyError(
            f"survey.toml: flatcheck = {version!r} was expected to be {FORMAT}, the version of "
            "the survey format."
        )
    about = _section(head, "survey", ("title", "place", "date", "by", "surface", "notes"))
    units = _section(head, "units", ("readings", "offsets", "show"))
    instrument = _section(head, "instrument", ("name", "uncertainty", "reads_to"))
    standard = _section(head, "standard", ("rule", "decision"))
    unit = _unit(units.get("readings"), "units.readings")
    offset_unit = _unit(units.get("offsets"), "units.offsets")
    day = about.get("date")
    if day is not None and not isinstance(day, date):
        raise SurveyError(f"survey.date {day!r} was expected as a date such as 2026-05-04.")
    decision = str(standard.get("decision", DECISIONS[0]))
    if decision not in DECISIONS:
        raise SurveyError(f"standard.decision {decision!r} is not one of {', '.join(DECISIONS)}.")
    u_mm = _uncertainty(instrument, unit)
    return Survey(
        document=document,
        tables=_tables(head, unit, offset_unit, u_mm, cells),
        title=str(about.get("title", "survey")),
        place=str(about.get("place", "")),
        day=day,
        by=str(about.get("by", "")),
        surface=str(about.get("surface", "")),
        notes=str(about.get("notes", "")),
        instrument=str(instrument.get("name", "")),
        room=_room(head, offset_unit),
        zones=_zones(head, offset_unit),
        intent=_intent(head.get("intent", {}), "intent"),
        tile=_tile(head, unit),
        standard=str(standard.get("rule", "us-tile")),
        decision=decision,
        show=parse_style(str(units.get("show", "in/16" if unit in ("in", "ft") else "mm/0.1"))),
    )


def table_files(document: str) -> tuple[str, ...]:
    """The file names of the tables that a `survey.toml` names. Raises SurveyError as `build`."""
    return tuple(str(item.get("file", "")) for item in _list(_parsed(document), "table"))


def _parsed(document: str) -> dict[str, Any]:
    try:
        return tomllib.loads(document)
    except tomllib.TOMLDecodeError as error:
        raise SurveyError(f"survey.toml cannot be read: {error}.") from None


_SECTIONS = (
    "flatcheck",
    "survey",
    "units",
    "instrument",
    "room",
    "zone",
    "intent",
    "tile",
    "standard",
    "table",
)

TABLE_KEYS = (
    "file",
    "kind",
    "sense",
    "setup",
    "readings",
    "offsets",
    "uncertainty",
    "reads_to",
)

_BEARINGS = {
    "north": 0.0,
    "north-east": 45.0,
    "east": 90.0,
    "south-east": 135.0,
    "south": 180.0,
    "south-west": 225.0,
    "west": 270.0,
    "north-west": 315.0,
}


def _only(given: Mapping[str, Any], name: str, known: tuple[str, ...]) -> None:
    for key in given:
        if key not in known:
            raise SurveyError(f"{name}: {key!r} is not known here; known are {', '.join(known)}.")


def _section(head: Mapping[str, Any], name: str, known: tuple[str, ...]) -> Mapping[str, Any]:
    section = head.get(name, {})
    if not isinstance(section, Mapping):
        raise SurveyError(f"survey.toml: [{name}] was expected to be a section.")
    _only(section, name, known)
    return section


def _list(head: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    items = head.get(name, [])
    if not isinstance(items, list) or not all(isinstance(item, Mapping) for item in items):
        raise SurveyError(f"survey.toml: [[{name}]] was expected to be a list of sections.")
    return items


def _unit(given: Any, name: str) -> str:
    if given not in LENGTH_UNITS:
        known = ", ".join(LENGTH_UNITS)
        raise SurveyError(f"{name} = {given!r} is not a unit of length; known are {known}.")
    return str(given)


def _length(given: Any, name: str, unit: str) -> float:
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(f"{name} = {given!r} was expected to be a length.")
    try:
        return parse_length(str(given), unit)
    except UnitsError as error:
        raise SurveyError(f"{name}: {error}") from None


def _uncertainty(section: Mapping[str, Any], unit: str) -> float:
    """Standard uncertainty of one reading [mm]: its scatter, and the rounding to `reads_to`.

    u² = scatter² + (step / √12)²: rounding to a step is a rectangular distribution of that width
    (JCGM 100:2008, 4.3.7).
    """
    if "uncertainty" not in section:
        raise SurveyError(
            'instrument.uncertainty is missing; say how far one reading may be off, as "1/32 in" '
            "(two readings in three fall within it)."
        )
    scatter = _length(section["uncertainty"], "instrument.uncertainty", unit)
    step = _length(section.get("reads_to", 0), "instrument.reads_to", unit)
    if scatter < 0 or step < 0:
        raise SurveyError("instrument: uncertainty and reads_to must not be negative.")
    u_mm = math.hypot(scatter, step / math.sqrt(12))
    if not u_mm > 0:
        raise SurveyError("instrument.uncertainty must be larger than zero; no reading is exact.")
    return u_mm


def _ring(given: Any, name: str, unit: str) -> Ring:
    if not isinstance(given, list) or not all(
        isinstance(corner, list) and len(corner) == 2 for corner in given
    ):
        raise SurveyError(f"{name}: an outline is a list of corners, each two offsets.")
    return Ring(
        name,
        tuple(
            (
                _length(x, f"{name}, corner {number}", unit),
                _length(y, f"{name}, corner {number}", unit),
            )
            for number, (x, y) in enumerate(given, 1)
        ),
    )


def _room(head: Mapping[str, Any], unit: str) -> Room | None:
    if "room" not in head:
        return None
    section = _section(head, "room", ("outline", "walls", "cutout"))
    cutouts = []
    for number, item in enumerate(_list(section, "cutout"), 1):
        _only(item, "room.cutout", ("name", "outline"))
        name = str(item.get("name", f"cutout {number}"))
        cutouts.append(_ring(item.get("outline"), name, unit))
    walls = section.get("walls", [])
    if not isinstance(walls, list):
        raise SurveyError("room.walls was expected to be a list of names.")
    return Room(
        _ring(section.get("outline"), "room", unit), tuple(cutouts), tuple(str(w) for w in walls)
    )


def _zones(head: Mapping[str, Any], unit: str) -> tuple[Zone, ...]:
    zones = []
    for number, item in enumerate(_list(head, "zone"), 1):
        _only(item, "zone", ("name", "outline", "intent"))
        name = str(item.get("name", f"zone {number}"))
        ring = _ring(item.get("outline"), name, unit)
        zones.append(Zone(ring, _intent(item.get("intent", {}), f"{name}.intent")))
    return tuple(zones)


def _intent(section: Any, name: str) -> Intent:
    if not isinstance(section, Mapping):
        raise SurveyError(f"{name} was expected to be a section.")
    _only(section, name, ("kind", "fall", "toward"))
    kind = str(section.get("kind", "best fit"))
    fall, toward = section.get("fall", 0), section.get("toward", 0)
    if kind == "fall" and not ("fall" in section and "toward" in section):
        raise SurveyError(f'{name}: kind "fall" needs fall and toward.')
    try:
        ratio = parse_slope(str(fall), "ratio")
    except UnitsError as error:
        raise SurveyError(f"{name}.fall: {error}") from None
    bearing = _BEARINGS.get(toward, toward) if isinstance(toward, str) else toward
    if isinstance(bearing, str | bool) or not math.isfinite(bearing):
        raise SurveyError(
            f"{name}.toward = {toward!r} was expected as a compass side such as "
            '"south", or degrees clockwise from north.'
        )
    return Intent(kind, ratio, float(bearing))


def _tile(head: Mapping[str, Any], unit: str) -> Tile | None:
    if "tile" not in head:
        return None
    section = _section(head, "tile", ("length", "width", "joint"))
    if "length" not in section or "width" not in section:
        raise SurveyError("tile: length and width are both needed.")
    return Tile(
        _length(section["length"], "tile.length", unit),
        _length(section["width"], "tile.width", unit),
        _length(section.get("joint", 0), "tile.joint", unit),
    )


def _tables(
    head: Mapping[str, Any], unit: str, offset_unit: str, u_mm: float, cells: Mapping[str, Cells]
) -> tuple[Table, ...]:
    tables = []
    for item in _list(head, "table"):
        name = str(item.get("file", ""))
        if name not in cells:
            raise SurveyError(f"table {name!r} is named in survey.toml but was not found.")
        sense = item.get("sense", "")
        if sense not in ("", *SENSES):
            raise SurveyError(_no_sense(name, sense))
        table_unit = _unit(item.get("readings", unit), f"table {name}: readings")
        tables.append(
            Table(
                name=name,
                kind=str(item.get("kind", "")),
                sense=str(sense),
                setup=str(item.get("setup", "1")),
                unit=table_unit,
                offset_unit=_unit(item.get("offsets", offset_unit), f"table {name}: offsets"),
                u_mm=_uncertainty(item, table_unit) if "uncertainty" in item else u_mm,
                cells=cells[name],
                options=tuple((k, v) for k, v in item.items() if k not in TABLE_KEYS),
            )
        )
    if not tables:
        raise SurveyError("survey.toml names no table of readings; add a [[table]].")
    return tuple(tables)


def sense_of(table: Table) -> str:
    """The table's sense. Raises SurveyError where it was not said: it is never guessed."""
    if not table.sense:
        raise SurveyError(_no_sense(table.name, None))
    return table.sense


def _no_sense(name: str, sense: object) -> str:
    return (
        f'table {name}: sense = {sense!r} was expected to be "rod" (larger is lower) or '
        '"elevation" (larger is higher).'
    )


def cell_name(table: Table, row: int, column: int) -> str:
    """How a cell is called in messages: table, row, and the cell as a spreadsheet names it."""
    letters, rest = "", column
    while rest > 0:
        rest, letter = divmod(rest - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{table.name}, row {row}, cell {letters}{row}"


def cell_error(table: Table, row: int, column: int, problem: FlatcheckError | str) -> SurveyError:
    """One sentence about a bad cell."""
    return SurveyError(f"{cell_name(table, row, column)}: {problem}")


def cell_length(table: Table, row: int, column: int, cell: str, unit: str) -> float:
    """The length in a cell [mm]; a bare number is in `unit`. Raises SurveyError naming the cell."""
    try:
        return parse_length(cell, unit)
    except UnitsError as error:
        raise cell_error(table, row, column, error) from None
