"""The tile and its pattern: what the document says of them, and what is refused."""

import math

import numpy as np
import pytest

from flatcheck.bond import KINDS, MOST_TILES, Pattern, boxes_of
from flatcheck.document import build
from flatcheck.errors import SurveyError
from flatcheck.tile import BOWS, EDGES, Bow, Tile, longest_edge

CELLS = {"a.csv": (("", "0", "500"), ("0", "10", "11"), ("500", "12", "13"))}

HEAD = """flatcheck = 1
[units]
readings = "in"
offsets = "ft"
[instrument]
uncertainty = "1/64"
[[table]]
file = "a.csv"
kind = "grid"
sense = "elevation"
[tile]
"""


SIZE = {"length": '"24 in"', "width": '"12 in"'}


def survey(section: dict[str, str], pattern: dict[str, str] | None):
    """A survey whose [tile] and [pattern] hold these lines, each as TOML."""
    said = HEAD + "".join(f"{k} = {v}\n" for k, v in section.items())
    if pattern is not None:
        said += "[pattern]\n" + "".join(f"{k} = {v}\n" for k, v in pattern.items())
    return build(said, CELLS)


def tile(**keys: str):
    return survey(SIZE | keys, None)


def pattern(**keys: str):
    return survey(SIZE, keys).pattern


def test_everything_that_is_said_of_a_tile():
    """Edges, warpage, bed and box are read; bare numbers are in the unit of readings."""
    found = tile(
        joint='"3/16"',
        edges='"calibrated"',
        warpage='{ edge = "1/32", diagonal = 0.0625, bow = "hollow", measured = true, '
        'uncertainty = "0.1 mm" }',
        bed='["3/32", 0.5]',
        cap='"1/4"',
        spacers="0.5",
        box="8",
    )
    inch = 25.4
    sizes = (found.tile.length_mm, found.tile.width_mm, found.tile.joint_mm)
    assert sizes == pytest.approx((24 * inch, 12 * inch, 3 / 16 * inch))
    assert found.tile.edges == "calibrated"
    bow = found.tile.bow
    assert (bow.edge_mm, bow.diagonal_mm) == pytest.approx((-inch / 32, -inch / 16))
    assert bow.measured
    assert (bow.u_mm, bow.most_mm) == pytest.approx((0.1, inch / 16))
    assert (found.tile.cap_mm, found.tile.spacer_mm) == pytest.approx((inch / 4, inch / 2))
    assert found.tile.bed_mm == pytest.approx((3 / 32 * inch, inch / 2))
    assert found.tile.per_box == 8
    assert found.pattern is None
    assert longest_edge(found.tile) == found.tile.length_mm


def test_a_tile_of_which_little_is_said():
    """Without more than its size nothing is assumed: no edges, no bow, no bed, no pattern."""
    found = tile()
    assert found.tile == Tile(found.tile.length_mm, found.tile.width_mm)
    assert (found.tile.edges, found.tile.bow, found.tile.bed_mm) == ("", None, None)


@pytest.mark.parametrize("edges", EDGES)
def test_every_class_of_edges(edges):
    """Each class of edges may be said."""
    assert tile(edges=f'"{edges}"').tile.edges == edges


@pytest.mark.parametrize(("word", "sign"), BOWS.items())
def test_bow_has_its_sign(word, sign):
    """A crown is positive, a hollow negative; what is not called measured is assumed."""
    bow = tile(warpage=f'{{ edge = "1 mm", bow = "{word}" }}').tile.bow
    assert bow == Bow(sign * 1.0, sign * 0.0)
    assert not bow.measured


def test_everything_that_is_said_of_a_pattern():
    """Offset as a fraction, the turn in degrees, the origin in the unit of offsets."""
    found = pattern(kind='"running bond"', offset='"1/3"', rotation="22.5", origin="[1, 2]")
    assert found == Pattern("running bond", 1 / 3, 22.5, (304.8, 609.6))
    planks = pattern(kind='"plank"', lengths="[24, 36]", end='"150 mm"', seed="7")
    assert planks == Pattern("plank", lengths_mm=(609.6, 914.4), end_mm=150.0, seed=7)
    modular = pattern(kind='"modular"', second="[12, 6]")
    assert modular == Pattern("modular", second_mm=(304.8, 152.4))


@pytest.mark.parametrize(
    ("said", "share"),
    [
        ('"1/3"', 1 / 3),
        ("0.5", 0.5),
        ('"33 %"', 0.33),
        ('"50%"', 0.5),
        ("0", 0.0),
        ('"0.25"', 0.25),
    ],
)
def test_offsets_as_people_write_them(said, share):
    """A fraction, a number or a percentage."""
    assert pattern(kind='"running bond"', offset=said).offset_ratio == pytest.approx(share)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"edges": '"broken"'}, "edges 'broken' are not one of"),
        ({"edges": "3"}, "tile.edges = 3"),
        ({"warpage": '"1/32 in"'}, "[warpage] was expected to be a section"),
        (
            {"warpage": '{ edge = "1/32" }'},
            "tile.warpage.bow = nothing is not one of crown, hollow",
        ),
        ({"warpage": '{ edge = "1/32", bow = ["crown"] }'}, "tile.warpage.bow"),
        ({"warpage": '{ edge = "-1/32", bow = "crown" }'}, "no less than zero"),
        ({"warpage": '{ edge = 1, bow = "crown", measured = 1 }'}, "true or false"),
        ({"warpage": '{ edge = 1, bow = "crown", twist = 1 }'}, "'twist' is not known here"),
        ({"bed": '["1/2", "1/4"]'}, "least must be no more than its most"),
        ({"bed": '["-1", "1/4"]'}, "nor below zero"),
        ({"bed": '"1/2"'}, "least and most"),
        ({"box": "-1"}, "whole number"),
        ({"box": "2.5"}, "whole number"),
        ({"joint": "nan"}, "tile.joint"),
        ({"cap": "-1"}, "must not be below zero"),
        ({"spacers": '"many"'}, "tile.spacers"),
        ({"pattern": '"aligned"'}, "'pattern' is not known here"),
        ({"tint": '"gray"'}, "'tint' is not known here"),
    ],
)
def test_what_no_tile_can_be_is_named(keys, said):
    """Every key of a tile that holds something else than was expected is refused in a sentence."""
    with pytest.raises(SurveyError) as caught:
        tile(**keys)
    assert said in str(caught.value)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"kind": '"basket"'}, "pattern: kind 'basket' is not one of"),
        ({"kind": '"running bond"', "offset": "1.5"}, "between 0 and 1"),
        ({"kind": '"running bond"', "offset": '"4/3"'}, "between 0 and 1"),
        ({"kind": '"running bond"', "offset": '"1/0"'}, "a share such as"),
        ({"kind": '"running bond"', "offset": '"-1/3"'}, "a share such as"),
        ({"kind": '"running bond"', "offset": "nan"}, "a share such as"),
        ({"kind": '"running bond"', "offset": "true"}, "a share such as"),
        ({"kind": '"running bond"', "offset": '"third"'}, "a share such as"),
        ({"offset": '"1/3"'}, "an offset goes with"),
        ({"rotation": '"north"'}, "expected to be degrees"),
        ({"rotation": "nan"}, "between -360 and 360"),
        ({"rotation": "inf"}, "between -360 and 360"),
        ({"rotation": "1e9"}, "between -360 and 360"),
        ({"origin": "[1]"}, "two lengths, east and north"),
        ({"origin": '["20 km", 0]'}, "pattern.origin"),
        ({"second": "[12, 12]"}, "a second size belongs to"),
        ({"kind": '"modular"'}, "which needs one"),
        ({"kind": '"modular"', "second": "[0, 12]"}, "larger than zero"),
        ({"lengths": "[24]"}, "lengths and ends belong to"),
        ({"kind": '"plank"', "lengths": "[0]"}, "larger than zero"),
        ({"kind": '"plank"', "lengths": "24"}, "a list of up to"),
        ({"kind": '"plank"', "end": "-1"}, "must not be below zero"),
        ({"seed": '"a"'}, "whole number"),
        ({"tint": '"gray"'}, "'tint' is not known here"),
    ],
)
def test_what_no_pattern_can_be_is_named(keys, said):
    """So is every key of a pattern."""
    with pytest.raises(SurveyError) as caught:
        pattern(**keys)
    assert said in str(caught.value)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_sizes_that_are_none(bad):
    """A tile, a second tile or a plank of no, negative or endless size is refused."""
    for make in (
        lambda: Tile(bad, 300),
        lambda: Tile(300, bad),
        lambda: Pattern("modular", second_mm=(bad, 300)),
        lambda: Pattern("plank", lengths_mm=(300, bad)),
    ):
        with pytest.raises(SurveyError):
            make()


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_other_numbers_that_are_none(bad):
    """So are joints, beds, bows, offsets, origins and ends."""
    for make in (
        lambda: Tile(300, 300, bad),
        lambda: Tile(300, 300, bed_mm=(bad, 10)),
        lambda: Pattern("running bond", bad),
        lambda: Pattern(origin=(bad * 1e8, 0)),
        lambda: Pattern(rotation_deg=bad * 1000),
        lambda: Pattern("plank", end_mm=bad),
    ):
        with pytest.raises(SurveyError):
            make()
    if not math.isfinite(bad):
        with pytest.raises(SurveyError):
            Bow(bad, 0)


@pytest.mark.parametrize("kind", KINDS)
def test_too_many_tiles(kind):
    """A tile too small for its floor is refused at once, in whatever pattern."""
    second = (0.01, 0.01) if kind == "modular" else None
    with pytest.raises(SurveyError, match=f"{MOST_TILES:,}"):
        boxes_of(
            Tile(0.01, 0.01),
            Pattern(kind, second_mm=second),
            (np.zeros(2), np.array([4000.0, 3000.0])),
        )
