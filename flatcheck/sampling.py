"""Where to lay the straightedge so that a few places speak for the floor.

Some documents do not ask for every place but for a sample: so many placements for the area, of
which a share must be within a limit. A plan draws placements of the bar at random, every placement
that lies wholly on the floor as likely as any other, again the same from the same seed.
"""

import math
import random
from dataclasses import dataclass

import numpy as np

from flatcheck.errors import SurveyError
from flatcheck.intent import DRAINING
from flatcheck.language import say
from flatcheck.room import Room, area, clear, inside
from flatcheck.scheme import Scheme, asked
from flatcheck.survey import Sample, Survey
from flatcheck.units import MM_PER_INCH

MOST = 2000
"""More placements than this nobody lays."""

TRIES = 2_000_000
"""After so many tries without enough placements the floor is too narrow for the bar."""

BATCH = 4096


@dataclass(frozen=True)
class Drawn:
    """One placement of a plan: where it starts, which way it points, and where it ends [mm]."""

    name: str
    bar: int
    start: tuple[float, float]
    toward_deg: int
    end: tuple[float, float]


@dataclass(frozen=True)
class Plan:
    """A sampling plan of a room: `count` placements of each bar of the scheme."""

    scheme: Scheme
    room: Room
    seed: int
    count: int
    placements: tuple[Drawn, ...]


def draw(scheme: Scheme, room: Room, seed: int, count: int | None = None) -> Plan:
    """A plan of `count` placements of each bar, or of as many as the standard asks.

    Starts lie on whole inches, or centimeters for a metric bar; directions are whole degrees.
    Placements that do not lie wholly on the floor are drawn again. The numbers come from Python's
    own generator, whose sequence is promised to stay the same from version to version.

    Raises SurveyError for a floor on which the bar does not fit, a count beyond MOST and a seed
    below zero.
    """
    if seed < 0:
        raise SurveyError(
            say("seed {seed} was expected to be a whole number, zero or more.", seed=seed)
        )
    wanted = asked(scheme, area(room)) if count is None else count
    if not 0 < wanted <= MOST:
        raise SurveyError(
            say(
                "{count:,} placements were asked for; a sample has 1 to {most:,}.",
                count=wanted,
                most=MOST,
            )
        )
    placements = []
    for number, bar in enumerate(scheme.bars):
        letter = "P" if len(scheme.bars) == 1 else "ABCDEFGH"[number]
        drawn = _drawn(room, bar.length_mm, random.Random(f"{seed} {bar.length_mm:g}"), wanted)
        placements += [
            Drawn(f"{letter}{n}", number, start, turn, _end(start, turn, bar.length_mm))
            for n, (start, turn) in enumerate(drawn, 1)
        ]
    return Plan(scheme, room, seed, wanted, tuple(placements))


def _end(start: tuple[float, float], toward_deg: int, length: float) -> tuple[float, float]:
    turn = math.radians(toward_deg)
    return start[0] + length * math.sin(turn), start[1] + length * math.cos(turn)


def _drawn(
    room: Room, length: float, lot: random.Random, wanted: int
) -> list[tuple[tuple[float, float], int]]:
    corners = np.array(room.outline.corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    mark = 10.0 if length % 100 == 0 else MM_PER_INCH
    found: list[tuple[tuple[float, float], int]] = []
    for _ in range(TRIES // BATCH):
        lots = np.array([lot.random() for _ in range(3 * BATCH)]).reshape(-1, 3)
        start = np.round((low + lots[:, :2] * (high - low)) / mark) * mark
        turn = np.floor(360 * lots[:, 2])
        way = np.radians(turn)
        end = start + length * np.column_stack((np.sin(way), np.cos(way)))
        whole = inside(room, start) & inside(room, end)
        whole[whole] = clear(room, start[whole], end[whole])
        for k in np.flatnonzero(whole):
            found.append(((float(start[k, 0]), float(start[k, 1])), int(turn[k])))
            if len(found) == wanted:
                return found
    raise SurveyError(
        say(
            "a bar of {length:,.0f} mm fits hardly anywhere on this floor; sample it with "
            "a shorter one where the standard allows it.",
            length=length,
        )
    )


def plan_of(survey: Survey, sample: Sample, scheme: Scheme) -> Plan:
    """The plan that a survey says it was read by. Raises SurveyError as `may_sample` and `draw`."""
    return draw(scheme, may_sample(survey), sample.seed, sample.count)


def about_of(survey: Survey) -> str:
    """Whether the survey is of a floor or a wall."""
    return "wall" if survey.room and survey.room.upright else "floor"


def may_sample(survey: Survey) -> Room:
    """The room of a survey, if it is one plane that a bar may be laid on anywhere.

    Raises SurveyError for a survey without a room, and for a floor that falls to a drain.
    """
    if survey.room is None:
        raise SurveyError(say("the survey gives no outline of the room to draw places in."))
    intents = (survey.intent, *(zone.intent for zone in survey.zones))
    if any(intent.kind in DRAINING for intent in intents):
        raise SurveyError(
            say(
                "the floor falls to a drain, and a bar is not laid across its valleys; sample "
                'the part that does not by its size, such as "12 x 14 ft".'
            )
        )
    return survey.room
