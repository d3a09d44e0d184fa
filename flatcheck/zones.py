"""The floors that a survey's zones make: zones that are meant alike and adjoin are one.

A floor does not become flatter by being cut into zones, so bars are laid across the line between
two zones that ask for the same; one that is meant to lie at a height of its own stands `apart`.
"""

from collections import defaultdict
from functools import lru_cache

import numpy as np

from flatcheck.cutting import cells, outlines
from flatcheck.intent import DRAINING, Intent
from flatcheck.language import say
from flatcheck.room import EDGE_MM, Ring, Room, in_ring
from flatcheck.survey import Survey, Zone

NAMED = 3
"""Of many zones that are one floor so many are named and the others counted."""


def zones_of(survey: Survey, room: Room | None) -> list[tuple[str, Ring, Intent]]:
    """The floors that are judged by themselves, by name, outline and intent.

    The whole of the room where no zone is given; without a room every zone is one by itself.
    """
    if survey.zones:
        return list(_floors(survey.zones, room))
    assert room is not None  # a survey without zones is asked only with its room
    return [(say("floor"), room.outline, survey.intent)]


def joined(survey: Survey, room: Room) -> list[str]:
    """The names of the floors that several zones make together."""
    own = {zone.outline.name for zone in survey.zones}
    return [name for name, _, _ in zones_of(survey, room) if survey.zones and name not in own]


@lru_cache(maxsize=64)
def _floors(zones: tuple[Zone, ...], room: Room | None) -> tuple[tuple[str, Ring, Intent], ...]:
    alike: dict[Intent, list[int]] = defaultdict(list)
    for number, zone in enumerate(zones):
        if room and not zone.apart and zone.intent.kind not in DRAINING:
            alike[zone.intent].append(number)
    found = {number: _alone(zone) for number, zone in enumerate(zones)}
    for intent, same in alike.items():
        assert room is not None  # else no zones are compared
        for members, outline in _together(zones, same, room) if len(same) > 1 else ():
            name = _called([zones[k].outline.name for k in members])
            found[members[0]] = name, Ring(name, outline), intent
            for other in members[1:]:
                del found[other]
    return tuple(found.values())


def _alone(zone: Zone) -> tuple[str, Ring, Intent]:
    return zone.outline.name, zone.outline, zone.intent


def _together(
    zones: tuple[Zone, ...], same: list[int], room: Room
) -> list[tuple[list[int], tuple[tuple[float, float], ...]]]:
    """Which of these zones make one floor, two or more, and its outline.

    That is the room less the other zones, so that a slit between two of them parts no floor.
    """
    rings = [np.array(zone.outline.corners_mm) for zone in zones]
    others = [ring for k, ring in enumerate(rings) if k not in same]
    sliced = cells([np.array(room.outline.corners_mm)], others, [rings[k] for k in same])
    left, right, level = sliced.left, sliced.right, np.stack((sliced.low, sliced.high), axis=1)
    across = np.stack((left[:, 0], right[:, 0], right[:, 1], left[:, 1]), axis=1)
    corners = np.stack((across, level[:, [0, 0, 1, 1]]), axis=2)
    middles, number = corners.mean(axis=1), sliced.plane
    if not len(corners):
        return []
    found = []
    for loop in outlines(corners):
        within = np.unique(number[(number >= 0) & in_ring(loop, middles, -EDGE_MM)])
        if len(within) > 1:
            members = sorted(same[k] for k in within)
            found.append((members, tuple((float(x), float(y)) for x, y in loop)))
    told = [k for members, _ in found for k in members]
    # A zone that the room cuts in two would be in two floors: then it is taken as it was drawn.
    return [(members, loop) for members, loop in found if all(told.count(k) == 1 for k in members)]


def _called(names: list[str]) -> str:
    if len(names) > NAMED + 1:
        return say(
            "{names} and {count} more zones",
            names=", ".join(names[:NAMED]),
            count=len(names) - NAMED,
        )
    return say("{names} and {last}", names=", ".join(names[:-1]), last=names[-1])
