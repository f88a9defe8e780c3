"""The open reference cases of the one-animal model, met to the tolerances of its definition."""

from __future__ import annotations

import pytest

from reference_checks.one_animal.check import CASES, differences


@pytest.mark.parametrize("name", CASES)
def test_reference_answers_are_met(name):
    found = differences(name)
    assert len(found) > 20
    for what, difference, tolerance in found:
        assert abs(difference) <= tolerance, what
