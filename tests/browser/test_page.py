"""The page in a real browser, at the widths of a desk and of a phone."""

import csv
import io
import itertools
import json
import re
import socket
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from flatcheck.cli import main
from flatcheck.units import parse_length

LASER = Path(__file__).parents[2] / "sample_surveys" / "millbrook-plywood" / "laser.csv"
GROUND = LASER.parents[1] / "gorse-yard-ground" / "staff.csv"
HOSTILE = "![x](http://elsewhere.example/x.png)"
phone_only = pytest.mark.parametrize("device", ["phone"], indirect=True)
desk_only = pytest.mark.parametrize("device", ["desk"], indirect=True)


def drawn_anew(page: Any, act: Callable[[], object]) -> None:
    """Acts, and waits until the page has been run again and is at rest."""
    count = "Number(document.querySelector('.runs').dataset.runs)"
    before = page.evaluate(count)
    act()
    at_rest = "document.querySelector('[data-test-script-state=notRunning]')"
    page.wait_for_function(f"{count} > {before} && {at_rest}", timeout=20_000)


def choose(page: Any, label: str, option: str) -> None:
    """Chooses from a list by the words on it."""
    press(page, page.get_by_label(label, exact=True))
    press(page, page.get_by_role("option", name=option, exact=True))


def press(page: Any, place: Any) -> None:
    """Clicks, or taps: a phone has no mouse that rests where it was and takes labels away again."""
    if page.evaluate("navigator.maxTouchPoints"):
        place.tap()
    else:
        place.click()


def tick(page: Any, words: str) -> None:
    """Ticks a choice by the words beside it."""
    page.locator("label").filter(has_text=words).last.click()


def go(page: Any, step: str) -> None:
    """Opens a step of the job by the word on it."""
    place = page.locator(".st-key-step").get_by_role("radio", name=step, exact=True)
    if place.get_attribute("aria-checked") == "false":
        drawn_anew(page, lambda: press(page, place))


def survey(page: Any, title: str, step: str) -> None:
    """Chooses a sample, and opens a step of its job."""
    go(page, "Job")
    if not page.locator(".fc").get_by_text(title).count():
        drawn_anew(page, lambda: choose(page, "Survey", title))
    go(page, step)
    page.locator(".fc").get_by_text(title).first.wait_for()


def kitchen(page: Any) -> None:
    """Opens the kitchen, which is out and has spots."""
    survey(page, "Kitchen subfloor, Millbrook", "Verdict")
    page.locator(".st-key-map").get_by_text("porch wall", exact=True).wait_for()


def pan(page: Any) -> None:
    """Opens the pan, in which water stands."""
    survey(page, "Shower pan with a point drain, Cressbrook", "Falls")
    page.locator(".st-key-falls").get_by_text("drain", exact=True).wait_for()


def answer(page: Any) -> None:
    """Says what must be known of the kitchen's bare table, and asks for the verdict."""
    tick(page, "Rod or staff: larger is lower")
    choose(page, "Readings in", "in")
    choose(page, "Offsets in", "ft")
    page.get_by_label("How far a reading may be off").fill("1/64 in")
    drawn_anew(page, page.get_by_role("button", name="Check this floor").click)
    for name, edge in (("Tile length", "24 in"), ("Tile width", "12 in")):
        page.get_by_label(name).fill(edge)
        drawn_anew(page, lambda: page.keyboard.press("Tab"))
    go(page, "Verdict")


def as_pasted() -> str:
    """The kitchen's readings as a spreadsheet puts them on the clipboard."""
    rows = csv.reader(io.StringIO(LASER.read_text()))
    return "\n".join("\t".join(row) for row in rows)


def paste(page: Any, cells: str) -> None:
    """Pastes cells from the clipboard where they are asked for, and answers what they ask."""
    page.evaluate("cells => navigator.clipboard.writeText(cells)", cells)
    page.locator("textarea").click()
    page.keyboard.press("Control+V")
    answer(page)


def fits(page: Any) -> bool:
    """Whether nothing is wider than the screen."""
    return bool(
        page.evaluate(
            """() => {
                const main = document.querySelector('[data-testid=stMain]');
                const wide = [...main.querySelectorAll('*')].filter(
                    e => e.getBoundingClientRect().right > innerWidth + 1
                         && !e.closest('[data-testid=stDataFrame]')  // scrolls within itself
                         && !e.closest('svg') && e.type !== 'range'  // unseen, on a slider's thumb
                         && getComputedStyle(e).position !== 'absolute');
                return main.scrollWidth <= main.clientWidth
                    && document.documentElement.scrollWidth <= innerWidth && !wide.length;
            }"""
        )
    )


def photograph(page: Any, path: Path) -> None:
    """A picture of the whole page, which scrolls inside its window."""
    size = page.viewport_size
    tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": tall})
    page.wait_for_timeout(500)
    page.screenshot(path=path)
    page.set_viewport_size(size)


def test_sample(page: Any, device: str, shots: Path) -> None:
    """A sample shows its verdict as a word, its map and its profile, and fits the screen."""
    kitchen(page)
    line = page.locator(".fc h2")
    assert line.inner_text() == 'OUT for 12" x 24" tile: Kitchen subfloor, Millbrook'
    assert line.is_visible()
    map_ = page.locator(".st-key-map")
    colors = map_.locator("image")
    assert colors.evaluate("image => image.href.baseVal").startswith("data:image/png;base64,")
    assert colors.evaluate("image => image.getBBox().width") > 100
    assert len(dots(page, "map", "readings")) == 108
    for wall in ("sink wall", "pantry wall", "porch wall", "stair wall"):
        assert map_.get_by_text(wall, exact=True).count() == 1
    for name in ("floor", "bar", "limit", "gap"):
        assert page.locator(f".st-key-profile [data-layer={name}] path").count() == 1
    assert page.locator(".fc table tr").count() == 12
    photograph(page, shots / f"sample-{device}.png")
    assert fits(page)


def test_falls(page: Any, device: str, shots: Path) -> None:
    """A pan shows its planes, ways and pond to scale, and planned heights, and fits the screen."""
    pan(page)
    page.wait_for_timeout(500)
    plan = page.locator(".st-key-falls")
    for words in ("A 1.98%", "least fall", "steepest", "1"):
        assert plan.get_by_text(words, exact=True).count() == 1
    assert page.locator(".fc table.wide").is_visible() is (device == "desk")
    assert page.locator(".fc .narrow").is_visible() is (device == "phone")
    heights = page.locator(".st-key-heights-0")
    assert heights.get_by_text("south wall, level", exact=True).count() == 1
    photograph(page, shots / f"falls-{device}.png")
    assert fits(page)
    overlaps = page.evaluate(
        """() => {
            const box = e => e.getBoundingClientRect();
            const all = [...document.querySelectorAll('.st-key-heights-0 *')];
            const root = all.find(e => e.shadowRoot).shadowRoot;
            const words = [...root.querySelectorAll('[data-words]')];
            const found = [];
            words.forEach((a, i) => words.slice(i + 1).forEach(b => {
                const [p, q] = [box(a), box(b)];
                if (p.left < q.right - 1 && q.left < p.right - 1
                    && p.top < q.bottom - 1 && q.top < p.bottom - 1)
                    found.push([a.textContent, b.textContent]);
            }));
            return [words.length, found];
        }"""
    )
    # Two marks on each short wall and three on each long one, four corners, four names of walls.
    assert overlaps[0] >= 2 * 2 + 2 * 3 + 4 + 4
    assert overlaps[1] == []
    assert scale_of(page, "falls") == pytest.approx(1, rel=0.02)


WORKED = {
    "Slab with two humps, Gorse Yard": "Grinding the high places",
    "Slab with two dips, Withy Lane": "Patching the low places",
    "Community hall, Marram": "Pouring a self-leveler",
}


@pytest.mark.parametrize("title", WORKED)
def test_correction(page: Any, device: str, shots: Path, title: str) -> None:
    """A floor that is out gets its remedy, the table or cards, and a plan to scale that fits."""
    survey(page, title, "Correction")
    button = page.get_by_role("button", name="Work out the correction")
    drawn_anew(page, lambda: press(page, button))
    assert page.locator(".fc .large").inner_text().startswith(WORKED[title])
    assert page.locator(".fc table.remedies").is_visible() is (device == "desk")
    assert page.locator(".fc .narrow .card").first.is_visible() is (device == "phone")
    plan = page.locator(".st-key-work")
    plan.get_by_text("south", exact=True).wait_for()
    page.wait_for_timeout(500)
    depths = plan.locator("[data-words='depths written']")
    written = [depth for depth in depths.all() if depth.is_visible()]
    assert len(written) == depths.count() if device == "desk" else len(written) > 0
    boxes = [depth.bounding_box() for depth in written]
    # The box of a line of text is some 5 px taller than its figures.
    assert not [
        (one, other)
        for k, one in enumerate(boxes)
        for other in boxes[k + 1 :]
        if one["x"] < other["x"] + other["width"] - 1
        and other["x"] < one["x"] + one["width"] - 1
        and one["y"] < other["y"] + other["height"] - 5
        and other["y"] < one["y"] + one["height"] - 5
    ]
    assert scale_of(page, "work") == pytest.approx(1, rel=0.02)
    photograph(page, shots / f"correction-{title.split()[-1].lower()}-{device}.png")
    assert fits(page)


def test_terms_and_what_was_done(page: Any, device: str, shots: Path) -> None:
    """A grinder that must be rented turns the choice; the floor read again shows what was done."""
    title = "Slab with two humps, Gorse Yard"
    survey(page, title, "Correction")
    press(page, page.get_by_text("What the floor is made of, and your prices"))
    page.get_by_label("The grinder costs, 0 if it is yours").fill("90")
    button = page.get_by_role("button", name="Work out the correction")
    drawn_anew(page, lambda: press(page, button))
    assert page.locator(".fc .large").inner_text().startswith("Patching the low places")
    press(page, page.get_by_text("Marks for the floor, and the order of work"))
    press(page, page.get_by_text("Before and after: the floor read again"))
    drawn_anew(page, lambda: page.locator("input[type=file]").set_input_files(GROUND))
    page.get_by_text("After the work the floor is within.").wait_for()
    page.locator(".st-key-change").get_by_text("south", exact=True).wait_for()
    photograph(page, shots / f"terms-{device}.png")
    assert scale_of(page, "change") == pytest.approx(1, rel=0.02)
    assert fits(page)


def dots(page: Any, chart: str, layer: str) -> list[tuple[float, float]]:
    """Where the dots of a layer lie on a drawing, from its upper left [px]."""
    drawn = page.locator(f".st-key-{chart} [data-layer={layer}] path.dots").get_attribute("d")
    box = page.locator(f".st-key-{chart} .plan").bounding_box()
    scale = box["width"] / 1000
    at = re.findall(r"M(\S+) (\S+)h0", drawn)
    return [(float(x) * scale, float(y) * scale) for x, y in at]


def scale_of(page: Any, chart: str) -> float:
    """How many times as long a length up is on a drawing than the same across, by its marks."""

    def px_per_mm(name: str, k: int) -> float:
        marks = page.locator(f".st-key-{chart} [data-words={name}]")
        ends = (marks.first, marks.last)
        boxes = [mark.bounding_box() for mark in ends]
        size = ("width", "height")[k]
        at = [box["xy"[k]] + box[size] / 2 for box in boxes]
        mm = [parse_length(mark.inner_text().replace("+", ""), "mm") for mark in ends]
        return abs((at[1] - at[0]) / (mm[1] - mm[0]))

    return px_per_mm("up", 1) / px_per_mm("across", 0)


@phone_only
def test_inputs_are_large_enough(page: Any) -> None:
    """Every field has type of 16 px, below which a phone zooms into it."""
    go(page, "Job")
    tick(page, "Pasted cells")
    page.locator("textarea").wait_for()
    sizes = page.evaluate(
        "[...document.querySelectorAll('input, textarea')].map(e => getComputedStyle(e).fontSize)"
    )
    assert len(sizes) > 5
    assert {float(size.removesuffix("px")) for size in sizes} == {16.0}


def test_paste(page: Any, device: str, shots: Path) -> None:
    """Cells pasted from the clipboard are judged; until all is said the page says what lacks."""
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "Pasted cells"))
    assert "Still to be said: the readings, what a reading means" in page.inner_text("body")
    paste(page, as_pasted())
    assert page.locator(".fc h2").inner_text() == 'OUT for 12" x 24" tile: pasted cells'
    photograph(page, shots / f"paste-{device}.png")
    assert fits(page)


def test_upload(page: Any) -> None:
    """An uploaded file is judged."""
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "File"))
    page.locator("input[type=file]").set_input_files(LASER)
    page.locator("[data-testid=stFileChipName]").wait_for()
    answer(page)
    assert page.locator(".fc h2").inner_text() == 'OUT for 12" x 24" tile: laser.csv'
    assert fits(page)


@phone_only
def test_hostile_text(page: Any, device: str, shots: Path) -> None:
    """Markup in a cell is shown letter by letter in one sentence, and fetches nothing."""
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "Pasted cells"))
    page.locator("textarea").fill(f"\t1'\t2'\n1'\t47\t{HOSTILE}\n2'\t47\t47")
    answer(page)
    alert = page.get_by_role("alert").filter(has_text="row 2, cell C2")
    assert HOSTILE in alert.inner_text()
    assert "\\" not in alert.inner_text()
    assert alert.locator("img, a").count() == 0
    photograph(page, shots / f"error-{device}.png")
    assert fits(page)


@desk_only
def test_hostile_file_name(page: Any, tmp_path: Path) -> None:
    """Markup in a file's name stays text in the verdict and in what the map tells."""
    file = tmp_path / "<img src=x> ![x](y).csv"
    file.write_bytes(LASER.read_bytes())
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "File"))
    page.locator("input[type=file]").set_input_files(file)
    page.locator("[data-testid=stFileChipName]").wait_for()
    answer(page)
    assert file.name in page.locator(".fc h2").inner_text()
    assert page.locator(".fc img, .st-key-map img").count() == 0
    point_at(page, 0)
    assert file.name in told(page)


@desk_only
def test_download(page: Any, tmp_path: Path) -> None:
    """The verdict comes as a text that begins with its word, and as JSON that holds its outcome."""
    survey(page, "Kitchen subfloor, Millbrook", "Report")
    got = {}
    for words in ("Verdict as text", "Verdict as JSON, in mm"):
        with page.expect_download() as caught:
            page.get_by_role("button", name=words).click()
        caught.value.save_as(tmp_path / caught.value.suggested_filename)
        got[caught.value.suggested_filename] = tmp_path / caught.value.suggested_filename
    assert got["verdict.txt"].read_text().startswith('OUT for 12" x 24" tile')
    assert json.loads(got["verdict.json"].read_text())["outcome"] == "out"


@desk_only
def test_report_and_tables(page: Any, tmp_path: Path) -> None:
    """The report from the page is of that survey, as verify finds; the tables come too."""
    survey(page, "Kitchen subfloor, Millbrook", "Report")
    got = {}
    for words in ("Report to print or to send", "Everything as tables, CSV in a ZIP"):
        with page.expect_download() as caught:
            page.get_by_role("button", name=words).click()
        caught.value.save_as(tmp_path / caught.value.suggested_filename)
        got[caught.value.suggested_filename] = tmp_path / caught.value.suggested_filename
    assert main(["verify", str(got["report.html"]), str(LASER.parent)]) == 0
    with zipfile.ZipFile(got["tables.zip"]) as held:
        assert "stations.csv" in held.namelist()


def point_at(page: Any, number: int, chart: str = "map", layer: str = "readings") -> None:
    """Points at a place on a drawing, with the mouse, or presses it with a finger."""
    plan = page.locator(f".st-key-{chart} .plan")
    plan.scroll_into_view_if_needed()
    page.wait_for_timeout(300)
    x, y = dots(page, chart, layer)[number]
    box = plan.bounding_box()
    x, y = box["x"] + x, box["y"] + y
    if page.evaluate("navigator.maxTouchPoints"):
        page.touchscreen.tap(x, y)
    else:
        page.mouse.move(x - 3, y)
        page.mouse.move(x, y)


def told(page: Any) -> str:
    """What the map tells of the place pointed at."""
    label = page.locator(".st-key-map .told")
    label.wait_for()
    return str(label.text_content())


def test_map_tells_fractions(page: Any) -> None:
    """A reading that is pointed at tells its departure in sixteenths, and where it lies."""
    kitchen(page)
    point_at(page, 40)
    assert re.match(r'[+-]?[0-9 ]*/?[0-9]*" from the required plane', told(page))
    assert "wall" in told(page)


def lies_on_map(page: Any) -> bool:
    """Whether what is told, and the words of the bar of colors, are within the map's own room."""
    room = page.locator(".st-key-map .drawing").bounding_box()
    words = page.locator(".st-key-map .told, .st-key-map .key span")
    boxes = [word.bounding_box() for word in words.all()]
    assert len(boxes) == 6
    return all(
        box["x"] >= room["x"] - 1 and box["x"] + box["width"] <= room["x"] + room["width"] + 1
        for box in boxes
    )


@pytest.mark.parametrize("number", [0, 11, 96, 107])
def test_what_is_told_stays_on_the_drawing(page: Any, number: int) -> None:
    """What is told of a reading in any corner stands on the drawing, and within the screen."""
    kitchen(page)
    point_at(page, number)
    told(page)
    assert lies_on_map(page)
    assert fits(page)


def test_a_floor_much_longer_than_wide(page: Any) -> None:
    """On a plan a finger wide what is told is told in lines, and the marks of the bar are apart."""
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "Pasted cells"))
    cells = ["\t1'\t2'"] + [f"{row}'\t47 {row % 7 + 1}/16\t47" for row in range(1, 61)]
    paste(page, "\n".join(cells))
    page.locator(".st-key-map .key").wait_for()
    assert page.locator(".st-key-map .plan").bounding_box()["width"] < 20
    point_at(page, 50)
    assert "from the required plane" in told(page)
    assert lies_on_map(page)
    assert page.locator(".st-key-map .told").bounding_box()["width"] > 200
    words = page.locator(".st-key-map .key span").all()
    boxes = [word.bounding_box() for word in words]
    for one, other in itertools.pairwise(boxes):
        assert one["x"] + one["width"] <= other["x"]


@desk_only
def test_a_place_is_chosen_by_keys(page: Any) -> None:
    """Arrow keys go from reading to reading, Enter chooses one, and once more leaves it."""
    kitchen(page)
    page.locator(".st-key-map .plan").focus()
    for key in ("ArrowRight", "ArrowUp", "ArrowRight"):
        page.keyboard.press(key)
    first = told(page)
    page.keyboard.press("ArrowLeft")
    assert told(page) != first
    page.keyboard.press("ArrowRight")
    assert told(page) == first
    page.keyboard.press("Enter")
    words = page.get_by_text("A bar laid through the place you chose")
    words.wait_for()
    place = first.split("required plane")[1].split("laser.csv")[0]
    assert place in words.inner_text()
    page.keyboard.press("Enter")
    words.wait_for(state="detached")


def test_hatches_keep_their_size(page: Any) -> None:
    """On any screen a hatch has as many pixels, so that it is seen on a phone."""
    pan(page)
    page.wait_for_timeout(500)
    plan = page.locator(".st-key-falls .plan")
    wide = plan.bounding_box()["width"]
    patterns = plan.locator("pattern").evaluate_all(
        "all => all.map(p => p.getAttribute('patternTransform'))"
    )
    assert len(patterns) >= 2
    for scale in patterns:
        assert float(scale.removeprefix("scale(").removesuffix(")")) * wide == pytest.approx(
            1000, rel=0.01
        )


def test_larger_type_on_drawings_too(page: Any, address: str) -> None:
    """Large type makes the words on drawings larger, and they still choose and fit."""

    def tall() -> float:
        return float(page.locator(".st-key-map [data-words=side]").first.bounding_box()["height"])

    def widest() -> str:
        return str(page.locator(".st-key-map .plan").evaluate("p => getComputedStyle(p).maxWidth"))

    kitchen(page)
    before, limit = tall(), widest()
    page.goto(f"{address}/?large=true&sun=true")
    page.wait_for_selector(".runs", state="attached")
    kitchen(page)
    page.wait_for_timeout(500)
    assert tall() == pytest.approx(1.25 * before, rel=0.05)
    # Drawn at 1.25 times its size: a limit of as many pixels is one of as many letters.
    assert widest() == limit
    assert fits(page)
    point_at(page, 40)
    assert "from the required plane" in told(page)


def test_a_bar_is_slid_through_a_chosen_place(page: Any, device: str, shots: Path) -> None:
    """A place that is clicked or tapped once shows its profile, and a key slides the bar along."""
    kitchen(page)
    point_at(page, 40)
    if device == "desk":
        page.mouse.down()
        page.mouse.up()
    words = page.get_by_text("A bar laid through the place you chose")
    words.wait_for()
    for way in ("south", "west"):
        press(page, page.locator(".st-key-bar-way").get_by_text(way, exact=True))
        page.get_by_text(f"from the {way} end").first.wait_for()
    page.locator(".st-key-profile [data-layer=bar] path").wait_for(state="attached")
    page.wait_for_timeout(500)
    said = page.locator(".fc p").filter(has_text="that the bar touches")
    before = said.inner_text()
    photograph(page, shots / f"slide-{device}.png")
    page.get_by_role("slider").press("ArrowRight")
    page.wait_for_function(
        "before => !document.body.innerText.includes(before)", arg=before, timeout=5000
    )
    assert fits(page)


def swipe(page: Any, shown: str) -> float:
    """Draws a finger down over what is shown, 150 px, and tells how far the page scrolled."""
    top = "document.querySelector('[data-testid=stMain]').scrollTop"
    drawing = page.locator(shown)
    drawing.evaluate("e => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(300)
    box = drawing.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = page.evaluate(top)
    finger = page.context.new_cdp_session(page)
    for step in range(16):
        kind = "touchMove" if step else "touchStart"
        points = [{"x": x, "y": y + 10 * step}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        page.wait_for_timeout(16)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_timeout(300)
    return float(before - page.evaluate(top))


@phone_only
@pytest.mark.parametrize("chart", ["map", "profile", "falls", "heights-0"])
def test_swipe_over_chart(page: Any, chart: str) -> None:
    """A finger drawn down over a drawing scrolls the page by about as much."""
    (pan if chart in ("falls", "heights-0") else kitchen)(page)
    assert swipe(page, f".st-key-{chart} .plan") > 75


@phone_only
def test_swipe_over_the_solid(page: Any) -> None:
    """A finger drawn down over the solid scrolls the page too; it is the slider that turns it."""
    kitchen(page)
    press(page, page.get_by_text("Show the floor as a solid"))
    page.locator(".js-plotly-plot canvas").first.wait_for(state="attached")
    page.wait_for_timeout(1000)
    assert swipe(page, ".js-plotly-plot") > 75


def test_drawings_are_to_scale(page: Any) -> None:
    """In pixels the map's axes are equal, and the profile is as exaggerated as it says."""
    kitchen(page)
    page.wait_for_timeout(500)
    words = page.locator(".st-key-profile [data-words=stated]").inner_text()
    stated = re.search(r"drawn ([0-9]+) times", words)
    assert stated
    assert scale_of(page, "map") == pytest.approx(1, rel=0.02)
    assert scale_of(page, "profile") == pytest.approx(float(stated[1]), rel=0.02)


def test_only_this_machine(address: str) -> None:
    """The server does not answer on another address of this machine."""
    port = int(address.rpartition(":")[2])
    socket.create_connection(("127.0.0.1", port), timeout=5).close()
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.2", port), timeout=5)


def test_nothing_left_behind(start: Any, chromium: Any, tmp_path: Path) -> None:
    """When `flatcheck page` is ended its server ends too."""
    process, port = start(tmp_path)
    process.terminate()
    process.wait(timeout=20)
    for _ in range(50):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except ConnectionRefusedError:
            return
        time.sleep(0.1)
    pytest.fail("the server still answers")
