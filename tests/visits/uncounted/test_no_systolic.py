"""A newest visit with mean or diastolic pressures alone is told of: its numbers may be far off."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.models.safety.animal import animal_safety
from bpvet.visits.uncounted.uncounted import NoSystolic

NONE = float("nan")


def _records(*newest):
    rows = [("2026-03-01", 140.0, 80.0, 100.0), ("2026-06-01", 142.0, 82.0, 102.0)]
    rows += [("2026-11-20", *numbers) for numbers in newest]
    frame = pd.DataFrame(rows, columns=["taken_at", "systolic", "diastolic", "mean"])
    frame = frame.assign(animal="A", method="oscillometric")
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"]})
    return bpvet.Records.from_frames(frame, animals=animals, as_of="2026-11-30")


@pytest.mark.parametrize(
    ("newest", "mean", "diastolic"),
    [
        (((NONE, NONE, 151.0), (NONE, NONE, 153.0)), 152.0, None),
        (((NONE, 140.0, NONE),), None, 140.0),
    ],
)
def test_the_newest_visit_has_no_systolic_pressure(newest, mean, diastolic):
    records = _records(*newest)
    found = NoSystolic(np.datetime64("2026-11-20", "D"), mean, diastolic)
    assert animal_safety(records, "A")[0].found.uncounted.no_systolic == found
    told = bpvet.fit_trend(records, "A").answer().statements
    assert told[0].key == "no_systolic"
    assert f"{mean or diastolic:.0f} mmHg" in told[0].text
    (row,) = bpvet.due(records).rows
    assert row.band == "due"
    assert row.open_questions == (told[0].text,)


@pytest.mark.parametrize(
    "newest", [(), ((150.0, NONE, NONE),), ((NONE, NONE, 100.0), (150.0, 90.0, 110.0))]
)
def test_one_systolic_pressure_is_enough(newest):
    safety, _ = animal_safety(_records(*newest), "A")
    assert safety.found.uncounted.no_systolic is None
