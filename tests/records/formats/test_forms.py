"""The same table in any form gives the same records, and every form's own troubles are said."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.visits.readings import accounting, readings_used
from tests.records.formats.written import FORMS, written

HEADER = ["animal", "taken_at", "method", "systolic", "diastolic", "excluded", "note", "Room"]
SOME_CELLS = """
A1 007 1e5 NA None 2025-01-01 2025-01-01T10:00 2025-02-30 03/04/2025 doppler oscillometric osc 150
120.5 120,5 16O >300 no true =1+1 ٣٤ <b> # Total é 😀
"""
CELLS = st.sampled_from(
    [*SOME_CELLS.split(), "", "", "no sound", " A1", "a,b", "two\nlines", 'a "b"', "Mean of all"]
)
LIKELY = (
    st.sampled_from(["A1", "007", "Total"]),
    st.sampled_from(["2025-01-01", "2025-01-01T10:00", "2025-01-02T09:30:15"]),
    st.sampled_from(["doppler", "oscillometric"]),
    st.sampled_from(["150", "148.5", "> 300", ""]),
    st.sampled_from(["", "90"]),
    st.sampled_from(["", "moved", "no"]),
    st.sampled_from(["", "calm"]),
    st.sampled_from(["", "2"]),
)
ROWS = st.lists(
    st.tuples(*[st.one_of(likely, likely, CELLS) for likely in LIKELY]), min_size=1, max_size=8
)


def told(records: Records) -> tuple[pd.DataFrame, dict[str, int], list[tuple[str, str, bool]]]:
    """Return what does not depend on the form: the frame, the accounting, the findings."""
    frame = records.readings.drop(columns=["file", "line"])
    # A reason may name another row by its place.
    frame["set_aside"] = frame["set_aside"].str.replace(r"readings.*?, line \d+", "…", regex=True)
    said = [(f.kind, f.column, f.stops) for f in records.findings if f.kind != "blank rows"]
    return frame, accounting(readings_used(records)), sorted(said)


@settings(
    max_examples=10,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    # Seven readings of files for each example: shrinking one would take minutes.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(ROWS)
def test_one_table_in_every_form_gives_the_same_records(
    tmp_path: Path, rows: list[tuple[str, ...]]
) -> None:
    texts = [list(row) for row in rows]
    expected = told(read(written(tmp_path, "csv", HEADER, texts), as_of="2026-01-01"))
    for form in FORMS:
        found = told(read(written(tmp_path, form, HEADER, texts), as_of="2026-01-01"))
        pd.testing.assert_frame_equal(found[0], expected[0], obj=form)
        assert found[1:] == expected[1:], form
    counts = expected[1]
    assert counts["in"] == sum(count for name, count in counts.items() if name != "in")


TYPED = [
    ["A1", dt.datetime(2025, 1, 1, 10, 30), "doppler", 150, None, None, "x", 1],
    ["A1", dt.datetime(2025, 1, 1), "oscillometric", 148, 90.5, "moved", None, 2],
    ["B2", dt.datetime(2025, 1, 2, 9, 30, 15), "oscillometric", 120, 80.0, None, None, None],
]
AS_TEXT = [
    ["A1", "2025-01-01T10:30:00", "doppler", "150", "", "", "x", "1"],
    ["A1", "2025-01-01", "oscillometric", "148", "90.5", "moved", "", "2"],
    ["B2", "2025-01-02T09:30:15", "oscillometric", "120", "80", "", "", ""],
]


@pytest.mark.parametrize("form", sorted(set(FORMS) - {"csv", "jsonl", "db"}))
def test_a_type_in_a_file_becomes_the_text_of_a_csv(tmp_path: Path, form: str) -> None:
    expected = told(read(written(tmp_path, "csv", HEADER, AS_TEXT), as_of="2026-01-01"))
    found = told(read(written(tmp_path, form, HEADER, TYPED), as_of="2026-01-01"))
    pd.testing.assert_frame_equal(found[0], expected[0])
    assert found[1:] == expected[1:]


@pytest.mark.parametrize("form", ["jsonl", "db"])
def test_numbers_of_json_and_databases_are_text(tmp_path: Path, form: str) -> None:
    rows = [[text, *rest] for (text, *rest) in AS_TEXT]
    typed = [[*row[:3], int(row[3]), float(row[4]) if row[4] else None, *row[5:]] for row in rows]
    expected = told(read(written(tmp_path, "csv", HEADER, AS_TEXT), as_of="2026-01-01"))
    found = told(read(written(tmp_path, form, HEADER, typed), as_of="2026-01-01"))
    pd.testing.assert_frame_equal(found[0], expected[0])
    assert found[1:] == expected[1:]


def test_a_folder_may_mix_the_forms(tmp_path: Path) -> None:
    written(tmp_path, "csv", HEADER, AS_TEXT[:1])
    (tmp_path / "readings 2025.parquet").write_bytes(FORMS["parquet"](HEADER, TYPED[1:2]))
    (tmp_path / "readings_old.xlsx").write_bytes(FORMS["xlsx"](HEADER, TYPED[2:]))
    (tmp_path / "animals.jsonl").write_text('{"animal": "A1", "species": "cat"}\n')
    records = read(tmp_path, as_of="2026-01-01")
    assert records.understood["tables"] == {"readings": 3, "animals": 1}
    assert sorted(records.readings["file"]) == [
        "readings 2025.parquet",
        "readings.csv",
        "readings_old.xlsx, sheet readings",
    ]
    assert not records.stopping
