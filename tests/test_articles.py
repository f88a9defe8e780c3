"""The article before a word of the records, of a fact or of a choice."""

from __future__ import annotations

import pytest

from bpvet.facts.sources import table
from bpvet.printing import a_or_an


@pytest.mark.parametrize(
    "words",
    [
        *("Irish wolfhound", "Italian greyhound", "Afghan hound", "Ibizan hound", "English setter"),
        *("animal of unknown species", "old cat", "unneutered cat", "uncle", "hour", "heir"),
        *("8 mmHg", "80 % interval", "11", "18 %", "“Irish wolfhound”", "ISFM figure"),
    ],
)
def test_an(words: str) -> None:
    assert a_or_an(words) == f"an {words}"


@pytest.mark.parametrize(
    "words",
    [
        *("cat", "dog", "greyhound", "whippet", "European shorthair", "Eurasier", "one-eyed cat"),
        *("unit", "usual value", "user", "uniform", "UK breed", "ewe", "horse", "95 % interval"),
        *("1 mmHg", "118", "110", "180 mmHg", "", "(cat)"),
    ],
)
def test_a(words: str) -> None:
    assert a_or_an(words) == f"a {words}"


def test_every_sighthound_has_the_article_of_its_first_letter() -> None:
    for name in table("breeds")["sighthounds"]:
        assert a_or_an(name).startswith("an ") == (name[0].lower() in "aeiou")
