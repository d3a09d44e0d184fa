"""The virtual straightedge: every way a bar can lie along the readings, and the gap beneath it.

Three practices, three measurands, never mixed:

- *resting on high points*: the bar touches the floor at two contacts with nothing higher between
  them; the gap is from the bar down to the floor between the contacts, never under an end that
  hangs over (DIN 18202 practice, ACI 117 practice);
- *on equal blocks*: the bar stands on two equal blocks at its ends; the departure from the line
  between the feet is signed, so humps show as well as dips;
- *neighbors* (area levelling on a grid): the height of a place less the mean of the two at equal
  distances on either side, signed.

`bars` lists them one by one for a survey of ordinary size, on any spacing; `flatcheck.sweep` serves
a raster of regular spacing, where the bars are too many to list.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.surface import Lines

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

REACH_MM = 1.0
"""A bar may be this much shorter than the distance it spans: a tape is no better [mm]."""

REST_MM = 1e-9
"""How far above the bar a place may seem to be, by rounding of the arithmetic alone [mm]."""

TOGETHER = 128
"""Stations whose bars are listed together, whole lines of them."""

MOST_BARS = 12_000_000
"""More than this many bars will not fit in the memory of a small laptop."""


@dataclass(frozen=True, eq=False)
class Bars:
    """K pairs of a bar's two contacts and one place between them.

    `stations` (K, 3) are left contact, place, right contact; `weights` (K, 3) the linear form of
    the heights that gives `gap_mm` (K,): positive where the floor lies below the bar. `span_mm`
    (K,) is the distance between the contacts, `pitch_mm` (K,) the widest step between readings
    under the bar. `rests` (K,) is true where no reading between the contacts is above the bar.
    `direction` (K,) counts the families of lines that the bars were laid along.
    """

    stations: Ints
    weights: Floats
    gap_mm: Floats
    span_mm: Floats
    pitch_mm: Floats
    rests: Mask
    direction: Ints


def bars(families: Sequence[Lines], height: Floats, length_mm: float | None) -> Bars:
    """Every bar up to `length_mm` (any length when None) on every pair of readings of a line.

    Whether a long bar lies on two given high points or a shorter one does makes no difference to
    the largest gap at a place: the upper convex hull of a window is never below a chord in it, and
    every edge of the hull is such a chord. So the largest gap over these bars is the largest over
    all placements of a bar of that length, the ones a wall cuts short among them.

    Raises SurveyError when there are more than MOST_BARS.
    """
    reach = np.inf if length_mm is None else length_mm + REACH_MM
    count = sum(_count(family, reach) for family in families)
    if count > MOST_BARS:
        raise SurveyError(
            say(
                "{readings} readings give {count:,} ways to lay the bar, more than the "
                "{most:,} that can be listed; read on a wider grid, or judge the floor in "
                "zones.",
                readings=len(height),
                count=count,
                most=MOST_BARS,
            )
        )
    found = []
    for number, family in enumerate(families):
        # A few lines at a time: bars over the same stations stand together, whatever their span.
        for lines in np.array_split(
            np.arange(len(family.along)), -(-family.along.size // TOGETHER)
        ):
            some = Lines(family.direction, family.stations[lines], family.along[lines])
            step = np.diff(some.along, axis=1)
            widest = step.copy()
            for n in range(2, some.stations.shape[1]):
                widest = np.maximum(widest[:, :-1], step[:, n - 1 :])
                span = some.along[:, n:] - some.along[:, :-n]
                line, first = np.nonzero(span <= reach)
                if len(line) == 0:
                    break
                found.append(_spanning(some, number, height, n, line, first, widest[line, first]))
    if not found:
        triple, none = np.empty((0, 3), np.int64), np.empty(0)
        return Bars(triple, np.empty((0, 3)), none, none, none, none > 0, none.astype(np.int64))
    columns = [np.concatenate(column) for column in zip(*found, strict=True)]
    stations, weights, gap, span, pitch, rests, direction = columns
    return Bars(stations, weights, gap, span, pitch, rests, direction)


def _count(family: Lines, reach: float) -> int:
    total = 0
    for n in range(2, family.stations.shape[1]):
        here = int(np.count_nonzero(family.along[:, n:] - family.along[:, :-n] <= reach))
        total += here * (n - 1)
        if not here:
            break
    return total


def _spanning(
    family: Lines, number: int, height: Floats, n: int, line: Ints, first: Ints, widest: Floats
) -> tuple[Ints, Floats, Floats, Floats, Floats, Mask, Ints]:
    """The bars whose contacts are n steps apart, one row for each place between."""
    between = first + np.arange(1, n)[:, None]
    left, right = family.stations[line, first], family.stations[line, first + n]
    place = family.stations[line, between]
    start = family.along[line, first]
    span = family.along[line, first + n] - start
    share = (family.along[line, between] - start) / span
    gap = height[left] * (1 - share) + height[right] * share - height[place]
    rests = np.all(gap >= -REST_MM, axis=0)
    shape = gap.shape
    stations = np.stack(
        (np.broadcast_to(left, shape), place, np.broadcast_to(right, shape)), axis=-1
    )
    weights = np.stack((1 - share, np.full(shape, -1.0), share), axis=-1)
    return (
        stations.reshape(-1, 3),
        weights.reshape(-1, 3),
        gap.ravel(),
        np.broadcast_to(span, shape).ravel(),
        np.broadcast_to(widest, shape).ravel(),
        np.broadcast_to(rests, shape).ravel(),
        np.full(gap.size, number),
    )
