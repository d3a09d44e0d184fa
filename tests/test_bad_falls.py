"""Bad input of falls: one sentence that names what is wrong, never a crash or a good verdict."""

import json
import math
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from basins import (
    CHANNEL,
    DRAIN,
    POINT,
    SQUARE,
    document,
    grid,
    level,
    on,
    pan,
    scattered,
    survey,
    unread,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from flatcheck.assess import assess
from flatcheck.cli import BAD_INPUT, main
from flatcheck.errors import FlatcheckError
from flatcheck.falls import drainage, flood_test, plane_falls
from flatcheck.readers.folder import checked
from flatcheck.report.screed import screed_csv, screed_html, screed_words
from flatcheck.report.text import record, text
from flatcheck.room import Ring, Room, inside
from flatcheck.screed import screeds
from flatcheck.survey import Survey
from flatcheck.verdict import Outcome

SENTENCE_END = re.compile(r"[.!?] [A-Z]")
PAN = on(pan())
WET = {"rule": "none", "falls": ["bs-falls", "wet-practice"]}
SLOW_S = 20.0
NAN, HUGE = float("nan"), 1e9


def one_sentence(message: str) -> None:
    assert message.endswith(".")
    assert "\n" not in message
    assert not SENTENCE_END.search(message), message
    assert len(message) < 400


def whole(read: Survey) -> Outcome:
    """Everything that is said of a survey, said; its outcome."""
    found = assess(read)
    text(found)
    json.dumps(record(found), allow_nan=False)
    plane_falls(found)
    drainage(found)
    return found.verdict.guarded


def refused(said: str, height: Callable[[float, float], float] = PAN, **sections: Any) -> None:
    """Judging and planning both refuse the survey, in one sentence that says `said`."""
    for what in (
        lambda: whole(survey(height, **sections)),
        lambda: screeds(unread(**sections), 300, None),
    ):
        with pytest.raises(FlatcheckError) as caught:
            what()
        one_sentence(str(caught.value))
        assert said in str(caught.value)


def drain(**given_: Any) -> list[dict[str, Any]]:
    return [{"name": "drain"} | given_]


def outline(*corners: tuple[float, float]) -> list[list[float]]:
    return [list(corner) for corner in corners]


# Drains


@pytest.mark.parametrize(
    ("drains", "said"),
    [
        (drain(center=[2000, 500], size=[100, 100]), "drain: the drain lies outside"),
        (drain(center=[1000, 500], size=[100, 100]), "drain: the drain reaches outside"),
        (drain(center=[HUGE, 500], size=[100, 100]), "drain: the drain lies outside"),
        (drain(center=[500, 500], size=[HUGE, HUGE]), "drain: the drain reaches outside"),
        (drain(center=[500, 500], size=[0, 100]), "drain.size: a drain is larger than zero"),
        (drain(center=[500, 500], size=[100, -5]), "drain.size: a drain is larger than zero"),
        (drain(center=[500, 500], size=[0.4, 0.4]), "drain: two corners in a row are at one place"),
        (drain(center=[500, 500]), "drain.size = nothing was expected to be two lengths"),
        (drain(center=[500], size=[100, 100]), "drain.center = [500] was expected to be two"),
        (drain(center="middle", size=[9, 9]), "drain.center = 'middle' was expected to be two"),
        (drain(center=[NAN, 500], size=[100, 100]), "drain.center: 'nan' cannot be read"),
        (drain(center=[500, 500], size=[math.inf, 100]), "drain.size: 'inf' cannot be read"),
        (drain(), "drain: give the drain's outline, or its center and size"),
        (drain(center=[500, 500], size=[9, 9], depth=3), "depth"),
        (
            drain(outline=outline((400, 400), (600, 600), (600, 400), (400, 600))),
            "drain: the outline crosses itself",
        ),
        (
            drain(outline=outline((400, 400), (600, 400), (600, 600), (500, 450))),
            "drain: the outline of a drain has no corner that points inward",
        ),
        (drain(outline=outline((0, 0), (1000, 0), (1000, 1000), (0, 1000))), "the drain fills"),
        (drain(outline=outline((9, 9), (991, 9), (991, 991), (9, 991))), "the drain fills"),
        (drain(outline=outline((400, 400), (600, 400))), "drain: an outline needs at least three"),
        ([], "zone 'floor' is to fall to a drain, and there is none in it"),
        (
            [DRAIN, {"name": "second", "center": [200, 200], "size": [90, 90]}],
            "zone 'floor' has 2 drains; say which one it falls to",
        ),
        ([DRAIN, DRAIN], "drain: two drains are called 'drain'"),
        ("drain", "[[drain]] was expected to be a list of sections"),
        (
            drain(center=[2000, 500], size=[9, 9], name="<script>alert(1)</script>"),
            "<script>alert(1)</script>: the drain lies outside",
        ),
    ],
)
def test_drains(drains: Any, said: str) -> None:
    """A drain that is not in the room, is no outline or has no size is refused by its name."""
    refused(said, drain=drains)


@pytest.mark.parametrize("linear", [POINT, CHANNEL], ids=["point", "channel"])
def test_a_channel_longer_than_the_room(linear: dict[str, str]) -> None:
    """A channel through the walls reaches outside the room."""
    refused(
        "drain: the drain reaches outside",
        drain=drain(center=[500, 500], size=[1400, 60]),
        intent=linear,
    )


def test_unknown_drain() -> None:
    """A zone that falls to a drain nobody gave is refused with the name."""
    refused(
        "zone 'floor' falls to 'gully', and no drain is so named", intent=POINT | {"drain": "gully"}
    )


def test_rims_that_are_no_numbers() -> None:
    """A rim without a number is refused where it stands."""
    refused("drain.rim: 'nan' cannot be read", drain=[DRAIN | {"rim": NAN}])
    refused("drain.rim = True was expected to be a length", drain=[DRAIN | {"rim": True}])


def test_a_drain_that_hides() -> None:
    """A drain in one arm of an L that a wall hides from the other is refused by the zone."""
    ell = {"outline": outline((0, 0), (1000, 0), (1000, 450), (450, 450), (450, 1000), (0, 1000))}
    hidden = drain(center=[800, 200], size=[80, 80])
    places = unread(room=ell, drain=hidden)
    with pytest.raises(FlatcheckError, match="its drain does not see every wall squarely") as said:
        screeds(places, 300, None)
    one_sentence(str(said.value))


def test_a_circle_of_many_corners() -> None:
    """A drain drawn with hundreds of corners is refused at once, not laid out for minutes."""
    turns = [2 * math.pi * k / 400 for k in range(400)]
    circle = outline(*((500 + 90 * math.cos(t), 500 + 90 * math.sin(t)) for t in turns))
    start = time.perf_counter()
    refused("have 404 corners together", drain=drain(outline=circle))
    assert time.perf_counter() - start < SLOW_S


# Rooms and zones


def zones(*corners: list[list[float]], **intents: Any) -> list[dict[str, Any]]:
    """Zones named a, b, ...; the first falls to the drain."""
    return [
        {"name": name, "outline": ring, "intent": intents.get(name, POINT if name == "a" else {})}
        for name, ring in zip("abc", corners, strict=False)
    ]


def strip(south: float, north: float, east: float = 1000) -> list[list[float]]:
    return outline((0, south), (east, south), (east, north), (0, north))


def judged_refused(said: str, **sections: Any) -> None:
    """Judging refuses the survey in one sentence."""
    with pytest.raises(FlatcheckError) as caught:
        whole(survey(PAN, **sections))
    one_sentence(str(caught.value))
    assert said in str(caught.value)


def test_zones_that_overlap() -> None:
    """Zones that share floor are refused with a place that lies in both."""
    judged_refused("lies in two zones; zones cover", zone=zones(strip(0, 700), strip(600, 1000)))


@pytest.mark.parametrize("line", [9.0, 34.0, 559.0, 560.0, 509.25])
def test_zones_that_meet_anywhere(line: float) -> None:
    """Wherever two zones meet they neither overlap nor leave a gap."""
    dry = {"intent": {"kind": "level"}, "apart": True}
    lower = {"name": "a", "outline": outline((0, 0), (1000, 0), (1000, line), (0, line))}
    upper = {"name": "b", "outline": outline((0, line), (1000, line), (1000, 1000), (0, 1000))}
    ticks = [0, 5, *range(100, 1001, 50)]
    flat = {"rule": "bs-5385-3:substrate"}
    read = survey(level, ticks, ticks, zone=[lower | dry, upper | dry], drain=None, standard=flat)
    assert [part.name for part in assess(read).parts] == ["a", "b"]


def test_zones_that_leave_a_gap() -> None:
    """Zones that leave floor out are refused with a place that lies in none."""
    judged_refused("lies in no zone; zones cover", zone=zones(strip(0, 600), strip(700, 1000)))


def test_a_zone_without_its_drain() -> None:
    """A zone that is to fall to a drain and holds none is refused by its name."""
    refused(
        "zone 'a' is to fall to a drain, and there is none in it",
        zone=zones(strip(0, 400), strip(400, 1000)),
    )


def test_a_drain_across_two_zones() -> None:
    """A drain on the line between two zones lies in neither, but reaches outside each."""
    refused("drain: the drain reaches outside a", zone=zones(strip(0, 520), strip(520, 1000)))


def test_a_falling_zone_that_reaches_outside() -> None:
    """Planes are laid from a zone's sides, so these lie in the room."""
    refused(
        "zone 'a' is to fall, and a corner of it lies outside the room",
        zone=zones(strip(0, 1000, east=1700)),
    )


def test_outlines_that_cross_themselves() -> None:
    """A room or a zone whose outline crosses itself is refused with the sides that cross."""
    bow = outline((0, 0), (1000, 1000), (1000, 0), (0, 1000))
    refused("room: the outline crosses itself between corners 1 and 3", room={"outline": bow})
    refused("a: the outline crosses itself between corners 1 and 3", zone=zones(bow))


def test_a_zone_with_too_few_readings() -> None:
    """One reading on each plane tells of none of them, and the zone is refused by its name."""
    with pytest.raises(FlatcheckError, match="none of the planes of zone 'floor' holds three"):
        whole(survey(PAN, [500], [100, 500, 900]))


# Standards and intents


@pytest.mark.parametrize(
    ("standard", "said"),
    [
        ({"falls": "nonsense"}, "standard 'nonsense' is not one of the"),
        ({"falls": ["bs-falls:nonsense"]}, "has no 'nonsense'; it has range, recommended"),
        ({"falls": [["bs-falls"]]}, "standard.falls"),
        ({"falls": 3}, "standard.falls = 3 was expected to be a list of names"),
        ({"falls": "<b>bs-falls</b>"}, "standard '<b>bs-falls</b>' is not one of"),
    ],
)
def test_standards(standard: dict[str, Any], said: str) -> None:
    """A standard for falls that nobody wrote is refused with those there are."""
    refused(said, standard={"rule": "none"} | standard)


@pytest.mark.parametrize("name", ["bs-falls", "irc-shower", "wet-practice", "din-falls:balcony"])
def test_falls_asked_of_a_level_floor(name: str) -> None:
    """A standard for falls on a floor that is not to fall is refused, not passed over."""
    judged_refused(
        f"{name} asks for falls, and no zone is meant to fall; give the zone that does an intent "
        'of kind "fall", "to drain" or "to channel"',
        intent={"kind": "level"},
        standard={"rule": "none", "falls": name},
    )


def test_steepness_asked_of_a_level_floor() -> None:
    """A standard that only limits the fall holds for a level floor too."""
    flat = {"intent": {"kind": "level"}, "standard": {"rule": "none", "falls": "ada-floors"}}
    assert whole(survey(level, **flat)) is Outcome.WITHIN
    assert whole(survey(lambda x, y: 0.03 * y, **flat)) is Outcome.OUT


def test_nothing_asked() -> None:
    """A survey that asks for neither flatness nor falls is refused."""
    judged_refused("no standard is named", standard={"rule": "none"})


@pytest.mark.parametrize(
    ("intent", "said"),
    [
        ({"kind": "to drian"}, "kind 'to drian' is not one of level, plumb, best fit"),
        ({"kind": "to drain", "fall": "2 mm"}, "intent.fall"),
        ({"kind": "to drain", "fall": "200 %"}, "the fall must lie between 0 and 1:1"),
        ({"kind": "to drain", "fall": "-2 %"}, "the fall must lie between 0 and 1:1"),
        ({"kind": "to drain", "fall": NAN}, "intent.fall: 'nan' cannot be read"),
        ({"kind": "to drain", "drain": 3}, "intent.drain = 3 was expected to be a text"),
        ({"kind": "level", "drain": "drain"}, 'a drain belongs to kind "to drain"'),
        ({"kind": "fall", "fall": "2 %"}, 'kind "fall" needs fall and toward'),
        ({"kind": "fall", "fall": "2 %", "toward": "downhill"}, "intent.toward: 'downhill'"),
    ],
)
def test_intents(intent: dict[str, Any], said: str) -> None:
    """An intent that is no fall is refused where it stands."""
    refused(said, intent=intent)


@pytest.mark.parametrize(
    ("bed", "said"),
    [
        ({"least": -3}, "bed: least must not be more than most, and neither below zero"),
        ({"least": 30, "most": 20}, "bed: least must not be more than most"),
        ({"cover": -1}, "bed: the cover must not be below zero"),
        ({"least": NAN}, "bed.least: 'nan' cannot be read"),
        ({"thick": 3}, "thick"),
    ],
)
def test_beds(bed: dict[str, Any], said: str) -> None:
    """A bed of no thickness that there is is refused."""
    refused(said, bed=bed)


@pytest.mark.parametrize(
    ("holds", "said"),
    [
        ([{"name": "sill"}], "sill.at = nothing was expected to be two lengths"),
        ([{"name": "sill", "at": [NAN, 0]}], "sill.at: 'nan' cannot be read"),
        ([{"name": 5, "at": [0, 0]}], "hold.name = 5 was expected to be a text in quotes"),
    ],
)
def test_holds(holds: list[dict[str, Any]], said: str) -> None:
    """A fixed height without a place is refused by its name."""
    refused(said, hold=holds)


# Readings


@pytest.mark.parametrize(
    ("height", "outcome"),
    [
        (level, Outcome.OUT),
        (lambda x, y: HUGE / 1000, Outcome.OUT),
        (lambda x, y: -PAN(x, y), Outcome.OUT),
    ],
    ids=["all equal", "all a kilometer", "upside down"],
)
def test_floors_that_do_not_fall(height: Callable[[float, float], float], outcome: Outcome) -> None:
    """Readings all alike, huge or upside down are a floor that does not fall: out."""
    assert whole(survey(height, standard=WET)) is outcome


def test_a_drain_higher_than_the_floor() -> None:
    """A drain above its surroundings is said to hold its water back, and the floor is out."""
    found = assess(survey(lambda x, y: 9.0 if (x, y) == (500, 500) else PAN(x, y), standard=WET))
    assert found.verdict.guarded is Outcome.OUT
    said = " ".join(text(found).split())
    assert "The drain itself holds this water: it stands higher than the floor around it" in said


def test_planning_with_a_drain_that_stands_high() -> None:
    """For planning, a rim that would stand above a fixed wall is refused."""
    sections = {"hold": [{"name": "sill", "at": [500, 0]}], "drain": [DRAIN | {"rim": 40}]}
    read = survey(lambda x, y: 20.0 if (x, y) == (500, 0) else 0.0, **sections)
    with pytest.raises(FlatcheckError, match="would not fall toward the drain") as said:
        screeds(read, 300, assess(read))
    one_sentence(str(said.value))


def test_readings_on_the_drain_alone() -> None:
    """Readings on the drain are no readings of the floor."""
    with pytest.raises(FlatcheckError, match="none of the planes of zone 'floor' holds three"):
        whole(survey(PAN, [480, 500, 520], [480, 500, 520]))


def test_a_reading_on_the_drain_is_on_no_plane() -> None:
    """A reading on the drain, however low, makes no plane steeper."""
    deep = assess(survey(lambda x, y: -40.0 if (x, y) == (500, 500) else PAN(x, y)))
    flat = assess(survey(PAN))
    for one, other in zip(plane_falls(deep), plane_falls(flat), strict=True):
        assert one == other
    assert deep.verdict.guarded is Outcome.WITHIN


@pytest.mark.parametrize("ticks", [[100, 500, 900], [0, 500, 1000], [0, 300, 700, 1000]])
def test_few_readings_never_pass(ticks: list[float]) -> None:
    """A handful of readings on a pan is not assessed: they are no reason to call it within."""
    try:
        outcome = whole(survey(PAN, ticks, ticks, standard=WET))
    except FlatcheckError as error:
        one_sentence(str(error))
    else:
        assert outcome is Outcome.NOT_ASSESSED


def test_readings_that_are_no_numbers() -> None:
    """A reading that is no number is refused by its cell."""
    for written in ("nan", "inf", "-", "1e999"):
        rows = [list(row) for row in grid(PAN)]
        rows[3][4] = written
        with pytest.raises(FlatcheckError, match="row 4, cell E4") as said:
            checked(document(), {"t.csv": tuple(map(tuple, rows))})
        one_sentence(str(said.value))


# Odd rooms that are rooms


def ring(count: int, radius: float = 500) -> list[list[float]]:
    turns = [2 * math.pi * k / count for k in range(count)]
    return outline(*((500 + radius * math.cos(t), 500 + radius * math.sin(t)) for t in turns))


@pytest.mark.parametrize("corners", [3, 5, 24])
def test_rooms_of_any_number_of_corners(corners: int) -> None:
    """Triangular, pentagonal and round rooms are laid out, judged and planned, in seconds."""
    room = {"outline": ring(corners)}
    floor = Room(Ring("room", tuple((x, y) for x, y in room["outline"])))
    ticks = range(0, 1001, 50)
    places = [(x, y, 0.0) for x in ticks for y in ticks if inside(floor, np.array([[x, y]]))[0]]
    start = time.perf_counter()
    assert whole(scattered(places, room=room, standard=WET)) is Outcome.OUT
    (plan,) = screeds(unread(room=room, standard={"rule": "us-tile"}), 300, None)
    assert sum("corner" not in f.name for f in plan.falls.facets) == corners
    assert time.perf_counter() - start < SLOW_S


# Names in pages


EVIL = "<script>alert(1)</script>"


def test_names_do_not_run() -> None:
    """Whatever walls, zones, drains and titles are called, the page to print only shows it."""
    read = survey(
        PAN,
        survey={"title": EVIL},
        room=SQUARE | {"walls": [EVIL, "<img src=x onerror=1>", '"><b>', "'"]},
        drain=[DRAIN | {"name": EVIL}],
        zone=[{"name": EVIL, "outline": SQUARE["outline"], "intent": POINT}],
    )
    plans = screeds(read, 300, assess(read))
    assert read.room
    page = screed_html(plans, read, read.room, 1000.0)
    assert "<script" not in page
    assert "<img" not in page
    assert "<b>Caution.</b>" in page
    assert page.count("<b>") == 1
    assert "&lt;script&gt;" in page
    assert EVIL in screed_csv(plans, read.show)
    assert EVIL in "\n".join(screed_words(plans[0], read, read.room, None))
    assert EVIL in text(assess(read))


# From the shell


def saved(folder: Path, **sections: Any) -> Path:
    (folder / "survey.toml").write_text(document(**sections), encoding="utf-8")
    rows = grid(PAN)
    (folder / "t.csv").write_text("\n".join(",".join(row) for row in rows), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    "sections",
    [
        {"drain": drain(center=[2000, 500], size=[100, 100])},
        {"drain": []},
        {"standard": {"falls": "nonsense"}},
        {"intent": POINT | {"drain": "gully"}},
    ],
)
@pytest.mark.parametrize("command", ["check", "falls", "flood"])
def test_shell(
    command: str, sections: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each command ends with status 2 and one line that names what is wrong."""
    arguments = [command, str(saved(tmp_path, **sections))]
    status = main([*arguments, *(["50 mm"] if command == "flood" else [])])
    said = capsys.readouterr()
    assert status == BAD_INPUT
    assert said.out == ""
    one_sentence(said.err.removeprefix("flatcheck: ").strip())


@pytest.mark.parametrize(
    "arguments",
    [
        ["falls", "--spacing", "0"],
        ["falls", "--spacing", "nan"],
        ["falls", "--spacing", "wide"],
        ["falls", "--line", "high"],
        ["flood", "--", "-3 mm"],
        ["flood", "deep"],
        ["flood", "50 mm", "--at", "here", "there"],
        ["flood", "50 mm", "--at", "5 m", "5 m"],
        ["flood", "300 m"],
    ],
)
def test_arguments(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lengths that are none are refused in one line."""
    command, *rest = arguments
    status = main([command, str(saved(tmp_path)), *rest])
    said = capsys.readouterr()
    assert status == BAD_INPUT
    assert said.out == ""
    one_sentence(said.err.removeprefix("flatcheck: ").strip())


# Anything at all

NUMBERS = st.one_of(
    st.sampled_from([0, -1, 1, 0.4, 25, 100, 450, 500, 550, 999, 1000, 1001, HUGE, -HUGE]),
    st.floats(-200, 1200),
)
PAIRS = st.lists(NUMBERS, min_size=2, max_size=2)
DRAINS = st.one_of(
    st.fixed_dictionaries({"center": PAIRS, "size": PAIRS}),
    st.fixed_dictionaries({"outline": st.lists(PAIRS, min_size=2, max_size=7)}),
)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(DRAINS, max_size=2),
    st.sampled_from([POINT, CHANNEL, POINT | {"drain": "drain 2"}, CHANNEL | {"fall": "9 %"}]),
    st.one_of(st.just(SQUARE["outline"]), st.lists(PAIRS, min_size=3, max_size=6)),
)
def test_anything(
    drains: list[dict[str, Any]], intent: dict[str, str], corners: list[list[float]]
) -> None:
    """Whatever rooms and drains are made of, a plan is made or one sentence says why not."""
    start = time.perf_counter()
    try:
        plans = screeds(
            unread(
                drain=drains,
                intent=intent,
                room={"outline": corners},
                standard={"rule": "us-tile"},
            ),
            300,
            None,
        )
    except FlatcheckError as error:
        one_sentence(str(error))
    else:
        for facet in plans[0].falls.facets:
            assert facet.fall_ratio > 0
            assert math.isfinite(facet.run_mm)
        assert all(mark.above_mm >= -1e-6 for mark in plans[0].marks)
    assert time.perf_counter() - start < SLOW_S


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(-1e4, 1e4), min_size=36, max_size=36),
    st.sampled_from([POINT, CHANNEL]),
)
def test_any_heights(heights: list[float], intent: dict[str, str]) -> None:
    """Whatever the heights, everything about them can be said, as text and as JSON."""
    ticks = [0, 150, 350, 500, 800, 1000]
    table = dict(zip([(x, y) for x in ticks for y in ticks], heights, strict=True))
    read = survey(lambda x, y: table[x, y], ticks, ticks, intent=intent, standard=WET)
    whole(read)
    flood_test(assess(read), 50)
    try:
        screeds(read, 300, assess(read))
    except FlatcheckError as error:
        one_sentence(str(error))
