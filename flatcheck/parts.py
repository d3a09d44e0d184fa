"""What is judged on its own: the zones, the planes of those that fall, and pieces nothing joins."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from flatcheck.drain import Drain, check_drain, falls_to
from flatcheck.errors import SurveyError
from flatcheck.evidence import Ground, View
from flatcheck.facet import Falls, one_fall
from flatcheck.intent import DRAINING, Intent, fall_of, fit
from flatcheck.language import say
from flatcheck.room import EDGE_MM, Ring, Room, foot_on, inside, onto, wall_names
from flatcheck.surface import LINE_MM, Surface, form_u, lines, part
from flatcheck.survey import Survey
from flatcheck.zones import zones_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CELLS, OFF = 40, 0.37
"""So many cells each way, and where in its cell a place is: off center, as zones like to meet at
halves."""

NEAR_MM = 50.0
"""A reading this near to the low side of a floor is a reading of where water leaves it [mm]."""

PLANNED_FALL = 0.02
"""The fall that planes are laid out with where nobody said one: they lie alike for every fall."""


@dataclass(frozen=True, eq=False)
class Face:
    """One plane of a part, as it is looked at, and the numbers of its stations in the part."""

    name: str
    view: View
    stations: Ints


@dataclass(frozen=True, eq=False)
class Part:
    """A zone as it was judged, or a piece of one where no reading joins the pieces.

    `faces` are its planes: one where the floor is to be level or to fall one way. `bare` are
    planes, by name, with too few readings to look at. `stations` are the numbers of its stations
    in the whole survey, `rivals` (r, 2) the places of stations of other pieces in the same zone:
    floor nearer to those is theirs to judge. `fall` is the slope of the plane that fits best
    [ratio], which way it falls [degrees clockwise from north] and the slope's standard
    uncertainty; None where the readings leave it open.
    """

    name: str
    view: View
    stations: Ints
    faces: tuple[Face, ...]
    bare: tuple[Ring, ...] = ()
    rivals: Floats = field(default_factory=lambda: np.empty((0, 2)))
    fall: tuple[float, float, float] | None = None


def faces_for(part: Part, looks_at: str) -> tuple[Face, ...]:
    """What a measure looks at in a part: each "plane" of it, or the "zone" as a whole."""
    if looks_at == "plane":
        return part.faces
    return (Face(part.name, part.view, np.arange(len(part.stations))),)


def view_of(floor: Surface, intent: Intent) -> View:
    """A floor, or a zone of it, as measures see it."""
    # The variances of an adjusted network belong to differences, so they are no weights.
    weight = 1 / floor.cov_mm2 if floor.cov_mm2.ndim == 1 else None
    return View(floor, lines(floor), fit(intent, floor.xy_mm, floor.height_mm, weight))


def parts_of(survey: Survey, floor: Surface, piece: Ints) -> tuple[Part, ...]:
    """The zones, each with its own readings, and each piece of them that no reading joins.

    Raises SurveyError for a zone without readings, a reading outside every zone, zones that
    overlap or leave gaps, and a zone that falls to a drain it does not have.
    """
    check_drains(survey, floor.room)
    parts = []
    covered = np.zeros(len(floor.xy_mm), dtype=bool)
    for name, outline, intent in zones_of(survey, floor.room):
        room = replace(floor.room, zone=outline) if survey.zones else floor.room
        falls = falls_of(name, outline, intent, survey.drains, floor.room)
        here = inside(room, floor.xy_mm)
        covered |= here
        pieces = [p for p in np.unique(piece[here]) if np.count_nonzero(here & (piece == p)) > 1]
        if not pieces:
            raise SurveyError(say("zone {zone!r} holds fewer than two readings.", zone=name))
        for number, p in enumerate(pieces, 1):
            own, kept = part(floor, room, piece == p)
            called = (
                name
                if len(pieces) == 1
                else say("{zone}, piece {number}", zone=name, number=number)
            )
            faces, bare = _faces(called, own, intent, falls, survey.drains)
            parts.append(
                Part(
                    name=called,
                    view=_whole(own, intent, falls, faces, survey.drains),
                    stations=kept,
                    faces=faces,
                    bare=bare,
                    rivals=floor.xy_mm[here & np.isin(piece, pieces) & (piece != p)],
                    fall=best_fall(own),
                )
            )
    if survey.zones:
        check_zones(survey, floor.room)
    if not covered.all():
        stray = floor.where[int(np.argmin(covered))]
        raise SurveyError(say("{where}: the reading lies in none of the zones.", where=stray))
    return tuple(parts)


def drain_of(name: str, outline: Ring, intent: Intent, drains: tuple[Drain, ...]) -> Drain:
    """The drain that a zone falls to: the one it names, or the only one in it."""
    lies_in = [
        drain
        for drain in drains
        if inside(Room(outline), np.array(drain.outline.corners_mm).mean(axis=0)[None])[0]
    ]
    if intent.drain:
        lies_in = [drain for drain in drains if drain.outline.name == intent.drain]
        if not lies_in:
            raise SurveyError(
                say(
                    "zone {zone!r} falls to {drain!r}, and no drain is so named.",
                    zone=name,
                    drain=intent.drain,
                )
            )
    if not lies_in:
        raise SurveyError(
            say("zone {zone!r} is to fall to a drain, and there is none in it.", zone=name)
        )
    if len(lies_in) > 1:
        raise SurveyError(
            say(
                "zone {zone!r} has {count} drains; say which one it falls to.",
                zone=name,
                count=len(lies_in),
            )
        )
    return lies_in[0]


def falls_of(
    name: str, outline: Ring, intent: Intent, drains: tuple[Drain, ...], room: Room
) -> Falls | None:
    """The planes that a zone is meant to be made of; None where it is not meant to fall.

    Raises SurveyError for a zone that reaches outside the room: planes are laid from its sides.
    """
    ratio = intent.fall_ratio or PLANNED_FALL
    if intent.kind not in DRAINING and not (intent.kind == "fall" and intent.fall_ratio):
        return None
    if not inside(Room(room.outline), np.array(outline.corners_mm)).all():
        raise SurveyError(
            say("zone {zone!r} is to fall, and a corner of it lies outside the room.", zone=name)
        )
    if intent.kind == "fall":
        return one_fall(outline, ratio, intent.bearing_deg)
    drain = drain_of(name, outline, intent, drains)
    linear = intent.kind == "to channel"
    return falls_to(outline, drain.outline, ratio, linear, side_names(room, outline))


def side_names(room: Room, outline: Ring, line: bool = False) -> tuple[str, ...]:
    """What the sides of a zone are called: by the wall of the room they lie on.

    A side on none is called by the compass; of a bed's edge, a `line` is said of it.
    """
    sides = wall_names(Room(outline))
    called = [say("{side} line", side=side) if line else side for side in sides]
    corners, walls = np.array(outline.corners_mm), np.array(room.outline.corners_mm)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    for name, p, q in zip(wall_names(room), walls, np.roll(walls, -1, axis=0), strict=True):
        for k in np.flatnonzero(np.hypot(*(middles - foot_on(p, q, middles)).T) < EDGE_MM):
            called[k] = name
    return tuple(called)


def passed_over(survey: Survey, room: Room) -> tuple[tuple[str, str, str], ...]:
    """Drains that lie in a plane which falls past them: (zone, drain, plane) by name."""
    found = []
    for name, outline, intent in zones_of(survey, room):
        falls = falls_of(name, outline, intent, survey.drains, room)
        if falls is None or intent.kind not in DRAINING:
            continue
        own = drain_of(name, outline, intent, survey.drains)
        for drain in survey.drains:
            middle = np.array(drain.outline.corners_mm).mean(axis=0)[None]
            planes = [f.name for f in falls.facets if inside(Room(f.outline), middle)[0]]
            if drain is not own and planes:
                found.append((name, drain.outline.name, planes[0]))
    return tuple(found)


def _faces(
    name: str, own: Surface, intent: Intent, falls: Falls | None, drains: tuple[Drain, ...]
) -> tuple[tuple[Face, ...], tuple[Ring, ...]]:
    """The planes of a zone with the stations on each; no bar is laid over a drain."""
    cutouts = (*own.room.cutouts, *(drain.outline for drain in drains))
    room = replace(own.room, cutouts=cutouts) if drains else own.room
    if falls is None:
        floor, kept = part(own, room) if drains else (own, np.arange(len(own.xy_mm)))
        if len(kept) < 2:
            raise SurveyError(
                say("zone {zone!r} holds fewer than two readings beside its drain.", zone=name)
            )
        return (Face(name, view_of(floor, intent), kept),), ()
    faces, bare = [], []
    for facet in falls.facets:
        floor, kept = part(own, replace(room, zone=facet.outline))
        if len(kept) < 3:
            bare.append(facet.outline)
            continue
        # The one plane of a plain fall has the height and slope that were asked for.
        meant = intent if intent.kind == "fall" else Intent()
        faces.append(
            Face(facet.name, replace(view_of(floor, meant), flow_deg=facet.bearing_deg), kept)
        )
    if not faces:
        raise SurveyError(
            say("none of the planes of zone {zone!r} holds three readings.", zone=name)
        )
    return tuple(faces), tuple(bare)


def _whole(
    own: Surface,
    intent: Intent,
    falls: Falls | None,
    faces: tuple[Face, ...],
    drains: tuple[Drain, ...],
) -> View:
    """The zone as a whole, with how it is to drain where it is to fall."""
    if len(faces) == 1 and not drains:
        whole = faces[0].view
    else:
        whole = View(own, (), fit(Intent(), own.xy_mm, own.height_mm))
    if falls is None:
        return whole
    by_name = {face.name: (face.view, face.stations) for face in faces}
    views = tuple(by_name.get(facet.name) for facet in falls.facets)
    return replace(whole, ground=Ground(falls, views, _drained(own, intent, drains)))


def _drained(own: Surface, intent: Intent, drains: tuple[Drain, ...]) -> Ints:
    """Where water leaves (n,): the number of the drain that a station lies on, -1 elsewhere.

    Along the low side of a fall without a drain it is 0.
    """
    on = np.full(len(own.xy_mm), -1)
    for number, drain in enumerate(drains):
        on[_within(drain.outline, own.xy_mm)] = number
    if intent.kind == "fall" and not drains:
        corners = np.array((own.room.zone or own.room.outline).corners_mm)
        turn = math.radians(intent.bearing_deg)
        down = np.array([math.sin(turn), math.cos(turn)])
        on[own.xy_mm @ down >= float((corners @ down).max()) - NEAR_MM] = 0
    return on


def _within(ring: Ring, xy: Floats) -> Mask:
    """The places inside a ring, or as near to it as a tape can tell."""
    near = np.hypot(*(xy - onto(ring, xy)).T) <= LINE_MM
    return np.asarray(near | inside(Room(ring), xy))


def check_drains(survey: Survey, room: Room) -> None:
    """Drains lie in the room. Raises SurveyError naming one that does not."""
    for drain in survey.drains:
        ring = drain.outline
        check_drain(
            ring.name, np.array(ring.corners_mm), replace(room, cutouts=()), say("the room")
        )


def check_zones(survey: Survey, room: Room) -> None:
    """Zones cover the floor, each place once. Raises SurveyError naming a place that is not."""
    points = spread(room)
    # A place on the line between two zones would count for both.
    off = [np.hypot(*(points - onto(zone.outline, points)).T) for zone in survey.zones]
    points = points[np.min(off, axis=0) > 2 * EDGE_MM]
    held = np.zeros(len(points), dtype=np.int64)
    for zone in survey.zones:
        held += inside(replace(room, zone=zone.outline), points)
    for bad, words in ((held == 0, say("lies in no zone")), (held > 1, say("lies in two zones"))):
        if np.mean(bad) > 0.005:
            x, y = points[int(np.argmax(bad))]
            raise SurveyError(
                say(
                    "the floor around {x:.0f} mm east and {y:.0f} mm north {words}; zones cover "
                    "the room, each place once.",
                    x=x,
                    y=y,
                    words=words,
                )
            )


def settled(floor: Surface) -> bool:
    """Whether the readings decide how high every place lies to every other."""
    return bool(np.ptp(floor.free, axis=0).max(initial=0.0) < 1e-6)


def cell_of(room: Room) -> Floats:
    """How much floor, east-west and north-south, each place of `spread` stands for (2,) [mm]."""
    size: Floats = np.ptp(np.array((room.zone or room.outline).corners_mm), axis=0)
    return size / CELLS


def spread(room: Room) -> Floats:
    """Places spread evenly over the floor of a room, or of its zone."""
    low = np.array((room.zone or room.outline).corners_mm).min(axis=0)
    across = np.arange(CELLS) + OFF
    points = low + np.stack(np.meshgrid(across, across), axis=-1).reshape(-1, 2) * cell_of(room)
    placed: Floats = points[inside(room, points)]
    return placed


def best_fall(floor: Surface) -> tuple[float, float, float] | None:
    """The fall of the best plane with its standard uncertainty, where the readings decide it."""
    plane = fit(Intent(), floor.xy_mm, floor.height_mm)
    slopes = plane.form[1:]
    middle = floor.xy_mm - floor.xy_mm.mean(axis=0)
    if np.linalg.svd(middle, compute_uv=False)[-1] < LINE_MM:
        return None  # along one line nothing tells how the floor lies across it
    if np.abs(slopes @ floor.free).max(initial=0.0) * np.ptp(floor.xy_mm) > 1e-6:
        return None
    ratio, bearing = fall_of(plane)
    turn = math.radians(bearing)
    form = np.array([math.sin(turn), math.cos(turn)]) @ slopes
    return ratio, bearing, form_u(floor.cov_mm2, form)
