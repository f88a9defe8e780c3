"""The clinic's list as a calendar (iCalendar, RFC 5545). Standard library only.

One event of a whole day an animal: on the last day of its window, or on the date spoken for where
that is past or something is urgent. With pseudonyms no event holds a word of the records.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from bpvet.answers.due.bands import LATER, band_name
from bpvet.facts.cautions import licensed

if TYPE_CHECKING:
    from bpvet.answers.due.due import Due, DueRow

#: Octets of a line, its break not counted (RFC 5545, 3.1).
_LONGEST = 75
_ASKS = {"measure": "measure", "eyes": "eyes", "bloods": "bloods", "urine": "urine"}


def due_calendar(due: Due) -> bytes:
    """Return the list as an iCalendar file: every row that has a day.

    Parameters
    ----------
    due : Due
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:-//bpvet//bpvet {due.version}//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
    ]
    for one in due.rows:
        lines += _event(one, due)
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _event(one: DueRow, due: Due) -> Iterator[str]:
    day = _day(one, due)
    if day is None:
        return
    stamp = f"{date.fromisoformat(str(due.as_of)):%Y%m%d}T000000Z"
    uid = sha256(f"bpvet due {one.animal}".encode("utf-8", "surrogatepass")).hexdigest()[:32]
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}@bpvet"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{day:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{day + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{_escaped(_summary(one))}"
    yield f"DESCRIPTION:{_escaped(_description(one, due))}"
    yield f"CATEGORIES:{_escaped(band_name(one.band))}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _day(one: DueRow, due: Due) -> date | None:
    today = date.fromisoformat(str(due.as_of))
    if one.band in ("now", "two_days", "overdue", "lost"):
        return today
    days = [one.latest] if one.band in ("due", LATER) else [c.latest for c in one.checks]
    known = [date.fromisoformat(str(day)) for day in days if day is not None]
    if one.band == "no_plan" or not known:
        return None
    return max(today, min(known))


def _summary(one: DueRow) -> str:
    what = ", ".join(_ASKS[word] for word in one.what) or "measure"
    who = f"{one.name} ({one.animal})" if one.name else one.animal
    return f"{'Urgent: ' if one.urgent else ''}{who}: {what}"


def _description(one: DueRow, due: Due) -> str:
    if due.pseudonyms:
        # What was written about an animal may tell whose it is.
        return f"{band_name(one.band)}. {licensed()}"
    return f"{one.why}\n{licensed()}"


def _escaped(text: str) -> str:
    """Return text as a value of iCalendar; letters that no line may hold become blanks."""
    shown = "".join(c if c == "\n" or c.isprintable() else " " for c in text)
    for letter, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        shown = shown.replace(letter, written)
    return shown


def _folded(line: str) -> bytes:
    """Return a line with its breaks: no more than 75 octets each, no letter cut in two."""
    parts, held = [], b""
    for letter in line:
        octets = letter.encode("utf-8", "replace")
        if len(held) + len(octets) > _LONGEST:
            parts.append(held)
            held = b" "
        held += octets
    return b"\r\n".join([*parts, held]) + b"\r\n"
