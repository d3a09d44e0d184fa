"""The tile of a survey, laid on its floor: what is cut, what must be bought."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from flatcheck.bond import Pattern
from flatcheck.box import tile_of
from flatcheck.errors import SurveyError
from flatcheck.facet import Falls
from flatcheck.language import say
from flatcheck.origin import Start, best_origin
from flatcheck.parts import falls_of
from flatcheck.pattern import Laying, lay
from flatcheck.room import Room
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.zones import zones_of

SPARE = 0.05
"""Tiles bought beyond those laid or cut, for breakage and repairs [share]. A cut tile counts as a
whole one here, so what is left of it is no part of this. Common practice, no source."""


REMEMBERED = 4
"""How many layings and searches are kept: one command or page asks for the same several times."""

_lay = lru_cache(maxsize=REMEMBERED)(lay)
_best_origin = lru_cache(maxsize=REMEMBERED)(best_origin)


@dataclass(frozen=True)
class Lot:
    """Tiles of one size, by their edges [mm]: laid whole, cut, and to buy with the spare ones."""

    size_mm: tuple[float, float]
    full: int
    cut: int
    buy: int
    boxes: int


def laid(survey: Survey, room: Room) -> Laying:
    """The tile of a survey as it would be laid over its room; aligned where no pattern was said.

    Raises SurveyError where no tile is named, and as `lay` does.
    """
    tile, pattern = asked(survey)
    return _lay(room, tile, pattern, survey.drains, planes_of(survey, room))


def better_start(survey: Survey, room: Room) -> Start:
    """The origin that would leave the fewest slivers. Raises SurveyError as `laid` does."""
    tile, pattern = asked(survey)
    return _best_origin(room, tile, pattern, survey.drains, planes_of(survey, room))


def planes_of(survey: Survey, room: Room) -> tuple[Falls, ...]:
    """The planes of every zone of a survey that falls: tiles are cut where they meet."""
    found = [
        falls_of(name, outline, intent, survey.drains, room)
        for name, outline, intent in zones_of(survey, room)
    ]
    return tuple(falls for falls in found if falls is not None)


def lots(laying: Laying, spare: float = SPARE) -> tuple[Lot, ...]:
    """How many tiles of each size are laid, cut and to be bought, the largest size first.

    Every cut tile is bought whole: what is left of one may not fit anywhere else. A pattern of
    several sizes is counted size by size, and boxes only where there is one.
    """
    corners = laying.corners_mm[np.unique(laying.source, return_index=True)[1]]
    cut = np.zeros(len(corners), dtype=bool)
    cut[laying.source[laying.cut]] = True
    edges = np.stack((corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0]), axis=1)
    sizes = -np.sort(-np.round(np.hypot(edges[..., 0], edges[..., 1]), 2), axis=1)
    found = []
    kinds = np.unique(sizes, axis=0)[::-1]
    for size in kinds:
        own = (sizes == size).all(axis=1)
        buy = math.ceil(int(np.count_nonzero(own)) * (1 + spare) - 1e-9)
        box = laying.tile.per_box if len(kinds) == 1 else 0
        found.append(
            Lot(
                (float(size[0]), float(size[1])),
                int(np.count_nonzero(own & ~cut)),
                int(np.count_nonzero(own & cut)),
                buy,
                math.ceil(buy / box) if box else 0,
            )
        )
    return tuple(found)


def asked(survey: Survey) -> tuple[Tile, Pattern]:
    """The tile of a survey, with its measured bow, and how it is to lie, aligned if nobody said.

    Raises SurveyError where no tile is named.
    """
    tile = tile_of(survey)
    if tile is None:
        raise SurveyError(say("the survey names no tile; say its length and width under [tile]."))
    return tile, survey.pattern or Pattern()
