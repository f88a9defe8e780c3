"""Headings, mappings, and layouts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from bpvet.errors import CallError
from bpvet.records.headings.conventions import mapping_of
from bpvet.records.read import read
from bpvet.records.records import Records

Make = Callable[..., Records]
KEY = "animal,taken_at,method"


def test_headings_match_without_case_and_white_space(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,oscillometric,150,180",
        header="Animal, Taken at ,METHOD,systolic,Heart-Rate",
    )
    assert found.readings["heart_rate"].tolist() == [180]
    assert not found.understood["unknown_columns"]


def test_a_missing_column_stops_and_suggests(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,150", header="patient,taken_at,method,systolic")
    (finding,) = found.stopping
    assert finding.reason == 'The required column "animal" is missing.'
    assert finding.mend.startswith('Is it "patient"? Then say so: --columns "patient=animal"')
    assert found.readings["set_aside"].tolist() == ['The required column "animal" is missing']


def test_a_missing_column_without_a_near_one_shows_the_header(rows: Make) -> None:
    (finding,) = rows("A17,2025-01-01,150", header="animal,taken_at,systolic").stopping
    assert 'The header has: "animal", "taken_at", "systolic".' in finding.mend


def test_a_doubled_heading_stops(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,150,160", header=f"{KEY},systolic,Systolic")
    assert found.stopping[0].kind == "doubled column"
    assert (found.readings["set_aside"] != "").all()


def test_unknown_columns_are_kept_and_said(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,150,x,y,z,", header=f"{KEY},systolic,Vet,Vet,line,")
    assert found.readings[["Vet", "Vet (2)", "line (2)"]].iloc[0].tolist() == ["x", "y", "z"]
    assert found.understood["unknown_columns"] == {"readings.csv": ["Vet", "Vet (2)", "line (2)"]}
    assert [f.kind for f in found.findings if f.column == "" and f.line == 1] == ["unknown column"]


def test_a_foreign_heading_is_named_as_it_stands(rows: Make) -> None:
    found = rows("2025-01-01,doppler,150", header="date,method,systolic")
    about = {finding.reason: finding.mend for finding in found.findings}
    assert 'Columns not known here are kept as text and not used: "date".' in about
    assert 'Is it "date"?' in about['The required column "taken_at" is missing.']
    one_animal = about['The required column "animal" is missing.']
    assert one_animal.endswith('beside the records: layout = "one file an animal".')


def test_no_column_of_readings_stops(rows: Make) -> None:
    assert (
        rows("A17,2025-01-01,doppler", header=KEY).stopping[0].reason
        == "No column holds a reading."
    )


@pytest.mark.parametrize(
    "columns",
    [
        {"Pet ID": "animal", "When": "taken_at", "How": "method", "SBP": "systolic"},
        "Pet ID=animal, When=taken_at,How=method,SBP=systolic",
    ],
)
def test_a_mapping_names_other_peoples_headings(
    folder: Callable[..., Path], columns: dict[str, str] | str
) -> None:
    place = folder(readings="Pet ID,When,How,SBP\nA17,2025-01-01,doppler,150\n")
    found = read(place, columns, as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [150]
    assert not found.stopping


def test_a_finding_names_the_heading_of_the_file(folder: Callable[..., Path]) -> None:
    place = folder(readings="animal,taken_at,method,SBP\nA17,2025-01-01,doppler,16O\n")
    found = read(place, "SBP=systolic", as_of="2026-01-01")
    assert any(finding.column == "SBP" and finding.value == "16O" for finding in found.findings)


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ("animal", 'has no "="'),
        ("SBP=systolik", 'Did you mean "systolic"'),
        ({"SBP": "file"}, "is not a column known here"),
        ("SBP=systolic,SBP=mean", "is given twice"),
        ("SPB=systolic", 'No file has a column headed "SPB". Did you mean "SBP"?'),
        (["animal"], "Columns are given as"),
    ],
)
def test_a_wrong_mapping_is_refused(
    folder: Callable[..., Path], columns: object, words: str
) -> None:
    with pytest.raises(CallError, match=words.replace("?", r"\?").replace(".", r"\.")):
        read(folder(readings=f"{KEY},SBP\n"), columns)  # type: ignore[arg-type]


def test_an_empty_mapping_is_none() -> None:
    assert mapping_of(None) == mapping_of("") == mapping_of({}) == {}


def test_readings_side_by_side_become_rows_in_order(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,150,,148,calm",
        "B3,2025-01-01,doppler,,,,calm",
        "A17,2025-01-02,doppler,> 300,no sound,16O,calm",
        header=f"{KEY},systolic_1,Systolic 2,systolic_3,demeanour",
    )
    frame = found.readings
    assert frame["line"].tolist() == [2, 2, 3, 4, 4, 4]
    np.testing.assert_array_equal(frame["reading"], [1, 3, np.nan, 1, 2, 3])
    np.testing.assert_array_equal(frame["systolic"], [150, 148, np.nan, 300, np.nan, np.nan])
    assert frame["systolic_bound"].tolist() == ["", "", "", "at least", "no sound", ""]
    assert frame["demeanour"].tolist() == ["calm"] * 6
    assert (frame["set_aside"] != "").tolist() == [False, False, True, False, False, True]
    said = [(f.line, f.column) for f in found.findings if f.kind in ("no reading", "not a number")]
    assert said == [(3, ""), (4, "systolic_3")]


def test_oscillometric_readings_side_by_side(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,oscillometric,150,148,90,,180,176",
        header=f"{KEY},systolic_1,systolic_2,diastolic_1,diastolic_2,heart_rate_1,heart_rate_2",
    )
    np.testing.assert_array_equal(found.readings["diastolic"], [90, np.nan])
    assert found.readings["heart_rate"].tolist() == [180, 176]


def test_a_bad_cell_of_the_whole_line_is_said_once(rows: Make) -> None:
    found = rows("A17,2025-02-30,doppler,150,148", header=f"{KEY},systolic_1,systolic_2")
    assert [f.kind for f in found.findings].count("not a date") == 1
    assert (found.readings["set_aside"] != "").all()


def test_a_mean_with_its_count_is_one_row(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,150.4,5,6.2",
        "A17,2025-01-02,doppler,150,,",
        "A17,2025-01-03,doppler,150,5.5,",
        "A17,2025-01-04,doppler,150,1,3",
        header=f"{KEY},systolic_mean,systolic_n,systolic_sd",
    )
    frame = found.readings
    assert frame["systolic"].tolist()[0] == 150.4
    assert frame["summary_n"].tolist() == [5, 0, 0, 1]
    np.testing.assert_array_equal(frame["summary_sd"], [6.2, np.nan, np.nan, np.nan])
    assert (frame["set_aside"] != "").tolist() == [False, True, True, False]
    said = [(f.line, f.column) for f in found.findings if f.file == "readings.csv" and f.line]
    assert said == [(3, "systolic_n"), (4, "systolic_n"), (5, "systolic_sd")]


def test_a_mean_beside_its_readings_is_not_used_twice(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,150,148,149,2",
        "A17,2025-01-02,doppler,,,140,5",
        header=f"{KEY},systolic_1,systolic_2,systolic_mean,systolic_n",
    )
    assert found.readings["systolic"].tolist() == [150, 148, 140]
    assert found.readings["summary_n"].tolist() == [0, 0, 5]
    said = [(f.line, f.column) for f in found.findings if f.kind == "mean beside readings"]
    assert said == [(2, "systolic_mean"), (2, "systolic_n")]


@pytest.mark.parametrize(
    "columns", ["systolic,systolic_1", "systolic,systolic_mean,systolic_n", "systolic_mean"]
)
def test_layouts_that_contradict_themselves_stop(rows: Make, columns: str) -> None:
    cells = ",".join(["150"] * len(columns.split(",")))
    found = rows(f"A17,2025-01-01,doppler,{cells}", header=f"{KEY},{columns}")
    assert found.stopping[0].kind == "layout"
    assert (found.readings["set_aside"] != "").all()


def test_the_layout_is_said(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,150", header=f"{KEY},systolic_1")
    assert found.understood["layout"] == {
        "readings.csv": "one row a session, its readings side by side"
    }
