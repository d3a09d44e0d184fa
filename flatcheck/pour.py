"""Pour: a self-leveler finds its level, so the one unknown is the height it is poured to.

Poured to a height H with no place thinner than t, it is max(H - z, t) thick: what stands above
H - t is ground down to that first. So the cost is

    cost(H) = fill · Σ area · max(H - z, t) + grind · Σ area · max(z - (H - t), 0),

piecewise linear and convex in H with a corner at z + t of every station. It is least at the corner
where the floor below, weighed by the cost of filling it, first outweighs the floor above, weighed
by the cost of grinding it; or at an end of what is allowed.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LIFT_MM = 1e-6
"""A lift this little over the most it may be is arithmetic, not leveler [mm]."""


@dataclass(frozen=True, eq=False)
class Pour:
    """A self-leveler poured to `level_mm`, after grinding.

    `grind_mm` (n,) is taken off first, `thick_mm` (n,) is then poured; the volumes [mm³] are those
    over the floor around the stations. `deepest_mm` is the thickest place, which takes `lifts`.
    """

    level_mm: float
    grind_mm: Floats
    thick_mm: Floats
    poured_mm3: float
    ground_mm3: float
    cost: float
    deepest_mm: float
    lifts: int


@dataclass(frozen=True)
class NoLevel:
    """No height will do: the least thickness asks for `lowest_mm` or more, `highest_mm` is most."""

    lowest_mm: float
    highest_mm: float


def pour(
    height_mm: Floats,
    area_mm2: Floats,
    fill_cost: float,
    grind_cost: float,
    least_mm: float,
    most_grind_mm: Floats,
    most_lift_mm: float = math.inf,
    most_lifts: int = 1,
    highest_mm: float = math.inf,
) -> Pour | NoLevel:
    """How high should the leveler be poured, and what is ground first, to cost least?

    `height_mm`, `area_mm2` (n,): stations and the floor around each. Costs are of a cubic
    millimeter [money/mm³]. `least_mm` is the least thickness anywhere, `most_grind_mm` (n,) what
    may be ground: 0 where nothing may. No place takes more than `most_lifts` of `most_lift_mm`.
    The level is at most `highest_mm`, as the lowest door allows.

    Raises ValueError where the least thickness is more than all lifts together.
    """
    most_mm = most_lift_mm * most_lifts
    if least_mm > most_mm:
        raise ValueError("the least thickness is more than all lifts together")
    lowest = float((height_mm - most_grind_mm).max()) + least_mm
    highest = min(highest_mm, float(height_mm.min()) + most_mm)
    if lowest > highest:
        return NoLevel(lowest, highest)
    order = np.argsort(height_mm, kind="stable")
    slope = np.cumsum((fill_cost + grind_cost) * area_mm2[order]) - grind_cost * area_mm2.sum()
    # The last slope is the cost of filling everywhere, never negative but for rounding.
    corner = order[min(int(np.searchsorted(slope, 0.0)), len(order) - 1)]
    level = min(max(float(height_mm[corner]) + least_mm, lowest), highest)
    grind = np.maximum(height_mm - (level - least_mm), 0.0)
    thick = np.maximum(level - height_mm, least_mm)
    poured, ground = float(area_mm2 @ thick), float(area_mm2 @ grind)
    most = float(thick.max())
    return Pour(
        level_mm=level,
        grind_mm=grind,
        thick_mm=thick,
        poured_mm3=poured,
        ground_mm3=ground,
        cost=fill_cost * poured + grind_cost * ground,
        deepest_mm=most,
        lifts=math.ceil((most - LIFT_MM) / most_lift_mm) if most_lift_mm < math.inf else 1,
    )
