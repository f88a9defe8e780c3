"""Days on which an animal was to be measured and no reading can be used."""

from __future__ import annotations

import pandas as pd

import bpvet
from bpvet.visits.uncounted.unmeasured import unmeasured_days


def _records(rows: list[tuple[str, str, str, str]], as_of: str = "2026-06-01") -> bpvet.Records:
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "excluded"])
    return bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=as_of)


def _days(records: bpvet.Records) -> dict[str, list[tuple[str, int]]]:
    found = unmeasured_days(records)
    assert all(unmeasured_days(records, animal) == {animal: found[animal]} for animal in found)
    return {animal: [(str(one.date), one.rows) for one in days] for animal, days in found.items()}


def test_a_day_of_rows_that_are_set_aside_or_excluded_is_unmeasured():
    rows = [
        ("A", "2026-05-01", "150", ""),
        ("A", "2026-05-20", "could not", ""),
        ("A", "2026-05-20", "160", "struggling"),
        ("B", "2026-05-20", "150", ""),
    ]
    assert _days(_records(rows)) == {"A": [("2026-05-20", 2)]}


def test_one_usable_reading_makes_the_day_measured():
    rows = [("A", "2026-05-20", "160", "struggling"), ("A", "2026-05-20", "150", "")]
    assert _days(_records(rows)) == {}


def test_what_is_unread_beside_a_usable_reading_of_the_newest_day_is_told():
    rows = [("A", "2026-05-20", "24O", ""), ("A", "2026-05-20", "2 30", "")]
    rows += [("A", "2026-05-20", "160", "struggling"), ("A", "2026-05-20", "140", "")]
    (day,) = unmeasured_days(_records(rows))["A"]
    assert (day.rows, day.used) == (2, 1)
    (text,) = _told(rows, "unmeasured.part")
    assert text.startswith("Of 20 May 2026 two further readings are on record and cannot be used")
    # Of an older day it stands among the findings.
    assert _told([*rows, ("A", "2026-05-22", "150", "")], "unmeasured.part") == []


def _told(rows: list[tuple[str, str, str, str]], key: str) -> list[str]:
    answer = bpvet.fit_trend(_records(rows), "A").answer()
    return [one.text for one in answer.statements if one.key == key]


def test_no_sound_was_measured():
    assert _days(_records([("A", "2026-05-20", "no sound", "")])) == {}


def test_a_day_after_the_one_spoken_for_is_not_told():
    rows = [("A", "2026-05-20", "160", "struggling")]
    assert _days(_records(rows, as_of="2026-05-19")) == {}
    assert _days(_records(rows, as_of="2026-05-20")) == {"A": [("2026-05-20", 1)]}


def test_only_days_after_the_latest_date_are_told_of_an_animal():
    rows = [
        ("A", "2026-05-01", "x", ""),
        ("A", "2026-05-10", "150", ""),
        ("A", "2026-05-20", "y", ""),
        ("A", "2026-05-21", "z", ""),
    ]
    told = bpvet.fit_trend(_records(rows), "A").answer().statements
    (text,) = [one.text for one in told if one.key == "unmeasured"]
    assert "two days from 20 May 2026 to 21 May 2026 two readings are on record" in text
    rows.append(("A", "2026-05-22", "149", ""))
    told = bpvet.fit_trend(_records(rows), "A").answer().statements
    assert "unmeasured" not in [one.key for one in told]
