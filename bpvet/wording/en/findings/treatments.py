"""Courses of treatment: doses and products that do not tell, and drugs that start together."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.DOSE_NOT_STATED)
def _dose_not_stated(dose: str, drug: str) -> Words:
    text = "The dose is not given"
    if dose:
        text = f"{shown(dose)} is not read as one number above zero with its unit"
    return Words(
        f"{text}: no change of the dose of {drug} is modelled here.",
        "Give the dose as a number and a unit if it changed.",
    )


@WORDS.of(Code.DOSE_UNIT_DIFFERS)
def _unit_differs(dose: str, before: str, drug: str) -> Words:
    return Words(
        f"{shown(dose)} is not in the unit of the dose before it, {shown(before)}: no change of "
        f"the dose of {drug} is modelled here.",
        "Give both doses in one unit if the dose changed.",
    )


@WORDS.of(Code.DOSE_BY_TENS)
def _dose_by_tens(dose: str, before: str, drug: str) -> Words:
    return Words(
        f"{shown(dose)} of {drug} follows {shown(before)}, as if the decimal point had moved. The "
        "change is taken as it is written.",
        "Look up what was given; if one of the two is a slip, correct it.",
    )


@WORDS.of(Code.PRODUCT_NOT_STATED)
def _product_not_stated(stated: str, on: str, drug: str) -> Words:
    return Words(
        f"The product is given on one side of {on} only ({shown(stated)}): no change of the "
        f"product of {drug} is modelled here.",
        "Give the product of both rows if it changed.",
    )


@WORDS.of(Code.NOT_TOLD_APART)
def _not_told_apart(drugs: tuple[str, ...]) -> Words:
    return Words(
        f"{' and '.join(drugs)} start on the same day: their effects are one number and cannot be "
        "told apart.",
        "Nothing is wrong; records that start them on different days could tell.",
    )


@WORDS.of(Code.DRUG_FOR_PRESSURE)
def _for_pressure(written: str, days: float) -> Words:
    return Words(
        f"{shown(written)} is not on the drug list. Its purpose names blood pressure, so it is "
        f"modelled, with a time constant of {days:g} days.",
        "Write its generic name if it has one that is known here.",
    )


@WORDS.of(Code.ROWS_TOGETHER)
def _rows_together(drug: str, on: str, lines: tuple[int, ...]) -> Words:
    return Words(
        f"Rows of {drug} start on the same day, {on} (lines {', '.join(map(str, lines))}). They "
        "are taken as one.",
        "Give one row with the whole dose.",
    )


@WORDS.of(Code.DOSES_LATE)
def _late(drug: str, first: str, last: str) -> Words:
    what = _doses(drug, first, last, "late")
    return Words(f"{what}: named, and nothing is changed.", NOTHING_TO_DO)


@WORDS.of(Code.DOSES_MISSED)
def _missed(drug: str, first: str, last: str) -> Words:
    what = _doses(drug, first, last, "missed")
    return Words(f"{what}: their effect fades over that time.", NOTHING_TO_DO)


def _doses(drug: str, first: str, last: str, how: str) -> str:
    # Days are written as in the records, whose order is that of the calendar.
    when = f"from {first} to {last}" if last > first else f"on {first}"
    return f"Doses of {drug or 'every pressure drug on then'} are recorded as {how} {when}"
