"""The clinic's list in words: why an animal is on it, what is missing, who was spoken to."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from bpvet.answers.due.table import COLUMNS
from bpvet.answers.trend.safety import RecheckAnswer, UrgentAnswer
from bpvet.facts.cautions import licensed
from bpvet.facts.sources import fact
from bpvet.models.safety.checks_due import Check
from bpvet.models.safety.safety import Safety
from bpvet.printing import number
from bpvet.records.table_files import ColumnWords
from bpvet.wording.en.kidney.events import leap_statement
from bpvet.wording.en.phrases import capital, cited, counted, day, listed
from bpvet.wording.en.trend.recorded import (
    asking_statements,
    remark_statements,
    still_statements,
    unread_sign_statements,
)
from bpvet.wording.en.trend.uncounted import uncounted_statements

if TYPE_CHECKING:
    from bpvet.answers.due.due import Due, DueRow

#: What the bands of the list are called.
BAND_NAMES = {
    "now": "now",
    "two_days": "within two days",
    "overdue": "overdue",
    "due": "due",
    "checks": "eyes or bloods only",
    "lost": "lost to follow-up",
    "no_plan": "no plan",
    "later": "later",
}
#: What is asked of a visit.
ASKED = {"measure": "measure", "eyes": "eyes", "bloods": "bloods", "urine": "urine"}
_SIGNS = {"at least": "≥ ", "at most": "≤ "}
_OWN = "judgement of this project"
_OUTCOMES = {
    "booked": "booked",
    "declined": "declined",
    "no answer": "no answer",
    "left": "said to have left",
}

#: What each column of the table means.
_COLUMNS = {
    "animal": "id of the animal, or its number with pseudonyms",
    "name": "its name; blank with pseudonyms",
    "species": "species as recorded",
    "band": f"one of {', '.join(BAND_NAMES.values())}",
    "earliest": "first day of the window; blank where only a last day is asked",
    "latest": "last day of the window; blank where what is asked is to be read first",
    "overdue_days": "days that the window lies before the date spoken for",
    "what": "what to do: measure, eyes, bloods, urine",
    "why": f"what is urgent, or why the window is so. {licensed()}",
    "urgent": "how many urgent lines the animal has",
    "state": "row of the table of windows",
    "guideline": "whose window it is",
    "grade": "grade of its evidence: J judgement, M from memory, R read, S restated",
    "last_date": "latest date with a session",
    "last_value": "highest session mean of that date, as measured",
    "last_usual": "usual pressure then, estimated",
    "last_usual_sd": "posterior SD of the usual pressure then",
    "p_at_target": "probability that it is at or below the target; treated animals only",
    "treated": "whether a blood-pressure drug is on record at the date spoken for",
    "contact": "the newest contact with the owner",
    "as_of": "the date spoken for",
}


def column_words() -> list[ColumnWords]:
    """Return what the columns of the list's table mean, in their order."""
    return [ColumnWords(name, _COLUMNS[name], unit) for name, unit in COLUMNS]


def why_of(
    band: str,
    urgent: Sequence[UrgentAnswer],
    again: RecheckAnswer,
    checks: Sequence[str],
    asks: Sequence[str] = (),
) -> str:
    """Return why an animal stands in its band.

    Parameters
    ----------
    band : str
    urgent : sequence of UrgentAnswer
        The most pressing first: the first is told, the others stand beside it.
    again : RecheckAnswer
    checks : sequence of str
        What is told of each examination that is due.
    asks : sequence of str
        What is to be read or mended before anything is planned: `open_questions`.
    """
    if urgent:
        return " ".join([urgent[0].text, *asks])
    return " ".join([*asks, _planned(band, again, checks)])


def open_questions(safety: Safety) -> list[str]:
    """Return what is to be read or mended before anything is planned, a sentence each.

    A kidney value far beyond those before it is among them: no window of pressure knows of it.
    """
    days = (
        *still_statements(safety.asks_whether_still),
        *unread_sign_statements(safety.unread),
        *uncounted_statements(safety.found.uncounted),
        *remark_statements(safety.remarks),
    )
    asks = (asked.text for asked in asking_statements(safety.asks))
    newest, species = safety.kidney_leap, safety.found.seen.species
    leap = [] if newest is None else [leap_statement(newest, species).text]
    return [*dict.fromkeys(asks), *leap, *(statement.text for statement in days)]


#: What stands for words of the records that may name somebody.
UNNAMED = "…"


def unquoted(text: str, names: Mapping[str, str] | None = None) -> str:
    """Return a sentence without what it quotes of the records.

    Parameters
    ----------
    text : str
    names : mapping of str to str, optional
        What is told in place of what is quoted; blank where nothing is known of it.
    """
    for quoted, name in (names or {}).items():
        text = text.replace(f"“{quoted}”", name or f"“{UNNAMED}”")
    # Where what is quoted holds quotation marks itself, all between the first and the last goes.
    plain = re.fullmatch("(?:[^“”]*“[^“”]*”)*[^“”]*", text) is not None
    return re.sub("“[^”]*”" if plain else "“.*”", f"“{UNNAMED}”", text, flags=re.DOTALL)


def _planned(band: str, again: RecheckAnswer, checks: Sequence[str]) -> str:
    reason = f"{capital(again.reason or '')}."
    if band == "checks" and checks:
        return f"{capital('; '.join(checks))}."
    if band == "lost":
        last = "" if again.counted_from is None else f" since {day(again.counted_from)}"
        return f"No visit is on record{last}. {reason}"
    return reason


#: What is missing of the laboratory, by `bpvet.models.safety.checks_due`.
_VALUES = {
    "kidney": "creatinine or SDMA",
    "potassium": "potassium",
    "protein": "protein in the urine (UPC)",
}


def nameless_words(rows: int) -> str:
    """Return that rows stand without an animal; blank where none does."""
    if not rows:
        return ""
    have = "has" if rows == 1 else "have"
    return (
        f"{counted(rows, 'row').capitalize()} of readings or signs {have} no animal's id, and "
        "nothing below knows of them: find whose they are. bpvet check names their lines."
    )


def unread_words(files: Sequence[str], pseudonyms: bool) -> str:
    """Return that files are not read; blank where none is. A file may bear an animal's name."""
    if not files:
        return ""
    named = listed([f"“{file}”" for file in files])
    named = counted(len(files), "file").capitalize() if pseudonyms else f"Not read: {named}."
    named = f"{named} beside the records not read." if pseudonyms else named
    return (
        f"{named} Whatever pressures, signs, treatments or laboratory values may stand there, "
        "nothing below knows of them. bpvet check says why."
    )


def check_text(check: Check) -> str:
    """Return why an examination is due, as part of a sentence."""
    values = listed([_VALUES[name] for name in check.values])
    since = day(check.since)
    if check.rule == "renin":
        interval = fact(check.fact_id)
        return (
            f"{values} {interval.low:g} to {interval.high:g} days after {check.detail} was "
            f"started or changed on {since}: not on record"
        )
    if check.rule == "stage":
        interval = fact(check.fact_id)
        days = (
            f"{interval.value:g}"
            if interval.value is not None
            else f"{interval.low:g} to {interval.high:g}"
        )
        return f"{values} every {days} days in kidney stage {check.detail}; counted from {since}"
    return {
        "eyes.severe": f"180 mmHg or more on {since}, and no look at the eyes since is on record",
        "eyes.first": f"first 160 mmHg or more on {since}, and no look at the eyes since is on "
        "record",
        "eyes.open": f"a sign of the eye is open: the eyes are looked at on each visit; counted "
        f"from {since}",
        "eyes.yearly": f"the eyes are looked at each year; counted from {since}",
    }[check.rule]


#: What a row's event in the calendar says where something is to be read before.
READ_FIRST = "read what is asked first, then {then}"
#: The columns of the list as it is printed in a session of Python.
LIST_COLUMNS = ("animal", "band", "at the latest", "usual", "at target")


def list_title(due: Due) -> str:
    """Return what stands above that table."""
    return f"Due on {due.as_of}, windows that end within {due.days} days"


def contact_text(date: np.datetime64, outcome: str, about: bool, moves: bool, kept: int) -> str:
    """Return what is told of a contact.

    Parameters
    ----------
    date : datetime64[D]
    outcome : str
        As the table of contacts has it.
    about : bool
        Whether nothing newer has happened since.
    moves : bool
        Whether it moves the row down.
    kept : int
        Days for which a contact counts.
    """
    outcome_words = f"{_OUTCOMES[outcome]} on {date}"
    if outcome == "left" and about:
        return f"{outcome_words}: write left_on among the animals"
    if not about:
        return f"{outcome_words}, before the newest entry"
    if outcome != "no answer" and not moves:
        return f"{outcome_words}, more than {kept} days ago"
    return outcome_words


def who_of(row: DueRow) -> str:
    """Return what an animal is called."""
    return f"{row.name} ({row.animal})" if row.name else row.animal


def what_words(row: DueRow) -> str:
    """Return what is to be done; where no rule can say, that it is the vet's to decide."""
    nothing = "for the vet to decide" if row.band == "no_plan" else "nothing now"
    words = ", ".join(ASKED[what] for what in row.what) or nothing
    # Whatever is to be done, a note that may tell of blindness comes before it.
    asked_first = row.read_first or (row.open_questions and not row.urgent)
    return f"read what is asked below first, then {words}" if asked_first else words


def asked_words(row: DueRow) -> str:
    """Return what is to be done, and by when where there is a date."""
    return ", ".join(filter(None, (what_words(row), by_words(row))))


def by_words(row: DueRow) -> str:
    """Return by when, and how long ago that was; of examinations where only these are due.

    Blank without a date.
    """
    latest, overdue = row.latest, row.overdue_days
    if row.band == "checks" and row.asked:
        soonest = min(row.asked, key=lambda check: check.latest)
        latest, overdue = soonest.latest, soonest.overdue_days
    if latest is None:
        return ""
    return f"by {latest}, {counted(overdue, 'day')} ago" if overdue else f"by {latest}"


def credit_of_row(row: DueRow) -> str:
    """Return whose window or rule it is, and its grade; blank where something is urgent."""
    if row.urgent or row.grade is None:
        return ""
    if row.band == "checks" or row.grade == "J":
        return f"{_OWN}, J"
    return f"{cited(row.guideline_name or '', row.remembered)}, {row.grade}"


def last_words(row: DueRow) -> str:
    """Return the last session: its mean and date, and the usual pressure then."""
    last = row.last
    if last is None:
        return "not measured yet"
    value = "no number" if last.value is None else f"{number(last.value, 0)} mmHg"
    usual = ""
    if last.estimate is not None and last.sd is not None:
        usual = f"; usual then {number(last.estimate, 0)} (SD {number(last.sd, 0)})"
    return f"{_SIGNS.get(last.bound, '')}{value} on {last.date}{usual}"
