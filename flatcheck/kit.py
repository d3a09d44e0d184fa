"""How true are the instruments: the tests a person makes of them on site.

A two-peg test gives the angle of a level, a closing reading its drift, a turned bar its own shape.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError
from flatcheck.language import say

Floats = npt.NDArray[np.float64]
Pair = tuple[float, float]

# What a level does

MOST_COLLIMATION_RATIO = 0.01
"""A sight that rises by more is another unit, a misread rod, or a level to be mended [ratio].

Common practice, no source.
"""

LEAST_BASE_MM = 1000.0
"""Sights to the two pegs that differ by less show no angle that matters [mm].

Common practice, no source: pegs are set tens of meters apart.
"""


@dataclass(frozen=True)
class Collimation:
    """How far the line of sight rises with distance [mm/mm], and its standard uncertainty.

    Positive where the sight points up, so that a far rod reads too much.
    """

    ratio: float
    u_ratio: float


def two_peg(midway_mm: Pair, other_mm: Pair, sights_mm: Pair, u_mm: float) -> Collimation:
    """Does the line of sight of the level rise or fall: the two-peg test.

    `midway_mm` are rod readings on pegs A and B with the level midway between them, where an
    error of the sight falls on both alike, so that b - a is true. `other_mm` are the readings from
    another place, `sights_mm` its distances to A and to B. With d = b - a,

        ratio = (d_other - d_midway) / (sight_B - sight_A),  u(ratio) = 2 u / |sight_B - sight_A|

    where `u_mm` is the standard uncertainty of one reading. Earth curvature is left out: 0.07 mm
    at 30 m.

    Raises SurveyError when the other place is about as far from A as from B, which shows nothing,
    and when the sight would rise or fall by more than any level's: then a rod was misread.
    """
    base = sights_mm[1] - sights_mm[0]
    if not (min(sights_mm) >= 0 and LEAST_BASE_MM <= abs(base) < math.inf):
        raise SurveyError(
            say(
                "two-peg test: the second place was expected nearer to one peg than to the "
                "other, by {least:g} m or more; sights of {near:.9g} mm and "
                "{far:.9g} mm show no error of the level.",
                least=LEAST_BASE_MM / 1000,
                near=sights_mm[0],
                far=sights_mm[1],
            )
        )
    change = (other_mm[1] - other_mm[0]) - (midway_mm[1] - midway_mm[0])
    if abs(change / base) > MOST_COLLIMATION_RATIO:
        raise SurveyError(
            say(
                "two-peg test: peg B less peg A reads {change:,.0f} mm more from the second "
                "place than from midway, which is beyond what a level can be out; a rod was "
                "misread, or readings were given in another order.",
                change=change,
            )
        )
    return Collimation(change / base, 2 * u_mm / abs(base))


def corrected(reading_mm: float, sight_mm: float, collimation_ratio: float) -> float:
    """What the rod would have read with a level sight [mm]: reading - sight · ratio."""
    return reading_mm - sight_mm * collimation_ratio


def drift(opening_mm: float, closing_mm: float, times: Sequence[float]) -> Floats:
    """What to add to each reading, (n,) [mm], so that the same place reads the same again.

    The instrument is taken to move steadily from the opening to the closing reading of one place.
    `times` (n,) are when each reading was taken, in any unit, the opening first and the closing
    last; where nobody wrote times, the order will do: `range(n)`. With f the share of the time
    gone by, the correction is -f (closing - opening).

    It is made of two readings, so it adds f √2 u to a reading's own u; a difference below 2 √2 u
    is no proof of drift, and is better left alone.

    Raises SurveyError for fewer than two times, times that run backwards, or no time gone by.
    """
    at = np.asarray(times, dtype=float)
    steps = np.diff(at)
    if len(at) < 2 or not (np.all(steps >= 0) and 0 < at[-1] - at[0] < math.inf):
        raise SurveyError(
            say(
                "drift: times were expected in the order of the readings, from the opening "
                "reading to the closing one, and growing."
            )
        )
    correction: Floats = -(closing_mm - opening_mm) * (at - at[0]) / (at[-1] - at[0])
    return correction


# What a straightedge does

TURNED = {"end for end": say("end for end"), "upside down": say("upside down")}
"""What each turn of a bar is called."""

TURNS = tuple(TURNED)
"""How a bar may lie when it is read again; see `bow`."""


@dataclass(frozen=True, eq=False)
class Bar:
    """A straightedge's own shape, as far as turning it has told.

    The height of its lower edge above the line through its two ends is, at t = x / length,

        bow · 4 t (1 - t)  +  lopsided · (3√3/2) v (1 - v²),  v = 2 t - 1

    so `bow` is the height of the arch at the middle and `lopsided` the height of the hump of an S,
    high toward the far end. Both are positive where the bar, as it first lay, stood too high above
    the floor and gaps read too large. `told` names what was found, `size_mm` (p,) and `cov_mm2`
    (p, p) are its sizes and their covariance. `misfit_mm` is the largest height that this shape
    leaves unexplained. `gap_mm` (n,) is the mean of the two readings at each place: it is free of
    all that the turn reversed, whatever its shape; `u_gap_mm` its standard uncertainty.
    """

    turn: str
    length_mm: float
    told: tuple[str, ...]
    size_mm: Floats
    cov_mm2: Floats
    misfit_mm: float
    gap_mm: Floats
    u_gap_mm: float


def bow(
    first_mm: Sequence[float],
    turned_mm: Sequence[float],
    positions_mm: Sequence[float],
    length_mm: float,
    turn: str,
    u_mm: float,
) -> Bar:
    """Is it the floor or the bar: a straightedge's own shape from gaps read twice.

    The bar stands with its two ends on the same two supports both times, and the gap from its
    lower edge down to the floor is read at the same places of the floor, `positions_mm` (n,) from
    the first support, before and after it is turned. `u_mm` is the standard uncertainty of one
    gap. What a turn can tell follows from what it does to the shape b(x) of the edge:

    - "end for end" (the same edge down, the ends changed over) makes it b(length - x). An arch is
      the same from both ends and so is in both readings alike: this turn CANNOT show a bow. It
      shows the lopsided part only: first - turned = 2 · lopsided part.
    - "upside down" (rolled about its long axis, so that the other edge is down and the ends stay
      where they were) makes it -b(x), if the bar has the same depth all along, which calipers
      will show. It tells all of it: first - turned = 2 b. (Tumbled end over end it would be
      -b(length - x): that hides the lopsided part, and is not what is meant here.)

    No turn shows what hangs by its own weight: sag is the same either way up. It, like a bow, is
    found against a level line, or with two other bars, each laid against each.

    Sizes by least squares, covariance 2 u² (X'X)⁻¹. Where upside-down readings do not lie so that
    both parts can be told, such as at one place only, the bar is taken for a plain arch.

    Raises SurveyError for readings that do not match in number, places off the bar, another turn,
    and places where the turn shows nothing.
    """
    first, turned = np.asarray(first_mm, dtype=float), np.asarray(turned_mm, dtype=float)
    at = np.asarray(positions_mm, dtype=float)
    if turn not in TURNS:
        raise SurveyError(
            say("bar: turn {turn!r} is not one of {known}.", turn=turn, known=", ".join(TURNS))
        )
    if not len(first) == len(turned) == len(at) > 0:
        raise SurveyError(
            say(
                "bar: {gaps} gaps, {turned} after turning and {places} places were expected to be "
                "as many of each.",
                gaps=len(first),
                turned=len(turned),
                places=len(at),
            )
        )
    shapes = _shapes(at, length_mm)
    told = ("lopsided",) if turn == "end for end" else ("bow", "lopsided")
    columns = 2 * np.column_stack([shapes[name] for name in told])
    if len(told) == 2 and np.linalg.matrix_rank(columns, tol=1e-6) < 2:
        told, columns = ("bow",), columns[:, :1]
    if not np.any(np.abs(columns) > 1e-6):
        where = say("its ends") if told == ("bow",) else say("its middle and its ends")
        raise SurveyError(
            say(
                "bar: turned {turn}, a bar reads the same at {places} whatever its shape; read "
                "it at a quarter and three quarters of its length.",
                turn=TURNED[turn],
                places=where,
            )
        )
    inverse = np.linalg.inv(columns.T @ columns).astype(np.float64)
    size = inverse @ columns.T @ (first - turned)
    return Bar(
        turn=turn,
        length_mm=length_mm,
        told=told,
        size_mm=size,
        cov_mm2=2 * u_mm**2 * inverse,
        misfit_mm=float(np.abs(first - turned - columns @ size).max()) / 2,
        gap_mm=(first + turned) / 2,
        u_gap_mm=u_mm / math.sqrt(2),
    )


def freed(
    gap_mm: Sequence[float], positions_mm: Sequence[float], bar: Bar, u_mm: float
) -> tuple[Floats, Floats]:
    """Other gaps read under a bar of known shape, freed of it, and their uncertainty, (n,) [mm].

    The bar lies on its two ends as it first lay in `bow`: gap - b(x), with
    u² = `u_mm`² + s'Cs, s the shapes at x and C their covariance.

    Raises SurveyError for a bar that was turned end for end only, and places off the bar.
    """
    if "bow" not in bar.told:
        raise SurveyError(
            say(
                "bar: turned end for end, a bow is in both readings alike and cannot be told; "
                "turn the bar upside down, or check it against a level line or two other bars."
            )
        )
    shapes = _shapes(np.asarray(positions_mm, dtype=float), bar.length_mm)
    columns = np.column_stack([shapes[name] for name in bar.told])
    u2 = u_mm**2 + np.einsum("ni,ij,nj->n", columns, bar.cov_mm2, columns)
    return np.asarray(gap_mm, dtype=float) - columns @ bar.size_mm, np.sqrt(u2)


def _shapes(at: Floats, length_mm: float) -> dict[str, Floats]:
    """Heights of the two shapes of size 1 at places along the bar."""
    if not (0 < length_mm < math.inf and np.all((at >= 0) & (at <= length_mm))):
        raise SurveyError(
            say(
                "bar: places were expected from 0 to its length, {length:.9g} mm.", length=length_mm
            )
        )
    v = 2 * at / length_mm - 1
    return {"bow": 1 - v**2, "lopsided": 1.5 * math.sqrt(3) * v * (1 - v**2)}
