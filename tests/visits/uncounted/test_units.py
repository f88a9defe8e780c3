"""Newest laboratory values that would be plausible in another unit only."""

from __future__ import annotations

import pandas as pd
import pytest

import bpvet
from bpvet.visits.uncounted.units import odd_units


def _records(*labs):
    frame = pd.DataFrame(
        [("A", *row) for row in labs], columns=["animal", "sampled_on", "analyte", "value", "unit"]
    )
    readings = pd.DataFrame(
        [("A", "2026-11-20", "doppler", "150")] * 3,
        columns=["animal", "taken_at", "method", "systolic"],
    )
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"], "birth_date": ["2013-01-01"]})
    return bpvet.Records.from_frames(readings, animals=animals, labs=frame, as_of="2026-11-30")


@pytest.mark.parametrize(
    ("labs", "others"),
    [
        ([("2026-11-20", "creatinine", "9.2", "µmol/L")], [("mg/dL",)]),
        ([("2026-11-20", "creatinine", "160", "µmol/L")], []),
        # A newer value answers it, and unusual in every unit it is no slip of the unit.
        (
            [
                ("2026-10-20", "creatinine", "9.2", "µmol/L"),
                ("2026-11-25", "creatinine", "160", "µmol/L"),
            ],
            [],
        ),
        ([("2026-11-20", "creatinine", "1900", "µmol/L")], []),
    ],
)
def test_which_are_asked_about(labs, others):
    records = _records(*labs)
    found = odd_units(records)
    assert str(odd_units(records, "A")) == str(found)
    assert [one.others for values in found.values() for one in values] == others
    keys = [one.key for one in bpvet.fit_trend(records, "A").answer().statements]
    assert ("unit.lab" in keys) is bool(others)
    (row,) = bpvet.due(records).rows
    assert ("look at the unit" in row.why) is bool(others)
    assert row.band == "due" or not others
    assert row.urgent == ()
