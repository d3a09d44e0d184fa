"""Samples against exact arithmetic, a reference library, and where a bar can lie in a rectangle.

- Bounds: the binomial sum itself, in exact fractions; `statsmodels` (Clopper-Pearson).
- Places: in a rectangle a by b every direction θ leaves a bar of length L the places
  (a - L |sin θ|)(b - L |cos θ|), so directions fall in that proportion and starts evenly; in an L
  with a column, rejection with `shapely` and another generator.
"""

import math
from fractions import Fraction

import numpy as np
import pytest
import shapely
from scipy.stats import binomtest, chisquare, kstest
from statsmodels.stats.proportion import proportion_confint

from flatcheck.room import Ring, Room, rectangle
from flatcheck.sampling import draw
from flatcheck.scheme import scheme_named
from flatcheck.tally import lower_bound, more_to_prove

ODDS = 1e-3
"""A correct draw fails each of these tests with this chance for one seed in a thousand; the seeds
are fixed and were not chosen."""


def at_least(k: int, n: int, p: Fraction) -> Fraction:
    """P(at least k of n), the sum written out."""
    return sum(
        (math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1)), start=Fraction(0)
    )


@pytest.mark.parametrize(("k", "n"), [(1, 1), (11, 12), (12, 12), (29, 29), (45, 46), (3, 20)])
def test_bound_is_exact(k: int, n: int) -> None:
    """At the bound at least k of n come in 5 % of draws; the two references say the same bound."""
    bound = lower_bound(k, n)
    assert float(at_least(k, n, Fraction(bound))) == pytest.approx(0.05, rel=1e-9)
    assert bound == pytest.approx(proportion_confint(k, n, alpha=0.10, method="beta")[0], rel=1e-9)
    one_sided = binomtest(k, n, alternative="greater").proportion_ci(0.95, "exact")
    assert bound == pytest.approx(one_sided.low, rel=1e-9)


def test_the_bound_by_hand() -> None:
    """Of 12 within all 12: p with p^12 = 0.05, so p = 0.05^(1/12) = 0.7791; 29 prove 90 %.

    0.9^28 = 0.0523 is still over 0.05, and 0.9^29 = 0.0471 is not.
    """
    assert lower_bound(12, 12) == pytest.approx(0.7791, abs=5e-5)
    assert (round(0.9**28, 4), round(0.9**29, 4)) == (0.0523, 0.0471)
    assert more_to_prove(0.9, 0, 0) == 29
    assert more_to_prove(0.95, 0, 0) == 59


def test_directions_and_starts_in_a_rectangle() -> None:
    """Directions of 2,000 bars in a narrow room fall as the places they leave, starts evenly."""
    a, b, length = 12 * 304.8, 22 * 304.8, 3048.0
    plan = draw(scheme_named("aci-bar:flat"), Room(rectangle(0, 0, a, b)), 1, 2000)
    turn = np.radians([one.toward_deg for one in plan.placements])
    edges = np.radians(np.arange(0, 361, 30))
    fine = np.radians(np.arange(0, 360, 0.01))
    room = (a - length * np.abs(np.sin(fine))) * (b - length * np.abs(np.cos(fine)))
    share = np.histogram(fine, edges, weights=room)[0]
    seen = np.histogram(turn, edges)[0]
    assert chisquare(seen, 2000 * share / share.sum()).pvalue > ODDS
    # That every direction were as likely is refused: the room is narrow.
    assert chisquare(seen).pvalue < 1e-12
    middles = np.array([np.add(one.start, one.end) / 2 for one in plan.placements])
    slack = np.column_stack((a - length * np.abs(np.sin(turn)), b - length * np.abs(np.cos(turn))))
    even = (middles - np.array([a, b]) / 2) / slack + 0.5
    for column in even.T:
        assert kstest(column, "uniform").pvalue > ODDS


def test_places_in_an_ell_with_a_column() -> None:
    """Middles of 2,000 bars in an L with a column fall as those of another sampler do."""
    corners = ((0, 0), (7000, 0), (7000, 3000), (3000, 3000), (3000, 6000), (0, 6000))
    room = Room(Ring("ell", corners), (rectangle(1000, 1000, 1800, 1800, "column"),))
    floor = shapely.Polygon(corners, [[(1000, 1000), (1800, 1000), (1800, 1800), (1000, 1800)]])
    rng, found = np.random.default_rng(2), []
    while len(found) < 20_000:
        start = rng.uniform((0, 0), (7000, 6000), (50_000, 2))
        turn = rng.uniform(0, 2 * math.pi, 50_000)
        end = start + 2000 * np.column_stack((np.sin(turn), np.cos(turn)))
        bars = shapely.linestrings(np.stack((start, end), axis=1))
        found += ((start + end) / 2)[shapely.covers(floor, bars)].tolist()
    ours = [
        np.add(one.start, one.end) / 2
        for one in draw(scheme_named("bs-8204:SR1"), room, 1, 2000).placements
    ]
    edges = (np.arange(0, 7001, 1000), np.arange(0, 6001, 1000))
    theirs = np.histogram2d(*np.array(found).T, edges)[0].ravel()
    seen = np.histogram2d(*np.array(ours).T, edges)[0].ravel()
    kept = theirs > 0
    assert np.all(seen[~kept] == 0)
    assert kept.sum() > 15
    # Both are samples: a cell of n theirs is good to sqrt(n), a tenth as much as ours.
    expected = theirs[kept] * seen.sum() / theirs[kept].sum()
    assert chisquare(seen[kept], expected).pvalue > ODDS
