"""Rows that were taken back: in no table, always told, and nothing else goes with them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bpvet.answers.fhir.fhir import fhir_bundle
from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.visits.sessions import sessions

Make = Callable[..., Records]

READINGS = """\
animal,taken_at,method,systolic,entry
A17,2026-01-05T10:00,doppler,150,
A17,2026-02-05T10:00,doppler,190,e1
A17,2026-02-05T10:00,doppler,195,e1
B2,2026-02-06T10:00,doppler,140,e2
"""


def of_folder(tmp_path: Path, cancelled: str, **tables: str) -> Records:
    (tmp_path / "readings.csv").write_text(READINGS)
    (tmp_path / "cancelled.csv").write_text(f"entry,cancelled_on,reason\n{cancelled}")
    for name, text in tables.items():
        (tmp_path / f"{name}.csv").write_text(text)
    return read(tmp_path, as_of="2026-03-01")


def kinds(records: Records) -> list[str]:
    return [one.kind for one in records.findings if one.kind.startswith(("cancel", "unknown e"))]


def test_a_cancelled_session_is_nowhere_and_is_told(tmp_path: Path) -> None:
    records = of_folder(tmp_path, "e1,2026-02-07,wrong animal\n")
    assert records.readings["systolic"].tolist() == [150, 140]
    assert sessions(records)["systolic"].tolist() == [150, 140]
    first, second = records.cancelled_rows
    assert (first.animal, first.date, first.text) == ("A17", "2026-02-05T10:00", "doppler 190")
    assert (second.line, second.cancelled_on, second.reason) == (4, "2026-02-07", "wrong animal")
    (told,) = [one for one in records.findings if one.kind == "cancelled"]
    assert "cancelled on 7 February 2026: wrong animal" in told.reason
    assert "doppler 190; doppler 195" in told.reason
    assert not told.stops


def test_of_an_animal_that_was_entered_by_mistake_nothing_is_left(tmp_path: Path) -> None:
    records = of_folder(tmp_path, "e2,2026-02-07,no such animal\n")
    assert records.animals["animal"].tolist() == ["A17"]
    assert records.cancelled_rows[0].animal == "B2"


def test_a_cancellation_stands_on_every_date(tmp_path: Path) -> None:
    records = of_folder(tmp_path, "e1,2026-02-27,wrong animal\n").speaking_on("2026-02-10")
    assert records.readings["systolic"].tolist() == [150, 140]


@pytest.mark.parametrize("on", ["", "yesterday"])
def test_a_cancellation_without_a_date_stands_and_is_told(tmp_path: Path, on: str) -> None:
    records = of_folder(tmp_path, f"e1,{on},wrong animal\n")
    assert len(records.readings) == 2
    assert records.cancelled_rows[0].why == "cancelled: wrong animal"
    assert not on or any(one.column == "cancelled_on" for one in records.findings)


def test_what_is_wrong_with_a_cancellation_is_told(tmp_path: Path) -> None:
    text = "e9,2026-02-07,typed twice\ne2,2026-02-07,\ne2,2026-02-08,again\n,2026-02-08,none\n"
    records = of_folder(tmp_path, text)
    assert sorted(kinds(records)) == [
        "cancelled",
        "cancelled twice",
        "cancelled without a reason",
        "unknown entry",
    ]
    assert records.cancelled_rows[0].reason == "no reason given"
    assert any(one.kind == "blank" and one.column == "entry" for one in records.findings)
    assert len(records.cancelled) == 4


def test_what_was_cancelled_makes_no_copy_of_what_is_entered_again(tmp_path: Path) -> None:
    again = READINGS.replace("e1", "e3").replace("A17,2026-01-05T10:00,doppler,150,\n", "")
    (tmp_path / "readings-b.csv").write_text(
        again.replace("B2,2026-02-06T10:00,doppler,140,e2\n", "")
    )
    records = of_folder(tmp_path, "e1,2026-02-07,a wrong note\n")
    assert (records.readings["set_aside"] == "").all()
    assert sorted(records.readings["systolic"]) == [140, 150, 190, 195]


def test_every_table_can_be_taken_back(tmp_path: Path) -> None:
    records = of_folder(
        tmp_path,
        "e5,2026-02-07,wrong animal\n",
        animals="animal,species,entry\nA17,cat,\nC3,dog,e5\n",
        treatments="animal,drug,started_on,entry\nA17,amlodipine,2026-01-01,e5\n",
        labs="animal,sampled_on,analyte,value,unit,entry\nA17,2026-01-01,creatinine,180,µmol/L,e5\n",
        observations="animal,seen_on,sign,entry\nA17,2026-02-28,blind,e5\n",
        missed="animal,from,entry\nA17,2026-01-02,e5\n",
        contacts="animal,date,outcome,entry\nA17,2026-01-02,booked,e5\n",
    )
    for table in ("treatments", "labs", "observations", "missed", "contacts"):
        assert getattr(records, table).empty
    assert sorted(row.table for row in records.cancelled_rows) == [
        "animals",
        "contacts",
        "labs",
        "missed",
        "observations",
        "treatments",
    ]
    assert fhir_bundle(records).left_behind["cancelled"] == 6


def test_frames_are_read_the_same_way() -> None:
    readings = pd.DataFrame(
        {
            "animal": ["A17", "A17"],
            "taken_at": ["2026-01-05", "2026-02-05"],
            "method": "doppler",
            "systolic": [150, 190],
            "entry": ["", "e1"],
        }
    )
    cancelled = pd.DataFrame(
        {"entry": ["e1"], "cancelled_on": ["2026-02-07"], "reason": ["wrong animal"]}
    )
    records = Records.from_frames(readings, cancelled=cancelled, as_of="2026-03-01")
    assert records.readings["systolic"].tolist() == [150]
    assert records.cancelled_rows[0].line == 2


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    rows=st.lists(st.sampled_from(["", "e1", "e2", "e 3", "=e4"]), min_size=1, max_size=12),
    gone=st.sets(st.sampled_from(["e1", "e2", "e 3", "=e4", "e5"])),
    broken=st.booleans(),
)
def test_every_row_is_used_or_cancelled(
    tmp_path: Path, rows: list[str], gone: set[str], broken: bool
) -> None:
    lines = [f"A1,2026-01-{i + 1:02d},doppler,{150 + i},{one}" for i, one in enumerate(rows)]
    lines += ["A1,2026-02-01,doppler,150,e1,too,many"] if broken else []
    (tmp_path / "readings.csv").write_text(
        "\n".join(["animal,taken_at,method,systolic,entry", *lines])
    )
    (tmp_path / "cancelled.csv").write_text(
        "\n".join(["entry,cancelled_on,reason", *(f"{one},2026-02-01,slip" for one in gone)])
    )
    records = read(tmp_path, as_of="2026-03-01")
    kept = records.readings
    assert sorted([*kept["line"], *(row.line for row in records.cancelled_rows)]) == list(
        range(2, 2 + len(lines))
    )
    assert {row.entry for row in records.cancelled_rows} == gone & set(rows)
    usable = kept[kept["set_aside"] == ""]
    assert not set(usable["entry"]) & gone
    assert usable["systolic"].tolist() == [150 + line - 2 for line in usable["line"]]
    assert (len(kept) - len(usable)) == broken
