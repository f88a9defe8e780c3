"""Courses: spells, increments, stops, what cannot be told apart, and what must be asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.sessions import sessions
from bpvet.visits.treatments.courses import Treatments, all_courses, courses, treated_on

Clinic = Callable[..., Any]
READING = [{"taken_at": "2026-01-01", "systolic": 150}]


@pytest.fixture
def given(clinic: Clinic) -> Callable[..., Treatments]:
    """Return a function from rows of treatment (start, stop, dose, …) to one animal's courses."""

    def build(*rows: Any, as_of: str = "2026-12-31") -> Treatments:
        names = ("started_on", "stopped_on", "dose", "drug")
        filled = [
            row if isinstance(row, dict) else dict(zip(names, row, strict=False)) for row in rows
        ]
        return courses(clinic(READING, treatments=filled, as_of=as_of), "A17")

    return build


Given = Callable[..., Treatments]


def told(treatments: Treatments) -> list[tuple[str, str, str, int]]:
    """Return kind, start, stop and spell of each course."""
    return [(c.kind, str(c.started_on), str(c.stopped_on), c.spell) for c in treatments.courses]


def kinds(treatments: Treatments) -> list[str]:
    return [finding.kind for finding in treatments.findings]


def test_one_row_is_one_course(given: Given) -> None:
    found = given(("2026-02-01", "", "0.625 mg"))
    assert told(found) == [("base", "2026-02-01", "NaT", 0)]
    course = found.courses[0]
    assert (course.drug, course.tau_days, course.known_drug) == ("amlodipine", 3.0, True)
    assert (course.dose, course.together_with, course.spells) == ("0.625 mg", (), (0,))
    assert found.findings == ()


def test_a_change_of_dose_is_an_increment_to_the_spell_s_stop(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-03-01", "0.625 mg"),
        ("2026-03-02", "2026-04-01", "1.25 mg"),  # one day's gap: the same spell
        ("2026-04-01", "2026-05-01", "1.25 mg"),  # same dose: no increment
        ("2026-05-01", "2026-06-01", "0.625 mg"),  # against the row just before: an increment
    )
    assert told(found) == [
        ("base", "2026-02-01", "2026-06-01", 0),
        ("increment", "2026-03-02", "2026-06-01", 0),
        ("increment", "2026-05-01", "2026-06-01", 0),
    ]


def test_a_gap_of_two_days_is_a_new_coefficient(given: Given) -> None:
    found = given(("2026-02-01", "2026-03-01", "1 mg"), ("2026-03-03", "", "2 mg"))
    assert told(found) == [
        ("base", "2026-02-01", "2026-03-01", 0),
        ("base", "2026-03-03", "NaT", 1),
    ]


def test_a_blank_stop_ends_at_the_drug_s_next_start(given: Given) -> None:
    found = given(("2026-02-01", "", "1 mg"), ("2026-05-01", "2026-06-01", "2 mg"))
    assert told(found) == [
        ("base", "2026-02-01", "2026-06-01", 0),
        ("increment", "2026-05-01", "2026-06-01", 0),
    ]
    assert [str(span.stopped_on) for span in found.spans] == ["2026-05-01", "2026-06-01"]


def test_rows_that_overlap_are_one_spell_to_the_latest_stop(given: Given) -> None:
    found = given(("2026-02-01", "2026-08-01", "1 mg"), ("2026-03-01", "2026-04-01", "1 mg"))
    assert told(found) == [("base", "2026-02-01", "2026-08-01", 0)]


def test_as_of_leaves_a_later_stop_open_and_a_later_start_out(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-08-01", "1 mg"),
        ("2026-08-01", "", "2 mg"),
        as_of="2026-05-01",
    )
    assert told(found) == [("base", "2026-02-01", "NaT", 0)]
    assert len(found.spans) == 1
    at_the_stop = given(("2026-02-01", "2026-05-01", "1 mg"), as_of="2026-05-01")
    assert told(at_the_stop) == [("base", "2026-02-01", "2026-05-01", 0)]


@pytest.mark.parametrize(
    ("first", "second", "kind"),
    [
        ("", "1 mg", "dose not stated"),
        ("1 mg", "", "dose not stated"),
        ("half a tablet", "1 tablet", "dose not stated"),
        ("1 mg", "1 tablet", "dose unit differs"),
        ("1 mg once daily", "1 mg twice daily", "dose unit differs"),
    ],
)
def test_what_cannot_be_compared_is_asked(given: Given, first: str, second: str, kind: str) -> None:
    found = given(("2026-02-01", "", first), ("2026-03-01", "", second))
    assert told(found) == [("base", "2026-02-01", "NaT", 0)]
    assert kinds(found) == [kind]
    assert found.findings[0].column == "dose"
    assert found.findings[0].line == (1 if not first or "half" in first else 2)


def test_each_unstated_dose_is_asked_once(given: Given) -> None:
    found = given(
        ("2026-02-01", "", "1 mg"), ("2026-03-01", "", "some"), ("2026-04-01", "", "2 mg")
    )
    assert [course.kind for course in found.courses] == ["base"]
    assert kinds(found) == ["dose not stated"]


def test_a_lone_row_needs_no_dose(given: Given) -> None:
    assert given(("2026-02-01", "", "")).findings == ()


def test_rows_starting_together_are_one_row(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-03-01", "1 mg"),
        ("2026-02-01", "2026-04-01", "2 mg"),
        ("2026-04-01", "", "4 mg"),
    )
    # Two doses at once are no one number: nothing to compare the next with.
    assert told(found) == [("base", "2026-02-01", "NaT", 0)]
    assert kinds(found) == ["rows starting together", "dose not stated"]
    assert found.courses[0].dose == "1 mg; 2 mg"


def test_courses_that_cannot_be_told_apart_are_one(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-05-01", "1 mg", "benazepril"),
        ("2026-02-01", "2026-05-01", "2 mg", "enalapril"),
        ("2026-02-01", "2026-05-01", "3 mg", "amlodipine"),  # a shorter tau
        ("2026-02-02", "2026-05-01", "3 mg", "telmisartan"),  # a day later: told apart
    )
    assert told(found) == [
        ("base", "2026-02-01", "2026-05-01", 0),
        ("base", "2026-02-02", "2026-05-01", 3),
    ]
    joined, alone = found.courses
    assert (alone.drug, alone.spells) == ("telmisartan", (3,))
    assert joined.drug == "amlodipine + benazepril + enalapril"
    assert joined.together_with == ("amlodipine", "benazepril", "enalapril")
    assert (joined.spells, joined.tau_days) == ((0, 1, 2), 7.0)
    assert kinds(found) == ["cannot be told apart"]


def test_when_one_of_drugs_begun_together_stops_the_rest_is_a_change_on_top(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-04-01", "1 mg", "benazepril"),
        ("2026-02-01", "2026-05-01", "2 mg", "enalapril"),
        ("2026-02-01", "", "3 mg", "amlodipine"),
    )
    assert told(found) == [
        ("base", "2026-02-01", "NaT", 0),
        ("left", "2026-04-01", "NaT", 0),
        ("left", "2026-05-01", "NaT", 0),
    ]
    assert [course.drug for course in found.courses] == [
        *("amlodipine + benazepril + enalapril", "amlodipine + enalapril", "amlodipine")
    ]
    assert {course.spells for course in found.courses} == {(0, 1, 2)}
    assert kinds(found) == ["cannot be told apart"]


def test_an_increment_joined_with_a_base_is_a_base(given: Given) -> None:
    # enalapril begins on the day benazepril is raised, and both are ongoing.
    found = given(
        ("2026-02-01", "", "1 mg", "benazepril"),
        ("2026-03-01", "", "2 mg", "benazepril"),
        ("2026-03-01", "", "1 mg", "enalapril"),
    )
    assert told(found) == [("base", "2026-02-01", "NaT", 0), ("base", "2026-03-01", "NaT", 1)]
    assert found.courses[1].drug == "enalapril + benazepril"
    assert found.courses[1].spells == (0, 1)


def test_a_drug_off_the_list_is_asked_about_and_makes_no_animal_treated(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-03-01", "1 mg", "zzyzxine"), ("2026-04-01", "", "1 mg", "zzyzxine")
    )
    assert found.courses == ()
    assert kinds(found) == ["drug off the list"]
    assert (
        '"zzyzxine" is not on the drug list and is not taken as a pressure drug; if it is one, '
        "write purpose = blood pressure." in str(found.findings[0])
    )
    other = found.others[0]
    assert (other.drug, other.known, other.moves_pressure, other.raises) == (
        "zzyzxine",
        False,
        True,
        False,
    )
    assert [(span.drug, span.known, span.modelled) for span in found.spans] == [
        ("zzyzxine", False, False)
    ] * 2
    days = np.array(["2026-02-01", "2026-02-02", "2026-03-01", "2026-03-02"], "datetime64[D]")
    assert [other.on(day) for day in days] == [False, True, True, False]
    assert found.spans[1].on(np.datetime64("2026-12-31"))
    day = np.array([np.datetime64("2026-02-10")])
    assert not treated_on({"A17": found}, np.array(["A17"], dtype=object), day).any()


def test_a_drug_off_the_list_is_modelled_where_its_purpose_names_pressure(given: Given) -> None:
    row = {"started_on": "2026-02-01", "drug": "zzyzxine", "purpose": "blood pressure"}
    found = given(row)
    course = found.courses[0]
    assert (course.drug, course.tau_days, course.known_drug) == ("zzyzxine", 5.0, False)
    assert kinds(found) == ["drug off the list, for pressure"]
    assert [(span.modelled, span.known) for span in found.spans] == [(True, False)]
    # A later row that says nothing of its purpose is asked about.
    both = given(row, {**row, "started_on": "2026-05-01", "purpose": ""})
    assert told(both) == [("base", "2026-02-01", "2026-05-01", 0)]
    assert kinds(both) == ["drug off the list", "drug off the list, for pressure"]


def test_what_a_drug_is_known_to_do_is_said_of_every_row(given: Given) -> None:
    found = given(
        ("2026-02-01", "", "", "prednisolone"),
        ("2026-02-02", "", "", "meloxicam"),
        ("2026-02-03", "", "", "telmisartan"),
        ("2026-02-04", "", "", "spironolactone"),
        ("2026-02-05", "", "", "PPA"),
        ("2026-02-06", "", "", "amlodipine/benazepril"),
    )
    acts = {span.drug: (span.raises, span.renin, span.nsaid) for span in found.spans}
    assert acts == {
        "prednisolone": (True, False, False),
        "meloxicam": (False, False, True),
        "telmisartan": (False, True, False),
        "spironolactone": (False, False, False),
        "phenylpropanolamine": (True, False, False),
        "amlodipine and benazepril": (False, True, False),
    }
    assert all(span.known for span in found.spans)
    assert [(one.drug, one.raises, one.nsaid) for one in found.others] == [
        ("prednisolone", True, False),
        ("meloxicam", False, True),
        ("phenylpropanolamine", True, False),
    ]


def test_other_drugs_are_named_and_drawn_never_modelled(given: Given) -> None:
    found = given(
        ("2026-02-01", "2026-03-01", "half a capsule", "gabapentin"),
        ("2026-02-10", "", "1 mg", "amlodipine"),
    )
    assert [course.drug for course in found.courses] == ["amlodipine"]
    other = found.others[0]
    assert (other.drug, other.kind, other.moves_pressure) == ("gabapentin", "calming", True)
    assert [(span.drug, span.dose, span.modelled) for span in found.spans] == [
        ("gabapentin", "half a capsule", False),
        ("amlodipine", "1 mg", True),
    ]


def test_the_purpose_overrides(given: Given) -> None:
    row = {"started_on": "2026-02-01"}
    pressure = given({**row, "drug": "gabapentin", "purpose": "hypertension"})
    assert [course.drug for course in pressure.courses] == ["gabapentin"]
    other = given({**row, "drug": "amlodipine", "purpose": "not for blood pressure"})
    assert (other.courses, [drug.kind for drug in other.others]) == ((), ["pressure"])
    unknown = given({**row, "drug": "zzyzxine", "purpose": "not for pressure"})
    assert (unknown.courses, unknown.findings) == ((), ())
    kidneys = given({**row, "drug": "telmisartan", "purpose": "proteinuria"})
    assert [course.drug for course in kidneys.courses] == ["telmisartan"]


def test_one_drug_by_its_names_is_one_spell(given: Given) -> None:
    found = given(
        ("2026-02-01", "", "1 mg", "Amlodipine besylate"), ("2026-03-01", "", "2 mg", "amlodipine")
    )
    assert [course.kind for course in found.courses] == ["base", "increment"]


def test_a_change_of_product_is_an_increment(given: Given) -> None:
    def row(start: str, dose: str, product: str) -> dict[str, str]:
        return {"started_on": start, "dose": dose, "product": product}

    found = given(
        row("2026-02-01", "1 mg", "tablet"),
        row("2026-03-01", "1 mg", " Tablet"),  # the same, written otherwise
        row("2026-04-01", "1 mg", "suspension"),
        row("2026-05-01", "2 mg", "paste"),  # both change: one increment
    )
    assert told(found) == [
        ("base", "2026-02-01", "NaT", 0),
        ("increment", "2026-04-01", "NaT", 0),
        ("increment", "2026-05-01", "NaT", 0),
    ]
    assert [course.product for course in found.courses] == ["tablet", "suspension", "paste"]
    assert found.findings == ()
    unstated = given(row("2026-02-01", "1 mg", "tablet"), row("2026-03-01", "1 mg", ""))
    assert [course.kind for course in unstated.courses] == ["base"]
    assert kinds(unstated) == ["product not stated"]
    # Without a dose the product still tells; that the dose is not given is still asked.
    words = given(row("2026-02-01", "", "tablet"), row("2026-03-01", "", "paste"))
    assert [course.kind for course in words.courses] == ["base", "increment"]
    assert kinds(words) == ["dose not stated", "dose not stated"]
    # Two products at once are none that another could be held against.
    both = given(
        row("2026-02-01", "1 mg", "tablet"),
        row("2026-02-01", "1 mg", "paste"),
        row("2026-03-01", "1 mg", "gel"),
    )
    assert [course.kind for course in both.courses] == ["base"]
    assert kinds(both) == ["rows starting together", "product not stated"]


def missing(clinic: Clinic, treatments: Any, missed: Any, readings: Any = READING) -> Any:
    made = clinic(readings, treatments=treatments)
    names = {"readings": ["animal", "taken_at", "method", "systolic"]}
    names |= {"animals": ["animal", "species"]}
    names |= {"treatments": ["animal", "drug", "started_on", "stopped_on", "dose"]}
    frames = {table: getattr(made, table)[columns] for table, columns in names.items()}
    rows = pd.DataFrame([{"animal": "A17", **row} for row in missed])
    return Records.from_frames(**frames, missed=rows, as_of="2026-12-31")


def test_courses_carry_the_stretches_without_doses(clinic: Clinic) -> None:
    treatments = [
        {"started_on": "2026-02-01", "stopped_on": "2026-06-01", "dose": "1 mg"},
        {"started_on": "2026-06-02", "stopped_on": "2026-08-01", "dose": "2 mg"},
        {"drug": "telmisartan", "started_on": "2026-02-01", "dose": "1 mg"},
    ]
    missed = [
        {"from": "2026-03-01", "to": "2026-03-04", "what": "missed", "drug": "amlodipine"},
        {"from": "2026-03-05", "to": "", "what": "missed", "drug": "Amlodipine besylate"},
        {"from": "2026-05-01", "to": "2026-05-02", "what": "late", "drug": "amlodipine"},
        {"from": "2026-07-30", "to": "2026-08-09", "what": "missed", "drug": ""},
    ]
    records = missing(clinic, treatments, missed)
    found = courses(records, "A17")
    stretches = {
        (course.drug, course.kind): [(str(a), str(b)) for a, b in course.missed]
        for course in found.courses
    }
    assert stretches == {
        # Missed while the other was given, or after the other had stopped.
        ("amlodipine + telmisartan", "base"): [("2026-07-30", "2026-08-09")],
        ("amlodipine", "increment"): [("2026-07-30", "2026-08-01")],
        ("telmisartan", "left"): [("2026-07-30", "2026-08-09")],
    }
    assert [one for one in kinds(found) if "doses" in one] == [
        *("doses missed", "doses missed", "doses late", "doses missed"),
    ]
    assert [(row.drug, row.what) for row in found.missed] == [
        *(("amlodipine", "missed"), ("amlodipine", "missed"), ("amlodipine", "late")),
        ("", "missed"),
    ]
    assert all_courses(records)["A17"].courses[0].missed == found.courses[0].missed


def test_of_drugs_begun_together_one_missed_alone_is_no_stretch_without_doses(
    clinic: Clinic,
) -> None:
    treatments = [
        {"drug": "benazepril", "started_on": "2026-02-01"},
        {"drug": "enalapril", "started_on": "2026-02-01"},
    ]
    row = {"from": "2026-03-01", "to": "2026-03-04", "what": "missed", "drug": "enalapril"}
    (one,) = courses(missing(clinic, treatments, [row]), "A17").courses
    (both,) = courses(missing(clinic, treatments, [{**row, "drug": ""}]), "A17").courses
    assert one.missed == ()
    assert len(both.missed) == 1


def test_sessions_inside_a_missed_stretch_say_so(clinic: Clinic) -> None:
    days = ["2026-02-28", "2026-03-01", "2026-03-04", "2026-03-05", "2026-04-01"]
    readings = [{"taken_at": day, "systolic": 150} for day in days]
    readings += [{"animal": "B", "taken_at": "2026-03-02", "systolic": 150}]
    missed = [
        {"from": "2026-03-01", "to": "2026-03-03", "what": "missed"},
        {"from": "2026-03-02", "to": "2026-03-04", "what": "missed"},
        {"from": "2026-04-01", "to": "", "what": "late"},
    ]
    records = missing(clinic, [{"started_on": "2026-02-01"}], missed, readings)
    frame = sessions(records)
    told = dict(zip(frame["animal"] + " " + frame["date"].astype(str), frame["flags"], strict=True))
    assert [day for day, flags in told.items() if "doses missed" in flags] == [
        "A17 2026-03-01",
        "A17 2026-03-04",
    ]


def test_row_order_changes_nothing(given: Given) -> None:
    rows = [
        ("2026-02-01", "", "1 mg", "amlodipine"),
        ("2026-03-01", "", "2 mg", "amlodipine"),
        ("2026-02-15", "2026-04-01", "3 mg", "telmisartan"),
        ("2026-04-02", "", "6 mg", "telmisartan"),
    ]
    straight, turned = given(*rows), given(*rows[::-1])
    assert told(straight) == told(turned)
    assert [c.drug for c in straight.courses] == [c.drug for c in turned.courses]
    assert straight.spans == turned.spans or [str(s) for s in straight.spans] == [
        str(s) for s in turned.spans
    ]


def test_no_treatment(clinic: Clinic) -> None:
    records = clinic(READING)
    assert courses(records, "A17").courses == ()
    assert all_courses(records) == {}


def test_the_unit_is_shown_once(given: Given) -> None:
    row = {"started_on": "2026-02-01", "dose_unit": "mg"}
    assert given({**row, "dose": "1"}).courses[0].dose == "1 mg"
    assert given({**row, "dose": "1 mg"}).courses[0].dose == "1 mg"
    assert given({**row, "dose": ""}).courses[0].dose == ""


@pytest.mark.parametrize(
    ("before", "after", "asked"),
    [
        ("0.625 mg", "6.25 mg", True),
        ("6,25 mg", "0,625 mg", True),
        ("1 mg", "100 mg", True),
        ("0.625 mg", "1.25 mg", False),
        ("0.625 mg", "6.5 mg", False),
        ("0,625 mg", "625 mg", True),
        ("1 mg", "10000 mg", False),
        ("1 mg", "10 ml", False),
        ("half", "5 mg", False),
    ],
)
def test_a_dose_by_tens_is_asked_about_and_taken_as_it_is(
    given: Given, before: str, after: str, asked: bool
) -> None:
    found = given(("2026-02-01", "", before), ("2026-04-01", "", after))
    of_tens = [finding for finding in found.findings if finding.code is Code.DOSE_BY_TENS]
    assert [(finding.line, finding.column) for finding in of_tens] == (
        [(2, "dose")] if asked else []
    )
    if asked:
        assert [course.kind for course in found.courses] == ["base", "increment"]
        assert before in of_tens[0].reason


def test_all_at_once_is_one_at_a_time(clinic: Clinic) -> None:
    rows = [
        {"animal": "B", "started_on": "2026-02-01", "dose": "1 mg"},
        {"animal": "A17", "started_on": "2026-03-01", "dose": "1 mg"},
        {"animal": "B", "started_on": "2026-04-01", "dose": "2 mg"},
    ]
    records = clinic([*READING, {**READING[0], "animal": "B"}], treatments=rows)
    together = all_courses(records)
    assert sorted(together) == ["A17", "B"]
    for animal, found in together.items():
        assert told(found) == told(courses(records, animal))


def test_treated_on_agrees_with_one_date_after_another(clinic: Clinic) -> None:
    rng = np.random.default_rng(5)
    start = np.datetime64("2026-01-01")
    rows, animals = [], ["A", "B", "C", "D"]
    for animal in animals[:3]:
        for drug in ("amlodipine", "telmisartan"):
            for _ in range(3):
                first = start + int(rng.integers(300))
                stop = first + int(rng.integers(60))
                row = {"animal": animal, "drug": drug, "started_on": str(first), "dose": "1 mg"}
                rows.append({**row, "stopped_on": "" if rng.random() < 0.1 else str(stop)})
    readings = [{**READING[0], "animal": animal} for animal in animals]
    treatments = all_courses(clinic(readings, treatments=rows))
    animal = rng.choice(animals, 400)
    date = start + rng.integers(0, 380, 400)
    expected = [
        any(
            course.started_on < day and (np.isnat(course.stopped_on) or day <= course.stopped_on)
            for course in treatments[who].courses
        )
        if who in treatments
        else False
        for who, day in zip(animal, date, strict=True)
    ]
    assert treated_on(treatments, animal, date).tolist() == expected
    assert 0 < sum(expected) < 400


def test_rows_starting_together_on_one_dose_keep_its_unit(given: Given) -> None:
    row = {"started_on": "2026-02-01", "dose": "1", "dose_unit": "mg"}
    later = {"started_on": "2026-04-01", "dose": "2", "dose_unit": "mg"}
    found = given(
        {**row, "stopped_on": "2026-03-01"},
        {**row, "stopped_on": "2026-04-01", "dose": "1.0"},
        later,
    )
    assert kinds(found) == ["rows starting together"]
    assert found.courses[0].dose == "1 mg"
    # The dose after it can be held against it.
    assert told(found)[1:] == [("increment", "2026-04-01", "NaT", 0)]


def test_a_finding_quotes_the_first_eighty_letters_of_a_cell(given: Given) -> None:
    note = "mg " + "as told by telephone " * 10
    (finding,) = given(("2026-02-01", "", "1 mg"), ("2026-04-01", "", note)).findings
    assert (finding.column, finding.value) == ("dose", note[:80])
