"""Readings that stand there twice, and readings that contradict each other."""

from __future__ import annotations

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


def _line(earlier: tuple[str, int]) -> str:
    file, line = earlier
    return f"{file}, line {line}"


@WORDS.of(Code.DUPLICATE)
def _exact(earlier: tuple[str, int]) -> Words:
    return Words(f"{_line(earlier)} holds exactly the same.", "Delete one of the two.")


@WORDS.of(Code.SAVED_TWICE)
def _saved_twice(earlier: tuple[str, int]) -> Words:
    return Words(
        f"{_line(earlier)} holds the same reading: this visit stands in two files.",
        "Delete it in one of the two files.",
    )


@WORDS.of(Code.PERHAPS_DUPLICATE)
def _perhaps(earlier: tuple[str, int]) -> Words:
    return Words(
        f"{_line(earlier)} holds the same, without a time or a number that would tell whether it "
        "is the same reading. Both are kept.",
        "If it is a copy, delete one; if not, add times or number the readings.",
    )


@WORDS.of(Code.SAME_NUMBER)
def _same_number(earlier: tuple[str, int]) -> Words:
    return Words(
        "Two readings of this animal, day and method have the same number "
        f"({_line(earlier)}). Both are kept.",
        'Renumber them, or separate the two visits in the column "session".',
    )


@WORDS.of(Code.SAME_TIME)
def _same_time(earlier: tuple[str, int]) -> Words:
    return Words(
        f"Two readings of this animal and method have the same time ({_line(earlier)}), while "
        "others of that day have times of their own. Both are kept.",
        "Correct the time, or delete one if it is the same reading.",
    )
