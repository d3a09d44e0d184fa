"""How thick a mortar bed is over a surveyed floor, how much of it there is and what it weighs."""

from dataclasses import dataclass

import numpy as np

from flatcheck.drain import Bed
from flatcheck.facet import Falls, height_at
from flatcheck.room import cell_middles, inside
from flatcheck.surface import Surface, form_u
from flatcheck.verdict import place_of

CELLS = 150
"""Cells across the larger side of a zone, over which thickness is summed."""


@dataclass(frozen=True)
class Thickness:
    """The mortar bed over a surveyed floor.

    `least_mm` and `most_mm` are the thinnest and thickest place with their places, `mean_mm` the
    mean; `volume_mm3`, `weight_kg` and `area_mm2` are those of the floor that was read, with
    `u_mm` the standard uncertainty of the mean thickness.
    """

    least_mm: float
    least_at: tuple[float, float]
    most_mm: float
    most_at: tuple[float, float]
    mean_mm: float
    u_mm: float
    area_mm2: float
    volume_mm3: float
    weight_kg: float


def thickness_of(made: Falls, rim: float, floor: Surface, bed: Bed) -> Thickness:
    """The bed at every reading, and summed over cells of the surveyed floor."""
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

    ring = np.array((floor.room.zone or floor.room.outline).corners_mm)
    low, high = ring.min(axis=0), ring.max(axis=0)
    cell = float((high - low).max()) / CELLS
    count = np.maximum(np.round((high - low) / cell).astype(int), 1)
    middles = cell_middles(low, high, count)
    middles = middles[inside(floor.room, middles)]
    design = height_at(made, middles)
    middles, design = middles[np.isfinite(design)], design[np.isfinite(design)]
    ground = NearestNDInterpolator(floor.xy_mm, floor.height_mm)(middles)
    if len(floor.triangles):
        between = LinearNDInterpolator(floor.xy_mm, floor.height_mm)(middles)
        ground = np.where(np.isfinite(between), between, ground)
    thick = rim + design - bed.cover_mm - ground
    at_read = height_at(made, floor.xy_mm)
    read = np.isfinite(at_read)
    places = np.vstack((floor.xy_mm[read], middles))
    own = rim + at_read[read] - bed.cover_mm - floor.height_mm[read]
    every = np.concatenate((own, thick))
    thin, most = int(np.argmin(every)), int(np.argmax(every))
    area = float(abs(np.prod((high - low) / count))) * len(middles)
    even = np.full(len(floor.height_mm), 1 / len(floor.height_mm))
    return Thickness(
        least_mm=float(every[thin]),
        least_at=place_of(places[thin]),
        most_mm=float(every[most]),
        most_at=place_of(places[most]),
        mean_mm=float(thick.mean()),
        u_mm=form_u(floor.cov_mm2, even),
        area_mm2=area,
        volume_mm3=float(thick.mean()) * area,
        weight_kg=float(thick.mean()) * bed.weight_kg_m2_mm * area / 1e6,
    )
