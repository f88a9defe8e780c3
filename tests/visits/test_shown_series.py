"""The shown series of many animals, made in one pass or one by one, are those of each alone."""

from __future__ import annotations

import pytest

import bpvet
from bpvet.errors import NothingLeft
from bpvet.visits.clinic_sessions import clinic_sessions
from bpvet.visits.series import series
from bpvet.visits.sessions import session_store
from bpvet.visits.shown_series import ShownSeries
from bpvet.visits.treatments.courses import all_courses
from tests.models.safety.test_clinic import clinic


@pytest.fixture(scope="module", params=[3, 8])
def records(request: pytest.FixtureRequest) -> bpvet.Records:
    return clinic(animals=40, seed=request.param)


def shown(records: bpvet.Records) -> ShownSeries:
    store = session_store(records)
    by_animal, _ = clinic_sessions(store, ("method", "first_time", "systolic_n"))
    return ShownSeries(records, store, by_animal, all_courses(records))


def test_animals_are_those_of_which_a_series_can_be_made(records: bpvet.Records) -> None:
    found = set()
    for animal in map(str, records.animals["animal"]):
        try:
            series(records, animal)
        except NothingLeft:
            continue
        found.add(animal)
    assert list(shown(records).animals) == sorted(found)
    assert len(found) < len(records.animals)


def test_one_by_one_and_all_at_once_are_the_same(records: bpvet.Records) -> None:
    found = shown(records)
    together = found.of(found.animals)
    assert len({one.method for one in together}) == 2
    for animal, one in zip(found.animals, together, strict=True):
        (alone,) = shown(records).of([animal])
        assert alone == one
        assert alone == series(records, animal)


def test_an_animal_without_a_series_is_passed_over(records: bpvet.Records) -> None:
    found = shown(records)
    without = [str(a) for a in records.animals["animal"] if str(a) not in found.animals]
    assert found.of([*without, next(iter(found.animals))])[0].animal == next(iter(found.animals))
