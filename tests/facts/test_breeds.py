"""Sighthounds however written; breeds with a figure of their own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.facts import breeds
from bpvet.facts.breeds import breed_mean, breed_range, sighthound
from bpvet.facts.sources import table


@pytest.mark.parametrize(
    ("breed", "is_one"),
    [
        ("Greyhound", True),
        ("greyhound (retired racer)", True),
        ("Whippets", True),
        ("Hound, Afghan", True),
        ("Galgo Español", True),
        ("Irish Wolfhound", True),
        ("Italian  greyhound", True),
        ("Lurcher", True),
        ("Greyhound cross", True),
        ("Saluki X", True),
        ("Greyhound x Labrador", False),
        ("Labrador Retriever", False),
        ("Basset Hound", False),
        ("Domestic shorthair", False),
        ("", False),
        ("cross", False),
    ],
)
def test_sighthound(breed: str, is_one: bool) -> None:
    assert sighthound(breed) is is_one


def test_breed_figures() -> None:
    wolfhound = breed_mean("irish wolfhound")
    assert wolfhound is not None
    assert (wolfhound.value, wolfhound.n) == (116.0, 158)
    greyhound = breed_mean("Greyhound")
    assert greyhound is not None
    assert greyhound.value == 132
    assert breed_mean("whippet") is None
    assert breed_mean("") is None


def test_no_range_is_made_up() -> None:
    for name in (*table("breeds")["sighthounds"], *table("breeds")["known"]):
        assert breed_range(name) is None


def test_a_sourced_range_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    known = {"known": {"mongrel": ["size.breed.wolfhound.systolic", "limits.systolic.note"]}}
    monkeypatch.setattr(breeds, "table", lambda name: table(name) | known)
    found = breed_range("Mongrel")
    assert found is not None
    assert (found.low, found.high) == (80, 250)


@given(st.text())
def test_any_text_is_answered(text: str) -> None:
    assert sighthound(text) in (True, False)
    assert breed_range(text) is None
    found = breed_mean(text)
    assert found is None or found.unit == "mmHg"
