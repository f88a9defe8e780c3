"""Signs of records: which rows enter, what notes ask, how it is put into a frame."""

from __future__ import annotations

import datetime
import time
from typing import Any

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.records.records import Records
from bpvet.visits.signs.remarks import GROUPS
from bpvet.visits.signs.signs import COLUMNS, all_signs, animal_signs, day_of

AS_OF = "2026-06-01"


def made(
    signs: list[tuple[str, ...]], note: str = "", drugs: list[dict[str, Any]] | None = None
) -> Records:
    """Records of two cats; a sign is text, status, date, note, animal."""
    readings = pd.DataFrame(
        {
            "animal": ["A", "B"],
            "taken_at": ["2026-05-01", "2026-05-02"],
            "method": ["doppler"] * 2,
            "systolic": [150, 151],
            "note": [note, ""],
        }
    )
    full = [(*one, *("", "2026-05-01", "", "A")[len(one) - 1 :]) for one in signs]
    seen = pd.DataFrame(full, columns=["sign", "status", "seen_on", "note", "animal"])
    return Records.from_frames(
        readings,
        animals=pd.DataFrame({"animal": ["A", "B"], "species": ["cat", "cat"]}),
        treatments=pd.DataFrame(drugs) if drugs else None,
        observations=seen if signs else None,
        as_of=AS_OF,
    )


def kinds(records: Records) -> list[str]:
    return [finding.kind for finding in records.findings]


def test_an_item_of_a_cell_is_a_row() -> None:
    records = made([("no seizures; blind OU",), ("murmur", "resolved", "2026-04-01", "", "B")])
    frame = bpvet.signs(records)
    assert list(frame.columns) == list(COLUMNS)
    rows = frame[["animal", "term", "group", "status", "reading"]].to_numpy().tolist()
    assert rows == [
        ["A", "seizure", "brain", "", "denied"],
        ["A", "blindness", "eye", "", "present"],
        ["B", "murmur", "heart", "resolved", "past"],
    ]
    assert frame["seen_on"].dt.strftime("%Y-%m-%d").tolist() == ["2026-05-01"] * 2 + ["2026-04-01"]
    assert set(frame["table"]) == {"observations"}
    only = animal_signs(records, "B")
    assert [(sign.animal, sign.file, sign.line) for sign in only] == [("B", "observations", 2)]


def test_a_row_later_than_as_of_enters_nothing() -> None:
    records = made([("blind", "", "2026-07-01"), ("seizure", "", "2026-05-01")])
    assert [sign.term for sign in all_signs(records)] == ["seizure"]


def test_no_signs_are_an_empty_frame() -> None:
    frame = bpvet.signs(made([]))
    assert list(frame.columns) == list(COLUMNS)
    assert len(frame) == 0


def test_notes_are_questions_of_their_own_table() -> None:
    drugs = [
        {"animal": "A", "drug": "amlodipine", "started_on": "2026-05-03", "note": "collapsed today"}
    ]
    records = made([("murmur", "present", "2026-05-01", "head tilt too")], "blind since?", drugs)
    found = [(sign.table, sign.term, sign.reading) for sign in all_signs(records) if sign.is_note]
    assert found == [
        ("readings note", "blindness", "unclear"),
        ("treatments note", "collapse", "unclear"),
        ("observations note", "head tilt", "unclear"),
    ]
    told = [finding.reason for finding in records.findings if finding.kind == "sign in a note"]
    assert told[0] == 'A note of 1 May 2026 says "blind since?".'
    assert len(told) == 3


@pytest.mark.parametrize("note", ["calm", "no seizures", "amlodipine at 8 o'clock", "quiet", ""])
def test_other_notes_ask_nothing(note: str) -> None:
    records = made([("murmur", "present", "2026-05-01", note)], note)
    # That a drug is named which is on no record is asked too, and is no sign.
    asked = [sign for sign in all_signs(records) if sign.is_note]
    assert not [sign for sign in asked if sign.group not in GROUPS]
    assert "sign in a note" not in kinds(records)


def test_what_is_unread_or_unclear_is_asked() -> None:
    records = made([("Krampfanfall",), ("?blind",), ("seizure", "present")])
    asked = {finding.kind: finding for finding in records.findings if "sign" in finding.kind}
    assert set(asked) == {"sign not understood", "sign unclear"}
    assert '"Krampfanfall" is not understood' in asked["sign not understood"].reason
    assert '"?blind" is unclear' in asked["sign unclear"].reason
    assert not any(finding.stops for finding in asked.values())


@pytest.mark.parametrize(
    ("text", "status", "reading"),
    [
        ("seizure", "", "present"),
        ("no seizures", "", "denied"),
        ("no seizures", "present", "unclear"),
        ("blind", "Longstanding", "present"),
        ("seizure", "maybe", "unclear"),
    ],
)
def test_status_and_text(text: str, status: str, reading: str) -> None:
    records = made([(text, status)])
    (sign,) = all_signs(records)
    assert sign.reading == reading
    assert sign.status == ("unclear" if status == "maybe" else status.casefold())
    assert (records.observations["set_aside"] == "").all()
    assert ("unknown word" in kinds(records)) == (status == "maybe")


def test_a_hundred_thousand_rows_are_read_in_moments() -> None:
    texts = ["no seizures, blind OU", "murmur 2/6", "?RD", "eyes normal"] * 25_000
    n = len(texts)
    seen = pd.DataFrame({"animal": "A", "seen_on": "2026-05-01", "sign": texts, "status": ""})
    readings = pd.DataFrame(
        {"animal": ["A"], "taken_at": ["2026-05-01"], "method": ["doppler"], "systolic": [150]}
    )
    records = Records.from_frames(readings, observations=seen, as_of=AS_OF)
    started = time.process_time()
    frame = bpvet.signs(records)
    assert time.process_time() - started < 20
    assert len(frame) == n + n // 4
    assert np.mean(frame["reading"] == "present") == pytest.approx(2 / 5)


@pytest.mark.parametrize(
    ("text", "status", "told"),
    [
        ("retinas", "detached", [("retinas: detached", "retinal detachment")]),
        ("seizure", "see notes", [("seizure: see notes", "seizure")]),
        ("blind", "n", [("blind: n", "blindness")]),
        (
            "collapse; head tilt",
            "perhaps",
            [("collapse: perhaps", "collapse"), ("head tilt: perhaps", "head tilt")],
        ),
    ],
)
def test_a_status_that_is_no_word_of_ours_is_told_with_its_sign(
    text: str, status: str, told: list[tuple[str, str]]
) -> None:
    found = [sign for sign in all_signs(made([(text, status)])) if sign.term]
    assert [(sign.text, sign.term) for sign in found] == told
    assert {sign.reading for sign in found} == {"unclear"}


def test_what_is_headed_as_a_column_of_ours_elsewhere_is_no_less_read() -> None:
    readings = {"animal": ["A"], "taken_at": ["2026-05-01"], "method": ["doppler"]}
    animals = {"animal": ["A"], "species": ["cat"], "date": ["blind"]}
    seen = {"animal": ["A"], "seen_on": ["2026-05-01"], "sign": ["seizures"], "duplicate": ["no"]}
    records = Records.from_frames(
        pd.DataFrame({**readings, "systolic": [150]}),
        animals=pd.DataFrame(animals),
        observations=pd.DataFrame(seen),
        as_of=AS_OF,
    )
    for signs in (all_signs(records), animal_signs(records, "A")):
        found = [(sign.table, sign.term) for sign in signs]
        assert found == [("observations", "seizure"), ("animals column", "blindness")]


def test_a_day_is_none_where_none_is() -> None:
    given = (None, pd.NaT, np.datetime64("NaT"), float("nan"))
    assert [day_of(value) for value in given] == [None] * len(given)
    day = datetime.date(2026, 5, 1)
    same = (day, pd.Timestamp("2026-05-01 10:00"), np.datetime64("2026-05-01T10", "ns"))
    assert [day_of(value) for value in same] == [day] * len(same)
