"""Joints that were read, on paper: where they lie, how they end, how many step by how much."""

from html import escape

import numpy as np

from flatcheck.language import say
from flatcheck.lippage import LippageVerdict, histogram
from flatcheck.report.lippage import class_of
from flatcheck.report.plans import WIDE_MM, beside_plan, ground, walls
from flatcheck.room import Room, rectangle
from flatcheck.survey import Survey
from flatcheck.tiling import laid
from flatcheck.units import Style, format_length
from flatcheck.verdict import Outcome

MOST_TILES = 2000
"""More tiles than this are not drawn under the joints: on paper they would be a gray blur."""

MOST_BARS = 16
"""So many classes of the histogram fit; what is higher stands together in one more."""

SIGNS = {
    Outcome.WITHIN: "M{x} {y}m-.5 0a.5 .5 0 1 0 1 0a.5 .5 0 1 0 -1 0",
    Outcome.OUT: "M{x} {y}m-1.4 -1.4l2.8 2.8m0 -2.8l-2.8 2.8",
    Outcome.CLOSE: "M{x} {y}m0 -1.6l1.6 2.8h-3.2z",
    Outcome.NOT_ASSESSED: "M{x} {y}m-1.3 -1.3h2.6v2.6h-2.6z",
}
"""How a joint is drawn, by how it ends: a dot, a cross, a triangle, a square."""

SIGN_WORDS = say(
    "A dot is within, a cross is out, a triangle is too close to call, a square is not assessed."
)


def joints_plan(verdict: LippageVerdict, survey: Survey) -> str:
    """Every joint that was read, with a sign for how it ends, over the tiles as they are laid."""
    at = np.array([(joint.step.x_mm, joint.step.y_mm) for joint in verdict.joints])
    room = survey.room
    if room is None:
        low, high = at.min(axis=0) - 100, at.max(axis=0) + 100
        room = Room(rectangle(low[0], low[1], high[0], high[1]), assumed=True)
    paper, drawn = ground(room)
    if verdict.counted and verdict.counted.laid:
        pieces = laid(survey, room).pieces
        if len(pieces) <= MOST_TILES:
            drawn.append('<g fill="#fff" stroke="#999" stroke-width="0.15">')
            drawn += [*(paper.line("tile", piece, closed=True) for piece in pieces), "</g>"]
    drawn += walls(paper, room, survey)
    for place, joint in zip(at, verdict.joints, strict=True):
        x, y = paper.at(place)
        sign = SIGNS[verdict.ends(joint)].format(x=x, y=y)
        drawn.append(f'<path class="mark" d="{sign}"/>')
    scale = beside_plan([], paper, room, survey.show)
    return paper.svg(drawn, say("joints that were read, by how they end")) + scale


def histogram_svg(verdict: LippageVerdict, style: Style) -> str:
    """How many joints step by how much, as bars with their counts; limits are broken lines."""
    width, fit = class_of(style)
    rows = [(format_length(end, fit), count) for _, end, count in histogram(verdict, width)]
    if len(rows) > MOST_BARS:
        more = sum(count for _, count in rows[MOST_BARS:])
        rows = [*rows[:MOST_BARS], (say("more"), more)]
    most = max(count for _, count in rows)
    left, top, tall, wide = 16.0, 12.0, 30.0, min(16.0, 144.0 / len(rows))
    base = top + tall
    drawn = []
    limits = sorted({joint.limit_mm for joint in verdict.joints})
    for limit in dict.fromkeys((limits[0], limits[-1])):
        x = left + limit / width * wide
        if x <= left + wide * len(rows) + 1e-9:
            words = say("limit {limit}", limit=format_length(limit, style))
            drawn.append(
                f'<path class="limit" d="M{x:.2f} {top - 4}V{base}" stroke="#000" '
                'stroke-width="0.4" stroke-dasharray="1.5 1"/>'
                f'<text x="{x:.2f}" y="{top - 7}">{escape(words)}</text>'
            )
    for k, (words, count) in enumerate(rows):
        x, high = left + k * wide, tall * count / most
        middle = round(x + wide / 2, 2)
        drawn.append(
            f'<rect class="count" x="{x + 0.5:.2f}" y="{base - high:.2f}" width="{wide - 1:.2f}" '
            f'height="{high:.2f}" fill="#bbb" stroke="#000" stroke-width="0.2"/>'
        )
        if count:
            drawn.append(f'<text x="{middle}" y="{base - high - 2.5:.2f}">{count}</text>')
        drawn.append(f'<text x="{middle}" y="{base + 4}">{escape(words)}</text>')
    drawn.append(
        f'<path d="M{left} {base}h{wide * len(rows):.2f}" stroke="#000" stroke-width="0.3"/>'
    )
    counts = ", ".join(say("{count} up to {size}", count=n, size=size) for size, n in rows)
    about = say("steps by size: {counts}", counts=counts)
    return (
        f'<svg width="{WIDE_MM}mm" height="{base + 8}mm" viewBox="0 0 {WIDE_MM} {base + 8}" '
        f'role="img" aria-label="{escape(about)}">{"".join(drawn)}</svg>'
    )
