"""A real server on a free port, and a real browser at the widths of a desk and of a phone."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

DEVICES: dict[str, dict[str, Any]] = {
    "desk": {"viewport": {"width": 1280, "height": 900}},
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 2,
    },
}

QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


Starter = Callable[..., tuple[subprocess.Popen[bytes], int]]


@pytest.fixture(scope="session")
def start() -> Starter:
    """Starts `flatcheck page` in a folder without settings; gives its process and its port."""

    def started(folder: Path, *more: str) -> tuple[subprocess.Popen[bytes], int]:
        with socket.create_server(("127.0.0.1", 0)) as holder:
            port = int(holder.getsockname()[1])
        log = folder / "server.log"
        command = [sys.executable, "-m", "flatcheck", "page", "--port", str(port)]
        command += ["--store", str(folder / "kept"), *more]
        with log.open("wb") as said:
            process = subprocess.Popen(command, cwd=folder, stdout=said, stderr=said)
        for _ in range(300):
            if process.poll() is not None:
                break
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health"):
                    return process, port
            except (urllib.error.URLError, ConnectionError):
                time.sleep(0.1)
        process.kill()
        raise AssertionError(log.read_text())

    return started


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser; where there is none the tests fail."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("chromium is not installed; nothing was tried in a browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(QUIET))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def address(
    chromium: Any, start: Starter, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """Where the page is served, as long as the browser tests run."""
    process, port = start(tmp_path_factory.mktemp("server"))
    yield f"http://127.0.0.1:{port}"
    process.terminate()
    process.wait(timeout=20)


@dataclass(frozen=True)
class Screen:
    """A browser at one width, and every address that it has asked for."""

    context: Any
    requests: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def screens(chromium: Any, address: str) -> Iterator[dict[str, Screen]]:
    """A desk's and a phone's, each kept so that the page need not be fetched for every test."""
    found = {}
    for name, device in DEVICES.items():
        screen = Screen(chromium.new_context(**device))
        screen.context.set_default_timeout(20_000)
        screen.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=address)
        screen.context.on("request", lambda asked, kept=screen.requests: kept.append(asked.url))
        found[name] = screen
    yield found
    for screen in found.values():
        screen.context.close()


@pytest.fixture(params=DEVICES)
def device(request: pytest.FixtureRequest) -> str:
    """The name of the screen."""
    return str(request.param)


@pytest.fixture
def requests(screens: dict[str, Screen], device: str) -> list[str]:
    """Every address that this screen's browser has asked for."""
    return screens[device].requests


@pytest.fixture
def page(
    screens: dict[str, Screen], device: str, address: str, requests: list[str]
) -> Iterator[Any]:
    """The page, opened and drawn; at the end nothing must have been asked of another machine."""
    opened = screens[device].context.new_page()
    opened.on("websocket", lambda socket: requests.append(socket.url))
    opened.goto(address)
    opened.wait_for_selector(".runs", state="attached")
    yield opened
    opened.close()
    assert any(url.startswith("ws://127.0.0.1") for url in requests)
    assert elsewhere(requests) == []


def elsewhere(addresses: list[str]) -> list[str]:
    """The addresses that are not on this machine."""
    parts = [(url, urlsplit(url)) for url in addresses]
    return [
        url
        for url, part in parts
        if part.scheme not in ("data", "blob", "about") and part.hostname != "127.0.0.1"
    ]


@pytest.fixture
def shots(tmp_path: Path) -> Path:
    """Where screenshots go: FLATCHECK_SHOTS, else a folder that is thrown away."""
    folder = Path(os.environ.get("FLATCHECK_SHOTS", tmp_path))
    folder.mkdir(parents=True, exist_ok=True)
    return folder
