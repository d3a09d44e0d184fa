"""The sections of a survey document on the tile, its pattern, the slab and a sample of it."""

import math
import re
from collections.abc import Mapping
from typing import Any

from flatcheck.bond import Pattern
from flatcheck.errors import SurveyError
from flatcheck.fields import length_of, only, quoted, section_of, sections_of, text_of
from flatcheck.room import Ring
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


def slab_of(head: Mapping[str, Any], unit: str) -> Slab:
    """Sections and joints of a slab, and the numbers specified for it."""
    about = section_of(head, "slab", ("specified", "local"))
    share = about.get("local", LOCAL)
    if isinstance(share, bool) or not isinstance(share, int | float):
        raise SurveyError(f"slab.local = {quoted(share)} was expected to be a number such as 0.6.")
    sections, joints = [], []
    for number, item in enumerate(sections_of(head, "section", MOST_SECTIONS), 1):
        only(item, "section", ("name", "outline"))
        name = text_of(item.get("name", f"section {number}"), "section.name")
        sections.append(ring_of(item.get("outline"), name, unit))
    for number, item in enumerate(sections_of(head, "joint", MOST_SECTIONS), 1):
        only(item, "joint", ("name", "from", "to"))
        name = text_of(item.get("name", f"joint {number}"), "joint.name")
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
        raise SurveyError("sample: standard and seed are both needed, as the plan gave them.")
    for key, least in (("seed", 0), ("count", 1)):
        given = about.get(key)
        if given is not None and (type(given) is not int or given < least):
            raise SurveyError(f"sample.{key} = {quoted(given)} was expected as a whole number.")
    return Sample(text_of(about["standard"], "sample.standard"), about["seed"], about.get("count"))


def pair_of(given: Any, name: str, unit: str, said: str = "east and north") -> tuple[float, float]:
    if not isinstance(given, list) or len(given) != 2:
        raise SurveyError(f"{name} = {quoted(given)} was expected to be two lengths, {said}.")
    return length_of(given[0], name, unit), length_of(given[1], name, unit)


def tile_of(head: Mapping[str, Any], unit: str) -> Tile | None:
    if "tile" not in head:
        return None
    section = section_of(
        head,
        "tile",
        ("length", "width", "joint", "edges", "warpage", "bed", "cap", "spacers", "box"),
    )
    if "length" not in section or "width" not in section:
        raise SurveyError("tile: length and width are both needed.")
    bed = pair_of(section["bed"], "tile.bed", unit, "least and most") if "bed" in section else None
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


def pattern_of(head: Mapping[str, Any], unit: str, offset_unit: str) -> Pattern | None:
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
