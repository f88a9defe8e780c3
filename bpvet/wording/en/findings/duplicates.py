"""Readings that stand there twice, and readings that contradict each other."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode


def _line(earlier: tuple[str, int]) -> str:
    file, line = earlier
    return f"{file}, line {line}"


def _exact(earlier: tuple[str, int]) -> Words:
    return Words(f"{_line(earlier)} holds exactly the same.", "Delete one of the two.")


def _saved_twice(earlier: tuple[str, int]) -> Words:
    return Words(
        f"{_line(earlier)} holds the same reading: this visit stands in two files.",
        "Delete it in one of the two files.",
    )


def _perhaps(earlier: tuple[str, int]) -> Words:
    return Words(
        f"{_line(earlier)} holds the same, without a time or a number that would tell whether it "
        "is the same reading. Both are kept.",
        "If it is a copy, delete one; if not, add times or number the readings.",
    )


def _same_number(earlier: tuple[str, int]) -> Words:
    return Words(
        "Two readings of this animal, day and method have the same number "
        f"({_line(earlier)}). Both are kept.",
        'Renumber them, or separate the two visits in the column "session".',
    )


def _same_time(earlier: tuple[str, int]) -> Words:
    return Words(
        f"Two readings of this animal and method have the same time ({_line(earlier)}), while "
        "others of that day have times of their own. Both are kept.",
        "Correct the time, or delete one if it is the same reading.",
    )


WORDS: WordsByCode = MappingProxyType(
    {
        Code.DUPLICATE: _exact,
        Code.SAVED_TWICE: _saved_twice,
        Code.PERHAPS_DUPLICATE: _perhaps,
        Code.SAME_NUMBER: _same_number,
        Code.SAME_TIME: _same_time,
    }
)
