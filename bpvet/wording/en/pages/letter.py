"""The headings, labels and notes of a letter; its statements are in `bpvet.wording.en.letter`."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.wording.en.pages.animal.recorded import dose_written
from bpvet.wording.en.phrases import day, percent

#: Heads of the table of sessions; the last has the unit behind it.
#: Heads of the laboratory values, before their dates.
VALUE, NEWEST_CHANGE = "Value", "Newest change"
TABLE_HEADS = ("Date", "Method", "Site", "Cuff, cm", "Setting", "Readings as taken", "Mean")
#: Lines to write on at the end.
HAND = ("Name and signature", "Telephone", "Date")
#: Each label, by what it labels.
LABELS = {
    "to": "To",
    "clinic": "From",
    "question": "Question",
    "newest": "Newest",
    "newer": "Newer still",
    "drugs": "Current drugs",
    "eyes": "Eyes",
    "signs": "Signs",
    "asked": "Not clear",
    "earlier_drugs": "Earlier drugs",
    "earlier_signs": "Earlier signs",
    "aside": "Values set aside",
    "future": "Dated later, not used",
}
#: Each heading and caption, by what stands below it.
HEADS = {
    "labs": "Kidney values, other laboratory values and weight",
    "newest_labs": "The newest values",
    "earlier_labs": "Earlier laboratory values and weights",
    "earlier_table": "Earlier values",
    "short": "In short",
    "further": "Further answers",
    "none": "Sessions",
    "sessions": "Sessions, newest first",
}
#: What stands where there is nothing, or something is not known.
NOTES = {
    "none": "None recorded.",
    "signs": "None recorded in the last twelve months; no older one is longstanding or open.",
    "signs_asked": "None entered in the last twelve months; what stands under “Not clear” may be "
    "one.",
    "eyes": "No examination recorded: no entry in these records mentions the eyes.",
    "eyes_asked": "No examination recorded; what stands under “Not clear” may speak of the eyes.",
    "figure": "No figure: no trend could be fitted; the reason stands beside “Usual”.",
    "age": "age not recorded",
    "start": "start not recorded",
    "dose": "(dose not recorded)",
    "stop": "no stop recorded",
    "date": "Without a date",
    "number": "no number",
    "normal": "answered since by a normal examination",
    "trend": "no: not in this trend",
}
#: At the foot of each page, as a style sheet counts pages.
PAGE_OF = '"Page " counter(page) " of " counter(pages)'


def earlier_way(way: str) -> str:
    """Return the heading of earlier sessions that were measured one way."""
    return f"Earlier: {way}"


def readings_note(several: bool, limb: bool) -> str:
    """Return how the sessions' readings are read.

    Parameters
    ----------
    several : bool
        Whether a reading has several numbers.
    limb : bool
        Whether the limb was measured.
    """
    order = " as systolic/diastolic/mean" if several else ""
    cuff = " Cuff: width/limb." if limb else ""
    return f"Readings in the order of taking{order}; in brackets: not in the mean.{cuff}"


def apart_words(apart: tuple[str, ...]) -> str:
    """Return why readings stand in no session; blank where all do."""
    return f"Readings in no session: {'; '.join(apart)}." if apart else ""


def foot_words(name: str, id: str, as_of: np.datetime64, longest: int) -> str:
    """Return what stands at the foot of each page; a name is never cut.

    Parameters
    ----------
    name, id : str
        The animal's.
    as_of : datetime64[D]
    longest : int
        Letters; a longer name is named on the first page alone.
    """
    names = f"{name} (animal {id})"
    if len(names) > longest:
        names = animal_words(id) if len(id) <= longest else "The animal named on page 1"
    return f"{names}, {day(as_of)}"


def animal_words(id: str) -> str:
    """Return whose letter it is, by the id alone."""
    return f"Animal {id}"


def basis_words(answer: TrendAnswer | UnseenAnswer, rule: str, table: str) -> str:
    """Return what a letter rests on: its level, guideline, rule, version, and its table."""
    sentences = []
    if isinstance(answer, TrendAnswer):
        sentences.append(
            f"Intervals and the light band of the figure hold {percent(answer.level)}."
        )
    counts = {
        "guideline": "of four or more readings the first taken does not count",
        "all": "every reading counts",
    }[rule]
    sentences.append(
        f"Doses are as written. Guideline: {answer.guideline_name}. Which readings count: "
        f"{counts} (rule “{rule}”). Made from the records by bpvet {answer.version} (“this "
        f"project”), records {answer.data_digest[:12]}. The same as a table, for a "
        f"computer, is in {table}."
    )
    return " ".join(sentences)


def drug_line(row: Mapping[Hashable, Any], until: str, begun: str, stop: str) -> str:
    """Return a row of treatment, its dose as written, and since when or until when.

    Parameters
    ----------
    row : mapping
        Of the table of treatments.
    until : str
        As `until_words` returns it; blank where it may still be on.
    begun : str
        Since when the drug has been on without a gap, in prose; blank where that is not known.
    stop : str
        A stop that is written and lies ahead, in prose; blank for none.
    """
    start = _day(row["started_on"])
    when = f"since {start}" if start else NOTES["start"]
    if until:
        when = f"{start or NOTES['start']} {until}"
    elif begun and begun != start:
        when += f" (on it since {begun})"
    parts = (
        f"{row['drug']} {dose_written(row) or NOTES['dose']}",
        when,
        f"stop written for {stop}" if stop else "",
        f"for {row['purpose']}" if row["purpose"] else "",
        f"“{row['note']}”" if row["note"] else "",
        row["set_aside"] and f"set aside: {row['set_aside']}",
    )
    return ", ".join(filter(None, parts))


def until_words(stop: Any, after: np.datetime64 | None) -> str:
    """Return until when a drug was given: to its stop, or until its next row starts."""
    if after is None:
        return f"to {_day(stop)}"
    return f"until its next row, of {day(after)}"


def newer_words(on: np.datetime64, how: Iterable[str], read: str, in_trend: bool) -> str:
    """Return a session that is newer than the trend, or of an animal without one.

    Parameters
    ----------
    on : datetime64[D]
    how : iterable of str
        Method and condition, in words.
    read : str
        Its mean; blank where it has none.
    in_trend : bool
        Whether there is a trend, which does not rest on it.
    """
    when, reading = f"{day(on)} ({', '.join(filter(None, how))})", read or NOTES["number"]
    if not in_trend:
        return f"The session of {when} read {reading}; it is in no trend."
    return f"A newer session, of {when}, read {reading}; what follows does not rest on it."


def eyes_words(on: str, age: str, finding: str) -> str:
    """Return the newest entry about the eyes, its date in prose, its age and what it says."""
    return f"Last entry about them {on}{age}: {finding}"


def _day(value: Any) -> str:
    """Return a date in prose; blank where there is none."""
    return "" if pd.isna(value) else day(np.datetime64(value, "D"))
