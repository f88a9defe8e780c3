"""Pieces of a comparison: hand-worked sums and outside answers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.maths.agreement import mean_squares
from bpvet.maths.agreement.comparison import (
    EXACT,
    LIMIT,
    MOVER,
    component_limits,
    concordance,
    correlation,
    proportion,
    root,
    share_interval,
    share_within,
    single_limits,
    variance_interval,
)
from bpvet.maths.agreement.restricted import Cells

#: Mean 4, SD √10 (deviations −4, −1, 0, 1, 4: 34/4 = 8.5).
DIFFERENCES = np.array([0.0, 3, 4, 5, 8])


def test_single_limits_by_hand() -> None:
    lower, upper = single_limits(DIFFERENCES)
    sd = np.sqrt(34 / 4)
    se = sd * np.sqrt(1 / 5 + LIMIT**2 / 8)
    assert lower.estimate == pytest.approx(4 - 1.96 * sd)
    assert upper.upper == pytest.approx(4 + 1.96 * sd + 2.7764451051977987 * se)
    assert lower.how.startswith("approximate")


def test_exact_limits_are_r_s_noncentral_t() -> None:
    """qt(c(0.025, 0.975), 16, 1.96 * sqrt(17)) of R 4.2.2: 5.422125162, 12.980871543."""
    d = np.linspace(-20, 12, 17)
    lower, upper = single_limits(d, how=EXACT)
    step = d.std(ddof=1) / np.sqrt(17)
    # The oldest SciPy that is taken gives this quantile to 3e-7 only; the newest to 1e-9.
    assert upper.lower == pytest.approx(d.mean() + 5.422125162 * step, rel=1e-6)
    assert upper.upper == pytest.approx(d.mean() + 12.980871543 * step, rel=1e-6)
    assert lower.upper == pytest.approx(d.mean() - 5.422125162 * step, rel=1e-6)
    assert lower.how == EXACT


def test_mover_is_near_the_exact_interval() -> None:
    rng = np.random.default_rng(3)
    d = rng.normal(5, 11, 25)
    n, v = d.size, float(d.var(ddof=1))
    bias = (float(d.mean()), float(np.sqrt(v / n)), n - 1.0)
    mover = component_limits(bias, (v, 2 * v**2 / (n - 1)), how=MOVER)
    for ours, exact in zip(mover, single_limits(d, how=EXACT), strict=True):
        assert ours.lower == pytest.approx(exact.lower, abs=0.6)
        assert ours.upper == pytest.approx(exact.upper, abs=0.6)


def test_exact_limits_cover() -> None:
    """The upper limit, 1.96, lies in the exact interval in 95 % of worlds of eight animals."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(1000):
        _, upper = single_limits(rng.normal(size=8), how=EXACT)
        assert upper.lower is not None
        assert upper.upper is not None
        held += upper.lower < LIMIT < upper.upper
    assert 930 <= held <= 970


def test_a_variance_s_interval() -> None:
    """Chi-square with 10 df: 3.246973 and 20.483177 (tables)."""
    held = variance_interval(4.0, 2 * 16 / 10)
    assert held.lower == pytest.approx(40 / 20.483177, rel=1e-6)
    assert held.upper == pytest.approx(40 / 3.246973, rel=1e-6)
    assert root(held, 2.0).upper == pytest.approx(2 * np.sqrt(40 / 3.246973), rel=1e-6)
    assert variance_interval(4.0, 1.0, df=10).how == EXACT
    assert variance_interval(0.0, 0.0).reason


def test_proportion_by_hand() -> None:
    """d = 1, 2, 6 at a = 1, 2, 3: slope 2.5, intercept −2, residuals 0.5, −1, 0.5."""
    found = proportion([1, 2, 6], [1, 2, 3])
    assert found.slope.estimate == pytest.approx(2.5)
    assert found.intercept.estimate == pytest.approx(-2)
    assert found.residual_sd == pytest.approx(np.sqrt(1.5))
    assert found.spread_slope == pytest.approx(0)
    # t = 2.5/(√1.5/√2) = 2.887 with one df: p = 2/π·arctan(1/2.887).
    assert found.p == pytest.approx(2 / np.pi * np.arctan(np.sqrt(0.75) / 2.5))
    assert proportion([1, 2], [1, 2]).slope.reason


def test_concordance_by_hand() -> None:
    """x 1, 2, 3, 4, y = x + 1: covariance 1.25, gap 1: 2.5/(2.5 + 1)."""
    assert concordance([1, 2, 3, 4], [2, 3, 4, 5]).estimate == pytest.approx(2.5 / 3.5)
    assert concordance([1, 1, 1], [1, 2, 3]).estimate is None
    held = concordance([1, 2, 3, 4, 5], [1.2, 1.9, 3.4, 3.6, 5.1])
    assert held.lower is not None
    assert held.estimate is not None
    assert held.upper is not None
    assert held.lower < held.estimate < held.upper < 1


def test_shares() -> None:
    """Clopper–Pearson for 8 of 10 (tables): 0.4439, 0.9748; 0 of 5: upper 0.5218."""
    held = share_interval(8, 10)
    assert (held.lower, held.upper) == pytest.approx((0.443905, 0.974789), abs=1e-6)
    assert share_interval(0, 5).upper == pytest.approx(0.521824, abs=1e-6)
    assert share_interval(0, 5).lower == 0
    assert share_interval(0, 0).reason
    assert share_within(0.0, 1.0, 1.96) == pytest.approx(0.95, abs=1e-4)
    assert share_within(3.0, 0.0, 10.0) == 1
    assert correlation([1, 1], [1, 2]) is None
    assert correlation([1, 2, 3], [2, 4, 6]) == pytest.approx(1)


def test_sums_of_the_papers_by_hand() -> None:
    """The balanced example of the components: mean 1, 175 + 4/2 + (7/3)/2."""
    mean, ss = [100.0, 120, 140, 111, 106, 146], [2, 2, 8, 0.5, 4.5, 2]
    code, method = np.array([0, 1, 2, 0, 1, 2]), np.repeat([0, 1], 3)
    cells = Cells(np.array(mean), np.full(6, 2.0), np.array(ss), code, method, code, code)
    bias, low, high = mean_squares.cell_limits(cells)
    assert bias == pytest.approx(1)
    assert (high - low) / (2 * LIMIT) == pytest.approx(np.sqrt(175 + 2 + 7 / 6))
    # Differences 1, 3 | 10, 14: between 110.25·… = 100 over 1, within (2 + 8)/2 = 5; divisor 2.
    bias, low, high = mean_squares.paired_limits([1, 3, 10, 14], [0, 0, 1, 1])
    assert bias == pytest.approx(7)
    assert ((high - low) / (2 * LIMIT)) ** 2 == pytest.approx((100 - 5) / 2 + 5)


@given(st.lists(st.floats(-50, 50), min_size=4, max_size=12, unique=True), st.floats(-100, 100))
def test_a_shift_moves_the_limits_alone(differences: list[float], shift: float) -> None:
    here, there = single_limits(differences), single_limits(np.array(differences) + shift)
    for a, b in zip(here, there, strict=True):
        assert a.estimate is not None
        assert b.estimate == pytest.approx(a.estimate + shift, abs=1e-6)
