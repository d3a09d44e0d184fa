"""How sure must we be: from values with uncertainty to one of the outcomes, for one rule.

Two decision rules, both always worked out. *As read* takes the values at face value (simple
acceptance). *Allowing for reading error* is guarded on both sides, at a risk of RISK each, for a
survey as a whole, although one survey looks through many windows:

- Within: every value must clear its limit by 1.645 u. A floor that truly has a value at the limit
  or beyond passes only if that very value does, so looking at many windows cannot help it, and no
  wider guard is needed (an intersection-union test: Berger, Technometrics 24, 1982).
- Out: some value must exceed its limit by q u, where q is such that reading error alone exceeds
  it, in any window, in at most RISK of surveys. Windows too far below their limit to matter are
  set aside first, at a tenth of the risk (two steps as in Romano, Shaikh & Wolf, Econometrica 82,
  2014). For the rest q is the quantile of the largest standardised error, simulated with the
  readings' own covariance; neighboring bars share readings, so it is far below what as many
  independent windows would need.

JCGM 106:2012 is the one-window case: for a one-sided limit a guard band of 1.645 u makes the risk
5 %. A signed value has a limit on either side, and is held to each of them at that risk.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from flatcheck.evidence import Evidence
from flatcheck.rules import Limit, limit_at
from flatcheck.surface import Surface, noise
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

RISK = 0.05
"""How often a survey may be called wrongly, on either side."""

DRAWS = 1000
"""Simulated surveys: the risk of the simulated quantile is then good to 0.7 points."""

CLEAR = -float(ndtri(RISK))
"""A value within must clear its limit by so many times its uncertainty."""

FEW = 20
"""A quantile with fewer simulated surveys than this beyond it is no better than the bound."""

SEED = 18202
"""Fixed, so that the same survey always gets the same verdict."""

EXACT_MM = 1e-6
"""A value this little over its limit is at the limit: arithmetic, not floor [mm]."""


@dataclass(frozen=True, eq=False)
class Call:
    """One rule against its evidence.

    `excess_mm` (K,) is value less limit. `over` says that some value is over at face value, `out`
    that it is whatever the reading error, `within` that none is whatever the reading error.
    `worst` is the value nearest to or farthest over its limit in units of its uncertainty,
    `largest` the same in millimeters. `factor` is the q of the out side.
    """

    excess_mm: Floats
    over: bool
    out: bool
    within: bool
    worst: int
    largest: int
    factor: float


def call(evidence: Evidence, limit: Limit, floor: Surface, risk: float = RISK) -> Call:
    """Judge K > 0 values against their limit, at the risk left to this rule.

    `floor` is the surface that the evidence was made from.
    """
    value = np.abs(evidence.value_mm) if evidence.signed else evidence.value_mm
    excess = value - limit_at(limit, evidence.span_mm)
    score = excess / evidence.u_mm
    most = float(score.max())
    one_sided = -float(ndtri(risk))
    factor = one_sided
    if most > one_sided:
        factor = _factor(evidence, score, floor, risk)
    return Call(
        excess_mm=excess,
        over=bool(excess.max() > EXACT_MM),
        out=most > factor,
        within=most <= -CLEAR,
        worst=_first(score),
        largest=_first(excess),
        factor=factor,
    )


def _first(value: Floats) -> int:
    """The first of those that are as large as the largest, but for arithmetic.

    Else it would hang on the machine which of two equally bad places is told.
    """
    return int(np.argmax(value >= value.max() - EXACT_MM))


def each(excess_mm: Floats, u_mm: Floats) -> tuple[list[tuple[Outcome, Outcome]], float]:
    """How does each of K > 0 signed values end that are judged one by one, and the q of out?

    `excess_mm` (K,) is how far each is over its limit, `u_mm` (K,) its uncertainty. Each ends as
    (allowing for reading error, as read); *out* allows for all values at once, so that error alone
    calls any of them out in at most RISK of surveys.
    """
    factor = factor_for(excess_mm / u_mm)
    ends = []
    for excess, u in zip(excess_mm.tolist(), u_mm.tolist(), strict=True):
        outcome = Outcome.CLOSE
        if excess <= -CLEAR * u:
            outcome = Outcome.WITHIN
        elif excess > factor * u:
            outcome = Outcome.OUT
        ends.append((outcome, Outcome.OUT if excess > EXACT_MM else Outcome.WITHIN))
    return ends, factor


def factor_for(score: Floats) -> float:
    """The q beyond which a value is out, by how far each is over its limit in units of u (K,).

    Two steps at RISK in all, as above: values too far below their limit to matter are set aside at
    a tenth of it, the rest share what is left. A value has a limit on either side. The bound holds
    however the errors hang together.
    """
    aside = RISK / 10
    near = int(np.count_nonzero(score > float(ndtri(aside / (2 * len(score))))))
    return -float(ndtri((RISK - aside) / (2 * max(near, 1))))


def _errors(floor: Surface) -> Floats:
    """Simulated errors (n, DRAWS), the same for a place whatever order the readings came in."""
    order = np.lexsort(floor.xy_mm.T)
    cov = floor.cov_mm2
    ordered = cov[order] if cov.ndim == 1 else cov[np.ix_(order, order)]
    errors = np.empty((len(order), DRAWS))
    errors[order] = noise(ordered, DRAWS, SEED)
    return errors


def _factor(evidence: Evidence, score: Floats, floor: Surface, risk: float) -> float:
    """The q beyond which a value is out, for the windows that are near their limit."""
    sides = 2 if evidence.signed else 1
    aside = risk / 10
    near = np.flatnonzero(score > float(ndtri(aside / (sides * len(score)))))
    bound = -float(ndtri((risk - aside) / (sides * len(near))))
    if score.max() > bound or risk * DRAWS < FEW:
        return bound
    errors = _errors(floor)
    if evidence.plane is not None:
        coef = evidence.plane.form @ errors
        errors = errors - coef[0] - (floor.xy_mm - evidence.plane.middle) @ coef[1:]
    errors = errors.astype(np.float32)
    scale = (evidence.weights[near] / evidence.u_mm[near, None]).astype(np.float32)
    forms = evidence.forms[near]
    largest = np.full(DRAWS, -np.inf, dtype=np.float32)
    # In blocks that stay in the cache: each row of `errors` is one station in all draws.
    for first in range(0, len(near), 128):
        block = slice(first, first + 128)
        wave = scale[block, 0, None] * errors[forms[block, 0]]
        for j in range(1, forms.shape[1]):
            wave += scale[block, j, None] * errors[forms[block, j]]
        if evidence.signed:
            np.abs(wave, out=wave)
        np.maximum(largest, wave.max(axis=0), out=largest)
    return min(bound, float(np.quantile(largest, 1 - (risk - aside))))
