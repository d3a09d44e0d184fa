"""How far the valley on the floor lies off the line where the tile will be cut.

Two planes meet where their heights are equal. At an end of the line where they should meet, their
difference of height over the difference of their slopes is how far off they do. The planes are
those that fit best what was read within BESIDE_MM of the line: what the floor does farther off
moves no valley.
"""

import numpy as np
import numpy.typing as npt

from flatcheck.evidence import Evidence, View
from flatcheck.intent import Intent, Plane, fit
from flatcheck.language import say
from flatcheck.level import form_variance
from flatcheck.room import foot_on
from flatcheck.surface import LINE_MM
from flatcheck.units import MM_PER_FOOT

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

WORDS = say("distance of a valley, as the planes on both sides make it, from where it should be")
OF = "zone"

BESIDE_MM = MM_PER_FOOT
"""How far off a valley the floor still makes it [mm]. Common practice, no source."""


def measure(view: View, length_mm: float | None) -> Evidence | None:
    """The distance at both ends of every valley, sideways, positive toward its first plane.

    `reach_ratio` is the share of the length of the valleys with readings on both sides.
    """
    ground = view.ground
    if ground is None or not any(crease.valley for crease in ground.falls.creases):
        return None
    forms, weights, values, stations, length, read = [], [], [], [], 0.0, 0.0
    for crease in ground.falls.creases:
        if not crease.valley:
            continue
        ends = np.array((crease.start, crease.end))
        long = float(np.hypot(*(ends[1] - ends[0])))
        length += long
        planes = [_beside(ground.views[i], ends) for i in crease.planes]
        if planes[0] is None or planes[1] is None:
            continue
        read += long
        (one, own_one), (other, own_other) = planes[0], planes[1]
        across = one.coef[1:] - other.coef[1:]
        steep = float(np.hypot(*across))
        if steep < 1e-6:
            read -= long
            continue
        for end in ends:
            # Heights less their mean keep the digits; the planes' forms add up to one each.
            rise = [
                np.concatenate(([1.0], end - plane.middle)) @ plane.form for plane in (one, other)
            ]
            apart = one.coef[0] - other.coef[0] + (end - one.middle) @ one.coef[1:]
            apart -= (end - other.middle) @ other.coef[1:]
            forms.append(np.concatenate((own_one, own_other)))
            weights.append(np.concatenate((rise[0], -rise[1])) / steep)
            values.append(-float(apart) / steep)
            near = int(np.argmin(np.hypot(*(view.surface.xy_mm - end).T)))
            stations.append((near, near, near))
    count, widest = len(forms), max((len(f) for f in forms), default=1)
    padded, filled = np.zeros((count, widest), np.int64), np.zeros((count, widest))
    for row, (own, weight) in enumerate(zip(forms, weights, strict=True)):
        padded[row, : len(own)] = own
        filled[row, : len(own)] = -weight
    return Evidence(
        stations=np.array(stations, dtype=np.int64).reshape(-1, 3),
        value_mm=np.array(values),
        u_mm=np.sqrt(np.maximum(form_variance(view, padded, filled), 1e-12)),
        forms=padded,
        weights=filled,
        span_mm=np.zeros(count),
        pitch_mm=np.zeros(count),
        direction=np.zeros(count, np.int64),
        contact=np.ones(count, dtype=bool),
        signed=True,
        directions=1,
        plane=None,
        reach_ratio=read / length,
        sloped=True,
    )


def _beside(side: tuple[View, Ints] | None, ends: Floats) -> tuple[Plane, Ints] | None:
    """The plane of one side of a valley and the zone's stations that make it; None for too few."""
    if side is None:
        return None
    seen, own = side
    xy = seen.surface.xy_mm
    near = np.hypot(*(xy - foot_on(ends[0], ends[1], xy)).T) <= BESIDE_MM
    away = xy[near] - xy[near].mean(axis=0) if near.any() else xy[near]
    if len(away) < 3 or np.linalg.svd(away, compute_uv=False)[-1] < LINE_MM:
        return None
    return fit(Intent(), xy[near], seen.surface.height_mm[near]), own[near]
