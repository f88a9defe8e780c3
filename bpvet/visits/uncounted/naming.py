"""Whom words name: an animal's id, or its name, as whole words of a text."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from bpvet.records.records import Records

_WORD = re.compile(r"\w+")
#: A text is looked at so far, and for ids and names of so many words.
_MOST_WORDS, _LONGEST = 200, 4


def whose_names(records: Records) -> Mapping[str, list[str]]:
    """Return the ids by how they may be written, in small letters: each id, and each name."""
    whose: dict[str, list[str]] = {}
    for animal, row in records.rows_by_animal.items():
        for written in {animal.casefold(), row.name.strip().casefold()} - {""}:
            whose.setdefault(written, []).append(animal)
    return whose


def named_in(text: str, whose: Mapping[str, list[str]]) -> Iterator[str]:
    """Yield what of `whose` stands in a text as whole words; no mere number, which may be another.

    Parameters
    ----------
    text : str
    whose : mapping
        As `whose_names` returns it.
    """
    small = text.casefold()
    words = list(_WORD.finditer(small))[:_MOST_WORDS]
    for first in range(len(words)):
        for last in words[first : first + _LONGEST]:
            written = small[words[first].start() : last.end()]
            if written in whose and not written.isdigit():
                yield written
