"""Exponents of cost: those of made-up costs are found, and a fixed cost hides growth."""

from __future__ import annotations

import pytest

from reference_checks.speed.exponents import GOAL, Growth, growths


def test_exponents_of_known_growth():
    sizes = (100, 1_000, 10_000, 100_000)
    growth = Growth(
        "work", sizes, tuple(2e-3 * n**1.2 for n in sizes), tuple(7.0 * n for n in sizes)
    )
    found = dict(growth.exponents())
    assert found["CPU, over all sizes"] == pytest.approx(1.2, abs=1e-9)
    assert found["CPU, in the last step"] == pytest.approx(1.2, abs=1e-9)
    assert found["memory, over all sizes"] == pytest.approx(1.0, abs=1e-9)


def test_a_fixed_cost_hides_growth_over_all_sizes_and_not_in_the_last_step():
    sizes = (100, 1_000, 10_000, 100_000)
    cost = tuple(1.0 + 1e-8 * n**2 for n in sizes)
    found = dict(Growth("work", sizes, cost, cost).exponents())
    assert found["CPU, over all sizes"] < GOAL < found["CPU, in the last step"]


def test_a_small_clinic_is_worked():
    (growth,) = growths((100, 200), ["audit"])
    assert growth.sizes == (100, 200)
    assert all(seconds > 0 for seconds in growth.cpu)
    assert all(size > 0 for size in growth.memory)
