"""What a measure hands to a rule: many values, each with its place, span and uncertainty.

A measure is one file in `flatcheck/measures/` with three names: `WORDS`, what it measures in a
setter's words; `OF`, whether it looks at each "plane" of a floor that falls, or at a whole "zone";
and `measure(view, length_mm)`, which returns an `Evidence`, or None where there is nothing of its
kind to measure: no fall, no drain, no valley.
"""

import importlib
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from types import ModuleType

import numpy as np
import numpy.typing as npt

from flatcheck.errors import RuleError
from flatcheck.facet import Falls
from flatcheck.intent import Intent, Plane, departures, fit
from flatcheck.language import say
from flatcheck.straightedge import Bars
from flatcheck.surface import Lines, Surface, decided, station_areas, station_pitch, variance

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class View:
    """A zone, or one plane of it, as measures see it: surface, lines of readings, required plane.

    `flow_deg` is the way water is meant to run, None where the floor is not meant to fall.
    `ground` is how the zone as a whole is meant to drain.
    """

    surface: Surface
    lines: Sequence[Lines]
    plane: Plane
    flow_deg: float | None = None
    ground: "Ground | None" = None

    @cached_property
    def flat_mm(self) -> Floats:
        """The heights less the plane that fits them best (n,) [mm].

        A bar is laid on these: a place a little off its line would otherwise turn the fall of
        the floor into a gap.
        """
        xy, height = self.surface.xy_mm, self.surface.height_mm
        return departures(fit(Intent(), xy, height), xy, height)

    @cached_property
    def pitch_mm(self) -> Floats:
        """How far apart the readings are around each station (n,) [mm]."""
        return station_pitch(self.surface)

    @cached_property
    def area_mm2(self) -> Floats:
        """The floor around each station (n,) [mm²]."""
        return station_areas(self.surface)


@dataclass(frozen=True, eq=False)
class Ground:
    """How a zone is meant to drain.

    `falls` are its planes and `views` (with the numbers of their stations in the zone) what was
    read on each; a plane with too few readings to look at has None. `drained` (n,) is
    the number of the drain that a station lies on, -1 for those on none.
    """

    falls: Falls
    views: tuple[tuple[View, Ints] | None, ...]
    drained: Ints


@dataclass(frozen=True, eq=False)
class Evidence:
    """K values of one measure.

    `stations` (K, 3): one contact, the place of the value, the other contact; for values from a
    plane the first and last are the two places compared and the middle is the lower of them.
    `value_mm` (K,) is positive where the place is low (a gap); with `signed` a negative value is a
    crown and counts as much. `u_mm` (K,) is its standard uncertainty. `forms` (K, m) and
    `weights` (K, m) are the linear form that it is: of departures from `plane` where that is
    given; else of heights less their best plane, or with `sloped` of the heights as they are.
    `span_mm` (K,) is the distance the limit is looked up with, `pitch_mm` (K,) the widest step
    between the readings that decide it. `direction` (K,) numbers the directions a bar was laid
    along; a place counts as judged once it was seen along `directions` of them. `contact` (K,) is
    true where the value is one that a bar can show: nothing between its contacts is above it.
    `reach_ratio` is the share that was judged where it is no share of the area, such as of the
    length of walls.
    """

    stations: Ints
    value_mm: Floats
    u_mm: Floats
    forms: Ints
    weights: Floats
    span_mm: Floats
    pitch_mm: Floats
    direction: Ints
    contact: Mask
    signed: bool
    directions: int
    plane: Plane | None
    reach_ratio: float | None = None
    sloped: bool = False


def from_bars(view: View, found: Bars, kept: Mask | slice, signed: bool) -> Evidence:
    """Evidence of bars: the gaps they show, all or some of them."""
    stations, weights = found.stations[kept], found.weights[kept]
    return Evidence(
        stations=stations,
        value_mm=found.gap_mm[kept],
        u_mm=np.sqrt(variance(view.surface.cov_mm2, stations, weights)),
        forms=stations,
        weights=weights,
        span_mm=found.span_mm[kept],
        pitch_mm=found.pitch_mm[kept],
        direction=found.direction[kept],
        contact=np.ones(len(stations), bool) if signed else found.rests[kept],
        signed=signed,
        directions=2,
        plane=None,
    )


def from_pairs(
    view: View, pairs: Ints, directions: Ints | None = None, reach_ratio: float | None = None
) -> Evidence:
    """Evidence of K differences of height, of the first station of `pairs` (K, 2) less the second.

    The place of a value is the second station.
    """
    xy, z = view.surface.xy_mm, view.surface.height_mm
    first, second = pairs.T
    signs = np.broadcast_to(np.array([1.0, -1.0]), pairs.shape)
    return Evidence(
        stations=pairs[:, [0, 1, 1]],
        value_mm=z[first] - z[second],
        u_mm=np.sqrt(np.maximum(variance(view.surface.cov_mm2, pairs, signs), 1e-12)),
        forms=pairs,
        weights=signs,
        span_mm=np.maximum(np.hypot(*(xy[first] - xy[second]).T), 1.0),
        pitch_mm=view.pitch_mm[second],
        direction=np.zeros(len(pairs), np.int64) if directions is None else directions,
        contact=np.ones(len(pairs), dtype=bool),
        signed=False,
        directions=1,
        plane=None,
        reach_ratio=reach_ratio,
        sloped=True,
    )


def high_first(height: Floats, pairs: Ints) -> Ints:
    """Pairs of stations (K, 2) with the higher one first."""
    swap = height[pairs[:, 0]] < height[pairs[:, 1]]
    return np.where(swap[:, None], pairs[:, ::-1], pairs)


def decided_rows(view: View, evidence: Evidence) -> Mask:
    """Which of K values the readings decide, whatever they leave open about the floor."""
    free = view.surface.free
    if free.size and not evidence.sloped:
        # A departure is a height less its plane, and the plane moves with the heights; bars are
        # laid on heights less their best plane.
        plane = evidence.plane or fit(Intent(), view.surface.xy_mm, view.surface.height_mm)
        coef = plane.form @ free
        free = free - coef[0] - (view.surface.xy_mm - plane.middle) @ coef[1:]
    return decided(free, evidence.forms, evidence.weights)


def some_rows(evidence: Evidence, kept: Mask) -> Evidence:
    """The values where `kept` (K,) is true."""
    per_value = {
        field.name: getattr(evidence, field.name)[kept]
        for field in fields(evidence)
        if isinstance(getattr(evidence, field.name), np.ndarray)
    }
    return replace(evidence, **per_value)


@cache
def _modules() -> dict[str, ModuleType]:
    import flatcheck.measures as shelf

    return {
        m.name: importlib.import_module(f"{shelf.__name__}.{m.name}")
        for m in pkgutil.iter_modules(shelf.__path__)
    }


def measure_named(name: str) -> Callable[[View, float | None], Evidence | None]:
    """The function of a measure by the name of its file. Raises RuleError for others."""
    measure: Callable[[View, float | None], Evidence | None] = _named(name).measure
    return measure


def looks_at(name: str) -> str:
    """What a measure looks at: each "plane" of a zone, or the "zone" as a whole."""
    return str(_named(name).OF)


def _named(name: str) -> ModuleType:
    if name not in _modules():
        raise RuleError(
            say(
                "measure {name!r} is not one of {known}.",
                name=name,
                known=", ".join(_modules()),
            )
        )
    return _modules()[name]


def words_of(name: str) -> str:
    """What a measure measures, in a setter's words."""
    return str(_named(name).WORDS)
