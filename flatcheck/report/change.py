"""Before and after, in words."""

from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.change import Change
from flatcheck.places import where
from flatcheck.report.paper import MOST_LABELS, Paper, page
from flatcheck.report.words import many, spot_words
from flatcheck.units import format_length, format_volume
from flatcheck.verdict import place_of

MOST = 12
"""More places than this are not read out."""


def change_html(change: Change, before: Assessment, after: Assessment) -> str:
    """One page with the floor before and after: both verdicts, a map of the change, and words."""
    return page(f"Before and after: {after.survey.title}", change_body(change, before, after))


def change_body(change: Change, before: Assessment, after: Assessment) -> str:
    """The same without the page around it."""
    floor, style = after.surface, after.survey.show
    corners = np.array(floor.room.outline.corners_mm)
    paper = Paper(corners.min(axis=0), corners.max(axis=0))
    drawn = [paper.line("room", corners.tolist(), closed=True)]
    drawn += [paper.line("cutout", ring.corners_mm, closed=True) for ring in floor.room.cutouts]
    sure = np.abs(change.rise_mm) > 2 * change.u_mm
    for place, rise, told in zip(change.xy_mm, change.rise_mm, sure, strict=True):
        drawn.append(paper.dot(place, 0.9 if told else 0.25))
        if told and np.count_nonzero(sure) <= MOST_LABELS:
            words = format_length(float(rise), style, sign=True).removesuffix(" mm")
            drawn.append(paper.label(place, (0, 3.0), words))
    rows = "".join(
        f"<tr><td class=words>{escape(called)}</td><td class=words>{found.verdict.outcome}</td>"
        f"<td class=words>{len(found.verdict.spots)} places out</td></tr>"
        for called, found in (("before", before), ("after", after))
    )
    said = "".join(f"<p>{escape(words)}</p>" for words in change_words(change, after))
    return (
        f"<table>{rows}</table>{paper.svg(drawn, 'what changed between the two surveys')}"
        f"<p>Large dots changed beyond reading error: + filled, - ground.</p>{said}"
    )


def change_words(change: Change, after: Assessment) -> list[str]:
    """What was done to the floor, how it went by the plan, and what is still out."""
    style, room = after.survey.show, after.surface.room
    said = [
        f"{many(len(change.rise_mm), 'place')} were read both times; levelled by {change.tied}.",
        f"Filled at {many(change.filled, 'place')}, about {format_volume(change.added_l, style)}; "
        f"ground at {many(change.ground, 'place')}, about "
        f"{format_volume(change.removed_l, style)}; the rest did not change beyond reading error.",
    ]
    if np.isfinite(change.planned_mm).any():
        off = change.rise_mm - change.planned_mm
        beyond = np.flatnonzero(np.abs(off) > 2 * change.u_mm)
        said.append(
            f"Against the plan: off by {format_length(float(np.sqrt(np.mean(off**2))), style)} "
            f"typically; {many(len(beyond), 'place')} beyond reading error."
        )
        for k in beyond[np.argsort(-np.abs(off[beyond]))][:MOST]:
            way = "high" if off[k] > 0 else "low"
            much = format_length(abs(float(off[k])), style)
            said.append(f"  {much} {way}: {where(room, place_of(change.xy_mm[k]), style)}")
    verdict = after.verdict
    said.append(f"After the work the floor is {verdict.outcome}.")
    if verdict.spots:
        said.append("Still out:")
        said += [
            f"  {spot.number}  {spot_words(spot, room, style)}" for spot in verdict.spots[:MOST]
        ]
    return said
