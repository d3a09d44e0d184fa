"""How a floor falls and where its water goes: the plan.

Pictures of an assessment; nothing is judged here.
"""

import math
import textwrap
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go

from flatcheck.assess import Assessment
from flatcheck.compass import bearing_of
from flatcheck.falls import Drainage, Standing
from flatcheck.language import say
from flatcheck.report.falls import plane_words, pond_words, worst_fall
from flatcheck.report.words import outcome_of
from flatcheck.room import wall_names
from flatcheck.runoff import Run
from flatcheck.ui.axes import INK
from flatcheck.ui.plan import (
    FLOOR,
    HALO,
    NARROW_PX,
    add_drains,
    add_planes,
    add_room,
    frame,
    middle_of,
    name_sides,
    shown,
    size_of,
    write_beside,
)
from flatcheck.ui.planes import Arrow, arrow_words, arrows_of
from flatcheck.verdict import Finding, Outcome, Place, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

WATER = "#0072b2"
RUNNING = "#5b7f95"

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


def falls_map(assessment: Assessment, water: Sequence[Drainage]) -> go.Figure:
    """The floor from above: planes and how they fall, the ways of water, and where it stands."""
    survey, room = assessment.survey, assessment.surface.room
    figure = go.Figure()
    arrows = arrows_of(assessment)
    _add_catchments(figure, assessment, water, arrows)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(figure, piece.view.ground.falls)
    add_room(figure, room, FLOOR)
    _add_runs(
        figure, [run for zone in water for run in zone.lines], float(size_of(room.outline).max())
    )
    add_drains(figure, survey.drains)
    for zone in water:
        for number, pond in enumerate(zone.ponds, 1):
            _add_pond(figure, pond, number, pond_words(number, pond, room, survey.show))
    _add_arrows(figure, assessment, arrows)
    _add_worst(figure, assessment, water)
    name_sides(figure, room.outline, () if room.assumed else wall_names(room))
    frame(figure, room.outline, survey.show)
    return figure


def destinations(water: Sequence[Drainage]) -> tuple[int, ...]:
    """The numbers of the drains that the floor drains to, -1 for what drains nowhere, last."""
    found = {int(drain) for zone in water for drain in np.unique(zone.land.drain)}
    return tuple(sorted(found, key=lambda drain: (drain < 0, drain)))


def _split(goes: Sequence[int]) -> bool:
    """Whether the floor drains to more than one place, or some of it to none."""
    return len(goes) > 1 or -1 in goes


def _add_catchments(
    figure: go.Figure,
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
    taken = np.array(
        [
            *(middle_of(arrow.outline) for arrow in arrows),
            *(middle_of(drain.outline) for drain in assessment.survey.drains),
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
            x, y = np.concatenate([_gap(ring) for ring in rims(xy, mine)]).T
            words = (
                say("to {drain}", drain=shown(names[drain]))
                if drain >= 0
                else say("drains nowhere")
            )
            figure.add_scatter(
                name=words,
                x=x,
                y=y,
                mode="lines",
                line={"color": ink, "width": 1},
                fill="toself",
                fillpattern={"shape": pattern, "size": 9, "fgcolor": ink, "bgcolor": ground},
                hoverinfo="skip",
            )
            at = _free_place(xy[mine].mean(axis=1), np.vstack((taken, np.column_stack((x, y)))))
            figure.add_annotation(
                x=at[0],
                y=at[1],
                text=f"<i>{words}</i>",
                showarrow=False,
                font={"size": 13, "shadow": HALO},
            )


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


def _gap(ring: Floats) -> Floats:
    """A line with a gap after it, so that the next one in a trace begins anew."""
    return np.vstack((ring, [[np.nan, np.nan]]))


def _add_runs(figure: go.Figure, lines: Sequence[Run], size: float) -> None:
    """The ways of water as thin lines, each with a head that points down it."""
    if not lines:
        return
    x, y = np.concatenate([_gap(run.xy_mm) for run in lines]).T
    thin = {"color": RUNNING, "width": 1}
    figure.add_scatter(name="runs", x=x, y=y, mode="lines", line=thin, hoverinfo="skip")
    heads: list[tuple[Place, float]] = []
    for at, bearing in (head_of(run.xy_mm) for run in lines if _length(run.xy_mm) > size / 20):
        if all(math.dist(at, other) > size / 12 for other, _ in heads):
            heads.append((at, bearing))
    figure.add_scatter(
        name="heads of runs",
        x=[at[0] for at, _ in heads],
        y=[at[1] for at, _ in heads],
        mode="markers",
        marker={
            "symbol": "arrow",
            "size": 7,
            "color": RUNNING,
            "angle": [bearing for _, bearing in heads],
        },
        hoverinfo="skip",
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


def _add_pond(figure: go.Figure, pond: Standing, number: int, words: str) -> None:
    """Water that stands: hatched level, its number in it; dashed where it may be reading error."""
    x, y = np.concatenate([_gap(np.vstack((shore, shore[:1]))) for shore in pond.shores]).T
    figure.add_scatter(
        name=f"pond {number}",
        x=x,
        y=y,
        mode="lines",
        line={"color": WATER, "width": 2, "dash": "solid" if pond.told else "dash"},
        fill="toself",
        fillpattern={"shape": "-", "size": 5, "fgcolor": WATER, "bgcolor": "#d4e9f7"},
        hoverinfo="skip",
    )
    figure.add_scatter(
        name=f"number of pond {number}",
        x=[pond.at[0]],
        y=[pond.at[1]],
        mode="markers+text",
        text=[f"<b>{number}</b>"],
        textfont={"size": 14, "color": INK},
        marker={"size": 20, "color": "white", "line": {"color": WATER, "width": 2}},
        hovertext=[_folded(words)],
        hoverinfo="text",
    )


def _folded(words: str) -> str:
    """Words over several lines, for a label on a drawing."""
    return "<br>".join(shown(line) for line in textwrap.wrap(words, 44))


def _add_arrows(figure: go.Figure, assessment: Assessment, arrows: Sequence[Arrow]) -> None:
    style, size = assessment.survey.show, size_of(assessment.surface.room.outline)
    for arrow in arrows:
        figure.add_scatter(
            name=f"fall of {arrow.letter}",
            x=[arrow.tail[0], arrow.head[0]],
            y=[arrow.tail[1], arrow.head[1]],
            mode="lines+markers",
            line={"color": INK, "width": 3},
            marker={
                "symbol": ["circle", "arrow"] if arrow.told else "circle-open",
                "size": [1, 14] if arrow.told else 10,
                "color": INK,
                "opacity": 1,
                "angle": arrow.fall.bearing_deg if arrow.told else 0,
            },
            hovertext=_folded(plane_words(arrow.fall, style)),
            hoverinfo="text",
        )
        east, north = np.abs(np.subtract(arrow.head, arrow.tail))
        write_beside(
            figure,
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


def _add_worst(figure: go.Figure, assessment: Assessment, water: Sequence[Drainage]) -> None:
    """Where the rules of falls and water that are not within are at their worst."""
    room, style = assessment.surface.room, assessment.survey.show
    found = [(f, f.worst) for f in marked(assessment, water) if f.worst]
    # Words begin at their cross, and near the east wall they end there.
    corners = np.array(room.outline.corners_mm)
    far = float(corners[:, 0].min()) + 0.7 * float(size_of(room.outline)[0])
    figure.add_scatter(
        name="worst places",
        x=[worst.at[0] for _, worst in found],
        y=[worst.at[1] for _, worst in found],
        mode="markers+text",
        text=[WORST_NAMES[finding.rule.measure] for finding, _ in found],
        textposition=["top left" if worst.at[0] > far else "top right" for _, worst in found],
        textfont={"size": 12, "color": "#a3231c", "shadow": HALO},
        marker={
            "symbol": "x",
            "size": 9,
            "color": "#a3231c",
            "line": {"color": "white", "width": 1.5},
        },
        hovertext=[_folded(worst_fall(finding, room, style)) for finding, _ in found],
        hoverinfo="text",
        cliponaxis=False,
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
