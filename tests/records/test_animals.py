"""The animals table, and ids across the tables."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bpvet.records.findings import Finding
from bpvet.records.records import Records

Make = Callable[..., Records]
GOOD = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


def test_every_animal_met_has_a_row(records: Make) -> None:
    found = records(
        GOOD,
        animals="animal,species,name\nB3,dog,Rex\n",
        treatments="animal,drug,started_on\nC5,amlodipine,2025-01-01\n",
        observations="animal,seen_on,sign\nA17,2025-01-01,murmur\n",
    )
    assert found.animals["animal"].tolist() == ["B3", "A17", "C5"]
    assert found.animals["species"].tolist() == ["dog", "", ""]
    assert found.animals["name"].tolist() == ["Rex", "", ""]
    assert found.understood["animals"] == {"in all": 3, "cat": 0, "dog": 1, "unknown species": 2}


def test_one_animal_under_two_species_has_none(records: Make) -> None:
    found = records(GOOD, animals="animal,species,name\nA17,cat,Mia\nA17,dog,Mia\n")
    assert found.animals[["species", "name"]].iloc[0].tolist() == ["", "Mia"]
    said = of_kind(found, "one animal under two species")
    assert [(f.line, f.column) for f in said] == [(2, "species"), (3, "species")]
    assert said[0].reason == 'The rows of "A17" disagree: cat and dog. None of them is used.'


def test_rows_of_one_animal_are_joined(records: Make) -> None:
    found = records(
        GOOD,
        animals="animal,species,name,birth_date,target_systolic\nA17,cat,,2012-01-01,150\nA17,,Mia,2013-01-01,\n",
    )
    row = found.animals.iloc[0]
    assert row[["species", "name", "target_systolic"]].tolist() == ["cat", "Mia", 150]
    assert np.isnat(row["birth_date"].to_datetime64())
    said = of_kind(found, "one animal under two birth dates")
    assert "2012-01-01 and 2013-01-01" in said[0].reason
    assert len(of_kind(found, "animal listed twice")) == 2


@pytest.mark.parametrize(
    ("column", "one", "other", "kind"),
    [
        ("birth_date", "2012-01-01", "2013-01-01", "one animal under two birth dates"),
        ("breed", "Birman", "Persian", "one animal under two breeds"),
        ("sex", "male", "female", "one animal under two sexes"),
        ("clinic", "one", "two", "rows disagree"),
    ],
)
def test_one_id_that_is_two_animals_is_told(
    records: Make, column: str, one: str, other: str, kind: str
) -> None:
    found = records(GOOD, animals=f"animal,species,{column}\nA17,cat,{one}\nA17,cat,{other}\n")
    assert [f.column for f in of_kind(found, kind)] == [column] * 2
    assert found.animals[column].isna().iloc[0] or found.animals[column].iloc[0] == ""


def test_case_is_no_disagreement(records: Make) -> None:
    found = records(GOOD, animals="animal,species,breed\nA17,cat,Birman\nA17,cat,birman\n")
    assert found.animals["breed"].tolist() == ["Birman"]
    assert not of_kind(found, "one animal under two breeds")


@pytest.mark.parametrize(
    ("target", "kept"), [("79", 0), ("80", 1), ("200", 1), ("201", 0), ("15O", 0)]
)
def test_a_target_is_a_systolic_pressure(records: Make, target: str, kept: int) -> None:
    found = records(GOOD, animals=f"animal,species,target_systolic\nA17,cat,{target}\n")
    assert found.animals["target_systolic"].notna().sum() == kept
    assert len([f for f in found.findings if f.column == "target_systolic"]) == 1 - kept


@pytest.mark.parametrize(
    ("column", "cell", "hint"),
    [
        ("species", "feline", 'Did you mean "cat"?'),
        ("measured_before", "y", 'Did you mean "yes"?'),
        ("left_reason", "euthanased", 'Did you mean "died"?'),
    ],
)
def test_unknown_words_are_left_blank(records: Make, column: str, cell: str, hint: str) -> None:
    header = "animal,species" + ("" if column == "species" else f",{column}")
    cells = cell if column == "species" else f"cat,{cell}"
    found = records(GOOD, animals=f"{header}\nA17,{cells}\n")
    assert found.animals[column].tolist() == [""]
    assert hint in of_kind(found, "unknown word")[0].mend


def test_dates_of_a_life(records: Make) -> None:
    found = records(
        GOOD,
        animals="animal,species,birth_date,left_on\nA17,cat,2026-05-01,2027-01-01\n"
        "B3,cat,2020-01-01,2019-01-01\nC5,cat,1901-01-01,2025-02-30\n",
    )
    assert found.animals["birth_date"].isna().tolist() == [True, False, True]
    assert found.animals["left_on"].isna().tolist() == [True, False, True]
    assert len(of_kind(found, "future date")) == 2
    assert len(of_kind(found, "order of dates")) == 1
    assert len(of_kind(found, "early date")) == 1
    assert not found.stopping


def test_a_missing_animals_table_is_said_once(records: Make) -> None:
    found = records(GOOD + "B3,2025-01-01,doppler,150\n")
    (finding,) = of_kind(found, "species unknown")
    assert (finding.line, "species of 2 animals" in finding.reason) == (None, True)


def test_animals_missing_from_the_table_are_said(records: Make) -> None:
    found = records(GOOD, animals="animal,species\nA71,cat\nB3,\n")
    said = [(f.file, f.line, f.mend) for f in of_kind(found, "species unknown")]
    assert said == [
        ("readings.csv", 2, 'Add it there. Did you mean "A71"?'),
        ("animals.csv", 3, "Write cat or dog."),
    ]


def test_strangers_in_the_side_tables_are_said_once_each(records: Make) -> None:
    found = records(
        GOOD,
        treatments="animal,drug,started_on\nA71,amlodipine,2025-01-01\nA71,amlodipine,2025-02-01\n",
        animals="animal,species\nA17,cat\n",
    )
    (finding,) = of_kind(found, "no readings")
    assert (finding.file, finding.line) == ("treatments.csv", 2)
    assert "nor in the animals table" in finding.reason
    assert finding.mend == 'Did you mean "A17"?'
    assert (found.treatments["set_aside"] == "").all()


@pytest.mark.parametrize("other", ["a17", "A 17", "Ａ17", "A17\u200b"])
def test_ids_that_look_alike_are_said_and_never_merged(records: Make, other: str) -> None:
    found = records(GOOD + f"{other},2025-01-01,doppler,150\n")
    assert len(found.animals) == 2
    assert len(of_kind(found, "one animal under two ids?")) == 1


def test_ids_that_differ_otherwise_are_not_suspected(records: Make) -> None:
    found = records(
        GOOD + "A-17,2025-01-01,doppler,150\n007,2025-01-01,doppler,150\n7,2025-01-01,doppler,150\n"
    )
    assert not of_kind(found, "one animal under two ids?")


def test_unseen_characters_in_an_id_are_said(records: Make) -> None:
    found = records('animal,taken_at,method,systolic\n"A\n17",2025-01-01,doppler,150\n')
    assert of_kind(found, "odd id")[0].reason.startswith('"A 17" holds characters')


def test_a_table_of_strangers_is_read_in_reasonable_time(records: Make) -> None:
    # 3000 × 3000 comparisons of names would take minutes.
    readings = "".join(f"R{i:05d},2025-01-01,doppler,150\n" for i in range(3000))
    animals = "".join(f"A{i:05d},cat\n" for i in range(3000))
    found = records(
        f"animal,taken_at,method,systolic\n{readings}", animals=f"animal,species\n{animals}"
    )
    assert len(of_kind(found, "species unknown")) == 3000
    assert len(of_kind(found, "no readings")) == 3000
    hinted = [f for f in of_kind(found, "species unknown") if "Did you mean" in f.mend]
    assert 0 < len(hinted) < 100
