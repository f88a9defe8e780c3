"""The clinic's list: every animal once, in the band that its need asks for."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet.answers.due.bands import BANDS
from bpvet.answers.due.calendar import due_calendar
from bpvet.command.due import due_text
from bpvet.errors import CallError
from bpvet.facts.cautions import licensed
from bpvet.reports.due import due_page
from bpvet.wording.en.due import asked_words

AS_OF = "2026-06-01"


def records(
    rows: list[tuple[str, str, float]] | None = None,
    as_of: str = AS_OF,
    animals: list[dict[str, object]] | None = None,
    **tables: list[dict[str, object]],
) -> bpvet.Records:
    """Return records of cats: (animal, date, systolic), four readings each; further tables."""
    rows = [("A", "2026-05-20", 150.0)] if rows is None else rows
    readings = pd.DataFrame(
        [(animal, date, "doppler", value) for animal, date, value in rows for _ in range(4)],
        columns=["animal", "taken_at", "method", "systolic"],
    )
    ids = [*dict.fromkeys(animal for animal, _, _ in rows)]
    frames = {name: pd.DataFrame(held) for name, held in tables.items()}
    listed = pd.DataFrame(animals or [{"animal": one, "species": "cat"} for one in ids])
    frames["animals"] = listed if "birth_date" in listed else listed.assign(birth_date="2012-05-01")
    return bpvet.Records.from_frames(readings, as_of=as_of, **frames)


def kinds(*pairs: tuple[str, str]) -> list[dict[str, object]]:
    """Return rows of the animals table from ids and species."""
    return [{"animal": animal, "species": species} for animal, species in pairs]


def bands(held: bpvet.Records, **options: object) -> dict[str, str]:
    return {one.animal: one.band for one in bpvet.due(held, **options).rows}


DRUG = {
    "animal": "A",
    "drug": "amlodipine",
    "started_on": "2025-01-10",
    "dose": "0.6",
    "dose_unit": "mg",
}
EYES = {"animal": "A", "seen_on": "2026-05-20", "sign": "fundus normal"}


def test_what_is_urgent_is_now_and_its_own_sentence():
    held = records([("A", "2026-05-20", 195.0)])
    (row,) = bpvet.due(held).rows
    assert (row.band, row.urgent[0].rule) == ("now", "severe")
    assert row.why == row.urgent[0].text
    assert "12 days ago" in row.why
    assert row.what == ("measure", "eyes")
    assert row.last.value == 195.0


def test_low_on_treatment_is_within_two_days():
    held = records([("A", "2026-05-30", 97.0)], treatments=[DRUG])
    (row,) = bpvet.due(held).rows
    assert (row.band, row.state) == ("two_days", "low_on_treatment")


@pytest.mark.parametrize(
    ("date", "band"),
    # Once 165, no drug: "raised", 14 to 28 days after the session.
    [
        ("2026-05-06", "two_days"),
        ("2026-05-04", "two_days"),
        ("2026-05-03", "overdue"),
        ("2026-05-07", "due"),
        ("2026-05-18", "due"),
        ("2026-05-19", "checks"),
        ("2026-02-03", "overdue"),
        ("2026-02-02", "lost"),
    ],
)
def test_the_window_decides(date, band):
    held = records([("A", date, 172.0)])
    (row,) = bpvet.due(held).rows
    assert row.state == "raised"
    assert row.band == band, (row.latest, row.overdue_days)


def test_lost_needs_twice_the_window_too():
    # A year's window: 91 days over it is not yet twice as long.
    held = records([("A", "2025-02-25", 120.0)], animals=kinds(("A", "dog")))
    (row,) = bpvet.due(held).rows
    assert row.state == "screen"
    assert row.overdue_days > 90
    assert row.band == "overdue"


@pytest.mark.parametrize("sign", ["blind", "seizures", "head tilt"])
def test_an_urgent_animal_is_never_lost(sign):
    rows = [("A", "2023-05-06", 172.0)]
    plain = records(rows)
    assert bands(plain) == {"A": "lost"}
    held = records(rows, observations=[{"animal": "A", "seen_on": "2023-05-06", "sign": sign}])
    (row,) = bpvet.due(held).rows
    assert row.urgent
    assert row.band == "overdue"
    assert "ring the owner" in row.why


def test_no_plan_for_a_rabbit_and_for_what_was_never_measured():
    held = records(
        [("A", "2026-05-20", 130.0)],
        animals=kinds(("A", "cat"), ("R", "rabbit"), ("N", "cat")),
    )
    found = {one.animal: one for one in bpvet.due(held).rows}
    assert found["R"].band == "no_plan"
    assert found["R"].latest is None
    assert found["N"].band == "no_plan"
    assert found["N"].why.startswith("Not measured yet")


def test_a_clinic_without_a_single_plan():
    held = records([("R", "2026-05-01", 130.0)], animals=kinds(("R", "rabbit")))
    found = bpvet.due(held)
    assert [one.band for one in found.rows] == ["no_plan"]
    assert len(found.to_frame()) == 1
    assert "no plan" in repr(found)


def test_where_no_rule_speaks_the_list_does_not_say_that_nothing_is_to_be_done():
    held = records([("R", "2026-05-01", 45.0)], animals=kinds(("R", "rabbit")))
    (row,) = bpvet.due(held).rows
    assert row.what == ()
    # Nor is a date told where there is none.
    assert asked_words(row) == "for the vet to decide"
    assert row.urgent == ()


def test_an_animal_that_left_is_never_on_it():
    animals = [{"animal": "A", "species": "cat", "left_on": "2026-05-25"}]
    found = bpvet.due(records([("A", "2026-05-20", 195.0)], animals=animals))
    assert found.rows == ()
    assert found.left == 1


def test_a_contact_moves_a_row_and_never_deletes_it():
    rows = [(animal, "2026-05-20", 195.0) for animal in "ABCDE"]
    contacts = [
        {"animal": animal, "date": date, "outcome": outcome}
        for animal, date, outcome in (
            ("A", "2026-05-29", "booked"),
            ("B", "2026-05-29", "declined"),
            ("C", "2026-05-29", "no answer"),
            ("D", "2026-05-29", "left"),
        )
    ]
    found = bpvet.due(records(rows, contacts=contacts)).rows
    assert [one.animal for one in found] == ["C", "E", "A", "B", "D"]
    assert {one.band for one in found} == {"now"}
    assert "left_on" in found[-1].contact.text


@pytest.mark.parametrize(
    ("date", "moves"),
    [("2026-05-29", True), ("2026-05-20", True), ("2026-05-19", False)],
)
def test_a_contact_before_the_last_entry_moves_nothing(date, moves):
    contacts = [{"animal": "A", "date": date, "outcome": "booked"}]
    held = records([("A", "2026-05-20", 195.0), ("B", "2026-05-20", 195.0)], contacts=contacts)
    rows = {one.animal: one for one in bpvet.due(held).rows}
    assert rows["A"].contact.moves is moves
    assert next(iter(rows)) == ("B" if moves else "A")


@pytest.mark.parametrize(("as_of", "moves"), [("2026-06-28", True), ("2026-06-29", False)])
def test_a_booking_that_brought_nobody_ends(as_of, moves):
    contacts = [{"animal": "A", "date": "2026-05-29", "outcome": "booked"}]
    (row,) = bpvet.due(records(as_of=as_of, contacts=contacts)).rows
    assert row.contact.moves is moves


def test_contacts_of_an_unknown_animal_are_found_and_told():
    contacts = [{"animal": "Z", "date": "2026-05-29", "outcome": "booked"}]
    held = records(contacts=contacts)
    assert any(one.value == "Z" and one.file == "contacts" for one in held.findings)
    assert bands(held)["Z"] == "no_plan"


@pytest.mark.parametrize(
    ("seen_on", "sign", "what"),
    [
        # Once 172 on 20 May: the eyes are asked for until somebody looked.
        (None, "", True),
        ("2026-05-20", "fundus normal", False),
        ("2026-05-20", "retinas normal OU", False),
        ("2026-05-19", "fundus normal", True),
        ("2026-05-21", "murmur", True),
    ],
)
def test_eyes_at_the_first_160(seen_on, sign, what):
    seen = [] if seen_on is None else [{"animal": "A", "seen_on": seen_on, "sign": sign}]
    tables = {"observations": seen} if seen else {}
    (row,) = bpvet.due(records([("A", "2026-05-20", 172.0)], **tables)).rows
    assert ("eyes" in row.what) is what
    assert any(one.rule == "eyes.first" for one in row.checks) is what


def test_eyes_of_an_animal_that_was_raised_are_due_each_year():
    seen = [{**EYES, "seen_on": "2025-06-10"}]
    rows = [("A", "2025-06-10", 172.0), ("A", "2026-05-20", 130.0)]
    (row,) = bpvet.due(records(rows, observations=seen)).rows
    (check,) = row.checks
    assert (check.rule, str(check.latest), check.grade) == ("eyes.yearly", "2026-06-10", "J")
    (later,) = bpvet.due(records(rows, as_of="2026-05-26", observations=seen)).rows
    assert "eyes" not in later.what


LABS = ("creatinine", "µmol/L", 120), ("potassium", "mmol/L", 4.2), ("upc", "", 0.1)


def labs(date: str, *names: str) -> list[dict[str, object]]:
    return [
        {"animal": "A", "sampled_on": date, "analyte": name, "value": value, "unit": unit}
        for name, unit, value in LABS
        if name in names
    ]


@pytest.mark.parametrize(
    ("drawn", "what"),
    [
        ([], {"bloods", "urine"}),
        (labs("2026-05-08", "creatinine", "potassium", "upc"), set()),
        (labs("2026-05-07", "creatinine", "potassium", "upc"), {"bloods", "urine"}),
        (labs("2026-05-10", "creatinine", "upc"), {"bloods"}),
        (labs("2026-05-10", "creatinine", "potassium"), {"urine"}),
    ],
)
def test_kidney_values_after_a_drug_of_the_renin_group(drawn, what):
    drug = {
        "animal": "A",
        "drug": "telmisartan",
        "started_on": "2026-05-01",
        "dose": "4",
        "dose_unit": "mg",
    }
    tables = {"labs": drawn} if drawn else {}
    (row,) = bpvet.due(records(treatments=[drug], **tables)).rows
    assert set(row.what) - {"measure", "eyes"} == what
    assert {one.what for one in row.checks if one.rule == "renin"} == what
    # Another drug asks for none of it.
    (other,) = bpvet.due(records(treatments=[{**drug, "drug": "amlodipine"}], **tables)).rows
    assert not [one for one in other.checks if one.rule == "renin"]


@pytest.mark.parametrize(
    ("value", "due_on"),
    [(130, None), (180, "2026-07-31"), (300, "2026-07-31"), (500, "2026-06-13")],
)
def test_kidney_values_by_stage(value, due_on):
    drawn = [
        {
            "animal": "A",
            "sampled_on": "2026-05-02",
            "analyte": "creatinine",
            "value": value,
            "unit": "µmol/L",
        }
    ]
    (row,) = bpvet.due(records(labs=drawn)).rows
    found = {str(one.latest) for one in row.checks if one.rule == "stage"}
    assert found == ({due_on} if due_on else set())


def test_the_probability_of_target_is_of_treated_animals():
    (plain,) = bpvet.due(records()).rows
    assert plain.p_at_target is None
    (row,) = bpvet.due(records(treatments=[DRUG])).rows
    trend = bpvet.fit_trend(records(treatments=[DRUG]), "A")
    assert row.p_at_target == pytest.approx(trend.answer().target.p_target, abs=1e-9)
    assert row.last.estimate == pytest.approx(trend.latest.mean, abs=1e-9)


def test_beside_what_is_urgent_nothing_reassures():
    (row,) = bpvet.due(records([("A", "2026-05-30", 85.0)], treatments=[DRUG])).rows
    assert row.urgent
    assert (row.p_at_target, row.p_below_raised) == (None, None)


def test_every_row_says_what_the_trend_says():
    held = records([("A", "2026-01-10", 168.0), ("A", "2026-05-20", 175.0)], treatments=[DRUG])
    (row,) = bpvet.due(held, guideline="isfm2017").rows
    again = bpvet.fit_trend(held, "A").answer(guideline="isfm2017").recheck
    assert (row.state, row.earliest, row.latest) == (again.state, again.earliest, again.latest)
    assert (row.guideline, row.grade) == (again.guideline, again.grade)


def test_a_guideline_that_does_not_speak_of_a_species_gives_way():
    held = records([("A", "2026-05-20", 150.0)], animals=kinds(("A", "dog")))
    (row,) = bpvet.due(held, guideline="isfm2017").rows
    assert row.latest is not None
    with pytest.raises(CallError, match="No guideline"):
        bpvet.due(held, guideline="none")
    with pytest.raises(CallError, match="days"):
        bpvet.due(held, days=-1)


def test_pseudonyms_leave_ids_and_names_out():
    animals = [{"animal": "A17", "species": "cat", "name": "Pilchard"}]
    found = bpvet.due(records([("A17", "2026-05-20", 195.0)], animals=animals), pseudonyms=True)
    told = json.dumps(found.to_list())
    assert "A17" not in told
    assert "Pilchard" not in told
    assert found.data_digest == ""
    assert found.rows[0].animal == "animal 01"


def test_json_is_plain_and_the_frame_flat():
    found = bpvet.due(records([("A", "2026-05-20", 195.0)], treatments=[DRUG]))
    (row,) = json.loads(json.dumps(found.to_list(), allow_nan=False))
    keys = {
        "animal",
        "name",
        "band",
        "earliest",
        "latest",
        "state",
        "why",
        "what",
        "guideline",
        "grade",
        "overdue_days",
        "last",
        "p_at_target",
        "treated",
        "contact",
    }
    assert keys <= set(row)
    assert set(row["last"]) >= {"date", "estimate"}
    frame = found.to_frame()
    assert frame.loc[0, "band"] == "now"
    assert frame["latest"].dtype.kind == "M"
    assert licensed() in found.cautions


@settings(max_examples=12, deadline=None)
@given(st.data())
def test_every_animal_once_in_order_and_stable(data):
    count = data.draw(st.integers(1, 6))
    rows = [
        (
            f"A{a}",
            str(np.datetime64("2026-06-01") - data.draw(st.integers(0, 500))),
            float(data.draw(st.integers(70, 230))),
        )
        for a in range(count)
    ]
    order = data.draw(st.permutations(rows))
    found = [one.animal for one in bpvet.due(records(rows)).rows]
    assert sorted(found) == sorted(animal for animal, _, _ in rows)
    # The order of the input changes nothing.
    assert [one.animal for one in bpvet.due(records(list(order))).rows] == found
    places = [list(BANDS).index(one.band) for one in bpvet.due(records(rows)).rows]
    assert places == sorted(places)


def _tried(systolic: str, **cells: str) -> bpvet.Records:
    """Return records of a cat measured in January, and of a row of 25 May that has no number."""
    rows = [("A", "2026-01-02", "150", "", "")] * 4
    rows.append(("A", "2026-05-25", systolic, cells.get("excluded", ""), cells.get("note", "")))
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "excluded", "note"])
    animals = pd.DataFrame([{"animal": "A", "species": "cat", "birth_date": "2012-05-01"}])
    return bpvet.Records.from_frames(
        readings.assign(method="doppler"), animals=animals, as_of=AS_OF
    )


def test_an_animal_that_could_not_be_measured_is_not_lost_to_follow_up():
    assert bands(records([("A", "2025-01-02", 150.0)])) == {"A": "lost"}
    (row,) = bpvet.due(_tried("could not")).rows
    assert row.band == "overdue"
    assert "No visit is on record" not in row.why
    assert "25 May 2026 one reading is on record and none can be used" in row.why


@pytest.mark.parametrize(
    "held",
    [
        _tried("", note="blind since monday"),
        _tried("blind, could not measure"),
        _tried("150", excluded="collapsed"),
    ],
)
def test_what_a_row_without_a_number_may_say_is_read_within_two_days(held: bpvet.Records):
    (row,) = bpvet.due(held).rows
    assert row.band == "two_days"
    assert "is that a sign?" in row.why


@pytest.mark.parametrize(
    ("note", "band"),
    [("true 190?", "two_days"), ("true 85?", "two_days"), ("true 120?", "later"), ("", "later")],
)
def test_a_pressure_in_a_note_is_read_within_two_days_where_it_would_be_worse(note, band):
    rows = [
        ("A", f"{day}T09:0{i}", "132") for day in ("2026-02-25", "2026-05-25") for i in range(5)
    ]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic"])
    readings = readings.assign(method="doppler", note=[""] * 9 + [note])
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"], "birth_date": ["2018-01-01"]})
    held = bpvet.Records.from_frames(readings, animals=animals, as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert row.band == band
    assert (f"A note of 25 May 2026 says “{note}”. Is that the pressure?" in row.why) is bool(note)
    assert row.urgent == ()
    (unnamed,) = bpvet.due(held, pseudonyms=True).rows
    assert not note or note not in unnamed.why + "".join(unnamed.open_questions)


@pytest.mark.parametrize(("sign", "band"), [("Krampfanfall", "due"), ("eyes normal", "later")])
def test_a_sign_that_is_not_understood_is_read_before_the_animal_is_left_until_later(sign, band):
    rows = [("A", f"2026-05-25T09:0{i}", "doppler", "132") for i in range(5)]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "method", "systolic"])
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"], "birth_date": ["2018-01-01"]})
    seen = pd.DataFrame([("A", "2026-05-25", sign)], columns=["animal", "seen_on", "sign"])
    held = bpvet.Records.from_frames(readings, animals=animals, observations=seen, as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert (row.band, row.urgent) == (band, ())
    assert (f"“{sign}” (25 May 2026). Please read it." in row.why) is (band == "due")


def test_what_is_recorded_as_present_is_not_asked_about_again():
    readings = pd.DataFrame(
        [("A", "2026-05-25", "doppler", "150", "still blind")] * 4,
        columns=["animal", "taken_at", "method", "systolic", "note"],
    )
    seen = pd.DataFrame([("A", "2026-05-24", "blind")], columns=["animal", "seen_on", "sign"])
    held = bpvet.Records.from_frames(readings, observations=seen, as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert row.band == "now"
    assert "is that a sign?" not in row.why


def test_a_note_of_a_measured_visit_is_asked_about_on_the_list():
    rows = [("A", "2026-05-25", "150", "")] * 3 + [("A", "2026-05-25", "150", "had a seizure")]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "note"])
    held = bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert row.band == "two_days"
    assert "A note of 25 May 2026 says “had a seizure”: is that a sign?" in row.why
    # Ninety days later it is no longer read before all others, and nobody has answered it.
    (row,) = bpvet.due(held, as_of="2026-08-24").rows
    assert (row.band, row.read_first) == ("overdue", True)
    assert "is that a sign?" in row.why


def _noted(note: str, *seen: tuple[str, str, str], again: str = "") -> bpvet.Records:
    """Return a cat with a note of a year before `AS_OF`, what was entered, and a later visit."""
    rows = [("A", "2025-05-25", "150", "")] * 3 + [("A", "2025-05-25", "150", note)]
    rows += [("A", again, "131", "")] * 4 if again else []
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "note"])
    frame = pd.DataFrame(
        [("A", *row) for row in seen], columns=["animal", "seen_on", "sign", "status"]
    )
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"], "birth_date": ["2018-01-01"]})
    return bpvet.Records.from_frames(
        readings.assign(method="doppler"), observations=frame, animals=animals, as_of=AS_OF
    )


@pytest.mark.parametrize(
    "note", ["blind since monday", "had a seizure", "collapsed at home", "head tilt"]
)
def test_who_is_lost_with_a_sign_in_a_note_is_asked_about_first(note):
    (row,) = bpvet.due(_noted(note)).rows
    assert row.band == "overdue"
    assert row.why.startswith(f"A note of 25 May 2025 says “{note}”: is that a sign?")
    assert row.what == ("measure",)
    assert bpvet.due(_noted("calm")).rows[0].band == "lost"


@pytest.mark.parametrize(
    ("note", "seen", "asked"),
    [
        ("blind since monday", (), True),  # seen again, and nobody said anything of the eyes
        ("blind since monday", ("2026-05-20", "heart normal", ""), True),
        ("blind since monday", ("2026-05-20", "clinically normal", ""), True),
        ("blind since monday", ("2026-05-20", "eyes normal", ""), False),
        ("blind since monday", ("2026-05-20", "blindness", "absent"), False),
        ("blind since monday", ("2026-05-20", "blindness", "longstanding"), False),
        # Of one day the more careful counts; an entry before the note is no answer.
        ("blind since monday", ("2025-05-25", "blindness", "absent"), True),
        ("blind since monday", ("2025-05-20", "eyes normal", ""), True),
        ("had a seizure", ("2026-05-20", "eyes normal", ""), True),
        ("had a seizure", ("2026-05-20", "neuro exam normal", ""), False),
        ("collapsed at home", (), False),  # it has come back on its legs
        ("bit wobbly, head tilt", (), False),
    ],
)
def test_an_old_sign_in_a_note_is_asked_until_an_entry_answers_it(note, seen, asked):
    held = _noted(note, *([seen] if seen else []), again="2026-05-20")
    (row,) = bpvet.due(held).rows
    assert ("is that a sign?" in row.why) is asked
    assert row.band == ("due" if asked else "later")
    assert (row.latest is None) is asked


def test_of_a_sign_in_many_notes_the_newest_asks():
    days = [f"2025-0{month}-25" for month in range(1, 6)]
    rows = [("A", day, "131", f"blind {day}") for day in days for _ in range(3)]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "note"])
    held = bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert row.why.count("is that a sign?") == 1
    assert "blind 2025-05-25" in row.why


@pytest.mark.parametrize(
    ("sign", "status", "place"), [("blind?", "", "An entry"), ("retinas", "detachd?", "An entry")]
)
def test_an_unclear_entry_is_asked_about_however_old(sign, status, place):
    (row,) = bpvet.due(_noted("", ("2025-05-25", sign, status))).rows
    assert row.band == "overdue"
    assert row.why.startswith(place)


def test_no_far_date_stands_beside_what_may_be_urgent():
    rows = [("A", "2026-05-25", "150", "")] * 3 + [("A", "2026-05-25", "150", "blind?")]
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "note"])
    held = bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=AS_OF)
    found = bpvet.due(held)
    (row,) = found.rows
    assert (row.read_first, row.earliest, row.latest, row.state, row.grade) == (True, *[None] * 4)
    plain = json.loads(json.dumps(found.to_list()))[0]
    assert (plain["read_first"], plain["latest"]) == (True, None)
    first = "read what is asked below first, then measure"
    assert asked_words(row) == first
    day = re.search(r"by \d{4}", due_text(found) + due_page(found))
    assert day is None
    assert found.to_frame()["latest"].isna().all()
    calendar = due_calendar(found).decode()
    assert "DTSTART;VALUE=DATE:20260601" in calendar
    assert "read what is asked first" in calendar.replace("\r\n ", "")
    # One that has passed reassures nobody.
    (row,) = bpvet.due(held, as_of="2026-12-01").rows
    assert asked_words(row).startswith(f"{first}, by 2026-")
    # What is asked of a drug leaves the window as it is.
    drug = [("A", "2026-05-25", "150", "amlodipine stopped")] * 4
    readings = pd.DataFrame(drug, columns=["animal", "taken_at", "systolic", "note"])
    held = bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=AS_OF)
    (row,) = bpvet.due(held).rows
    assert (row.read_first, row.latest is None) == (False, False)


def test_rows_without_an_animal_are_told_above_the_list():
    rows = [("A", "2026-05-25", "150")] * 3 + [("", "2026-05-25", "240")] * 2
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic"])
    seen = pd.DataFrame([("", "2026-05-25", "blind")], columns=["animal", "seen_on", "sign"])
    held = bpvet.Records.from_frames(
        readings.assign(method="doppler"), observations=seen, as_of=AS_OF
    )
    found = bpvet.due(held)
    assert found.nameless == 3
    assert due_text(found).split("\n\n")[1].startswith("Three rows of readings or signs have no")
    assert "Three rows of readings or signs have no animal's id" in due_page(found)
    assert "no animal's id" not in due_text(bpvet.due(records()))


def test_with_pseudonyms_no_open_question_quotes_an_id():
    folder = Path(__file__).parents[2] / "scenarios" / "id_typed_otherwise"
    records = bpvet.read(folder, as_of="2026-11-30")
    assert any("Pansi" in row.why for row in bpvet.due(records).rows)
    hidden = bpvet.due(records, pseudonyms=True)
    asked = [row for row in hidden.rows if row.open_questions]
    assert asked
    assert all(question in row.why for row in asked for question in row.open_questions)
    assert "pans" not in str(hidden.to_dict()).casefold()


def test_with_pseudonyms_urgent_lines_tell_the_sign_and_not_who_saw_it():
    seen = [
        ("Mrs Smith's “Tiger” blind since Sunday", ""),
        ("Mrs Smith saw a snorf", "present"),
    ]
    rows = [
        {"animal": "A", "seen_on": "2026-05-20", "sign": sign, "status": status}
        for sign, status in seen
    ]
    note = "Mrs Smith, of “Tiger” and “Pansy”, says: seizure, it died"
    contact = {"animal": "A", "date": "2026-05-21", "outcome": "declined", "note": note}
    held = records([("A", "2026-05-20", 195.0)], observations=rows, contacts=[contact])
    assert "Smith" in bpvet.due(held).rows[0].why
    (row,) = bpvet.due(held, pseudonyms=True).rows
    hidden = bpvet.due(held, pseudonyms=True)
    told = json.dumps(hidden.to_list()) + due_page(hidden)
    assert "Smith" not in told
    assert "Tiger" not in told
    assert "Pansy" not in told
    assert "blindness" in row.why
    assert [line.signs for line in row.urgent] == [("blindness",), ("…",)]


@pytest.mark.parametrize(
    ("seen_on", "sign", "status", "band"),
    [
        ("2026-05-28", "collapse", "present", "two_days"),
        ("2026-05-28", "collapse?", "", "two_days"),  # no more is made of what is unclear
        ("2026-05-28", "collapse", "absent", "later"),
        ("2026-05-28", "collapse", "longstanding", "later"),
        ("2026-05-20", "collapse", "present", "due"),  # measured that day, and not answered since
    ],
)
def test_a_weak_animal_that_was_not_measured_since_is_on_the_list(seen_on, sign, status, band):
    row = {"animal": "A", "seen_on": seen_on, "sign": sign, "status": status}
    held = records([("A", "2026-05-20", 131.0)], observations=[row])
    (found,) = bpvet.due(held).rows
    assert found.band == band
    assert ("Collapse (28 May 2026)" in found.why) is (band == "two_days" and status == "present")
