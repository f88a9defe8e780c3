"""The open reference cases of the one-animal model, met to the tolerances of its definition."""

from __future__ import annotations

import pytest

from reference_checks.one_animal import hard
from reference_checks.one_animal.check import CASES, differences
from reference_checks.treated import check as treated


@pytest.mark.parametrize("name", CASES)
def test_reference_answers_are_met(name):
    found = differences(name)
    assert len(found) > 20
    for what, difference, tolerance in found:
        assert abs(difference) <= tolerance, what


@pytest.mark.parametrize("of", hard.cases(), ids=lambda of: of["name"])
def test_hard_records_meet_their_tolerances(of):
    found = list(hard.differences(of))
    assert len(found) > 10
    for what, difference, tolerance in found:
        assert abs(difference) <= tolerance, what


@pytest.mark.parametrize(
    "of", [treated.case(name) for name in treated.CASES] + treated.more(), ids=lambda of: of["name"]
)
def test_treated_animals_meet_their_dense_answers(of):
    found = treated.differences(of)
    assert len(found) > 60
    for what, difference, tolerance in found:
        assert abs(difference) <= tolerance, what
