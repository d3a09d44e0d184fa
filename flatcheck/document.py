"""The survey document: from the text of a `survey.toml` and its tables' cells to a `Survey`.

Everything is checked here, once, at the door; a message names the key and what was expected.
"""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import PurePath
from typing import Any

from flatcheck.bond import Pattern
from flatcheck.compass import parse_bearing
from flatcheck.drain import Bed, Drain, Hold
from flatcheck.errors import SurveyError, UnitsError
from flatcheck.fields import (
    length_of,
    name_of,
    names_of,
    only,
    parsed,
    quoted,
    section_of,
    sections_of,
    slope_of,
    text_of,
    unit_of,
)
from flatcheck.instrument import standard_uncertainty
from flatcheck.intent import ON_WALLS, Intent
from flatcheck.room import Ring, Room, rectangle
from flatcheck.rules import ON
from flatcheck.slab import LOCAL, Joint, Slab, specified_of
from flatcheck.survey import DECISIONS, SENSES, Cells, Sample, Survey, Table, Zone, no_sense
from flatcheck.terms import Keep, terms_of
from flatcheck.tile import BOWS, Bow, Tile
from flatcheck.uncertainty import table_uncertainty, uncertainty_of
from flatcheck.units import Style, parse_style

DOCUMENT = "survey.toml"

FORMAT = 1
"""Version of the survey document that this code reads and writes."""

MOST_TABLES = 1000
"""More tables than this are no survey by hand."""

MOST_SECTIONS = 100
"""So are more cutouts, zones or drains; the time to look at each pair of them has this limit."""

MOST_CORNERS = 500
"""And so is an outline of more corners; each side is held against each other."""


def build(document: str, cells: Mapping[str, Cells]) -> Survey:
    """The survey written in the text of a `survey.toml` and the cells of the tables it names.

    Raises SurveyError (or its siblings) with one sentence that names what cannot be used.
    """
    head = parsed(document)
    only(head, "survey.toml", _SECTIONS)
    version = head.get("flatcheck")
    if type(version) is not int or version != FORMAT:
        raise SurveyError(
            f"survey.toml: flatcheck = {quoted(version)} was expected to be {FORMAT}, the version "
            "of the survey format."
        )
    about = section_of(
        head, "survey", ("title", "place", "date", "by", "surface", "notes", "about")
    )
    wall = _is_wall(about.get("about", "floor"))
    units = section_of(head, "units", ("readings", "offsets", "show"))
    instrument = section_of(
        head, "instrument", ("name", "uncertainty", "reads_to", "sight", "setups")
    )
    standard = section_of(head, "standard", ("rule", "falls", "lippage", "decision"))
    unit = unit_of(units.get("readings"), "units.readings")
    offset_unit = unit_of(units.get("offsets"), "units.offsets")
    day = about.get("date")
    if day is not None and (not isinstance(day, date) or isinstance(day, datetime)):
        raise SurveyError(f"survey.date {quoted(day)} was expected as a date such as 2026-05-04.")
    decision = standard.get("decision", DECISIONS[0])
    if decision not in DECISIONS:
        raise SurveyError(
            f"standard.decision {quoted(decision)} is not one of {', '.join(DECISIONS)}."
        )
    uncertainty_of(instrument, unit, "instrument.")
    room, zones, intent = (
        _room(head, offset_unit, wall),
        _zones(head, offset_unit),
        _intent(head.get("intent", {}), "intent"),
    )
    _check_wall(wall, head, (intent, *(zone.intent for zone in zones)))
    return Survey(
        document=document,
        tables=_tables(head, unit, offset_unit, instrument, cells),
        title=text_of(about.get("title", "survey"), "survey.title"),
        place=text_of(about.get("place", ""), "survey.place"),
        day=day,
        by=text_of(about.get("by", ""), "survey.by"),
        surface=text_of(about.get("surface", ""), "survey.surface"),
        notes=text_of(about.get("notes", ""), "survey.notes"),
        instrument=text_of(instrument.get("name", ""), "instrument.name"),
        room=room,
        zones=zones,
        intent=intent,
        tile=_tile(head, unit),
        pattern=_pattern(head, unit, offset_unit),
        standard=text_of(standard.get("rule", "us-tile"), "standard.rule"),
        decision=decision,
        show=_style(units.get("show", "in/16" if unit in ("in", "ft") else "mm/0.1")),
        falls=_falls(standard.get("falls", [])),
        lippage=text_of(standard.get("lippage", ""), "standard.lippage"),
        drains=_drains(head, unit, offset_unit),
        holds=_holds(head, offset_unit),
        bed=_bed(head, unit),
        terms=terms_of(head, unit, _keeps(head, offset_unit)),
        slab=_slab(head, offset_unit),
        sample=_sample(head),
    )


def _is_wall(given: Any) -> bool:
    if given not in ON[:2]:
        raise SurveyError(f'survey.about = {quoted(given)} was expected to be "floor" or "wall".')
    return bool(given == "wall")


def _check_wall(wall: bool, head: Mapping[str, Any], intents: Sequence[Intent]) -> None:
    """What only a floor has, and what only a wall has."""
    if not wall:
        if any(intent.kind == "plumb" for intent in intents):
            raise SurveyError(
                'intent: kind "plumb" is for a wall; say about = "wall" in [survey], or level.'
            )
        return
    if "room" not in head:
        raise SurveyError(
            "a survey of a wall needs its outline in [room], seen from the room: x to the right, y "
            "up."
        )
    if "drain" in head:
        raise SurveyError("a survey of a wall has a drain; drains are for floors.")
    for intent in intents:
        if intent.kind not in ON_WALLS:
            raise SurveyError(
                f"intent: kind {intent.kind!r} is for floors; a wall has one of "
                f"{', '.join(ON_WALLS)}."
            )


def table_files(document: str) -> tuple[str, ...]:
    """The file names of the tables that a `survey.toml` names. Raises SurveyError as `build`."""
    return tuple(_table_items(parsed(document)))


def _table_items(head: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """The entries of the tables by the name of their file."""
    found: dict[str, Mapping[str, Any]] = {}
    for item in sections_of(head, "table", MOST_TABLES):
        name = _file_name(item)
        if name in found:
            raise SurveyError(f"table {name} is named twice; each table counts once.")
        found[name] = item
    return found


def _file_name(item: Mapping[str, Any]) -> str:
    name = item.get("file", "")
    if not isinstance(name, str) or not name.isprintable():
        raise SurveyError(f"table {quoted(name)} was expected to be the name of a file, in quotes.")
    if PurePath(name).name != name or "\\" in name or name in ("", DOCUMENT):
        raise SurveyError(f"table {quoted(name)}: a table is a file in the survey's own folder.")
    return name


def _style(given: Any) -> Style:
    try:
        return parse_style(text_of(given, "units.show"))
    except UnitsError as error:
        raise SurveyError(f"units.show: {error}") from None


_SECTIONS = (
    "flatcheck",
    "survey",
    "units",
    "instrument",
    "room",
    "zone",
    "intent",
    "drain",
    "hold",
    "bed",
    "keep",
    "correction",
    "slab",
    "section",
    "joint",
    "sample",
    "tile",
    "pattern",
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


def _ring(given: Any, name: str, unit: str) -> Ring:
    if not isinstance(given, list) or not all(
        isinstance(corner, list) and len(corner) == 2 for corner in given
    ):
        raise SurveyError(f"{name}: an outline is a list of corners, each two offsets.")
    if len(given) > MOST_CORNERS:
        raise SurveyError(f"{name}: an outline has at most {MOST_CORNERS} corners.")
    corners = given
    if len(given) > 3 and given[0] == given[-1]:
        corners = given[:-1]  # closed by hand: the first corner said again
    return Ring(
        name,
        tuple(
            (
                length_of(x, f"{name}, corner {number}", unit),
                length_of(y, f"{name}, corner {number}", unit),
            )
            for number, (x, y) in enumerate(corners, 1)
        ),
    )


def _room(head: Mapping[str, Any], unit: str, wall: bool) -> Room | None:
    if "room" not in head:
        return None
    section = section_of(head, "room", ("outline", "walls", "cutout"))
    cutouts = []
    for number, item in enumerate(sections_of(section, "cutout", MOST_SECTIONS), 1):
        only(item, "room.cutout", ("name", "outline"))
        name = text_of(item.get("name", f"cutout {number}"), "room.cutout.name")
        cutouts.append(_ring(item.get("outline"), name, unit))
    outline = _ring(section.get("outline"), "room", unit)
    if sum(len(ring.corners_mm) for ring in (outline, *cutouts)) > MOST_CORNERS:
        raise SurveyError(
            f"room: its outline and cutouts have at most {MOST_CORNERS} corners altogether."
        )
    walls = names_of(section.get("walls", []), "room.walls")
    return Room(outline, tuple(cutouts), walls, upright=wall)


def _zones(head: Mapping[str, Any], unit: str) -> tuple[Zone, ...]:
    zones: list[Zone] = []
    for number, item in enumerate(sections_of(head, "zone", MOST_SECTIONS), 1):
        only(item, "zone", ("name", "outline", "intent"))
        name = text_of(item.get("name", f"zone {number}"), "zone.name")
        if any(name == zone.outline.name for zone in zones):
            raise SurveyError(f"zone: two zones are called {name!r}.")
        ring = _ring(item.get("outline"), name, unit)
        zones.append(Zone(ring, _intent(item.get("intent", {}), f"{name}.intent")))
    return tuple(zones)


def _intent(section: Any, name: str) -> Intent:
    if not isinstance(section, Mapping):
        raise SurveyError(f"{name} was expected to be a section.")
    only(section, name, ("kind", "fall", "toward", "drain"))
    kind = text_of(section.get("kind", "best fit"), f"{name}.kind")
    fall, toward = section.get("fall", 0), section.get("toward", 0)
    if kind == "fall" and not ("fall" in section and "toward" in section):
        raise SurveyError(f'{name}: kind "fall" needs fall and toward.')
    ratio = slope_of(fall, f"{name}.fall", "ratio")
    if isinstance(toward, bool) or not isinstance(toward, str | int | float):
        raise SurveyError(f"{name}.toward = {quoted(toward)} was expected as a side or in degrees.")
    try:
        bearing = parse_bearing(str(toward))
    except UnitsError as error:
        raise SurveyError(f"{name}.toward: {error}") from None
    return Intent(kind, ratio, bearing, text_of(section.get("drain", ""), f"{name}.drain"))


def _falls(given: Any) -> tuple[str, ...]:
    """The standards for falls: one name, or a list of names."""
    return names_of([given] if isinstance(given, str) else given, "standard.falls")


def _drains(head: Mapping[str, Any], unit: str, offset_unit: str) -> tuple[Drain, ...]:
    """Drains, each by its outline or by its middle and size."""
    drains: list[Drain] = []
    for number, item in enumerate(sections_of(head, "drain", MOST_SECTIONS), 1):
        only(item, "drain", ("name", "outline", "center", "size", "rim"))
        name = text_of(
            item.get("name", "drain" if number == 1 else f"drain {number}"), "drain.name"
        )
        if any(name == drain.outline.name for drain in drains):
            raise SurveyError(f"drain: two drains are called {name!r}.")
        if ("outline" in item) == ("center" in item):
            raise SurveyError(f"{name}: give the drain's outline, or its center and size.")
        if "outline" in item:
            ring = _ring(item["outline"], name, offset_unit)
        else:
            x, y = _pair(item["center"], f"{name}.center", offset_unit)
            east, north = _pair(item.get("size"), f"{name}.size", unit)
            if not min(east, north) > 0:
                raise SurveyError(f"{name}.size: a drain is larger than zero both ways.")
            ring = rectangle(x - east / 2, y - north / 2, x + east / 2, y + north / 2, name)
        rim = length_of(item["rim"], f"{name}.rim", unit) if "rim" in item else None
        drains.append(Drain(ring, rim))
    return tuple(drains)


def _holds(head: Mapping[str, Any], unit: str) -> tuple[Hold, ...]:
    found = []
    for number, item in enumerate(sections_of(head, "hold", MOST_SECTIONS), 1):
        only(item, "hold", ("name", "at", "rise"))
        name = text_of(item.get("name", f"fixed height {number}"), "hold.name")
        rise = length_of(item.get("rise", 0), f"{name}.rise", unit)
        if rise < 0:
            raise SurveyError(f"{name}.rise: what may be added must not be below zero.")
        found.append(Hold(name, _pair(item.get("at"), f"{name}.at", unit), rise))
    return tuple(found)


def _keeps(head: Mapping[str, Any], unit: str) -> tuple[Keep, ...]:
    """Parts of the floor that may not be ground or filled; neither, where nothing is said."""
    found = []
    for number, item in enumerate(sections_of(head, "keep", MOST_SECTIONS), 1):
        only(item, "keep", ("name", "outline", "grind", "fill"))
        name = text_of(item.get("name", f"part to keep {number}"), "keep.name")
        allowed = [item.get(key, False) for key in ("grind", "fill")]
        if not all(isinstance(one, bool) for one in allowed):
            raise SurveyError(f"{name}: grind and fill were expected to be true or false.")
        found.append(Keep(_ring(item.get("outline"), name, unit), allowed[0], allowed[1]))
    return tuple(found)


def _slab(head: Mapping[str, Any], unit: str) -> Slab:
    """Sections and joints of a slab, and the numbers specified for it."""
    about = section_of(head, "slab", ("specified", "local"))
    share = about.get("local", LOCAL)
    if isinstance(share, bool) or not isinstance(share, int | float):
        raise SurveyError(f"slab.local = {quoted(share)} was expected to be a number such as 0.6.")
    sections, joints = [], []
    for number, item in enumerate(sections_of(head, "section", MOST_SECTIONS), 1):
        only(item, "section", ("name", "outline"))
        name = text_of(item.get("name", f"section {number}"), "section.name")
        sections.append(_ring(item.get("outline"), name, unit))
    for number, item in enumerate(sections_of(head, "joint", MOST_SECTIONS), 1):
        only(item, "joint", ("name", "from", "to"))
        name = text_of(item.get("name", f"joint {number}"), "joint.name")
        ends = [_pair(item.get(key), f"{name}.{key}", unit) for key in ("from", "to")]
        joints.append(Joint(name, ends[0], ends[1]))
    asked = about.get("specified")
    return Slab(
        tuple(sections),
        tuple(joints),
        None if asked is None else specified_of(text_of(asked, "slab.specified")),
        float(share),
    )


def _sample(head: Mapping[str, Any]) -> Sample | None:
    """The sampling plan that was drawn, None where none was."""
    if "sample" not in head:
        return None
    about = section_of(head, "sample", ("standard", "seed", "count"))
    if "standard" not in about or "seed" not in about:
        raise SurveyError("sample: standard and seed are both needed, as the plan gave them.")
    for key, least in (("seed", 0), ("count", 1)):
        given = about.get(key)
        if given is not None and (type(given) is not int or given < least):
            raise SurveyError(f"sample.{key} = {quoted(given)} was expected as a whole number.")
    return Sample(text_of(about["standard"], "sample.standard"), about["seed"], about.get("count"))


def _bed(head: Mapping[str, Any], unit: str) -> Bed:
    section = section_of(head, "bed", ("least", "most", "cover"))
    usual = Bed()
    least = length_of(section.get("least", f"{usual.least_mm} mm"), "bed.least", unit)
    most = length_of(section.get("most", f"{max(usual.most_mm, least)} mm"), "bed.most", unit)
    return Bed(least, most, length_of(section.get("cover", 0), "bed.cover", unit))


def _pair(given: Any, name: str, unit: str, said: str = "east and north") -> tuple[float, float]:
    if not isinstance(given, list) or len(given) != 2:
        raise SurveyError(f"{name} = {quoted(given)} was expected to be two lengths, {said}.")
    return length_of(given[0], name, unit), length_of(given[1], name, unit)


def _tile(head: Mapping[str, Any], unit: str) -> Tile | None:
    if "tile" not in head:
        return None
    section = section_of(
        head,
        "tile",
        ("length", "width", "joint", "edges", "warpage", "bed", "cap", "spacers", "box"),
    )
    if "length" not in section or "width" not in section:
        raise SurveyError("tile: length and width are both needed.")
    bed = _pair(section["bed"], "tile.bed", unit, "least and most") if "bed" in section else None
    return Tile(
        length_of(section["length"], "tile.length", unit),
        length_of(section["width"], "tile.width", unit),
        length_of(section.get("joint", 0), "tile.joint", unit),
        text_of(section.get("edges", ""), "tile.edges"),
        _bow(section, unit),
        bed,
        _ending(section, "cap", unit),
        _ending(section, "spacers", unit),
        _whole(section.get("box", 0), "tile.box"),
    )


def _ending(section: Mapping[str, Any], key: str, unit: str) -> float:
    """A length of the tile that has no end where it is not said."""
    return length_of(section[key], f"tile.{key}", unit) if key in section else math.inf


def _bow(section: Mapping[str, Any], unit: str) -> Bow | None:
    """How the tile is warped: two heights, and whether its middle is high or low."""
    if "warpage" not in section:
        return None
    keys = ("edge", "diagonal", "bow", "measured", "uncertainty")
    given = section_of(section, "warpage", keys)
    edge, diagonal, u_mm = (
        length_of(given.get(key, 0), f"tile.warpage.{key}", unit)
        for key in ("edge", "diagonal", "uncertainty")
    )
    if min(edge, diagonal) < 0:
        raise SurveyError("tile.warpage: edge and diagonal were expected to be no less than zero.")
    bow = given.get("bow")
    if not isinstance(bow, str) or bow not in BOWS:
        raise SurveyError(f"tile.warpage.bow = {quoted(bow)} is not one of {', '.join(BOWS)}.")
    measured = given.get("measured", False)
    if not isinstance(measured, bool):
        raise SurveyError("tile.warpage.measured was expected to be true or false.")
    return Bow(BOWS[bow] * edge, BOWS[bow] * diagonal, measured, u_mm)


def _pattern(head: Mapping[str, Any], unit: str, offset_unit: str) -> Pattern | None:
    """How the tile is to lie, where anything was said of it."""
    if "pattern" not in head:
        return None
    keys = ("kind", "offset", "rotation", "origin", "second", "lengths", "end", "seed")
    section = section_of(head, "pattern", keys)
    lengths = section.get("lengths", [])
    if not isinstance(lengths, list) or len(lengths) > MOST_SECTIONS:
        raise SurveyError(f"pattern.lengths was expected to be a list of up to {MOST_SECTIONS}.")
    turn = section.get("rotation", 0)
    if isinstance(turn, bool) or not isinstance(turn, int | float):
        raise SurveyError(f"pattern.rotation = {quoted(turn)} was expected to be degrees.")
    at = _pair(section.get("origin", [0, 0]), "pattern.origin", offset_unit)
    second = section.get("second")
    return Pattern(
        kind=text_of(section.get("kind", "aligned"), "pattern.kind"),
        offset_ratio=share_of(section.get("offset", 0), "pattern.offset"),
        rotation_deg=float(turn),
        origin=at,
        second_mm=None if second is None else _pair(second, "pattern.second", unit, _EDGES_SAID),
        lengths_mm=tuple(length_of(item, "pattern.lengths", unit) for item in lengths),
        end_mm=length_of(section["end"], "pattern.end", unit) if "end" in section else None,
        seed=_whole(section.get("seed", 0), "pattern.seed"),
    )


_EDGES_SAID = "length and width"


def share_of(given: Any, name: str) -> float:
    """A share of a whole: a number, or a fraction or percentage in quotes.

    Raises SurveyError naming `name`.
    """
    said = SurveyError(f'{name} = {quoted(given)} was expected to be a share such as "1/3".')
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise said
    match = _SHARE.fullmatch(str(given).strip())
    if match is None or (match[2] and not float(match[2])):
        raise said
    return float(match[1]) / float(match[2] or 1) / (100 if match[3] else 1)


_SHARE = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,20})?)(?: ?/ ?([0-9]{1,9}))?( ?%)?")


def _whole(given: Any, name: str) -> int:
    if type(given) is not int or not 0 <= given < 2**31:
        raise SurveyError(f"{name} = {quoted(given)} was expected to be a whole number.")
    return given


def _tables(
    head: Mapping[str, Any],
    unit: str,
    offset_unit: str,
    instrument: Mapping[str, Any],
    cells: Mapping[str, Cells],
) -> tuple[Table, ...]:
    tables: list[Table] = []
    for name, item in _table_items(head).items():
        if name not in cells:
            raise SurveyError(f"table {name!r} is named in survey.toml but was not found.")
        sense = item.get("sense", "")
        if sense not in ("", *SENSES):
            raise SurveyError(no_sense(name, sense))
        table_unit = unit_of(item.get("readings", unit), f"table {name}: readings")
        stated, sight = table_uncertainty(item, table_unit, instrument, unit)
        tables.append(
            Table(
                name=name,
                kind=text_of(item.get("kind", ""), f"table {name}: kind"),
                sense=str(sense),
                setup=name_of(item.get("setup", name), f"table {name}: setup"),
                unit=table_unit,
                offset_unit=unit_of(item.get("offsets", offset_unit), f"table {name}: offsets"),
                u_mm=standard_uncertainty(stated, sight),
                cells=cells[name],
                setups=names_of(instrument.get("setups", []), "instrument.setups"),
                own_u="uncertainty" in item or "reads_to" in item,
                options=tuple((k, v) for k, v in item.items() if k not in TABLE_KEYS),
                stated=stated,
                sight_mm=sight,
            )
        )
    return tuple(tables)
