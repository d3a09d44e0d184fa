"""Plans of a floor on paper, to scale: how far it is off, how it falls, and a section.

Nothing here says a thing by color alone: what is low is hatched too, and spots are triangles that
point up or down.
"""

import math
from collections.abc import Sequence
from html import escape

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.falls import Drainage, PlaneFall
from flatcheck.language import say
from flatcheck.places import wall_called
from flatcheck.report.paper import Paper
from flatcheck.report.relief import (
    Corner,
    band_edges,
    bands,
    departures_of,
    edges_of,
    thinned,
    worst_of,
)
from flatcheck.report.screed import arrow
from flatcheck.report.section import Profile, exaggeration, shown_heights
from flatcheck.report.ticks import distance_steps, ticks
from flatcheck.report.words import side_word
from flatcheck.room import Room, ring_area, wall_names
from flatcheck.surface import Surface, triangulate
from flatcheck.survey import Survey
from flatcheck.units import Style, format_distance, format_length

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_STATIONS = 1500
"""More stations than this are thinned before they are drawn, those farthest off are kept."""

MOST_NUMBERS = 150
"""So many departures are written on a plan at most."""

NUMBER_MM = (9.0, 3.5)
"""The paper that one of them takes, width and height [mm]."""

SPOTS = 40
"""More spots than this are neither drawn nor listed; all are in the tables."""

NAME = 40
"""A longer name is cut on a drawing; it stands in full in the words."""

PLAN_MM = (176.0, 118.0)
"""The paper for a plan, so that what belongs to it fits below it on a page [mm]."""

WIDE_MM = 176.0
"""The width of a legend and of a section [mm of paper]."""

COLORS = ("#2166ac", "#67a9cf", "#d1e5f0", "#f7f7f7", "#fddbc7", "#ef8a62", "#b2182b")
"""Blue is low, red is high: told apart with any of the common kinds of color blindness."""

HATCH = (
    '<svg width="0" height="0" aria-hidden="true"><pattern id="low" width="1.4" height="1.4" '
    'patternUnits="userSpaceOnUse"><path d="M0 .7H1.4" stroke="#000" stroke-width=".12"/>'
    "</pattern></svg>"
)
"""What is low is hatched with, once on a page: a color alone says nothing in gray print."""

STYLE = """
.unread {fill: #dcdcdc}
.low {fill: url(#low)}
.zone {fill: none; stroke: #000; stroke-width: 0.35; stroke-dasharray: 2 1}
.spot {fill: none; stroke: #000; stroke-width: 0.5}
.spots text {font-size: 4px; font-weight: bold}
.hollow {fill: #fff; stroke: #000; stroke-width: 0.4}
.numbers text {font-size: 2.4px}
.rim {stroke: #fff; stroke-width: 2.2}
.bar {stroke: #000; stroke-width: 1}
.compared {stroke: #000; stroke-width: 1; stroke-dasharray: 1 1}
.pond {fill: #fff; fill-opacity: .6; stroke: #0072b2; stroke-width: 0.6}
.floor {fill: none; stroke: #000; stroke-width: 0.5}
.limit {stroke: #000; stroke-width: 0.3; stroke-dasharray: 1.5 1}
.grid {stroke: #bbb; stroke-width: 0.15}
.start text {text-anchor: start} .end text {text-anchor: end}
""" + "".join(
    f".b{k} {{fill: {c}; stroke: {c}; stroke-width: 0.1}}\n" for k, c in enumerate(COLORS)
)


def ground(room: Room) -> tuple[Paper, list[str]]:
    """The paper for a room, with its floor as not read."""
    corners = np.array(room.outline.corners_mm)
    paper = Paper(corners.min(axis=0), corners.max(axis=0), PLAN_MM)
    return paper, [paper.line("unread", corners.tolist(), closed=True)]


def walls(paper: Paper, room: Room, survey: Survey) -> list[str]:
    """What stands around and on a floor: zones, cutouts, drains, outline, and walls by name."""
    corners = np.array(room.outline.corners_mm)
    drawn = []
    for zone in survey.zones:
        drawn.append(paper.line("zone", zone.outline.corners_mm, closed=True))
        top = np.array(zone.outline.corners_mm).max(axis=0)
        middle = np.array(zone.outline.corners_mm).mean(axis=0)
        drawn.append(paper.label((middle[0], top[1]), (0, -3), zone.outline.name[:NAME]))
    for cutout in room.cutouts:
        drawn.append(paper.line("cutout", cutout.corners_mm, closed=True))
        drawn.append(paper.label(np.mean(cutout.corners_mm, axis=0), (0, 0), cutout.name[:NAME]))
    for drain in survey.drains:
        ring = np.array(drain.outline.corners_mm)
        drawn.append(paper.line("drain", drain.outline.corners_mm, closed=True))
        below = (ring.mean(axis=0)[0], ring.min(axis=0)[1])
        drawn.append(paper.label(below, (0, -2.5), drain.outline.name[:NAME]))
    drawn.append(paper.line("room", corners.tolist(), closed=True))
    if not room.assumed:
        names = [wall_called(name, room.upright)[:NAME] for name in wall_names(room)]
        if ring_area(corners) < 0:
            # Turned round, side k is the one that came before corner k.
            corners, names = corners[::-1], [*names[-2::-1], names[-1]]
        drawn += paper.walls(corners, names)
    return drawn


def relief(assessment: Assessment) -> str:
    """How far the floor lies above and below its required plane, its spots and its worst bar."""
    survey, floor = assessment.survey, assessment.surface
    style, above = survey.show, departures_of(assessment)
    edges = _edges(assessment, above)
    paper, drawn = ground(floor.room)
    pieces: list[list[list[list[tuple[float, float]]]]] = [[] for _ in COLORS]
    for part in assessment.parts:
        for band, polygons in enumerate(_bands(part.view.surface, above[part.stations], edges)):
            pieces[band].append([[(x, y) for x, y, _ in polygon] for polygon in polygons])
    for band, found in enumerate(pieces):
        rings = [ring for of_part in found for ring in of_part]
        drawn.append(paper.area(f"b{band}", rings))
        if band < len(COLORS) // 2:
            drawn.append(paper.area("low", rings))
    for part in assessment.parts:
        if part.view.ground:
            for crease in part.view.ground.falls.creases:
                kind = "valley" if crease.valley else "ridge"
                drawn.append(paper.line(kind, (crease.start, crease.end)))
    drawn += walls(paper, floor.room, survey)
    kept = thinned(floor.xy_mm, above, MOST_STATIONS)
    drawn += [paper.dot(xy, 0.25) for xy in floor.xy_mm[kept]]
    drawn.append(f'<g class="numbers">{"".join(_numbers(paper, floor.xy_mm, above, style))}</g>')
    drawn += _spots(paper, assessment)
    drawn += _bar(paper, assessment)
    about = say("how far the floor lies above and below its required plane")
    return HATCH + paper.svg(drawn, about)


def _edges(assessment: Assessment, above: Floats) -> tuple[float, ...]:
    most = float(np.nanmax(np.abs(above), initial=0.0))
    return band_edges(most, assessment.survey.show)


def _bands(floor: Surface, value: Floats, edges: Sequence[float]) -> list[list[list[Corner]]]:
    known = np.isfinite(value)
    if len(value) <= MOST_STATIONS:
        triangles = floor.triangles[known[floor.triangles].all(axis=1)]
        return bands(floor.xy_mm, value, triangles, edges)
    kept = np.flatnonzero(known)
    kept = kept[thinned(floor.xy_mm[kept], value[kept], MOST_STATIONS)]
    xy = floor.xy_mm[kept]
    return bands(xy, value[kept], triangulate(floor.room, xy), edges)


def _numbers(paper: Paper, xy: Floats, above: Floats, style: Style) -> list[str]:
    """Departures beside their stations, the largest first, as many as can be read."""
    known = np.flatnonzero(np.isfinite(above))
    known = known[thinned(xy[known], above[known], MOST_STATIONS)]
    taken: list[tuple[float, float]] = []
    drawn = []
    for k in known[np.argsort(-np.abs(above[known]), kind="stable")]:
        x, y = paper.at(xy[k])
        if all(abs(x - a) >= NUMBER_MM[0] or abs(y - b) >= NUMBER_MM[1] for a, b in taken):
            taken.append((x, y))
            drawn.append(paper.label(xy[k], (0, 1.9), short(float(above[k]), style)))
        if len(drawn) == MOST_NUMBERS:
            break
    return drawn


def short(mm: float, style: Style) -> str:
    """A departure as short as a drawing needs it, with its sign."""
    return format_length(mm, style, sign=True).removesuffix(" mm").removesuffix('"')


def _spots(paper: Paper, assessment: Assessment) -> list[str]:
    floor, drawn = assessment.surface, []
    for spot in assessment.verdict.spots[:SPOTS]:
        drawn += [
            paper.line("spot", piece.tolist())
            for piece in edges_of(floor.xy_mm, floor.triangles, spot.stations)
        ]
    for spot in assessment.verdict.spots[:SPOTS]:
        x, y = paper.at(spot.at)
        way = 1 if spot.high else -1
        shape = f"M{x} {y - 1.6 * way:.2f}l1.5 {2.6 * way}h-3z"
        kind = "solid" if spot.proven else "hollow"
        drawn.append(f'<path class="{kind}" d="{shape}"/>')
        drawn.append(f'<g class="spots">{paper.label(spot.at, (3.2, 0), str(spot.number))}</g>')
    return drawn


def _bar(paper: Paper, assessment: Assessment) -> list[str]:
    """The bar where the worst gap is, with its contacts; two places compared are dotted."""
    finding = worst_of(assessment)
    if finding is None or finding.worst is None:
        return []
    ends = (finding.worst.start, finding.worst.end)
    kind = "compared" if finding.rule.measure == "plane" else "bar"
    drawn = [paper.line("rim", ends), paper.line(kind, ends)]
    for end in ends:
        x, y = paper.at(end)
        drawn.append(f'<rect x="{x - 0.9:.2f}" y="{y - 0.9:.2f}" width="1.8" height="1.8"/>')
    return drawn


def legend(assessment: Assessment) -> str:
    """The colors with their departures, a length to scale, and north."""
    style, room = assessment.survey.show, assessment.surface.room
    edges = _edges(assessment, departures_of(assessment))
    paper, _ = ground(room)
    wide, left = 14.0, 14.0
    low, high = (escape(side_word(way, room)) for way in (False, True))
    drawn = [f'<text x="{left / 2}" y="5">{low}</text>']
    for k in range(len(COLORS)):
        box = f'x="{left + k * wide}" y="2" width="{wide}" height="5"'
        drawn.append(f'<rect class="b{k}" {box}/>')
        if k < len(COLORS) // 2:
            drawn.append(f'<rect class="low" {box}/>')
    for k, edge in enumerate(edges):
        words = escape(format_length(edge, style, sign=True))
        drawn.append(f'<text x="{left + k * wide}" y="10">{words}</text>')
    drawn.append(f'<text x="{left * 1.5 + len(COLORS) * wide}" y="5">{high}</text>')
    return beside_plan(drawn, paper, room, style)


def beside_plan(drawn: list[str], paper: Paper, room: Room, style: Style) -> str:
    """The right side of a legend: a length to scale, and north, which a wall has none of."""
    known = [step for step in distance_steps(style) if step * paper.scale <= 34]
    if known:
        end = round(128 + known[-1] * paper.scale, 2)
        drawn.append(f'<path class="floor" d="M128 3v3H{end}v-3"/>')
        words = escape(format_distance(known[-1], style))
        drawn.append(f'<text x="{(128 + end) / 2:.2f}" y="10">{words}</text>')
    if not room.upright:
        drawn.append('<path class="floor" d="M170 11V2l-1.5 3M170 2l1.5 3"/>')
        drawn.append(f'<text x="174" y="4">{escape(say("N"))}</text>')
    return (
        f'<svg width="{WIDE_MM}mm" height="13mm" viewBox="0 0 {WIDE_MM} 13" role="img" '
        f'aria-label="{escape(say("legend"))}">{"".join(drawn)}</svg>'
    )


def falls_plan(
    assessment: Assessment, planes: Sequence[PlaneFall], water: Sequence[Drainage]
) -> str:
    """The planes with an arrow for the way each falls as read, valleys, ridges, and ponds."""
    survey = assessment.survey
    paper, drawn = ground(assessment.surface.room)
    read = {(plane.zone, plane.name): plane for plane in planes}
    for part in assessment.parts:
        if part.view.ground is None:
            continue
        falls = part.view.ground.falls
        drawn += [paper.area("b3", [facet.outline.corners_mm]) for facet in falls.facets]
        drawn += [
            paper.line("valley" if crease.valley else "ridge", (crease.start, crease.end))
            for crease in falls.creases
        ]
    for zone in water:
        for pond in zone.ponds:
            drawn += [paper.line("pond", shore.tolist(), closed=True) for shore in pond.shores]
    drawn += walls(paper, assessment.surface.room, survey)
    for part in assessment.parts:
        for facet in part.view.ground.falls.facets if part.view.ground else ():
            plane = read[part.name, facet.name]
            if plane.fall_ratio is not None:
                words = f"{plane.fall_ratio:.2%}"
                drawn += arrow(facet, paper, plane.bearing_deg, words)
    for zone in water:
        for number, pond in enumerate(zone.ponds, 1):
            label = paper.label(pond.at, (0, 0), say("pond {number}", number=number))
            drawn.append(f'<g class="spots">{label}</g>')
    scale = beside_plan([], paper, assessment.surface.room, survey.show)
    return paper.svg(drawn, say("how the floor falls, and where water stands")) + scale


def section(profile: Profile, style: Style) -> str:
    """The floor under the worst bar from the side, heights exaggerated, and it says so."""
    heights = shown_heights(profile)
    low, high = float(heights.min()), float(heights.max())
    wide, tall, left, top = 132.0, 32.0, 16.0, 8.0
    times = exaggeration(profile, wide, tall)
    first = float(profile.along_mm.min())
    across = wide / max(float(np.ptp(profile.along_mm)), 1e-9)
    bottom = top + (high - low) * across * times

    def at(along: float, height: float) -> tuple[float, float]:
        x = left + (along - first) * across
        return round(x, 2), round(top + (high - height) * across * times, 2)

    def line(kind: str, *places: tuple[float, float]) -> str:
        points = " ".join(f"{x},{y}" for x, y in (at(*place) for place in places))
        return f'<polyline class="{kind}" points="{points}"/>'

    limit, span, gap = float(heights[-1]), profile.span_mm, profile.gap_mm
    drawn = []
    for mark in ticks(first, float(profile.along_mm.max()), distance_steps(style), 6):
        x, _ = at(mark, 0)
        drawn.append(f'<path class="grid" d="M{x} {top}V{bottom:.2f}"/>')
        words = escape(format_distance(mark, style))
        drawn.append(f'<text x="{x}" y="{bottom + 4:.2f}">{words}</text>')
    floor = list(zip(profile.along_mm.tolist(), profile.floor_mm.tolist(), strict=True))
    drawn.append(line("floor", *floor))
    drawn += [f'<circle cx="{x}" cy="{y}" r=".5"/>' for x, y in (at(*place) for place in floor)]
    drawn.append(line("limit", (0, limit), (span, limit)))
    drawn.append(line("bar", (0, 0), (span, 0)))
    drawn.append(line("limit", (profile.at_mm, 0), (profile.at_mm, -gap)))
    x, y = at(profile.at_mm, 0)
    off = format_length(abs(gap), style)
    if gap < 0:
        words = say("{gap} above the {bar}", gap=off, bar=profile.bar)
    else:
        words = say("{gap} below the {bar}", gap=off, bar=profile.bar)
    drawn.append(f'<text x="{x}" y="{y + (3 if gap < 0 else -3)}">{escape(words)}</text>')
    _, y = at(0, limit)
    x = at(span, 0)[0] + 1
    words = say("limit {limit}", limit=format_length(profile.limit_mm, style))
    drawn.append(f'<g class="start"><text x="{x}" y="{y}">{escape(words)}</text></g>')
    words = say(
        "from the {start}; heights drawn {times:g} times as tall", start=profile.start, times=times
    )
    drawn.append(f'<text x="{left + wide / 2}" y="{bottom + 8.5:.2f}">{escape(words)}</text>')
    height = math.ceil(bottom + 11)
    return (
        f'<svg width="{WIDE_MM}mm" height="{height}mm" viewBox="0 0 {WIDE_MM} {height}" '
        f'role="img" aria-label="{escape(say("the floor under the worst bar, from the side"))}">'
        f"{''.join(drawn)}</svg>"
    )
