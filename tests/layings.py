"""Small layings for tests of the forecast: rectangles in rows, each row set off from the last."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, eq=False)
class Rows:
    """Tiles as laid over a rectangle: what `flatcheck.plates.Laid` asks for."""

    corners_mm: npt.NDArray[np.float64]
    pieces: tuple[tuple[tuple[float, float], ...], ...]
    cut: npt.NDArray[np.bool_]
    joints_mm: npt.NDArray[np.float64]
    joint_tiles: npt.NDArray[np.int64]


def rows(
    wide: float,
    deep: float,
    length: float,
    width: float,
    offset: float = 0.0,
    joint: float = 0.0,
    turn_deg: float = 0.0,
) -> Rows:
    """A floor of `wide` by `deep` [mm] in rows along x, every other set off by a share of a tile.

    Turned about the origin by `turn_deg`, floor and all.
    """
    corners, pieces, cut, at = [], [], [], []
    for row in range(int(np.ceil(deep / (width + joint)))):
        south = row * (width + joint)
        start = -((row % 2) * offset % 1) * (length + joint)
        while start < wide - 1e-6:
            west, east = max(start, 0.0), min(start + length, wide)
            north = min(south + width, deep)
            if east > west + 1 and north > south + 1:
                corners.append(_box(start, south, start + length, south + width))
                pieces.append(_box(west, south, east, north))
                cut.append(east - west < length - 1e-6 or north - south < width - 1e-6)
                at.append((row, west, east, south, north))
            start += length + joint
    segments, tiles = [], []
    for i, (row, west, east, south, north) in enumerate(at):
        for j in range(i + 1, len(at)):
            other = at[j]
            if other[0] == row and abs(other[1] - east - joint) < 1e-6:
                middle = east + joint / 2
                segments.append(((middle, south), (middle, north)))
                tiles.append((i, j))
            if other[0] == row + 1 and min(east, other[2]) - max(west, other[1]) > 1e-6:
                middle = north + joint / 2
                low, high = max(west, other[1]), min(east, other[2])
                segments.append(((low, middle), (high, middle)))
                tiles.append((i, j))
            if other[0] > row + 1:
                break
    angle = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return Rows(
        np.array(corners) @ turn,
        tuple(tuple(map(tuple, (np.array(piece) @ turn).tolist())) for piece in pieces),
        np.array(cut),
        np.array(segments).reshape(-1, 2, 2) @ turn,
        np.array(tiles, dtype=np.int64).reshape(-1, 2),
    )


def _box(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    return [(west, south), (east, south), (east, north), (west, north)]
