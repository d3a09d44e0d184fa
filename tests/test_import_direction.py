"""Imports go one way: down the list here, and the heavy packages stay with the faces."""

import ast
import graphlib
import subprocess
import sys
from pathlib import Path

import pytest

import flatcheck

PACKAGE = Path(flatcheck.__file__).parent

ORDER = (
    "threads",
    "errors",
    "language",
    "units",
    "fields",
    "compass",
    "instrument",
    "kit",
    "uncertainty",
    "room",
    "facet",
    "drain",
    "terms",
    "tile",
    "bond",
    "cutting",
    "pattern",
    "origin",
    "intent",
    "rules",
    "usual",
    "product",
    "spacing",
    "warpage",
    "slab",
    "verdict",
    "places",
    "reach",
    "survey",
    "zones",
    "sections",
    "document",
    "fingerprint",
    "normal",
    "covariance",
    "surface",
    "network",
    "loops",
    "slips",
    "misread",
    "adjust",
    "straightedge",
    "sweep",
    "water",
    "runoff",
    "evidence",
    "level",
    "measures",
    "guard",
    "acceptance",
    "spots",
    "standards",
    "tables",
    "readers",
    "box",
    "parts",
    "tiling",
    "judgment",
    "assess",
    "steps",
    "lippage",
    "run",
    "runs",
    "fnumber",
    "waviness",
    "scheme",
    "sampling",
    "tally",
    "compare",
    "falls",
    "thickness",
    "objection",
    "screed",
    "demand",
    "guess",
    "program",
    "leastwork",
    "relief",
    "plates",
    "interior",
    "bedding",
    "pour",
    "site",
    "refusal",
    "remedies",
    "quantities",
    "instead",
    "correction",
    "forecast",
    "selection",
    "outlook",
    "change",
    "layout",
    "trial",
    "planning",
    "walk",
    "amendment",
    "merge",
    "store",
    "report",
    "ui",
    "commands",
    "cli",
    "languages",
    "__main__",
)
"""A module imports from those named before it, and from its own package."""

SHELVES = ("flatcheck.measures", "flatcheck.standards", "flatcheck.readers", "flatcheck.remedies")
"""Packages without code that a module below lists to find its plug-ins."""

FACES = {"pandas": ("report", "ui"), "plotly": ("ui",), "streamlit": ("ui",)}
"""The only parts of the package that may import each of these."""

MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.name != "__init__.py"
}


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, at its top or inside a function."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: a relative import hides its direction"
            within = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {node.module or ""} | (within & MODULES.keys())
    return found


def row_of(module: str) -> str:
    return module.split(".")[1]


@pytest.mark.parametrize("module", MODULES)
def test_every_module_has_its_place(module: str) -> None:
    """Every module of the package stands in the one list of the order."""
    assert row_of(module) in ORDER


def test_the_list_is_of_what_is_there() -> None:
    """The list names no module twice and none that does not exist."""
    assert sorted(ORDER) == sorted({row_of(module) for module in MODULES})


@pytest.mark.parametrize("module", MODULES)
def test_imports_go_down(module: str) -> None:
    """A module imports only from modules named before it, or from its own package."""
    at = ORDER.index(row_of(module))
    ours = {name for name in imports_of(MODULES[module]) if name.startswith("flatcheck.")}
    for name in ours - set(SHELVES):
        same_package = row_of(name) == row_of(module) and module.count(".") > 1
        assert same_package or ORDER.index(row_of(name)) < at, f"{module} imports {name}"


@pytest.mark.parametrize("module", MODULES)
def test_the_window_is_for_those_outside(module: str) -> None:
    """Only pages use the names that `import flatcheck` gives; all else says which module it is."""
    assert "flatcheck" not in imports_of(MODULES[module]) or row_of(module) == "ui"


@pytest.mark.parametrize("shelf", SHELVES)
def test_shelves_hold_no_code(shelf: str) -> None:
    """A package that is listed for plug-ins imports nothing by itself."""
    source = PACKAGE.parent.joinpath(*shelf.split("."), "__init__.py").read_text(encoding="utf-8")
    assert all(isinstance(node, ast.Expr) for node in ast.parse(source).body)


def test_no_circle() -> None:
    """No module reaches itself by its imports, inside a package neither."""
    graph = {module: imports_of(path) & MODULES.keys() for module, path in MODULES.items()}
    assert len(list(graphlib.TopologicalSorter(graph).static_order())) == len(MODULES)


@pytest.mark.parametrize("module", MODULES)
def test_heavy_packages_stay_with_the_faces(module: str) -> None:
    """Only reports and pages import pandas; only pages import plotly and streamlit."""
    for name in imports_of(MODULES[module]):
        allowed = FACES.get(name.split(".")[0])
        assert allowed is None or row_of(module) in allowed, f"{module} imports {name}"


def test_the_front_end_starts_and_computes_nothing() -> None:
    """The start file of the pages, where there is one, imports pages and nothing below them."""
    for start in PACKAGE.parent.glob("app.py"):
        ours = {name for name in imports_of(start) if name.startswith("flatcheck")}
        assert all(name.startswith("flatcheck.ui") for name in ours)


@pytest.mark.parametrize("module", ["flatcheck", "flatcheck.assess", "flatcheck.readers.folder"])
def test_starts_light(module: str) -> None:
    """Importing the package or its core loads neither pandas nor plotly nor streamlit."""
    code = f"import sys, {module}; print(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True
    ).stdout.split()
    assert "flatcheck" in loaded
    assert not {"pandas", "plotly", "streamlit"} & set(loaded)
