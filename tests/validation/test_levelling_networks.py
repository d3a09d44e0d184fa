"""The adjustment against published levelling networks.

Sources:
- GNU Gama 1.5.09, sample network of a loop levelled forward and back (vrmapper.com/gama,
  1doutput.html): eight differences of 5 mm each, one fixed point; its printed heights, [pvv], m0'
  and adjusted differences.
- G. Strang & K. Borre, Linear Algebra, Geodesy and GPS: five lines between three fixed benches and
  two new ones, 6 mm per root kilometer; the printout of a network program (rplstoday.com, 2019)
  gives the sum of squared standardised residuals and the error factor.
- C. Ghilani & P. Wolf, Elementary Surveying, chapter 12, a level net with given standard deviations
  (data from a lecture deck); the answers are from memory of the book, not read again.

A levelled difference is a rise between two places, which is what a level laid on the floor reads;
the places here have no plan, so they are put on a line.
"""

import numpy as np
import pytest
from scipy.stats import chi2

from flatcheck.adjust import Adjusted, adjust
from flatcheck.survey import Benchmark, Tilt

Net = tuple[dict[str, float], list[tuple[str, str, float, float]]]


def solved(fixed: dict[str, float], lines: list[tuple[str, str, float, float]]) -> Adjusted:
    """Adjust a net of fixed heights and differences (from, to, rise, sd), all in mm."""
    readings: list[Benchmark | Tilt] = [
        Benchmark(*place(name), height, 0.0, name, "") for name, height in fixed.items()
    ]
    for start, end, rise, sd in lines:
        readings.append(Tilt(place(start), place(end), rise, sd, f"{start} to {end}", ""))
    return adjust(readings)


def place(name: str) -> tuple[float, float]:
    """Somewhere on the plan for a named point."""
    return (1000.0 * sum(ord(letter) * 7**k for k, letter in enumerate(name)), 0.0)


def height(net: Adjusted, name: str) -> float:
    """The adjusted height of a named point [mm]."""
    at = np.flatnonzero(net.xy_mm[:, 0] == place(name)[0])
    return float(net.height_mm[at[0]])


def sd(net: Adjusted, name: str) -> float:
    """The a-priori standard uncertainty of a named point's height [mm]."""
    at = int(np.flatnonzero(net.xy_mm[:, 0] == place(name)[0])[0])
    return float(np.sqrt(net.cov_mm2[at, at]))


GAMA: Net = (
    {"1a": 1_000_000.0},
    [
        ("1a", "4", -1225.0, 5.0),
        ("4", "3", -848.0, 5.0),
        ("3", "2", 1342.0, 5.0),
        ("2", "1a", 720.0, 5.0),
        ("1a", "2", -724.0, 5.0),
        ("2", "3", -1335.0, 5.0),
        ("3", "4", 842.0, 5.0),
        ("4", "1a", 1231.0, 5.0),
    ],
)


def test_gnu_gama_heights() -> None:
    """The three new heights are those printed, to the printed hundredth of a millimeter."""
    net = solved(*GAMA)

    for name, printed in (("4", 998.77513), ("3", 997.93325), ("2", 999.27487)):
        assert height(net, name) / 1000 == pytest.approx(printed, abs=0.5001e-5)


def test_gnu_gama_fit() -> None:
    """[pvv] is 146.625 mm² and m0' 5.42 mm with five observations to spare, as printed."""
    net = solved(*GAMA)
    square = float(np.sum(net.residual_mm[1:] ** 2))

    assert square == pytest.approx(146.625, abs=5e-4)
    assert net.fit.redundancy == 5
    assert net.fit.sigma0 * 5.0 == pytest.approx(5.42, abs=0.005)
    assert float(net.redundancy[1:].sum()) == pytest.approx(5.0, abs=1e-6)


def test_gnu_gama_adjusted_differences() -> None:
    """The adjusted differences are those printed, to the hundredth of a millimeter."""
    net = solved(*GAMA)
    printed = {("1a", "4"): -1224.88, ("4", "3"): -841.87, ("3", "2"): 1341.63, ("2", "1a"): 725.13}

    for (start, end), rise in printed.items():
        assert height(net, end) - height(net, start) == pytest.approx(rise, abs=0.0101)


def test_gnu_gama_loops() -> None:
    """Five loops: lines against their way back, and ways around; sums by hand from the data."""
    net = solved(*GAMA)
    rises = dict(enumerate((line[2] for line in GAMA[1]), 2))  # reading 1 is the benchmark
    pairs = {loop.readings: loop for loop in net.loops if len(loop.readings) == 2}
    around = [loop for loop in net.loops if len(loop.readings) == 4]

    assert len(net.loops) == 5
    for (there, back), loop in pairs.items():
        assert abs(loop.misclosure_mm) == pytest.approx(abs(rises[there] + rises[back]))
        assert loop.u_mm == pytest.approx(5 * 2**0.5)
    # Forward lines run one way round, the lines back the other.
    for loop in around:
        turned = sum(rises[k] * (1 if k <= 5 else -1) for k in loop.readings)
        assert abs(loop.misclosure_mm) == pytest.approx(abs(turned))
        assert loop.u_mm == pytest.approx(10.0)
    assert {round(abs(loop.misclosure_mm)) for loop in around} == {11, 18}


STRANG_BORRE: Net = (
    {"A": 10_021.0, "B": 10_321.0, "C": 11_002.0},
    [
        ("A", "E", 732.0, 6 * 0.970**0.5),
        ("A", "F", 1978.0, 6 * 1.002**0.5),
        ("B", "E", 420.0, 6 * 1.070**0.5),
        ("C", "F", 988.0, 6 * 1.110**0.5),
        ("E", "F", 1258.0, 6 * 0.890**0.5),
    ],
)


def test_strang_and_borre() -> None:
    """Sum of squared standardised residuals 4.636 and error factor 1.243, as printed."""
    net = solved(*STRANG_BORRE)
    weighted = float(np.sum((net.residual_mm[3:] / [line[3] for line in STRANG_BORRE[1]]) ** 2))

    assert weighted == pytest.approx(4.636, abs=6e-4)
    assert net.fit.redundancy == 3
    assert net.fit.sigma0 == pytest.approx(1.243, abs=5e-4)
    assert net.fit.chance == pytest.approx(2 * chi2.sf(weighted, 3), rel=1e-3)


def test_strang_and_borre_by_hand() -> None:
    """The two new heights solve the two normal equations, written out."""
    net = solved(*STRANG_BORRE)
    w = [1 / line[3] ** 2 for line in STRANG_BORRE[1]]
    # E: from A, from B, from F; F: from A, from C, from E.
    left = np.array([[w[0] + w[2] + w[4], -w[4]], [-w[4], w[1] + w[3] + w[4]]])
    right = np.array(
        [
            w[0] * 10_753 + w[2] * 10_741 - w[4] * 1258,
            w[1] * 11_999 + w[3] * 11_990 + w[4] * 1258,
        ]
    )
    found = np.linalg.solve(left, right)

    assert [height(net, "E"), height(net, "F")] == pytest.approx(found, abs=1e-4)
    assert sd(net, "E") == pytest.approx(np.sqrt(np.linalg.inv(left)[0, 0]), rel=1e-5)


GHILANI: Net = (
    {"A": 437_596.0},
    [
        ("A", "B", 10_509.0, 6.0),
        ("B", "C", 5_360.0, 4.0),
        ("C", "D", -8_523.0, 5.0),
        ("D", "A", -7_348.0, 3.0),
        ("B", "D", -3_167.0, 4.0),
        ("A", "C", 15_881.0, 12.0),
    ],
)


def test_ghilani() -> None:
    """Heights 448.1087, 453.4685 and 444.9436 m, the book's answers as recalled."""
    net = solved(*GHILANI)

    for name, recalled in (("B", 448.1087), ("C", 453.4685), ("D", 444.9436)):
        assert height(net, name) / 1000 == pytest.approx(recalled, abs=0.5001e-4)
    assert net.fit.sigma0 == pytest.approx(0.651184, abs=2e-5)  # computed, not published
