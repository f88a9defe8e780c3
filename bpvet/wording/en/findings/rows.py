"""Rows against each other, and against the animal's life."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import EITHER_DATE, NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.NO_READING: Words(
            "The row holds no usable reading.",
            'Fill in the pressure; if no sound was heard, write "no sound"; if the reading was '
            'given up, say why under "excluded".',
        ),
        Code.STARTS_TOGETHER: Words(
            "Another row of this drug starts on the same day. Both are kept and read as one.",
            "Keep one row for each start or change of dose.",
        ),
        Code.RUNS_ON: Words(
            "An earlier row of this drug runs on beyond this start. Both are kept.",
            "Let the earlier row stop on the day on which this one starts.",
        ),
    }
)


@WORDS.of(Code.STOP_BEFORE_START)
def _stop_before_start(started_on: str) -> Words:
    return Words(f"The treatment stopped before it started on {started_on}.", EITHER_DATE)


@WORDS.of(Code.FUTURE_STOP)
def _future_stop(written: str, as_of: str) -> Words:
    return Words(
        f"{shown(written)} is later than {as_of}: the treatment is ongoing.", NOTHING_TO_DO
    )


@WORDS.of(Code.BEFORE_BIRTH)
def _before_birth(day: str) -> Words:
    return Words(
        f"This is before the animal was born ({day}). The row is kept.",
        "Correct this date or the birth date.",
    )


@WORDS.of(Code.AFTER_LEAVING)
def _after_leaving(day: str) -> Words:
    return Words(
        f"This is after the animal left ({day}). The row is kept.",
        "Correct this date or the day on which the animal left; one that was measured after that "
        "day counts as still here.",
    )
