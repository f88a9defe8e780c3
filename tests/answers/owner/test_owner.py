"""The owner's page: plain, short, never reassuring, and no advice on tablets."""

from __future__ import annotations

import re

import pytest

from bpvet.answers.owner.owner import owner
from bpvet.errors import CallError
from bpvet.visits.urgency import RULES
from bpvet.wording.en import owner as owner_words
from bpvet.wording.en.owner import (
    CREDIT_OWN,
    DIARY_HELP,
    PHONE,
    RED_FLAGS,
    RED_HEAD,
    RED_WAIT,
    owner_parts,
    phone_texts,
)
from tests.reports.room_records import records

FINE = {"2026-10-13": (138, 139, 137, 138)}
OLD = {"2025-06-01": (138, 139, 137, 138)}
SEVERE = {"2026-10-13": (201, 199, 204, 203)}
LOW = {"2026-10-13": (78, 80, 79, 81)}
CASES = {
    "fine": records(FINE),
    "treated": records(FINE, drug="amlodipine"),
    "old": records(OLD, drug="amlodipine"),
    "severe": records(SEVERE),
    "low": records(LOW, drug="amlodipine"),
    "blind": records(FINE, signs=(("2026-10-13", "sudden blindness"),)),
    "unread": records(SEVERE, signs=(("2026-10-13", "frobnicated"),)),
    "open": records(FINE, signs=(("2026-02-13", "retinal detachment"),)),
}


def words_of(made) -> str:
    answer = owner(made, "A1")
    parts = owner_parts(answer)
    texts = [*phone_texts(answer), *(f"{part.head}. {' '.join(part.texts)}" for part in parts)]
    flags = [f"{one}." for one in RED_FLAGS]
    return " ".join([*texts, f"{RED_HEAD}.", *flags, RED_WAIT, *DIARY_HELP, CREDIT_OWN])


def syllables(word: str) -> int:
    """Return the vowel groups of a word, without a silent e at its end; at least one."""
    bare = re.sub(r"[^a-z]", "", word.lower())
    count = len(re.findall(r"[aeiouy]+", bare))
    if re.search(r"[^aeiouyl]e$|[^t]ed$|[^sxzc]es$", bare) and count > 1:
        count -= 1
    return max(count, 1)


def grade(text: str) -> float:
    """Return the Flesch-Kincaid grade (Kincaid and others 1975): 0.39 w/s + 11.8 syl/w - 15.59."""
    sentences = [one for one in re.split(r"[.:!?;]+\s", text) if re.search("[a-zA-Z]", one)]
    words = re.findall(r"[A-Za-z']+|\d+", text)
    parts = sum(1 if word.isdigit() else syllables(word) for word in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * parts / len(words) - 15.59


def test_the_index_is_the_published_one():
    # 9 words, 1 sentence, 11 syllables.
    assert grade("The cat sat on the mat by the fire. ") == pytest.approx(
        0.39 * 9 + 11.8 * 9 / 9 - 15.59
    )
    assert syllables("pressure") == 2
    assert syllables("veterinarian") >= 5
    assert grade("The practitioner recommends individualised antihypertensive therapy.") > 12


@pytest.mark.parametrize("case", CASES)
def test_it_reads_at_grade_six_or_below(case):
    assert grade(words_of(CASES[case])) <= 6


@pytest.mark.parametrize("case", CASES)
def test_no_probability_no_dose_no_stop_and_nothing_reassuring(case):
    text = words_of(CASES[case])
    assert "%" not in text
    for word in (
        "probab",
        "likely",
        "chance",
        "dose",
        "stop",
        "start",
        "carry on",
        "mg",
        "keep on",
    ):
        assert word not in text.lower().replace("black stool", "")
    for word in ("at target", "normal", "good", "fine", "well", "healthy", "no worry", "safe"):
        assert not re.search(rf"\b{word}\b", text.lower())


@pytest.mark.parametrize("case", ["severe", "low", "blind", "unread", "open"])
def test_whatever_is_urgent_begins_with_please_phone(case):
    answer = owner(CASES[case], "A1")
    assert answer.urgent
    assert phone_texts(answer)[0] == PHONE
    coming = next(one for one in owner_parts(answer) if one.key == "next")
    assert coming.texts[0] == "First phone today. You will be told when to come."
    assert "One day is not every day" not in words_of(CASES[case])


def test_without_it_no_page_begins_so():
    assert phone_texts(owner(CASES["fine"], "A1")) == ()


def test_every_urgent_rule_has_plain_words():
    assert set(owner_words._WHY) == set(RULES)


def test_an_old_record_is_said_to_be_old():
    text = words_of(CASES["old"])
    assert "That is more than a year ago. Nobody can say what it is now." in text
    assert "That day has passed. Please phone to book a visit" in text
    some = words_of(records({"2026-06-01": (138, 139, 137)}))
    assert "That is five months ago. It may not be the same now." in some


def test_never_measured_is_not_known():
    made = records({"2026-10-13": (138,)}, excluded="moved")
    answer = owner(made, "A1")
    text = words_of(made)
    assert answer.last is None or answer.last.high is None
    assert "no number could be read" in text or "So we do not know what it is." in text


def test_where_nothing_is_known_no_far_date_is_given():
    for made in (records({"2026-10-13": (138,)}, excluded="moved"), records(FINE, state="sedated")):
        coming = next(one for one in owner_parts(owner(made, "A1")) if one.key == "next")
        assert coming.texts == ("Please phone to set a day to measure Pilchard.",)
    assert "we do not know what it is when awake" in words_of(records(FINE, state="sedated"))
    assert "when awake" not in words_of(records(FINE, state="awake"))


def test_bounds_are_no_numbers():
    made = records({"2026-10-13": ("> 300", "> 300", "> 300")})
    assert "the blood pressure was 300 or more." in words_of(made)


@pytest.mark.parametrize("why", ["died", "moved", "other", ""])
def test_an_animal_that_left_has_no_page(why):
    made = records(FINE, left=("2026-10-20", why))
    with pytest.raises(CallError, match="on 20 October 2026, so no page for the owner is made"):
        owner(made, "A1")


@pytest.mark.parametrize("flag", ["blindness", "pupils", "fit", "wobbling", "collapse", "eating"])
def test_red_flags(flag):
    assert any(flag in one.lower() for one in RED_FLAGS)
    assert "Black stool" in RED_FLAGS
