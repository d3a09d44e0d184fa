"""What is said of a plan of falls: sides of heights, lines between zones, the bed."""

import html
import re
from pathlib import Path
from typing import Any

import pytest
from basins import CHANNEL, DRAIN, POINT, level, on, pan, survey, unread

from flatcheck.assess import assess
from flatcheck.errors import FlatcheckError
from flatcheck.falls import plane_falls
from flatcheck.readers.folder import read_folder
from flatcheck.report.falls import drain_words, plane_words
from flatcheck.report.screed import drawing, screed_csv, screed_html, screed_words
from flatcheck.report.text import text
from flatcheck.room import Room, rectangle
from flatcheck.screed import Screed, screeds
from flatcheck.survey import Survey
from flatcheck.ui.drawing import Signs
from flatcheck.ui.heights import heights_plan, key_words, walls_tables

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
ROOM = Room(rectangle(0, 0, 1000, 1000))
SOUTH = {"kind": "fall", "fall": "2 %", "toward": "south"}
DRY, WET = (
    [[0, 0], [1000, 0], [1000, 400], [0, 400]],
    [[0, 400], [1000, 400], [1000, 1000], [0, 1000]],
)
ZONES = [
    {"name": "dry", "outline": DRY, "intent": {"kind": "level"}},
    {"name": "shower", "outline": WET, "intent": POINT},
]
LOW = {"name": "drain", "center": [500, 700], "size": [100, 100]}


def said_of(read: Survey, line_mm: float | None = None) -> str:
    """All that is said of a plan, in one line."""
    plans = screeds(read, 300, assess(read) if read.tables else None)
    said = [words for plan in plans for words in screed_words(plan, read, ROOM, line_mm)]
    return " ".join(" ".join(said).split())


def plan_of(read: Survey) -> Screed:
    (plan,) = screeds(read, 300, None)
    return plan


def test_heights_below_the_rim() -> None:
    """With a cover thicker than the fall is high the bed lies below the rim, and is said to."""
    deep = unread(bed={"cover": 30})
    assert "level, 24.4 mm below the rim of the drain" in said_of(deep)
    assert "-24.4" not in said_of(deep)
    assert "level, 24.4 mm below the rim of the drain" in walls_tables(plan_of(deep), deep.show)
    page = screed_html([plan_of(deep)], deep, ROOM, None)
    assert "<td>24.4 mm below</td>" in page
    assert "with a minus sign on the drawing lie below" in page
    assert "Those with a minus sign lie below it." in key_words(plan_of(deep), deep, 1)
    shallow = unread()
    assert "below" not in said_of(shallow)
    assert "minus" not in screed_html([plan_of(shallow)], shallow, ROOM, None)
    assert "minus" not in key_words(plan_of(shallow), shallow, 1)


@pytest.mark.parametrize(("line", "words"), [(100, "94.4 mm down from"), (0, "5.6 mm up from")])
def test_a_line_above_or_below_the_marks(line: float, words: str) -> None:
    """From a level line the marks lie down or up, by the side that they are on."""
    assert f"level, 5.6 mm, or {words} the line" in said_of(unread(), line)


def test_zero_of_a_floor_without_a_drain() -> None:
    """One fall without a drain has its heights above its lowest corner, and names no rim."""
    read = unread(drain=None, intent=SOUTH, standard={"rule": "none", "falls": ["bs-falls"]})
    assert "heights to screed to, above its lowest corner." in said_of(read)
    assert "rim" not in said_of(read)
    plan = plan_of(read)
    assert "above its lowest corner" in walls_tables(plan, read.show)
    assert "above its lowest corner" in screed_csv([plan], read.show).splitlines()[0]
    assert "rim" not in key_words(plan, read, 1)
    marks = heights_plan(plan, read, 1).layer("marks")
    assert isinstance(marks, Signs)
    assert len(marks.told) == len(marks.xy) > 0
    assert all("above its lowest corner" in words for words in marks.told)


def test_a_line_between_zones_is_no_wall() -> None:
    """The side of a zone on none of the room's walls is a line; the others are walls."""
    said = said_of(unread(zone=ZONES, drain=[LOW]))
    assert "Along the south line, from its corner with the west wall" in said
    assert "Along the east wall, from its corner with the south line" in said
    assert "south wall" not in said
    assert "south plane: falls" in said


def test_a_wall_of_ones_own_name() -> None:
    """A named wall keeps its name where a zone ends on it."""
    named = {"outline": [[0, 0], [1000, 0], [1000, 1000], [0, 1000]]}
    room = named | {"walls": ["door", "bath", "window", "hall"]}
    said = said_of(unread(room=room, zone=ZONES, drain=[LOW]))
    assert "Along the south line, from its corner with the hall wall" in said


@pytest.mark.parametrize(
    ("bed", "words"),
    [
        ({"least": 20}, ""),
        ({"least": 60}, "Thicker than the 50.8 mm that is usual"),
        ({"least": 40, "most": 40}, "Thicker than the 40.0 mm that you allow"),
        ({"least": 30, "most": 70}, ""),
        ({"least": 49}, "Thicker than the 50.8 mm that is usual"),
        ({"least": 30, "most": 32}, "Thicker than the 32.0 mm that you allow"),
    ],
)
def test_whose_most_the_bed_is_thicker_than(bed: dict[str, Any], words: str) -> None:
    """Only the most that nobody gave is called usual."""
    said = said_of(survey(level, bed=bed))
    assert re.findall(r"Thicker than the [0-9.]+ mm that \w+ \w+", said) == [words] * bool(words)


def test_the_average_is_no_finer_than_it_is_said() -> None:
    """A mean of a hundred readings is not said to hundredths of what the readings are said in."""
    assert "on average (give or take less than 0.1 mm)" in said_of(survey(level))
    inches = {"readings": "mm", "offsets": "mm", "show": "in/16"}
    assert 'on average (give or take less than 1/16")' in said_of(survey(level, units=inches))
    coarse = survey(level, instrument={"uncertainty": "5 mm"})
    assert re.search(r"on average \(give or take [01]\.\d mm\)", said_of(coarse))


def test_planes_of_two_zones() -> None:
    """Where two zones fall each plane is told with its zone; of one zone by its name alone."""
    halves = [
        {"name": name, "intent": POINT, "outline": [[w, 0], [e, 0], [e, 1000], [w, 1000]]}
        for name, w, e in (("left", 0, 500), ("right", 500, 1000))
    ]
    drains = [
        {"name": "one", "center": [250, 500], "size": [100, 100]},
        {"name": "two", "center": [750, 500], "size": [100, 100]},
    ]
    ticks = sorted({*range(0, 1001, 100), 250, 490, 510, 750} - {500})
    read = survey(lambda x, y: 0.02 * abs(y - 500), ticks, zone=halves, drain=drains)
    found = assess(read)
    called = [plane.called for plane in plane_falls(found)]
    assert len(set(called)) == len(called) == 8
    assert all(
        plane_words(plane, read.show).startswith(f"{plane.zone}, {plane.name}: ")
        for plane in plane_falls(found)
    )
    assert "left, south plane: meant to fall" in " ".join(text(found).split())
    assert {plane.called for plane in plane_falls(assess(survey(on(pan()))))} == {
        "south plane",
        "east plane",
        "north plane",
        "west plane",
    }


@pytest.mark.parametrize(("rim", "side"), [(12, "above"), (-7.5, "below")])
def test_check_says_what_a_rim_is_for(rim: float, side: str) -> None:
    """A given rim is not passed over in silence: the verdict says that it is on the floor read."""
    said = " ".join(text(assess(survey(on(pan()), drain=[DRAIN | {"rim": rim}]))).split())
    assert (
        f"drain: its rim is given, {abs(rim):.1f} mm {side} the floor read there; that is for the "
        "heights to screed to, and the verdict is on the floor as read." in said
    )
    assert "its rim is given" not in text(assess(survey(on(pan()))))


def test_a_drain_that_a_plane_falls_past() -> None:
    """A second drain in a zone is told to lie in a plane of the first, in check and in falls."""
    second = {"name": "gully", "center": [850, 500], "size": [50, 50]}
    read = survey(on(pan()), drain=[DRAIN, second], intent=POINT | {"drain": "drain"})
    words = "floor: gully lies in the east plane, which falls past it; to fall to it too, the floor"
    assert words in " ".join(text(assess(read)).split())
    assert words in said_of(read)
    assert drain_words(survey(on(pan())), ROOM) == []
    # A channel at the low side of one fall takes its water, and is passed by none.
    low = {"name": "slot", "outline": [[0, 0], [1000, 0], [1000, 60], [0, 60]]}
    assert drain_words(survey(lambda x, y: 0.02 * y, drain=[low], intent=SOUTH), ROOM) == []


@pytest.mark.parametrize("kind", [POINT, CHANNEL])
@pytest.mark.parametrize(
    ("center", "lies"),
    [([1000, 500], "reaches"), ([990, 500], "reaches"), ([2000, 500], "lies"), ([0, 0], "reaches")],
)
def test_drains_half_out(kind: dict[str, str], center: list[float], lies: str) -> None:
    """A drain half outside of the room reaches outside; only one that is wholly so lies there."""
    read = unread(drain=[{"name": "drain", "center": center, "size": [100, 60]}], intent=kind)
    with pytest.raises(FlatcheckError, match=f"drain: the drain {lies} outside the room"):
        screeds(read, 300, None)


def boxes(svg: str) -> list[tuple[str, float, float, float, float]]:
    """The words of a drawing with the left, upper, right and lower end of each [mm of paper]."""
    found = []
    pattern = r'<text x="([-0-9.]+)" y="([-0-9.]+)"([^>]*)>([^<]*)</text>'
    for x, y, how, words in re.findall(pattern, svg):
        wide, tall = 1.6 * len(html.unescape(words)), 3.2
        shift = 0.5 if "end" in how else -0.5 if "start" in how else 0.0
        middle = float(x) - shift * wide
        if "rotate" in how:
            wide, tall = tall, wide
        left, upper = middle - wide / 2, float(y) - tall / 2
        found.append((words, left, upper, left + wide, upper + tall))
    return found


@pytest.mark.parametrize(
    "name", ["hollin-ghyll-shower", "cressbrook-pan", "linden-weir-recess", "ashlar-court-roll-in"]
)
def test_words_on_the_drawing_stand_clear(name: str) -> None:
    """No words on the drawing of a plan lie over others, or off the paper."""
    read = read_folder(SAMPLES / name)
    found = assess(read)
    for plan in screeds(read, 300, found):
        drawn = drawing(plan, read)
        wide, tall = (float(side) for side in re.findall(r'="([0-9.]+)mm"', drawn))
        told = boxes(drawn)
        assert len(told) > 8
        for k, (words, left, upper, right, lower) in enumerate(told):
            assert min(left, upper) >= 0, words
            assert (right <= wide, lower <= tall) == (True, True), words
            for other, start, top, end, bottom in told[:k]:
                apart = left >= end or start >= right or upper >= bottom or top >= lower
                assert apart, (words, other)
