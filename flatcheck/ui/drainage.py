"""How a floor falls and where its water goes: the plan.

Pictures of an assessment; nothing is judged here.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.compass import bearing_of
from flatcheck.falls import Drainage, Standing
from flatcheck.language import say
from flatcheck.report.falls import plane_words, pond_words, worst_fall
from flatcheck.report.words import outcome_of
from flatcheck.runoff import Run
from flatcheck.ui.drawing import Drawing, Line, Signs, Words, located, pieces
from flatcheck.ui.plan import (
    FLOOR,
    LINE_PX,
    NARROW_PX,
    add_drains,
    add_ground,
    add_planes,
    add_room,
    frame,
    middle_of,
    size_of,
    write_beside,
)
from flatcheck.ui.planes import Arrow, arrow_words, arrows_of
from flatcheck.ui.svg import shown
from flatcheck.verdict import Finding, Outcome, Place, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

WATER, WET = "#0072b2", "#d4e9f7"
RUNNING = "#5b7f95"
WORST = "#a3231c"

GOES = (
    ("#fde4b0", "#b57400", "/"),
    ("#cfe8f7", "#2b7cab", "\\"),
    ("#cdebdf", "#00724f", "."),
    ("#f3d9e8", "#a04d7f", "+"),
)
"""Ground, ink and pattern of what drains to each drain: told apart without any color."""

NOWHERE = ("#d9dde1", "#57606a", "x")

WORST_NAMES = {
    "fall_least": say("least fall"),
    "fall_most": say("steepest"),
    "ponding": say("deepest water"),
    "wall_level": say("off level"),
    "valley_line": say("valley off"),
    "step": say("step"),
}
"""What the worst place of each measure of falls and water is called on the plan."""


def falls_map(assessment: Assessment, water: Sequence[Drainage]) -> Drawing:
    """The floor from above: planes and how they fall, the ways of water, and where it stands."""
    survey, room = assessment.survey, assessment.surface.room
    drawing = Drawing(say("Plan of the floor: how it falls, and where its water goes"))
    arrows = arrows_of(assessment)
    add_ground(drawing, room, FLOOR)
    _add_catchments(drawing, assessment, water, arrows)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(drawing, piece.view.ground.falls)
    add_room(drawing, room)
    runs = [run for zone in water for run in zone.lines]
    _add_runs(drawing, runs, float(size_of(room.outline).max()))
    add_drains(drawing, survey.drains)
    for zone in water:
        for number, pond in enumerate(zone.ponds, 1):
            _add_pond(drawing, pond, number, pond_words(number, pond, room, survey.show))
    _add_arrows(drawing, assessment, arrows)
    _add_worst(drawing, assessment, water)
    frame(drawing, room, survey.show)
    return drawing


def destinations(water: Sequence[Drainage]) -> tuple[int, ...]:
    """The numbers of the drains that the floor drains to, -1 for what drains nowhere, last."""
    found = {int(drain) for zone in water for drain in np.unique(zone.land.drain)}
    return tuple(sorted(found, key=lambda drain: (drain < 0, drain)))


def _split(goes: Sequence[int]) -> bool:
    """Whether the floor drains to more than one place, or some of it to none."""
    return len(goes) > 1 or -1 in goes


def _add_catchments(
    drawing: Drawing,
    assessment: Assessment,
    water: Sequence[Drainage],
    arrows: Sequence[Arrow],
) -> None:
    """What drains to each drain, and what to none; nothing where all goes to one drain."""
    goes = destinations(water)
    if not _split(goes):
        return
    names = [drain.outline.name for drain in assessment.survey.drains] or [say("the low side")]
    floors = {part.name: part.view.surface for part in assessment.parts}
    drains = [np.array(drain.outline.corners_mm) for drain in assessment.survey.drains]
    down = LINE_PX / NARROW_PX * float(size_of(assessment.surface.room.outline).max())
    taken = np.array(
        [
            *(middle_of(arrow.outline) for arrow in arrows),
            *((xy[:, 0].mean(), xy[:, 1].min() - down) for xy in drains),  # below their names
            *(pond.at for zone in water for pond in zone.ponds),
        ]
    )
    for zone in water:
        xy = floors[zone.zone].xy_mm
        for drain in goes:
            mine = zone.triangles[zone.land.drain == drain]
            if not len(mine):
                continue
            ground, ink, pattern = GOES[drain % len(GOES)] if drain >= 0 else NOWHERE
            edge = pieces(rims(xy, mine))
            words = say("to {drain}", drain=names[drain]) if drain >= 0 else say("drains nowhere")
            drawing.add(Line(words, edge, ink, fill=ground, hatch=pattern, hatch_color=ink))
            at = place_of(_free_place(xy[mine].mean(axis=1), np.vstack((taken, edge))))
            drawing.write(Words("ground", at, f"<i>{shown(words)}</i>", size_px=13, halo=True))


def _free_place(places: Floats, taken: Floats) -> Floats:
    """Of some places (n, 2) the one farthest from others that hold words, which are wide."""
    away = np.abs(places[:, None] - taken[np.isfinite(taken[:, 0])]) / (2.5, 1)
    freest: Floats = places[np.argmax(np.hypot(away[..., 0], away[..., 1]).min(axis=1))]
    return freest


def rims(xy: Floats, triangles: Ints) -> list[Floats]:
    """The edges of a patch of counter-clockwise triangles, as closed rings (m, 2), holes too."""
    sides = np.concatenate([triangles[:, pair] for pair in ([0, 1], [1, 2], [2, 0])]).tolist()
    both = {(i, j) for i, j in sides}
    ways: dict[int, list[int]] = {}
    for i, j in sides:
        if (j, i) not in both:
            ways.setdefault(i, []).append(j)
    rings = []
    while ways:
        start = here = next(iter(ways))
        ring = [start]
        while len(ring) == 1 or here != start:
            there = ways[here].pop()
            if not ways[here]:
                del ways[here]
            ring.append(there)
            here = there
        rings.append(xy[ring])
    return rings


def _add_runs(drawing: Drawing, lines: Sequence[Run], size: float) -> None:
    """The ways of water as thin lines, each with a head that points down it."""
    if not lines:
        return
    drawing.add(Line("runs", pieces([run.xy_mm for run in lines]), RUNNING))
    heads: list[tuple[Place, float]] = []
    for at, bearing in (head_of(run.xy_mm) for run in lines if _length(run.xy_mm) > size / 20):
        if all(math.dist(at, other) > size / 12 for other, _ in heads):
            heads.append((at, bearing))
    drawing.add(
        Signs(
            "heads of runs",
            located([at for at, _ in heads]),
            "arrow",
            7,
            fill=RUNNING,
            turn_deg=[bearing for _, bearing in heads],
        )
    )


def _length(line: Floats) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def head_of(line: Floats) -> tuple[Place, float]:
    """The place halfway along a line (m, 2), and which way it goes there [degrees from north]."""
    steps = np.diff(line, axis=0)
    long = np.hypot(*steps.T)
    past = np.cumsum(long)
    k = int(np.searchsorted(past, past[-1] / 2))
    left = (past[k] - past[-1] / 2) / long[k]
    east, north = steps[k]
    return place_of(line[k + 1] - left * steps[k]), bearing_of(float(east), float(north))


def _add_pond(drawing: Drawing, pond: Standing, number: int, words: str) -> None:
    """Water that stands: hatched level, its number in it; dashed where it may be reading error."""
    shores = pieces([np.vstack((shore, shore[:1])) for shore in pond.shores])
    dash = "solid" if pond.told else "dash"
    name = f"number of pond {number}"
    drawing.add(
        Line(f"pond {number}", shores, WATER, 2, dash, fill=WET, hatch="-", hatch_color=WATER),
        Signs(
            name,
            np.array([pond.at]),
            size_px=20,
            fill="white",
            edge=WATER,
            edge_px=2,
            told=[shown(words)],
        ),
    )
    drawing.write(Words(name, pond.at, f"<b>{number}</b>", size_px=14))


def _add_arrows(drawing: Drawing, assessment: Assessment, arrows: Sequence[Arrow]) -> None:
    style, size = assessment.survey.show, size_of(assessment.surface.room.outline)
    for arrow in arrows:
        told, tip = shown(plane_words(arrow.fall, style)), np.array([arrow.head])
        if arrow.told:
            turn = [arrow.fall.bearing_deg]
            drawing.add(
                Line(
                    f"fall of {arrow.letter}",
                    np.array([arrow.tail, arrow.head]),
                    width_px=3,
                    told=told,
                ),
                Signs(f"head of {arrow.letter}", tip, "arrow", 14, turn_deg=turn),
            )
        else:
            drawing.add(
                Signs(
                    f"fall of {arrow.letter}", tip, size_px=10, fill="white", edge_px=2, told=[told]
                )
            )
        east, north = np.abs(np.subtract(arrow.head, arrow.tail))
        write_beside(
            drawing,
            arrow.outline,
            bool(east > north),
            arrow_words(arrow, style),
            NARROW_PX / float(size.max()),
        )


def marked(assessment: Assessment, water: Sequence[Drainage]) -> tuple[Finding, ...]:
    """The findings of falls and water that are out or too close to call, one for each place.

    Without those whose place is the middle of a pond, which is drawn.
    """
    decision = assessment.verdict.decision
    wet = {pond.at for zone in water for pond in zone.ponds}
    found: dict[tuple[str, Place], Finding] = {}
    for finding in assessment.verdict.findings:
        measure, worst = finding.rule.measure, finding.worst
        if measure not in WORST_NAMES or worst is None:
            continue
        if measure == "ponding" and worst.at in wet:
            continue
        if outcome_of(finding, decision) in (Outcome.OUT, Outcome.CLOSE):
            found.setdefault((measure, worst.at), finding)
    return tuple(found.values())


def _add_worst(drawing: Drawing, assessment: Assessment, water: Sequence[Drainage]) -> None:
    """Where the rules of falls and water that are not within are at their worst."""
    room, style = assessment.surface.room, assessment.survey.show
    found = [(f, f.worst) for f in marked(assessment, water) if f.worst]
    # Words begin at their cross, and near the east wall they end there.
    corners = np.array(room.outline.corners_mm)
    far = float(corners[:, 0].min()) + 0.7 * float(size_of(room.outline)[0])
    drawing.add(
        Signs(
            "worst places",
            located([worst.at for _, worst in found]),
            "cross",
            8,
            edge=WORST,
            edge_px=3,
            halo_px=3,
            told=[shown(worst_fall(finding, room, style)) for finding, _ in found],
        )
    )
    for finding, worst in found:
        side = -1 if worst.at[0] > far else 1
        words = WORST_NAMES[finding.rule.measure]
        drawing.write(
            Words("worst", worst.at, words, (side, 1), (4 * side, 4), color=WORST, halo=True)
        )


def falls_key(assessment: Assessment, water: Sequence[Drainage]) -> str:
    """What the signs on the plan mean: of those that are on it."""
    arrows = arrows_of(assessment)
    creases = [
        crease
        for part in assessment.parts
        if part.view.ground
        for crease in part.view.ground.falls.creases
    ]
    inches = say(
        "Thick arrows: how each plane falls as a whole, in inches per foot, longer where it falls "
        "more; their letters are those of the planes below."
    )
    percent = say(
        "Thick arrows: how each plane falls as a whole, longer where it falls more; their letters "
        "are those of the planes below."
    )
    said = [inches if assessment.survey.show.unit == "in" else percent]
    if any(not arrow.told for arrow in arrows):
        said.append(say("An open circle: no fall beyond reading error, or not read."))
    if any(crease.valley for crease in creases):
        said.append(say("Solid lines: valleys, where planes run together."))
    if any(not crease.valley for crease in creases):
        said.append(say("Dashed lines: ridges, where they part."))
    if any(zone.lines for zone in water):
        said.append(say("Thin lines with small heads: the way that water takes."))
    if any(zone.ponds for zone in water):
        said.append(say("Hatched level, numbered: water that stands."))
    if any(not pond.told for zone in water for pond in zone.ponds):
        said.append(say("With a dashed shore: shallower than the readings can tell."))
    if marked(assessment, water):
        said.append(say("A cross: where a rule is at its worst."))
    if _split(destinations(water)):
        said.append(say("Ground of one pattern drains to one place, which is written on it."))
    if not water:
        said.append(say("Where water runs is not told: no reading lies where it leaves."))
    return " ".join(said)
