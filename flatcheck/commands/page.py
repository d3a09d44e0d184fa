"""List the standards; serve the page."""

import argparse
from pathlib import Path
from typing import Any

from flatcheck.language import say


def add(verbs: Any) -> None:
    """The commands of this file, with what may be said to them."""
    shelf = verbs.add_parser("standards", help=say("list the standards and their grades"))
    shelf.set_defaults(run=run_standards)
    page = verbs.add_parser("page", help=say("serve the page to a browser"))
    page.set_defaults(run=run_page)
    page.add_argument("--port", type=int, default=8501)
    page.add_argument(
        "--store", type=Path, help=say("keep surveys in this folder, not in the usual one")
    )
    page.add_argument(
        "--phone",
        action="store_true",
        help=say("open it to the network too: prints the address for a phone, with a key"),
    )


def run_standards(arguments: argparse.Namespace) -> int:
    from flatcheck.report.text import shelf
    from flatcheck.rules import standards

    print("\n".join(shelf(standards().values())))
    return 0


def run_page(arguments: argparse.Namespace) -> int:
    from flatcheck.ui.serve import serve

    return serve(arguments.port, arguments.store, arguments.phone)
