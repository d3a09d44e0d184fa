"""The site: a judged floor with the terms of its correction, as remedies see it.

A remedy is one file in `flatcheck/remedies/` with `ID`, `TITLE` and `propose(site)`, which returns
a `Proposal` (what to fill and grind at every station) or a `Refusal` (`flatcheck/refusal.py`) that
says why it does not apply. What it proposes is laid on the surface and judged again before anybody
is told of it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment, pieces_of
from flatcheck.demand import Demand, demand, feather
from flatcheck.drain import HELD_MM
from flatcheck.errors import SurveyError
from flatcheck.evidence import Evidence, decided_rows, looks_at, measure_named, some_rows
from flatcheck.guard import CLEAR
from flatcheck.judgment import judge, rules_of
from flatcheck.language import say
from flatcheck.leastwork import Conflict, Correction, Work, least_work
from flatcheck.parts import Part, faces_for, parts_of
from flatcheck.room import Room, area, inside
from flatcheck.rules import Rule, limit_at
from flatcheck.surface import Surface, station_areas, widened
from flatcheck.terms import Keep, Material, Terms, weighed
from flatcheck.verdict import Outcome, Verdict

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

NOT_GROUND = {
    "wood": say("Wood is not ground"),
    "membrane": say("A membrane must not be ground"),
    "heated": say("Heating lines lie in the floor; nobody grinds it before they are located"),
    "post-tensioned": say("A post-tensioned slab is not ground before an engineer agrees"),
    "old adhesive": say("Old adhesive may hold asbestos; it is not ground before it is tested"),
    "tile": say("Old tile and its bed may hold asbestos or lead; they are not ground here"),
}
"""Why a floor is not ground, by what it is made of or holds."""

AT_LIMIT_MM = 0.01
"""Work is planned to stay this far within a limit, whatever is decided: arithmetic [mm]."""

FEATHER = say("The steepest edge that a patch may have.")

PASSES = 20
"""How often a correction is measured again for demands that only it has shown."""


@dataclass(frozen=True, eq=False)
class Proposal:
    """What a remedy would do: fill and grind (n,) [mm] at the stations of the survey.

    `material` is what is filled with. `cost` is its variable cost and `least_cost` a proven lower
    bound of that of any correction of its kind, None where it is no optimum. `levels` are the
    heights that a leveler is poured to, by part [mm]; `lifts` and `dams` what it takes.
    """

    id: str
    title: str
    fill_mm: Floats
    grind_mm: Floats
    material: Material | None
    cost: float = 0.0
    least_cost: float | None = None
    levels: tuple[tuple[str, float], ...] = ()
    lifts: int = 1
    dams: int = 0


@dataclass(frozen=True, eq=False)
class Site:
    """A judged floor and the terms of its correction.

    `progress` is told of the rounds of a search for least work; `stop` is asked whether to end it
    with the best correction known.
    """

    assessment: Assessment
    terms: Terms
    progress: Callable[[int, int, float, float], None] | None = None
    stop: Callable[[], bool] | None = None

    @property
    def floor(self) -> Surface:
        """The surface as it was read."""
        return self.assessment.surface

    @property
    def stopped(self) -> bool:
        """Whether the search is to end with what is known."""
        return self.stop is not None and self.stop()

    @property
    def guarded(self) -> bool:
        """Whether the corrected floor must be within whatever the reading error."""
        return self.assessment.survey.decision != "as read"

    @cached_property
    def area_mm2(self) -> Floats:
        """The floor around each station (n,) [mm²].

        What nobody read, mostly strips along walls, is shared out: areas add up to the room's.
        """
        areas = station_areas(self.floor)
        alone = areas == 0  # in no triangle: cut off by a wall, or all readings in one line
        areas[alone] = 1.0 if alone.all() else areas[~alone].mean()
        shared: Floats = areas * (area(self.floor.room) / areas.sum())
        return shared

    @cached_property
    def ungrindable(self) -> str:
        """Why nothing may be ground, empty where it may."""
        return ". ".join(NOT_GROUND[kind] for kind in self.terms.substrate if kind in NOT_GROUND)

    @cached_property
    def most_fill_mm(self) -> Floats:
        """What may be filled at each station (n,): inf but where something forbids it."""
        most = np.full(len(self.floor.xy_mm), np.inf)
        for stations, keep in self.kept:
            if not keep.fill:
                most[stations] = 0.0
        for stations, rise in self.held:
            most[stations] = np.minimum(most[stations], rise)
        if self.assessment.survey.drains:
            most[self.drained] = 0.0
        return most

    @cached_property
    def most_grind_mm(self) -> Floats:
        """What may be ground at each station (n,)."""
        most = np.full(len(self.floor.xy_mm), 0.0 if self.ungrindable else self.terms.most_grind_mm)
        for stations, keep in self.kept:
            if not keep.grind:
                most[stations] = 0.0
        for stations, _ in self.held:
            most[stations] = 0.0
        most[self.drained] = 0.0
        return most

    @cached_property
    def drained(self) -> Ints:
        """The stations where water leaves the floor."""
        on = [
            part.stations[part.view.ground.drained >= 0]
            for part in self.assessment.parts
            if part.view.ground is not None
        ]
        return np.concatenate([np.empty(0, np.int64), *on])

    @cached_property
    def kept(self) -> tuple[tuple[Ints, Keep], ...]:
        """For every part that may not be worked on its stations.

        Raises SurveyError for one without readings: no demand would keep a hand off it.
        """
        found = []
        for keep in self.terms.keeps:
            own = np.flatnonzero(inside(Room(keep.outline), self.floor.xy_mm))
            if not len(own):
                raise SurveyError(
                    say(
                        "{name}: no reading lies in this part that is to be kept; read a place in "
                        "it, or check its outline.",
                        name=keep.outline.name,
                    )
                )
            found.append((own, keep))
        return tuple(found)

    @cached_property
    def held(self) -> tuple[tuple[Ints, float], ...]:
        """For every height that must not change its stations, and what it may rise [mm]."""
        found = []
        for hold in self.assessment.survey.holds:
            away = np.hypot(*(self.floor.xy_mm - np.array(hold.at)).T)
            near = np.flatnonzero(away <= HELD_MM)
            if not len(near):
                raise SurveyError(
                    say(
                        "{name}: no reading lies within {reach:.0f} mm of it.",
                        name=hold.name,
                        reach=HELD_MM,
                    )
                )
            found.append((near, hold.rise_mm))
        return tuple(found)

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """What the rules ask of a correction, as measured on the floor as it is."""
        return _demands(self, np.zeros(len(self.floor.xy_mm)))

    @cached_property
    def linear(self) -> bool:
        """Whether all that the rules ask are fixed linear forms, so that a least cost is proven.

        Where water stands and where valleys run is none, nor is a departure from a plane that
        tilts with the heights.
        """
        bent = {"ponding", "valley_line", "datum"}
        if any(np.any(face.view.plane.form[1:]) for p in self.assessment.parts for face in p.faces):
            bent.add("plane")
        return all(rule.measure not in bent for rule in rules_of(self.assessment.survey))

    @property
    def edges(self) -> Ints:
        """Neighbors on the triangulation (e, 2)."""
        corners = np.sort(self.floor.triangles[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
        edges: Ints = np.unique(corners.reshape(-1, 2), axis=0)
        return edges


def corrected(site: Site, fill_mm: Floats, grind_mm: Floats) -> Surface:
    """The surface after a correction, as well known as the reading and the placing allow."""
    floor = site.floor
    worked = (fill_mm > 0) | (grind_mm > 0)
    extra = np.where(worked, site.terms.placing_mm**2, 0.0)
    return replace(
        floor,
        height_mm=floor.height_mm + fill_mm - grind_mm,
        cov_mm2=widened(floor.cov_mm2, extra),
    )


def rejudged(site: Site, fill_mm: Floats, grind_mm: Floats) -> tuple[tuple[Part, ...], Verdict]:
    """The parts and the verdict of the surface after a correction."""
    return judge(site.assessment.survey, corrected(site, fill_mm, grind_mm), pieces(site))


def pieces(site: Site) -> Ints:
    """Which piece each station of the surface belongs to (n,)."""
    return pieces_of(site.assessment.adjusted)


def cheapest(site: Site, grind: bool, fill: Material | None) -> Correction | Conflict:
    """The correction of least cost after which every rule holds, by grinding, filling or both.

    Costs are per volume of floor; the demands of all rules are measured on the floor as it is,
    and again on what was found, until that shows no demand that is broken. Room for placing is
    left everywhere: which places will be worked on is not known before. A floor that is within
    as it is takes no work.
    """
    n = len(site.floor.xy_mm)
    if site.assessment.verdict.outcome is Outcome.WITHIN:
        return Correction(np.zeros(n), np.zeros(n), 0.0, 0.0, 0.0, rounds=0, held=0)
    fill_cost, grind_cost = weighed(site.terms, fill, grind)
    work = Work(
        xy_mm=site.floor.xy_mm,
        height_mm=site.floor.height_mm,
        fill_cost=site.area_mm2 * fill_cost,
        grind_cost=site.area_mm2 * grind_cost,
        most_fill_mm=np.minimum(site.most_fill_mm, fill.most_mm) if fill else np.zeros(n),
        most_grind_mm=site.most_grind_mm if grind else np.zeros(n),
    )
    demands = list(site.demands)
    if math.isfinite(site.terms.feather):
        demands.append(feather(FEATHER, site.floor.xy_mm, site.edges, site.terms.feather))
    found = least_work(work, demands, site.progress, site.stop)
    for _ in range(PASSES):
        if isinstance(found, Conflict):
            return found
        change = found.fill_mm - found.grind_mm
        more = [_broken(item, change) for item in _demands(site, change)]
        more = [item for item in more if len(item.spare_mm)]
        if not more or site.stopped:
            return found
        demands += more
        found = least_work(work, demands, site.progress, site.stop)
    return found


def _broken(item: Demand, change: Floats) -> Demand:
    """The forms of a demand that a correction (n,) does not keep."""
    kept = np.sum(item.weights * change[item.stations], axis=1) > item.spare_mm + 1e-4
    return replace(
        item,
        stations=item.stations[kept],
        weights=item.weights[kept],
        spare_mm=item.spare_mm[kept],
    )


def _demands(site: Site, change: Floats) -> tuple[Demand, ...]:
    """What the rules ask of the correction, as measured on the floor after `change` (n,)."""
    survey = site.assessment.survey
    after = corrected(site, np.maximum(change, 0.0), np.maximum(-change, 0.0))
    found = []
    for part in parts_of(survey, after, pieces(site)):
        for rule in rules_of(survey):
            for face in faces_for(part, looks_at(rule.measure)):
                seen = measure_named(rule.measure)(face.view, rule.length_mm)
                if seen is not None and len(seen.value_mm):
                    seen = some_rows(seen, decided_rows(face.view, seen))
                    own = part.stations[face.stations]
                    found.append(_demand(site, rule, seen, own, change))
    return tuple(found)


def _demand(site: Site, rule: Rule, seen: Evidence, own: Ints, change: Floats) -> Demand:
    stations, weights = own[seen.forms], seen.weights
    # Measured after `change`; what it has done is taken off, so that demands add to each other.
    value = seen.value_mm - np.sum(weights * change[stations], axis=1)
    margin = np.full(len(value), AT_LIMIT_MM)
    if site.guarded:
        # What was worked on after `change` is as uncertain as its placing by now.
        untouched = change[stations] == 0
        placed = np.sum(weights**2 * untouched, axis=1) * site.terms.placing_mm**2
        margin = margin + CLEAR * np.sqrt(seen.u_mm**2 + placed)
    limit = limit_at(rule.limit, seen.span_mm)
    return demand(rule.words, stations, weights, value, limit, margin, both_sides=seen.signed)
