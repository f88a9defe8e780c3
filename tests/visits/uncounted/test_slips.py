"""What the answers ask of a newest visit stands in the record check too, with file and line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pandas as pd
import pytest

import bpvet
from bpvet.models.safety.animal import animal_safety
from bpvet.records.finding_codes import Code
from bpvet.visits.uncounted.slips import slips

SOUND = ("2025-04-10", "2025-07-14", "2025-10-20")


def _slips(rows, **columns):
    frame = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "mean"])
    frame = frame.assign(method="oscillometric", **columns)
    return slips(bpvet.Records.from_frames(frame, as_of="2026-01-06"))


def _steady(animal):
    return [(animal, date, 140.0, 100.0) for date in SOUND]


def test_nothing_is_said_of_records_without_a_slip():
    assert _slips([*_steady("A"), *_steady("B")]) == ()


def test_last_rows_that_may_bear_last_years_date():
    (found,) = _slips([*_steady("B"), *_steady("A"), ("A", "2025-01-05", 150.0, 110.0)])
    assert (found.code, found.file, found.line) == (Code.BACKDATED, "readings", 7)
    assert "2025-01-05" in found.reason
    assert '"A"' in found.reason


@pytest.mark.parametrize(
    ("newest", "line"),
    [
        ([("A", "2026-01-05", None, 141.0), ("A", "2026-01-05", None, 143.0)], 4),
        ([("A", "2026-01-05", None, 141.0), ("A", "2026-01-05", 180.0, 143.0)], None),
        ([("A", "2025-07-15", None, 141.0)], None),  # an earlier visit
        ([("A", "2026-01-05", "no sound", 141.0)], None),  # that is what was meant
        ([("A", "2026-02-05", None, 141.0)], None),  # not yet
    ],
)
def test_a_newest_visit_without_a_systolic_pressure(newest, line):
    found = _slips([*_steady("A"), *newest, *_steady("B")])
    assert [(one.code, one.line) for one in found] == (
        [] if line is None else [(Code.NEWEST_WITHOUT_SYSTOLIC, line)]
    )


def test_a_dose_whose_point_may_have_moved():
    columns = ["animal", "drug", "started_on", "dose", "dose_unit"]
    doses = [("A", "amlodipine", "2025-05-01", "0.625", "mg")]
    doses += [("A", "amlodipine", "2025-08-01", "6.25", "mg")]
    frame = pd.DataFrame(_steady("A"), columns=["animal", "taken_at", "systolic", "mean"])
    records = bpvet.Records.from_frames(
        frame.assign(method="oscillometric"),
        treatments=pd.DataFrame(doses, columns=columns),
        as_of="2026-01-06",
    )
    (found,) = slips(records)
    assert (found.code, found.file, found.line) == (Code.DOSE_BY_TENS, "treatments", 2)
    assert "0.625 mg" in found.reason
    assert "6.25 mg" in found.reason


def test_under_anaesthesia_the_mean_alone_is_no_slip():
    rows = [*_steady("A"), ("A", "2026-01-05", None, 80.0)]
    assert _slips(rows, state=["awake", "awake", "awake", "anaesthetised"]) == ()


def test_what_is_only_written_of_a_treatment_a_pressure_or_an_end():
    readings = pd.DataFrame(_steady("A"), columns=["animal", "taken_at", "systolic", "mean"])
    treatments = pd.DataFrame(
        [
            ("A", "amlodipine", "2025-05-01", "stopped 2 weeks ago"),
            ("A", "amlo", "2025-05-02", "1 mg"),  # the check asks of its name
            ("A", "telmisartan", "2025-05-03", "1 mg"),
        ],
        columns=["animal", "drug", "started_on", "dose"],
    )
    contacts = pd.DataFrame(
        {"animal": ["A"], "date": ["2025-11-01"], "outcome": ["left"], "note": ["put to sleep"]}
    )
    readings = readings.assign(method="oscillometric")
    readings["note"] = ["true 210?", *[""] * (len(readings) - 2), "true 190?"]
    records = bpvet.Records.from_frames(
        readings,
        treatments=treatments,
        contacts=contacts,
        as_of="2026-01-06",
    )
    assert sorted((one.code.name, one.file, one.line, one.value) for one in slips(records)) == [
        ("LEFT_IN_TEXT", "contacts", 1, "put to sleep"),
        ("PRESSURE_IN_TEXT", "readings", len(readings), "true 190?"),
        ("TREATMENT_IN_TEXT", "treatments", 1, "stopped 2 weeks ago"),
    ]


@pytest.mark.parametrize(
    ("earlier", "later", "minutes"),
    [
        ("2025-11-20 23:58", "2025-11-21 00:03", 5),
        ("2025-11-20 22:30", "2025-11-21 00:29", 119),
        # As far apart as two sessions of one day are, on one date, a day on, or without a time.
        ("2025-11-20 22:30", "2025-11-21 00:30", None),
        ("2025-11-20 22:58", "2025-11-20 23:58", None),
        ("2025-11-20 23:58", "2025-11-22 00:03", None),
        ("2025-11-20 23:58", "2025-11-21", None),
    ],
)
def test_readings_on_either_side_of_midnight(earlier, later, minutes):
    rows = [("A", earlier, "150"), ("A", later, "152"), ("B", "2025-11-21 00:01", "150")]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic"])
    records = bpvet.Records.from_frames(readings.assign(method="doppler"), as_of="2026-01-06")
    found = [one for one in slips(records) if one.code is Code.ACROSS_MIDNIGHT]
    assert [(one.line, dict(one.values)["minutes"]) for one in found] == (
        [(2, minutes)] if minutes else []
    )
    # It asks; nothing is joined.
    assert len(bpvet.sessions(records)) == 2 + (later[:10] != earlier[:10])


SCENARIOS = Path(__file__).parents[2] / "scenarios"


def test_check_and_answers_name_the_same_newest_visits_without_systolic():
    named = set()
    for expected in sorted(SCENARIOS.glob("*/expected.toml")):
        for at in tomllib.loads(expected.read_text("utf-8"))["at"]:
            records = bpvet.read(expected.parent, as_of=at["as_of"])
            found = {
                dict(one.values)["animal"]
                for one in slips(records)
                if one.code is Code.NEWEST_WITHOUT_SYSTOLIC
            }
            asked = {
                animal
                for animal in records.animals["animal"]
                if animal_safety(records, animal)[0].found.uncounted.no_systolic is not None
            }
            # Where there was no sound, that is what was meant: the answer is urgent, not a slip.
            assert found <= asked, (expected.parent.name, at["as_of"])
            named |= {(expected.parent.name, animal) for animal in found}
    assert named
