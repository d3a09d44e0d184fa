"""Layouts against shapely, tile by tile: counts, areas, joints, on rooms of four kinds."""

from dataclasses import replace

import numpy as np
import pytest
from layouts import (
    COLUMN,
    ELL,
    PATTERNS,
    PIPE,
    ROOMS,
    facing,
    floor,
    planes,
    polygon,
    repeated,
    split,
)
from shapely import Point, Polygon, STRtree, union_all
from shapely.affinity import translate
from shapely.geometry import LineString

from flatcheck.pattern import SAW_MM, lay
from flatcheck.room import Ring, Room

IN_ROWS = ("aligned", "running bond", "any offset", "diagonal")
ALL = [(room, pattern) for room in ROOMS for pattern in PATTERNS]


def laid(room, pattern):
    return lay(ROOMS[room][0], *PATTERNS[pattern], *ROOMS[room][1:])


def joined(parts):
    """The union of polygons on a net of a thousandth: without one shapely 2.2 loses whole tiles."""
    return union_all(parts, grid_size=1e-3)


def ends(laying):
    """Lengths of joints by the two tiles."""
    found = {}
    for (one, other), (p, q) in zip(
        laying.joint_tiles.tolist(), laying.joints_mm.tolist(), strict=True
    ):
        pair = (min(one, other), max(one, other))
        found[pair] = found.get(pair, 0.0) + float(np.hypot(q[0] - p[0], q[1] - p[1]))
    return found


def crossing(how, way, joint):
    """The most of a crease that joints of the pattern, along and across, take up where they meet.

    A band of width j that meets another at an angle a takes up (j + j cos a) / sin a of it.
    """
    turn = np.arctan2(way[1], way[0]) - np.radians(how.rotation_deg + 45 * (how.kind == "diagonal"))
    return 2 * joint / abs(np.sin(turn)) + 2 * joint / abs(np.cos(turn))


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("pattern", IN_ROWS)
def test_counts_and_areas(room, pattern):
    """Full tiles, pieces and the area of each are those of intersections, one tile at a time."""
    tile, how = PATTERNS[pattern]
    laying = laid(room, pattern)
    full, pieces = split(repeated(tile, how), planes(room, tile.joint_mm))
    assert laying.full == full
    assert np.count_nonzero(laying.cut) == len(pieces)
    ours = [Polygon(p).area for p, cut in zip(laying.pieces, laying.cut, strict=True) if cut]
    np.testing.assert_allclose(sorted(ours), sorted(one.area for one in pieces), atol=0.1)


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_each_piece_is_what_is_left_of_its_tile(room, pattern):
    """Pieces of a tile make up its intersection with a plane of the floor, wherever it lies."""
    laying = laid(room, pattern)
    parts = planes(room, laying.tile.joint_mm)
    for number in np.unique(laying.source):
        own = np.flatnonzero(laying.source == number)
        whole = Polygon(laying.corners_mm[own[0]])
        left = joined([whole.intersection(part) for part in parts])
        ours = joined([Polygon(laying.pieces[k]).buffer(0) for k in own])
        assert ours.symmetric_difference(left).area < 2 * left.length


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_tiles_with_half_a_joint_around_cover_the_floor_once(room, pattern):
    """Whole tiles, each grown by half a joint, do not overlap and leave no floor bare."""
    laying = laid(room, pattern)
    joint = laying.tile.joint_mm
    wholes = laying.corners_mm[np.unique(laying.source, return_index=True)[1]]
    grown = [Polygon(one).buffer(joint / 2, join_style="mitre") for one in wholes]
    # A hundredth less, for shapely 2.2 finds some squares that touch to be one and the same.
    less = [Polygon(one).buffer(joint / 2 - 0.01, join_style="mitre") for one in wholes]
    assert (np.diff(STRtree(less).query(less, predicate="intersects"), axis=0) == 0).all()
    # Where less of a tile than a saw takes would reach in by a wall, none is laid.
    inner = floor(room).buffer(-3 * joint, join_style="mitre")
    assert sum(one.intersection(inner).area for one in grown) == pytest.approx(inner.area, abs=0.1)


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_joints_are_sides_that_face_each_other(room, pattern):
    """Joints are the sides of two pieces a joint apart, each pair and each length."""
    laying = laid(room, pattern)
    theirs = facing(laying.pieces, laying.corners_mm, laying.tile.joint_mm)
    ours = ends(laying)
    assert sorted(ours) == [(k, m) for k, m, _ in theirs]
    for k, m, length in theirs:
        assert ours[k, m] == pytest.approx(length, abs=0.01)


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_every_joint_lies_between_its_two_tiles(room, pattern):
    """Both tiles lie half a joint off every place of a joint, one on each side, none nearer."""
    laying = laid(room, pattern)
    half = laying.tile.joint_mm / 2
    for (one, other), (p, q) in zip(laying.joint_tiles, laying.joints_mm, strict=True):
        way = (q - p) / np.hypot(*(q - p))
        sides = []
        for k in (one, other):
            piece = Polygon(laying.pieces[k])
            for share in (0.01, 0.5, 0.99):
                assert piece.distance(Point(p + share * (q - p))) == pytest.approx(half, abs=0.01)
            touch = (p + q) / 2 + np.outer([1, -1], (half + 0.05) * np.array([-way[1], way[0]]))
            sides.append([piece.buffer(0).distance(Point(t)) < 0.01 for t in touch])
        assert sides[0] == sides[1][::-1]
        assert sides[0] != sides[1]


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_pieces_alone_make_up_the_floor_without_joints(room, pattern):
    """With no joints the areas of the pieces add up to the room's, but for what a saw takes."""
    tile, how = PATTERNS[pattern]
    laying = lay(ROOMS[room][0], replace(tile, joint_mm=0.0), how, *ROOMS[room][1:])
    pieces = sum(Polygon(piece).area for piece in laying.pieces)
    assert pieces == pytest.approx(floor(room).area, abs=SAW_MM * 50)
    assert pieces < floor(room).area + 0.1


@pytest.mark.parametrize(("room", "pattern"), ALL)
def test_beside_every_side_is_a_joint_or_a_wall(room, pattern):
    """Half a joint off each side of each piece is a joint, a place where joints meet, or a wall."""
    laying = laid(room, pattern)
    joint = laying.tile.joint_mm
    joints = STRtree([LineString(ends) for ends in laying.joints_mm])
    meets = STRtree([Point(xy) for xy in laying.joints_mm.reshape(-1, 2)])
    rim = floor(room).boundary
    ways = [np.subtract(c.end, c.start) for fall in ROOMS[room][2] for c in fall.creases]
    near = max([3 * joint, *(crossing(PATTERNS[pattern][1], way, joint) for way in ways)])
    for piece in laying.pieces:
        ring, own = np.array(piece), Polygon(piece).buffer(0)
        for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            way = (q - p) / np.hypot(*(q - p))
            for share in (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98):
                at = Point(p + share * (q - p) + joint / 2 * np.array([way[1], -way[0]]))
                assert (
                    joints.geometries[joints.nearest(at)].distance(at) < 0.01
                    or meets.geometries[meets.nearest(at)].distance(at) < near
                    or rim.distance(at) < 1.5 * joint
                    or own.contains(at)  # beside a slit
                )


def test_joints_of_an_aligned_room_by_a_formula():
    """Aligned in a rectangle: what is neither tile nor joint is one square at every crossing."""
    room, *_ = ROOMS["rectangle"]
    tile, how = PATTERNS["aligned"]
    laying = lay(room, tile, how)
    joint = tile.joint_mm
    columns, rows = (
        sum(1 for k in range(-10, 100) if -size < start + k * step < side)
        for start, step, size, side in ((37, 604, 600, 3600), (21, 304, 300, 2700))
    )
    assert len(laying.pieces) == columns * rows
    assert len(laying.joints_mm) == columns * (rows - 1) + rows * (columns - 1)
    length = np.hypot(*(laying.joints_mm[:, 1] - laying.joints_mm[:, 0]).T).sum()
    pieces = sum(Polygon(piece).area for piece in laying.pieces)
    crossings = (columns - 1) * (rows - 1) * joint**2
    assert pieces + length * joint + crossings == pytest.approx(3600 * 2700, abs=0.01)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_tiles_are_cut_along_creases(pattern):
    """No piece reaches across a crease, and the joints along all creases are as long as these."""
    laying = laid("drain", pattern)
    (fall,) = ROOMS["drain"][2]
    facets = [polygon(facet.outline) for facet in fall.facets]
    for piece in laying.pieces:
        one = Polygon(piece)
        assert max(one.intersection(facet).area for facet in facets) > one.area - 0.1
    joint, how = laying.tile.joint_mm, PATTERNS[pattern][1]
    for crease in fall.creases:
        start, end = np.array(crease.start), np.array(crease.end)
        length = float(np.hypot(*(end - start)))
        way = (end - start) / length
        off = (laying.joints_mm - start) @ [-way[1], way[0]]
        along = ((laying.joints_mm - start) @ way)[(np.abs(off) < 0.01).all(axis=1)]
        gap = crossing(how, way, joint)
        stops = np.concatenate(([0.0], np.sort(along, axis=1)[along.min(axis=1).argsort()].ravel()))
        bare = np.diff(np.append(stops, length))[::2]
        assert bare.min() > -2 * joint
        assert bare.max() < gap


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_room_elsewhere_is_laid_alike(pattern):
    """Room and origin moved together give the same pieces, moved."""
    tile, how = PATTERNS[pattern]
    by = (12_345.5, -987.25)

    def moved(ring):
        return Ring(ring.name, tuple((x + by[0], y + by[1]) for x, y in ring.corners_mm))

    here = lay(Room(ELL, (COLUMN, PIPE)), tile, how)
    there = lay(
        Room(moved(ELL), (moved(COLUMN), moved(PIPE))),
        tile,
        replace(how, origin=(how.origin[0] + by[0], how.origin[1] + by[1])),
    )
    assert len(here.pieces) == len(there.pieces)
    assert len(here.joints_mm) == len(there.joints_mm)
    ours = joined([translate(Polygon(p).buffer(0), *by) for p in here.pieces])
    theirs = joined([Polygon(p).buffer(0) for p in there.pieces])
    assert ours.symmetric_difference(theirs).area < 0.1
