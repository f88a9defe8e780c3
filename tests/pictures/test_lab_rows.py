"""Small rows of kidney values and weight: what is said of the newest, and what is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import bpvet
from bpvet.figures.pictures import CourseSpan
from bpvet.pictures.lab_rows import lab_rows
from bpvet.pictures.tracks import drug_tracks

HEAD = "animal,sampled_on,analyte,value,unit"


def _records(folder: Path, *rows: str) -> bpvet.Records:
    (folder / "animals.csv").write_text("animal,species,name\nA1,cat,Moss\n")
    (folder / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA1,2026-05-01T10:00,doppler,150\n"
        "A1,2026-05-01T10:01,doppler,152\n"
    )
    (folder / "labs.csv").write_text("\n".join([HEAD, *rows]) + "\n")
    return bpvet.read(folder, as_of="2026-06-01")


def test_a_row_says_the_newest_value_the_change_and_the_stages_range(tmp_path: Path) -> None:
    records = _records(
        tmp_path,
        "A1,2026-04-10,creatinine,190,umol/L",
        "A1,2026-05-01,creatinine,252,umol/L",
        "A1,2026-05-01,weight,4.1,kg",
    )
    found = lab_rows(records, "A1")
    creatinine, weight = found.rows
    assert creatinine.lead == "Creatinine 252 µmol/L, stage 3 range"
    assert creatinine.detail == "1 May 2026, +62 (+33 %) since 10 April 2026"
    assert (weight.lead, weight.detail) == ("Weight 4.1 kg", "1 May 2026")
    assert "One value does not establish a stage." in found.caption
    assert creatinine.detail in found.alt_text


@pytest.mark.parametrize("first", [True, False])
def test_no_change_is_counted_from_or_to_a_bound(tmp_path: Path, first: bool) -> None:
    values = ("<10", "14") if first else ("14", "<10")
    rows = (
        f"A1,2026-0{month}-01,sdma,{value},ug/dL"
        for month, value in zip((4, 5), values, strict=True)
    )
    (row,) = lab_rows(_records(tmp_path, *rows), "A1").rows
    assert "since" not in row.detail
    assert ("range" in row.lead) is first


def test_two_units_have_two_rows_with_keys_of_their_own(tmp_path: Path) -> None:
    records = _records(
        tmp_path, "A1,2026-04-10,creatinine,2.1,mg/dL", "A1,2026-05-01,creatinine,252,umol/L"
    )
    found = lab_rows(records, "A1").rows
    assert [row.quantity for row in found] == ["creatinine", "creatinine in µmol/L"]
    assert all("since" not in row.detail for row in found)


def _span(drug: str, dose: str, start: str, stop: str, modelled: bool = True) -> CourseSpan:
    return CourseSpan(drug, dose, np.datetime64(start), np.datetime64(stop), modelled)


def test_a_drug_is_one_line_with_the_dose_of_the_day() -> None:
    tracks = drug_tracks(
        [
            _span("amlodipine", "0.625 mg", "2025-01-01", "2025-06-01"),
            _span("amlodipine", "1.25 mg", "2025-06-02", "NaT"),
            _span("benazepril", "2.5 mg", "2024-01-01", "2024-12-01"),
            _span("renal diet", "", "2024-06-01", "NaT", False),
            _span("telmisartan", "", "2025-03-01", "NaT"),
        ],
        np.datetime64("2026-01-01"),
    )
    assert [track.words for track in tracks] == [
        "amlodipine 1.25 mg",
        "telmisartan (no dose on record)",
        "renal diet",
        "benazepril 2.5 mg, until 1 December 2024",
    ]
    assert len(tracks[0].spans) == 2


def test_two_doses_at_once_are_both_named() -> None:
    spans = [
        _span("amlodipine", "0.625 mg", "2025-01-01", "NaT"),
        _span("amlodipine", "1.25 mg", "2025-06-02", "NaT"),
    ]
    (track,) = drug_tracks(spans, np.datetime64("2026-01-01"))
    assert track.words == "amlodipine 0.625 mg and 1.25 mg (both on record)"
