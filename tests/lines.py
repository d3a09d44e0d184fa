"""Slabs read along named lines, as surveys: what the tests of F-numbers build their floors with."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import tomli_w

from flatcheck.readers.folder import checked
from flatcheck.survey import Survey

Floats = npt.NDArray[np.float64]
FOOT = 304.8

Line = tuple[str, tuple[float, float], tuple[float, float], int]
"""Name, first place [mm], step east and north [mm], and how many readings."""


def read_along(
    lines: Sequence[Line], height: Callable[[Floats], Floats], **sections: Any
) -> Survey:
    """A survey of heights [mm] along lines; `height` is asked for places (n, 2) [mm]."""
    rows = [("line", "x", "y", "reading")]
    for name, start, step, count in lines:
        xy = np.array(start) + np.arange(count)[:, None] * np.array(step)
        for (x, y), z in zip(xy, height(xy), strict=True):
            rows.append((name, f"{x:.6f}", f"{y:.6f}", f"{z:.9f}"))
    return surveyed(tuple(rows), "points", **sections)


def surveyed(cells: tuple[tuple[str, ...], ...], kind: str, **sections: Any) -> Survey:
    """A survey of one table in millimeters, with more sections of its document."""
    head: Mapping[str, Any] = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": "0.01 mm"},
        "table": [{"file": "t.csv", "kind": kind, "sense": "elevation"}],
    }
    return checked(tomli_w.dumps({**head, **sections}), {"t.csv": cells})


def room(east: float, north: float) -> dict[str, Any]:
    """A room from corner to corner [mm]."""
    return {"outline": [[0, 0], [east, 0], [east, north], [0, north]]}


def across(count: int, apart: float = 5 * FOOT, readings: int = 27) -> list[Line]:
    """So many lines each way in a bay of 30 by 30 ft, 2 ft clear of its edges."""
    first, step = 2 * FOOT, FOOT
    east = [(f"E{k}", (first, 5 * FOOT + apart * k), (step, 0.0), readings) for k in range(count)]
    north = [(f"N{k}", (5 * FOOT + apart * k, first), (0.0, step), readings) for k in range(count)]
    return [*east, *north]


BAY = room(30 * FOOT, 30 * FOOT)
