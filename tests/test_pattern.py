"""Tiles as laid: exact small cases, symmetry, slivers, origins, and rooms and tiles at odds."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from layouts import DRAIN, ELL, PATTERNS, PLAIN, ROOMS

from flatcheck.bond import FARTHEST_MM, KINDS, Pattern
from flatcheck.cutting import areas, cells, cut, outlines
from flatcheck.drain import Drain, falls_to
from flatcheck.errors import SurveyError
from flatcheck.facet import one_fall
from flatcheck.origin import best_origin
from flatcheck.pattern import SAW_MM, lay, narrowest, slivers
from flatcheck.room import Ring, Room, area, rectangle
from flatcheck.tile import Tile


def size(piece):
    return float(areas(np.array(piece)[None])[0])


def total(laying):
    return sum(size(piece) for piece in laying.pieces)


def box(wide, deep, *cutouts):
    return Room(rectangle(0, 0, wide, deep), cutouts)


def key(points):
    """Points as a set that does not mind rounding."""
    return {tuple(np.round(p, 3) + 0.0) for p in np.asarray(points).reshape(-1, 2)}


def of_kind(kind, **more):
    """A pattern of a kind, with what that kind needs."""
    needs = {
        "running bond": {"offset_ratio": 1 / 3},
        "modular": {"second_mm": (100.0, 120.0)},
        "plank": {"lengths_mm": (250.0, 350.0), "end_mm": 60.0},
    }
    return Pattern(kind, **needs.get(kind, {}), **more)


# Small cases, by hand


def test_a_floor_of_whole_tiles():
    """3 x 2 tiles that fill a floor with their joints: none cut, 7 joints, all on middle lines."""
    laying = lay(box(3 * 300 + 2 * 4, 2 * 200 + 4), Tile(300, 200, 4), Pattern())
    assert (laying.full, laying.cuts, len(laying.joints_mm)) == (6, 0, 3 * 1 + 2 * 2)
    upright = laying.joints_mm[np.ptp(laying.joints_mm[..., 0], axis=1) == 0]
    assert key(upright[:, 0]) == {(302, 0), (606, 0), (302, 204), (606, 204)}
    level = laying.joints_mm[np.ptp(laying.joints_mm[..., 1], axis=1) == 0]
    assert key(level[:, 0]) == {(0, 202), (304, 202), (608, 202)}
    assert laying.pieces[0] == ((0, 0), (300, 0), (300, 200), (0, 200))


def test_half_bond_by_hand():
    """Two rows of three at a half: the second begins and ends with half a tile."""
    laying = lay(box(900, 200), Tile(300, 100), Pattern("running bond", 1 / 2))
    widths = [[np.ptp(np.array(p)[:, 0]) for p in laying.pieces[a:b]] for a, b in ((0, 3), (3, 7))]
    assert widths == [[300, 300, 300], [150, 300, 300, 150]]
    assert len(laying.joints_mm) == 2 + 3 + 6
    lengths = np.hypot(*(laying.joints_mm[:, 1] - laying.joints_mm[:, 0]).T)
    assert sorted(lengths) == pytest.approx([100] * 5 + [150] * 6)


def test_offset_of_one_is_aligned():
    """Rows set off by nothing, or by a whole tile, are aligned."""
    room, tile = box(1000, 700), Tile(300, 200, 3)
    plain = lay(room, tile, Pattern())
    for share in (0.0, 1.0):
        again = lay(room, tile, Pattern("running bond", share))
        assert key(again.joints_mm) == key(plain.joints_mm)
        assert total(again) == pytest.approx(total(plain))


def test_a_tile_larger_than_the_room():
    """One piece, the room itself; a column in it is joined to the outline by a slit."""
    room = Room(ELL, (rectangle(500, 500, 800, 900, "column"),))
    laying = lay(room, Tile(9000, 9000, 3), Pattern(origin=(-100, -100)))
    assert (laying.full, laying.cuts, len(laying.joints_mm)) == (0, 1, 0)
    assert total(laying) == pytest.approx(area(room))
    assert len(laying.pieces[0]) == 6 + 4 + 3


def test_a_column_in_a_row_leaves_two_pieces_of_one_tile():
    """A column as deep as the row cuts a tile in two pieces that have one source."""
    laying = lay(box(900, 100, rectangle(400, 0, 500, 100, "column")), Tile(900, 100), Pattern())
    assert len(laying.pieces) == 2
    assert laying.source.tolist() == [0, 0]
    assert (laying.cuts, [size(p) for p in laying.pieces]) == (1, pytest.approx([40_000] * 2))


def test_a_zone_narrows_the_floor():
    """Only the zone of a room is tiled."""
    laying = lay(replace(box(900, 600), zone=rectangle(0, 0, 450, 600)), Tile(300, 300), Pattern())
    assert (laying.full, laying.cuts, total(laying)) == (2, 2, pytest.approx(450 * 600))


def test_what_a_saw_takes_is_no_piece():
    """A strip of half a millimeter beside a tile is joint; one of two millimeters is a piece."""
    assert len(lay(box(300 + SAW_MM / 2, 300), Tile(300, 300), Pattern()).pieces) == 1
    assert len(lay(box(300 + 2 * SAW_MM, 300), Tile(300, 300), Pattern()).pieces) == 2


def test_herringbone_tiles_end_on_each_other():
    """In herringbone half the tiles lie across the others, and each long side ends on a short."""
    laying = lay(box(4000, 4000), Tile(450, 150, 3), Pattern("herringbone"))
    along = laying.corners_mm[:, 1] - laying.corners_mm[:, 0]
    turned = along[:, 0] < 200
    assert abs(np.mean(turned) - 0.5) < 0.05
    of = laying.joint_tiles
    whole = ~laying.cut
    inner = [k for k in np.flatnonzero(whole) if np.count_nonzero(of == k) >= 6]
    assert len(inner) > 50
    for k in inner:
        others = of[(of == k).any(axis=1)]
        across = turned[others[others != k]] != turned[k]
        assert across.sum() >= 2


def test_modular_has_as_many_small_tiles_as_large():
    """Every large tile of a modular pattern has one small tile."""
    laying = lay(box(9000, 9000), Tile(300, 300, 3), Pattern("modular", second_mm=(150, 150)))
    long = np.hypot(*(laying.corners_mm[:, 1] - laying.corners_mm[:, 0]).T)
    whole = ~laying.cut
    small, large = np.count_nonzero(whole & (long < 200)), np.count_nonzero(whole & (long > 200))
    assert small == pytest.approx(large, rel=0.1)
    assert set(np.round(long)) == {150, 300}


# Planks


def ends(laying):
    """For each row of planks, from the south, where one ends and the next begins."""
    middle = laying.joints_mm.mean(axis=1)
    upright = np.ptp(laying.joints_mm[..., 0], axis=1) < 1e-6
    rows = {}
    for x, y in middle[upright]:
        rows.setdefault(round(y), []).append(x)
    return [sorted(rows[y]) for y in sorted(rows)]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("least", [0, 100, 250])
def test_ends_of_planks_stay_apart(seed, least):
    """No two ends in neighboring rows lie nearer than asked for, and all lengths are used."""
    how = Pattern("plank", lengths_mm=(600, 900, 1200), end_mm=least, seed=seed)
    laying = lay(box(8000, 4000), Tile(1200, 200, 3), how)
    rows = ends(laying)
    assert len(rows) == 20
    for one, other in pairwise(rows):
        assert np.abs(np.subtract.outer(one, other)).min() > least - 0.01
    long = np.hypot(*(laying.corners_mm[:, 1] - laying.corners_mm[:, 0]).T)
    assert set(np.round(long)) == {600, 900, 1200}


def test_planks_are_drawn_anew_only_with_another_seed():
    """The same seed gives the same planks, another seed others."""
    room, tile, how = box(5000, 3000), Tile(1200, 200), Pattern("plank", lengths_mm=(700, 1200))
    assert lay(room, tile, how).pieces == lay(room, tile, how).pieces
    assert lay(room, tile, how).pieces != lay(room, tile, replace(how, seed=1)).pieces


def test_planks_of_one_length():
    """Planks of one length are staggered too; half a plank apart is the most."""
    room, tile = box(5000, 3000), Tile(1000, 200)
    rows = ends(lay(room, tile, Pattern("plank", end_mm=400)))
    gaps = [np.abs(np.subtract.outer(a, b)).min() for a, b in pairwise(rows)]
    assert min(gaps) >= 399.99
    with pytest.raises(SurveyError, match="501 mm apart"):
        lay(room, tile, Pattern("plank", end_mm=501))


# Symmetry


@pytest.mark.parametrize("offset", [(300, 150), (-2, -2), (300, -2), (-2, 150)])
def test_a_room_laid_from_its_middle_is_symmetric(offset):
    """With a tile or a joint in the middle an aligned layout is its own mirror image, twice."""
    middle = np.array([1850, 1330])
    # The corner of a tile lies half a tile, or half a joint, off the middle.
    at = tuple((middle - offset).tolist())
    laying = lay(box(*2 * middle), Tile(600, 300, 4), Pattern(origin=at))
    for axis in (0, 1):
        flip = np.ones(2)
        flip[axis] = -1
        for places in (np.concatenate(laying.pieces), laying.joints_mm.mean(axis=1)):
            assert key((places - middle) * flip) == key(places - middle)


def test_a_square_laid_diagonally_from_its_middle():
    """Square tiles at 45 degrees from the middle of a square: turned by 90 degrees it is alike."""
    reach = math.hypot(150, 150)
    how = Pattern("diagonal", origin=(2000, 2000 - reach))
    laying = lay(box(4000, 4000), Tile(300, 300, 0), how)
    places = np.concatenate(laying.pieces) - 2000
    assert key(places) == key(places[:, ::-1] * [-1, 1])
    assert key(places) == key(places * [-1, 1])


def test_patterns_turned_with_the_room_are_alike():
    """Room, origin and pattern turned by a quarter give the same pieces, turned."""
    for tile, how in PATTERNS.values():
        here = lay(Room(ELL), tile, how)
        ring = Ring("ell", tuple((-y, x) for x, y in ELL.corners_mm))
        x, y = how.origin
        turned = replace(how, origin=(-y, x), rotation_deg=how.rotation_deg + 90)
        there = lay(Room(ring), tile, turned)
        if how.kind != "plank":
            assert key(np.concatenate(here.pieces) @ [[0, 1], [-1, 0]]) == key(
                np.concatenate(there.pieces)
            )
        assert len(here.joints_mm) == len(there.joints_mm)


# Creases and drains


def test_four_planes_cut_the_tile_around_a_drain_in_four():
    """A tile over a drain in its middle is cut in four, with a joint along each crease."""
    room = box(900, 900)
    drain = Drain(rectangle(400, 400, 500, 500, "drain"))
    laying = lay(room, Tile(900, 900, 4), Pattern(), (drain,), (falls_to(*rings(room, drain)),))
    assert (len(laying.pieces), laying.cuts, len(laying.joints_mm)) == (4, 1, 4)
    assert len({round(size(piece), 3) for piece in laying.pieces}) == 1
    band = 4 * 4 * math.hypot(400, 400)
    # Bands end square, past the corners of room and drain: two half squares each are not in them.
    assert total(laying) == pytest.approx(900**2 - 100**2 - band, abs=4 * 2 * 4**2)


def rings(room, drain):
    return room.outline, drain.outline, 0.02


def test_a_drain_without_falls_only_leaves_a_hole():
    """Where the floor is flat the drain is cut out of the tile and nothing else is."""
    room = box(900, 900)
    laying = lay(room, Tile(900, 900, 4), Pattern(), (Drain(rectangle(400, 400, 500, 500, "d")),))
    assert (len(laying.pieces), total(laying)) == (1, pytest.approx(900**2 - 100**2))


def test_a_crease_on_a_joint_is_one_joint():
    """Where a crease runs along a joint of the pattern, tiles face each other once, uncut."""
    room = box(1204, 604)
    falls = tuple(
        one_fall(ring, 0.02, bearing)
        for ring, bearing in ((rectangle(0, 0, 602, 604), 90), (rectangle(602, 0, 1204, 604), 270))
    )
    laying = lay(room, Tile(600, 300, 4), Pattern(), (), falls)
    plain = lay(room, Tile(600, 300, 4), Pattern())
    assert (laying.full, laying.cuts) == (4, 0)
    assert key(laying.joints_mm) == key(plain.joints_mm)
    assert len(laying.joints_mm) == len(plain.joints_mm) == 4


def test_a_zone_that_falls_is_cut_off_from_one_that_does_not():
    """Tiles are cut where a falling zone meets level floor, half a joint on each side."""
    room = box(2000, 1000)
    falls = (one_fall(rectangle(0, 0, 900, 1000), 0.02, 180),)
    laying = lay(room, Tile(600, 500, 4), Pattern(), (), falls)
    x = np.concatenate(laying.pieces)[:, 0]
    assert not ((x > 898.01) & (x < 901.99)).any()
    seam = laying.joints_mm[(np.abs(laying.joints_mm[..., 0] - 900) < 1e-6).all(axis=1)]
    assert np.hypot(*(seam[:, 1] - seam[:, 0]).T).sum() == pytest.approx(1000 - 4)


def test_beside_a_drain_near_the_wall_the_planes_decide():
    """The strip between a drain and the wall it nearly touches is no floor to be tiled."""
    room = box(1000, 900)
    drain = Drain(rectangle(100, 820, 900, 885, "channel"))
    falls = (falls_to(room.outline, drain.outline, 0.02, linear=True),)
    laying = lay(room, Tile(300, 300, 2), Pattern(), (drain,), falls)
    for piece in laying.pieces:
        x, y = np.mean(piece, axis=0)
        assert not (100 < x < 900 and y > 820)


# Slivers and origins


def test_slivers_are_named_narrowest_first():
    """Strips of 40 and 80 mm beside a tile of 300 mm are slivers, the narrowest first."""
    laying = lay(box(300 + 40, 300 + 80), Tile(300, 300), Pattern())
    share, wide = narrowest(laying)
    assert sorted(share) == pytest.approx([40 / 300, 40 / 300, 80 / 300, 1])
    named = slivers(laying)
    assert len(named) == 3
    assert wide[named[0]] == pytest.approx(40)
    assert share[named[-1]] == pytest.approx(80 / 300)
    assert len(slivers(laying, 0.2)) == 2
    assert len(slivers(lay(box(300 + 101, 300), Tile(300, 300), Pattern()))) == 0


def test_a_thin_strip_across_the_corner_is_a_sliver():
    """A strip along a tile's diagonal reaches across both ways, and still it is narrow."""
    strip = Ring("strip", ((0, 0), (60, 0), (300, 240), (300, 300), (240, 300), (0, 60)))
    laying = lay(Room(strip), Tile(300, 300), Pattern())
    (share,), (wide,) = narrowest(laying)
    assert wide == pytest.approx(120 / math.sqrt(2))
    assert share == pytest.approx(120 / math.sqrt(2) / (300 * math.sqrt(2)))
    assert len(slivers(laying)) == 1


@pytest.mark.parametrize("rest", [1, 20, 99, 150, 299])
def test_an_aligned_rectangle_needs_no_sliver(rest):
    """Whatever is left over in a rectangle, two cuts of at least a third can share it."""
    room, tile = box(5 * 300 + rest, 4 * 300 + rest), Tile(300, 300)
    start = best_origin(room, tile, Pattern())
    assert start.slivers == 0
    assert start.least_share >= 1 / 3
    assert start == best_origin(room, tile, start.pattern)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_best_origin_is_as_it_says(pattern):
    """Laid from the origin that was found there are so many slivers and cuts, and never more."""
    tile, how = PATTERNS[pattern]
    room, drains, falls = ROOMS["column"]
    start = best_origin(room, tile, how, drains, falls)
    laying = lay(room, tile, start.pattern, drains, falls)
    assert (start.slivers, start.cuts) == (len(slivers(laying)), laying.cuts)
    assert start.slivers <= len(slivers(lay(room, tile, how, drains, falls)))
    assert replace(start.pattern, origin=how.origin) == how


def test_whole_tiles_are_kept_whole():
    """A floor that whole tiles fill needs no other origin, wherever the pattern began."""
    start = best_origin(box(1200, 900), Tile(300, 300), Pattern(origin=(123, 45)))
    assert (start.slivers, start.cuts, start.least_share) == (0, 0, 1.0)


def test_the_best_origin_holds_against_a_finer_net():
    """On a net of 20 mm no origin of a small L has fewer slivers than the one that is found."""
    room, tile = Room(ELL), Tile(600, 400, 0)
    found = best_origin(room, tile, Pattern())
    tried = [
        len(slivers(lay(room, tile, Pattern(origin=(x, y)))))
        for x in range(0, 600, 20)
        for y in range(0, 400, 20)
    ]
    assert found.slivers <= min(tried)


def test_an_origin_is_tried_in_one_step_at_least():
    """No steps are refused."""
    with pytest.raises(SurveyError, match="one step"):
        best_origin(Room(ELL), Tile(600, 400), Pattern(), steps=0)


# At odds


@pytest.mark.parametrize("kind", KINDS)
def test_an_origin_far_outside(kind):
    """An origin many tiles off, whole tiles, gives the layout of the one at hand."""
    tile, how = Tile(300, 200, 5), of_kind(kind)
    here = lay(Room(ELL), tile, how)
    if kind == "modular":
        steps = np.array([[305, 125], [-105, 205]])
    elif kind == "herringbone":
        steps = np.array([[205, 205], [305, -305]])
    elif kind == "diagonal":
        steps = np.array([[305, 305], [-205, 205]]) / math.sqrt(2)
    elif kind == "plank":
        steps = np.array([[355, 0], [0, 205]])
    else:
        steps = np.array([[305, 0], [305 / 3 if kind == "running bond" else 0, 205]])
    far = (np.array([20_011, -17_003]) @ steps).tolist()
    assert max(map(abs, far)) < FARTHEST_MM
    there = lay(Room(ELL), tile, replace(how, origin=(far[0], far[1])))
    assert len(here.pieces) == len(there.pieces)
    assert len(here.joints_mm) == len(there.joints_mm)
    assert total(here) == pytest.approx(total(there), abs=0.1)


def test_ten_thousand_tiles():
    """A floor of 100 x 100 tiles: every one whole, 2 x 100 x 99 joints."""
    laying = lay(box(30_000, 30_000), Tile(300, 300), Pattern())
    assert (laying.full, laying.cuts, len(laying.joints_mm)) == (10_000, 0, 2 * 100 * 99)


def test_nothing_left_to_tile():
    """A room that its cutout fills is refused."""
    with pytest.raises(SurveyError, match="no floor is left"):
        lay(
            box(900, 900, rectangle(0, 0, 900, 900, "all")),
            Tile(300, 300),
            Pattern(),
        )


def test_a_second_size_larger_than_the_first():
    """In a modular pattern the second tile is the smaller one."""
    with pytest.raises(SurveyError, match="must not exceed"):
        lay(Room(ELL), Tile(300, 300), Pattern("modular", second_mm=(400, 200)))


def test_walls_listed_clockwise():
    """An outline walked the other way round holds the same floor."""
    back = Ring("ell", ELL.corners_mm[::-1])
    for tile, how in PATTERNS.values():
        assert total(lay(Room(back), tile, how)) == pytest.approx(total(lay(Room(ELL), tile, how)))


sizes = st.floats(60, 900)
KIND = st.sampled_from(KINDS)


@settings(max_examples=120, deadline=None)
@given(
    KIND,
    st.floats(800, 4000),
    st.floats(800, 4000),
    st.floats(0.2, 0.8),
    sizes,
    sizes,
    st.floats(-360, 360),
    st.floats(-5000, 5000),
    st.booleans(),
)
@example("aligned", 800.0, 800.0, 0.5, 60.0, 60.0, 2.225073858507e-311, 0.0, False)
def test_any_tile_in_any_room(kind, wide, deep, notch, length, width, turn, at, falls):
    """Without joints the pieces make up the floor, each no more than its tile, none nothing."""
    corners = ((0, 0), (wide, 0), (wide, deep * notch), (wide * notch, deep * notch))
    ring = Ring("ell", (*corners, (wide * notch, deep), (0, deep)))
    room = Room(rectangle(0, 0, wide, deep) if falls else ring)
    drain = Drain(rectangle(wide * notch - 50, deep / 2, wide * notch + 50, deep / 2 + 80, "drain"))
    extra = ((drain,), (falls_to(room.outline, drain.outline, 0.02),)) if falls else ((), ())
    second = (0.6 * max(length, width), 0.8 * min(length, width)) if kind == "modular" else None
    lengths = (length, 1.3 * length) if kind == "plank" else ()
    offset = notch if kind == "running bond" else 0.0
    how = Pattern(kind, offset, turn, (at, -at / 3), second, lengths, 0.0 if lengths else None)
    laying = lay(room, Tile(length, width), how, *extra)
    lost = SAW_MM * (2 * (wide + deep) + 200) + len(laying.pieces)
    assert total(laying) == pytest.approx(area(room) - 8000 * falls, abs=lost)
    assert total(laying) <= area(room) - 8000 * falls + 1
    wholes = areas(laying.corners_mm)
    own = np.array([size(piece) for piece in laying.pieces])
    assert (own > 0).all()
    assert (own <= wholes + 0.01).all()
    assert own[~laying.cut] == pytest.approx(wholes[~laying.cut])
    assert (laying.joint_tiles[:, 0] != laying.joint_tiles[:, 1]).all()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(5, 9))
def test_cells_hold_what_is_inside(seed, count):
    """Cells of a star with a hole add up to its area, and every place in a cell is inside."""
    lots = np.random.default_rng(seed)
    turn = (np.arange(count) + lots.uniform(0, 0.8, count)) * 2 * np.pi / count
    star = lots.uniform(400, 1000, count)[:, None] * np.stack((np.cos(turn), np.sin(turn)), axis=1)
    hole = np.array([[-20, -20], [30, -10], [10, 25]]) * 1.0
    floor = cells([star], [hole])
    of = (floor.high - floor.low) * ((floor.right - floor.left).sum(axis=1)) / 2
    inside = abs(areas(star[None])[0]) - abs(areas(hole[None])[0])
    assert of.sum() == pytest.approx(inside, abs=5)
    around = np.array([[-2000.0, -2000.0, 2000.0, 2000.0]])
    rings = outlines(cut(around, floor).corners)
    assert sum(areas(ring[None])[0] for ring in rings) == pytest.approx(inside, abs=5)


def test_the_samples_of_this_file_are_what_they_say():
    """The plain room holds its drain."""
    assert area(Room(PLAIN, (DRAIN.outline,))) == 3600 * 2700 - 150**2


def test_the_longer_edge_lies_along_the_rows():
    """A tile written 12 x 24 is laid as one written 24 x 12, whatever the pattern."""
    for kind in KINDS:
        one, other = (lay(box(3000, 2000), tile, of_kind(kind)) for tile in (LONG, DEEP))
        assert one.pieces == other.pieces


LONG, DEEP = Tile(600, 300, 3), Tile(300, 600, 3)
