"""The survey document: from the text of a `survey.toml` and its tables' cells to a `Survey`.

Everything is checked here, once, at the door; a message names the key and what was expected.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import PurePath
from typing import Any

from flatcheck.compass import parse_bearing
from flatcheck.drain import Bed
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
from flatcheck.language import say
from flatcheck.room import Room
from flatcheck.rules import ON
from flatcheck.sections import (
    MOST_CORNERS,
    MOST_SECTIONS,
    drain_called,
    drains_of,
    holds_of,
    pattern_of,
    ring_of,
    sample_of,
    slab_of,
    tile_of,
)
from flatcheck.survey import DECISIONS, SENSES, Cells, Survey, Table, Zone, no_sense
from flatcheck.terms import Keep, terms_of
from flatcheck.uncertainty import table_uncertainty, uncertainty_of
from flatcheck.units import Style, parse_style

DOCUMENT = "survey.toml"

FORMAT = 1
"""Version of the survey document that this code reads and writes."""

MOST_TABLES = 1000
"""More tables than this are no survey by hand."""


def build(document: str, cells: Mapping[str, Cells]) -> Survey:
    """The survey written in the text of a `survey.toml` and the cells of the tables it names.

    Raises SurveyError (or its siblings) with one sentence that names what cannot be used.
    """
    head = parsed(document)
    only(head, "survey.toml", _SECTIONS)
    version = head.get("flatcheck")
    if type(version) is not int or version != FORMAT:
        raise SurveyError(
            say(
                "survey.toml: flatcheck = {given} was expected to be {version}, the version of "
                "the survey format.",
                given=quoted(version),
                version=FORMAT,
            )
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
        raise SurveyError(
            say("survey.date {given} was expected as a date such as 2026-05-04.", given=quoted(day))
        )
    decision = standard.get("decision", DECISIONS[0])
    if decision not in DECISIONS:
        raise SurveyError(
            say(
                "standard.decision {given} is not one of {known}.",
                given=quoted(decision),
                known=", ".join(DECISIONS),
            )
        )
    uncertainty_of(instrument, unit, "instrument.")
    room, zones, intent = (
        _room(head, offset_unit, wall),
        _zones(head, offset_unit),
        _intent(head, head.get("intent", {}), "intent"),
    )
    _check_wall(wall, head, (intent, *(zone.intent for zone in zones)))
    return Survey(
        document=document,
        tables=_tables(head, unit, offset_unit, instrument, cells),
        title=text_of(about.get("title", say("survey")), "survey.title"),
        place=text_of(about.get("place", ""), "survey.place"),
        day=day,
        by=text_of(about.get("by", ""), "survey.by"),
        surface=text_of(about.get("surface", ""), "survey.surface"),
        notes=text_of(about.get("notes", ""), "survey.notes"),
        instrument=text_of(instrument.get("name", ""), "instrument.name"),
        room=room,
        zones=zones,
        intent=intent,
        tile=tile_of(head, unit),
        pattern=pattern_of(head, unit, offset_unit),
        standard=text_of(standard.get("rule", "us-tile"), "standard.rule"),
        decision=decision,
        show=_style(units.get("show", "in/16" if unit in ("in", "ft") else "mm/0.1")),
        falls=_falls(standard.get("falls", [])),
        lippage=text_of(standard.get("lippage", ""), "standard.lippage"),
        drains=drains_of(head, unit, offset_unit),
        holds=holds_of(head, offset_unit),
        bed=_bed(head, unit),
        terms=terms_of(head, unit, _keeps(head, offset_unit)),
        slab=slab_of(head, offset_unit),
        sample=sample_of(head),
    )


def _is_wall(given: Any) -> bool:
    if given not in ON[:2]:
        raise SurveyError(
            say('survey.about = {given} was expected to be "floor" or "wall".', given=quoted(given))
        )
    return bool(given == "wall")


def _check_wall(wall: bool, head: Mapping[str, Any], intents: Sequence[Intent]) -> None:
    """What only a floor has, and what only a wall has."""
    if not wall:
        if any(intent.kind == "plumb" for intent in intents):
            raise SurveyError(
                say('intent: kind "plumb" is for a wall; say about = "wall" in [survey], or level.')
            )
        return
    if "room" not in head:
        raise SurveyError(
            say(
                "a survey of a wall needs its outline in [room], seen from the room: x to the "
                "right, y up."
            )
        )
    if "drain" in head:
        raise SurveyError(say("a survey of a wall has a drain; drains are for floors."))
    for intent in intents:
        if intent.kind not in ON_WALLS:
            raise SurveyError(
                say(
                    "intent: kind {kind!r} is for floors; a wall has one of {known}.",
                    kind=intent.kind,
                    known=", ".join(ON_WALLS),
                )
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
            raise SurveyError(
                say("table {table} is named twice; each table counts once.", table=name)
            )
        found[name] = item
    return found


def _file_name(item: Mapping[str, Any]) -> str:
    name = item.get("file", "")
    if not isinstance(name, str) or not name.isprintable():
        raise SurveyError(
            say(
                "table {given} was expected to be the name of a file, in quotes.",
                given=quoted(name),
            )
        )
    if PurePath(name).name != name or "\\" in name or name in ("", DOCUMENT):
        raise SurveyError(
            say("table {table}: a table is a file in the survey's own folder.", table=quoted(name))
        )
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


def _room(head: Mapping[str, Any], unit: str, wall: bool) -> Room | None:
    if "room" not in head:
        return None
    section = section_of(head, "room", ("outline", "walls", "cutout"))
    cutouts = []
    for number, item in enumerate(sections_of(section, "cutout", MOST_SECTIONS), 1):
        only(item, "room.cutout", ("name", "outline"))
        name = text_of(item.get("name", say("cutout {number}", number=number)), "room.cutout.name")
        cutouts.append(ring_of(item.get("outline"), name, unit))
    outline = ring_of(section.get("outline"), say("room"), unit)
    if sum(len(ring.corners_mm) for ring in (outline, *cutouts)) > MOST_CORNERS:
        raise SurveyError(
            say(
                "room: its outline and cutouts have at most {most} corners altogether.",
                most=MOST_CORNERS,
            )
        )
    walls = names_of(section.get("walls", []), "room.walls")
    return Room(outline, tuple(cutouts), walls, upright=wall)


def _zones(head: Mapping[str, Any], unit: str) -> tuple[Zone, ...]:
    zones: list[Zone] = []
    for number, item in enumerate(sections_of(head, "zone", MOST_SECTIONS), 1):
        only(item, "zone", ("name", "outline", "intent", "apart"))
        name = text_of(item.get("name", say("zone {number}", number=number)), "zone.name")
        if any(name == zone.outline.name for zone in zones):
            raise SurveyError(say("zone: two zones are called {name!r}.", name=name))
        ring = ring_of(item.get("outline"), name, unit)
        apart = item.get("apart", False)
        if not isinstance(apart, bool):
            raise SurveyError(
                say(
                    "{name}.apart = {written} was expected to be true or false.",
                    name=name,
                    written=quoted(apart),
                )
            )
        intent = _intent(head, item.get("intent", {}), f"{name}.intent")
        zones.append(Zone(ring, intent, apart))
    return tuple(zones)


def _intent(head: Mapping[str, Any], section: Any, name: str) -> Intent:
    if not isinstance(section, Mapping):
        raise SurveyError(say("{name} was expected to be a section.", name=name))
    only(section, name, ("kind", "fall", "toward", "drain"))
    kind = text_of(section.get("kind", "best fit"), f"{name}.kind")
    fall, toward = section.get("fall", 0), section.get("toward", 0)
    if kind == "fall" and not ("fall" in section and "toward" in section):
        raise SurveyError(say('{name}: kind "fall" needs fall and toward.', name=name))
    ratio = slope_of(fall, f"{name}.fall", "ratio")
    if isinstance(toward, bool) or not isinstance(toward, str | int | float):
        raise SurveyError(
            say(
                "{name} = {given} was expected as a side or in degrees.",
                name=f"{name}.toward",
                given=quoted(toward),
            )
        )
    try:
        bearing = parse_bearing(str(toward))
    except UnitsError as error:
        raise SurveyError(f"{name}.toward: {error}") from None
    drain = text_of(section.get("drain", ""), f"{name}.drain")
    return Intent(kind, ratio, bearing, drain_called(head, drain))


def _falls(given: Any) -> tuple[str, ...]:
    """The standards for falls: one name, or a list of names."""
    return names_of([given] if isinstance(given, str) else given, "standard.falls")


def _keeps(head: Mapping[str, Any], unit: str) -> tuple[Keep, ...]:
    """Parts of the floor that may not be ground or filled; neither, where nothing is said."""
    found = []
    for number, item in enumerate(sections_of(head, "keep", MOST_SECTIONS), 1):
        only(item, "keep", ("name", "outline", "grind", "fill"))
        name = text_of(item.get("name", say("part to keep {number}", number=number)), "keep.name")
        allowed = [item.get(key, False) for key in ("grind", "fill")]
        if not all(isinstance(one, bool) for one in allowed):
            raise SurveyError(
                say("{name}: grind and fill were expected to be true or false.", name=name)
            )
        found.append(Keep(ring_of(item.get("outline"), name, unit), allowed[0], allowed[1]))
    return tuple(found)


def _bed(head: Mapping[str, Any], unit: str) -> Bed:
    section = section_of(head, "bed", ("least", "most", "cover"))
    usual = Bed()
    least = length_of(section.get("least", f"{usual.least_mm} mm"), "bed.least", unit)
    most = length_of(section.get("most", f"{max(usual.most_mm, least)} mm"), "bed.most", unit)
    return Bed(least, most, length_of(section.get("cover", 0), "bed.cover", unit))


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
            raise SurveyError(
                say("table {table!r} is named in survey.toml but was not found.", table=name)
            )
        sense = item.get("sense", "")
        if sense not in ("", *SENSES):
            raise SurveyError(no_sense(name, sense))
        own = say("table {table}", table=name)
        table_unit = unit_of(item.get("readings", unit), f"{own}: readings")
        stated, sight = table_uncertainty(item, table_unit, instrument, unit)
        tables.append(
            Table(
                name=name,
                kind=text_of(item.get("kind", ""), f"{own}: kind"),
                sense=str(sense),
                setup=name_of(item.get("setup", name), f"{own}: setup"),
                unit=table_unit,
                offset_unit=unit_of(item.get("offsets", offset_unit), f"{own}: offsets"),
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
