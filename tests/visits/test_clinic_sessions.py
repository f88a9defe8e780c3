"""What is worked out of the sessions of all animals together: the same as one at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given

import bpvet
from bpvet.equality import same
from bpvet.models.safety.recheck import fitting, may_matter
from bpvet.models.safety.standing import dates_of, keep_dates
from bpvet.visits.clinic_sessions import clinic_sessions
from bpvet.visits.labs.history import LabHistory
from bpvet.visits.latest_date import latest_date, systolic_of
from bpvet.visits.seen import kidneys_of
from bpvet.visits.sessions import session_store
from bpvet.visits.treatments.courses import Treatments
from tests.models.standings import standings

TOLD = (
    *("highest", "lowest", "lowest_measured", "highest_measured", "lowest_mean", "fastest"),
    *("soundless", "mostly_soundless"),
)


@pytest.fixture(scope="module")
def records() -> bpvet.Records:
    """Return invented animals: bounds, no sound, sedation, homes, several sessions of one day."""
    rng = np.random.default_rng(21)
    rows = []
    for a in range(60):
        for day in np.sort(rng.choice(40, size=rng.integers(1, 7))):
            row = {"animal": f"a{a:02d}", "taken_at": str(np.datetime64("2026-01-01") + int(day))}
            row["method"] = str(rng.choice(["doppler", "oscillometric"]))
            row["setting"] = str(rng.choice(["clinic", "clinic", "home"]))
            row["state"] = str(rng.choice(["awake", "awake", "calmed", "sedated", "anaesthetised"]))
            other = row["method"] == "oscillometric"
            for _ in range(rng.integers(1, 4)):
                written = (str(rng.integers(60, 230)), "> 300", "< 40", "no sound", "")
                value = str(rng.choice(written, p=[0.7, 0.1, 0.05, 0.1, 0.05]))
                row |= {"systolic": value, "mean": "", "heart_rate": ""}
                if other and rng.random() < 0.6:
                    row |= {"mean": str(rng.integers(40, 60)), "heart_rate": "190"}
                rows.append(dict(row))
    return bpvet.Records.from_frames(pd.DataFrame(rows), as_of="2026-04-01")


def test_all_animals_at_once_are_one_at_a_time(records: bpvet.Records) -> None:
    store = session_store(records)
    together, nothing = clinic_sessions(store, ["method"])
    keep_dates(together)
    assert list(together) == list(store.bounds)
    assert len(nothing) == 0
    assert latest_date(nothing) is None
    met = {name: set() for name in TOLD}
    for animal, own in together.items():
        frame = store.of_animal(animal).frame
        np.testing.assert_array_equal(own["method"], frame["method"])
        assert len(own) == len(frame)
        assert same(systolic_of(own), tuple(np.asarray(each) for each in systolic_of(frame)))
        mine, its = dates_of(own), dates_of(frame)
        for name in ("date", "high", "low", "low_measured", "clinic"):
            np.testing.assert_array_equal(getattr(mine, name), getattr(its, name))
        now, then = latest_date(own), latest_date(frame)
        assert (now is None) == (then is None)
        if now is None or then is None:
            continue
        assert now.date == then.date
        for name in TOLD:
            assert getattr(now, name) == getattr(then, name), (animal, name)
            assert type(getattr(now, name)) is type(getattr(then, name))
            met[name].add(getattr(now, name) in (None, False))
        value = now.highest_measured
        assert value is None or now.bound_of(value) == then.bound_of(value)
        np.testing.assert_array_equal(now.sessions["n_taken"], then.sessions["n_taken"])
    assert all(len(seen) == 2 for seen in met.values()), "each was met, and each was missing"


@given(standing=standings(left=False))
def test_tails_that_may_not_matter_change_no_row(standing: object) -> None:
    rows = [
        list(fitting(replace(standing, upper_tail=upper, lower_tail=lower)))
        for upper in (None, 0.0, 1.0)
        for lower in (None, 0.0, 1.0)
    ]
    assert may_matter(standing) or all(each == rows[0] for each in rows)


@pytest.mark.parametrize("species", ["cat", "dog", ""])
def test_no_values_say_the_same_of_every_animal(species: str) -> None:
    """What animals without laboratory values share is what the rules make of an empty history."""
    none = Treatments((), (), (), ())
    day = np.datetime64("2026-04-01")
    empty = kidneys_of(LabHistory("a", species), day, (), none)
    # An analyte without a value takes the long way.
    whole = kidneys_of(LabHistory("a", species, {"creatinine": ()}), day, (), none)
    assert empty.history == LabHistory("a", species)
    for name in ("acute", "potassium", "reactions", "stage", "weight", "protein", "missing"):
        assert getattr(empty, name) == getattr(whole, name), name
