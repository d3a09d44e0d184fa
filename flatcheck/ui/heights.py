"""Planned heights: the drawing to screed by, with a height at every corner and mark."""

import math
from collections.abc import Sequence
from html import escape

import numpy as np

from flatcheck.language import say
from flatcheck.places import wall_called
from flatcheck.report.falls import slope_words
from flatcheck.report.screed import (
    CAUTION,
    by_wall,
    facet_words,
    head_words,
    height_words,
    is_level,
    make_words,
    zero_words,
)
from flatcheck.room import Ring, Room
from flatcheck.screed import Mark, Screed
from flatcheck.survey import Survey
from flatcheck.ui.drawing import Drawing, Signs, Words
from flatcheck.ui.plan import (
    LETTER_PX,
    LINE_PX,
    add_drains,
    add_planes,
    add_room,
    middle_of,
    name_sides,
    outward_of,
    size_of,
    write_beside,
)
from flatcheck.ui.planes import fall_words
from flatcheck.ui.svg import shown
from flatcheck.units import MM_PER_FOOT, Style, format_distance, format_length

SPACINGS = {"in": [k * MM_PER_FOOT for k in (0.5, 1, 2, 4)], "mm": [150.0, 300.0, 600.0, 1200.0]}
"""How far apart marks along a wall may be [mm], by the unit that lengths are said in."""

USUAL = 1
"""The number of the spacing that is chosen at first: 12 in, or 300 mm."""

ZONE_PX = 190
"""How wide a room is drawn on a phone, beside the heights that stand around it."""


def outline_of_plan(plan: Screed) -> Ring:
    """The outline of the zone that is planned."""
    return Ring(plan.zone, plan.falls.corners)


def written(plan: Screed, spacing_mm: float) -> int:
    """Every which mark along a wall has room for its height on a phone: 1 where all do."""
    apart_px = spacing_mm / float(size_of(outline_of_plan(plan)).max()) * ZONE_PX
    return max(1, math.ceil(LINE_PX / apart_px - 1e-9))


def _margin_px(plan: Screed, style: Style) -> int:
    """The room around the drawing for a height and the name of a wall."""
    longest = max(len(height_words(mark.above_mm, style)) for mark in plan.marks)
    return round(LETTER_PX * longest) + 34


def heights_plan(plan: Screed, survey: Survey, every: int) -> Drawing:
    """A zone to scale with its planes, and the height above the rim at corners and marks.

    Of the marks along a wall every so many have their height written; the corners all have.
    """
    style, outline = survey.show, outline_of_plan(plan)
    drawing = Drawing(say("Plan with the heights to screed to: {zone}", zone=plan.zone))
    add_planes(drawing, plan.falls)
    add_room(drawing, Room(outline))
    corners = np.array(outline.corners_mm)
    low, high = corners.min(axis=0) - 1, corners.max(axis=0) + 1
    drains = [
        drain
        for drain in survey.drains
        if (np.array(drain.outline.corners_mm) >= low).all()
        and (np.array(drain.outline.corners_mm) <= high).all()
    ]
    add_drains(drawing, drains, say("{name}, rim 0"))
    walls = by_wall(plan.marks)
    drawing.add(
        Signs(
            "marks",
            np.array([mark.at for mark in plan.marks]),
            size_px=6,
            told=[f"{_from_zero(plan, mark, style)}<br>{_at(mark, style)}" for mark in plan.marks],
        )
    )
    outward = outward_of(outline)
    for k, (_, marks) in enumerate(walls):
        for mark in marks[1:-1][every - 1 :: every]:
            _write_mark(drawing, mark, outward[k], style)
        corner = min(marks, key=lambda mark: math.dist(mark.at, corners[k]))
        _write_corner(drawing, corner, outward[k - 1] + outward[k], style)
    _add_falls(drawing, plan, style)
    names = [_side_words(name, marks) for name, marks in walls]
    room_px = _margin_px(plan, style)
    name_sides(drawing, outline, names, room_px - 12)
    # Without ticks: the marks themselves are the measure.
    drawing.low, drawing.high = corners.min(axis=0), corners.max(axis=0)
    drawing.margin_px = (room_px, room_px, room_px, room_px)
    return drawing


def _below(mark: Mark, style: Style) -> bool:
    """Whether a mark is said to lie below the zero of its plan."""
    return format_length(mark.above_mm, style).startswith("-")


def _from_zero(plan: Screed, mark: Mark, style: Style) -> str:
    height, zero = format_length(abs(mark.above_mm), style), zero_words(plan)
    if _below(mark, style):
        return say("<b>{height}</b> below {zero}", height=height, zero=zero)
    return say("<b>{height}</b> above {zero}", height=height, zero=zero)


def _at(mark: Mark, style: Style) -> str:
    along = format_distance(mark.along_mm, style)
    return say("{distance} along the {wall}", distance=along, wall=shown(wall_called(mark.wall)))


def _side_words(name: str, marks: Sequence[Mark]) -> str:
    called = wall_called(name)
    return say("{wall}, level", wall=called) if is_level(marks) else called


def _write_mark(drawing: Drawing, mark: Mark, outward: np.ndarray, style: Style) -> None:
    """A height squarely off its wall, so that the next one never stands in its way."""
    upright = bool(abs(outward[1]) > abs(outward[0]))
    sign = int(np.sign(outward[1] if upright else outward[0]))
    side, off = ((0, sign), (0, 6 * sign)) if upright else ((sign, 0), (6 * sign, 0))
    words = height_words(mark.above_mm, style)
    drawing.write(Words("height", mark.at, words, side, off, upright))


def _write_corner(drawing: Drawing, mark: Mark, outward: np.ndarray, style: Style) -> None:
    """The height of a corner, off it the way that its two walls face."""
    side = (1 if outward[0] > 0 else -1, 1 if outward[1] > 0 else -1)
    words = f"<b>{height_words(mark.above_mm, style)}</b>"
    drawing.write(Words("height", mark.at, words, side, (4 * side[0], 2 * side[1])))


def _add_falls(drawing: Drawing, plan: Screed, style: Style) -> None:
    """In the middle of each plane an arrow head down it, and how much it is to fall."""
    facets, size = plan.falls.facets, float(size_of(outline_of_plan(plan)).max())
    turns = [math.radians(facet.bearing_deg) for facet in facets]
    # The head ends where it is put; so its middle comes to that of the plane.
    tips = [
        middle_of(facet.outline) + 0.03 * size * np.array([math.sin(turn), math.cos(turn)])
        for facet, turn in zip(facets, turns, strict=True)
    ]
    drawing.add(
        Signs(
            "planned falls",
            np.array(tips),
            "arrow",
            12,
            turn_deg=[facet.bearing_deg for facet in facets],
            told=[
                f"<b>{slope_words(facet.fall_ratio, style)}</b><br>{shown(facet.name)}"
                for facet in facets
            ],
        )
    )
    for facet, turn in zip(facets, turns, strict=True):
        lies = abs(math.sin(turn)) > math.sqrt(0.5)
        words = (*fall_words(facet.fall_ratio, style), "")
        write_beside(drawing, facet.outline, lies, words, ZONE_PX / size)


def key_words(plan: Screed, survey: Survey, every: int) -> str:
    """What the drawing shows."""
    inches, zero = survey.show.unit == "in", zero_words(plan)
    said = [
        say("Heights above {zero}, at corners (bold) and at marks along the walls.", zero=zero)
        if inches
        else say(
            "Heights above {zero} in mm, at corners (bold) and at marks along the walls.",
            zero=zero,
        )
    ]
    if any(_below(mark, survey.show) for mark in plan.marks):
        said.append(say("Those with a minus sign lie below it."))
    if every > 1:
        said.append(
            say(
                "Every {count} marks one has its height written here; the tables have all of them.",
                count=every,
            )
        )
    said.append(say("Solid lines are valleys, dashed ones ridges; arrow heads point down planes."))
    if inches:
        said.append(say("Falls are in inches per foot."))
    return " ".join(said)


def heights_words(plan: Screed, survey: Survey, room: Room) -> list[str]:
    """What is said of a plan beside the heights along its walls: the planes, the bed, cautions."""
    return [
        head_words(plan, survey),
        *facet_words(plan, survey, room),
        *make_words(plan, survey, room),
        say("Caution: {words}", words=CAUTION),
    ]


def _sided(mark: Mark, style: Style) -> str:
    height = format_length(abs(mark.above_mm), style)
    return say("{height} below", height=height) if _below(mark, style) else height


def walls_tables(plan: Screed, style: Style) -> str:
    """The marks of each wall as a table; a level wall in a line."""
    zero, lines, tables = zero_words(plan), [], []
    for name, marks in by_wall(plan.marks):
        wall = escape(wall_called(name))
        if is_level(marks):
            at = escape(format_length(abs(marks[0].above_mm), style))
            words = (
                say("<b>{wall}</b>: level, {height} below {zero}", wall=wall, height=at, zero=zero)
                if _below(marks[0], style)
                else say("<b>{wall}</b>: level, {height}", wall=wall, height=at)
            )
            lines.append(f"<p>{words}</p>")
            continue
        rows = "".join(
            f"<tr><td>{escape(format_distance(mark.along_mm, style))}</td>"
            f"<td>{escape(_sided(mark, style))}</td></tr>"
            for mark in marks
        )
        caption = say(
            "<b>{wall}</b>, from its corner with the {other}",
            wall=wall,
            other=escape(wall_called(marks[0].start)),
        )
        tables.append(
            f"<table><caption>{caption}</caption><tr><th>{say('along it')}</th>"
            f"<th>{say('above {zero}', zero=zero)}</th></tr>{rows}</table>"
        )
    return f'{"".join(lines)}<div class="walls">{"".join(tables)}</div>'
