"""Rows that cannot be used are told of, and no "none is on record" stands without them."""

from __future__ import annotations

import dataclasses

import pandas as pd

import bpvet
from bpvet.visits.uncounted.set_aside import RowsAside, rows_aside
from bpvet.wording.en.trend.short import short_statements
from tests.scenarios.told import answered, opened

FOLDER = "rows_set_aside"


def _told(as_of):
    records = opened(FOLDER, as_of)
    answer, _ = answered(records, "S41")
    return answer, " ".join(one.text for one in short_statements(answer))


def test_what_is_found_of_an_animal_and_of_all():
    records = opened(FOLDER, "2026-11-30")
    (found,) = rows_aside(records).values()
    assert rows_aside(records, "S41") == {"S41": found}
    assert rows_aside(records, "none") == {}
    assert dataclasses.asdict(found) == {
        "treatments": ("amlodipine", "telmisartan"),
        # The phosphate was read anew since.
        "labs": ("potassium", "crea"),
        "missed": ("amlodipine",),
        "undated": 2,
        "pressing": True,
    }


def test_none_on_record_says_what_it_does_not_know_of():
    answer, short = _told("2026-11-30")
    (target,) = [one.text for one in answer.statements if one.topic == "target"]
    drug = "blood-pressure drug {}on record, but for two rows of treatment set aside."
    assert drug.format("") in target
    assert drug.format("is ") in short
    assert "is on record, but for two laboratory values set aside." in short
    assert "“potassium” and “crea”" in short
    assert "two readings without a usable date are set aside" in short


def test_a_file_that_is_not_read_may_hold_what_is_not_on_record(tmp_path):
    rows = "animal,taken_at,method,systolic\nA,2026-05-20,doppler,150\n"
    (tmp_path / "readings.csv").write_text(rows, "utf-8")
    (tmp_path / "bloods.csv").write_text("animal,potassium\nA,7.1\n", "utf-8")
    answer = bpvet.fit_trend(bpvet.read(tmp_path, as_of="2026-05-21"), "A").answer()
    short = " ".join(one.text for one in short_statements(answer))
    assert short.count("is on record, but for what may stand in “bloods.csv”, not read.") == 2
    (tmp_path / "bloods.csv").unlink()
    answer = bpvet.fit_trend(bpvet.read(tmp_path, as_of="2026-05-21"), "A").answer()
    assert "but for" not in " ".join(one.text for one in short_statements(answer))


def test_what_may_be_urgent_among_the_rows_is_on_the_list_of_the_day():
    readings = pd.DataFrame(
        {"animal": ["A"], "taken_at": ["2026-05-20"], "method": ["doppler"], "systolic": ["120"]}
    )
    for day, pressing in (("2026-05-20", True), ("2026-01-20", False), ("last week", True)):
        labs = pd.DataFrame(
            {"animal": ["A"], "sampled_on": [day], "analyte": ["potassium"], "value": ["6,8 ?"]}
        ).assign(unit="mmol/L")
        records = bpvet.Records.from_frames(readings, labs=labs, as_of="2026-05-21")
        assert rows_aside(records)["A"] == RowsAside(labs=("potassium",), pressing=pressing)
        (line,) = bpvet.due(records).rows
        assert (line.band == "due") is pressing
