"""Bows of tiles held against each other in pairs, against weighted least squares of statsmodels."""

from itertools import combinations

import numpy as np
import pytest
import statsmodels.api as sm

from flatcheck.warpage import Pair, pair_bows


@pytest.mark.parametrize("seed", range(5))
def test_pairs_by_statsmodels(seed: int) -> None:
    """Six tiles in all pairs, each gap with an uncertainty of its own: bows and u are the same."""
    rng = np.random.default_rng(seed)
    names = "abcdef"
    picked = list(combinations(range(6), 2))
    u = rng.uniform(0.02, 0.3, len(picked))
    gaps = rng.normal(0.5, 0.4, len(picked))
    forms = np.zeros((len(picked), 6))
    for row, (i, j) in zip(forms, picked, strict=True):
        row[[i, j]] = -1
    known = sm.WLS(gaps, forms, weights=1 / u**2).fit(cov_type="fixed scale")
    found = pair_bows(
        [
            Pair(names[i], names[j], gap, spread, "t", "")
            for (i, j), gap, spread in zip(picked, gaps.tolist(), u.tolist(), strict=True)
        ]
    )
    bows = np.array([found[name] for name in names])
    assert bows[:, 0] == pytest.approx(known.params, abs=1e-12)
    assert bows[:, 1] == pytest.approx(known.bse, rel=1e-9)
