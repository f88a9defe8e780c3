"""Rows against the date looked at, against the animal's life, and treatments in order."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bpvet.records.findings import Finding
from bpvet.records.records import Records

Make = Callable[..., Records]
GOOD = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n"
COURSES = "animal,drug,started_on,stopped_on,dose\n"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


def test_later_rows_enter_nothing(records: Make) -> None:
    found = records(
        GOOD + "A17,2026-01-01T23:59,doppler,150\nA17,2026-01-02,doppler,150\n",
        treatments=f"{COURSES}A17,amlodipine,2026-01-02,2026-02-01,\n",
        labs="animal,sampled_on,analyte,value,unit\nA17,2026-01-02,weight,4,kg\n",
        observations="animal,seen_on,sign\nA17,2026-01-02,seizure\n",
    )
    assert found.readings["future"].tolist() == [False, False, True]
    for frame in (found.readings, found.treatments, found.labs, found.observations):
        assert frame["set_aside"].tolist()[-1] != ""
    assert len(of_kind(found, "future date")) == 4
    assert "later than 2026-01-01" in of_kind(found, "future date")[0].reason


def test_another_date_is_looked_at_from_the_same_input(records: Make) -> None:
    found = records(
        GOOD,
        treatments=f"{COURSES}A17,amlodipine,2024-01-01,2025-06-01,\n",
        animals="animal,species\nA17,cat\n",
    )
    before = found.speaking_on("2024-12-31")
    assert before.readings["future"].tolist() == [True]
    assert before.treatments["stopped_on"].isna().all()
    assert (before.digest, str(before.as_of)) == (found.digest, "2024-12-31")
    again = before.speaking_on("2026-01-01")
    assert again.findings == found.findings
    assert again.readings.equals(found.readings)
    assert found.speaking_on(found.as_of) is found


def test_a_later_stop_is_ongoing(records: Make) -> None:
    found = records(GOOD, treatments=f"{COURSES}A17,amlodipine,2025-01-01,2026-06-01,\n")
    assert found.treatments["stopped_on"].isna().all()
    assert found.treatments["set_aside"].tolist() == [""]
    assert "the treatment is ongoing" in of_kind(found, "future stop")[0].reason


@pytest.mark.parametrize(
    ("stop", "aside"), [("2024-12-31", True), ("2025-01-01", False), ("never", True), ("", False)]
)
def test_a_treatment_stops_after_it_starts(records: Make, stop: str, aside: bool) -> None:
    found = records(GOOD, treatments=f"{COURSES}A17,amlodipine,2025-01-01,{stop},\n")
    assert (found.treatments["set_aside"] != "").tolist() == [aside]


@pytest.mark.parametrize(
    ("rows", "kinds"),
    [
        (["2025-01-01,2025-02-01", "2025-02-01,"], []),
        (["2025-01-01,", "2025-02-01,"], []),
        (["2025-01-01,2025-03-01", "2025-02-01,"], ["overlapping treatment"]),
        (["2025-02-01,", "2025-01-01,2025-03-01"], ["overlapping treatment"]),
        (
            ["2025-01-01,2025-09-01", "2025-02-01,2025-03-01", "2025-04-01,"],
            ["overlapping treatment"] * 2,
        ),
        (["2025-01-01,", "2025-01-01,"], ["starts together"]),
    ],
)
def test_rows_of_one_drug_are_held_against_each_other(
    records: Make, rows: list[str], kinds: list[str]
) -> None:
    names = ("Amlodipine", "amlodipine")
    lines = "".join(f"A17,{names[i % 2]},{row},1\n" for i, row in enumerate(rows))
    found = records(GOOD, treatments=COURSES + lines)
    assert [f.kind for f in found.findings if f.column == "started_on"] == kinds
    assert (found.treatments["set_aside"] == "").all()


def test_other_drugs_and_animals_do_not_overlap(records: Make) -> None:
    lines = (
        "A17,amlodipine,2025-01-01,,\nA17,telmisartan,2025-01-01,,\nB3,amlodipine,2025-01-01,,\n"
    )
    found = records(GOOD, treatments=COURSES + lines)
    assert not [f for f in found.findings if f.column == "started_on"]


def test_rows_outside_an_animals_life_are_kept_and_said(records: Make) -> None:
    found = records(
        GOOD + "A17,2020-01-01,doppler,150\nA17,2025-09-01,doppler,150\n",
        animals="animal,species,birth_date,left_on\nA17,cat,2021-05-01,2025-06-01\n",
    )
    assert [finding.line for finding in of_kind(found, "before birth")] == [3]
    assert "was born (2021-05-01)" in of_kind(found, "before birth")[0].reason
    assert [finding.line for finding in of_kind(found, "after leaving")] == [4]
    assert (found.readings["set_aside"] == "").all()


def test_a_row_without_a_reading_is_set_aside_unless_excluded(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,,",
        "A17,2025-01-01,doppler,,moved",
        "A17,2025-01-01,doppler,no sound,",
        header="animal,taken_at,method,systolic,excluded",
    )
    assert (found.readings["set_aside"] != "").tolist() == [True, False, False]
    assert [finding.line for finding in of_kind(found, "no reading")] == [2]


def test_a_laboratory_value_twice_is_said(records: Make) -> None:
    line = "A17,2025-01-01,creatinine,150,µmol/L\n"
    found = records(GOOD, labs="animal,sampled_on,analyte,value,unit\n" + line + line)
    assert [finding.line for finding in of_kind(found, "perhaps a duplicate")] == [3]
