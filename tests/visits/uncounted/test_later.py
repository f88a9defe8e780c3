"""A newest row whose year was typed wrongly hides the visit; nothing of it may be silent."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.answers.owner.owner import owner
from bpvet.answers.sheet.sheet import sheet
from bpvet.models.safety.animal import animal_safety
from bpvet.records.parsing import dates
from bpvet.visits.uncounted.later import LaterRows, later_rows
from bpvet.wording.en.owner import PHONE, owner_parts, phone_texts
from bpvet.wording.en.trend.short import short_statements

SLIP = np.datetime64("2027-05-20", "D")


@pytest.fixture(autouse=True)
def _today(monkeypatch):
    monkeypatch.setattr(dates, "today", lambda: np.datetime64("2026-05-21", "D"))


def _records(newest="2027-05-20", note="", seen="", drug="", as_of="2026-05-21"):
    rows = [("A", f"2026-0{month}-01", 150 + month, "") for month in (2, 3, 4)]
    rows += [("A", newest, 210, note), ("A", newest, 212, "")]
    frame = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "note"])
    tables = {}
    if seen:
        tables["observations"] = pd.DataFrame(
            {"animal": ["A"], "seen_on": [newest], "sign": [seen]}
        )
    if drug:
        tables["treatments"] = pd.DataFrame(
            {"animal": ["A"], "drug": [drug], "started_on": [newest], "dose": ["0.6 mg"]}
        )
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"]})
    readings = frame.assign(method="doppler")
    return bpvet.Records.from_frames(readings, animals=animals, as_of=as_of, **tables)


def test_rows_after_today_are_counted_and_later_ones_of_a_past_look_are_not():
    found = {"A": LaterRows(readings=2, observations=1, first=SLIP, last=SLIP)}
    assert later_rows(_records(seen="blind")) == found
    assert later_rows(_records(seen="blind"), "A") == found
    assert later_rows(_records(), "B") == {}
    # Who looks back to April knows that what came in May is not there.
    assert later_rows(_records("2026-05-20", as_of="2026-04-02")) == {}
    assert later_rows(_records(as_of="2026-04-02"))["A"].readings == 2


def test_the_five_lines_the_list_and_the_papers_tell_of_it():
    records = _records(note="blind since yesterday", drug="amlodipine")
    answer = bpvet.fit_trend(records, "A").answer()
    keys = [statement.key for statement in answer.statements]
    assert keys[0] == "later"
    assert keys.index("signs.note") > 0
    first, *_, change, _, _ = (statement.text for statement in short_statements(answer))
    assert "20 May 2027" in first
    assert "blind since yesterday" in first
    assert "but for" in change
    (row,) = bpvet.due(records).rows
    assert row.band == "two_days"
    assert row.open_questions[0].startswith("A note of 20 May 2027")
    assert sheet(records, "A").open_questions == row.open_questions
    page = owner(records, "A")
    assert phone_texts(page)[0] == PHONE
    # For the practice, and never on the page.
    assert page.open_questions == row.open_questions


def test_without_a_sign_the_owner_is_not_sent_away_until_a_far_day():
    page = owner(_records(), "A")
    assert page.may_be_newer
    assert not page.asks
    was, coming, _ = owner_parts(page)
    assert "newer visit" in " ".join(was.texts)
    assert coming.texts == ("Please phone to set a day to measure your cat.",)
    safety, _ = animal_safety(_records("2026-05-20"), "A")
    assert not safety.found.uncounted.may_be_newer


def test_it_is_never_called_lost():
    records = _records("2029-05-20", as_of="2028-02-01")
    (row,) = bpvet.due(records).rows
    assert row.band == "overdue"
