"""After the work: what changed between two surveys of one floor, and how it went by the plan."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.correction import MARK_MM, Fix
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.surface import station_areas

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SAME_MM = 50.0
"""A place read before and after is the same when no farther apart than this on the plan [mm].

Common practice, no source: about what two tapes agree to on a floor that was walked on."""

SAME_ROOM_MM = 100.0
"""Two outlines of one room may differ by this, as a tape is read twice [mm]. Common practice, no
source."""

FEW = 3
"""Fewer places than this in common are no comparison."""


@dataclass(frozen=True, eq=False)
class Change:
    """What changed at k places that were read both times.

    `xy_mm` (k, 2), `rise_mm` (k,) after less before and its standard uncertainty `u_mm` (k,);
    `planned_mm` (k,) what the plan asked for, NaN without one. `tied` says what the two surveys
    were levelled against each other by. `added_l` and `removed_l` are the volumes [l], `filled`
    and `ground` the numbers of places that changed beyond reading error.
    """

    xy_mm: Floats
    rise_mm: Floats
    u_mm: Floats
    planned_mm: Floats
    tied: str
    added_l: float
    removed_l: float
    filled: int
    ground: int


def changed(before: Assessment, after: Assessment, plan: Fix | None = None) -> Change:
    """What changed between two surveys of one floor.

    The two are levelled by places whose height must not change, where both read them; else by the
    places that the plan leaves alone; else by the middle change of all places, which assumes that
    most of the floor was not worked on.

    Raises SurveyError where the rooms differ, or fewer than three places were read both times.
    """
    old, new = before.surface, after.surface
    if not (old.room.assumed or new.room.assumed):
        one, other = (np.array(floor.room.outline.corners_mm) for floor in (old, new))
        ends = [np.array([ring.min(axis=0), ring.max(axis=0)]) for ring in (one, other)]
        if np.abs(ends[0] - ends[1]).max() > SAME_ROOM_MM:
            raise SurveyError(
                say(
                    "the two surveys have rooms of different size or place, so they are not of one "
                    "floor, or not measured from the same corner."
                )
            )
    away, match = cKDTree(new.xy_mm).query(old.xy_mm)
    near = np.flatnonzero(away <= SAME_MM)
    near = near[np.unique(match[near], return_index=True)[1]]
    if len(near) < FEW:
        raise SurveyError(
            say(
                "{count} places were read both before and after, and a comparison takes {few}; "
                "read the same places again.",
                count=len(near),
                few=FEW,
            )
        )
    pair = match[near]
    rise = new.height_mm[pair] - old.height_mm[near]
    planned = np.full(len(near), np.nan)
    if plan is not None:
        planned = (plan.proposal.fill_mm - plan.proposal.grind_mm)[near]
    kept = _held(before, old.xy_mm[near])
    tied = say("the heights that must not change")
    if not kept.any():
        kept = np.abs(planned) < MARK_MM
        tied = say("the places that the plan leaves alone")
    if not kept.any():
        kept = np.ones(len(near), bool)
        tied = say("the middle change of all places")
    rise = rise - np.median(rise[kept])
    u = np.sqrt(_own(old.cov_mm2, near) + _own(new.cov_mm2, pair))
    area = station_areas(old)[near]
    sure = np.abs(rise) > 2 * u
    return Change(
        xy_mm=old.xy_mm[near],
        rise_mm=rise,
        u_mm=u,
        planned_mm=planned,
        tied=tied,
        added_l=float(area @ np.where(sure, np.maximum(rise, 0), 0)) / 1e6,
        removed_l=float(area @ np.where(sure, np.maximum(-rise, 0), 0)) / 1e6,
        filled=int(np.count_nonzero(sure & (rise > 0))),
        ground=int(np.count_nonzero(sure & (rise < 0))),
    )


def _held(before: Assessment, xy: Floats) -> npt.NDArray[np.bool_]:
    kept = np.zeros(len(xy), bool)
    for hold in before.survey.holds:
        if hold.rise_mm == 0:
            kept |= np.hypot(*(xy - np.array(hold.at)).T) <= SAME_MM
    return kept


def _own(cov: Floats, stations: Ints) -> Floats:
    own: Floats = cov[stations] if cov.ndim == 1 else np.diag(cov)[stations]
    return own
