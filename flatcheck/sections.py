"""The sections of a survey document on the tile, its pattern, the slab and a sample of it."""

import math
import re
from collections.abc import Mapping
from typing import Any

from flatcheck.bond import Pattern
from flatcheck.drain import Drain, Hold
from flatcheck.errors import SurveyError
from flatcheck.fields import length_of, only, quoted, section_of, sections_of, text_of
from flatcheck.language import say
from flatcheck.room import Ring, rectangle
from flatcheck.slab import LOCAL, Joint, Slab, specified_of
from flatcheck.survey import Sample
from flatcheck.tile import BOWS, Bow, Tile

MOST_SECTIONS = 100
"""So are more cutouts, zones or drains; the time to look at each pair of them has this limit."""

MOST_CORNERS = 500
"""And so is an outline of more corners; each side is held against each other."""


def ring_of(given: Any, name: str, unit: str) -> Ring:
    if not isinstance(given, list) or not all(
        isinstance(corner, list) and len(corner) == 2 for corner in given
    ):
        raise SurveyError(
            say("{name}: an outline is a list of corners, each two offsets.", name=name)
        )
    if len(given) > MOST_CORNERS:
        raise SurveyError(
            say(
                "{name}: an outline has at most {most} corners.",
                name=name,
                most=MOST_CORNERS,
            )
        )
    corners = given
    if len(given) > 3 and given[0] == given[-1]:
        corners = given[:-1]  # closed by hand: the first corner said again
    return Ring(
        name,
        tuple(
            (
                length_of(x, say("{name}, corner {number}", name=name, number=number), unit),
                length_of(y, say("{name}, corner {number}", name=name, number=number), unit),
            )
            for number, (x, y) in enumerate(corners, 1)
        ),
    )


def slab_of(head: Mapping[str, Any], unit: str) -> Slab:
    """Sections and joints of a slab, and the numbers specified for it."""
    about = section_of(head, "slab", ("specified", "local"))
    share = about.get("local", LOCAL)
    if isinstance(share, bool) or not isinstance(share, int | float):
        raise SurveyError(
            say(
                "{name} = {given} was expected to be a number such as 0.6.",
                name="slab.local",
                given=quoted(share),
            )
        )
    sections, joints = [], []
    for number, item in enumerate(sections_of(head, "section", MOST_SECTIONS), 1):
        only(item, "section", ("name", "outline"))
        name = text_of(item.get("name", say("section {number}", number=number)), "section.name")
        sections.append(ring_of(item.get("outline"), name, unit))
    for number, item in enumerate(sections_of(head, "joint", MOST_SECTIONS), 1):
        only(item, "joint", ("name", "from", "to"))
        name = text_of(item.get("name", say("joint {number}", number=number)), "joint.name")
        ends = [pair_of(item.get(key), f"{name}.{key}", unit) for key in ("from", "to")]
        joints.append(Joint(name, ends[0], ends[1]))
    asked = about.get("specified")
    return Slab(
        tuple(sections),
        tuple(joints),
        None if asked is None else specified_of(text_of(asked, "slab.specified")),
        float(share),
    )


def sample_of(head: Mapping[str, Any]) -> Sample | None:
    """The sampling plan that was drawn, None where none was."""
    if "sample" not in head:
        return None
    about = section_of(head, "sample", ("standard", "seed", "count"))
    if "standard" not in about or "seed" not in about:
        raise SurveyError(say("sample: standard and seed are both needed, as the plan gave them."))
    for key, least in (("seed", 0), ("count", 1)):
        given = about.get(key)
        if given is not None and (type(given) is not int or given < least):
            raise SurveyError(
                say(
                    "{name} = {given} was expected as a whole number.",
                    name=f"sample.{key}",
                    given=quoted(given),
                )
            )
    return Sample(text_of(about["standard"], "sample.standard"), about["seed"], about.get("count"))


def pair_of(
    given: Any, name: str, unit: str, said: str = say("east and north")
) -> tuple[float, float]:
    if not isinstance(given, list) or len(given) != 2:
        raise SurveyError(
            say(
                "{name} = {given} was expected to be two lengths, {which}.",
                name=name,
                given=quoted(given),
                which=said,
            )
        )
    return length_of(given[0], name, unit), length_of(given[1], name, unit)


def drains_of(head: Mapping[str, Any], unit: str, offset_unit: str) -> tuple[Drain, ...]:
    """Drains, each by its outline or by its middle and size."""
    drains: list[Drain] = []
    for number, item in enumerate(sections_of(head, "drain", MOST_SECTIONS), 1):
        only(item, "drain", ("name", "outline", "center", "size", "rim"))
        name = text_of(item.get("name", _drain_name(number)), "drain.name")
        if any(name == drain.outline.name for drain in drains):
            raise SurveyError(say("drain: two drains are called {name!r}.", name=name))
        if ("outline" in item) == ("center" in item):
            raise SurveyError(
                say("{name}: give the drain's outline, or its center and size.", name=name)
            )
        if "outline" in item:
            ring = ring_of(item["outline"], name, offset_unit)
        else:
            x, y = pair_of(item["center"], f"{name}.center", offset_unit)
            east, north = pair_of(item.get("size"), f"{name}.size", unit)
            if not min(east, north) > 0:
                raise SurveyError(
                    say("{name}.size: a drain is larger than zero both ways.", name=name)
                )
            ring = rectangle(x - east / 2, y - north / 2, x + east / 2, y + north / 2, name)
        rim = length_of(item["rim"], f"{name}.rim", unit) if "rim" in item else None
        drains.append(Drain(ring, rim))
    return tuple(drains)


def _drain_name(number: int) -> str:
    return say("drain") if number == 1 else say("drain {number}", number=number)


def drain_called(head: Mapping[str, Any], written: str) -> str:
    """What the drain that an intent names is called; one without a name is "drain" or "drain 2"."""
    for number, item in enumerate(sections_of(head, "drain", MOST_SECTIONS) if written else [], 1):
        if "name" not in item and written == ("drain" if number == 1 else f"drain {number}"):
            return _drain_name(number)
    return written


def holds_of(head: Mapping[str, Any], unit: str) -> tuple[Hold, ...]:
    """Heights that must not change, such as a door sill."""
    found = []
    for number, item in enumerate(sections_of(head, "hold", MOST_SECTIONS), 1):
        only(item, "hold", ("name", "at", "rise"))
        name = text_of(item.get("name", say("fixed height {number}", number=number)), "hold.name")
        rise = length_of(item.get("rise", 0), f"{name}.rise", unit)
        if rise < 0:
            raise SurveyError(
                say("{name}.rise: what may be added must not be below zero.", name=name)
            )
        found.append(Hold(name, pair_of(item.get("at"), f"{name}.at", unit), rise))
    return tuple(found)


def tile_of(head: Mapping[str, Any], unit: str) -> Tile | None:
    if "tile" not in head:
        return None
    section = section_of(
        head,
        "tile",
        ("length", "width", "joint", "edges", "warpage", "bed", "cap", "spacers", "box"),
    )
    if "length" not in section or "width" not in section:
        raise SurveyError(say("tile: length and width are both needed."))
    bed = (
        pair_of(section["bed"], "tile.bed", unit, say("least and most"))
        if "bed" in section
        else None
    )
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
        raise SurveyError(
            say("tile.warpage: edge and diagonal were expected to be no less than zero.")
        )
    bow = given.get("bow")
    if not isinstance(bow, str) or bow not in BOWS:
        raise SurveyError(
            say(
                "{name} = {given} is not one of {known}.",
                name="tile.warpage.bow",
                given=quoted(bow),
                known=", ".join(BOWS),
            )
        )
    measured = given.get("measured", False)
    if not isinstance(measured, bool):
        raise SurveyError(say("tile.warpage.measured was expected to be true or false."))
    return Bow(BOWS[bow] * edge, BOWS[bow] * diagonal, measured, u_mm)


def pattern_of(head: Mapping[str, Any], unit: str, offset_unit: str) -> Pattern | None:
    """How the tile is to lie, where anything was said of it."""
    if "pattern" not in head:
        return None
    keys = ("kind", "offset", "rotation", "origin", "second", "lengths", "end", "seed")
    section = section_of(head, "pattern", keys)
    lengths = section.get("lengths", [])
    if not isinstance(lengths, list) or len(lengths) > MOST_SECTIONS:
        raise SurveyError(
            say("pattern.lengths was expected to be a list of up to {most}.", most=MOST_SECTIONS)
        )
    turn = section.get("rotation", 0)
    if isinstance(turn, bool) or not isinstance(turn, int | float):
        raise SurveyError(
            say("pattern.rotation = {given} was expected to be degrees.", given=quoted(turn))
        )
    at = pair_of(section.get("origin", [0, 0]), "pattern.origin", offset_unit)
    second = section.get("second")
    return Pattern(
        kind=text_of(section.get("kind", "aligned"), "pattern.kind"),
        offset_ratio=share_of(section.get("offset", 0), "pattern.offset"),
        rotation_deg=float(turn),
        origin=at,
        second_mm=None if second is None else pair_of(second, "pattern.second", unit, _EDGES_SAID),
        lengths_mm=tuple(length_of(item, "pattern.lengths", unit) for item in lengths),
        end_mm=length_of(section["end"], "pattern.end", unit) if "end" in section else None,
        seed=_whole(section.get("seed", 0), "pattern.seed"),
    )


_EDGES_SAID = say("length and width")


def share_of(given: Any, name: str) -> float:
    """A share of a whole: a number, or a fraction or percentage in quotes.

    Raises SurveyError naming `name`.
    """
    said = SurveyError(
        say(
            '{name} = {given} was expected to be a share such as "1/3".',
            name=name,
            given=quoted(given),
        )
    )
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise said
    match = _SHARE.fullmatch(str(given).strip())
    if match is None or (match[2] and not float(match[2])):
        raise said
    return float(match[1]) / float(match[2] or 1) / (100 if match[3] else 1)


_SHARE = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,20})?)(?: ?/ ?([0-9]{1,9}))?( ?%)?")


def _whole(given: Any, name: str) -> int:
    if type(given) is not int or not 0 <= given < 2**31:
        raise SurveyError(
            say(
                "{name} = {given} was expected to be a whole number.",
                name=name,
                given=quoted(given),
            )
        )
    return given
