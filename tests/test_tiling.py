"""What is said of a tile to be laid: counts, what to buy, slivers and where, the drawing."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatcheck.bond import Pattern
from flatcheck.errors import SurveyError
from flatcheck.intent import Intent
from flatcheck.pattern import lay, slivers
from flatcheck.readers.folder import edited, read_folder
from flatcheck.report.tiling import drawing, pattern_words, sliver_words, tiling_html, tiling_words
from flatcheck.room import Ring, Room, rectangle
from flatcheck.tile import Tile
from flatcheck.tiling import SPARE, laid, lots, planes_of
from flatcheck.units import Style

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
MM = Style("mm")
ROOM = Room(rectangle(0, 0, 1240, 900), (), ("porch", "yard", "back", "street"))


def survey(room=ROOM, tile=None, pattern=None):
    """A survey without zones and drains, of this room and tile."""
    plain = read_folder(SAMPLES / "quillet-lane-steps")
    return replace(
        plain, room=room, tile=tile or Tile(300, 300), pattern=pattern, show=MM, intent=Intent()
    )


def test_counts_and_what_to_buy():
    """Twelve whole tiles and three cuts of 40 mm: fifteen tiles, 5% more, in whole boxes."""
    said = tiling_words(survey(tile=Tile(300, 300, per_box=6)), ROOM)
    assert said[0] == "300 x 300 mm tile, aligned"
    assert said[1] == "  12 full tiles, 3 cut tiles."
    assert said[2] == "  To buy: 16 tiles (3 whole boxes of 6)."
    assert np.ceil(15 * (1 + SPARE)) == 16


def test_slivers_are_named_with_their_place():
    """Three slivers of 40 mm by one wall, and an origin from which there are none."""
    said = tiling_words(survey(), ROOM)
    assert "  3 cuts narrower than a third of the tile:" in said
    row = next(words for words in said if "nearest the yard wall" in words)
    assert "  3 nearest the yard wall, the narrowest 40 mm (13%), 20 mm from the yard wall" in row
    assert "no sliver" in said[-1]
    east, north = re.findall(r'"(-?[\d.]+) mm"', said[-1])
    there = lay(ROOM, Tile(300, 300), Pattern(origin=(float(east), float(north))))
    assert len(slivers(there)) == 0


def test_no_slivers():
    """Where no cut is narrow that is said, and no other origin is offered."""
    said = tiling_words(survey(pattern=Pattern(origin=(170, 0))), ROOM)
    assert said[-1] == "  No cut is narrower than a third of its tile."


def test_without_a_tile_nothing_is_laid():
    """A survey that measured tiles and names none is refused."""
    with pytest.raises(SurveyError, match="tiles were measured, and none is named"):
        tiling_words(replace(survey(), tile=None), ROOM)


def test_lots_by_size():
    """A pattern of two sizes is bought size by size, and cuts of a tile count once."""
    pattern = Pattern("modular", second_mm=(150, 150))
    laying = laid(survey(pattern=pattern), ROOM)
    large, small = lots(laying, 0.0)
    assert (large.size_mm, small.size_mm) == ((300, 300), (150, 150))
    assert large.full + small.full == laying.full
    assert large.cut + small.cut == laying.cuts
    assert [lot.buy for lot in (large, small)] == [lot.full + lot.cut for lot in (large, small)]


def test_planes_of_a_survey_that_falls():
    """Tiles are cut along the planes of the samples that fall, and of those only."""
    falling = read_folder(SAMPLES / "cressbrook-pan")
    assert len(planes_of(falling, falling.room)) == 1
    assert laid(falling, falling.room).cuts > 0
    assert planes_of(survey(), ROOM) == ()


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        (Pattern("running bond", 1 / 3), "running bond at a third"),
        (Pattern("running bond", 0.4), "running bond at 40%"),
        (Pattern("diagonal", rotation_deg=5), "diagonal, turned by 5 degrees"),
        (Pattern("modular", second_mm=(150, 100)), "modular with 100 x 150 mm"),
        (Pattern(origin=(1200, 50)), "aligned, from 1.20 m east and 50 mm north"),
    ],
)
def test_patterns_in_words(pattern, said):
    """Each pattern is said in a few words."""
    assert pattern_words(pattern, MM) == said


def test_an_assumed_room_has_no_walls_to_name():
    """Where the outline was drawn around the readings, places are told from the zero corner."""
    room = replace(ROOM, walls=(), assumed=True)
    words = sliver_words(lay(room, Tile(300, 300), Pattern()), room, MM)
    assert "wall" not in " ".join(words)
    assert "east" in words[1]


def test_the_drawing_has_every_piece():
    """One polygon for each piece, in one of three grays, and words for who cannot see it."""
    room = Room(
        Ring("ell", ((0, 0), (0, 3000), (2100, 3000), (2100, 1500), (3600, 1500), (3600, 0))),
        (rectangle(500, 500, 800, 900, "column"),),
    )
    own = survey(room, Tile(400, 250, 4), Pattern("herringbone", rotation_deg=45))
    laying = laid(own, room)
    root = ET.fromstring(drawing(laying, own, room))
    groups = {g.get("fill"): g.findall("polygon") for g in root.findall("g")}
    narrow = len(slivers(laying))
    cut = int(np.count_nonzero(laying.cut))
    assert {fill: len(found) for fill, found in groups.items()} == {
        "#fff": laying.full,
        "#ddd": cut - narrow,
        "#777": narrow,
    }
    assert root.get("aria-label") == (
        f"{laying.full} full and {laying.cuts} cut tiles, {narrow} slivers"
    )


def test_the_page_asks_no_network():
    """The page holds the drawing and every sentence, and no address."""
    page = tiling_html(survey(), ROOM)
    assert "://" not in page
    assert "12 full tiles, 3 cut tiles." in page
    assert "<svg" in page


def test_editing_the_tile_keeps_its_pattern():
    """A survey whose tile is edited elsewhere keeps what it says of the pattern."""
    plain = read_folder(SAMPLES / "quillet-lane-steps")
    said = {"kind": "running bond", "offset": "1/3"}
    own = edited(plain, {"pattern": said})
    assert own.pattern == Pattern("running bond", 1 / 3)
    assert edited(own, {"tile": {"length": "48 in"}}).pattern == own.pattern
