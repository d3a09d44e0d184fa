"""Lippage and warpage against printed sums, direct geometry, and other people's tables.

- ANSI A108.02 4.3.7: a joint under 1/4 in with tile warped 1/16 in allows 3/32 in.
- tile-magazine.com 83931: a 24 x 24 in paver of 1988 may bow just under 1/4 in along its edge and
  just over 1/4 in along its diagonal.
- A twisted tile with corners 0, 0, 0, w, the hyperbolic paraboloid w x y.
- Two parabolic tiles at an offset, by looking for the largest step along the joint.
- The hypergeometric bound: by counting draws one by one, against scipy, and against the table of
  sample sizes of Cannon & Roe (1982), from memory.
"""

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import beta, binom, hypergeom

from flatcheck.acceptance import most_bad, sampling
from flatcheck.lippage import judged
from flatcheck.product import allowed, product_named
from flatcheck.rules import grade_of
from flatcheck.spacing import bow_at_offset
from flatcheck.survey import Step
from flatcheck.units import parse_length
from flatcheck.verdict import Outcome
from flatcheck.warpage import Face, warpage


def test_ansi_sum() -> None:
    """1/16 in of warpage and 1/32 in of the table are 3/32 in; 1/16 and 1/16 are 1/8 in."""
    _, grade = grade_of("us-lippage")
    for joint, total in (("3/16 in", "3/32 in"), ("1/4 in", "1/8 in")):
        step = Step(0, 0, 1, 0.01, "", parse_length(joint), "t", "1")
        ((found,), _) = judged([step], grade, None, (parse_length("1/16 in"), 0.0))
        assert found.limit_mm == pytest.approx(parse_length(total))


def test_paver_of_1988() -> None:
    """24 x 24 in: 1 % of the edge is .24 in, .75 % of the 33.94 in diagonal is .2546 in."""
    paver, edge = product_named("ansi-paver-1988"), parse_length("24 in")
    diagonal = math.hypot(edge, edge)
    assert diagonal / 25.4 == pytest.approx(33.94, abs=0.005)
    assert allowed(paver.edge, edge)[1] / 25.4 == pytest.approx(0.24)
    assert allowed(paver.diagonal, diagonal)[1] / 25.4 == pytest.approx(0.2546, abs=5e-5)


@pytest.mark.parametrize("w", [1.0, -2.4])
@pytest.mark.parametrize("corner", [0, 1, 2, 3])
def test_twisted_tile(w: float, corner: int) -> None:
    """One corner w out of the plane of three: straight edges, center w/4 from it, warpage w."""
    corners = tuple(w if i == corner else 0.0 for i in range(4))
    edges = tuple((corners[i] + corners[(i + 1) % 4]) / 2 for i in range(4))
    found = warpage(Face(corners, edges, sum(corners) / 4))
    assert found.edges_mm == (0, 0, 0, 0)
    assert sorted(map(abs, found.diagonals_mm)) == pytest.approx([abs(w) / 4] * 2)
    assert abs(found.twist_mm) == pytest.approx(abs(w))
    # Least squares: the best plane leaves the corners ±w/4, so the center departs by none of it.
    at = np.array([(1, x, y) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))], dtype=float)
    left = np.array(corners) - at @ np.linalg.lstsq(at, np.array(corners), rcond=None)[0]
    assert np.abs(left) == pytest.approx(np.full(4, abs(w) / 4))


@pytest.mark.parametrize("offset", [0.1, 0.25, 1 / 3, 0.4, 0.5])
def test_offset_against_geometry(offset: float) -> None:
    """Two parabolic tiles side by side, one shifted: the formula is the step at its corner.

    It is the largest step along the joint as well, with corners of both tiles level: the tiles
    are laid on a plane and the heights of both edges compared at every millimeter.
    """
    length, bow = 900.0, 1.7
    along = np.linspace(0, length, 9001)

    def edge(x: np.ndarray) -> np.ndarray:
        """A row of tiles end to end: the height of its edge."""
        share = (x / length) % 1.0
        return 4 * share * (1 - share) * bow

    steps = np.abs(edge(along) - edge(along - offset * length))
    assert steps.max() == pytest.approx(bow_at_offset(bow, offset), abs=1e-3)
    corner = np.array([offset * length])
    assert edge(corner)[0] - 0.0 == pytest.approx(bow_at_offset(bow, offset))


@pytest.mark.parametrize("joints", [1, 7, 40, 311])
@pytest.mark.parametrize("share", [0.1, 0.5, 1.0])
def test_bound_by_scipy(joints: int, share: float) -> None:
    """The bound is the largest number of bad joints that a draw this good is not rare for."""
    read = max(1, int(share * joints))
    for bad in {0, 1, 2, read // 2} - set(range(read + 1, 3)):
        odds = hypergeom.cdf(bad, joints, np.arange(bad, joints - read + bad + 1), read)
        expected = bad + int(np.flatnonzero(odds > 0.05).max())
        assert most_bad(joints, read, bad) == expected


def test_bound_by_counting() -> None:
    """12 joints, 5 read, 1 bad: counting the draws of 5 one by one gives the same bound."""

    def at_most_one(all_bad: int) -> Fraction:
        draws = [math.comb(all_bad, seen) * math.comb(12 - all_bad, 5 - seen) for seen in range(2)]
        return Fraction(sum(draws), math.comb(12, 5))

    expected = max(k for k in range(1, 9) if at_most_one(k) > Fraction(1, 20))
    assert most_bad(12, 5, 1) == expected


def test_coverage_of_the_bound() -> None:
    """Whatever the true number of bad joints, the bound is below it in at most 5 % of draws."""
    joints, read = 60, 25
    for true in range(joints + 1):
        seen = np.arange(max(0, read - (joints - true)), min(true, read) + 1)
        odds = hypergeom.pmf(seen, joints, true, read)
        missed = [most_bad(joints, read, int(bad)) < true for bad in seen]
        assert odds[missed].sum() <= 0.05 + 1e-12


def test_bound_of_a_large_floor() -> None:
    """With ever more joints the bound nears Clopper and Pearson's for a binomial share."""
    for read, bad in ((59, 0), (200, 3)):
        share = beta.ppf(0.95, bad + 1, read - bad)
        assert binom.cdf(bad, read, share) == pytest.approx(0.05)
        assert most_bad(1_000_000, read, bad) / 1e6 == pytest.approx(share, rel=1e-3)


def test_success_run() -> None:
    """59 without a fault prove 95 %, 299 prove 99 %, as every table of acceptance sampling says."""
    assert most_bad(10_000_000, 59, 0) / 1e7 <= 0.05 < most_bad(10_000_000, 58, 0) / 1e7
    assert sampling(10_000_000, 1, 0).more == 299 - 1


@pytest.mark.parametrize(
    ("joints", "sample"), [(100, 95), (500, 225), (1000, 258), (2000, 277), (10000, 294)]
)
def test_table_of_cannon_and_roe(joints: int, sample: int) -> None:
    """Sample sizes that find one of 1 % at 95 %, Cannon & Roe (1982), figures from memory.

    Their figures come from an approximation that is good to one in the sample size. To detect
    that 1 % are bad is to prove that fewer are, so proving at most one joint fewer is the same.
    """
    bad = joints // 100
    exact = min(n for n in range(1, joints + 1) if hypergeom.cdf(0, joints, bad, n) <= 0.05)
    assert exact == pytest.approx(sample, abs=1)
    assert most_bad(joints, exact, 0) == bad - 1
    assert most_bad(joints, exact - 1, 0) >= bad


@pytest.mark.parametrize("joints", [100, 387, 1000])
@pytest.mark.parametrize(("read", "bad"), [(20, 0), (50, 1), (60, 3)])
def test_how_many_more(joints: int, read: int, bad: int) -> None:
    """So many more joints, all within, bring the bound to 1 %, and one fewer does not."""
    found = sampling(joints, read, bad)
    few = joints // 100
    if bad > few:
        assert found.more is None
    else:
        assert found.more is not None
        assert most_bad(joints, read + found.more, bad) <= few
        assert found.more == 0 or most_bad(joints, read + found.more - 1, bad) > few


def test_guard_is_one_sided_where_it_may_be() -> None:
    """JCGM 106:2012: a step that clears its limit by 1.645 u is within with 95 % certainty."""
    _, grade = grade_of("bs-lippage")
    rng = np.random.default_rng(106)
    true, u = 1.0, 0.15  # truly at the limit of 1 mm, read 20,000 times
    read = true + u * rng.normal(size=20_000)
    called = [
        judged([Step(0, 0, float(v), u, "", 3.0, "t", "")], grade, None, None)[0][0].outcome
        for v in read
    ]
    within = called.count(Outcome.WITHIN) / len(called)
    assert within == pytest.approx(0.05, abs=5 * math.sqrt(0.05 * 0.95 / len(called)))
