"""End digits and repeats: hand-worked sums, exact shares, and what chance alone gives."""

from __future__ import annotations

from itertools import product
from math import comb, sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2

from bpvet.maths import digits
from bpvet.maths.digits import end_digits, repeats_expected

Counts = NDArray[np.float64]


def invented(sessions: int, size: int, share: float = 0.1, seed: int = 0) -> Counts:
    """Return end digits (sessions, size) of invented readings, a share of them rounded to 0."""
    rng = np.random.default_rng(seed)
    whose = np.repeat(np.arange(sessions), rng.integers(3, 8, sessions))
    step = 10 // size
    value = step * np.rint(rng.normal(rng.normal(150, 20, sessions)[whose], 6) / step)
    value = np.where(rng.random(len(value)) < share, 10 * np.rint(value / 10), value)
    table = np.zeros((sessions, size))
    np.add.at(table, (whose, (value % 10 / step).astype(int)), 1)
    return table


def squares(table: Counts, turns: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return Σ count² after each row of turns (n, sessions)."""
    turned = np.stack([np.roll(table, shift, axis=1) for shift in range(table.shape[1])], axis=1)
    total = turned[np.arange(len(table)), turns].sum(axis=1)
    return np.rint((total**2).sum(axis=1)).astype(int)


def test_counts_on_a_dial_of_two() -> None:
    found = end_digits([140, 142, 150, 151, 148], [1, 1, 1, 2, 2], step=2)
    assert found.digits == (0, 2, 4, 6, 8)
    assert found.counts == (2, 1, 0, 0, 1)
    assert found.off_step == 1
    # Expected 0.8 each: (1.44 + 0.04 + 0.64 + 0.64 + 0.04)/0.8.
    assert found.chi_square == pytest.approx(2.8 / 0.8)
    assert found.how == "exact"


def test_one_session_tells_nothing() -> None:
    assert end_digits([140, 150, 160], [1, 1, 1], step=2).p == 1


def test_two_sessions_by_hand() -> None:
    """All readings end in 0: as uneven only when both turns are equal, 5 of 25."""
    assert end_digits([140, 150, 160, 170], [1, 1, 2, 2], step=2).p == pytest.approx(0.2)


def test_a_strong_preference_is_found_and_none_is_not() -> None:
    rng = np.random.default_rng(1)
    session = np.repeat(np.arange(60), 5)
    values = 2 * np.round(rng.normal(150, 20, 60)[session] / 2 + rng.normal(0, 3, 300))
    fair = end_digits(values, session, step=2)
    assert fair.p is not None
    assert fair.p > 0.01
    rounded = np.where(rng.random(300) < 0.4, 10 * np.round(values / 10), values)
    biased = end_digits(rounded, session, step=2)
    assert biased.p is not None
    assert biased.p < 0.001
    assert biased.how == "saddle-point approximation"


@pytest.mark.parametrize(("sessions", "size"), [(1, 5), (2, 10), (5, 5), (4, 10), (6, 5)])
def test_counting_equals_every_turn_laid_out(sessions: int, size: int) -> None:
    table = invented(sessions, size, seed=sessions)
    every = np.array(list(product(range(size), repeat=sessions)))
    seen = squares(table, np.zeros((1, sessions), int))[0]
    assert digits._counted(table) == float(np.mean(squares(table, every) >= seen))


@pytest.mark.parametrize(("sessions", "size"), [(12, 5), (8, 10)])
@pytest.mark.parametrize("seed", range(4))
def test_where_counting_ends_both_agree(sessions: int, size: int, seed: int) -> None:
    """At its fewest sessions the approximation is furthest off."""
    table = invented(sessions, size, seed=seed)
    exact, found = digits._counted(table), digits._tail_beyond(table)
    assert abs(found - exact) < 0.01
    if exact > 1e-3:
        assert found == pytest.approx(exact, rel=0.1)


@pytest.mark.parametrize(("sessions", "size"), [(25, 5), (60, 5), (25, 10), (60, 10)])
def test_beyond_counting_it_is_what_draws_come_to(sessions: int, size: int) -> None:
    table = invented(sessions, size, seed=sessions)
    rng = np.random.default_rng(3)
    seen = squares(table, np.zeros((1, sessions), int))[0]
    drawn = squares(table, rng.integers(size, size=(40_000, sessions))) >= seen
    share = float(np.mean(drawn))
    error = sqrt(share * (1 - share) / 40_000)
    assert digits._tail_beyond(table) == pytest.approx(share, abs=3 * error + 0.002)


@pytest.mark.parametrize("extra", [0, 3, 9, 14])
def test_two_digits_by_the_binomial_law(extra: int) -> None:
    """40 sessions of two readings each that are alike: heads less tails of 40 coins."""
    table = np.zeros((40, 2))
    table[: 20 + extra, 0] = table[20 + extra :, 1] = 2
    far = [k for k in range(41) if abs(2 * k - 40) >= 2 * extra]
    exact = sum(comb(40, k) for k in far) / 2**40
    # All steps are double here, which a half step of the plain lattice does not know.
    nearest = digits._tail_beyond(table)
    further = sum(comb(40, k) for k in far if abs(2 * k - 40) > 2 * extra) / 2**40
    assert further - 1e-3 <= nearest <= exact + 1e-3


def test_the_integral_is_the_chi_square_tail() -> None:
    nothing = digits._Change(1.0, np.ones(4), np.zeros(4), np.zeros((4, 4)))
    for at in (0.5, 4.0, 30.0, 200.0):
        assert digits._beyond(at, np.ones(4), nothing) == pytest.approx(chi2.sf(at, 4), rel=1e-10)


def test_thousands_of_sessions_all_rounded() -> None:
    values = np.repeat(10.0 * np.random.default_rng(0).integers(12, 18, 4000), 3)
    found = end_digits(values, np.repeat(np.arange(4000), 3), step=1)
    assert found.p is not None
    assert found.p < 1e-12


def test_no_reading_on_the_step() -> None:
    found = end_digits([141.0], [1], step=2)
    assert (found.p, found.off_step, sum(found.counts)) == (None, 1, 0)


@pytest.mark.parametrize("sd", [2.0, 7.0])
def test_repeats_expected_like_drawn_readings(sd: float) -> None:
    rng = np.random.default_rng(2)
    mean = rng.uniform(100, 200, 200_000)
    pair = 2 * np.round((mean + rng.normal(0, sd, (2, mean.size))) / 2)
    share = float(np.mean(pair[0] == pair[1]))
    assert repeats_expected(sd, 2.0) == pytest.approx(share, abs=0.004)
    assert repeats_expected(0.0, 2.0) == 1
