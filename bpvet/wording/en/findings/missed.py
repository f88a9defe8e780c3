"""Doses that were missed or late; rows dated later than the date that is looked at."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.MISSED_OR_LATE: Words(
            "It is not said whether doses were missed or late; they are taken as missed.",
            "Write missed or late.",
        ),
    }
)


@WORDS.of(Code.END_BEFORE_START)
def _end_before_start(start: str) -> Words:
    return Words(
        f"The stretch ends before it begins on {start}.",
        "Correct one of the two dates; a blank end is one day.",
    )


@WORDS.of(Code.FUTURE_END)
def _future_end(written: str, as_of: str) -> Words:
    return Words(
        f"{shown(written)} is later than {as_of}: it is taken to last until then.", NOTHING_TO_DO
    )


@WORDS.of(Code.NO_COURSE)
def _no_course(drug: str) -> Words:
    what = f"course of {shown(drug)}" if drug else "course of a pressure drug"
    return Words(
        f"No {what} is on record then. The row is kept, and changes nothing.",
        "Correct the drug or the dates, here or among the treatments.",
    )


@WORDS.of(Code.FUTURE_DATE)
def _future_date(written: str, as_of: str) -> Words:
    return Words(
        f"{shown(written)} is later than {as_of}, the date that is looked at.",
        "Correct the date; if it is right, look at a later date (--as-of).",
    )
