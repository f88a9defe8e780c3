"""In which order animals need a look: urgent, then by distance; the unknown between."""

from __future__ import annotations

import pickle

import pandas as pd
import pytest

import bpvet
from bpvet.models.clinic.needs import Need, Needs, needs_of
from bpvet.records.records import Records


def records(**species: str) -> Records:
    """Return animals by how they stand: each name says what is expected of it."""
    levels = {
        "severe": 192,
        "high": 158,
        "near": 143,
        "within": 131,
        "below": 104,
        "hound": 150,
        "rabbit": 150,
        "own": 150,
        "gone": 220,
    }
    rows = [
        (name, f"2026-0{month}-0{1 + month}", "doppler", order, value + order % 2)
        for name, value in levels.items()
        for month in range(1, 6)
        for order in range(1, 6)
    ]
    animals = pd.DataFrame({"animal": list(levels)})
    animals["species"] = [species.get(name, "cat") for name in levels]
    animals["breed"] = ["greyhound" if name == "hound" else "" for name in levels]
    animals["target_systolic"] = [140.0 if name == "own" else None for name in levels]
    animals["left_on"] = ["2026-05-20" if name == "gone" else None for name in levels]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "method", "reading", "systolic"])
    return Records.from_frames(readings, animals=animals, as_of="2026-06-01")


def asked() -> Needs:
    held = records(hound="dog", rabbit="rabbit")
    return needs_of(held, "guideline", {str(one): str(one) for one in held.animals["animal"]})


@pytest.fixture(scope="module")
def needs() -> Needs:
    return asked()


def test_every_animal_stands_once_and_what_has_left_last(needs: Needs) -> None:
    names = [one.animal for one in needs]
    assert sorted(names) == sorted(records().animals["animal"])
    assert needs[-1] == Need("gone", left=True)


def test_urgent_ones_come_first_and_then_the_farthest_from_target(needs: Needs) -> None:
    names = [one.animal for one in needs]
    assert [one.animal for one in needs if one.urgent] == ["severe"]
    assert names.index("severe") == 0
    far = [names.index(one) for one in ("high", "below", "own", "near", "within")]
    assert far == sorted(far)


def test_trends_are_fitted_of_those_that_are_asked_for_alone(monkeypatch) -> None:
    import bpvet.models.safety.clinic as module

    real, fitted = module.fit_clinic, []

    def fit(series, contexts):
        fitted.extend(one.animal for one in series)
        return real(series, contexts)

    monkeypatch.setattr(module, "fit_clinic", fit)
    found = asked()
    assert next(iter(found)).animal == "severe"
    assert fitted == ["severe"]
    assert len(found) == 9
    assert [one.animal for one in found][-1] == "gone"
    assert len(fitted) == 8


def test_they_pickle_and_compare_whole(needs: Needs) -> None:
    fresh = asked()
    again = pickle.loads(pickle.dumps(fresh))
    assert again == needs == fresh
    assert hash(again) == hash(needs)
    assert needs[:2] == tuple(needs)[:2]
    assert needs != tuple(needs)


def test_the_unknown_stands_before_what_is_in_order(needs: Needs) -> None:
    names = [one.animal for one in needs]
    for unknown in ("hound", "rabbit"):
        assert names.index("near") < names.index(unknown) < names.index("within")
        (one,) = (one for one in needs if one.animal == unknown)
        assert (one.kind, one.target, one.floor) == ("", None, None)


def test_the_line_is_the_animals_own_the_guidelines_or_the_raised_bound() -> None:
    readings = pd.DataFrame(
        [
            (name, f"2026-0{month}-05", "doppler", 150.0)
            for name in ("drug", "none", "own")
            for month in (1, 2, 3)
        ],
        columns=["animal", "taken_at", "method", "systolic"],
    )
    animals = pd.DataFrame(
        {
            "animal": ["drug", "none", "own"],
            "species": "cat",
            "target_systolic": [None, None, 145.0],
        }
    )
    given = pd.DataFrame({"animal": ["drug"], "drug": ["amlodipine"], "started_on": ["2026-01-20"]})
    held = bpvet.Records.from_frames(
        readings, animals=animals, treatments=given, as_of="2026-04-01"
    )
    found = {
        one.animal: one for one in needs_of(held, "guideline", {n: n for n in animals["animal"]})
    }
    assert (found["drug"].kind, found["drug"].target) == ("target", 160.0)
    assert (found["none"].kind, found["none"].target) == ("raised", 140.0)
    assert (found["own"].kind, found["own"].target) == ("own", 145.0)
    assert {one.floor for one in found.values()} == {120.0}
