"""Standard errors by animal, and SDs drawn together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from bpvet.maths.agreement.comparison import share_interval
from bpvet.maths.clusters import (
    centred,
    clustered_share,
    clustered_slope,
    shrunken_sds,
)


def test_a_mean_by_hand() -> None:
    """Means 2 and 6 of two animals, three values 1, 3, 6: mean 10/3, pushes −8/3 and 8/3.

    Variance (64/9 + 64/9)·2/9.
    """
    found = clustered_slope([1, 1, 1], [1, 3, 6], [0, 0, 1])
    assert found.estimate == pytest.approx(10 / 3)
    se = np.sqrt(2 * 64 / 9 * 2) / 3
    assert found.upper == pytest.approx(10 / 3 + 12.706204736174694 * se)


def test_one_animal_has_no_interval() -> None:
    assert clustered_slope([1, 2], [1, 2], [0, 0]).reason
    assert clustered_slope([0, 0], [1, 2], [0, 1]).estimate is None


def test_a_share_by_hand() -> None:
    """Of 4 animals with 3 sessions each 3, 2, 1 and 0 are so: share 1/2, pushes ±3/2 and ±1/2.

    Variance 5·4/3/144 = 5/108, effective count (1/4)·108/5 = 5.4 before the cost of 3 degrees of
    freedom in place of 11.
    """
    hit = [1, 1, 1, 1, 1, 0, 1, 0, 0, 0, 0, 0]
    found = clustered_share(hit, np.repeat([0, 1, 2, 3], 3))
    m = 5.4 * (stats.t.ppf(0.975, 11) / stats.t.ppf(0.975, 3)) ** 2
    assert found.estimate == 0.5
    assert found.lower == pytest.approx(stats.beta.ppf(0.025, m / 2, m / 2 + 1))
    assert found.upper == pytest.approx(stats.beta.ppf(0.975, m / 2 + 1, m / 2))


def test_a_share_of_one_each_is_exact() -> None:
    assert clustered_share([1, 0, 0, 1, 1], range(5)) == share_interval(3, 5)
    assert "one animal" in clustered_share([1, 0, 0], [7, 7, 7]).how
    assert clustered_share([], []).reason
    # None at all: no more is known than four animals tell.
    assert clustered_share([0] * 12, np.repeat([0, 1, 2, 3], 3)).upper == share_interval(0, 4).upper


def test_shares_of_animals_that_differ_are_covered() -> None:
    rng, held, apart = np.random.default_rng(4), 0, 0
    animal = np.repeat(np.arange(20), 6)
    for _ in range(400):
        hit = rng.random(120) < rng.beta(0.6, 1.4, 20)[animal]
        one, plain = clustered_share(hit, animal), share_interval(int(hit.sum()), 120)
        held += bool((one.lower or 0) <= 0.3 <= (one.upper or 1))
        apart += bool((plain.lower or 0) <= 0.3 <= (plain.upper or 1))
    assert held / 400 >= 0.917
    assert apart / 400 < 0.85


def test_centring() -> None:
    assert centred([1, 3, 10], ["a", "a", "b"]).tolist() == [-1, 1, 0]


def test_equal_sds_are_drawn_to_one() -> None:
    sds, tau = shrunken_sds([50.0, 50.0, 50.0], [10, 10, 10])
    assert tau == 0
    assert len({round(one.estimate or 0, 10) for one in sds}) == 1


def test_what_is_known_better_is_drawn_less() -> None:
    sds, tau = shrunken_sds([400.0, 4.0 * 400, 9 * 10, 900 * 16], [4, 400, 10, 900])
    assert tau > 0
    plain = np.sqrt([100.0, 4.0, 9.0, 16.0])
    moved = [abs(np.log((one.estimate or 1) / s)) for one, s in zip(sds, plain, strict=True)]
    assert moved[3] < moved[0]
    assert moved[1] < moved[0]


def test_shrunken_intervals_cover() -> None:
    rng = np.random.default_rng(5)
    held = total = 0
    for _ in range(150):
        true = np.exp(np.log(7) + rng.normal(0, 0.25, 8))
        df = rng.integers(5, 60, 8)
        sds, _ = shrunken_sds(true**2 * rng.chisquare(df), df)
        for one, s in zip(sds, true, strict=True):
            assert one.lower is not None
            assert one.upper is not None
            held += one.lower < s < one.upper
            total += 1
    assert 0.92 < held / total < 0.98
