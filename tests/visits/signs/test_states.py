"""How each sign stands: one a term, by its newest row, and the more careful where rows disagree."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bpvet.visits.signs.signs import animal_signs
from bpvet.visits.signs.states import sign_states
from tests.models import small_records as clinic
from tests.models.small_records import sign

READING = clinic.rows(clinic.steady(130, ["2026-10-20"]))


def _states(*rows):
    held = clinic.records(READING, (), list(rows))
    return sign_states(animal_signs(held, "A1"))


def _one(*rows, term):
    (found,) = (one for one in _states(*rows) if one.term == term)
    return found


def test_rows_of_one_term_are_one_sign_by_its_newest_row():
    found = _one(
        sign("2026-05-01", "Acute blindness"),
        sign("2026-06-01", "blind OU"),
        sign("2026-07-01", "no vision"),
        term="blindness",
    )
    assert (str(found.first_seen), str(found.seen_on)) == ("2026-05-01", "2026-07-01")
    assert (found.text, found.reading, found.longstanding) == ("no vision", "present", False)


@pytest.mark.parametrize(
    ("status", "reading", "longstanding"),
    [
        ("present", "present", False),
        ("absent", "denied", False),
        ("resolved", "past", False),
        ("longstanding", "present", True),
        ("", "present", False),
        ("maybe", "unclear", False),
    ],
)
def test_a_status_decides_and_a_word_that_is_none_is_asked(status, reading, longstanding):
    found = _one(sign("2026-10-01", "blindness", status), term="blindness")
    assert (found.reading, found.longstanding) == (reading, longstanding)


def test_a_resolved_detachment_does_not_resolve_a_blindness():
    rows = [
        sign("2026-05-01", "blindness"),
        sign("2026-05-01", "retinal detachment"),
        sign("2026-06-01", "retinal detachment", "resolved"),
    ]
    found = {one.term: one.reading for one in _states(*rows)}
    assert found == {"blindness": "present", "retinal detachment": "past"}


@pytest.mark.parametrize(
    ("answer", "eye", "brain"),
    [
        ("eyes: normal", "past", "present"),
        ("fundus normal", "past", "present"),
        ("neuro exam normal", "present", "past"),
        ("heart normal", "present", "present"),
    ],
)
def test_a_newer_normal_examination_answers_its_group(answer, eye, brain):
    rows = [
        sign("2026-05-01", "retinal haemorrhage"),
        sign("2026-05-01", "seizure"),
        sign("2026-06-01", answer, ""),
    ]
    found = {one.term: one.reading for one in _states(*rows)}
    assert found["seizure"] == brain
    assert next(found[term] for term in found if "retinal" in term) == eye


def test_a_normal_examination_of_the_day_itself_answers_nothing():
    rows = [sign("2026-05-01", "blindness"), sign("2026-05-01", "eyes: normal", "")]
    assert _one(*rows, term="blindness").reading == "present"


def test_where_rows_of_one_day_disagree_the_more_careful_counts():
    for order in ((0, 1), (1, 0)):
        rows = [sign("2026-05-01", "blindness"), sign("2026-05-01", "blindness", "absent")]
        assert _one(*(rows[i] for i in order), term="blindness").reading == "present"


def test_a_row_judged_longstanding_outweighs_another_of_its_day():
    rows = [sign("2026-05-01", "blindness"), sign("2026-05-01", "blindness", "longstanding")]
    assert _one(*rows, term="blindness").longstanding
    # A newer row that says present opens it again.
    newer = [*rows, sign("2026-06-01", "blindness")]
    assert not _one(*newer, term="blindness").longstanding


def test_a_sign_that_was_answered_and_comes_back_is_first_seen_again():
    rows = [
        sign("2026-03-01", "head tilt"),
        sign("2026-04-01", "head tilt", "resolved"),
        sign("2026-08-01", "head tilt"),
    ]
    assert str(_one(*rows, term="head tilt").first_seen) == "2026-08-01"
    by_exam = [rows[0], sign("2026-04-01", "neuro exam normal", ""), rows[2]]
    assert str(_one(*by_exam, term="head tilt").first_seen) == "2026-08-01"


def test_words_that_are_not_understood_stand_one_by_one():
    rows = [
        sign("2026-05-01", "Krampfanfall", ""),
        sign("2026-06-01", "Netzhautablösung", ""),
        sign("2026-06-01", "Krampfanfall", ""),
    ]
    found = _states(*rows)
    assert [one.reading for one in found] == ["unread"] * 3


def test_what_stands_in_a_note_is_asked_and_neither_answers_nor_opens():
    row = {**sign("2026-06-01", "cough"), "note": "blind since yesterday?"}
    noted = [one for one in _states(row) if one.asked_only]
    assert [(one.term, one.reading, one.table) for one in noted] == [
        ("blindness", "unclear", "observations note")
    ]
    answered = _states(
        sign("2026-05-01", "blindness"), {**sign("2026-06-01", "cough"), "note": "eyes normal"}
    )
    assert "present" in [one.reading for one in answered if one.term == "blindness"]


WORDS = st.sampled_from(
    ["blindness", "seizure", "head tilt", "eyes: normal", "neuro exam normal", "no seizures"]
)
ROWS = st.lists(
    st.builds(
        sign,
        st.sampled_from(["2026-05-01", "2026-06-01", "2026-07-01"]),
        WORDS,
        st.sampled_from(["", "present", "absent", "resolved", "longstanding", "maybe"]),
    ),
    min_size=1,
    max_size=5,
)


@given(ROWS)
@example([sign("2026-05-01", "blindness", ""), sign("2026-06-01", "blindness", "maybe")])
def test_the_order_of_rows_does_not_matter_and_dates_hold_together(rows):
    def said(found):
        return sorted((one.term, one.reading, one.longstanding, str(one.seen_on)) for one in found)

    found = _states(*rows)
    assert said(found) == said(_states(*rows[::-1]))
    # A sign has one state; two only where an unclear newest row leaves a present one unanswered.
    for term in {one.term for one in found if one.term}:
        readings = [one.reading for one in found if one.term == term]
        assert len(readings) == 1 or readings == ["unclear", "present"]
    for one in found:
        assert one.first_seen <= one.seen_on
        assert one.seen_on <= np.datetime64("2026-11-01")


@given(ROWS)
@example(
    [
        sign("2026-05-01", "seizure", "present"),
        sign("2026-05-01", "no seizures", "longstanding"),
    ]
)
def test_a_present_sign_is_never_lost(rows):
    """The newest row of a term that says present leaves it present, unless an examination did."""
    found = {one.term: one for one in _states(*rows) if one.term}
    last = max(row["seen_on"] for row in rows)
    newest = [row for row in rows if row["seen_on"] == last and row["status"] == "present"]
    for row in newest:
        if row["sign"] in found:
            assert found[row["sign"]].reading == "present"


def test_a_sign_once_judged_stays_as_it_was():
    found = _one(sign("2026-05-01", "Acute blindness"), term="blindness")
    with pytest.raises(FrozenInstanceError):
        found.reading = "denied"
    assert found.reading == "present"


@pytest.mark.parametrize(
    ("entry", "reading"),
    [
        (("2026-10-20", "blind OU"), "other"),
        (("2026-11-01", "blindness", "longstanding"), "other"),
        (("2026-11-01", "blindness", "absent"), "past"),
        (("2026-11-01", "blindness", "resolved"), "past"),
        (("2026-11-01", "eyes normal"), "past"),
        # Of one day the more careful counts; an unclear row, another sign or an older entry answer
        # nothing.
        (("2026-10-20", "blindness", "absent"), "unclear"),
        (("2026-10-20", "eyes normal"), "unclear"),
        (("2026-11-01", "blind?"), "unclear"),
        (("2026-11-01", "retinal detachment"), "unclear"),
        (("2026-10-01", "blindness"), "unclear"),
    ],
)
def test_an_entry_answers_what_a_note_asks(entry, reading):
    rows = [{**row, "note": "blind since monday"} for row in READING[:1]] + READING[1:]
    held = clinic.records(rows, (), [sign(*entry)])
    (found,) = (one for one in sign_states(animal_signs(held, "A1")) if one.asked_only)
    assert (found.term, found.reading) == ("blindness", reading)
