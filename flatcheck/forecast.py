"""What lippage will there be: the tile laid on the surveyed floor before the first one is set.

Two ways of laying it. *Even*: as an ordinary setter would, each tile as the floor under it lies,
on a bed of one thickness. *Best*: the best that a bed within its limits can do (`bedding`). A step
is that between two plates on the middle line of their joint, positive where the first stands up.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.bedding import Program, bedded
from flatcheck.errors import SurveyError
from flatcheck.guard import CLEAR
from flatcheck.intent import Intent, departures, fit
from flatcheck.language import say
from flatcheck.plates import Laid, Plates, blocks, lowest, plates
from flatcheck.relief import Relief, relief
from flatcheck.surface import SAME_PLACE_MM, Surface, usual_pitch
from flatcheck.terms import Material
from flatcheck.units import KG_PER_POUND, LITERS_PER_CUBIC_FOOT, MM_PER_INCH
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Progress = Callable[[int, str], None]

FELT_MM = 0.01
"""A step below this nobody feels or measures [mm]. Common practice, no source."""

AT_LIMIT_MM = 1e-4
"""A step above its limit by less than this is arithmetic, not lippage [mm]."""

THINSET = Material(
    name=say("tile mortar"),
    bag_kg=50 * KG_PER_POUND,
    yield_l=0.5 * LITERS_PER_CUBIC_FOOT,
    wet_kg_l=1.7,
    price=25.0,
    least_mm=3 / 32 * MM_PER_INCH,
    most_mm=MM_PER_INCH / 2,
    bags_h=2.0,
    wait_h=24.0,
    said=say(
        "For large and heavy tile 3/32 to 1/2 in thick after embedding (two trade "
        "pages; some data sheets say 3/4 in); what a bag gives, weight, price and rate "
        "common practice, no source."
    ),
)


SAME_WIDTH_MM = 1.0
"""Readings and tiles that differ by less than this are of one width [mm]."""


class Answer(StrEnum):
    """How a forecast ends."""

    AS_IS = "can be tiled as it is"
    CORRECTED = "not as it is"
    NOT = "not with this tile"


ANSWERS = {
    Answer.AS_IS: say("can be tiled as it is"),
    Answer.CORRECTED: say("not as it is"),
    Answer.NOT: say("not with this tile"),
}
"""How each answer is said."""


@dataclass(frozen=True)
class Bed:
    """The mortar under the tile: its limits of thickness and the even one [mm], and the material.

    `cap_mm` is how far the middle of a tile may leave the required plane or falls, so that the
    floor does not climb with its waves; `spacer_mm` what leveling spacers leave between neighbors.
    Neither holds an ordinary setter's even bed.
    """

    least_mm: float = THINSET.least_mm
    most_mm: float = THINSET.most_mm
    even_mm: float | None = None
    cap_mm: float = math.inf
    spacer_mm: float = math.inf
    material: Material = THINSET
    waste: float = 0.1

    def __post_init__(self) -> None:
        if not (0 <= self.least_mm <= self.most_mm < math.inf):
            raise SurveyError(say("bed: its least thickness must lie between zero and its most."))
        if not self.least_mm <= self.usual_mm <= self.most_mm:
            raise SurveyError(
                say("bed: the even thickness must lie between the least and the most.")
            )
        if not (self.cap_mm >= 0 and self.spacer_mm >= 0):
            raise SurveyError(say("bed: the cap and what spacers leave must not be below zero."))
        if not 0 <= self.waste < math.inf:
            raise SurveyError(say("bed: the waste must not be below zero."))

    @property
    def usual_mm(self) -> float:
        """The even bed: as given, or the middle of the limits."""
        return (self.least_mm + self.most_mm) / 2 if self.even_mm is None else self.even_mm


@dataclass(frozen=True, eq=False)
class Way:
    """One way of laying t tiles with j joints.

    `step_mm` (j, k) are the steps at k places along each joint; `least_mm`, `most_mm`, `mean_mm`
    (t,) the thickness of the bed under each tile, `mortar_l` what it takes [l] and `bags` whole
    ones, waste counted. `gives_mm` (t,) is by how much a limit of the bed or the cap gives way at
    a tile: where it is not zero the tile cannot be bedded.
    """

    step_mm: Floats
    least_mm: Floats
    most_mm: Floats
    mean_mm: Floats
    gives_mm: Floats
    mortar_l: float
    bags: int

    @property
    def lippage_mm(self) -> Floats:
        """The largest step at each joint, whichever side is up (j,) [mm]."""
        result: Floats = np.abs(self.step_mm).max(axis=1, initial=0.0)
        return result

    @property
    def worst_mm(self) -> float:
        """The largest step of all [mm]."""
        return float(self.lippage_mm.max(initial=0.0))

    @property
    def unbedded(self) -> Ints:
        """The tiles that cannot be bedded."""
        return np.flatnonzero(self.gives_mm > 0)


@dataclass(frozen=True, eq=False)
class Forecast:
    """What a laying would come to on a floor.

    `limit_mm` (j,) is the lippage allowed at each joint, `u_mm` (j,) the standard uncertainty of
    the even way's largest step there, from the readings. `flat_mm` (j,) is the step that would be
    left on a floor without any fault: that of the tile's own bow. `unread` are tiles with a place
    farther from any reading than these usually are apart, which is `apart_mm`: beside the readings
    or in a gap between them.
    """

    laying: Laid
    bed: Bed
    limit_mm: Floats
    even: Way
    best: Way | None
    u_mm: Floats
    flat_mm: Floats
    unread: Ints
    middle_mm: Floats
    apart_mm: float

    @property
    def narrow_mm(self) -> float:
        """The shortest side of a whole tile [mm]."""
        corners = np.asarray(self.laying.corners_mm)
        sides = np.roll(corners, -1, axis=1) - corners
        return float(np.hypot(sides[..., 0], sides[..., 1]).min())

    @property
    def coarse(self) -> bool:
        """Whether the readings are farther apart than a tile is wide, and show little under it."""
        return self.apart_mm > self.narrow_mm + SAME_WIDTH_MM

    @property
    def blind(self) -> bool:
        """Whether tiles lie where nobody read, or readings farther apart than a tile is wide."""
        return self.coarse or len(self.unread) > 0

    def out(self, way: Way) -> Mask:
        """The joints that will be out of their limit (j,)."""
        result: Mask = way.lippage_mm > self.limit_mm + AT_LIMIT_MM
        return result

    def good(self, way: Way) -> bool:
        """Whether every joint is within its limit and every tile bedded."""
        return not self.out(way).any() and not len(way.unbedded)

    @property
    def better(self) -> Way:
        """The way to lay it: the even bed where that will do, or where no other was sought."""
        return self.even if self.best is None or self.good(self.even) else self.best

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """How each joint ends in an even bed, allowing for reading error (95% one-sided)."""
        margin = CLEAR * self.u_mm
        over = self.even.lippage_mm - self.limit_mm
        return tuple(
            Outcome.OUT if o > m else Outcome.WITHIN if o <= -m or m == 0 else Outcome.CLOSE
            for o, m in zip((over - AT_LIMIT_MM).tolist(), margin.tolist(), strict=True)
        )

    @property
    def answer(self) -> Answer:
        """Can it be tiled: in an even bed, or in one made up as the best way has it.

        Not with this tile where its own bow, at this offset, is too much on a floor without fault;
        else a correction of the floor can help.
        """
        if self.good(self.even) or (self.best is not None and self.good(self.best)):
            return Answer.AS_IS
        if np.any(self.flat_mm > self.limit_mm + AT_LIMIT_MM):
            return Answer.NOT
        return Answer.CORRECTED


def forecast(
    floor: Surface,
    laying: Laid,
    limit_mm: float | Floats,
    bed: Bed | None = None,
    bow_mm: float = 0.0,
    required_mm: Floats | None = None,
    best: bool = True,
    progress: Progress | None = None,
) -> Forecast:
    """What lippage a laying would have on a floor.

    `limit_mm` is the lippage allowed at each joint (j,), or at all. `bow_mm` is how high the tile
    stands at its middle above its ends (negative: a dish). `required_mm` (n,) are the heights of
    the required plane or falls at the stations, for the cap; the plane that fits best where left
    out. Without `best` only the even way is worked out. `progress` is told the number and the
    words of each stage of the best way.

    In the even way each plate fits the floor under its piece best (least squares over the places
    it is sampled at). Its step is then a linear form of the readings, and u² = w'Cw.

    Raises SurveyError where the readings span no triangle or there is no tile.
    """
    bed = bed or Bed()
    if not len(laying.pieces):
        raise SurveyError(say("forecast: no tile lies on this floor."))
    laid = plates(laying, bow_mm)
    ground = relief(floor, laid.xy_mm)
    joints = len(laid.bow_step_mm) // laid.places
    limit = np.broadcast_to(np.asarray(limit_mm, dtype=float), (joints,)).copy()
    follow = _follow(laid)
    under = ground.heights(floor.height_mm)
    free = follow @ (under - laid.bow_mm)
    step = laid.step @ free + laid.bow_step_mm
    thick = bed.usual_mm + laid.matrix @ free + laid.bow_mm - under
    even = _way(laid, bed, step, thick, _beyond(laid, bed, thick))
    made = None
    if best:
        required = fit(Intent(), floor.xy_mm, floor.height_mm)
        wanted = (
            floor.height_mm - departures(required, floor.xy_mm, floor.height_mm)
            if required_mm is None
            else required_mm
        )
        above = free[::3] - relief(floor, laid.middle_mm).heights(wanted)
        found = bedded(
            Program(
                laid.matrix,
                thick,
                laid.owner,
                lowest(laid, thick),
                lowest(laid, -thick),
                bed.least_mm,
                bed.most_mm,
                laid.step,
                step,
                laid.places,
                above - above.mean(),
                bed.cap_mm,
                # Spacers draw edges together; they take no bow out of a tile.
                np.maximum(bed.spacer_mm, np.abs(laid.bow_step_mm)),
            ),
            progress,
        )
        made = _way(
            laid,
            bed,
            step + laid.step @ found.change,
            thick + laid.matrix @ found.change,
            found.gives_mm,
        )
    on_flat = laid.bow_step_mm - laid.step @ (follow @ laid.bow_mm)
    apart = usual_pitch(floor)
    away = np.zeros(laid.count)
    np.maximum.at(away, laid.owner, cKDTree(floor.xy_mm).query(laid.xy_mm)[0])
    return Forecast(
        laying,
        bed,
        limit,
        even,
        made,
        _spread(floor, laid, ground, follow, step),
        np.abs(on_flat).reshape(-1, laid.places).max(axis=1, initial=0.0),
        np.flatnonzero(away > apart + SAME_PLACE_MM),
        laid.middle_mm,
        apart,
    )


def _follow(laid: Plates) -> csr_array:
    """How heights at the places (p,) make the plates that fit them best (3 t,): (B'B)^-1 B'."""
    square = np.zeros((laid.count, 3, 3))
    np.add.at(square, laid.owner, laid.base[:, :, None] * laid.base[:, None, :])
    solve = np.einsum("pij,pj->pi", np.linalg.inv(square)[laid.owner], laid.base)
    return csr_array(blocks(laid.owner, solve, laid.count).T)


def _beyond(laid: Plates, bed: Bed, thick: Floats) -> Floats:
    """By how much the bed under each plate is out of its limits, at most (t,) [mm]."""
    past = np.maximum(thick - bed.most_mm, bed.least_mm - thick)
    most = np.zeros(laid.count)
    np.maximum.at(most, laid.owner, np.where(past > AT_LIMIT_MM, past, 0.0))
    return most


def _way(laid: Plates, bed: Bed, step: Floats, thick: Floats, gives: Floats) -> Way:
    least, most = np.full(laid.count, np.inf), np.full(laid.count, -np.inf)
    np.minimum.at(least, laid.owner, thick)
    np.maximum.at(most, laid.owner, thick)
    mean = np.bincount(laid.owner, thick, laid.count) / np.bincount(laid.owner, None, laid.count)
    liters = float(np.maximum(mean, 0.0) @ laid.area_mm2) / 1e6
    bags = math.ceil(liters * (1 + bed.waste) / bed.material.yield_l - 1e-9)
    return Way(step.reshape(-1, laid.places), least, most, mean, gives, liters, bags)


def _spread(
    floor: Surface, laid: Plates, ground: Relief, follow: csr_array, step: Floats
) -> Floats:
    """The standard uncertainty of the largest step at each joint (j,) [mm]."""
    if not len(step):
        return np.zeros(0)
    worst = np.abs(step.reshape(-1, laid.places)).argmax(axis=1)
    rows = np.arange(len(worst)) * laid.places + worst
    return ground.spread(floor.cov_mm2, floor.free, csr_array(laid.step[rows] @ follow))


def required_heights(assessment: Assessment) -> Floats:
    """The heights of the required plane or falls at the stations of a survey (n,) [mm].

    A station that lies on no plane that could be looked at is taken as it was read.
    """
    height = assessment.surface.height_mm.copy()
    for part in assessment.parts:
        for face in part.faces:
            own = part.stations[face.stations]
            seen = face.view.surface
            height[own] = seen.height_mm - departures(face.view.plane, seen.xy_mm, seen.height_mm)
    return height
