"""Tables of a normal times a power of Φ, beside sums that share nothing with them."""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage
from scipy.integrate import quad
from scipy.special import log_ndtr

from bpvet.maths import tails as tables
from bpvet.maths.bounds import Site, log_mass, moments, tilted
from bpvet.maths.tails import HIGH, LOW, STEEPEST, holds, tails


def summed(u: float, beta: float, count: int) -> tuple[float, float, float]:
    """Return log integral, mean and variance by an adaptive rule about the highest place."""
    a = u * np.hypot(1.0, beta)
    grid = np.linspace(-12.0, 12.0 - min(u, 0.0), 200_001)
    log = -0.5 * grid * grid + count * log_ndtr(a + beta * grid)
    top, place = float(log.max()), float(grid[log.argmax()])

    def part(power: int) -> float:
        def value(z: float) -> float:
            density = np.exp(-0.5 * z * z + count * log_ndtr(a + beta * z) - top)
            return float(density * (z - place) ** power)

        edges = np.sort(np.clip([-a / beta, (8 - a) / beta, place], place - 9, place + 9))
        ends = [place - 9, *edges, place + 9]
        return sum(
            quad(value, low, high, epsabs=0, epsrel=1e-10, limit=400)[0]
            for low, high in pairwise(ends)
            if high > low
        )

    total, first, second = part(0), part(1), part(2)
    mean = first / total
    variance = second / total - mean * mean
    return top + np.log(total / np.sqrt(2 * np.pi)), place + mean, variance


@pytest.mark.parametrize("count", [1, 2, 4, 9])
@pytest.mark.parametrize("u", [-60.0, -7.3, -1.1, 0.4, 3.2])
@pytest.mark.parametrize("beta", [0.07, 0.9, 3.1, 20.0])
def test_tables_agree_with_an_adaptive_sum(count: int, u: float, beta: float) -> None:
    log, mean, variance = summed(u, beta, count)
    a, steep = np.array([u * np.hypot(1.0, beta)]), np.array([beta])
    assert holds(a, steep).all()
    found = tails(count).moments(a, steep)
    assert tails(count).log_integral(a, steep)[0] == pytest.approx(log, abs=2e-5 + 1e-9 * abs(log))
    assert found[0][0] == pytest.approx(mean, abs=2e-5 * np.sqrt(variance))
    assert found[1][0] == pytest.approx(variance, rel=5e-5)


@given(u=st.floats(-300.0, 30.0), log_beta=st.floats(-5.0, 6.0))
def test_one_reading_is_known_in_closed_form(u: float, log_beta: float) -> None:
    beta = np.array([np.exp(log_beta)])
    a = u * np.hypot(1.0, beta)
    log = tails(1).log_integral(a, beta)[0]
    assert log == pytest.approx(log_ndtr(u), abs=1e-6 + 1e-9 * u * u)
    # Of the moments: derivatives of log Φ(u) with respect to the normal's mean.
    hazard = np.exp(-0.5 * u * u - 0.5 * np.log(2 * np.pi) - log_ndtr(u))
    sine = float((beta / np.hypot(1.0, beta))[0])
    mean, variance = tails(1).moments(a, beta)
    assert mean[0] == pytest.approx(hazard * sine, abs=1e-6 + 1e-8 * abs(u))
    if u > -50:
        assert variance[0] == pytest.approx(1 - hazard * (hazard + u) * sine**2, abs=1e-5)


def test_what_the_tables_do_not_hold_is_summed() -> None:
    steep, low = STEEPEST * 1.5, LOW * 1.2
    reading = np.array([1.0, 1.0, 1.0])
    sd = np.array([2.0, steep, 2.0])
    mean = np.array([100.0 - 3 * 2, 100.0 - 2 * steep, 100.0 + low * np.hypot(1.0, 2.0)])
    site = Site(0.0, 0.0, np.array([100.0]), np.array([1.0]), np.array([3.0]))
    assert holds((mean - 100.0), sd).tolist() == [True, False, False]
    found, whole = moments(site, mean, sd**2, reading), tilted(site, mean, sd**2, reading)
    assert found[0] == pytest.approx(whole.mean, rel=1e-6)
    assert found[1] == pytest.approx(whole.variance, rel=1e-4)
    assert log_mass(site, mean, sd**2, reading) == pytest.approx(whole.log_mass, rel=1e-6)


@given(
    mean=st.floats(60.0, 340.0),
    sd=st.floats(3.0, 60.0),
    sr=st.floats(3.0, 25.0),
    side=st.sampled_from([-1.0, 1.0]),
    numbers=st.integers(0, 3),
)
def test_a_session_with_numbers_as_its_sum(
    mean: float, sd: float, sr: float, side: float, numbers: int
) -> None:
    site = Site(float(numbers), 180.0, np.array([200.0]), np.array([side]), np.array([2.0]))
    normal = np.array([mean]), np.array([sd**2]), np.array([sr**2])
    whole = tilted(site, *normal)
    centre, variance = moments(site, *normal)
    assert centre == pytest.approx(whole.mean, abs=1e-3 * sd)
    assert variance == pytest.approx(whole.variance, rel=5e-3)
    assert log_mass(site, *normal) == pytest.approx(whole.log_mass, abs=2e-3 + 1e-6 * sd)


def test_a_bound_far_below_says_nothing() -> None:
    one = np.array([1.0])
    a = 3 * HIGH * np.hypot(1.0, one)
    mean, variance = tails(4).moments(a, one)
    assert abs(tails(4).log_integral(a, one)[0]) < 1e-7
    assert abs(mean[0]) < 1e-7
    assert abs(variance[0] - 1) < 1e-6


@pytest.mark.parametrize("compiled", [True, False])
def test_the_splines_are_those_of_the_package_to_the_last_digit(
    compiled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Called below the package, or, where a version has another module, within it."""
    assert tables._splines() is not None
    if not compiled:
        monkeypatch.setattr(tables, "_splines", lambda: None)
    rng = np.random.default_rng(11)
    table = rng.normal(size=(60, 30))
    # Some lie beyond the edges.
    places = rng.uniform(-3, 33, size=(2, 4, 500)) * np.array([2.0, 1.0])[:, None, None]
    filtered = tables._filtered(table)
    found = tables._interpolated(filtered, places)
    assert np.array_equal(filtered, ndimage.spline_filter(table, order=5))
    there = ndimage.map_coordinates(filtered, places, order=5, prefilter=False)
    assert np.array_equal(found, there)


def test_the_package_of_splines_is_not_loaded() -> None:
    code = (
        "import sys; from bpvet.maths.tails import tails; tails(3); "
        "assert 'scipy.ndimage' not in sys.modules; import scipy.ndimage as n; "
        "print(n.median_filter([1, 9, 2], 3).tolist())"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout == "[1, 2, 2]\n", done.stderr
