"""How wavy is a slab over chords of 2 to 10 ft, the lengths between flatness and levelness?

Along a line of readings a foot apart, the deviation from the middle of a chord of 2 k feet is

    d[k, i] = h[i + k] - (h[i] + h[i + 2k]) / 2        k = 1 ... 5

Humps and dips count alike: RMS_k is the root of the mean square of d over the line, and the index
of a line is sqrt(sum n_k RMS_k² / sum n_k). Several lines, and several sections, are taken together
in the same way, by their counts. WI_CITATION says how sure we are of this.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.fnumber import SlabVerdict
from flatcheck.language import say
from flatcheck.rules import Citation
from flatcheck.runs import Section

Floats = npt.NDArray[np.float64]

HALVES = (1, 2, 3, 4, 5)
"""Half the chord, in steps of the readings: chords of 2, 4, 6, 8 and 10 ft."""

WI_CITATION = Citation(
    document="ASTM E1486, Determining Floor Tolerances Using Waviness, Wheel Path and Levelness "
    "Criteria",
    edition="edition not stated by the pages seen",
    clause="waviness index",
    source="abstracts of the standard for the chords (agreed); the formulas were not seen",
    certainty="from memory",
    note=say(
        "Seen: chords of 2, 4, 6, 8 and 10 ft, humps and dips alike, averages by root mean "
        "square, lines in two directions at right angles of about equal length. From memory: "
        "the sums."
    ),
)


@dataclass(frozen=True)
class Waves:
    """The deviations of some lines: count and root mean square by chord [mm], and the index [mm].

    `counts` and `rms_mm` follow HALVES; a chord too long for every line has the count zero.
    """

    counts: tuple[int, ...]
    rms_mm: tuple[float, ...]

    @property
    def index_mm(self) -> float:
        """sqrt(sum n_k RMS_k² / sum n_k)."""
        squares = sum(n * rms**2 for n, rms in zip(self.counts, self.rms_mm, strict=True))
        return math.sqrt(squares / sum(self.counts))


@dataclass(frozen=True, eq=False)
class Waviness:
    """The waviness of a slab: of its lines by name, of its sections, and of all together."""

    lines: tuple[tuple[str, str, Waves], ...]
    sections: tuple[tuple[Section, Waves], ...]
    whole: Waves


def deviations(height: Floats, half: int) -> Floats:
    """d of every chord of 2 `half` steps (n - 2 half,), in the unit of the heights."""
    found: Floats = height[half:-half] - (height[: -2 * half] + height[2 * half :]) / 2
    return found


def waves(heights: Sequence[Floats]) -> Waves:
    """The waviness of lines together, each with at least three heights [mm]."""
    counts, rms = [], []
    for half in HALVES:
        every = np.concatenate([deviations(height, half) for height in heights])
        counts.append(len(every))
        rms.append(math.sqrt(float(np.mean(every**2))) if len(every) else 0.0)
    return Waves(tuple(counts), tuple(rms))


def waviness(slab: SlabVerdict) -> Waviness:
    """How wavy is a slab, along the same lines as its F-numbers."""
    read = [one for one in slab.sections if one.lines]
    return Waviness(
        lines=tuple(
            (one.section.name, line.run.name, waves([line.height_mm]))
            for one in read
            for line in one.lines
        ),
        sections=tuple(
            (one.section, waves([line.height_mm for line in one.lines])) for one in read
        ),
        whole=waves([line.height_mm for one in read for line in one.lines]),
    )
