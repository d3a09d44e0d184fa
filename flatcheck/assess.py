"""The chain, readings to verdict. Read this file first.

readings -> adjust -> surface -> lines and required plane -> measures -> rules -> verdict
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.adjust import Adjusted, adjust
from flatcheck.errors import SurveyError
from flatcheck.judgment import judge
from flatcheck.language import say
from flatcheck.parts import Part
from flatcheck.room import EDGE_MM, Ring, Room, rectangle
from flatcheck.surface import Surface, surface
from flatcheck.survey import Gap, Observation, Survey
from flatcheck.tables import readings_of
from flatcheck.verdict import Verdict

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Assessment:
    """A survey with what its readings say, its surface, its parts and its verdict."""

    survey: Survey
    readings: tuple[Observation, ...]
    adjusted: Adjusted
    surface: Surface
    parts: tuple[Part, ...]
    verdict: Verdict


def assess(survey: Survey) -> Assessment:
    """Is this floor flat enough for this tile, by the survey's own standard, and where not?

    Raises FlatcheckError naming what cannot be used.
    """
    readings, known, floor = surveyed(survey)
    parts, verdict = judge(survey, floor, pieces_of(known))
    return Assessment(survey, readings, known, floor, parts, verdict)


def reads_floor(survey: Survey) -> bool:
    """Whether it tells of a floor place by place: not steps alone, nor bars laid by lot alone."""
    readings = readings_of(survey)
    return bool(readings) and not _by_lot(survey, readings)


def _by_lot(survey: Survey, readings: Sequence[Observation]) -> bool:
    """Whether these are the bars of a sample laid by lot, and nothing else."""
    return survey.sample is not None and all(isinstance(seen, Gap) for seen in readings)


def surveyed(survey: Survey) -> tuple[tuple[Observation, ...], Adjusted, Surface]:
    """The readings of a survey, what they say of each other, and the floor they make.

    Raises FlatcheckError naming what cannot be used.
    """
    readings = readings_of(survey)
    if not readings:
        raise SurveyError(
            say(
                "no heights were read; steps across joints and tiles on a bench say nothing of "
                'the floor: steps are judged alone with rule = "none" in [standard], tiles by '
                "`flatcheck box`."
            )
        )
    if _by_lot(survey, readings):
        raise SurveyError(
            say(
                "the survey is a sample of bars laid by lot, and says nothing of the floor "
                "place by place; judge it with `flatcheck tally`."
            )
        )
    known = adjust(readings)
    here = floor_stations(known)
    if len(here) < 2:
        raise SurveyError(say("besides the benchmarks fewer than two places were read."))
    room = survey.room or Room(_around(known.xy_mm[here]), assumed=True)
    cov = known.cov_mm2[here] if known.cov_mm2.ndim == 1 else known.cov_mm2[np.ix_(here, here)]
    floor = surface(
        room,
        known.xy_mm[here],
        known.height_mm[here],
        cov,
        [known.where[i] for i in here],
        known.free[here],
    )
    return readings, known, floor


def pieces_of(known: Adjusted) -> npt.NDArray[np.int64]:
    """Which piece each station of the floor belongs to, of those that no reading joins (n,)."""
    return known.piece[floor_stations(known)]


def floor_stations(known: Adjusted) -> npt.NDArray[np.int64]:
    """The adjusted stations that are floor: a sill or a nail only carries the height over."""
    return np.setdiff1d(np.arange(len(known.xy_mm)), known.known)


def _around(xy: Floats) -> Ring:
    """The rectangle around readings that came without an outline, grown if it has no width."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    thin = np.where(high - low < 10 * EDGE_MM, 10 * EDGE_MM, 0.0)
    west, south = low - thin
    east, north = high + thin
    return rectangle(west, south, east, north, say("the readings"))
