"""End digits and repeats: hand-worked sums, exact shares, and what chance alone gives."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.maths.digits import end_digits, repeats_expected


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
    assert biased.how == "simulated, 4999 draws"
    assert end_digits(rounded, session, step=2) == biased


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
