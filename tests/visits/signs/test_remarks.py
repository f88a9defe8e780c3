"""What is written of treatments and of an end is asked once, and an entry answers it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.records.parsing import dates
from bpvet.visits.signs.remarks import remarks
from bpvet.visits.signs.signs import all_signs, animal_signs

READINGS = "animal,taken_at,method,systolic,note\nA,2026-03-02,doppler,150,{}\n"


def _records(tmp_path, readings, as_of="2026-11-30", **tables):
    for name, text in {"readings": readings, **tables}.items():
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    return bpvet.read(tmp_path, as_of=as_of)


def _asked(records):
    of_all = [found for found in remarks(records) if found[0][0] == "A"]
    # As text: a row without a date equals nothing.
    assert str([*remarks(records, "A")]) == str(of_all)
    return [(item.group, item.text) for _, _, item in remarks(records)]


@pytest.mark.parametrize(
    ("rows", "asked"),
    [
        ("A,amlodipine,2026-01-02,,,stopped in may\n", ["stopped in may"]),
        # A stop that is entered, or a later row of the drug, answers what the note says.
        ("A,amlodipine,2026-01-02,2026-05-03,,stopped in may\n", []),
        ("A,amlodipine,2026-01-02,,,doubled\nA,amlodipine,2026-05-02,,1 mg,\n", []),
        ("A,amlodipine,2026-01-02,,STOPPED,\n", ["STOPPED"]),
        ("A,telmisartan?,2026-01-02,,,\n", ["telmisartan?"]),
        ("A,amlo,2026-01-02,,,\n", ["amlo"]),
        # No pressure drug, and none that may be one.
        ("A,renal diet,2026-01-02,,,stopped in may\n", []),
    ],
)
def test_treatments(tmp_path, rows, asked):
    head = "animal,drug,started_on,stopped_on,dose,note\n"
    records = _records(tmp_path, READINGS.format(""), treatments=head + rows)
    assert _asked(records) == [("treatment", text) for text in asked]


@pytest.mark.parametrize(
    ("note", "treated", "asked"),
    [
        ("started amlodipine today", "", True),
        ("started amlodipine today", "A,amlodipine,2026-03-03,\n", False),
        ("on amlodipine", "A,amlodipine,2025-03-03,\n", False),
        ("amlodipine stopped", "A,amlodipine,2025-03-03,\n", True),
        ("meds stopped", "A,amlodipine,2025-03-03,\n", True),
        ("calm after tablets", "", False),
        ("no tablets since Monday", "A,amlodipine,2025-03-03,\n", True),
        # Of one that has none it is what is recorded.
        ("no medication", "", False),
    ],
)
def test_notes_of_readings(tmp_path, note, treated, asked):
    head = "animal,drug,started_on,stopped_on\n"
    records = _records(tmp_path, READINGS.format(note), treatments=head + treated)
    assert _asked(records) == ([("treatment", note)] if asked else [])


@pytest.mark.parametrize(
    ("columns", "row", "asked"),
    [
        ("left_on,left_reason", ",died", ["died"]),
        ("left_on,left_reason", "may,euthanasia", ["may euthanasia"]),
        ("left_on,left_reason", "2026-05-02,died", []),
        # Neither had it left on the day that is looked at, nor can that day have been.
        ("left_on,left_reason", "2062-05-02,died", ["2062-05-02 died"]),
        ("left_on", "2062-05-02", ["2062-05-02"]),
        ("status,colour", "DECEASED,black", ["DECEASED"]),
        ("owner,colour", "Dr Dead,black", []),
    ],
)
def test_the_animals_own_row(tmp_path, columns, row, asked):
    animals = f"animal,species,{columns}\nA,cat,{row}\n"
    records = _records(tmp_path, READINGS.format(""), animals=animals)
    assert _asked(records) == [("left", text) for text in asked]


def test_a_date_of_leaving_between_the_day_looked_at_and_today_asks_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(dates, "today", lambda: np.datetime64("2062-06-01", "D"))
    animals = "animal,species,left_on\nA,cat,2062-05-02\n"
    assert not _asked(_records(tmp_path, READINGS.format(""), animals=animals))


def test_a_later_visit_or_a_date_of_leaving_answers_a_death(tmp_path):
    contacts = "animal,date,outcome,note\nA,2026-05-01,dead,\nA,2026-05-02,no answer,RIP\n"
    records = _records(tmp_path, READINGS.format(""), contacts=contacts)
    assert sorted(_asked(records)) == [("left", "RIP"), ("left", "dead")]
    later = READINGS.format("") + "A,2026-06-01,doppler,149,\n"
    assert not _asked(_records(tmp_path, later, contacts=contacts))
    gone = "animal,species,left_on\nA,cat,2026-05-01\n"
    assert not _asked(_records(tmp_path, READINGS.format(""), contacts=contacts, animals=gone))


@pytest.mark.parametrize(
    ("note", "asked"),
    [
        ("real value 210 - pls check", "210"),
        ("first 190 then 150", "190"),
        ("true 120?", "120"),
        # It stands there as a reading, counted or not, or between those that count.
        ("doppler 150", None),
        ("vet got 205", None),
        ("mean 153, about 155", None),
        ("HR 180, cuff 3", None),
    ],
)
def test_a_pressure_in_a_note_that_no_reading_has(tmp_path, note, asked):
    rows = f"A,2026-03-02,doppler,150,,{note}\nA,2026-03-02,doppler,160,,\n"
    rows += "A,2026-03-02,doppler,205,moved,\nB,2026-03-02,doppler,210,,\n"
    readings = f"animal,taken_at,method,systolic,excluded,note\n{rows}"
    records = _records(tmp_path, readings)
    assert _asked(records) == ([("pressure", note)] if asked else [])
    assert [item.term for _, _, item in remarks(records)] == ([asked] if asked else [])
    # A later visit answers it.
    assert not _asked(_records(tmp_path, readings + "A,2026-06-01,doppler,149,,\n"))


def test_a_pressure_in_other_places_of_the_newest_visit(tmp_path):
    head = "animal,taken_at,method,systolic,comments,heart_beats\n"
    readings = head + "A,2026-03-02,doppler,150,vet says 210,180\n"
    seen = "animal,seen_on,sign,note\nA,2026-03-02,eyes normal,BP 220\nA,2026-02-02,calm,BP 230\n"
    contacts = "animal,date,outcome,note\nA,2026-03-09,no answer,reads 215 at home\n"
    records = _records(tmp_path, readings, observations=seen, contacts=contacts)
    texts = {text for group, text in _asked(records) if group == "pressure"}
    assert texts == {"vet says 210", "BP 220", "reads 215 at home"}
    assert {group for group, _ in _asked(records)} == {"pressure"}


def test_a_number_under_a_heading_that_speaks_of_pressure(tmp_path):
    head = "animal,taken_at,method,systolic,BP recheck,box\n"
    records = _records(tmp_path, head + "A,2026-03-02,doppler,150,210,215\n")
    assert _asked(records) == [("pressure", "BP recheck: 210")]


def test_a_note_that_doubts_a_reading_of_the_newest_visit(tmp_path):
    head = "animal,taken_at,method,systolic,excluded,note\n"
    rows = "A,2026-02-02,doppler,150,,don't trust\nA,2026-03-02,doppler,150,moved,unreliable\n"
    rows += "A,2026-03-02,doppler,150,,{}\n"
    records = _records(tmp_path, head + rows.format("rest on paper chart"))
    assert _asked(records) == [("doubt", "rest on paper chart")]
    assert _asked(_records(tmp_path, head + rows.format("typo: 210"))) == [
        ("pressure", "typo: 210")
    ]
    assert _asked(_records(tmp_path, head + rows.format("calm"))) == []
    assert _asked(_records(tmp_path, head + rows.format("GA dental"))) == [("doubt", "GA dental")]
    sedated = "animal,taken_at,method,systolic,state,note\nA,2026-03-02,doppler,150,{},sedated\n"
    assert _asked(_records(tmp_path, sedated.format("sedated"))) == []
    assert _asked(_records(tmp_path, sedated.format("awake"))) == [("doubt", "sedated")]


def test_of_a_long_note_the_words_about_the_pressure_are_quoted(tmp_path):
    note = "calm " * 60 + "but the real value is 210"
    ((_, text),) = _asked(_records(tmp_path, READINGS.format(note)))
    assert "real value is 210" in text


def test_no_remark_is_a_sign_that_is_used(tmp_path):
    seen = "animal,seen_on,sign\nA,2026-05-01,died at home\n"
    records = _records(tmp_path, READINGS.format("amlodipine stopped"), observations=seen)
    found = [sign for sign in all_signs(records) if sign.group in ("left", "treatment")]
    assert [sign.group for sign in found] == ["treatment", "left"]
    assert all(sign.is_note and sign.reading == "unclear" for sign in found)
    assert animal_signs(records, "A") == all_signs(records)


@pytest.mark.parametrize(
    ("heading", "cell", "term"),
    [
        ("comments", "suddenly blind", "blindness"),
        ("Remarks", "both retinas detached", "retinal detachment"),
        ("blind", "Y", "blindness"),
        ("seizures", "2", "seizure"),
        ("seizures", "none", None),
        ("eyes", "normal", None),
        ("address", "Blind Lane 3", None),
    ],
)
def test_a_column_of_another_name_is_read_as_a_note(heading, cell, term):
    frame = pd.DataFrame(
        {
            "animal": ["A"],
            "taken_at": ["2026-03-02"],
            "method": ["doppler"],
            "systolic": ["150"],
            heading: [cell],
        }
    )
    records = bpvet.Records.from_frames(frame, as_of="2026-03-03")
    asked = [(sign.term, sign.table, sign.reading) for sign in all_signs(records)]
    assert asked == ([(term, "readings column", "unclear")] if term else [])
