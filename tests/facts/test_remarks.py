"""What notes say of treatments and of an animal's end, as clinics write them in haste."""

from __future__ import annotations

import pytest

from bpvet.facts.remarks import (
    pressure_drugs_in,
    says_changed,
    says_left,
    says_not_given,
)


@pytest.mark.parametrize(
    "note",
    [
        *("STOPPED in september", "owner stopped it", "d/c 1.9.", "ran out, not collected"),
        *("dose doubled 1 sept", "now 1/2 tab, reduced", "halved", "switched to other drug"),
        *("to start if still high next visit", "never gave it", "refuses tablets", "telmisartan?"),
        *("on hold", "missed most doses", "not giving it", "off since easter"),
    ],
)
def test_a_note_of_a_drug_that_may_not_be_given_asks(note):
    assert says_not_given(note)
    assert says_changed(note)


@pytest.mark.parametrize(
    "note",
    [
        *("with food", "practice suspension", "for life", "morning and evening"),
        *("well tolerated", "appetite increased since", "kidney function reduced in may"),
        *("given by the owner", "blood pressure", "tinned", ""),
    ],
)
def test_what_is_usual_beside_a_drug_does_not(note):
    assert not says_not_given(note)


@pytest.mark.parametrize(
    "text",
    [
        *("PTS", "euthanised at home", "died sunday", "DECEASED", "Pip (†)", "passed away"),
        *("put to sleep elsewhere", "Pip (deceased)", "euthanasia", "RIP", "found dead"),
    ],
)
def test_an_end_is_found_in_a_few_words(text):
    assert says_left(text)


@pytest.mark.parametrize("text", ["slept", "ripped the cuff", "patient calm", "study", "deaf", ""])
def test_other_words_are_no_end(text):
    assert not says_left(text)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("amlodipin stopped", ("amlodipine",)),
        ("began amlo and Telmisartan", ("amlodipine", "telmisartan")),
        ("spiro 12.5", ("spironolactone",)),
        ("calm, cuff 3, left fore", ()),
        ("carpal joint tender, atypical", ()),
        ("prednisolone, thiamazole", ()),
    ],
)
def test_pressure_drugs_are_found_in_full_shortly_and_misspelt(text, named):
    assert pressure_drugs_in(text) == named
