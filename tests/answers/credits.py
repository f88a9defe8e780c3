"""Which source each sentence credits, and whether the numbers beside the credit are that source's.

A credit is the name of a source. In brackets, as in "160 mmHg (ACVIM 2018 consensus statement†)",
it stands for the numbers before it, back to the last credit or the start of its sentence; bare, as
in "of the categories of the ACVIM 2018 consensus statement", for those after it. A number is
right if a fact of that source holds it: as a value or an end, or, after a dash, one below an end,
since "140–159" is printed of 140 up to 160. A date is right if it lies as far from one of the
record's own days as a fact of that source says. Shares ("87 %"), intervals and the animal's own
numbers are not the source's and are left out. If all facts that hold a number are from memory,
the credit must carry the mark.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from bpvet.facts.sources import DAGGER, DAYS_IN, Fact, facts, sources

_NAMES = {one.name: key for key, one in sources().items()}
_CREDIT = re.compile("(?:" + "|".join(sorted(map(re.escape, _NAMES), key=len, reverse=True)) + ")")
_SENTENCE = re.compile(r"(?<=[.!?]) +(?=[A-Z“\"])")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_DATE = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(_MONTHS)}) (\d{{4}})\b")
#: What is never a figure of a guideline: shares, intervals, and the years in names.
_NOT_THEIRS = re.compile(
    r"\d+(?:\.\d+)? % interval −?[\d.]+ to −?[\d.]+|(?:less|more) than \d+ %|\d+(?:\.\d+)? %"
)
_UNIT = r"(?: ?(mmHg|weeks?|days?|months?|years?|readings?))?"
_NUMBER = re.compile(rf"(?<![\w.])(\d+(?:\.\d+)?)(?:(–| to )(\d+(?:\.\d+)?))?{_UNIT}(?!\w)")
_SMALL = ("three", "four", "five", "six", "seven", "eight", "nine", "ten")
_IN_WORDS = re.compile(rf"\b({'|'.join(_SMALL)})(?: to ({'|'.join(_SMALL)}))?\b")


@dataclass(frozen=True)
class Claim:
    """Numbers that a sentence credits to a source: (value, unit, whether after a dash); dates."""

    sentence: str
    source: str
    marked: bool
    numbers: tuple[tuple[float, str, bool], ...]
    dates: tuple[np.datetime64, ...]


def claims(text: str) -> Iterator[Claim]:
    """Yield what a text credits to each source that it names."""
    for sentence in _SENTENCE.split(text):
        start = 0
        found = list(_CREDIT.finditer(sentence))
        for place, credit in enumerate(found):
            end = found[place + 1].start() if place + 1 < len(found) else len(sentence)
            bracketed = sentence.count("(", 0, credit.start()) > sentence.count(
                ")", 0, credit.start()
            )
            span = sentence[start : credit.start()] if bracketed else sentence[credit.end() : end]
            start = credit.end() if bracketed else end
            yield Claim(
                sentence,
                _NAMES[credit.group()],
                sentence[credit.end() : credit.end() + 1] == DAGGER,
                tuple(_numbers(_DATE.sub("", _NOT_THEIRS.sub("", span)))),
                tuple(_dates(span)),
            )


def _numbers(span: str) -> Iterator[tuple[float, str, bool]]:
    found = list(_NUMBER.finditer(span))
    for one in found:
        unit = (one.group(4) or "").rstrip("s")
        yield float(one.group(1)), unit, False
        if one.group(3):
            yield float(one.group(3)), unit, one.group(2) == "–"
    if not found and (words := list(_IN_WORDS.finditer(span))):
        for word in filter(None, words[-1].groups()):
            yield float(_SMALL.index(word) + 3), "reading", False


def _dates(span: str) -> Iterator[np.datetime64]:
    for day, month, year in _DATE.findall(span):
        yield np.datetime64(f"{year}-{_MONTHS.index(month) + 1:02d}-{int(day):02d}")


def faults(
    text: str, own: Collection[float] = (), days: Collection[np.datetime64] = ()
) -> list[str]:
    """Return what is wrong with the credits of a text; empty where all are right.

    Parameters
    ----------
    text : str
        One sentence or several.
    own : collection of float
        The animal's own numbers, as they may be printed: they need no source.
    days : collection of datetime64
        The days of the record from which a date may be counted; these need no source.
    """
    wrong = []
    for claim in claims(text):
        held = [one for one in facts() if one.source == claim.source]
        for value, unit, dashed in claim.numbers:
            if value in own:
                continue
            fitting = [one for one in held if _holds(one, value, unit, dashed)]
            if not fitting:
                wrong.append(f"{value:g} {unit}".strip() + f" is not of {claim.source}")
            elif not claim.marked and all(one.remembered for one in fitting):
                wrong.append(f"{value:g} is from memory, and {claim.source} bears no mark")
        for date in claim.dates:
            if date not in days and not any(_counts(one, date, days) for one in held):
                wrong.append(f"{date} is no interval of {claim.source}")
    return [f"{one}: {text}" for one in dict.fromkeys(wrong)]


def _ends(one: Fact) -> list[float]:
    return [end for end in (one.value, one.low, one.high) if end is not None]


def _holds(one: Fact, value: float, unit: str, dashed: bool) -> bool:
    ends = _ends(one)
    if unit in ("week", "day", "month", "year"):
        days = {"day": 1, "week": 7, "month": 30, "year": 365}[unit] * value
        return one.unit in DAYS_IN and any(end * DAYS_IN[one.unit] == days for end in ends)
    if unit == "reading":
        return one.unit == "readings" and value in ends
    return one.unit == "mmHg" and (value in ends or (dashed and value + 1 in ends))


def _counts(one: Fact, date: np.datetime64, days: Collection[np.datetime64]) -> bool:
    """Whether the date lies as far from one of the days as an interval of the fact says."""
    if one.unit not in DAYS_IN:
        return False
    spans = {round(end * DAYS_IN[one.unit]) for end in _ends(one)}
    return any(int((date - day) / np.timedelta64(1, "D")) in spans for day in days)
