"""Planning the falls: what is fixed, what is chosen, and what is refused with a way out."""

import math
import re
from collections.abc import Callable
from typing import Any

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
    level,
    scattered,
    survey,
    unread,
)

from flatcheck.assess import assess
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.readers.folder import checked
from flatcheck.screed import AGREES_MM, Screed, limits_of, screeds
from flatcheck.survey import Survey
from flatcheck.units import parse_length

RUN = 450.0
LEAST, MOST = 1 / 80, 1 / 35
BED = {"least": 20, "most": 60}
NONE = {"rule": "none", "falls": ["bs-falls"]}


def planned(read: Survey, spacing_mm: float = 300.0) -> Screed:
    """The one zone of a survey with readings."""
    (plan,) = screeds(read, spacing_mm, assess(read))
    return plan


def rim(height: float) -> list[dict[str, Any]]:
    return [DRAIN | {"rim": height}]


def hold(x: float, y: float, name: str = "threshold") -> dict[str, Any]:
    return {"name": name, "at": [x, y]}


def step_at(x: float, y: float, height: float) -> Callable[[float, float], float]:
    """A level floor but for one place."""
    return lambda east, north: height if (east, north) == (x, y) else 0.0


def refusal(read: Survey) -> str:
    """Why a plan is refused: one sentence."""
    with pytest.raises(FlatcheckError) as caught:
        planned(read)
    said = str(caught.value)
    assert said.endswith(".")
    assert not re.search(r"[.!?] [A-Z]", said.replace(r"1.25%", ""))
    return said


# What is fixed, and what follows


def test_nothing_fixed_nothing_read() -> None:
    """From outline and drain alone: the least fall that the rule asks for, no rim, no bed."""
    (plan,) = screeds(unread(), 300, None)
    assert plan.rim_mm is None
    assert plan.bed is None
    assert (plan.least_ratio, plan.most_ratio) == pytest.approx((LEAST, MOST))
    assert [facet.fall_ratio for facet in plan.falls.facets] == pytest.approx([LEAST] * 4)
    assert plan.falls.corner_mm == pytest.approx([LEAST * RUN] * 4)


@pytest.mark.parametrize(
    ("fall", "ratio"), [("2 %", 0.02), ("1:60", 1 / 60), ("1/4 in/ft", 1 / 48)]
)
def test_the_intent_has_a_fall(fall: str, ratio: float) -> None:
    """A fall in the intent is the fall of the flattest plane."""
    (plan,) = screeds(unread(intent=POINT | {"fall": fall}), 300, None)
    assert plan.falls.corner_mm == pytest.approx([ratio * RUN] * 4)


def test_no_rule_no_fall() -> None:
    """Where neither a rule nor the intent says how much, it is 2 %."""
    (plan,) = screeds(unread(standard={"rule": "us-tile"}), 300, None)
    assert plan.falls.corner_mm == pytest.approx([0.02 * RUN] * 4)
    assert (plan.least_ratio, plan.most_ratio) == (0, math.inf)


def test_nothing_fixed() -> None:
    """Over a floor as read the rim is as low as the thinnest bed lets it be."""
    plan = planned(survey(step_at(300, 300, 7.0), bed=BED))
    assert plan.bed is not None
    assert plan.bed.least_mm == pytest.approx(20)
    assert plan.bed.least_at == (300, 300)
    # At (300, 300), 150 mm from the rim of the drain, the plane is 150 mm's fall above it.
    assert plan.rim_mm == pytest.approx(7 + 20 - LEAST * 150)


def test_thinnest_between_readings() -> None:
    """The thinnest bed may be at the drain's edge, where nobody read: the rim stands on it."""
    places = [(x, y, 0.0) for x in (0, 200, 800, 1000) for y in (0, 200, 800, 1000)]
    plan = planned(scattered([*places, (500, 500, 0.0)], bed=BED))
    assert plan.bed is not None
    assert plan.bed.least_mm == pytest.approx(20)
    assert plan.rim_mm == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("cover", [0, 12.5])
def test_rim_fixed(cover: float) -> None:
    """A rim stands so far above the floor at the drain as its survey says, the cover on the bed."""
    plan = planned(survey(lambda x, y: 3.0, drain=rim(40), bed=BED | {"cover": cover}))
    assert plan.rim_mm == pytest.approx(43)
    assert plan.falls.corner_mm == pytest.approx([LEAST * RUN] * 4)
    assert plan.bed is not None
    assert plan.bed.least_mm == pytest.approx(40 - cover, abs=0.1)
    assert plan.bed.most_mm == pytest.approx(40 + LEAST * RUN - cover)


@pytest.mark.parametrize("y", [0.0, 30.0])
def test_hold_fixed(y: float) -> None:
    """A height at a wall that must not change puts the rim its fall below it."""
    read = survey(step_at(500, y, 50.0), ys=(y, *TICKS[1:]), hold=[hold(500, y)], bed=BED)
    assert planned(read).rim_mm == pytest.approx(50 - LEAST * (RUN - y))


@pytest.mark.parametrize("height", [50.0, 20.0])
def test_a_fixed_height_is_no_floor_under_the_bed(height: float) -> None:
    """The reading of a sill in the zone gives a height to meet; no bed is laid on the sill."""
    read = survey(step_at(500, 0, height), hold=[hold(500, 0)], bed=BED | {"least": 10})
    plan = planned(read)
    assert plan.bed is not None
    assert plan.bed.least_mm == pytest.approx(height - LEAST * RUN, abs=0.1)


def test_hold_just_outside() -> None:
    """A height up to 50 mm beyond the zone's line is the height of that line."""
    zones = [
        {"name": "dry", "outline": [[0, 0], [1000, 0], [1000, 200], [0, 200]]},
        {
            "name": "shower",
            "outline": [[0, 200], [1000, 200], [1000, 1000], [0, 1000]],
            "intent": CHANNEL,
        },
    ]
    read = survey(
        lambda x, y: 0.0 if y <= 200 else -60.0,
        ys=(0, 100, 180, 300, 500, 700, 900, 1000),
        zone=zones,
        drain=[{"outline": [[0, 930], [1000, 930], [1000, 1000], [0, 1000]]}],
        hold=[hold(500, 180)],
        bed=BED,
        standard={"rule": "none", "falls": ["bs-falls:recommended"]},
    )
    plan = planned(read)
    assert plan.zone == "shower"
    assert plan.rim_mm == pytest.approx(-(930 - 200) / 60)


def test_rim_and_hold() -> None:
    """A rim and a height at a wall decide the fall between them."""
    plan = planned(survey(step_at(500, 0, 48.0), drain=rim(40), hold=[hold(500, 0)], bed=BED))
    assert plan.rim_mm == pytest.approx(40)
    assert [facet.fall_ratio for facet in plan.falls.facets] == pytest.approx([8 / RUN] * 4)


def test_two_holds() -> None:
    """Two heights at different distances from the drain decide both fall and rim."""

    def height(x: float, y: float) -> float:
        return {(500, 0): 40.0, (500, 200): 37.0}.get((x, y), 0.0)

    read = survey(height, hold=[hold(500, 0, "sill"), hold(500, 200, "nail")], bed=BED)
    plan = planned(read)
    fall = 3.0 / 200
    assert [facet.fall_ratio for facet in plan.falls.facets] == pytest.approx([fall] * 4)
    assert plan.rim_mm == pytest.approx(40 - fall * RUN)


@pytest.mark.parametrize("off", [0.0, AGREES_MM - 0.1])
def test_heights_that_agree(off: float) -> None:
    """A third height that the planes meet to 1.5 mm is no contradiction."""

    def height(x: float, y: float) -> float:
        return {(500, 0): 48.0, (0, 500): 48.0 + off}.get((x, y), 0.0)

    read = survey(height, drain=rim(40), hold=[hold(500, 0), hold(0, 500, "sill")], bed=BED)
    assert planned(read).rim_mm == pytest.approx(40)


def test_of_two_drains_only_the_zones_own_counts() -> None:
    """The rim of another drain fixes nothing of a zone that names its own."""
    drains = [DRAIN, {"name": "other", "center": [200, 200], "size": [60, 60], "rim": 90}]
    read = survey(level, drain=drains, intent=POINT | {"drain": "drain"}, bed=BED)
    assert planned(read).rim_mm == pytest.approx(20, abs=0.1)


# What contradicts


@pytest.mark.parametrize(("off", "way"), [(4.0, "below"), (-4.0, "above")])
def test_heights_that_contradict(off: float, way: str) -> None:
    """A height that the planes miss is named, and by how much; so far changed it is met."""

    def height(wrong: float) -> Callable[[float, float], float]:
        return lambda x, y: {(500, 0): 48.0, (0, 500): 48.0 + wrong}.get((x, y), 0.0)

    holds = {"drain": rim(40), "hold": [hold(500, 0), hold(0, 500, "sill")], "bed": BED}
    said = refusal(survey(height(off), **holds))
    assert f"sill cannot be kept with the rim of the drain: the planes come 4 mm {way} it" in said
    assert planned(survey(height(0), **holds))


def test_a_floor_that_would_rise() -> None:
    """Heights that would make water run away from the drain are refused; lowering the rim helps."""
    fixed = {"hold": [hold(500, 0)], "bed": {"least": 10, "most": 60}}
    said = refusal(survey(step_at(500, 0, 38.0), drain=rim(40), **fixed))
    assert "with the rim of the drain and threshold as they are the floor would not fall" in said
    assert "lower the rim of the drain, or raise threshold" in said
    assert planned(survey(step_at(500, 0, 38.0), drain=rim(30), **fixed))


def test_holds_and_rims_unread() -> None:
    """A fixed height needs a reading near it, and readings at all."""
    assert "threshold: no reading lies within 50 mm of it" in refusal(
        survey(level, xs=(0, 150, 350, 450, 550, 850, 1000), hold=[hold(250, 0)])
    )
    assert "drain: no reading lies within 50 mm of it" in refusal(
        survey(level, xs=(0, 100, 200, 300, 400, 600, 800, 1000), drain=rim(30))
    )
    with pytest.raises(SurveyError, match="threshold: a fixed height needs readings of the floor"):
        screeds(unread(hold=[hold(500, 0)]), 300, None)


def test_holds_in_no_zone() -> None:
    """A fixed height on the drain, or where no floor falls, is refused and not dropped."""
    assert "threshold: the fixed height lies on the drain" in refusal(
        survey(level, hold=[hold(500, 500)])
    )
    assert "threshold: the fixed height lies in no zone that falls" in refusal(
        survey(level, hold=[hold(5000, 500)])
    )


# Fall too small or too large, and the way out that is named


def amount(said: str) -> float:
    """The millimeters that a refusal proposes."""
    found = re.search(r"by ([0-9.]+) mm", said)
    assert found
    return float(found[1])


def test_too_flat_by_fixed_heights() -> None:
    """Heights that leave too little fall: the rim so much lower, or the sill higher, will do."""
    low, high = 40.0, 43.0

    def read(rim_mm: float, sill: float) -> Survey:
        return survey(step_at(500, 0, sill), drain=rim(rim_mm), hold=[hold(500, 0)], bed=BED)

    said = refusal(read(low, high))
    assert f"would fall {3 / RUN:.2%}, and the rule asks for 1.25%" in said
    assert "lower the rim of the drain or raise threshold by" in said
    short = amount(said)
    assert short == pytest.approx(LEAST * RUN - 3, abs=0.1)
    assert planned(read(low - short, high)).falls.corner_mm[0] >= LEAST * RUN - 1e-9
    assert planned(read(low, high + short)).falls.corner_mm[0] >= LEAST * RUN - 1e-9
    refusal(read(low - short + 0.2, high))


def test_too_flat_between_a_nail_and_a_rim() -> None:
    """Also where the given height is half way up: what is proposed is for that place."""

    def read(nail: float) -> Survey:
        return survey(step_at(500, 200, nail), drain=rim(40), hold=[hold(500, 200)], bed=BED)

    said = refusal(read(42.0))
    assert amount(said) == pytest.approx(LEAST * 250 - 2, abs=0.1)
    assert planned(read(42.0 + amount(said)))


def test_too_steep_by_fixed_heights() -> None:
    """Heights that make too much fall: the rim so much higher, or the sill lower, will do."""

    def read(rim_mm: float, sill: float) -> Survey:
        return survey(step_at(500, 0, sill), drain=rim(rim_mm), hold=[hold(500, 0)], bed=BED)

    said = refusal(read(40, 60))
    assert f"would fall {20 / RUN:.2%}, and the rule allows 2.86%" in said
    assert amount(said) == pytest.approx(20 - MOST * RUN, abs=0.1)
    assert planned(read(40 + amount(said), 60))
    assert planned(read(40, 60 - amount(said)))


@pytest.mark.parametrize(
    ("fall", "said"), [("1 %", "asks for 1.25%"), ("3 %", "allows 2.86%")], ids=["flat", "steep"]
)
def test_intents_against_the_rule(fall: str, said: str) -> None:
    """A fall in the intent that the rule forbids is refused; left out, the plan is made."""
    with pytest.raises(SurveyError, match="leave the fall out of the intent") as caught:
        screeds(unread(intent=POINT | {"fall": fall}), 300, None)
    assert said in str(caught.value)
    assert screeds(unread(intent=POINT), 300, None)


def test_too_steep_where_no_rule_asks_for_fall() -> None:
    """Where a rule only limits the fall, the largest that will do is named, and does."""
    only_most = {"rule": "none", "falls": ["ada-floors:slope"]}
    oblong = {"outline": [[0, 0], [1300, 0], [1300, SIDE], [0, SIDE]]}
    drain = [DRAIN | {"center": [650, 500]}]
    with pytest.raises(SurveyError, match="give the intent a fall of") as caught:
        screeds(unread(standard=only_most, room=oblong, drain=drain), 300, None)
    named = re.search(r"a fall of ([0-9.]+%) or less", str(caught.value))
    assert named
    again = unread(standard=only_most, room=oblong, drain=drain, intent=POINT | {"fall": named[1]})
    (plan,) = screeds(again, 300, None)
    steepest = max(facet.fall_ratio for facet in plan.falls.facets)
    assert 1 / 48 * 0.99 < steepest <= 1 / 48


LONG = {"outline": [[0, 0], [1800, 0], [1800, 900], [0, 900]]}
NCC = {"rule": "none", "falls": ["au-wet:ncc-2022"]}


def test_a_room_too_long_for_its_drain() -> None:
    """Runs too unlike are refused with the shortest that would do; a drain so moved is planned."""
    central = [{"center": [900, 450], "size": [100, 100]}]
    with pytest.raises(SurveyError, match="no run is shorter than about") as caught:
        screeds(unread(room=LONG, drain=central, standard=NCC), 300, None)
    said = str(caught.value)
    shortest = int(re.search(r"shorter than about ([0-9]+) mm", said)[1])  # type: ignore[index]
    assert shortest == math.ceil(850 * 50 / 80)
    # On the long wall the runs are 850, 800 and 850 mm.
    on_wall = [{"center": [900, 50], "size": [100, 100]}]
    assert min(850, 800) >= shortest
    assert screeds(unread(room=LONG, drain=on_wall, standard=NCC), 300, None)
    assert "use a channel along a wall, from wall to wall" in said
    along = [{"outline": [[0, 830], [1800, 830], [1800, 900], [0, 900]]}]
    assert screeds(unread(room=LONG, drain=along, standard=NCC, intent=CHANNEL), 300, None)


def test_a_channel_too_short() -> None:
    """A channel whose ends stand off is refused where the way past them is steep."""

    def read(west: float, east: float) -> Survey:
        channel = [{"outline": [[west, 700], [east, 700], [east, 760], [west, 760]]}]
        return unread(drain=channel, intent=CHANNEL)

    with pytest.raises(SurveyError, match="let the channel reach from wall to wall"):
        screeds(read(100, 900), 300, None)
    (plan,) = screeds(read(0, 1000), 300, None)
    assert [facet.fall_ratio for facet in plan.falls.facets] == pytest.approx([LEAST] * 2)


def test_rules_that_no_floor_can_meet() -> None:
    """Rules that ask for more fall than they allow are refused as rules."""
    both = {"rule": "none", "falls": ["irc-shower", "au-wet:2004-other"]}
    with pytest.raises(SurveyError, match=r"2\.08% or more and 1\.25% or less: none does both"):
        screeds(unread(standard=both), 300, None)


def test_limits_of_several_rules() -> None:
    """Of several rules the largest least and the smallest most hold, taken from the data."""
    both = {
        "rule": "none",
        "falls": ["irc-shower:percent", "ada-floors:slope", "din-falls:balcony"],
    }
    assert limits_of(unread(standard=both)) == pytest.approx((0.02, 1 / 48))
    assert limits_of(unread(standard={"rule": "us-tile"})) == (0, math.inf)


def test_nothing_that_falls() -> None:
    """A survey without a zone that falls has nothing to plan, and one without a room neither."""
    with pytest.raises(SurveyError, match="no zone is meant to fall"):
        screeds(unread(intent={"kind": "level"}), 300, None)
    with pytest.raises(SurveyError, match="give its outline in survey"):
        screeds(unread(room=None), 300, None)


def test_heights_that_do_not_hang_together() -> None:
    """Two setups with no place in common leave the bed's thickness open, and it is refused."""
    table = {"kind": "points", "sense": "elevation"}
    tables = [table | {"file": f"{name}.csv", "setup": name} for name in "ab"]
    rows = {
        f"{name}.csv": (
            ("x", "y", "reading"),
            *((str(x), str(y), "5") for x in range(0, 1001, 100) for y in ys),
        )
        for name, ys in (("a", range(0, 500, 100)), ("b", range(500, 1001, 100)))
    }
    said = refusal(checked(document(table=tables), rows))
    assert "zone 'floor': the readings leave open how high its places lie to each other" in said


# The bed


def test_bed_under_one_plane() -> None:
    """Over a level floor a plane's bed is a wedge: its mean is half of its rise above the least."""
    read = survey(
        level,
        drain=None,
        intent={"kind": "fall", "fall": "2 %", "toward": "south"},
        bed=BED,
    )
    bed = planned(read).bed
    assert bed is not None
    mean = 20 + 0.02 * SIDE / 2
    assert (bed.least_mm, bed.most_mm) == pytest.approx((20, 20 + 0.02 * SIDE))
    assert bed.least_at[1] == 0
    assert bed.most_at[1] == SIDE
    assert bed.mean_mm == pytest.approx(mean)
    assert bed.area_mm2 == pytest.approx(SIDE**2)
    assert bed.volume_mm3 == pytest.approx(mean * SIDE**2)
    # 12 lb per square foot and inch, over 10.764 square feet and so many inches.
    pounds = 12 * (SIDE / 304.8) ** 2 * mean / 25.4
    assert bed.weight_kg == pytest.approx(pounds * 0.45359237)
    # The mean of 121 places read to 0.1 mm each.
    assert bed.u_mm == pytest.approx(0.1 / math.sqrt(121))


def test_bed_under_a_pan() -> None:
    """Over a level floor a pan's bed is the block up to its walls less a truncated pyramid."""
    bed = planned(survey(level, drain=rim(30), bed=BED)).bed
    assert bed is not None
    height = LEAST * RUN
    pyramid = height / 3 * (SIDE**2 + 100**2 + SIDE * 100) - height * 100**2
    area = SIDE**2 - 100**2
    # Cells of a 150th of the side: those cut by the drain's edge count whole or not at all.
    assert bed.area_mm2 == pytest.approx(area, rel=3e-3)
    assert bed.mean_mm == pytest.approx(30 + height - pyramid / area, abs=0.02)
    assert bed.volume_mm3 == pytest.approx((30 + height) * area - pyramid, rel=3e-3)
    assert bed.least_mm == pytest.approx(30, abs=0.05)
    assert bed.most_mm == pytest.approx(30 + height)


def test_bed_over_a_slope() -> None:
    """Over a floor that falls as the plane does the bed is as thick everywhere."""
    read = survey(
        lambda x, y: 0.02 * y + 300,
        drain=None,
        intent={"kind": "fall", "fall": "2 %", "toward": "south"},
        bed=BED | {"cover": 10},
    )
    plan = planned(read)
    assert plan.bed is not None
    assert (plan.bed.least_mm, plan.bed.mean_mm, plan.bed.most_mm) == pytest.approx((20, 20, 20))
    assert plan.rim_mm == pytest.approx(330)


def test_cutouts_take_no_bed() -> None:
    """What stands on the floor takes no mortar."""
    bench = {"outline": [[0, 800], [300, 800], [300, 1000], [0, 1000]]}
    ys = [y for y in TICKS if y < 800]
    bed = planned(survey(level, ys=ys, room=SQUARE | {"cutout": [bench]}, bed=BED)).bed
    assert bed is not None
    assert bed.area_mm2 == pytest.approx(SIDE**2 - 100**2 - 300 * 200, rel=5e-3)


def test_bed_too_thin() -> None:
    """A bed thinner than it may be is refused with its place; the rim raised so much will do."""

    def read(rim_mm: float) -> Survey:
        return survey(step_at(300, 300, 14.0), drain=rim(rim_mm), bed=BED)

    said = refusal(read(25))
    thin = 25 + LEAST * 150 - 14
    assert f"the bed would be {thin:.1f} mm thick at its thinnest" in said
    assert "(300 mm from the south wall, 300 mm from the west wall)" in said
    assert amount(said) == math.ceil(20 - thin)
    plan = planned(read(25 + amount(said)))
    assert plan.bed is not None
    assert plan.bed.least_mm >= 20


def test_a_bed_below_the_floor() -> None:
    """Where planes lie below the floor as read the refusal says so, in no negative thickness."""
    said = refusal(survey(level, drain=rim(-20), bed=BED))
    assert "the bed would end 20 mm below the floor as read" in said
    assert "raise the rim and the fixed heights by 40 mm" in said


# Marks on the walls


def test_marks_at_corners_and_spacing() -> None:
    """Marks stand at both corners of each wall and every spacing between, measured along it."""
    (plan,) = screeds(unread(), 300, None)
    assert [(mark.wall, mark.along_mm) for mark in plan.marks] == [
        (wall, along)
        for wall in ("south", "east", "north", "west")
        for along in (0, 300, 600, 900, 1000)
    ]
    assert [mark.above_mm for mark in plan.marks] == pytest.approx([LEAST * RUN] * 20)
    assert plan.marks[6].at == pytest.approx((1000, 300))


def test_a_mark_next_to_the_corner_is_left_out() -> None:
    """A mark nearer to the corner than a quarter of the spacing is the corner's."""
    (plan,) = screeds(unread(), 240, None)
    assert [mark.along_mm for mark in plan.marks[:5]] == [0, 240, 480, 720, 1000]


@pytest.mark.parametrize("spacing", [10.0, 333.3, 5000.0, math.inf])
def test_any_spacing(spacing: float) -> None:
    """However far apart, each wall has its two corners, and no step is wider than 1.25 spacings."""
    (plan,) = screeds(unread(), spacing, None)
    walls: dict[str, list[float]] = {}
    for mark in plan.marks:
        walls.setdefault(mark.wall, []).append(mark.along_mm)
    for along in walls.values():
        assert along[0] == 0
        assert along[-1] == SIDE
        assert np.diff(along).max() <= 1.25 * spacing + 1e-9


@pytest.mark.parametrize("spacing", [0.0, -5.0, 9.9, math.nan])
def test_spacing_refused(spacing: float) -> None:
    """A spacing that would fill the wall with marks is refused."""
    with pytest.raises(SurveyError, match="at least 10 mm"):
        screeds(unread(), spacing, None)


def test_marks_along_a_channel() -> None:
    """Along walls that run to a channel marks fall with the plane; at the channel they are zero."""
    channel = [{"outline": [[0, 930], [1000, 930], [1000, 1000], [0, 1000]]}]
    cover = 9.0
    read = unread(drain=channel, intent=CHANNEL, bed=BED | {"cover": cover})
    (plan,) = screeds(read, 300, None)
    for mark in plan.marks:
        x, y = mark.at
        assert mark.above_mm == pytest.approx(max(LEAST * (930 - y), 0) - cover, abs=1e-9)
        assert 0 <= x <= SIDE


def test_marks_start_from_the_same_end() -> None:
    """Marks on walls on either side start at their higher ends and stand across from each other."""
    channel = [{"outline": [[0, 930], [1000, 930], [1000, 1000], [0, 1000]]}]
    (plan,) = screeds(unread(drain=channel, intent=CHANNEL), 300, None)
    east, west = (
        [(mark.along_mm, mark.at[1], mark.above_mm) for mark in plan.marks if mark.wall == wall]
        for wall in ("east", "west")
    )
    np.testing.assert_allclose(east, west)
    assert [along for along, _, _ in east] == [y for _, y, _ in east] == [0, 300, 600, 900, 1000]
    assert {mark.start for mark in plan.marks if mark.wall in ("east", "west")} == {"south"}


def test_marks_in_inches() -> None:
    """Fractions go in and come out: 1/4 in per ft over 3 ft less half a drain is so many inches."""
    read = unread(
        units={"readings": "in", "offsets": "ft", "show": "in/16"},
        instrument={"uncertainty": "1/64 in"},
        room={"outline": [[0, 0], [6, 0], [6, 6], [0, 6]]},
        drain=[{"center": ["3'", "3'"], "size": ["4 1/4 in", "4 1/4 in"]}],
        standard={"rule": "none", "falls": ["irc-shower"]},
        bed={"least": "1 1/4", "most": "2", "cover": "1/2"},
    )
    (plan,) = screeds(read, parse_length("12 in"), None)
    run = 36 - 4.25 / 2
    expected = (run / 48 - 0.5) * 25.4
    assert [mark.above_mm for mark in plan.marks] == pytest.approx([expected] * len(plan.marks))
    assert [mark.along_mm for mark in plan.marks[:7]] == pytest.approx(
        [k * 304.8 for k in range(7)]
    )


def test_walls_by_name() -> None:
    """Marks are told by the names of the walls, in a clockwise room too."""
    room = {
        "outline": [[0, 0], [0, 1000], [1000, 1000], [1000, 0]],
        "walls": ["window", "back", "tub", "curb"],
    }
    (plan,) = screeds(unread(room=room), 500, None)
    where = {mark.wall: mark.at for mark in plan.marks if mark.along_mm == 500}
    assert where == {
        "curb": (500, 0),
        "tub": (1000, 500),
        "back": (500, 1000),
        "window": (0, 500),
    }


def test_several_zones() -> None:
    """Each zone that falls is planned on its own, to its own drain; a level one is left out."""
    zones = [
        {"name": "a", "outline": [[0, 0], [500, 0], [500, 600], [0, 600]], "intent": POINT},
        {"name": "b", "outline": [[500, 0], [1000, 0], [1000, 600], [500, 600]], "intent": POINT},
        {"name": "dry", "outline": [[0, 600], [1000, 600], [1000, 1000], [0, 1000]]},
    ]
    drains = [
        {"name": "one", "center": [250, 300], "size": [100, 100]},
        {"name": "two", "center": [750, 300], "size": [60, 60]},
    ]
    plans = screeds(unread(zone=zones, drain=drains), 300, None)
    assert [plan.zone for plan in plans] == ["a", "b"]
    assert [plan.falls.corner_mm[0] for plan in plans] == pytest.approx([LEAST * 250, LEAST * 270])
