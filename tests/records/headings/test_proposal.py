"""A proposed mapping: reasons, doubts, the same each time, and read back as it stands."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.records.cells import RawSheet
from bpvet.records.formats.files import load
from bpvet.records.headings.heading_words import columns_by_words
from bpvet.records.headings.proposal import Proposal, propose
from bpvet.records.headings.settled import FILE_NAME
from bpvet.records.parsing.frames import sheet_of
from bpvet.records.read import read

EXPORT = (
    "Pet ID;Visit Date;Device;BP 1;BP 2;BP 3;Cuff (cm);Nurse\n"
    "17;13/04/2025;Doppler;165;158;160;2,5;AB\n"
    "17;03/05/2025 10:15;Doppler;150;152;;2,5;AB\n"
)


def proposed(tmp_path: Path, text: str) -> Proposal:
    file = tmp_path / "visits.csv"
    file.write_text(text)
    return propose(load(file).sheets)


def test_an_export_is_read_with_what_was_proposed(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, EXPORT)
    assert all(line.sure for line in proposal.lines)
    assert read(tmp_path / "visits.csv", as_of="2026-01-01").stopping
    (tmp_path / FILE_NAME).write_text(proposal.toml())
    records = read(tmp_path / "visits.csv", as_of="2026-01-01")
    assert not records.stopping
    assert records.readings["systolic"].tolist() == [165, 158, 160, 150, 152]
    assert records.readings["date"].dt.strftime("%m-%d").tolist() == ["04-13"] * 3 + ["05-03"] * 2
    assert set(records.readings["cuff_width_cm"]) == {2.5}


def test_what_cannot_be_told_is_a_comment(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, "Name,Date,BP\nPilchard,3/4/2025,165/158\nMog,4/4/2025,165/95\n")
    doubts = {line.heading or line.ours for line in proposal.lines if not line.sure}
    assert doubts == {"Name", "BP", "dates", "method"}
    assert tomllib.loads(proposal.toml()) == {"readings": {"columns": {"Date": "taken_at"}}}
    assert "fits both orders" in proposal.toml()


def test_headings_in_another_language_are_told_by_their_cells(tmp_path: Path) -> None:
    text = "Tier;Datum;Methode;Druck\n" + "Mog;13.04.2025;doppler;152\n" * 3
    found = {line.heading: (line.ours, line.sure) for line in proposed(tmp_path, text).lines}
    assert found == {
        "Tier": ("animal", False),
        "Datum": ("taken_at", False),
        "Methode": ("method", True),
        "Druck": ("systolic", False),
        "": ("dates", True),
    }


def test_of_two_columns_that_look_alike_none_is_guessed(tmp_path: Path) -> None:
    text = "Tier;Datum;doppler;A;B\nMog;2025-04-13;doppler;152;150\n"
    assert {line.heading for line in proposed(tmp_path, text).lines}.isdisjoint({"A", "B"})


def test_a_heading_spelled_nearly_so_is_doubtful(tmp_path: Path) -> None:
    text = "animal,taken_at,methd,systolic\nMog,2025-04-13,ear,152\n"
    (line,) = (line for line in proposed(tmp_path, text).lines if line.heading)
    assert (line.ours, line.sure) == ("method", False)


def test_two_columns_that_may_be_the_same_are_both_doubtful(tmp_path: Path) -> None:
    text = "animal,Visit date,Test date,method,SBP\nA,2025-04-03,2025-04-03,doppler,150\n"
    doubtful = [line for line in proposed(tmp_path, text).lines if not line.sure]
    assert any("which of them?" in line.reason for line in doubtful)
    assert not any(line.sure and line.ours == "taken_at" for line in doubtful)


def test_pressures_in_kilopascal(tmp_path: Path) -> None:
    text = "animal,taken_at,method,SAP kPa\n" + "A,2025-04-03,doppler,20.5\n" * 3
    (unit,) = [line for line in proposed(tmp_path, text).lines if line.ours == "unit"]
    assert (unit.value, unit.sure) == ("kPa", True)


def test_our_own_headings_need_no_proposal(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, "animal,taken_at,method,systolic\nA,2025-04-03,doppler,150\n")
    assert proposal.lines == ()
    assert "nothing to propose" in proposal.toml()


@pytest.mark.parametrize(
    ("table", "heading", "ours"),
    [
        ("readings", "Patient No.", "animal"),
        ("readings", "SBP", "systolic"),
        ("readings", "BP (mmHg)", "systolic"),
        ("readings", "Reading #4", "systolic_4"),
        ("readings", "DBP 2", "diastolic_2"),
        ("readings", "MAP", "mean"),
        ("readings", "Heart rate (bpm)", "heart_rate"),
        ("readings", "Date of visit", "taken_at"),
        ("readings", "Taken by", "operator"),
        ("animals", "D.O.B.", ""),
        ("animals", "Date of birth", "birth_date"),
        ("treatments", "Medication", "drug"),
        ("treatments", "Start date", "started_on"),
        ("labs", "Result", "value"),
        ("readings", "Colour of the waiting room", ""),
    ],
)
def test_headings_by_their_words(table: str, heading: str, ours: str) -> None:
    assert (*columns_by_words(table, heading), "")[0] == ours


@settings(deadline=None)
@given(st.lists(st.text(max_size=8), min_size=1, max_size=5, unique=True), st.data())
def test_any_headings_give_a_file_that_is_toml(heads: list[str], data: st.DataObject) -> None:
    cells = st.text(max_size=6) | st.sampled_from(["150", "3/4/2025", "165/95", "doppler", ""])
    rows = data.draw(st.lists(st.tuples(*[cells] * len(heads)), max_size=4))
    sheet: RawSheet = sheet_of("readings", pd.DataFrame(rows, columns=heads, dtype=object))
    proposal = propose([sheet])
    tomllib.loads(proposal.toml())
    assert propose([sheet]).toml() == proposal.toml()
