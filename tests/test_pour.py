"""The pour: where its level comes from, lift by lift, and when there is none."""

import math

import numpy as np
import pytest

from flatcheck.pour import NoLevel, Pour, pour

Z = np.array([0.0, 2.0, 5.0, 9.0])
AREA = np.array([1.0, 2.0, 1.0, 1.0])
NOT_GROUND, GROUND = np.zeros(4), np.full(4, np.inf)


def poured(found: Pour | NoLevel) -> Pour:
    """The pour, where there is one."""
    assert isinstance(found, Pour)
    return found


def test_without_grinding_the_highest_place_counts() -> None:
    """Nothing ground, the level is the highest place and the least thickness."""
    found = poured(pour(Z, AREA, 1.0, 0.0, 3.0, NOT_GROUND))
    assert found.level_mm == 12
    assert found.thick_mm.tolist() == [12, 10, 7, 3]
    assert found.poured_mm3 == 12 + 2 * 10 + 7 + 3
    assert found.ground_mm3 == 0
    assert found.cost == found.poured_mm3


def test_one_place_not_to_be_ground_holds_it_up() -> None:
    """The level stays the least thickness above what may not be ground; the rest is ground."""
    most = np.array([np.inf, np.inf, 0.0, np.inf])
    found = poured(pour(Z, AREA, 1.0, 1e-3, 3.0, most))
    assert found.level_mm == 5 + 3
    assert found.grind_mm.tolist() == [0, 0, 0, 4]
    assert found.thick_mm.tolist() == [8, 6, 3, 3]


@pytest.mark.parametrize(
    ("grind", "level"), [(0.0, 0.0), (0.2, 0.0), (0.3, 2.0), (1.4, 2.0), (1.6, 5.0), (9.0, 9.0)]
)
def test_level_by_the_price_of_grinding(grind: float, level: float) -> None:
    """The dearer the grinding, the higher: at a place once the floor up to it weighs enough.

    Of a floor of 5, the lowest place is 1, the lowest two 3, the lowest three 4: at a price p of
    grinding to 1 of filling they weigh enough when they are p / (1 + p) of it.
    """
    found = poured(pour(Z, AREA, 1.0, grind, 0.5, GROUND))
    assert found.level_mm == level + 0.5


@pytest.mark.parametrize(
    ("lift", "lifts"), [(math.inf, 1), (12.0, 1), (6.0, 2), (5.9, 3), (4.0, 3)]
)
def test_lifts(lift: float, lifts: int) -> None:
    """As many lifts as the deepest place takes: a whole number of them needs no more."""
    assert poured(pour(Z, AREA, 1.0, 0.0, 3.0, NOT_GROUND, lift, 4)).lifts == lifts


def test_no_level() -> None:
    """A high place that stays and too few lifts for the lowest leave no height."""
    most = np.array([np.inf, np.inf, 0.0, np.inf])
    found = pour(Z, AREA, 1.0, 1.0, 3.0, most, most_lift_mm=3.5, most_lifts=2)
    assert found == NoLevel(lowest_mm=8.0, highest_mm=7.0)
    door = pour(Z, AREA, 1.0, 1.0, 3.0, most, highest_mm=7.5)
    assert isinstance(door, NoLevel)
    assert door.highest_mm == 7.5


def test_a_low_door_makes_for_grinding() -> None:
    """Where the level may not be higher, more is ground, however dear."""
    found = poured(pour(Z, AREA, 1.0, 100.0, 3.0, GROUND, highest_mm=6.0))
    assert found.level_mm == 6
    assert found.grind_mm.tolist() == [0, 0, 2, 6]


def test_thinner_than_it_must_be() -> None:
    """A least thickness above all lifts together is refused."""
    with pytest.raises(ValueError, match="least thickness"):
        pour(Z, AREA, 1.0, 1.0, 3.0, GROUND, most_lift_mm=2.0)
