"""What a level tells when it is laid on the floor: the slope of one part of it, and which way.

A part is the stations within half a level's length of one of them, and its slope is that of the
plane that fits them best. It is a linear form of the heights, so it comes with its uncertainty.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from flatcheck.evidence import Evidence, View
from flatcheck.room import EDGE_MM
from flatcheck.surface import LINE_MM, variance

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HOLDS = 0.45
"""The share of a level's length, along the flow, that the stations under it must span."""


@dataclass(frozen=True, eq=False)
class Lay:
    """K places where a level was laid.

    `forms` (K, m) and `weights` (K, 2, m): the rise to the east and to the north [ratio] as linear
    forms of the heights, `slope` (K, 2) their values. `stations` (K, 3) are the lowest station
    along the flow, the middle, and the highest.
    """

    forms: Ints
    weights: Floats
    slope: Floats
    stations: Ints


def lay(view: View, length_mm: float, flow_deg: float) -> Lay:
    """A level of a length laid around every station of a plane, along the way water should run.

    Where the plane is shorter along its flow than the level, all of that length will do. Places
    with fewer than three stations, or with all in one line, are left out.
    """
    xy, z = view.surface.xy_mm, view.surface.height_mm
    turn = math.radians(flow_deg)
    down = xy @ np.array([math.sin(turn), math.cos(turn)])
    needed = HOLDS * min(length_mm, float(np.ptp(down)))
    forms, weights, stations = [], [], []
    for middle, near in enumerate(cKDTree(xy).query_ball_point(xy, length_mm / 2 + EDGE_MM)):
        if len(near) < 3 or np.ptp(down[near]) < needed - EDGE_MM:
            continue
        own = np.array(near)
        away = xy[own] - xy[own].mean(axis=0)
        if np.linalg.svd(away, compute_uv=False)[-1] < LINE_MM:
            continue
        forms.append(own)
        weights.append(np.linalg.pinv(away))
        stations.append((own[np.argmax(down[own])], middle, own[np.argmin(down[own])]))
    widest = max((len(own) for own in forms), default=1)
    padded = np.zeros((len(forms), widest), dtype=np.int64)
    filled = np.zeros((len(forms), 2, widest))
    for row, (own, weight) in enumerate(zip(forms, weights, strict=True)):
        padded[row, : len(own)] = own
        filled[row, :, : len(own)] = weight
    level = z - z.mean()  # keeps the digits: the weights of each form add up to nothing
    slope = np.einsum("kdm,km->kd", filled, level[padded])
    return Lay(padded, filled, slope, np.array(stations, dtype=np.int64).reshape(-1, 3))


def as_evidence(view: View, laid: Lay, toward: Floats, length_mm: float) -> Evidence:
    """How far the floor rises over the level's length along `toward` (K, 2), unit vectors [mm]."""
    weights = length_mm * np.einsum("kd,kdm->km", toward, laid.weights)
    middle = laid.stations[:, 1]
    return Evidence(
        stations=laid.stations,
        value_mm=length_mm * np.einsum("kd,kd->k", toward, laid.slope),
        u_mm=np.sqrt(np.maximum(form_variance(view, laid.forms, weights), 1e-12)),
        forms=laid.forms,
        weights=weights,
        span_mm=np.full(len(middle), length_mm),
        pitch_mm=view.pitch_mm[middle],
        direction=np.zeros(len(middle), dtype=np.int64),
        contact=np.ones(len(middle), dtype=bool),
        signed=False,
        directions=1,
        plane=None,
        sloped=True,
    )


def form_variance(view: View, forms: Ints, weights: Floats) -> Floats:
    """Variance w'Cw [mm²] of K long forms (K, m) of a view's heights."""
    cov = view.surface.cov_mm2
    if cov.ndim == 2:
        return variance(cov, forms, weights)
    count, width = forms.shape
    start = np.arange(count + 1) * width
    # A copy: adding up what is padded works in place, and the forms are the caller's.
    sparse = csr_array((weights.ravel(), forms.ravel(), start), (count, len(cov)), copy=True)
    sparse.sum_duplicates()
    alone: Floats = np.asarray((sparse.multiply(sparse)) @ cov)
    return alone
