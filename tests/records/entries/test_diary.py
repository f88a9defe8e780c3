"""A home diary: read back as measured at home, missed tablets counted, doses asked about."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import bpvet
from bpvet.records.entries.diary import HEADINGS
from bpvet.records.read import read
from bpvet.reports.owner import ROWS, diary_csv

OWN = "A17,{},home,oscillometric,2.5,{},{},{},calm,{}"


def line(day: str, readings: str = "150,148,152,149,151", tablet="given", when="after", note=""):
    return OWN.format(day, readings, tablet, when, note)


def diary(folder: Path, *lines: str) -> bpvet.Records:
    folder.mkdir(exist_ok=True)
    text = "\n".join([",".join(HEADINGS), *lines])
    (folder / "readings-home.csv").write_text(f"{text}\n", encoding="utf-8")
    (folder / "treatments.csv").write_text(
        "animal,drug,started_on\nA17,amlodipine,2026-01-01\n", encoding="utf-8"
    )
    return read(folder, as_of="2026-11-01")


def test_five_readings_at_home(tmp_path):
    made = diary(tmp_path, line("2026-10-28 07:30"), line("2026-10-29 07:30"))
    found = bpvet.sessions(made)
    assert found["condition"].tolist() == ["home", "home"]
    assert found["n_taken"].tolist() == [5, 5]
    assert len(made.missed) == 0
    assert bpvet.fit_trend(made, "A17").series.condition == "home"


@pytest.mark.parametrize(
    ("tablet", "what"),
    [("missed", "missed"), ("Missed", "missed"), ("not given", "missed"), ("late", "late")],
)
def test_a_missed_tablet_is_a_missed_dose(tmp_path, tablet, what):
    made = diary(tmp_path, line("2026-10-28 07:30", tablet=tablet))
    (row,) = made.missed.to_dict("records")
    assert (row["what"], str(row["from"])[:10], str(row["to"])[:10]) == (
        what,
        "2026-10-28",
        "2026-10-28",
    )
    assert row["set_aside"] == ""
    assert len(bpvet.sessions(made)) == 1
    assert [one.kind for one in made.findings if one.kind == "diary"] == ["diary"]


def test_a_tablet_missed_without_measuring_is_no_reading_that_failed(tmp_path):
    made = diary(tmp_path, "A17,2026-10-28,home,,,,,,,,missed,,,")
    assert len(made.readings) == 0
    assert len(made.missed) == 1


def test_twice_missed_on_a_day_is_one_day(tmp_path):
    made = diary(
        tmp_path,
        line("2026-10-28 07:30", tablet="missed"),
        line("2026-10-28 19:30", tablet="missed"),
    )
    assert len(made.missed) == 1


@pytest.mark.parametrize("text", ["half a tablet", "given 0.625 mg", "two", "0.5 ml", "?"])
def test_a_dose_is_kept_and_asked_about_and_changes_nothing(tmp_path, text):
    plain = diary(tmp_path / "plain", line("2026-10-28 07:30"))
    made = diary(tmp_path / "dose", line("2026-10-28 07:30", tablet=text))
    (asked,) = [one for one in made.findings if one.kind == "dose in diary"]
    assert (asked.line, asked.column, asked.value, asked.stops) == (2, "tablet", text, False)
    assert "Ask the owner" in asked.mend
    assert made.readings["tablet"].tolist() == [text] * 5
    assert len(made.missed) == 0
    pd.testing.assert_frame_equal(made.treatments, plain.treatments)
    assert bpvet.fit_trend(made, "A17").latest.mean == bpvet.fit_trend(plain, "A17").latest.mean


def test_a_dose_in_a_note_is_asked_about_too(tmp_path):
    made = diary(tmp_path, line("2026-10-28 07:30", note="gave 2 tablets"))
    (asked,) = [one for one in made.findings if one.kind == "dose in diary"]
    assert asked.column == "note"


def test_an_ordinary_note_is_not(tmp_path):
    made = diary(tmp_path, line("2026-10-28 07:30", note="two cats in the room for 5 minutes"))
    assert not [one for one in made.findings if one.kind == "dose in diary"]


def test_what_is_handed_out_reads_as_nothing_and_filled_in_as_home(tmp_path):
    records = bpvet.Records.from_frames(
        pd.DataFrame(
            {
                "animal": ["=A1"],
                "taken_at": ["2026-10-01"],
                "method": ["doppler"],
                "systolic": [150],
            }
        ),
        as_of="2026-11-01",
    )
    handed = diary_csv(bpvet.owner(records, "=A1"))
    place = tmp_path / "diary.csv"
    place.write_bytes(handed)
    empty = read(place, as_of="2026-11-01")
    assert len(empty.readings) == 0
    assert "28 lines of the diary are not filled in yet" in str(empty.findings[-1])
    lines = handed.decode().splitlines()
    assert len(lines) == ROWS + 1
    filled = [lines[1].split(",")[0], "2026-10-20 08:00", "home", "doppler", "2.5"]
    lines[1] = ",".join(
        [*filled, "150", "148", "152", "149", "151", "missed", "before", "calm", ""]
    )
    place.write_text("\n".join(lines), encoding="utf-8")
    made = read(place, as_of="2026-11-01")
    assert made.readings["animal"].tolist() == ["=A1"] * 5
    assert made.readings["condition"].tolist() == ["home"] * 5
    assert made.missed["animal"].tolist() == ["=A1"]


def test_a_file_without_that_column_is_no_diary(tmp_path):
    (tmp_path / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA17,2026-01-01,doppler,150\n,,,\n", encoding="utf-8"
    )
    made = read(tmp_path, as_of="2026-11-01")
    assert not [one for one in made.findings if "diary" in one.reason]


def test_a_broken_line_of_a_diary_is_said(tmp_path):
    made = diary(tmp_path, line("2026-10-28 07:30"), line("2026-10-29 07:30") + ",,,more,,cells")
    assert [one.line for one in made.findings if one.kind == "broken line"] == [3]
    assert len(bpvet.sessions(made)) == 1
