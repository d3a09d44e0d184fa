"""The survey document: from the text of a `survey.toml` and its tables' cells to a `Survey`.

Everything is checked here, once, at the door; a message names the key and what was expected.
"""

import math
import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import PurePath
from typing import Any

from flatcheck.compass import parse_bearing
from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.instrument import standard_uncertainty, statement
from flatcheck.intent import Intent
from flatcheck.room import Ring, Room
from flatcheck.survey import DECISIONS, SENSES, Cells, Survey, Table, Zone, no_sense
from flatcheck.tile import Tile
from flatcheck.units import LENGTH_UNITS, parse_length, parse_slope, parse_style

FORMAT = 1
"""Version of the survey document that this code reads and writes."""


def build(document: str, cells: Mapping[str, Cells]) -> Survey:
    """The survey written in the text of a `survey.toml` and the cells of the tables it names.

    Raises SurveyError (or its siblings) with one sentence that names what cannot be used.
    """
    head = _parsed(document)
    _only(head, "survey.toml", _SECTIONS)
    version = head.get("flatcheck")
    if type(version) is not int or version != FORMAT:
        raise SurveyError(
            f"survey.toml: flatcheck = {version!r} was expected to be {FORMAT}, the version of "
            "the survey format."
        )
    about = _section(head, "survey", ("title", "place", "date", "by", "surface", "notes"))
    units = _section(head, "units", ("readings", "offsets", "show"))
    instrument = _section(
        head, "instrument", ("name", "uncertainty", "reads_to", "sight", "setups")
    )
    standard = _section(head, "standard", ("rule", "decision"))
    unit = _unit(units.get("readings"), "units.readings")
    offset_unit = _unit(units.get("offsets"), "units.offsets")
    day = about.get("date")
    if day is not None and (not isinstance(day, date) or isinstance(day, datetime)):
        raise SurveyError(f"survey.date {day!r} was expected as a date such as 2026-05-04.")
    decision = str(standard.get("decision", DECISIONS[0]))
    if decision not in DECISIONS:
        raise SurveyError(f"standard.decision {decision!r} is not one of {', '.join(DECISIONS)}.")
    _uncertainty(instrument, unit)
    return Survey(
        document=document,
        tables=_tables(head, unit, offset_unit, instrument, cells),
        title=_text(about.get("title", "survey")),
        place=_text(about.get("place", "")),
        day=day,
        by=_text(about.get("by", "")),
        surface=_text(about.get("surface", "")),
        notes=_text(about.get("notes", "")),
        instrument=_text(instrument.get("name", "")),
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
    return tuple(_file_name(item) for item in _list(_parsed(document), "table"))


def _file_name(item: Mapping[str, Any]) -> str:
    name = str(item.get("file", ""))
    if not name or PurePath(name).name != name or "\\" in name or "\0" in name:
        raise SurveyError(f"table {name!r}: a table is a file in the survey's own folder.")
    return name


def _parsed(document: str) -> dict[str, Any]:
    try:
        return tomllib.loads(document)
    except tomllib.TOMLDecodeError as error:
        raise SurveyError(f"survey.toml cannot be read: {error}.") from None
    except (ValueError, RecursionError):
        raise SurveyError(
            "survey.toml cannot be read: a number is too long, or a list too deep."
        ) from None


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
    "sight",
)


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
    if not isinstance(given, str) or given not in LENGTH_UNITS:
        known = ", ".join(LENGTH_UNITS)
        raise SurveyError(f"{name} = {given!r} is not a unit of length; known are {known}.")
    return given


def _length(given: Any, name: str, unit: str) -> float:
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(f"{name} = {given!r} was expected to be a length.")
    try:
        return parse_length(_plain(given), unit)
    except UnitsError as error:
        raise SurveyError(f"{name}: {error}") from None


def _names(given: Any, name: str) -> tuple[str, ...]:
    if not isinstance(given, list):
        raise SurveyError(f"{name} was expected to be a list of names.")
    return tuple(_text(item) for item in given)


def _text(given: Any) -> str:
    """What a person wrote as one line."""
    return " ".join(str(given).split())


def _plain(given: str | float) -> str:
    """A number of the document as a person would write it, without an exponent."""
    if isinstance(given, float) and math.isfinite(given) and abs(given) < 1e12:
        return f"{given:.12f}".rstrip("0").rstrip(".")
    return str(given)


def _uncertainty(section: Mapping[str, Any], unit: str) -> float:
    """Standard uncertainty of one reading [mm]: what is said of it, and the rounding to `reads_to`.

    What is said may be a maker's statement, such as "1/8 in at 30 ft"; one that grows with the
    distance holds at `sight`, the longest distance read. See `flatcheck.instrument` for the rules
    (JCGM 100:2008, 4.3.7: bounds and rounding are rectangular distributions).
    """
    if "uncertainty" not in section:
        raise SurveyError(
            'instrument.uncertainty is missing; say how far one reading may be off, as "1/32 in" '
            "(two readings in three fall within it)."
        )
    given = section["uncertainty"]
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(f"instrument.uncertainty = {given!r} was expected to be a length.")
    sight = _length(section.get("sight", 0), "instrument.sight", unit)
    step = _length(section.get("reads_to", 0), "instrument.reads_to", unit)
    stated = _stated(_plain(given), unit, sight)
    if stated < 0:
        raise SurveyError("instrument.uncertainty must not be negative.")
    if step < 0:
        raise SurveyError("instrument.reads_to must not be negative.")
    u_mm = math.hypot(stated, step / math.sqrt(12))
    if not u_mm > 0:
        raise SurveyError("instrument.uncertainty must be larger than zero; no reading is exact.")
    return u_mm


def _stated(given: str, unit: str, sight_mm: float) -> float:
    """What a length or a maker's statement says of one reading, as a standard uncertainty [mm]."""
    try:
        return parse_length(given, unit)  # two readings in three fall within it
    except UnitsError:
        pass
    try:
        said = statement(given, unit)
        if not said.by_distance or sight_mm > 0:
            return standard_uncertainty(said, sight_mm)
    except FlatcheckError as error:
        raise SurveyError(f"instrument.uncertainty: {error}") from None
    raise SurveyError(
        f"{given!r} grows with the distance; say instrument.sight, the longest distance that was "
        "read."
    )


def _table_uncertainty(
    item: Mapping[str, Any], unit: str, instrument: Mapping[str, Any], instrument_unit: str
) -> float:
    """A table's own uncertainty; a step of its own alone goes with the instrument's statement."""
    if "uncertainty" in item:
        return _uncertainty(item, unit)
    if "reads_to" in item:
        step = _length(item["reads_to"], f"table {item.get('file')}: reads_to", unit)
        instrument = {**instrument, "reads_to": f"{step:.9f} mm"}
    return _uncertainty(instrument, instrument_unit)


def _ring(given: Any, name: str, unit: str) -> Ring:
    if not isinstance(given, list) or not all(
        isinstance(corner, list) and len(corner) == 2 for corner in given
    ):
        raise SurveyError(f"{name}: an outline is a list of corners, each two offsets.")
    corners = given
    if len(given) > 3 and given[0] == given[-1]:
        corners = given[:-1]  # closed by hand: the first corner said again
    return Ring(
        name,
        tuple(
            (
                _length(x, f"{name}, corner {number}", unit),
                _length(y, f"{name}, corner {number}", unit),
            )
            for number, (x, y) in enumerate(corners, 1)
        ),
    )


def _room(head: Mapping[str, Any], unit: str) -> Room | None:
    if "room" not in head:
        return None
    section = _section(head, "room", ("outline", "walls", "cutout"))
    cutouts = []
    for number, item in enumerate(_list(section, "cutout"), 1):
        _only(item, "room.cutout", ("name", "outline"))
        name = _text(item.get("name", f"cutout {number}"))
        cutouts.append(_ring(item.get("outline"), name, unit))
    walls = section.get("walls", [])
    if not isinstance(walls, list):
        raise SurveyError("room.walls was expected to be a list of names.")
    return Room(
        _ring(section.get("outline"), "room", unit), tuple(cutouts), tuple(_text(w) for w in walls)
    )


def _zones(head: Mapping[str, Any], unit: str) -> tuple[Zone, ...]:
    zones = []
    for number, item in enumerate(_list(head, "zone"), 1):
        _only(item, "zone", ("name", "outline", "intent"))
        name = _text(item.get("name", f"zone {number}"))
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
        ratio = parse_slope(_plain(fall) if isinstance(fall, int | float) else str(fall), "ratio")
    except UnitsError as error:
        raise SurveyError(f"{name}.fall: {error}") from None
    if isinstance(toward, bool) or not isinstance(toward, str | int | float):
        raise SurveyError(f"{name}.toward = {toward!r} was expected as a side or in degrees.")
    try:
        bearing = parse_bearing(str(toward))
    except UnitsError as error:
        raise SurveyError(f"{name}.toward: {error}") from None
    return Intent(kind, ratio, bearing)


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
    head: Mapping[str, Any],
    unit: str,
    offset_unit: str,
    instrument: Mapping[str, Any],
    cells: Mapping[str, Cells],
) -> tuple[Table, ...]:
    tables: list[Table] = []
    for item in _list(head, "table"):
        name = _file_name(item)
        if any(name == table.name for table in tables):
            raise SurveyError(f"table {name} is named twice; each table counts once.")
        if name not in cells:
            raise SurveyError(f"table {name!r} is named in survey.toml but was not found.")
        sense = item.get("sense", "")
        if sense not in ("", *SENSES):
            raise SurveyError(no_sense(name, sense))
        table_unit = _unit(item.get("readings", unit), f"table {name}: readings")
        tables.append(
            Table(
                name=name,
                kind=str(item.get("kind", "")),
                sense=str(sense),
                setup=str(item.get("setup", name)),
                unit=table_unit,
                offset_unit=_unit(item.get("offsets", offset_unit), f"table {name}: offsets"),
                u_mm=_table_uncertainty(item, table_unit, instrument, unit),
                cells=cells[name],
                setups=_names(instrument.get("setups", []), "instrument.setups"),
                options=tuple((k, v) for k, v in item.items() if k not in TABLE_KEYS),
            )
        )
    if not tables:
        raise SurveyError("survey.toml names no table of readings; add a [[table]].")
    return tuple(tables)
