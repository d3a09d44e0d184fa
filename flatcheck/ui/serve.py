"""Starts the page: on this machine only, or where a phone finds it, with a key, when told to."""

import os
import secrets
import signal
import socket
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from flatcheck.errors import FlatcheckError
from flatcheck.language import say

HOST = "127.0.0.1"

SETTINGS: dict[str, object] = {
    "browser.gatherUsageStats": False,
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    "runner.magicEnabled": False,
    "server.address": HOST,
    "server.allowedHosts": ["localhost", HOST],
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.maxUploadSize": 16,
    "server.showEmailPrompt": False,
    "theme.base": "light",
    "theme.primaryColor": "#1f4e79",
}
"""What keeps the page alone on this machine; `.streamlit/config.toml` says the same."""


READY = "import flatcheck.ui.page; from streamlit.web.cli import main; main()"
"""Serves with all that the page needs in memory, so that the first person to come need not wait."""

FOLDER, KEY = "FLATCHECK_STORE", "FLATCHECK_KEY"
"""Tell the page where the surveys are kept, and the key that it asks for where it is not alone."""

KEY_LENGTH = 10

SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""What a key is made of: no letter that could be read as another."""

NOWHERE = "http://127.0.0.1:9"
"""A proxy that is none. The server looks up its public address when a foreign page knocks, by HTTP
from outside; sent here, that fails at once and nothing leaves the machine."""


def command(port: int, addresses: Sequence[str] = ()) -> list[str]:
    """The command that serves the page, every setting a flag: an installed page has no file.

    With `addresses` of this machine a phone may use them; without, nobody else reaches the page.
    """
    flags = [f"--server.port={port}"]
    known = dict(SETTINGS)
    if addresses:
        known |= {
            "browser.serverAddress": addresses[0],
            "server.address": "0.0.0.0",
            "server.allowedHosts": ["localhost", HOST, *addresses],
        }
    for name, value in known.items():
        for item in value if isinstance(value, list) else [value]:
            flags.append(f"--{name}={str(item).lower() if isinstance(item, bool) else item}")
    page = Path(__file__).with_name("page.py")
    return [sys.executable, "-c", READY, "run", str(page), *flags]


def environment(folder: Path | None, key: str) -> dict[str, str]:
    """What the server finds in its environment: the store, the key, and no way out."""
    own = dict.fromkeys(("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY"), NOWHERE)
    own |= {"no_proxy": "", "NO_PROXY": "", KEY: key}
    if folder:
        own[FOLDER] = str(folder.absolute())
    return os.environ | own


def own_addresses() -> list[str]:
    """The addresses of this machine where others in its network find it."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            # Sends nothing: it only asks by which of its addresses one would go out. The other
            # end is an address for documentation (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            found = [str(probe.getsockname()[0])]
    except OSError:  # no way out: a network of its own has no router
        found = _by_name()
    return [address for address in dict.fromkeys(found) if not address.startswith("127.")]


def _by_name() -> list[str]:
    try:
        return socket.gethostbyname_ex(socket.gethostname())[2]
    except OSError:
        return []


def phone_words(addresses: Sequence[str], port: int, key: str) -> str:
    """Where a phone finds the page, and what to know of it."""
    return "\n".join(
        (
            say("On a phone in the same network, open:"),
            *(f"  http://{address}:{port}/?key={key}" for address in addresses),
            say("On this machine: {address}", address=f"http://{HOST}:{port}/?key={key}"),
            say(
                "Whoever has this address can read and change the surveys as long as this runs, "
                "and what is sent is not encrypted: use a network that you trust. Control+C ends "
                "it."
            ),
        )
    )


def serve(port: int, folder: Path | None = None, phone: bool = False) -> int:
    """Serve the page until it is interrupted; returns the exit status of the server.

    Surveys are kept in `folder`, else where `store.usual_folder` says. For a `phone` the page is
    open to the network, to those who know the key that is printed.

    Raises FlatcheckError when the port cannot be used, or no network is there for a phone.
    """
    addresses = own_addresses() if phone else []
    if phone and not addresses:
        raise FlatcheckError(
            say("this machine is in no network where a phone could find it; join one.")
        )
    try:
        with socket.create_server(("0.0.0.0" if phone else HOST, port)):
            pass
    except (OSError, OverflowError) as error:
        raise FlatcheckError(
            say("port {port} cannot be used: {error}; say another one.", port=port, error=error)
        ) from None
    key = "".join(secrets.choice(SIGNS) for _ in range(KEY_LENGTH)) if phone else ""
    if phone:
        print(phone_words(addresses, port, key), flush=True)
    with subprocess.Popen(command(port, addresses), env=environment(folder, key)) as server:
        # Ended from outside, this process must not leave the server behind.
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            return server.wait()
        except KeyboardInterrupt:
            # Control+C reaches the server too; it ends by itself.
            server.wait()
            return 0
