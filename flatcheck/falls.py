"""How a floor falls and where its water goes: plane by plane, pond by pond."""

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.errors import SurveyError
from flatcheck.evidence import View
from flatcheck.guard import CLEAR
from flatcheck.language import say
from flatcheck.level import as_evidence, lay
from flatcheck.parts import Part, best_fall, settled
from flatcheck.room import Room, cell_middles, inside
from flatcheck.runoff import Catchments, Run, catchments, runs
from flatcheck.surface import variance
from flatcheck.units import MM_PER_INCH, format_distance, format_length
from flatcheck.usual import LEVEL_MM
from flatcheck.verdict import Place, place_of
from flatcheck.water import Flood, flood, held_mm, ponds

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


LOW_SIDE = say("its low side")
"""What a floor without a drain drains to."""

REMEMBERED = 4
"""How many assessments have their planes and water kept: a page asks for those of each several
times, of the floor before and after the work."""


@dataclass(frozen=True)
class PlaneFall:
    """One plane of a zone: how it should fall and how it does.

    It is `called` by its zone too where several fall, and meant to fall toward `meant_deg` over
    `run_mm`. `fall_ratio` and `bearing_deg` are those of the plane that fits it best, with the
    slope's standard uncertainty `u_ratio`; None where too few readings lie on it. `least_ratio`
    and `most_ratio` are the fall along the meant way in the flattest and the steepest part of it,
    over the length of a level.
    """

    zone: str
    name: str
    called: str
    meant_deg: float
    run_mm: float
    fall_ratio: float | None = None
    bearing_deg: float = 0.0
    u_ratio: float = 0.0
    least_ratio: float | None = None
    most_ratio: float | None = None


@dataclass(frozen=True, eq=False)
class Standing:
    """Water that stands in a hollow.

    `told` says that it is deeper than is held anyway whatever the reading error; `u_mm` is the
    standard uncertainty of its depth. `held_by_drain` says that it is the drain itself that holds
    it, being higher than the floor around. `shores` are its outlines on the plan.
    """

    depth_mm: float
    u_mm: float
    told: bool
    area_mm2: float
    volume_mm3: float
    at: Place
    over: Place
    held_by_drain: bool
    shores: tuple[Floats, ...]


@dataclass(frozen=True)
class Share:
    """What part of a zone's floor drains to one drain, or (its name empty) to none [ratio].

    `straight` past no pond, `in_all` once the ponds are full and run over.
    """

    drain: str
    straight: float
    in_all: float


@dataclass(frozen=True, eq=False)
class Drainage:
    """Where the water of one zone goes.

    `ponds` hold more than surface tension does anyway, deepest first. `shares` are those of the
    drains, largest first. `land` says it triangle by triangle.
    """

    zone: str
    part: Part
    ponds: tuple[Standing, ...]
    shares: tuple[Share, ...]
    land: Catchments

    @property
    def triangles(self) -> Ints:
        """The triangles of the zone (t, 3), in the order of `land`."""
        return self.part.view.surface.triangles

    @cached_property
    def lines(self) -> tuple[Run, ...]:
        """The ways that water takes, from a grid of a tenth of the zone's longer side."""
        floor, ground = self.part.view.surface, self.part.view.ground
        assert ground is not None  # made only of a zone that falls
        starts = _starts(self.part)
        return runs(floor.xy_mm, floor.height_mm, floor.triangles, starts, ground.drained)


@lru_cache(maxsize=REMEMBERED)
def plane_falls(assessment: Assessment) -> tuple[PlaneFall, ...]:
    """How each plane of each falling zone falls."""
    found = []
    falling = [part for part in assessment.parts if part.view.ground is not None]
    for part in falling:
        assert part.view.ground is not None  # of a zone that falls
        seen = {face.name: face.view for face in part.faces}
        for facet in part.view.ground.falls.facets:
            called = f"{part.name}, {facet.name}" if len(falling) > 1 else facet.name
            meant = PlaneFall(part.name, facet.name, called, facet.bearing_deg, facet.run_mm)
            found.append(_as_read(meant, seen[facet.name]) if facet.name in seen else meant)
    return tuple(found)


def _as_read(meant: PlaneFall, view: View) -> PlaneFall:
    best = best_fall(view.surface)
    if best is None:
        return meant
    turn = math.radians(meant.meant_deg)
    laid = lay(view, LEVEL_MM, meant.meant_deg)
    down = np.broadcast_to([-math.sin(turn), -math.cos(turn)], (len(laid.slope), 2))
    local = as_evidence(view, laid, down, 1.0).value_mm
    return replace(
        meant,
        fall_ratio=best[0],
        bearing_deg=best[1],
        u_ratio=best[2],
        least_ratio=float(local.min()) if len(local) else None,
        most_ratio=float(local.max()) if len(local) else None,
    )


@lru_cache(maxsize=REMEMBERED)
def drainage(assessment: Assessment) -> tuple[Drainage, ...]:
    """Where the water of each falling zone goes, for zones with a reading where it leaves.

    Not for those whose readings leave open how high places lie to each other.
    """
    found = []
    for part in assessment.parts:
        ground = part.view.ground
        if ground is None or not (ground.drained >= 0).any():
            continue
        floor = part.view.surface
        if not (len(floor.triangles) and settled(floor)):
            continue
        land = catchments(floor.xy_mm, floor.height_mm, floor.triangles, ground.drained)
        names = [
            say("the {drain}", drain=drain.outline.name) for drain in assessment.survey.drains
        ] or [LOW_SIDE]
        labels = [int(k) for k in np.unique(land.drain)]
        shares = [
            Share(names[k] if k >= 0 else "", land.share(k, held_mm()), land.share(k))
            for k in labels
        ]
        shares.sort(key=lambda share: -share.in_all)
        found.append(Drainage(part.name, part, _ponds(part), tuple(shares), land))
    return tuple(found)


def _ponds(part: Part) -> tuple[Standing, ...]:
    floor, ground = part.view.surface, part.view.ground
    assert ground is not None  # asked for only where the zone falls
    found = []
    for pond in ponds(floor.xy_mm, floor.height_mm, floor.triangles, ground.drained >= 0):
        if pond.spill < 0:
            continue  # no reading joins it to the drain
        pair = np.array([[pond.spill, pond.pit]])
        u = math.sqrt(max(float(variance(floor.cov_mm2, pair, np.array([[1.0, -1.0]]))[0]), 0.0))
        found.append(
            Standing(
                depth_mm=pond.depth_mm,
                u_mm=u,
                told=pond.depth_mm - held_mm() > CLEAR * u,
                area_mm2=pond.area_mm2,
                volume_mm3=pond.volume_mm3,
                at=place_of(floor.xy_mm[pond.pit]),
                over=place_of(floor.xy_mm[pond.spill]),
                held_by_drain=bool(ground.drained[pond.spill] >= 0),
                shores=pond.shores,
            )
        )
    return tuple(found)


def _starts(part: Part) -> Floats:
    """Places over the zone that water runs from: on a grid, inside some triangle."""
    floor = part.view.surface
    low, high = floor.xy_mm.min(axis=0), floor.xy_mm.max(axis=0)
    step = float((high - low).max()) / 10
    count = np.maximum(((high - low) / step).astype(int), 1)
    grid = cell_middles(low, high, count)
    kept: Floats = grid[[_on_some(place, floor.xy_mm[floor.triangles]) for place in grid]]
    return kept


def _on_some(place: Floats, corners: Floats) -> bool:
    a = np.roll(corners, -1, axis=1) - corners
    b = place - corners
    return bool(np.all(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0] >= 0, axis=1).any())


MOST_FLOOD_MM = 12 * MM_PER_INCH
"""A flood test stands no deeper: it is a load on the floor. Common practice, no source."""


@dataclass(frozen=True)
class FloodTest:
    """The water of a flood test in one zone: where it was measured, and how deep it is.

    It stands `depth_mm` deep at the reading `at`, which lies `off_mm` from the place that was asked
    for and is the highest of the zone where none was (`off_mm` is None). It is `at_drain_mm` deep
    at the drain, None where that was not read. `room` is the one that places are told in.
    """

    zone: str
    room: Room
    depth_mm: float
    at: Place
    off_mm: float | None
    at_drain_mm: float | None
    water: Flood


def flood_test(
    assessment: Assessment, depth_mm: float, at: Place | None = None
) -> tuple[FloodTest, ...]:
    """How much water does a flood test take in each falling zone, and how deep is it?

    It stands `depth_mm` deep at the reading nearest to `at`, in the zone that this lies in; by
    default in each zone at its highest reading. The volume is exact for the surface between the
    readings.

    Raises SurveyError for a depth that is no flood test's, without a falling zone, for a place in
    none, and where the readings leave open how high places lie to each other.
    """
    style = assessment.survey.show
    if not 0 < depth_mm < math.inf:
        raise SurveyError(say("the depth of a flood test must be larger than zero."))
    if depth_mm > MOST_FLOOD_MM:
        raise SurveyError(
            say(
                "the depth of a flood test was expected to be {most} at most, not "
                "{depth}: the water is a load on the floor.",
                most=format_length(MOST_FLOOD_MM, style),
                depth=format_length(depth_mm, style),
            )
        )
    falling = [part for part in assessment.parts if part.view.ground is not None]
    if not falling:
        raise SurveyError(say("a flood test is for a zone that falls, and none does."))
    if at is not None:
        here = np.array([at])
        falling = [part for part in falling if inside(part.view.surface.room, here)[0]]
    if at is not None and not falling:
        raise SurveyError(
            say(
                "the place {east} east and {north} north lies in no zone that falls; name one at "
                "the foot of the curb.",
                east=format_distance(at[0], style),
                north=format_distance(at[1], style),
            )
        )
    found = []
    for part in falling:
        ground, floor = part.view.ground, part.view.surface
        assert ground is not None  # of a zone that falls
        if not settled(floor):
            raise SurveyError(
                say(
                    "zone {zone!r}: the readings leave open how high its places lie to each other, "
                    "and so how deep water stands.",
                    zone=part.name,
                )
            )
        z = floor.height_mm
        away = None if at is None else np.hypot(*(floor.xy_mm - np.array(at)).T)
        near = int(np.argmax(z) if away is None else np.argmin(away))
        level = float(z[near]) + depth_mm
        drained = z[ground.drained >= 0]
        found.append(
            FloodTest(
                zone=part.name,
                room=assessment.surface.room,
                depth_mm=depth_mm,
                at=place_of(floor.xy_mm[near]),
                off_mm=None if away is None else float(away[near]),
                at_drain_mm=level - float(drained.min()) if len(drained) else None,
                water=flood(floor.xy_mm, z, floor.triangles, level),
            )
        )
    return tuple(found)
