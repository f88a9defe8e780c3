"""Ranks: outside answers, properties, and the exact coverage of the interval."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.maths import ranks
from bpvet.maths.orders import orders_by_s

HERE = Path(__file__).parents[2] / "reference_checks/companions/trend"
ANSWERS: dict[str, Any] = json.loads((HERE / "trend.json").read_text())


def series(name: str) -> tuple[Any, Any]:
    table = np.loadtxt(HERE / ANSWERS[name]["data"], delimiter=",", skiprows=1)
    return table[:, 0], table[:, 1]


@pytest.mark.parametrize("name", ANSWERS)
def test_kendall_against_outside_answers(name: str) -> None:
    answer, test = ANSWERS[name], ranks.mann_kendall(*series(name))
    assert test.s == answer["S"]
    assert test.var_s == pytest.approx(answer["var_S"], rel=1e-11)
    assert test.tau_b == pytest.approx(answer["tau_b"], rel=1e-11)
    assert test.z == pytest.approx(answer["z_with_continuity"], rel=1e-11)
    assert test.p_normal == pytest.approx(answer["p_normal"], rel=1e-11)
    if "p_exact" in answer:
        assert test.p == pytest.approx(answer["p_exact"], rel=0, abs=1e-12)
    if "exact_by_enumeration" in answer:
        orders = answer["exact_by_enumeration"]
        assert test.p == pytest.approx(orders["p_two_sided"], rel=0, abs=1e-12)
        assert test.p_rising == pytest.approx(orders["p_rising_one_sided"], rel=0, abs=1e-12)
        counted = {int(s): count for s, count in orders["distribution_counts"].items()}
        assert orders_by_s(*series(name)) == counted


@pytest.mark.parametrize("name", ANSWERS)
def test_theil_sen_against_outside_answers(name: str) -> None:
    sen, scipy = ANSWERS[name]["theil_sen"], ANSWERS[name]["scipy"]["theilslopes"]
    line = ranks.theil_sen(*series(name))
    assert line.n_slopes == sen["n_slopes"]
    assert line.slope.estimate == pytest.approx(sen["slope"], rel=1e-11)
    assert line.intercept == pytest.approx(sen["intercept_median_of_residuals"], rel=1e-11)
    through = sen["intercept_through_medians"]
    assert line.intercept_through_medians == pytest.approx(through, rel=1e-11)
    ends = {
        "conservative": sen["sen_95"]["conservative_integer_ranks"],
        "interpolated": sen["sen_95"]["interpolated"],
        "rounded": [scipy["lower"], scipy["upper"]],
    }
    for convention, theirs in ends.items():
        slope = ranks.theil_sen(*series(name), convention=convention).slope
        assert [slope.lower, slope.upper] == pytest.approx(theirs, rel=1e-11), convention
    assert [line.slope.lower, line.slope.upper] == pytest.approx(ends["conservative"], rel=1e-11)


def test_women_rise_as_certainly_as_fifteen_can() -> None:
    assert ranks.mann_kendall(*series("women")).p == pytest.approx(
        2 / math.factorial(15), rel=1e-14
    )


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(80, 220)), min_size=3, max_size=10),
    st.randoms(use_true_random=False),
)
def test_order_of_rows_shift_and_scale_change_nothing(
    pairs: list[tuple[int, int]], random: Any
) -> None:
    x, y = (np.array(side, dtype=float) for side in zip(*pairs, strict=True))
    shuffled = list(pairs)
    random.shuffle(shuffled)
    xs, ys = (np.array(side, dtype=float) for side in zip(*shuffled, strict=True))
    test, again = ranks.mann_kendall(x, y), ranks.mann_kendall(xs + 1000, 2 * ys - 40)
    assert again == test
    assert ranks.mann_kendall(x, -y).s == -test.s
    assert ranks.mann_kendall(x, -y).p_normal == pytest.approx(test.p_normal)
    line, moved = ranks.theil_sen(x, y), ranks.theil_sen(xs + 1000, 2 * ys - 40)
    if line.slope.estimate is not None:
        assert moved.slope.estimate == pytest.approx(2 * line.slope.estimate, abs=1e-9)
    if line.slope.lower is not None:
        assert moved.slope.lower == pytest.approx(2 * line.slope.lower, abs=1e-9)


@pytest.mark.parametrize("n", [*range(5, 21), 30, 50])
def test_the_default_interval_never_holds_less_than_it_says(n: int) -> None:
    # Without ties L of the N slopes lie below the truth with S = N − 2L. The interval from the
    # lo-th slope from below to the lo-th from above holds it when |S| ≤ N − 2·lo.
    law = orders_by_s(range(n), range(n))
    assert law is not None
    x = np.arange(n, dtype=float)
    noise = np.random.default_rng(n).normal(size=n)
    slopes = np.sort([(noise[j] - noise[i]) / (j - i) for i in range(n) for j in range(i + 1, n)])
    slope = ranks.theil_sen(x, noise).slope
    low = int(np.searchsorted(slopes, slope.lower)) + 1
    high = slopes.size - int(np.searchsorted(slopes, slope.upper))
    assert low == high
    inside = sum(count for s, count in law.items() if abs(s) <= slopes.size - 2 * low)
    assert 0.95 <= inside / math.factorial(n) < 0.991


def test_the_interval_covers_with_sessions_on_one_day() -> None:
    x = np.array([0, 0, 14, 30, 30, 60, 90, 120, 150, 200], dtype=float)
    rng, held = np.random.default_rng(3), 0
    for _ in range(600):
        slope = ranks.theil_sen(x, 0.2 * x + 10 * rng.standard_t(3, size=x.size)).slope
        held += slope.lower <= 0.2 <= slope.upper
    assert 0.94 < held / 600 < 0.995


def test_the_exact_p_rejects_no_more_often_than_it_says() -> None:
    # Rounded pressures on irregular days, some shared: ties on both sides.
    rng, rejected = np.random.default_rng(8), 0
    for _ in range(500):
        test = ranks.mann_kendall(rng.integers(0, 12, 9), rng.integers(140, 150, 9))
        assert test.method == "exact"
        rejected += test.p <= 0.05
    assert rejected / 500 < 0.07


@pytest.mark.parametrize(("n", "text"), [(2, "0 %"), (3, "67 %"), (4, "92 %")])
def test_too_few_sessions_for_an_interval(n: int, text: str) -> None:
    slope = ranks.theil_sen(range(n), [150.0, 153, 151, 158][:n]).slope
    assert slope.estimate is not None
    assert (slope.lower, slope.upper) == (None, None)
    assert text in str(slope.reason)
    if n == 4:
        assert ranks.theil_sen(range(4), [150, 153, 151, 158], level=0.9).slope.reason is None


def test_what_cannot_be_told_says_why() -> None:
    one_day = ranks.theil_sen([5, 5, 5], [150, 160, 170])
    assert one_day.slope.estimate is None
    assert "different days" in str(one_day.slope.reason)
    for x, y in (([5, 5, 5], [1, 2, 3]), ([1, 2, 3], [7, 7, 7]), ([], []), ([1], [1])):
        test = ranks.mann_kendall(x, y)
        assert (test.s, test.tau_b, test.z, test.p, test.p_rising) == (0, None, 0, 1, 1)
        assert test.reason


@pytest.mark.parametrize(
    "call",
    [
        lambda: ranks.theil_sen([0, 1], [1, 2], convention="usual"),
        lambda: ranks.theil_sen([0, 1], [1, 2], level=0),
        lambda: ranks.theil_sen([0, 1], [1]),
        lambda: ranks.mann_kendall([0, math.inf], [1, 2]),
    ],
)
def test_wrong_calls_are_refused(call: Callable[[], object]) -> None:
    with pytest.raises(CallError):
        call()
