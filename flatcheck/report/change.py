"""Before and after, in words."""

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.change import Change
from flatcheck.places import where
from flatcheck.report.correction import volume
from flatcheck.report.words import many, spot_words
from flatcheck.units import format_length

MOST = 12
"""More places than this are not read out."""


def change_words(change: Change, after: Assessment) -> list[str]:
    """What was done to the floor, how it went by the plan, and what is still out."""
    style, room = after.survey.show, after.surface.room
    said = [
        f"{many(len(change.rise_mm), 'place')} were read both times; levelled by {change.tied}.",
        f"Filled at {many(change.filled, 'place')}, about {volume(change.added_l, style)}; ground "
        f"at {many(change.ground, 'place')}, about {volume(change.removed_l, style)}; the rest did "
        "not change beyond reading error.",
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
            place = (float(change.xy_mm[k, 0]), float(change.xy_mm[k, 1]))
            said.append(
                f"  {format_length(abs(float(off[k])), style)} {way}: {where(room, place, style)}"
            )
    verdict = after.verdict
    said.append(f"After the work the floor is {verdict.outcome}.")
    if verdict.spots:
        said.append("Still out:")
        said += [
            f"  {spot.number}  {spot_words(spot, room, style)}" for spot in verdict.spots[:MOST]
        ]
    return said
