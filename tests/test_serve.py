"""How the page is served: alone, or to a phone with a key; and that its server reaches nobody."""

import os
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from flatcheck.errors import FlatcheckError
from flatcheck.ui import serve


def options(command: list[str], name: str) -> list[str]:
    """What a flag says, as often as it is said."""
    return [flag.partition("=")[2] for flag in command if flag.startswith(f"--{name}=")]


def test_alone() -> None:
    """Unless told otherwise nobody else reaches the page, and no key is asked."""
    command = serve.command(8765)
    assert options(command, "server.address") == ["127.0.0.1"]
    assert options(command, "server.allowedHosts") == ["localhost", "127.0.0.1"]
    assert serve.environment(None, "")[serve.KEY] == ""
    assert options(command, "server.maxUploadSize") == ["16"]


def test_phone() -> None:
    """For a phone it listens everywhere, answers to the machine's own addresses alone, and says
    how it is found, and what that means."""
    command = serve.command(8765, ["192.0.2.7", "198.51.100.4"])
    assert options(command, "server.address") == ["0.0.0.0"]
    hosts = ["localhost", "127.0.0.1", "192.0.2.7", "198.51.100.4"]
    assert options(command, "server.allowedHosts") == hosts
    said = serve.phone_words(["192.0.2.7"], 8765, "abcde23456")
    assert "http://192.0.2.7:8765/?key=abcde23456" in said
    assert "is not encrypted" in said


def test_own_addresses() -> None:
    """They are addresses in figures, and none that only this machine itself can use."""
    for address in serve.own_addresses():
        assert re.fullmatch(r"\d+\.\d+\.\d+\.\d+", address)
        assert not address.startswith("127.")


def test_no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is no network for a phone it is one sentence, and nothing is served."""
    monkeypatch.setattr(serve, "own_addresses", list)
    with pytest.raises(FlatcheckError, match="in no network where a phone could find it"):
        serve.serve(0, phone=True)


def test_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder of the store reaches the page whole, from wherever it is served."""
    monkeypatch.chdir(tmp_path)
    assert serve.environment(Path("here"), "")[serve.FOLDER] == str(tmp_path / "here")
    monkeypatch.delenv(serve.FOLDER)
    assert serve.FOLDER not in serve.environment(None, "")


LOOKUP = """
import socket
from streamlit.net_util import get_external_ip
asked = []
connect = socket.socket.connect
def watched(self, address):
    asked.append(address)
    return connect(self, address)
socket.socket.connect = watched
socket.getaddrinfo = lambda host, port, *rest, **more: (
    asked.append((host, port)),
    [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", port))],
)[1]
print(get_external_ip(), {host for host, _ in asked})
"""


def test_server_reaches_nobody() -> None:
    """What the server would ask of a host outside, when a foreign page knocks, stays here."""
    done = subprocess.run(
        [sys.executable, "-c", LOOKUP],
        env=serve.environment(None, ""),
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "None {'127.0.0.1'}"
    free = subprocess.run(
        [sys.executable, "-c", LOOKUP.replace('"127.0.0.1", port', '"127.0.0.1", 9')],
        env={name: said for name, said in os.environ.items() if "proxy" not in name.lower()},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "127.0.0.1" in free.stdout
    assert "amazonaws" in free.stdout  # this is what would be asked


def test_port_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port that is taken is told for a phone too, before a key is printed."""
    monkeypatch.setattr(serve, "own_addresses", lambda: ["192.0.2.7"])
    with socket.create_server(("0.0.0.0", 0)) as holder:
        port = holder.getsockname()[1]
        with pytest.raises(FlatcheckError, match=f"port {port} cannot be used"):
            serve.serve(port, phone=True)
