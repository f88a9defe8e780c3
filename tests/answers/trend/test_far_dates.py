"""No far date stands beside a sign that nobody has answered, in any form, as on the list."""

from __future__ import annotations

import json
import re

import pytest

import bpvet
from bpvet.answers.owner.owner import owner
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer, unseen_answer
from bpvet.pictures.answered import answered_picture
from bpvet.reports.letter.letter import letter_of, unseen_letter
from bpvet.wording.en.letter import letter_words
from bpvet.wording.en.owner import owner_parts
from bpvet.wording.en.pages.animal.brief import three_sentences
from bpvet.wording.en.pages.animal.cards import animal_cards
from bpvet.wording.en.trend.short import short_statements
from tests.models.small_records import records, rows, sign

#: A cat of three years, twice at 131: the next visit would be in a year.
BEFORE, VISIT, AS_OF = "2026-02-20", "2026-05-20", "2026-06-01"
VALUES = (133, 130, 131, 130)
#: A day after the one that is spoken for, as it is written or stored.
AHEAD = re.compile(r"2027|\d+ (June|July|August) 2026|2026-0[6-8]-\d\d")

Signs = tuple[dict[str, object], ...]


def made(note: str = "", seen: Signs = (), as_of: str = AS_OF, **more: object) -> bpvet.Records:
    """Return the cat's records, with a note on its last reading and entered signs."""
    readings = rows([(BEFORE, VALUES), (VISIT, VALUES)], **more)
    readings[-1]["note"] = note
    return records(readings, (), list(seen), as_of, birth_date="2022-01-01")


def unseen(note: str = "", seen: Signs = (), as_of: str = AS_OF) -> bpvet.Records:
    """Return the same of a cat of which no reading can be used."""
    readings = rows([(VISIT, ["would not keep still"])], note=note)
    return records(readings, (), list(seen), as_of, birth_date="2022-01-01")


def days_ahead(text: str, as_of: str = AS_OF) -> set[str]:
    """Return the days after `as_of` that a text names."""
    return {found.group() for found in AHEAD.finditer(text)} - {as_of, "1 June 2026"}


NOTE, COLLAPSE = "blind since monday", sign("2026-02-20", "collapse")
LATER = sign("2026-05-25", "collapse")
CASES = [
    pytest.param(made(NOTE), ("asked",), id="note"),
    pytest.param(made("sees nothing?"), ("asked",), id="unclear note"),
    pytest.param(made(seen=(sign(VISIT, "blind?", ""),)), ("asked",), id="unclear entry"),
    pytest.param(made("owner measured 210"), ("noted",), id="pressure in a note"),
    pytest.param(made(seen=(LATER,)), ("since",), id="collapse since"),
    pytest.param(made(seen=(sign(VISIT, "collapse"),)), ("still",), id="collapse"),
    pytest.param(made(NOTE, (sign(VISIT, "syncope"),)), ("asked", "still"), id="both"),
    pytest.param(made(seen=(LATER,), as_of="2026-11-01"), ("still",), id="collapse long ago"),
]


@pytest.mark.parametrize(("held", "first"), CASES)
def test_the_answer_gives_no_date_and_says_what_comes_first(held, first):
    answer = bpvet.fit_trend(held, "A1").answer()
    again = answer.recheck
    assert again.read_first == first
    assert (again.state, again.earliest, again.latest, again.by, again.guideline_by) == (None,) * 5
    assert (again.others, again.overdue_days) == ((), 0)
    keys = [one.key for one in answer.statements]
    assert keys.count("recheck.first") == 1
    assert not {"recheck.screen", "recheck.none", "next_session"} & set(keys)
    assert answer.next_session.date == held.as_of
    # As on the list, which asks the same place.
    (row,) = bpvet.due(held).rows
    assert (row.read_first, row.earliest, row.latest) == (True, None, None)
    assert row.band in ("two_days", "due")


@pytest.mark.parametrize(("held", "first"), CASES[:6])
def test_no_form_names_a_day_ahead(held, first):
    trend = bpvet.fit_trend(held, "A1")
    answer = trend.answer()
    picture = answered_picture(trend, answer)
    assert picture.window is None
    letter = letter_words(answer)
    forms = {
        "text": " ".join(answer.sentences),
        "short": " ".join(one.text for one in short_statements(answer)),
        "json": json.dumps(answer.to_dict()),
        "letter": " ".join([*letter.short, *(text for _, text in letter.summary)]),
        "its table": letter_of(trend, answer, "letter.csv").table.decode(),
        "page": " ".join(three_sentences(answer)),
        "tiles": " ".join(f"{one.lead} {one.detail}" for one in animal_cards(trend, answer)),
        "picture": f"{picture.caption} {picture.alt_text}",
        "owner's page": " ".join(
            text for part in owner_parts(owner(held, "A1")) for text in part.texts
        ),
    }
    assert {name: days_ahead(text) for name, text in forms.items() if days_ahead(text)} == {}
    for name in ("text", "short", "letter", "page", "tiles"):
        assert re.search("[Ff]irst find out", forms[name]), name


@pytest.mark.parametrize(
    ("note", "seen", "first"),
    [(NOTE, (), ("asked",)), ("", (COLLAPSE,), ("still",)), ("", (LATER,), ("since",))],
)
def test_an_animal_without_a_usable_session_gets_no_far_date_either(note, seen, first):
    held = unseen(note, seen)
    answer = unseen_answer(held, "A1", "no session")
    assert isinstance(answer, UnseenAnswer)
    assert answer.recheck.read_first == first
    assert [one.key for one in answer.statements if one.topic == "recheck"] == ["recheck.first"]
    letter = unseen_letter(held, answer, "letter.csv").table.decode()
    short = " ".join(one.text for one in short_statements(answer))
    texts = (*answer.sentences, short, letter, json.dumps(answer.to_dict()))
    assert days_ahead(" ".join(texts)) == set()
    assert bpvet.due(held).rows[0].latest is None
    calm = unseen_answer(unseen("calm"), "A1", "no session")
    assert days_ahead(" ".join(calm.sentences))


@pytest.mark.parametrize("quantity", ["systolic", "diastolic"])
def test_a_series_of_another_quantity_says_it_too(quantity):
    held = made(NOTE, method="oscillometric", diastolic="80")
    answer = bpvet.fit_trend(held, "A1", quantity=quantity).answer()
    keys = [one.key for one in answer.statements]
    assert ("recheck.first" in keys, "next_session" in keys) == (True, False)
    assert days_ahead(" ".join(answer.sentences)) == set()


@pytest.mark.parametrize(
    ("note", "seen"),
    [
        ("calm", ()),
        ("not blind", ()),
        (NOTE, (sign("2026-05-25", "eyes normal", ""),)),
        (NOTE, (sign("2026-05-25", "blindness", "resolved"),)),
        ("", (COLLAPSE,)),  # measured again three months later, and on its legs
        ("", (sign(VISIT, "collapse"), sign("2026-05-25", "collapse", "resolved"))),
        ("", (sign(VISIT, "collapse", "longstanding"),)),
        ("", (sign(VISIT, "collapse", "absent"),)),
        ("", (sign(VISIT, "vomiting"),)),
    ],
)
def test_what_is_answered_or_no_alarm_leaves_the_date(note, seen):
    answer = bpvet.fit_trend(made(note, seen), "A1").answer()
    assert isinstance(answer, TrendAnswer)
    assert answer.recheck.read_first == ()
    assert answer.recheck.latest is not None
    assert days_ahead(" ".join(answer.sentences))
    assert bpvet.due(made(note, seen)).rows[0].latest == answer.recheck.latest


@pytest.mark.parametrize(("ahead", "stays"), [(3, False), (2, True), (0, True), (-30, True)])
def test_a_window_that_ends_within_two_days_or_has_passed_stays(ahead, stays):
    due = bpvet.fit_trend(made("calm"), "A1").answer().recheck.latest
    held = made(NOTE, as_of=str(due - ahead))
    again = bpvet.fit_trend(held, "A1").answer().recheck
    assert (again.latest, again.read_first) == ((due, ()) if stays else (None, ("asked",)))
    assert bpvet.due(held).rows[0].latest == again.latest


def test_the_date_of_what_is_urgent_stays():
    """A vet must see it now: three days at most, which no sentence may take away."""
    held = made("had a seizure", (sign(VISIT, "blindness"), sign(VISIT, "collapse")), as_of=VISIT)
    again = bpvet.fit_trend(held, "A1").answer().recheck
    assert (again.state, str(again.latest)) == ("sign_current", "2026-05-23")
    assert bpvet.due(held).rows[0].latest == again.latest
    # Of eye and brain an open sign has a window and a line of its own.
    opened = made(seen=(sign(BEFORE, "blindness"), sign(VISIT, "collapse")))
    again = bpvet.fit_trend(opened, "A1").answer().recheck
    assert (again.state, again.read_first) == ("sign_open", ())


def test_the_list_asks_what_became_of_it_and_names_nobody():
    held = made(seen=(sign(VISIT, "collapsed on Mrs Alder's stairs"),))
    for pseudonyms in (False, True):
        (row,) = bpvet.due(held, pseudonyms=pseudonyms).rows
        assert (row.band, row.urgent) == ("due", ())
        assert row.why.startswith("Collapse is recorded as present (20 May 2026), and nothing")
        assert "Alder" not in row.why
