"""Two-peg tests from surveying textbooks and exercises, worked out again to the printed digits.

Sources: 1 and 2 from exercise pages of curioustab.com (surveying, two-peg test), 3 in the style of
Uren & Price, *Surveying for Engineers*; readings and answers as printed there. The readings of 4
are a textbook exercise whose page is not known any more; its answer was worked out by hand.
All in meters.
"""

from dataclasses import dataclass

import pytest

from flatcheck.errors import SurveyError
from flatcheck.kit import corrected, two_peg

METER = 1000.0


@dataclass(frozen=True)
class Example:
    """Readings on two pegs from midway and from elsewhere, and what is printed of the sight."""

    midway: tuple[float, float]
    other: tuple[float, float]
    sights: tuple[float, float]
    ratio: float
    right: tuple[float, float]


EXAMPLES = {
    # Pegs 80 m apart, the level 10 m beyond A: 0.05 m in 100 m.
    "1 curioustab": Example((1.32, 1.56), (1.11, 1.39), (10, 90), 0.05 / 100, (1.105, 1.345)),
    # Pegs 40 m apart, the level 10 m beyond the second one.
    "3 Uren & Price": Example((1.476, 1.432), (1.556, 1.472), (50, 10), 0.001, (1.506, 1.462)),
    # C and D 100 m apart, the level 120 m from C and 20 m from D: the sight points down.
    "4 textbook": Example((2.0, 3.0), (1.50, 2.75), (120, 20), -0.0025, (1.80, 2.80)),
}


def millimeters(pair: tuple[float, float]) -> tuple[float, float]:
    return pair[0] * METER, pair[1] * METER


@pytest.mark.parametrize("example", EXAMPLES.values(), ids=EXAMPLES.keys())
def test_printed_examples(example: Example) -> None:
    """The error of the sight and the corrected readings are those that are printed."""
    sights = millimeters(example.sights)
    found = two_peg(millimeters(example.midway), millimeters(example.other), sights, 1.0)

    assert found.ratio == pytest.approx(example.ratio, rel=1e-9)
    for reading, sight, right in zip(
        millimeters(example.other), sights, millimeters(example.right), strict=True
    ):
        assert corrected(reading, sight, found.ratio) == pytest.approx(right, abs=1e-6)


def test_pegs_of_known_height() -> None:
    """2, curioustab: known heights stand in for the readings from midway; 0.060 m in 100 m.

    Heights 283.665 and 284.295 m, readings 2.847 and 3.462 m, at 25 and 50 m. A rod reads what is
    missing to the height of the instrument, so the true difference of the readings is that of the
    heights turned round, and the larger reading belongs to the lower peg. Which of the two is the
    near one is not known any more, and turns the sign only: the size of the error is compared.
    """
    found = two_peg(
        millimeters((-283.665, -284.295)),
        millimeters((3.462, 2.847)),
        millimeters((25, 50)),
        1.0,
    )

    assert abs(found.ratio) == pytest.approx(0.060 / 100, rel=1e-6)


def test_equal_sights_show_nothing() -> None:
    """With the level midway again the four readings say nothing of the sight, and are refused."""
    with pytest.raises(SurveyError, match="nearer to one peg"):
        two_peg((1320, 1560), (1110, 1350), (40 * METER, 40 * METER), 1.0)
