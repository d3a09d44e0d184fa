"""What each rule could judge of the floor: in words, and as a map to print."""

from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.reach import blind_spots, hatches
from flatcheck.report.paper import Paper, page, walls_of
from flatcheck.room import Room
from flatcheck.units import Style, format_area, format_distance
from flatcheck.verdict import Finding, Reach

WHOLE = 0.995
"""A share from here on is all of it, as it is printed."""


def blind_words(finding: Finding, room: Room, style: Style) -> list[str]:
    """What a rule could not judge, where only a part of the floor was judged."""
    if finding.reach is None or not 0 < finding.reach_ratio < WHOLE:
        return []
    spots = blind_spots(finding.reach)
    if not spots:
        return []
    total = format_area(sum(spot.area_mm2 for spot in spots), style)
    first = spots[0]
    width, length = (format_distance(mm, style) for mm in first.extent_mm)
    lies = say(
        "{width} by {length} over all, around {place}",
        width=width,
        length=length,
        place=where(room, first.at, style),
    )
    if len(spots) == 1:
        return [say("Not judged: {area}; {lies}.", area=total, lies=lies)]
    return [
        several(
            len(spots),
            "Not judged: {area} in {number} part; the largest is {largest}, {lies}.",
            "Not judged: {area} in {number} parts; the largest is {largest}, {lies}.",
            area=total,
            largest=format_area(first.area_mm2, style),
            lies=lies,
        )
    ]


def reach_html(assessment: Assessment) -> str:
    """One page with a map for every rule: hatched where it could not judge."""
    survey, room = assessment.survey, assessment.surface.room
    maps = []
    for finding in assessment.verdict.findings:
        zone = f"{finding.zone}: " if len(assessment.parts) > 1 else ""
        said = [
            say(
                "{share:.0%} judged; {outcome}.",
                share=finding.reach_ratio,
                outcome=say(finding.outcome),
            )
        ]
        said += blind_words(finding, room, survey.show)
        if finding.reach is None:
            said.append(say("This rule is judged at edges or along walls, and has no map."))
        drawing = reach_svg(assessment, finding.reach) if finding.reach else ""
        words = "".join(f"<p>{escape(sentence)}</p>" for sentence in said)
        title = escape(zone + finding.rule.words)
        maps.append(f"<section><h2>{title}</h2>{words}{drawing}</section>")
    return page(say("What could be judged: {title}", title=survey.title), "".join(maps))


def reach_svg(assessment: Assessment, reach: Reach) -> str:
    """The room to scale with its readings, hatched where a rule could not judge."""
    floor = assessment.surface
    corners, names = walls_of(floor.room)
    paper = Paper(corners.min(axis=0), corners.max(axis=0))
    drawn = [
        '<defs><pattern id="unjudged" width="2" height="2" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="2" height="2" fill="#fff"/>'
        '<line y2="2" stroke="#000" stroke-width="0.5"/></pattern></defs>'
    ]
    for west, south, east, north in hatches(reach):
        (x0, y1), (x1, y0) = paper.at((west, south)), paper.at((east, north))
        drawn.append(
            f'<rect x="{x0}" y="{y0}" width="{x1 - x0:.2f}" height="{y1 - y0:.2f}" '
            'fill="url(#unjudged)"/>'
        )
    drawn.append(paper.line("room", corners.tolist(), closed=True))
    drawn += [paper.line("cutout", ring.corners_mm, closed=True) for ring in floor.room.cutouts]
    drawn += paper.walls(corners, names)
    drawn += [paper.dot(xy, 0.35) for xy in floor.xy_mm]
    share = float(np.mean(reach.judged)) if len(reach.judged) else 0.0
    about = say("hatched where the rule could not judge; {share:.0%} judged", share=share)
    return paper.svg(drawn, about)
