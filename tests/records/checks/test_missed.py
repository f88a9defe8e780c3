"""Doses missed or late, and contacts: read, checked, held against the treatments."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from bpvet.answers.fhir.fhir import fhir_bundle
from bpvet.records.findings import Finding
from bpvet.records.read import read
from bpvet.records.records import Records

Make = Callable[..., Records]
READINGS = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n"
TREATMENTS = (
    "animal,drug,started_on,stopped_on\n"
    "A17,Amlodipine besylate,2025-02-01,2025-06-01\nA17,gabapentin,2025-02-01,\n"
)


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


@pytest.fixture
def missed(records: Make) -> Make:
    """Return a function that reads rows of missed doses beside one animal's treatments."""

    def make(*rows: str) -> Records:
        text = "\n".join(["animal,from,to,what,drug,note", *rows]) + "\n"
        return records(READINGS, treatments=TREATMENTS, missed=text)

    return make


def test_a_row_is_read_with_its_types(missed: Make) -> None:
    found = missed("A17,2025-03-01,2025-03-04,Late,amlodipine,sick", "A17,2025-03-09,,missed,,")
    assert found.missed["from"].tolist() == [pd.Timestamp("2025-03-01"), pd.Timestamp("2025-03-09")]
    assert found.missed["to"].isna().tolist() == [False, True]
    assert found.missed["what"].tolist() == ["late", "missed"]
    assert (found.missed["set_aside"] == "").all()
    assert found.understood["tables"]["missed"] == 2
    assert not [one for one in found.findings if one.file == "missed.csv"]


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        ("A17,2025-03-04,2025-03-01,missed,,", "order of dates"),
        ("A17,2025-03-04,soon,missed,,", "not a date"),
        ("A17,2025-03-04,,forgotten,,", "unknown word"),
        ("A17,,2025-03-04,missed,,", "blank"),
        ("A17,2026-03-04,,missed,,", "future date"),
    ],
)
def test_what_cannot_be_used_is_set_aside(missed: Make, row: str, kind: str) -> None:
    found = missed(row)
    assert next(one.kind for one in found.findings if one.file == "missed.csv") == kind
    assert (found.missed["set_aside"] != "").all()


@pytest.mark.parametrize(
    ("row", "outside"),
    [
        ("A17,2025-06-01,2025-06-09,missed,amlodipine,", False),
        ("A17,2025-06-02,,missed,amlodipine,", True),
        ("A17,2025-06-02,,missed,,", True),
        ("A17,2025-06-02,,missed,gabapentin,", False),
        ("A17,2025-01-31,,late,AMLODIPINE,", True),
        ("A17,2025-03-01,,missed,telmisartan,", True),
        ("B9,2025-03-01,,missed,amlodipine,", True),
    ],
)
def test_a_row_outside_of_any_course_of_its_drug_is_told(
    missed: Make, row: str, outside: bool
) -> None:
    found = missed(row)
    assert bool(of_kind(found, "missed outside of a course")) is outside
    assert (found.missed["set_aside"] == "").all()
    assert bool(of_kind(found, "no readings")) is row.startswith("B9")


def test_a_blank_what_is_missed_and_told(missed: Make) -> None:
    found = missed("A17,2025-03-01,,,,")
    assert found.missed["what"].tolist() == ["missed"]
    assert len(of_kind(found, "missed or late")) == 1


def test_an_end_after_as_of_is_cut_there(missed: Make) -> None:
    found = missed("A17,2025-03-01,2026-03-01,missed,,")
    assert found.missed["to"].tolist() == [pd.Timestamp("2026-01-01")]
    assert len(of_kind(found, "future end")) == 1


def test_contacts_are_read_and_checked(records: Make) -> None:
    text = "animal,date,outcome,note\nA17,2025-03-01,No answer,\nA17,2025-03-02,rang,\n"
    text += "A17,2026-03-02,booked,\nZ1,2025-03-02,declined,\n"
    found = records(READINGS, contacts=text)
    assert found.contacts["outcome"].tolist() == ["no answer", "", "booked", "declined"]
    assert (found.contacts["set_aside"] != "").tolist() == [False, True, True, False]
    assert len(of_kind(found, "no readings")) == 1
    assert "Z1" in found.animals["animal"].tolist()


def test_a_list_of_addresses_named_contacts_does_not_stop_the_work(records: Make) -> None:
    found = records(READINGS, contacts="owner,phone\nSmith,123\n")
    assert not found.stopping
    assert of_kind(found, "missing column")


def test_every_reader_reads_them(records: Make, missed: Make, tmp_path: Path) -> None:
    given = missed("A17,2025-03-01,2025-03-04,missed,amlodipine,x")
    contacts = pd.DataFrame(
        [{"animal": "A17", "date": "2025-03-01", "outcome": "booked", "note": ""}]
    )
    names = ["animal", "from", "to", "what", "drug", "note"]
    readings = given.readings[["animal", "taken_at", "method", "systolic"]]
    frames = {
        "readings": readings,
        "treatments": given.treatments[["animal", "drug", "started_on", "stopped_on"]],
        "missed": given.missed[names],
        "contacts": contacts,
    }
    book, parquet, lines = (tmp_path / name for name in ("book", "parquet", "lines"))
    for place in (book, parquet, lines):
        place.mkdir()
    with pd.ExcelWriter(book / "clinic.xlsx") as writer:
        for name, frame in frames.items():
            frame.to_excel(writer, sheet_name=name, index=False)
    for name, frame in frames.items():
        frame.to_parquet(parquet / f"{name}.parquet")
        frame.astype(str).replace({"NaT": ""}).to_json(
            lines / f"{name}.jsonl", orient="records", lines=True
        )
    found = [read(place, as_of="2026-01-01") for place in (book, parquet, lines)]
    found.append(Records.from_frames(**frames, as_of="2026-01-01"))
    for one in found:
        pd.testing.assert_frame_equal(one.missed[names], given.missed[names], check_dtype=False)
        assert one.contacts["outcome"].tolist() == ["booked"]


def test_the_bundle_says_that_it_leaves_them_out(missed: Make) -> None:
    found = missed("A17,2025-03-01,2025-03-04,missed,amlodipine,x")
    assert fhir_bundle(found).left_behind == {"missed": 1}
