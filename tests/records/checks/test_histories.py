"""Slips that only show when rows are laid side by side: said, and nothing changed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from bpvet.records.findings import Finding
from bpvet.records.records import Records

Make = Callable[..., Records]
PLAIN = "animal,taken_at,method,systolic\nA1,2025-04-03,doppler,150\n"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [one for one in records.findings if one.kind == kind]


def test_a_drug_that_is_spelled_nearly_so_is_asked_about(records: Make) -> None:
    treatments = (
        "animal,drug,started_on\nA1,amlodopine,2025-03-01\nA1,Amlodipine besylate,2025-02-01\n"
        "A1,zzqx,2025-01-01\n"
    )
    found = records(PLAIN, treatments=treatments)
    (one,) = of_kind(found, "drug spelled nearly so")
    assert (one.line, one.value) == (2, "amlodopine")
    assert '"amlodipine"' in one.reason
    assert found.treatments["drug"].tolist() == ["amlodopine", "Amlodipine besylate", "zzqx"]


def test_one_name_species_and_birth_date_under_two_ids(records: Make) -> None:
    animals = (
        "animal,species,name,birth_date\nA1,cat,Pilchard,2012-05-01\nB7,cat,pilchard,2012-05-01\n"
        "C1,cat,Pilchard,2015-05-01\nD1,dog,Pilchard,2012-05-01\nE1,cat,,2012-05-01\n"
    )
    found = records(PLAIN, animals=animals)
    (one,) = of_kind(found, "one animal under two ids?")
    assert (one.line, one.value) == (3, "B7")
    assert one.reason.endswith('birth date of "A1". They are kept as two animals.')
    assert len(found.animals) == 5


def test_sessions_that_overlap(rows: Make) -> None:
    header = "animal,taken_at,method,systolic,session"
    lines = [
        "A1,2025-04-03T10:00,doppler,150,a",
        "A1,2025-04-03T10:10,doppler,151,a",
        "A1,2025-04-03T10:05,doppler,152,b",
        "A1,2025-04-03T10:20,doppler,153,b",
        "A1,2025-04-03T10:20,doppler,154,c",
        "A1,2025-04-03T10:05,oscillometric,155,b",
        "A1,2025-04-04T10:05,doppler,156,b",
    ]
    (one,) = of_kind(rows(*lines, header=header), "overlapping sessions")
    assert (one.line, one.value) == (4, "b")


def test_sessions_that_overlap_in_years_of_many_animals(rows: Make) -> None:
    """Two sessions in turn on each of 2,400 days of 40 animals, over ten years: one a day is late.

    Behind each other in nanoseconds these days are more than 64 bits count.
    """
    days = [date(2016, 1, 1) + timedelta(61 * k) for k in range(60)]
    lines = [
        f"A{animal},{day}T10:0{minute},doppler,150,{'ab'[minute % 2]}"
        for animal in range(40)
        for day in days
        for minute in range(4)
    ]
    found = of_kind(
        rows(*lines, header="animal,taken_at,method,systolic,session"), "overlapping sessions"
    )
    assert [one.line for one in found] == [3 + 4 * k for k in range(40 * 60)]


def test_a_drug_off_the_list_is_asked_about_once_unless_its_purpose_tells(records: Make) -> None:
    treatments = (
        "animal,drug,started_on,purpose\n"
        "A1,zzqx,2025-03-01,blood pressure\n"
        "A1,zzqx,2025-04-01,heart\n"
        "A1,zzqx,2025-05-01,\n"
        "A1,amlodipine,2025-05-01,\n"
        "A1,yyqx,2025-05-01,not for pressure\n"
    )
    found = records("animal,taken_at,method,systolic\n", treatments=treatments)
    (one,) = of_kind(found, "drug off the list")
    assert (one.line, one.column) == (3, "drug")
    assert "write purpose = blood pressure" in one.reason
    assert (found.treatments["set_aside"] == "").all()
