"""What makes an animal one at risk: what stands out, and drugs that tell of a disease."""

from __future__ import annotations

from dataclasses import replace

import pytest

import bpvet
from bpvet.equality import same
from bpvet.records.example import write_example
from bpvet.visits.seen import Gathered, animal_record
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


def test_what_was_read_of_all_animals_says_the_same_of_each(tmp_path):
    write_example(tmp_path)
    held = bpvet.read(tmp_path, as_of="2026-11-01")
    sessions = sessions_of(held)

    def each():
        return {
            animal: animal_record(
                held, animal, sessions[sessions["animal"] == animal], courses(held, animal)
            )
            for animal in held.rows_by_animal
        }

    alone = each()
    whole = Gathered.of(held)
    assert Gathered.of(held) is whole
    assert any(record.rows for record in alone.values())
    for animal, record in each().items():
        before = alone[animal]
        histories = (record.kidneys.history, before.kidneys.history)
        assert same(*(dict(history.analytes) for history in histories))
        kidneys = replace(record.kidneys, history=before.kidneys.history)
        assert same(replace(record, kidneys=kidneys), before)
