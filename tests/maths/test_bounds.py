"""Readings beyond the gauge: sums over one session, and expectation propagation over several."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import log_ndtr
from scipy.stats import multivariate_normal, norm

from bpvet.maths.bounds import Bounds, Site, tilted
from bpvet.maths.propagation import Pressures, layered, propagate

SITES = st.builds(
    lambda numbers, mean, above, below, count: Site(
        float(numbers),
        mean if numbers else 0.0,
        np.array([above, below]),
        np.array([1.0, -1.0]),
        np.array([count, float(numbers % 2)]),
    ),
    st.integers(0, 3),
    st.floats(240, 300),
    st.floats(200, 330),
    st.floats(300, 400),
    st.sampled_from([0.0, 1.0, 4.0]),
)


def one(value: float) -> np.ndarray:
    return np.array([value])


@settings(max_examples=60, deadline=None)
@given(SITES, st.floats(150, 450), st.floats(1, 20))
def test_slopes_are_those_of_the_log_likelihood(site, c, sr):
    h = 1e-4
    values = [site.log_likelihood(one(c + step), one(sr**2))[0] for step in (-h, 0.0, h)]
    first, second = site.slopes(one(c), one(sr**2))
    size = 1 + abs(first[0])
    assert first[0] == pytest.approx((values[2] - values[0]) / (2 * h), abs=1e-4 * size)
    assert second[0] <= 1e-12  # log-concave
    near = site.slopes(one(c + h), one(sr**2))[0] - site.slopes(one(c - h), one(sr**2))[0]
    assert second[0] == pytest.approx(near[0] / (2 * h), abs=1e-3)


@settings(max_examples=30, deadline=None)
@given(SITES, st.floats(150, 380), st.floats(3, 60), st.floats(0.5, 15))
def test_a_normal_times_a_session_is_summed_as_a_general_program_sums_it(site, mean, sd, sr):
    found = tilted(site, one(mean), one(sd**2), one(sr**2))

    def density(c: float, power: int = 0) -> float:
        log = norm.logpdf(c, mean, sd) + site.log_likelihood(one(c), one(sr**2))[0]
        return (c - found.mean[0]) ** power * np.exp(log - found.log_mass[0])

    spread = float(np.sqrt(found.variance[0]))
    low, high = found.mean[0] - 12 * spread, found.mean[0] + 12 * spread
    points = [float(value) for value in (*site.limit, site.mean) if low < value < high]
    area, first, second = (
        quad(density, low, high, args=(power,), points=points or None, limit=400)[0]
        for power in (0, 1, 2)
    )
    # The steepest edges are a hundredth of the range wide.
    assert area == pytest.approx(1.0, abs=4e-3)
    assert first == pytest.approx(0.0, abs=4e-3 * spread)
    assert second == pytest.approx(found.variance[0], rel=8e-3)


def bare(count: int, limit: float = 300.0, readings: float = 4.0) -> Bounds:
    """Return sessions that hold nothing but readings above a limit."""
    each = np.ones(count)
    return Bounds(
        np.arange(count),
        limit * each,
        0 * each,
        0 * each,
        np.arange(count),
        limit * each,
        each,
        readings * each,
    )


def pressures(mean: float, shared: float, visit: float, sr: float, count: int) -> Pressures:
    covariance = shared**2 * np.ones((count, count)) + visit**2 * np.eye(count)
    return Pressures(
        np.full((1, count), mean),
        covariance[None],
        np.full((1, count), sr**2),
        np.full((1, count), visit**2),
    )


def on_a_grid(given: Pressures, limit: float, readings: float) -> tuple[float, np.ndarray, float]:
    """Return log mass, means and the SD of the mean of two visit pressures, on a plain grid."""
    axis = np.linspace(270, 560, 581)
    a, b = np.meshgrid(axis, axis, indexing="ij")
    density = multivariate_normal(given.mean[0], given.covariance[0])
    value = density.logpdf(np.stack([a, b], axis=-1))
    sr = np.sqrt(given.reading[0, 0])
    value = value + readings * (log_ndtr((a - limit) / sr) + log_ndtr((b - limit) / sr))
    mass = np.exp(value - value.max())
    total = mass.sum()
    means = np.array([(mass * a).sum(), (mass * b).sum()]) / total
    middle = (a + b) / 2
    sd = np.sqrt((mass * (middle - means.mean()) ** 2).sum() / total)
    return float(np.log(total * (axis[1] - axis[0]) ** 2) + value.max()), means, float(sd)


def test_two_sessions_without_a_number_need_the_outer_integral():
    given, bounds = pressures(195.0, 50.0, 11.0, 7.0, 2), bare(2)
    log_mass, means, sd = on_a_grid(given, 300, 4)
    found = layered(bounds, given)
    centre = np.sum(found.share[..., None] * found.mean, axis=1)[0]
    off = found.mean[0] - centre
    whole = np.einsum("l,lij->ij", found.share[0], found.covariance[0])
    whole = whole + np.einsum("l,li,lj->ij", found.share[0], off, off)
    spread = np.sqrt(np.full(2, 0.5) @ whole @ np.full(2, 0.5))
    assert found.log_mass[0] == pytest.approx(log_mass, abs=1e-3)
    np.testing.assert_allclose(centre, means, atol=0.01 * sd)
    assert spread == pytest.approx(sd, rel=0.002)
    # One normal a session leaves the common pressure too narrow: why the level is integrated.
    alone = propagate(bounds, given)
    narrow = np.sqrt(np.full(2, 0.5) @ alone.covariance[0] @ np.full(2, 0.5))
    assert narrow < 0.97 * sd


def test_a_bound_that_says_nothing_changes_nothing():
    given = pressures(150.0, 30.0, 11.0, 7.0, 2)
    found = propagate(bare(2, limit=-500.0), given)
    assert found.log_mass[0] == pytest.approx(0.0, abs=1e-8)
    np.testing.assert_allclose(found.mean, given.mean, atol=1e-6)
    np.testing.assert_allclose(found.covariance, given.covariance, rtol=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.integers(2, 5), st.floats(120, 290), st.floats(5, 60), st.floats(4, 30))
def test_numbers_alone_are_normal_algebra(count, mean, shared, visit):
    """Sessions of numbers, given as if they held a bound: exact at once, whatever the order."""
    given = pressures(mean, shared, visit, 7.0, count)
    seen = mean + np.arange(count) * 3.0
    bounds = Bounds(
        np.arange(count),
        seen,
        np.full(count, 3.0),
        seen,
        np.arange(count),
        np.full(count, -1000.0),
        np.ones(count),
        np.ones(count),
    )
    found = propagate(bounds, given)
    noise = np.eye(count) * 49.0 / 3
    whole = given.covariance[0] + noise
    gain = np.linalg.solve(whole, given.covariance[0]).T
    np.testing.assert_allclose(found.mean[0], mean + gain @ (seen - mean), atol=1e-3)
    exact = multivariate_normal(given.mean[0], whole).logpdf(seen)
    assert found.log_mass[0] == pytest.approx(exact, abs=1e-4)
    left = given.covariance[0] - gain @ given.covariance[0]
    np.testing.assert_allclose(found.covariance[0], left, atol=1e-3 * left.max())


def test_nodes_do_not_touch_each_other():
    bounds = bare(3)
    held = [
        pressures(195.0, 50.0, visit, sr, 3)
        for visit, sr in ((11.0, 7.0), (4.0, 1.0), (25.0, 15.0))
    ]
    together = Pressures(
        *(
            np.concatenate([getattr(one, name) for one in held])
            for name in ("mean", "covariance", "reading", "visit")
        )
    )
    whole = layered(bounds, together)
    for i, one in enumerate(held):
        alone = layered(bounds, one)
        assert whole.log_mass[i] == pytest.approx(alone.log_mass[0], abs=2e-4)
        centre = np.sum(whole.share[i, :, None] * whole.mean[i], axis=0)
        own = np.sum(alone.share[0, :, None] * alone.mean[0], axis=0)
        np.testing.assert_allclose(centre, own, atol=0.02)


@pytest.mark.parametrize("t", [-1e6, -7380.3, -31.0, -29.0, -3.0, 0.0, 2.0, 8.0])
def test_slopes_far_below_a_limit_are_right(t: float) -> None:
    """Readings that hardly scatter lie thousands of SDs below; 60 digits tell what is right."""
    with mpmath.workdps(60):
        z = mpmath.mpf(t)
        hazard = mpmath.npdf(z) / mpmath.ncdf(z)
        second = -3 * hazard * (z + hazard)
    site = Site(0.0, 0.0, np.array([300.0]), np.array([1.0]), np.array([3.0]))
    first, bend = site.slopes(np.array([300.0 + t]), np.array([1.0]))
    assert first[0] == pytest.approx(float(3 * hazard), rel=1e-9)
    assert bend[0] == pytest.approx(float(second), rel=1e-6)


def test_the_top_is_found_however_sharp_the_gauge_is() -> None:
    """It had been the normal's own mean, or a million, at some of these."""
    site = Site(0.0, 0.0, np.array([300.0]), np.array([1.0]), np.array([3.0]))
    reading = np.exp(np.linspace(-14.0, 4.0, 400))
    found = tilted(site, np.full(400, 132.6), np.full(400, 45_000.0), reading)
    low, high = found.point[:, 0], found.point[:, -1]
    assert np.all((low > 200) & (low < 301))
    assert np.all((high > 900) & (high < 3000))
    assert np.all((found.mean > 400) & (found.mean < 440))
