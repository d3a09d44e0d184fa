"""Ticks of a drawing, where a tape or a gauge has them."""

import math
from collections.abc import Sequence

from flatcheck.units import LENGTH_UNITS, Style


def distance_steps(style: Style) -> list[float]:
    """Steps that a tape is read in [mm]."""
    if style.unit == "in":
        inches = (1, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400, 6000)
        return [n * LENGTH_UNITS["in"] for n in inches]
    return [k * 10.0**power for power in range(1, 6) for k in (1, 2, 5)]


def height_steps(style: Style) -> list[float]:
    """Steps for heights [mm], from the last step of the style on."""
    if style.unit == "in":
        return [LENGTH_UNITS["in"] / style.denominator * 2**n for n in range(16)]
    return [k * 10.0 ** (power - style.decimals) for power in range(6) for k in (1, 2, 5)]


def one_digit(times: float) -> float:
    """A factor of 1 and more, rounded down to one digit, as it can be said beside a drawing."""
    power = 10 ** math.floor(math.log10(times))
    return float(power * math.floor(times / power + 1e-9))


def first_step(steps: Sequence[float], least: float) -> float:
    """The smallest step that is not below `least`, else the largest."""
    return next((step for step in steps if step >= least * (1 - 1e-9)), steps[-1])


def ticks(low: float, high: float, steps: Sequence[float], most: int) -> list[float]:
    """The multiples of a step from `low` to `high`, the step such that there are about `most`."""
    step = first_step(steps, (high - low) / most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [step * k for k in range(first, last + 1)]
