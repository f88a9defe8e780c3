"""What makes an animal one at risk: what stands out, and drugs that tell of a disease."""

from __future__ import annotations

import pytest

from bpvet.visits.seen import animal_record
from bpvet.visits.sessions import sessions as sessions_of
from bpvet.visits.treatments.courses import courses
from tests.models.small_records import drug, records, rows, steady

STEADY = rows(steady(130, ["2026-09-01", "2026-10-01"]))


def found(treatments=()):
    held = records(STEADY, list(treatments))
    return animal_record(held, "A1", sessions_of(held), courses(held, "A1"))


def test_an_animal_with_pressure_alone_is_at_no_risk():
    assert found().at_risk == ()
    assert found().risks == ()


@pytest.mark.parametrize(
    ("name", "risk"),
    [("thiamazole", "thyroid"), ("carbimazole", "thyroid"), ("insulin", "diabetes")],
)
def test_a_drug_tells_of_a_disease_while_it_is_given(name, risk):
    assert found([drug("2026-01-01", name)]).risks == (risk,)
    assert found([drug("2026-01-01", name, stopped_on="2026-10-01")]).risks == ()
