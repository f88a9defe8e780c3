"""Readings dated before the birth date are told of: one of the two dates is wrong."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.visits.uncounted.unborn import Unborn, unborn_rows
from bpvet.wording.en.pages.identity import identity


def _records(*dates, born="2014-03-01"):
    rows = [("A", "2026-02-02"), ("A", "2026-05-04"), *(("A", date) for date in dates)]
    frame = pd.DataFrame([*rows, ("B", "2013-05-04")], columns=["animal", "taken_at"])
    animals = pd.DataFrame({"animal": ["A", "B"], "species": "cat", "birth_date": [born, ""]})
    frame = frame.assign(method="doppler", systolic=range(140, 140 + len(frame)))
    return bpvet.Records.from_frames(frame, animals=animals, as_of="2026-11-10")


@pytest.mark.parametrize("animal", [None, "A"])
def test_readings_before_the_birth_date(animal):
    records = _records("2006-11-02", "2006-11-02")
    expected = Unborn(2, np.datetime64("2006-11-02", "D"), np.datetime64("2014-03-01", "D"))
    assert unborn_rows(records, animal) == {"A": expected}
    told = bpvet.fit_trend(records, "A").answer().statements[0]
    assert told.key == "backdated.unborn"
    row = next(row for row in bpvet.due(records).rows if row.animal == "A")
    assert told.text in row.why


def test_no_word_of_readings_on_the_day_of_birth_or_without_a_birth_date():
    assert unborn_rows(_records("2014-03-01")) == {}
    assert unborn_rows(_records("2006-11-02", born="")) == {}


@pytest.mark.parametrize(
    ("born", "told"),
    [
        ("2014-03-01", "born 1 March 2014 (12 years)."),
        ("2026-04-01", "born 1 April 2026 as recorded, which is after a reading."),
    ],
)
def test_a_page_names_no_age_of_an_animal_measured_before_its_birth(born, told):
    records = _records(born=born)
    known = identity(records, bpvet.fit_trend(records, "A").answer()).known
    assert known.endswith(told)
