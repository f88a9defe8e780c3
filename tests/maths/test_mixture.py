"""Mixtures of Gaussians: parts without any spread among them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from bpvet.maths.mixture import Mixture

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
