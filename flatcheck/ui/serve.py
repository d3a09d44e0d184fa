"""Starts the page on this machine only: what `flatcheck page` does."""

import signal
import socket
import subprocess
import sys
from pathlib import Path

from flatcheck.errors import FlatcheckError

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


def command(port: int) -> list[str]:
    """The command that serves the page, every setting a flag: an installed page has no file."""
    flags = [f"--server.port={port}"]
    for name, value in SETTINGS.items():
        for item in value if isinstance(value, list) else [value]:
            flags.append(f"--{name}={str(item).lower() if isinstance(item, bool) else item}")
    page = Path(__file__).with_name("page.py")
    return [sys.executable, "-m", "streamlit", "run", str(page), *flags]


def serve(port: int) -> int:
    """Serve the page until it is interrupted; returns the exit status of the server.

    Raises FlatcheckError when the port cannot be used.
    """
    try:
        with socket.create_server((HOST, port)):
            pass
    except (OSError, OverflowError) as error:
        raise FlatcheckError(f"port {port} cannot be used: {error}; say another one.") from None
    with subprocess.Popen(command(port)) as server:
        # Ended from outside, this process must not leave the server behind.
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            return server.wait()
        except KeyboardInterrupt:
            # Control+C reaches the server too; it ends by itself.
            server.wait()
            return 0
