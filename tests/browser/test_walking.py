"""A survey of one's own in a real browser: begun, walked, and never lost."""

import os
import random
import re
import signal
import socket
import statistics
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from browser.conftest import DEVICES, Screen, elsewhere
from browser.test_page import drawn_anew, fits, go, photograph, point_at, press, tick

from flatcheck.readers.cells import cells_of
from flatcheck.store import Store

HOSTILE = "<img src=x onerror=alert(1)> ![x](http://elsewhere.example/x.png)"
WATCH = """() => {
    const root = [...document.querySelectorAll('*')].map(e => e.shadowRoot)
        .find(root => root && root.querySelector('.walk'));
    window.acknowledged = [];
    let tapped = 0;
    root.addEventListener('click', () => { tapped = performance.now(); }, true);
    const status = root.querySelector('.status');
    new MutationObserver(() => {
        if (!tapped || !status.textContent.startsWith('Kept')) return;
        window.acknowledged.push(performance.now() - tapped);
        tapped = 0;
    }).observe(status, {childList: true, characterData: true, subtree: true});
}"""
"""Notes how long it takes from a tap on the keys to the words that what was typed is kept."""

FORK = """
import os, signal, sys, threading
import flatcheck.threads
from streamlit.web import bootstrap
from flatcheck.ui import page, serve
port, folder = sys.argv[1:]
os.environ |= serve.environment(serve.Path(folder), "")
flags = [flag.lstrip("-").partition("=") for flag in serve.command(int(port))[5:]]
options = {}
for name, _, value in flags:
    name = name.replace(".", "_")
    value = {"true": True, "false": False}.get(value, int(value) if value.isdigit() else value)
    options[name] = [*options[name], value] if name in options else value
options["server_allowedHosts"] = list(serve.SETTINGS["server.allowedHosts"])
for line in sys.stdin:
    child = os.fork()
    if not child:
        bootstrap.load_config_options(options)
        bootstrap.run(page.__file__, False, [], options)
        os._exit(0)
    print(child, flush=True)
    os.waitpid(child, 0)
"""
"""Serves the page from a process that has all it needs in memory, and again when it was killed."""


def sample(page: Any) -> None:
    """Shows the verdict on a sample, which is what the first visitor sees."""
    if page.get_by_role("button", name="Make it mine").count() == 0:
        go(page, "Job")
        drawn_anew(page, lambda: tick(page, "Sample survey"))
        go(page, "Verdict")
    page.locator(".fc h2").wait_for()


def new_survey(page: Any, sides: tuple[str, str] = ("8 ft", "5 ft")) -> None:
    """Begins a survey of a room, read every foot."""
    go(page, "Job")
    drawn_anew(page, lambda: tick(page, "New survey"))
    page.get_by_label("What floor is it").fill(f"Back kitchen {HOSTILE}")
    for label, side in zip(("Room, west to east", "South to north"), sides, strict=True):
        page.get_by_label(label).fill(side)
    tick(page, "Rod or staff: larger is lower")
    page.get_by_label("How far a reading may be off").fill("1/32 in")
    page.get_by_label("Tile length").fill("12 in")
    page.get_by_label("Tile width").fill("12 in")
    page.get_by_label("A reading every").fill("1 ft")
    press(page, page.get_by_role("button", name="Begin this survey"))
    page.get_by_role("button", name="Walk the floor").wait_for()
    page.wait_for_selector(".runs", state="attached")
    assert page.get_by_role("radio", name="Your surveys").is_checked()


def walk(page: Any) -> None:
    """Begins to walk, at the first place."""
    press(page, page.get_by_role("button", name="Walk the floor"))
    page.locator(".walk .count").wait_for()


def kept(page: Any, number: int, text: str = "") -> None:
    """Waits until the screen says that the reading of a place is kept."""
    page.locator(".walk .status").get_by_text(
        f"Kept, {number}: {text}", exact=bool(text)
    ).wait_for()


def key_of(page: Any) -> str:
    """The key of the survey in the address."""
    return parse_qs(urlsplit(page.url).query)["survey"][0]


def readings(store: Store, key: str) -> list[str]:
    """What the table holds, in the order it is walked."""
    rows = cells_of("readings.csv", store.head(key).files["readings.csv"])[:0:-1]
    return [c for k, row in enumerate(rows) for c in (row[1:] if k % 2 == 0 else row[:0:-1])]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the server of these tests lives: what they keep is not seen by others."""
    return tmp_path_factory.mktemp("walking")


@pytest.fixture(scope="module")
def address(folder: Path, start: Callable[..., Any]) -> Iterator[str]:
    """Where the page is served for these tests."""
    process, port = start(folder)
    yield f"http://127.0.0.1:{port}"
    process.terminate()
    process.wait(timeout=20)


@pytest.fixture(scope="module")
def screens(chromium: Any) -> Iterator[dict[str, Screen]]:
    """A desk's and a phone's."""
    found = {name: Screen(chromium.new_context(**device)) for name, device in DEVICES.items()}
    for screen in found.values():
        screen.context.set_default_timeout(20_000)
        screen.context.on("request", lambda asked, kept=screen.requests: kept.append(asked.url))
    yield found
    for screen in found.values():
        screen.context.close()


@pytest.fixture
def store(address: str, folder: Path) -> Store:
    """What the server has kept."""
    return Store(folder / "kept")


phone_only = pytest.mark.parametrize("device", ["phone"], indirect=True)
desk_only = pytest.mark.parametrize("device", ["desk"], indirect=True)


def test_first_visit(page: Any, device: str, shots: Path) -> None:
    """Whoever comes first sees a verdict, makes the sample theirs in one click, and it stays."""
    sample(page)
    line = page.locator(".fc h2").inner_text()
    photograph(page, shots / f"first-{device}.png")
    press(page, page.get_by_role("button", name="Make it mine"))
    page.wait_for_function("location.search.includes('survey=')")
    page.get_by_role("button", name="Make it mine").wait_for(state="detached")
    assert page.locator(".fc h2").inner_text() == line
    assert re.fullmatch("[a-z0-9]{12}", key_of(page))
    page.reload()
    page.locator(".fc h2").get_by_text(line.partition(": ")[2]).wait_for()
    assert page.locator(".fc h2").inner_text() == line
    page.wait_for_selector(".runs", state="attached")
    go(page, "Readings")
    page.get_by_role("button", name="Undo").wait_for()
    photograph(page, shots / f"mine-{device}.png")
    assert fits(page)


@phone_only
def test_forty_readings(page: Any, device: str, shots: Path, store: Store) -> None:
    """Forty places are read by thumb, each under 2 s from one to the next, to a verdict."""
    new_survey(page)
    photograph(page, shots / "begun-phone.png")
    walk(page)
    assert page.locator(".walk .first").inner_text() == '6" from the west wall'
    page.locator(".walk .digits").get_by_text("4", exact=True).tap()
    page.locator(".walk .digits").get_by_text("7", exact=True).tap()
    page.evaluate(WATCH)
    chance = random.Random(3)
    typed, taken = [], []
    for number in range(1, 41):
        fraction = chance.choice(["7/16", "1/2", "9/16"])
        began = time.perf_counter()
        page.locator(".walk .fractions").get_by_text(fraction, exact=True).tap()
        kept(page, number)
        taken.append(time.perf_counter() - began)
        typed.append(f"47 {fraction}")
        if number == 20:
            page.screenshot(path=shots / "walk-phone.png")
    own = page.evaluate("window.acknowledged")
    assert len(own) == 40
    print(
        f"\nfrom one reading to the next: median {statistics.median(taken):.2f} s, "
        f"most {max(taken):.2f} s; acknowledged: median {statistics.median(own):.0f} ms"
    )
    assert statistics.median(taken) < 2
    assert page.locator(".walk .count").inner_text() == "All 40 places have their entry."
    assert readings(store, key_of(page)) == typed
    assert fits(page)
    page.locator(".walk .done").tap()
    page.locator(".fc h2").wait_for()
    assert "Back kitchen <img src=x" in page.locator(".fc h2").inner_text()
    assert page.locator(".fc img").count() == 0


def test_along_the_way(page: Any, device: str, shots: Path, store: Store) -> None:
    """Back, skip, later, a misread inch and a word that is no length, all from the keyboard."""
    new_survey(page)
    walk(page)
    field = page.locator(".walk .field")
    for number in range(1, 9):
        page.keyboard.type("47 1/2", delay=5)
        page.keyboard.press("Enter")
        kept(page, number, "47 1/2")
        assert field.evaluate("field => field.getRootNode().activeElement === field")
    page.keyboard.type("46 1/2", delay=5)
    page.keyboard.press("Enter")
    doubt = page.locator(".walk .doubt")
    doubt.wait_for()
    assert '1" less than its neighbors lead to expect' in doubt.inner_text()
    assert "an inch off?" in doubt.inner_text()
    assert "Place 9 of 40" in page.locator(".walk .count").inner_text()
    page.screenshot(path=shots / f"doubt-{device}.png")
    # It is kept all the same, until another is typed over it.
    assert readings(store, key_of(page))[8] == "46 1/2"
    page.keyboard.type("47 1/2", delay=5)
    page.keyboard.press("Enter")
    kept(page, 9, "47 1/2")
    page.keyboard.type("46 7/16", delay=5)
    page.keyboard.press("Enter")
    doubt.wait_for()
    press(page, page.locator(".walk .keep"))
    page.locator(".walk .count").get_by_text("Place 11 of 40").wait_for()
    press(page, page.locator(".walk .skip"))
    kept(page, 11, "cannot be read")
    press(page, page.locator(".walk .later"))
    page.locator(".walk .count").get_by_text("Place 13 of 40").wait_for()
    page.keyboard.type(HOSTILE)
    page.keyboard.press("Enter")
    error = page.locator(".walk .error")
    error.wait_for()
    assert HOSTILE[:20] in error.inner_text()
    assert page.locator(".walk img").count() == 0
    press(page, page.locator(".walk .back"))
    page.locator(".walk .count").get_by_text("Place 12 of 40").wait_for()
    page.reload()
    page.locator(".walk .count").get_by_text("Place 12 of 40, 29 to go").wait_for()
    assert readings(store, key_of(page))[:13] == [*["47 1/2"] * 9, "46 7/16", "x", "", ""]


@desk_only
def test_typed_ahead(page: Any, store: Store) -> None:
    """Readings typed faster than they are kept come one by one into their own places."""
    new_survey(page)
    walk(page)
    typed = ["47 1/2", "47 9/16", "47 7/16", "47 1/2"]
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    kept(page, 4, "47 1/2")
    assert readings(store, key_of(page))[:5] == [*typed, ""]


@desk_only
def test_two_browsers(page: Any, chromium: Any, store: Store, shots: Path) -> None:
    """Two walk one floor: each sees what the other kept, and none writes over the other."""
    new_survey(page)
    walk(page)
    context = chromium.new_context(**DEVICES["phone"])
    other = context.new_page()
    other.goto(page.url)
    other.locator(".walk .count").get_by_text("Place 1 of 40").wait_for()
    page.keyboard.type("47 1/2")
    page.keyboard.press("Enter")
    kept(page, 1, "47 1/2")
    other.keyboard.type("48 1/2")
    other.keyboard.press("Enter")
    error = other.locator(".walk .error")
    error.wait_for()
    assert "your '48 1/2' was not written over it." in error.inner_text()
    assert "written here: 47 1/2" in other.locator(".walk .count").inner_text()
    other.screenshot(path=shots / "two-browsers-phone.png")
    other.locator(".walk .later").tap()
    other.locator(".walk .count").get_by_text("Place 2 of 40").wait_for()
    other.keyboard.type("47 5/8")
    other.keyboard.press("Enter")
    kept(other, 2, "47 5/8")
    # From a screen drawn before: the third place was free then and is now.
    press(page, page.locator(".walk .later"))
    page.locator(".walk .count").get_by_text("Place 3 of 40").wait_for()
    page.keyboard.type("47 3/8")
    page.keyboard.press("Enter")
    kept(page, 3, "47 3/8")
    assert readings(store, key_of(page))[:4] == ["47 1/2", "47 5/8", "47 3/8", ""]
    context.close()


@desk_only
def test_undo_history_and_zip(page: Any, shots: Path, store: Store, tmp_path: Path) -> None:
    """A tile changed is undone and done again, told with a name, and comes back from a ZIP."""
    sample(page)
    page.get_by_role("button", name="Make it mine").click()
    page.get_by_role("button", name="Undo").wait_for()
    page.get_by_text("What was done, and by whom").click()
    page.get_by_label("Your name, for what you change").fill("Ana <b>")
    drawn_anew(page, lambda: page.keyboard.press("Tab"))
    tile = page.get_by_label("Tile length")
    was = tile.input_value()
    tile.fill("13 in")
    page.keyboard.press("Tab")
    page.get_by_text("survey.toml: tile changed", exact=True).wait_for(state="attached")
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("by Ana <b>").first.wait_for()
    page.wait_for_function(
        "was => [...document.querySelectorAll('input')].some(i => i.value === was)", arg=was
    )
    page.get_by_role("button", name="Redo").click()
    page.get_by_text("redo: survey.toml: tile changed", exact=True).wait_for(state="attached")
    photograph(page, shots / "history-desk.png")
    with page.expect_download() as caught:
        page.get_by_role("button", name="Take away as ZIP").click()
    file = tmp_path / caught.value.suggested_filename
    caught.value.save_as(file)
    key = key_of(page)
    page.get_by_text("Bring in a survey that was taken away").click()
    page.locator("input[type=file][accept*=zip]").first.set_input_files(file)
    page.locator("[data-testid=stFileChipName]").wait_for()
    page.get_by_role("button", name="Bring it in").click()
    page.wait_for_function("key => !location.search.includes(key)", arg=key)
    page.get_by_role("button", name="Undo").wait_for()
    assert store.head(key).files == store.head(key_of(page)).files


@phone_only
def test_no_connection(page: Any, store: Store, shots: Path) -> None:
    """A reading typed while the network is away is told as not kept yet, and kept when it is back.

    The network is taken from the browser for five seconds in the middle of entry.
    """
    new_survey(page)
    walk(page)
    page.keyboard.type("47 1/2")
    page.keyboard.press("Enter")
    kept(page, 1, "47 1/2")
    key = key_of(page)
    page.context.set_offline(True)
    page.keyboard.type("47 9/16")
    page.keyboard.press("Enter")
    page.wait_for_timeout(5_000)
    page.screenshot(path=shots / "offline-phone.png")
    assert readings(store, key)[:3] == ["47 1/2", "", ""]
    assert "Kept, 2" not in page.locator(".walk .status").inner_text()
    page.context.set_offline(False)
    kept(page, 2, "47 9/16")
    page.keyboard.type("47 5/8")
    page.keyboard.press("Enter")
    kept(page, 3, "47 5/8")
    assert readings(store, key)[:4] == ["47 1/2", "47 9/16", "47 5/8", ""]
    assert len(store.history(key)) == 4


def own(page: Any) -> str:
    """Makes a sample one's own and opens its readings; gives its key."""
    sample(page)
    press(page, page.get_by_role("button", name="Make it mine"))
    page.wait_for_function("location.search.includes('survey=')")
    page.get_by_role("button", name="Make it mine").wait_for(state="detached")
    page.wait_for_selector(".runs", state="attached")
    go(page, "Readings")
    page.get_by_text("The readings as they are written").wait_for()
    return key_of(page)


def type_in(page: Any, row: int, column: int, text: str) -> None:
    """Types into a cell of the table, row and column as it counts them, until it is there.

    The table is a canvas: a click on a place of it can miss while the page is being drawn.
    """
    table = page.locator("[data-testid=stDataFrame]")
    cell = page.locator(f'[data-testid="glide-cell-{column}-{row - 1}"]')
    field = page.locator("#portal textarea")
    for _ in range(5):
        table.scroll_into_view_if_needed()
        box = table.locator("canvas").first.bounding_box()
        page.mouse.click(box["x"] + 50 + 80 * (column - 0.5), box["y"] + 35 * (row + 0.5))
        page.wait_for_timeout(500)
        if cell.get_attribute("aria-selected") == "true":
            page.keyboard.press("Enter")
            page.wait_for_timeout(300)
        if field.count() and cell.get_attribute("aria-selected") == "true":
            field.fill(text)
            page.keyboard.press("Enter")
            page.wait_for_timeout(500)
        if cell.text_content() == text:
            return
    raise AssertionError(f"{text!r} could not be typed")


def test_table(page: Any, device: str, shots: Path, store: Store) -> None:
    """A cell typed into the table is on disk when it is told; a bad one is told and stays."""
    key = own(page)
    page.wait_for_timeout(1000)
    photograph(page, shots / f"table-{device}.png")
    assert fits(page)
    type_in(page, 3, 2, "47 3/8")
    page.get_by_text("Kept: laser.csv, row 3").wait_for()
    assert cells_of("laser.csv", store.head(key).files["laser.csv"])[2][1] == "47 3/8"
    type_in(page, 3, 3, HOSTILE)
    page.get_by_text("laser.csv, row 3, cell C3").wait_for()
    type_in(page, 4, 3, "47 7/8")
    page.get_by_text("Kept: laser.csv, row 4").wait_for()
    photograph(page, shots / f"table-bad-{device}.png")
    kept_cells = cells_of("laser.csv", store.head(key).files["laser.csv"])
    assert kept_cells[3][2] == "47 7/8"
    assert HOSTILE not in kept_cells[2]
    assert page.locator('[data-testid="glide-cell-3-2"]').text_content() == HOSTILE


def test_straightedge(page: Any, device: str, shots: Path, store: Store) -> None:
    """A bar is laid between two places chosen on the drawing, and its gaps are kept as rows."""
    key = own(page)
    press(page, page.get_by_text("Write down a bar"))
    page.locator(".st-key-bar [data-layer=places] path").wait_for(state="attached")
    # The kitchen is read every foot from half a foot on, 12 by 9 places.
    for column, row, label in ((1, 2, "First end, x"), (7, 7, "Second end, x")):
        point_at(page, 12 * row + column, "bar", "places")
        if device == "desk":
            page.mouse.down()
            page.mouse.up()
        page.wait_for_function(
            "label => [...document.querySelectorAll('input')].some("
            "i => (i.ariaLabel || '').startsWith(label) && i.value)",
            arg=label,
        )
        page.wait_for_timeout(500)
    ends = ["First end, x", "First end, y", "Second end, x", "Second end, y"]
    said = [page.get_by_label(label).input_value() for label in ends]
    assert said == ["1' 6\"", "2' 6\"", "7' 6\"", "7' 6\""]
    page.get_by_label("From first end, 1").fill("3 ft")
    page.get_by_label("Gap there, 1").fill("pigs")
    press(page, page.get_by_role("button", name="Keep this bar"))
    page.get_by_text("'pigs' cannot be read").wait_for()
    photograph(page, shots / f"bar-{device}.png")
    assert fits(page)
    page.get_by_label("Gap there, 1").fill("3/16")
    press(page, page.get_by_role("button", name="Keep this bar"))
    page.get_by_text("Kept: bar laid from").wait_for()
    rows = cells_of("straightedge.csv", store.head(key).files["straightedge.csv"])
    assert dict(zip(*rows, strict=True)) == {
        **dict(zip(("x1", "y1", "x2", "y2"), said, strict=True)),
        "bar": "B1",
        "at": "3 ft",
        "gap": "3/16",
        "block": "",
    }
    photograph(page, shots / f"bar-kept-{device}.png")


class Forked:
    """A server that starts again within moments of being killed."""

    def __init__(self, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as holder:
            self.port = int(holder.getsockname()[1])
        self.log = (folder / "server.log").open("w")
        self.mother = subprocess.Popen(
            [sys.executable, "-c", FORK, str(self.port), str(folder / "kept")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.log,
            text=True,
        )
        self.child = 0

    def start(self) -> None:
        """Serves; returns once it answers."""
        assert self.mother.stdin
        assert self.mother.stdout
        self.mother.stdin.write("go\n")
        self.mother.stdin.flush()
        line = self.mother.stdout.readline()
        while not line.strip().isdigit():  # the server says its address there too
            line = self.mother.stdout.readline()
        self.child = int(line)
        for _ in range(600):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/_stcore/health"):
                    return
            except (urllib.error.URLError, ConnectionError):
                time.sleep(0.02)
        raise AssertionError("no server")

    def kill(self) -> None:
        """Ends it as a battery does."""
        os.kill(self.child, signal.SIGKILL)

    def close(self) -> None:
        """Ends all of it."""
        assert self.mother.stdin
        self.mother.stdin.close()
        self.kill()
        self.mother.wait(timeout=20)
        self.log.close()


@pytest.fixture
def forked(tmp_path: Path) -> Iterator[Forked]:
    """Such a server, started."""
    server = Forked(tmp_path)
    server.start()
    yield server
    server.close()


KILLS = int(os.environ.get("FLATCHECK_KILLS", "12"))
"""Each takes some three seconds, mostly until the browser looks for its server again; 50 on the
store alone are in `tests/test_store.py`."""


def test_killed(forked: Forked, chromium: Any, tmp_path: Path, shots: Path) -> None:
    """The server is killed KILLS times during entry: no reading is lost, doubled or moved.

    What was acknowledged is on disk at once; what was not yet is sent again by the screen.
    """
    context = chromium.new_context(**DEVICES["phone"])
    context.set_default_timeout(30_000)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{forked.port}")
    page.wait_for_selector(".runs", state="attached")
    new_survey(page, ("10 ft", "6 ft"))
    walk(page)
    store, key = Store(tmp_path / "kept"), key_of(page)
    chance = random.Random(11)
    typed: list[str] = []
    survived = 0
    for number in range(1, KILLS + 1):
        typed.append(f"47 {chance.choice(['7/16', '1/2', '9/16'])}")
        page.keyboard.type(typed[-1])
        page.keyboard.press("Enter")
        page.wait_for_timeout(chance.uniform(0, 150))
        said = page.locator(".walk .status").text_content()
        forked.kill()
        held = readings(store, key)
        assert held[: number - 1] == typed[:-1]
        if said == f"Kept, {number}: {typed[-1]}":
            survived += 1
            assert held[number - 1] == typed[-1]
        forked.start()
        kept(page, number, typed[-1])
    assert readings(store, key) == [*typed, *[""] * (60 - KILLS)]
    assert len(store.history(key)) == 1 + KILLS
    assert f"Place {KILLS + 1} of 60" in page.locator(".walk .count").inner_text()
    page.screenshot(path=shots / "killed-phone.png")
    print(f"\nkilled {KILLS} times, {survived} of them after the reading was acknowledged")
    assert elsewhere(asked) == []
    context.close()


def test_phone(chromium: Any, start: Callable[..., Any], tmp_path: Path, shots: Path) -> None:
    """With --phone the page prints where a phone finds it, and opens to those who know the key."""
    process, port = start(tmp_path, "--phone")
    log = (tmp_path / "server.log").read_text()
    found = re.search(rf"^  (http://[0-9.]+:{port}/)\?key=([a-z0-9]{{10}})$", log, re.MULTILINE)
    assert found, log
    address, key = found.groups()
    context = chromium.new_context(**DEVICES["phone"])
    page = context.new_page()
    page.goto(address)
    page.get_by_text("This page asks for a key").wait_for()
    page.screenshot(path=shots / "door-phone.png")
    assert page.get_by_text("Readings from").count() == 0
    field = page.get_by_label("The key, as it is printed where flatcheck runs")
    field.fill("a" * 10)
    page.get_by_role("button", name="Go in").tap()
    page.get_by_text("That is not the key.").wait_for()
    page.goto(f"{address}?key={key}")
    page.locator(".fc h2").wait_for()
    context.close()
    process.terminate()
    process.wait(timeout=20)
