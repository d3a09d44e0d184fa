"""Floors that fall, as surveys: what the tests of falls build their rooms and readings with."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import tomli_w

from flatcheck.document import build
from flatcheck.drain import falls_to
from flatcheck.facet import Falls, height_at
from flatcheck.readers.folder import checked
from flatcheck.room import Ring, rectangle, ring_area
from flatcheck.survey import Cells, Survey
from flatcheck.water import fill

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Height = Callable[[float, float], float]

SIDE = 1000.0
TICKS = tuple(range(0, 1001, 100))
SQUARE = {"outline": [[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]]}
DRAIN = {"name": "drain", "center": [500, 500], "size": [100, 100]}
POINT = {"kind": "to drain"}
CHANNEL = {"kind": "to channel"}
BRITISH = {"rule": "none", "falls": ["bs-falls"]}
TABLE = {"file": "t.csv", "kind": "grid", "sense": "elevation"}


def document(**sections: Any) -> str:
    """A survey of a square meter with a drain of 100 mm in its middle; None leaves a section out.

    It is read to 0.1 mm, and falls 1:80 to 1:35.
    """
    head: dict[str, Any] = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm", "show": "mm/0.1"},
        "instrument": {"uncertainty": "0.1 mm"},
        "room": SQUARE,
        "drain": [DRAIN],
        "intent": POINT,
        "standard": BRITISH,
        "table": [TABLE],
    }
    return tomli_w.dumps({k: v for k, v in (head | sections).items() if v is not None})


def grid(height: Height, xs: Iterable[float] = TICKS, ys: Iterable[float] = TICKS) -> Cells:
    """Heights on a grid as the cells of a table."""
    xs = list(xs)
    rows = [(f"{y:g}", *(f"{height(x, y):.6f}" for x in xs)) for y in ys]
    return (("", *(f"{x:g}" for x in xs)), *rows)


def points(places: Iterable[Sequence[float]]) -> Cells:
    """Places (x, y, height) as the cells of a table of kind "points"."""
    rows = [(f"{x:g}", f"{y:g}", f"{z:.6f}") for x, y, z in places]
    return (("x", "y", "reading"), *rows)


def survey(
    height: Height, xs: Iterable[float] = TICKS, ys: Iterable[float] = TICKS, **sections: Any
) -> Survey:
    """A survey of heights on a grid."""
    return checked(document(**sections), {"t.csv": grid(height, xs, ys)})


def scattered(places: Iterable[Sequence[float]], **sections: Any) -> Survey:
    """A survey of places (x, y, height)."""
    table = TABLE | {"kind": "points"}
    return checked(document(table=[table], **sections), {"t.csv": points(places)})


def unread(**sections: Any) -> Survey:
    """A survey that was not read yet: what falls are planned from."""
    return build(document(table=None, **sections), {})


def level(x: float, y: float) -> float:
    """A level floor."""
    return 0.0


def pan(fall: float = 1 / 60) -> Falls:
    """The planes of the square meter."""
    return falls_to(rectangle(0, 0, SIDE, SIDE), rectangle(450, 450, 550, 550, "drain"), fall)


def on(falls: Falls) -> Height:
    """Heights on planes; zero on the drain."""

    def height(x: float, y: float) -> float:
        return float(np.nan_to_num(height_at(falls, np.array([[x, y]])))[0])

    return height


def size(ring: Ring) -> float:
    """The area in an outline [mm²]."""
    return abs(ring_area(np.array(ring.corners_mm)))


def creases(falls: Falls) -> set[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Where creases start (at the walls) and end (at the drain), to a micrometer."""
    return {
        (tuple(np.round(crease.start, 3)), tuple(np.round(crease.end, 3)))
        for crease in falls.creases
    }


def cell_edges(shape: tuple[int, int], neighbors: int) -> Ints:
    """The edges between the cells of a raster, numbered by row: each to the 4 or 8 around it."""
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    found = [(number[:, :-1], number[:, 1:]), (number[:-1], number[1:])]
    if neighbors == 8:
        found += [(number[:-1, :-1], number[1:, 1:]), (number[:-1, 1:], number[1:, :-1])]
    return np.concatenate([np.column_stack((a.ravel(), b.ravel())) for a, b in found])


def raster_level(z: Floats, outlets: npt.NDArray[np.bool_], neighbors: int = 8) -> Floats:
    """How high water rises in each cell of a raster, by `water.fill`."""
    level = fill(z.ravel(), cell_edges(z.shape, neighbors), outlets.ravel()).level_mm
    return level.reshape(z.shape)
