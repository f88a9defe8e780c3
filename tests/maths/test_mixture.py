"""Mixtures of Gaussians: parts without any spread among them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from bpvet.maths.mixture import _BLOCK, Mixture

pytestmark = pytest.mark.filterwarnings("error")


def test_a_mixture_without_spread_is_its_mean() -> None:
    one = Mixture(np.array([0.25, 0.75]), np.array([3.0, 3.0]), np.zeros(2))
    assert one.interval(0.95) == (3.0, 3.0)
    assert (one.below(2.9), one.below(3.0), one.below(3.1)) == (0.0, 1.0, 1.0)
    assert (one.above(2.9), one.above(3.0), one.above(3.1)) == (1.0, 0.0, 0.0)


def test_dates_with_and_without_spread_stand_side_by_side() -> None:
    weights = np.array([0.5, 0.5])
    both = Mixture(weights, np.array([[0.0, 0.0], [1.0, 3.0]]), np.array([[0.0, 0.0], [2.0, 1.0]]))
    low, high = both.interval(0.9)
    assert (low[0], high[0]) == (0.0, 0.0)
    for end, p in ((low[1], 0.05), (high[1], 0.95)):
        assert norm.cdf(end, [1, 3], [2, 1]) @ weights == pytest.approx(p, abs=1e-12)


def test_what_lies_below_a_quantile_is_its_probability() -> None:
    """Parts of all widths, far apart and close together, told by SciPy's own normal."""
    rng = np.random.default_rng(7)
    for _ in range(400):
        parts = int(rng.integers(1, 40))
        weights = rng.random(parts) ** rng.choice([1, 8])
        weights /= weights.sum()
        means = rng.normal(0, rng.choice([0.1, 3, 100]), (3, parts))
        sds = np.exp(rng.normal(0, rng.choice([0.2, 2, 5]), (3, parts)))
        several = Mixture(weights, means, sds)
        for p in (1e-9, 0.025, 0.3, 0.5, 0.975):
            ends = np.asarray(several.quantile(p))
            below = norm.cdf((ends[:, None] - means) / sds) @ weights
            slope = (norm.pdf((ends[:, None] - means) / sds) / sds) @ weights
            # What the last digits of so steep a function's argument make of it.
            digits = 1e-12 + slope * 1e-12 * (np.abs(ends) + np.asarray(several.spread))
            assert np.all(np.abs(below - p) <= digits), (p, weights, means, sds)


def test_dates_in_their_hundreds_have_the_quantiles_that_each_has_alone() -> None:
    rng = np.random.default_rng(8)
    weights = rng.dirichlet(np.ones(300))
    means, sds = rng.normal(150, 9, (200, 300)), rng.uniform(2, 9, (200, 300))
    low, high = Mixture(weights, means.copy(), sds.copy()).interval(0.9)
    for i in (0, 77, 199):
        alone = Mixture(weights, means[i].copy(), sds[i].copy()).interval(0.9)
        assert (low[i], high[i]) == pytest.approx(alone, rel=1e-13)


@pytest.mark.parametrize("seed", [213, 511, 1672, 2213])
def test_parts_too_narrow_for_steps_are_found_by_halves(seed: int) -> None:
    """SDs over nine orders of magnitude: here steps alone never settle."""
    rng = np.random.default_rng(seed)
    parts = int(rng.integers(30, 60))
    weights = rng.dirichlet(np.full(parts, 0.3))
    means, sds = rng.normal(150, 10, parts), 10 ** rng.uniform(-5, 4, parts)
    p = float(rng.uniform())
    found = float(Mixture(weights, means, sds).quantile(p))
    assert norm.cdf(found, means, sds) @ weights == pytest.approx(p, abs=1e-7)


def test_dates_in_their_hundreds_have_the_chances_that_each_has_alone() -> None:
    rng = np.random.default_rng(4)
    weights = rng.dirichlet(np.full(700, 2.0))
    means, sds = rng.normal(140, 8, (90, 700)), rng.gamma(4, 1.5, (90, 700))
    whole = Mixture(weights, means, sds)
    assert len(means) > _BLOCK // weights.size
    asked = rng.uniform(120, 160, 90)
    for value in (150.0, asked):
        values = np.broadcast_to(value, 90)
        alone = [Mixture(weights, *each) for each in zip(means, sds, strict=True)]
        pairs = list(zip(alone, values, strict=True))
        below, above = [m.below(v) for m, v in pairs], [m.above(v) for m, v in pairs]
        assert whole.below(value) == pytest.approx(below, abs=1e-14)
        assert whole.above(value) == pytest.approx(above, abs=1e-14)
