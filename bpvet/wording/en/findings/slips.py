"""What may be a slip of an animal's newest visit, and what is written and not entered."""

from __future__ import annotations

from bpvet.printing import number
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, shown
from bpvet.wording.en.findings.wording import Wording
from bpvet.wording.en.phrases import counted

WORDS = Wording({})


@WORDS.of(Code.BACKDATED)
def _backdated(animal: str, rows: int, date: str, above: str, exchanged: bool) -> Words:
    last, are = ("reading", "is") if rows == 1 else (counted(rows, "reading"), "are")
    slip = "day and month are exchanged" if exchanged else "the year is a slip"
    return Words(
        f"From here on the last {last} of {shown(animal)} in this file {are} "
        f"dated {date}, after rows of {above}.",
        f"If {slip}, correct it: this is then the newest visit, and no answer takes it for it.",
    )


@WORDS.of(Code.NEWEST_WITHOUT_SYSTOLIC)
def _newest_without_systolic(animal: str, date: str) -> Words:
    return Words(
        f"The newest visit of {shown(animal)}, of {date}, has no systolic pressure.",
        'If one was read, write it; if no sound was heard, write "no sound". What is told of '
        "systolic pressure is of earlier days.",
    )


@WORDS.of(Code.POUNDS)
def _pounds(animal: str, earlier: float, on: str, later: float) -> Words:
    return Words(
        f"{shown(animal)} weighed {number(earlier, 2)} kg on {on} and {number(later, 2)} kg here: "
        "much as a pound is to a kilogram. A loss of weight may be hidden.",
        "If one of the two was weighed in pounds, write lb as its unit.",
    )


@WORDS.of(Code.ACROSS_MIDNIGHT)
def _across_midnight(animal: str, before: str, minutes: int) -> Words:
    return Words(
        f"The readings of {shown(animal)} from here on follow those of {before} by "
        f"{counted(minutes, 'minute')}, over midnight: they count as two visits of two dates.",
        "If it was one visit, write one date for all of it; the time of day may be left out.",
    )


@WORDS.of(Code.LEFT_IN_TEXT)
def _left_in_text(text: str) -> Words:
    return Words(
        f"{shown(text)} may say that the animal died or left; it is taken for living.",
        "If it did, write left_on among the animals.",
    )


@WORDS.of(Code.PRESSURE_IN_TEXT)
def _pressure_in_text(text: str, numbers: str) -> Words:
    return Words(
        f"{shown(text)} may give another pressure ({numbers}) than the readings of the newest "
        "visit; it is not counted.",
        "If that is the pressure, correct the reading, or enter it as one.",
    )


@WORDS.of(Code.DOUBT_IN_TEXT)
def _doubt_in_text(text: str) -> Words:
    return Words(
        f"{shown(text)} may doubt the reading, or that the animal was awake, or say that more "
        "stands elsewhere; it is counted as it is recorded.",
        'If it should not count, say why under "excluded", or write the state; enter what stands '
        "elsewhere.",
    )


@WORDS.of(Code.TREATMENT_IN_TEXT)
def _treatment_in_text(text: str) -> Words:
    return Words(
        f"{shown(text)} may say that a treatment began, changed or ended, or was not given; no "
        "answer knows of it.",
        "If so, enter it among the treatments: a row each, with its dates.",
    )
