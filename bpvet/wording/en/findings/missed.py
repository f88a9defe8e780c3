"""Doses that were missed or late; rows dated later than the date that is looked at."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO


def _end_before_start(start: str) -> Words:
    return Words(
        f"The stretch ends before it begins on {start}.",
        "Correct one of the two dates; a blank end is one day.",
    )


def _future_end(written: str, as_of: str) -> Words:
    return Words(
        f"{shown(written)} is later than {as_of}: it is taken to last until then.", NOTHING_TO_DO
    )


def _no_course(drug: str) -> Words:
    what = f"course of {shown(drug)}" if drug else "course of a pressure drug"
    return Words(
        f"No {what} is on record then. The row is kept, and changes nothing.",
        "Correct the drug or the dates, here or among the treatments.",
    )


def _future_date(written: str, as_of: str) -> Words:
    return Words(
        f"{shown(written)} is later than {as_of}, the date that is looked at.",
        "Correct the date; if it is right, look at a later date (--as-of).",
    )


WORDS: WordsByCode = MappingProxyType(
    {
        Code.END_BEFORE_START: _end_before_start,
        Code.FUTURE_END: _future_end,
        Code.MISSED_OR_LATE: Words(
            "It is not said whether doses were missed or late; they are taken as missed.",
            "Write missed or late.",
        ),
        Code.NO_COURSE: _no_course,
        Code.FUTURE_DATE: _future_date,
    }
)
