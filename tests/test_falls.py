"""How a floor falls and where its water goes: planes, ponds, shares and flood tests."""

import math

import numpy as np
import pytest
from basins import (
    CHANNEL,
    DRAIN,
    POINT,
    SIDE,
    SQUARE,
    TICKS,
    document,
    grid,
    level,
    on,
    pan,
    scattered,
    survey,
)

from flatcheck.assess import Assessment, assess
from flatcheck.drain import falls_to
from flatcheck.errors import SurveyError
from flatcheck.facet import one_fall
from flatcheck.falls import Share, drainage, flood_test, plane_falls
from flatcheck.readers.folder import checked
from flatcheck.report.falls import (
    flood_words,
    plane_words,
    slope_words,
    spread_words,
    water_words,
)
from flatcheck.report.text import text
from flatcheck.room import rectangle
from flatcheck.units import parse_style
from flatcheck.verdict import Outcome
from flatcheck.water import held_mm

FALL = 1 / 60
RUN = 450.0
WET = {"rule": "none", "falls": ["bs-falls", "wet-practice"]}
SOUTH = {"kind": "fall", "fall": "2 %", "toward": "south"}


def pitted(depth: float, x: float = 300, y: float = 300) -> Assessment:
    """A pan with one reading that lies so much below its plane."""
    height = on(pan(FALL))
    return assess(
        survey(lambda east, north: height(east, north) - depth * ((east, north) == (x, y)))
    )


# Plane by plane


def test_planes_of_a_pan() -> None:
    """Each plane is told with its meant way and run, and falls as it was laid."""
    planes = plane_falls(assess(survey(on(pan(FALL)))))
    assert [plane.name for plane in planes] == [
        "south plane",
        "east plane",
        "north plane",
        "west plane",
    ]
    for plane, bearing in zip(planes, (0, 270, 180, 90), strict=True):
        assert plane.zone == "floor"
        assert (plane.meant_deg, plane.run_mm) == pytest.approx((bearing, RUN))
        assert plane.fall_ratio == pytest.approx(FALL)
        assert math.cos(math.radians(plane.bearing_deg - bearing)) == pytest.approx(1)
        assert (plane.least_ratio, plane.most_ratio) == pytest.approx((FALL, FALL))


def test_uncertainty_of_a_plane() -> None:
    """One fall on a grid of n x n readings s apart is known to u / (s √(n² (n² - 1) / 12))."""
    found = assess(survey(lambda x, y: 0.02 * y, drain=None, intent=SOUTH))
    (plane,) = plane_falls(found)
    n, step = len(TICKS), 100.0
    assert plane.u_ratio == pytest.approx(0.1 / (step * math.sqrt(n**2 * (n**2 - 1) / 12)))


def test_parts_of_a_plane() -> None:
    """The flattest and the steepest part are over a level's length, along the meant way."""
    found = assess(
        survey(
            lambda x, y: 0.01 * min(y, 1000) + 0.03 * max(y - 1000, 0),
            range(0, 601, 100),
            range(0, 2001, 100),
            room={"outline": [[0, 0], [600, 0], [600, 2000], [0, 2000]]},
            drain=None,
            intent=SOUTH,
        )
    )
    (plane,) = plane_falls(found)
    assert (plane.least_ratio, plane.most_ratio) == pytest.approx((0.01, 0.03))
    assert plane.fall_ratio is not None
    assert 0.01 < plane.fall_ratio < 0.03


def test_a_plane_that_was_not_read() -> None:
    """A plane with too few readings stands in the table without a fall."""
    height = on(pan(FALL))
    places = [
        (x, y, height(x, y)) for x in TICKS for y in TICKS if not (y > x - 5 and y > 1005 - x)
    ]
    planes = plane_falls(assess(scattered(places)))
    told = {plane.name: plane.fall_ratio for plane in planes}
    assert told["north plane"] is None
    assert told["south plane"] == pytest.approx(FALL)
    said = plane_words(planes[2], parse_style("mm"))
    assert "meant to fall to the south, run 450 mm; what was read on it does not tell" in said


def test_a_floor_not_meant_to_fall() -> None:
    """A level floor has no table of planes and no drainage."""
    found = assess(
        survey(level, intent={"kind": "level"}, standard={"rule": "bs-5385-3:substrate"})
    )
    assert plane_falls(found) == ()
    assert drainage(found) == ()
    assert "How it falls" not in text(found)


# Ponds


@pytest.mark.parametrize("below", [4.0, 9.0])
def test_a_pond(below: float) -> None:
    """A pit holds water up to its lowest neighbor: its depth, its place and where it leaves."""
    (zone,) = drainage(pitted(below))
    (pond,) = zone.ponds
    # Toward the drain the next reading, (400, 300) or on the valley (400, 400), is the lowest.
    lowest = min(FALL * (500 - 50 - 400), FALL * (500 - 50 - 300))
    pit = FALL * (500 - 50 - 300) - below
    assert pond.at == (300, 300)
    assert pond.depth_mm <= lowest - pit + FALL * 100
    height = on(pan(FALL))
    assert pond.depth_mm == pytest.approx(height(*pond.over) - pit)
    assert pond.told
    assert pond.u_mm == pytest.approx(math.sqrt(2) * 0.1)
    assert not pond.held_by_drain
    assert 0 < pond.volume_mm3 < pond.area_mm2 * pond.depth_mm / 2


def test_a_cone_of_water() -> None:
    """In a level floor one low reading holds the water of the pyramids around it."""
    depth = 6.0
    found = assess(
        survey(
            lambda x, y: -depth if (x, y) == (300, 300) else 0.0,
            standard={"rule": "none", "falls": ["wet-practice:water"]},
        )
    )
    ((pond,),) = (zone.ponds for zone in drainage(found))
    assert pond.depth_mm == pytest.approx(depth)
    # A pit with a rim of triangles: a third of their area times the depth.
    assert pond.volume_mm3 == pytest.approx(pond.area_mm2 * depth / 3)


def test_ponds_too_shallow_to_tell() -> None:
    """A pond just deeper than surface tension holds is listed, and said to be doubtful."""
    deep = pitted(FALL * 100 * math.sqrt(2) + held_mm() + 1.0)
    shallow = pitted(held_mm() + 0.05 + FALL * 100)
    assert [pond.told for zone in drainage(deep) for pond in zone.ponds] == [True]
    ponds = [pond for zone in drainage(shallow) for pond in zone.ponds]
    for pond in ponds:
        assert pond.told is (pond.depth_mm - held_mm() > 1.6449 * pond.u_mm)
    doubtful = [pond for pond in ponds if not pond.told]
    assert doubtful
    said = water_words(drainage(shallow)[0], shallow.surface.room, parse_style("mm/0.1"))
    assert "(shallower than the readings can tell)" in said[0]


def test_no_ponds_in_a_true_pan() -> None:
    """A pan that falls as it should holds no water, on coarse readings and off the middle too."""
    for step in (50, 100, 200, 250):
        drain = rectangle(200, 300, 300, 400, "drain")
        height = on(falls_to(rectangle(0, 0, SIDE, SIDE), drain, FALL))
        ticks = sorted({*range(0, 1001, step), 250, 350})
        found = assess(
            survey(height, ticks, ticks, drain=[DRAIN | {"center": [250, 350]}], standard=WET)
        )
        (zone,) = drainage(found)
        assert zone.ponds == ()
        assert zone.shares == (Share("the drain", 1.0, 1.0),)


def test_a_drain_that_stands_high() -> None:
    """Water that must rise to a drain is said not to reach it, and the rule is out."""
    height, high = on(pan(FALL)), 5.0
    found = assess(
        survey(lambda x, y: high if (x, y) == (500, 500) else height(x, y), standard=WET)
    )
    ((pond,),) = (zone.ponds for zone in drainage(found))
    assert pond.held_by_drain
    assert pond.over == (500, 500)
    assert pond.depth_mm == pytest.approx(high - FALL * 50)
    said = " ".join(text(found).split())
    assert "The drain itself holds this water: it stands higher than the floor around it." in said
    assert "0% of the floor drains straight to the drain; once the pond is full, 100% does." in said
    ponds = next(f for f in found.verdict.findings if f.rule.id == "ponds")
    assert str(ponds.outcome) == "out"


@pytest.mark.parametrize("show", ["mm/0.1", "in/16"])
def test_a_level_pan_is_not_said_to_drain(show: str) -> None:
    """Where no water stands on a dead level floor its places lie level with their way out."""
    units = {"readings": "mm", "offsets": "mm", "show": show}
    said = text(assess(survey(level, standard=WET, units=units)))
    assert "No water stands, but the slowest place lies level with its way out" in " ".join(
        said.split()
    )
    assert "freely" not in said
    assert "-0" not in said
    assert "as a whole it is level (give or take 0." in " ".join(said.split())


def test_what_rounds_to_zero_is_said_so() -> None:
    """An uncertainty below a hundredth of a percent is no certainty, and zero has no sign."""
    assert spread_words(0.00002) == "give or take less than 0.01%"
    assert spread_words(0.00005) == "give or take 0.01%"
    assert slope_words(-0.00004, parse_style("in/16")) == "0.00% (0.000 in per ft)"


def test_uncertainty_of_a_level_plane() -> None:
    """A floor without any fall is known no better than one that falls."""
    flat, falling = (
        plane_falls(assess(survey(lambda x, y, a=a: a * y, drain=None, intent=SOUTH)))[0].u_ratio
        for a in (0.0, 0.02)
    )
    assert flat == pytest.approx(falling)


# Where it drains to


def test_shares_of_two_drains() -> None:
    """In two zones water goes to the zone's own drain; what each says adds up."""
    zones = [
        {"name": "west", "outline": [[0, 0], [500, 0], [500, 1000], [0, 1000]], "intent": POINT},
        {
            "name": "east",
            "outline": [[500, 0], [1000, 0], [1000, 1000], [500, 1000]],
            "intent": POINT,
        },
    ]
    drains = [
        {"name": "one", "center": [250, 500], "size": [100, 100]},
        {"name": "two", "center": [750, 500], "size": [100, 100]},
    ]
    halves = [
        on(falls_to(rectangle(w, 0, w + 500, 1000), rectangle(w + 200, 450, w + 300, 550), FALL))
        for w in (0, 500)
    ]
    xs = sorted({*TICKS, 250, 490, 510, 750} - {500})
    found = assess(survey(lambda x, y: halves[x > 500](x, y), xs, zone=zones, drain=drains))
    shares = {zone.zone: zone.shares for zone in drainage(found)}
    assert shares == {"west": (Share("the one", 1, 1),), "east": (Share("the two", 1, 1),)}
    assert {plane.zone for plane in plane_falls(found)} == {"west", "east"}


def test_low_side_without_a_drain() -> None:
    """One fall without a drain drains over its low side."""
    found = assess(survey(lambda x, y: 0.02 * y, drain=None, intent=SOUTH))
    (zone,) = drainage(found)
    assert zone.shares == (Share("its low side", 1.0, 1.0),)
    assert zone.ponds == ()
    assert len(zone.lines) > 20


def test_two_drains_share_a_ridge() -> None:
    """A floor that is highest in its middle gives half its water to the drain on either side."""
    drains = [
        {"name": "left", "outline": [[0, 0], [50, 0], [50, 1000], [0, 1000]]},
        {"name": "right", "outline": [[950, 0], [1000, 0], [1000, 1000], [950, 1000]]},
    ]
    found = assess(
        survey(
            lambda x, y: 0.02 * (500 - abs(x - 500)),
            drain=drains,
            intent=CHANNEL | {"drain": "left"},
        )
    )
    (zone,) = drainage(found)
    assert {share.drain: share.straight for share in zone.shares} == {
        "the left": pytest.approx(0.5, abs=0.01),
        "the right": pytest.approx(0.5, abs=0.01),
    }


def gutter(*profile: float) -> Assessment:
    """A floor that drains over its north side, so high every 100 mm from south to north."""
    north = SOUTH | {"toward": "north"}
    return assess(survey(lambda x, y: profile[round(y / 100)], drain=None, intent=north))


def test_shares_before_and_after_a_pond_is_full() -> None:
    """Of a gutter with a dip the floor on its far side drains only once the dip is full."""
    found = gutter(60, 50, 40, 20, 30, 25, 20, 15, 10, 5, 0)
    (zone,) = drainage(found)
    ((share,), (pond,)) = zone.shares, zone.ponds
    assert pond.depth_mm == pytest.approx(10)
    assert (share.straight, share.in_all) == (pytest.approx(0.6), 1.0)
    said = water_words(zone, found.surface.room, parse_style("mm"))
    assert said[-1] == (
        "floor: 60% of the floor drains straight to its low side; once the pond is full, 100% does."
    )


def test_a_film_is_no_pond_on_the_way() -> None:
    """Water that fills a dip no deeper than surface tension holds anyway drains straight."""
    found = gutter(60, 50, 40, 29, 30, 25, 20, 15, 10, 5, 0)
    (zone,) = drainage(found)
    assert zone.ponds == ()
    assert zone.shares == (Share("its low side", 1.0, 1.0),)


def test_no_reading_on_the_drain() -> None:
    """Without a reading on the drain nothing is said of where water goes."""
    ticks = [tick for tick in TICKS if tick != 500]
    found = assess(survey(on(pan(FALL)), ticks, ticks))
    assert drainage(found) == ()
    assert len(plane_falls(found)) == 4


# The flood test


def test_flood_of_a_box() -> None:
    """A square meter under 50 mm of water takes 50 liters."""
    found = assess(survey(level, drain=None, intent=SOUTH))
    (zone,) = flood_test(found, 50)
    assert zone.water.volume_mm3 == pytest.approx(50e6)
    assert zone.water.area_mm2 == pytest.approx(1e6)
    assert zone.at_drain_mm == pytest.approx(50)
    said = flood_words(zone, parse_style("mm"))
    assert "it takes 50 l, 50 kg, 50 kg on each square meter of the" in said[0]


def test_flood_in_pounds_and_gallons() -> None:
    """50 liters are 13 gallons and 110 lb; 50 mm of water weigh 10.2 lb on a square foot."""
    found = assess(survey(level, drain=None, intent=SOUTH))
    said = flood_words(flood_test(found, 50)[0], parse_style("in/16"))[0]
    gallons, pounds = 50 / 3.785411784, 50 / 0.45359237
    assert f"{gallons:.0f} gallons, {pounds:.0f} lb" in said
    assert f"{pounds / (1e6 / 304.8**2):.1f} lb on each square foot" in said


def test_flood_of_a_wedge() -> None:
    """On one fall the water is a wedge: half its rise, and the depth at the top, over all."""
    found = assess(survey(lambda x, y: 0.02 * y, drain=None, intent=SOUTH))
    (zone,) = flood_test(found, 10)
    assert zone.water.volume_mm3 == pytest.approx((10 + 0.02 * SIDE / 2) * SIDE**2)
    assert zone.at_drain_mm == pytest.approx(10 + 0.02 * SIDE)
    # 10 mm at the middle: the shore stands 500 mm up from there, at the top edge.
    (half,) = flood_test(found, 10, (500, 500))
    assert half.at == (500, 500)
    assert half.water.volume_mm3 == pytest.approx(0.02 * SIDE / 2 * SIDE**2)


def corners_of_a_pan() -> Assessment:
    """A pan read at its eight corners alone: the surface between is the planes themselves."""
    height = FALL * RUN
    walls = [(x, y, height) for x in (0, SIDE) for y in (0, SIDE)]
    rim = [(x, y, 0.0) for x in (450, 550) for y in (450, 550)]
    return assess(scattered([*walls, *rim]))


@pytest.mark.parametrize("over", [1.0, 25.0])
def test_flood_of_a_pan(over: float) -> None:
    """Water over the walls of a pan is a truncated pyramid and a block on it."""
    (zone,) = flood_test(corners_of_a_pan(), over)
    height = FALL * RUN
    pyramid = height / 3 * (SIDE**2 + 100**2 + SIDE * 100)
    assert zone.water.volume_mm3 == pytest.approx(pyramid + over * SIDE**2, rel=1e-6)
    assert zone.at_drain_mm == pytest.approx(height + over)
    assert zone.water.depth_mm == pytest.approx(height + over)


@pytest.mark.parametrize("depth", [0.5, 3.0, 7.0])
def test_flood_at_the_drain(depth: float) -> None:
    """A depth at the drain below the walls is a truncated pyramid of its own."""
    (zone,) = flood_test(corners_of_a_pan(), depth, (450, 450))
    side = 100 + 2 * depth / FALL
    assert side < SIDE
    pyramid = depth / 3 * (side**2 + 100**2 + side * 100)
    assert zone.water.volume_mm3 == pytest.approx(pyramid, rel=1e-6)
    assert zone.water.area_mm2 == pytest.approx(side**2, rel=1e-6)


@pytest.mark.parametrize("depth", [0.0, -3.0, math.nan, math.inf])
def test_flood_depths_refused(depth: float) -> None:
    """Water that stands no deeper than nothing, or without end, is no flood test."""
    with pytest.raises(SurveyError, match="must be larger than zero"):
        flood_test(corners_of_a_pan(), depth)


def test_flood_depths_that_no_floor_is_tested_to() -> None:
    """300 mm of water stands on no tested floor, and the refusal says so; 12 in is the most."""
    with pytest.raises(SurveyError, match=r"to be 304\.8 mm at most, not 310\.0 mm"):
        flood_test(corners_of_a_pan(), 310.0)
    flood_test(corners_of_a_pan(), 12 * 25.4)


@pytest.mark.parametrize("at", [(99999, 500), (1060, 500), (-60, 0)])
def test_flood_at_a_place_off_the_floor(at: tuple[float, float]) -> None:
    """A place outside of every zone that falls is refused by its name, not moved to a reading."""
    with pytest.raises(SurveyError, match=r"the place .* lies in no zone that falls"):
        flood_test(assess(survey(on(pan(FALL)))), 25, at)


def test_flood_at_a_place_in_one_zone() -> None:
    """With a place the water stands in the zone that it lies in, and in no other."""
    half = [[0, 0], [500, 0], [500, 1000], [0, 1000]]
    other = [[500, 0], [1000, 0], [1000, 1000], [500, 1000]]
    zones = [
        {"name": "west", "outline": half, "intent": SOUTH},
        {"name": "east", "outline": other, "intent": {"kind": "level"}},
    ]
    found = assess(survey(lambda x, y: 0.02 * y, zone=zones, drain=None))
    assert [zone.zone for zone in flood_test(found, 25, (200, 1000))] == ["west"]
    with pytest.raises(SurveyError, match="900 mm east and 100 mm north lies in no zone"):
        flood_test(found, 25, (900, 100))


def test_flood_says_where_it_was_measured() -> None:
    """The highest reading is called so, and a reading beside the place named has its distance."""
    found = assess(survey(lambda x, y: 0.02 * y, drain=None, intent=SOUTH))
    style = parse_style("mm")
    assert "deep at its highest reading, " in flood_words(*flood_test(found, 25), style)[0]
    there = flood_words(*flood_test(found, 25, (500, 500)), style)[0]
    assert "standing 25 mm deep 500 mm from the" in there
    near = flood_words(*flood_test(found, 25, (530, 540)), style)[0]
    assert "deep at the reading nearest to the place named, 50 mm off, 500 mm from the" in near


def test_flood_without_a_fall() -> None:
    """A floor that is not meant to fall has no flood test."""
    dry = {"rule": "bs-5385-3:substrate"}
    with pytest.raises(SurveyError, match="a zone that falls, and none does"):
        flood_test(assess(survey(level, intent={"kind": "level"}, standard=dry)), 50)


def test_flood_of_a_drain_that_was_not_read() -> None:
    """Where the drain was not read the depth there is not told."""
    ticks = [tick for tick in TICKS if tick != 500]
    (zone,) = flood_test(assess(survey(on(pan(FALL)), ticks, ticks)), 25)
    assert zone.at_drain_mm is None
    assert "of unknown depth at the drain" in flood_words(zone, parse_style("mm"))[0]


def test_water_over_heights_left_open() -> None:
    """Where only gaps were read there are no ponds, no shares and no flood test."""
    head = ("bar", "x1", "y1", "x2", "y2", "at", "gap")
    ends = [(str(k), "0", str(k), "1000") for k in range(0, 1001, 250)]
    ends += [(y, x, y2, x2) for x, y, x2, y2 in ends]
    bars = [
        (f"b{number}", *(places if along == 250 else [""] * 4), str(along), "1")
        for number, places in enumerate(ends)
        for along in (250, 500, 750)
    ]
    found = assess(
        checked(
            document(
                table=[{"file": "bars.csv", "kind": "gaps"}], drain=None, intent=SOUTH, standard=WET
            ),
            {"bars.csv": (head, *bars)},
        )
    )
    assert drainage(found) == ()
    with pytest.raises(SurveyError, match="the readings leave open how high"):
        flood_test(found, 50)
    assert {str(finding.outcome) for finding in found.verdict.findings} == {"not assessed"}


# Channels and zones


def test_a_channel_between_two_floors() -> None:
    """A dry floor that stays level and a shower that falls from its line to a channel."""
    zones = [
        {
            "name": "dry",
            "outline": [[0, 0], [1000, 0], [1000, 400], [0, 400]],
            "intent": {"kind": "level"},
        },
        {
            "name": "shower",
            "outline": [[0, 400], [1000, 400], [1000, 1000], [0, 1000]],
            "intent": CHANNEL,
        },
    ]
    channel = {"name": "channel", "outline": [[0, 930], [1000, 930], [1000, 1000], [0, 1000]]}
    top = FALL * 530

    def height(x: float, y: float) -> float:
        return float(np.clip(FALL * (930 - y), 0, top))

    ys = [*range(0, 901, 100), 930, 1000]
    found = assess(survey(height, ys=ys, zone=zones, drain=[channel], standard=WET))
    (plane,) = plane_falls(found)
    assert (plane.zone, plane.name) == ("shower", "south plane")
    assert plane.run_mm == pytest.approx(530)
    assert plane.fall_ratio == pytest.approx(FALL)
    (zone,) = drainage(found)
    assert zone.shares == (Share("the channel", 1.0, 1.0),)
    assert str(found.verdict.guarded) == "within"


def test_slanted_fall() -> None:
    """One fall to the south-west is judged along that way, from corner to corner."""
    floor = one_fall(rectangle(0, 0, SIDE, SIDE), 0.02, 225.0)
    found = assess(
        checked(
            document(
                drain=None,
                intent={"kind": "fall", "fall": "2 %", "toward": "south-west"},
                room=SQUARE,
            ),
            {"t.csv": grid(on(floor))},
        )
    )
    (plane,) = plane_falls(found)
    assert plane.fall_ratio == pytest.approx(0.02)
    assert plane.bearing_deg == pytest.approx(225)
    assert plane.run_mm == pytest.approx(SIDE * math.sqrt(2))
    assert str(found.verdict.guarded) == "within"


# Falls beside flatness, in one survey


def test_bars_lie_on_one_plane() -> None:
    """On true planes no bar shows a gap, however steep: none is laid over a valley or the drain."""
    both = {"rule": "bs-5385-3:substrate", "falls": ["bs-falls"]}
    steep = on(pan(1 / 36))
    found = assess(
        survey(lambda x, y: -15.0 if (x, y) == (500, 500) else steep(x, y), standard=both)
    )
    flat = next(f for f in found.verdict.findings if f.rule.measure == "resting")
    assert flat.worst is not None
    assert flat.worst.value_mm == pytest.approx(0, abs=1e-3)
    assert flat.worst.face in {f"{side} plane" for side in ("south", "east", "north", "west")}
    assert flat.placements > 50
    assert found.verdict.spots == ()


def test_a_low_on_one_plane_is_a_spot() -> None:
    """A low of 8 mm on one plane of a pan is a low of flatness too, at its place."""
    both = {"rule": "bs-5385-3:substrate", "falls": ["bs-falls"]}
    height = on(pan(FALL))
    found = assess(survey(lambda x, y: height(x, y) - 8 * ((x, y) == (500, 200)), standard=both))
    (spot,) = found.verdict.spots
    assert spot.at == (500, 200)
    assert not spot.high


def test_falls_by_one_name_or_a_list() -> None:
    """The document names one standard for falls, or several in a list."""
    one = survey(on(pan(FALL)), standard={"rule": "none", "falls": "bs-falls"})
    listed = survey(on(pan(FALL)), standard={"rule": "none", "falls": ["bs-falls"]})
    assert one.falls == listed.falls == ("bs-falls",)
    verdict = assess(one).verdict
    assert verdict.standard == "none"
    assert verdict.falls == ("bs-falls",)
    assert [finding.rule.id for finding in verdict.findings] == ["least", "most", "ponds"]


def test_rules_that_agree_are_asked_once() -> None:
    """Two standards with the same limits make one finding each, by the first that was named."""
    names = ["irc-shower", "upc-shower", "ada-floors:slope"]
    found = assess(
        survey(
            lambda x, y: 0.0235 * y,
            drain=None,
            intent=SOUTH,
            standard={"rule": "none", "falls": names},
        )
    ).verdict
    assert [(f.rule.citation.document, f.rule.id) for f in found.findings] == [
        ("IRC", "least"),
        ("IRC", "most"),
        ("ADA Standards", "most"),
        ("setters' practice", "ponds"),
    ]
    assert [str(f.as_read) for f in found.findings] == ["within", "within", "out", "within"]


@pytest.mark.parametrize("falls", ["irc-shower", "bs-falls", "au-wet:ncc-2022"])
def test_a_pan_that_holds_water_is_out(falls: str) -> None:
    """A code that asks for falls alone lets no drain pass that stands above its floor."""
    high = on(pan(FALL))
    found = assess(
        survey(
            lambda x, y: high(x, y) + (8 if math.hypot(x - 500, y - 500) < 120 else 0),
            standard={"rule": "none", "falls": falls},
        )
    )
    ponds = [f for f in found.verdict.findings if f.rule.measure == "ponding"]
    assert len(ponds) == 1
    assert ponds[0].outcome is found.verdict.guarded is Outcome.OUT


def test_planes_and_water_are_worked_out_once() -> None:
    """However often a page asks for the planes and the water of one assessment, they are kept."""
    found = assess(survey(on(pan(FALL))))
    assert plane_falls(found) is plane_falls(found)
    assert drainage(found) is drainage(found)
    assert plane_falls(found) is not plane_falls(assess(survey(on(pan(FALL)))))
