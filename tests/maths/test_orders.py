"""The exact law of S against a slow twin that lays out every order."""

from __future__ import annotations

import math
from collections import Counter
from itertools import permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.maths.orders import orders_by_s
from bpvet.maths.ranks import mann_kendall

few_values = st.lists(st.integers(0, 4), min_size=1, max_size=6)


def every_order(x: list[int], y: list[int]) -> dict[int, int]:
    """Slow twin of `orders_by_s`: S of all n! orders, one by one."""
    at = np.array(x)
    counts: Counter[int] = Counter()
    for order in permutations(y):
        v = np.array(order)
        signs = np.sign(at[:, None] - at) * np.sign(v[:, None] - v)
        counts[int(signs.sum()) // 2] += 1
    return dict(sorted(counts.items()))


@settings(max_examples=60, deadline=None)
@given(few_values, st.randoms(use_true_random=False))
def test_orders_against_every_order(y: list[int], random: Any) -> None:
    x = [random.randint(0, 3) for _ in y]
    assert orders_by_s(x, y) == every_order(x, y)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=2, max_size=11))
def test_the_variance_is_that_of_the_exact_law(pairs: list[tuple[int, int]]) -> None:
    x, y = zip(*pairs, strict=True)
    law = orders_by_s(x, y)
    assert law is not None
    orders = math.factorial(len(x))
    assert sum(law.values()) == orders
    variance = sum(s * s * count for s, count in law.items()) / orders
    assert mann_kendall(x, y).var_s == pytest.approx(variance, rel=1e-12, abs=1e-12)


def test_the_count_is_exact_where_it_says_and_normal_beyond() -> None:
    rng = np.random.default_rng(0)
    assert mann_kendall(range(50), rng.normal(size=50)).method == "exact"
    assert mann_kendall(range(51), rng.normal(size=51)).method == "normal"
    assert mann_kendall(range(40), np.round(rng.normal(150, 8, 40))).method == "exact"
    # Alternating pairs and singles on both sides make the longest count of 14 sessions.
    worst = np.repeat(np.arange(9), [1, 2, 1, 2, 2, 2, 1, 2, 1])
    assert mann_kendall(worst, worst).method == "exact"
    many = np.repeat(np.arange(25), 2)
    normal = mann_kendall(many, rng.permutation(many))
    assert (normal.method, normal.p) == ("normal", normal.p_normal)
    level = mann_kendall(range(60), [150] * 60)
    assert (level.p, level.p_rising, level.z) == (1, 1, 0)


def test_exact_and_normal_meet() -> None:
    test = mann_kendall(range(50), np.random.default_rng(4).normal(size=50))
    assert test.p == pytest.approx(test.p_normal, abs=0.005)
