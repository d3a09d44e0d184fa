"""Before and after, in words."""

from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.change import Change
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.report.paper import MOST_LABELS, Paper, page
from flatcheck.report.words import spot_words
from flatcheck.units import format_length, format_volume
from flatcheck.verdict import place_of

MOST = 12
"""More places than this are not read out."""


def change_html(change: Change, before: Assessment, after: Assessment) -> str:
    """One page with the floor before and after: both verdicts, a map of the change, and words."""
    title = say("Before and after: {survey}", survey=after.survey.title)
    return page(title, change_body(change, before, after))


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
        f"<tr><td class=words>{escape(called)}</td>"
        f"<td class=words>{escape(say(found.verdict.outcome))}</td>"
        f"<td class=words>{escape(_places_out(found))}</td></tr>"
        for called, found in ((say("before"), before), (say("after"), after))
    )
    said = "".join(f"<p>{escape(words)}</p>" for words in change_words(change, after))
    key = say("Large dots changed beyond reading error: + filled, - ground.")
    return (
        f"<table>{rows}</table>{paper.svg(drawn, say('what changed between the two surveys'))}"
        f"<p>{escape(key)}</p>{said}"
    )


def _places_out(found: Assessment) -> str:
    return say("{count} places out", count=len(found.verdict.spots))


def _places(count: int) -> str:
    return several(count, "{number} place", "{number} places")


def change_words(change: Change, after: Assessment) -> list[str]:
    """What was done to the floor, how it went by the plan, and what is still out."""
    style, room = after.survey.show, after.surface.room
    said = [
        say(
            "{places} were read both times; levelled by {what}.",
            places=_places(len(change.rise_mm)),
            what=change.tied,
        ),
        say(
            "Filled at {filled}, about {added}; ground at {ground}, about {removed}; the rest did "
            "not change beyond reading error.",
            filled=_places(change.filled),
            added=format_volume(change.added_l, style),
            ground=_places(change.ground),
            removed=format_volume(change.removed_l, style),
        ),
    ]
    if np.isfinite(change.planned_mm).any():
        off = change.rise_mm - change.planned_mm
        beyond = np.flatnonzero(np.abs(off) > 2 * change.u_mm)
        said.append(
            say(
                "Against the plan: off by {typical} typically; {places} beyond reading error.",
                typical=format_length(float(np.sqrt(np.mean(off**2))), style),
                places=_places(len(beyond)),
            )
        )
        for k in beyond[np.argsort(-np.abs(off[beyond]))][:MOST]:
            much = format_length(abs(float(off[k])), style)
            way = say("{much} high", much=much) if off[k] > 0 else say("{much} low", much=much)
            said.append(f"  {way}: {where(room, place_of(change.xy_mm[k]), style)}")
    verdict = after.verdict
    said.append(say("After the work the floor is {outcome}.", outcome=say(verdict.outcome)))
    if verdict.spots:
        said.append(say("Still out:"))
        said += [
            f"  {spot.number}  {spot_words(spot, room, style)}" for spot in verdict.spots[:MOST]
        ]
    return said
