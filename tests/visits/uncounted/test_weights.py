"""Weights that may stand in two units: a loss between them is seen by nobody."""

from __future__ import annotations

import pandas as pd
import pytest

import bpvet
from bpvet.records.finding_codes import Code
from bpvet.visits.uncounted.slips import slips
from bpvet.visits.uncounted.weights import weight_jumps


def _records(weights, born="2014-01-01"):
    labs = pd.DataFrame(
        [("A", day, "weight", value, unit) for day, value, unit in weights],
        columns=["animal", "sampled_on", "analyte", "value", "unit"],
    )
    readings = pd.DataFrame(
        {"animal": ["A", "B"], "taken_at": ["2026-11-20"] * 2, "systolic": ["150", "150"]}
    )
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"], "birth_date": [born]})
    return bpvet.Records.from_frames(
        readings.assign(method="doppler"), animals=animals, labs=labs, as_of="2026-11-30"
    )


@pytest.mark.parametrize(
    ("weights", "jump"),
    [
        # A cat of 4.2 kg that has lost 0.6 and was weighed in pounds; and back.
        ([("2026-06-20", "4.2", "kg"), ("2026-11-20", "7.94", "kg")], (4.2, 7.94)),
        ([("2026-06-20", "9.3", "kg"), ("2026-11-20", "4.2", "kg")], (9.3, 4.2)),
        ([("2026-06-20", "4.2", "kg"), ("2026-11-20", "4.2", "lb")], (4.2, 1.905)),
        ([("2026-06-20", "4.2", "kg"), ("2026-11-20", "9.3", "lb")], None),
        ([("2026-06-20", "4.2", "kg"), ("2026-11-20", "3.3", "kg")], None),
        ([("2026-06-20", "4.2", "kg"), ("2026-11-20", "15", "kg")], None),
        # Older than a loss is sought, and answered by the weights since.
        ([("2025-06-20", "9.3", "kg"), ("2026-06-20", "4.2", "kg")], None),
        ([("2026-11-20", "4.2", "kg")], None),
    ],
)
def test_which_are_asked_about(weights, jump):
    records = _records(weights)
    found = weight_jumps(records)
    assert str(weight_jumps(records, "A")) == str(found)
    assert [(one.earlier, pytest.approx(one.later, abs=5e-4)) for one in found.values()] == (
        [jump] if jump else []
    )
    lines = [one.line for one in slips(records) if one.code is Code.POUNDS]
    assert lines == ([2] if jump else [])
    answer = bpvet.fit_trend(records, "A").answer()
    assert ("unit.weight" in [one.key for one in answer.statements]) is bool(jump)


def test_a_kitten_doubles_its_weight():
    weights = [("2026-06-20", "1.9", "kg"), ("2026-11-20", "4.1", "kg")]
    assert not weight_jumps(_records(weights, born="2026-03-01"))
    assert weight_jumps(_records(weights, born="2024-03-01"))
    fell = [("2026-06-20", "4.1", "kg"), ("2026-11-20", "1.9", "kg")]
    assert weight_jumps(_records(fell, born="2026-03-01"))
