"""A few of the simulated cohorts of `reference_checks.mixed.simulated`, each beside its twin."""

from __future__ import annotations

import pytest

from reference_checks.mixed.simulated import checked


@pytest.mark.parametrize("seed", range(6))
def test_reaches_the_optimum_of_many_starts(seed):
    assert checked(seed, starts=2).above <= 1e-6
