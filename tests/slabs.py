"""Slabs to correct, as surveys: what the tests of the correction build their floors with."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import tomli_w

from flatcheck.assess import assess
from flatcheck.readers.folder import checked
from flatcheck.site import Site
from flatcheck.survey import Survey

Floats = npt.NDArray[np.float64]

STEP = 500.0
STRICT = {"rule": "bs-8204:SR1"}
AS_READ = STRICT | {"decision": "as read"}
TABLE = {"file": "t.csv", "kind": "grid", "sense": "elevation"}


def head(east: float, north: float, sections: Mapping[str, Any]) -> str:
    """The document of a room from corner to corner, read to 0.1 mm; None leaves a section out."""
    given: dict[str, Any] = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm", "show": "mm/0.1"},
        "instrument": {"uncertainty": "0.1 mm"},
        "room": {"outline": [[0, 0], [east, 0], [east, north], [0, north]]},
        "correction": {"placing": "0.2 mm"},
        "standard": STRICT,
        "table": [TABLE],
    }
    return tomli_w.dumps({k: v for k, v in (given | dict(sections)).items() if v is not None})


def slab(z: Floats, step: float = STEP, **sections: Any) -> Survey:
    """A survey of heights (rows, columns) [mm] on a grid, rows to the north."""
    rows, columns = z.shape
    ticks = [f"{step * k:g}" for k in range(columns)]
    cells = tuple(
        (f"{step * row:g}", *(f"{height:.6f}" for height in z[row])) for row in range(rows)
    )
    text = head(step * (columns - 1), step * (rows - 1), sections)
    return checked(text, {"t.csv": (("", *ticks), *cells)})


def scattered(places: Floats, corners: list[list[float]], **sections: Any) -> Survey:
    """A survey of places (n, 3) [mm] in a room with these corners."""
    table = TABLE | {"kind": "points"}
    text = head(0, 0, {"room": {"outline": corners}, "table": [table], **sections})
    cells = tuple((f"{x:g}", f"{y:g}", f"{z:.6f}") for x, y, z in places)
    return checked(text, {"t.csv": (("x", "y", "reading"), *cells)})


def site_of(survey: Survey) -> Site:
    """A survey, judged, on the terms that it gives."""
    return Site(assess(survey), survey.terms)


def rough(rows: int, columns: int, seed: int, size_mm: float = 1.0) -> Floats:
    """Heights of a wavy and rough floor (rows, columns) [mm], to a tenth of a millimeter."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(columns) * STEP, np.arange(rows) * STEP)
    z = rng.normal(0, size_mm, x.shape)
    for _ in range(3):
        turn, long = rng.uniform(0, np.pi), rng.uniform(1500, 4000)
        across = x * np.cos(turn) + y * np.sin(turn)
        z += 2 * size_mm * np.cos(2 * np.pi * across / long + rng.uniform(0, 6))
    heights: Floats = np.round(z, 1)
    return heights
