"""The sheet for the room: how it was measured, and nothing of what is expected."""

from __future__ import annotations

import json

import pytest

import bpvet
from bpvet.answers.due.due import due
from bpvet.answers.sheet.sheet import sheet, sheets, without_numbers
from bpvet.errors import CallError
from bpvet.wording.en.sheet import NOT_RECORDED, protocol_lines, sheet_rows
from tests.reports.room_records import records

VISITS = {"2026-03-01": (188, 186, 185, 187), "2026-10-13": (157, 159, 158, 161, 163)}


def test_how_it_was_measured_last_time():
    made = records(
        VISITS,
        site="tail",
        side="",
        posture="sternal",
        operator="EN",
        demeanour="calm",
        instrument="the old one",
        cuff_width_cm="2.6",
        limb_circumference_cm="8.2",
        note="on the lap, 158 at once",
    )
    (last,) = sheet(made, "Pilchard").last
    assert (str(last.date), last.time, last.n_taken) == ("2026-10-13", "10:00", 5)
    told = {row.what: row.last for row in sheet_rows(sheet(made, "A1"))}
    assert told["Method"] == "Doppler (the old one)"
    assert told["Cuff and limb"] == "cuff 2.6 cm wide, limb 8.2 cm round"
    assert told["Order"] == "Doppler, five readings from 10:00"
    assert told["What worked, notes"] == "on the lap, … at once"
    assert told["Time to settle"] == NOT_RECORDED


def test_what_is_missing_is_said_to_be():
    told = {row.what: row.last for row in sheet_rows(sheet(records(VISITS), "A1"))}
    for what in ("Who measures", "Cuff and limb", "Site and side", "Posture", "Demeanour"):
        assert told[what] == NOT_RECORDED


@pytest.mark.parametrize("method", ["doppler", "oscillometric"])
def test_nothing_of_what_is_expected_is_in_it(method):
    made = records(VISITS, note="was 158 and 1 5 9", demeanour="calm at 157", method=method)
    answer = bpvet.fit_trend(made, "A1").answer()
    held = [answer.latest.estimate, answer.latest.lower, answer.latest.upper]
    coming = answer.next_session
    held += [coming.mean, coming.lower, coming.upper, *VISITS["2026-10-13"], 160]
    text = json.dumps(sheet(made, "A1").to_dict())
    assert not [one for one in held if f"{one:.0f}" in text.replace("2026", "")]


def test_what_was_measured_at_home_is_not_how_the_room_does_it():
    clinic = records({"2026-05-01": (150, 151, 152)}, site="foreleg")
    frame = clinic.readings[["animal", "taken_at", "method", "systolic", "site"]].astype(str)
    home = frame.assign(taken_at="2026-10-01", setting="home", site="tail")
    both = bpvet.Records.from_frames(
        __import__("pandas").concat([frame.assign(setting=""), home]), as_of="2026-11-01"
    )
    assert [one.site for one in sheet(both, "A1").last] == ["foreleg"]
    alone = bpvet.Records.from_frames(home, as_of="2026-11-01")
    assert [one.site for one in sheet(alone, "A1").last] == ["tail"]


def test_urgent_lines_are_those_of_every_output():
    made = records(VISITS, signs=(("2026-10-13", "sudden blindness"),))
    assert [one.rule for one in sheet(made, "A1").urgent] == ["sign_current"]
    assert sheet(made, "A1").urgent == bpvet.fit_trend(made, "A1").answer().urgent


@pytest.mark.parametrize(("why", "word"), [("died", "died"), ("moved", "moved away"), ("", "left")])
def test_an_animal_that_left_has_none(why, word):
    made = records(VISITS, left=("2026-10-20", why))
    with pytest.raises(CallError, match=f"{word}.* on 20 October 2026, so no sheet"):
        sheet(made, "A1")


def test_sheets_of_a_list_and_with_pseudonyms():
    made = records({"2026-05-01": (190, 192, 191)}, operator="Erna", note="her own basket")
    (one,) = sheets(made, due(made)).values()
    assert one.to_dict() == sheet(made, "A1").to_dict()
    hidden = due(made, pseudonyms=True)
    (called,) = sheets(made, hidden)
    assert called == hidden.rows[0].animal
    text = json.dumps(sheets(made, hidden)[called].to_dict())
    for word in ("A1", "Pilchard", "Erna", "basket"):
        assert f'"{word}' not in text


def test_numbers_are_kept_back():
    assert without_numbers("152/148, then 1.5 and 7") == "…, then … and …"


@pytest.mark.parametrize("species", ["cat", "dog", "", "rabbit"])
def test_the_protocol_has_five_lines(species):
    assert len(protocol_lines(species)) == 5
