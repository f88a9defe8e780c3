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
    for row in due.rows:
        lines += _event(row, due)
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _event(row: DueRow, due: Due) -> Iterator[str]:
    day = _day(row, due)
    if day is None:
        return
    stamp = f"{date.fromisoformat(str(due.as_of)):%Y%m%d}T000000Z"
    uid = sha256(f"bpvet due {row.animal}".encode("utf-8", "surrogatepass")).hexdigest()[:32]
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}@bpvet"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{day:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{day + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{_escaped(_summary(row))}"
    yield f"DESCRIPTION:{_escaped(_description(row, due))}"
    yield f"CATEGORIES:{_escaped(band_name(row.band))}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _day(row: DueRow, due: Due) -> date | None:
    today = date.fromisoformat(str(due.as_of))
    if row.read_first or row.band in ("now", "two_days", "overdue", "lost"):
        return today
    days = [row.latest] if row.band in ("due", LATER) else [c.latest for c in row.checks]
    known = [date.fromisoformat(str(day)) for day in days if day is not None]
    if row.band == "no_plan" or not known:
        return None
    return max(today, min(known))


def _summary(row: DueRow) -> str:
    from bpvet.wording.en.due import READ_FIRST

    what = ", ".join(_ASKS[word] for word in row.what) or "measure"
    what = READ_FIRST.format(then=what) if row.read_first else what
    who = f"{row.name} ({row.animal})" if row.name else row.animal
    return f"{'Urgent: ' if row.urgent else ''}{who}: {what}"


def _description(row: DueRow, due: Due) -> str:
    if due.pseudonyms:
        # What was written about an animal may tell whose it is.
        return f"{band_name(row.band)}. {licensed()}"
    return f"{row.why}\n{licensed()}"


def _escaped(text: str) -> str:
    """Return text as a value of iCalendar; letters that no line may hold become blanks."""
    shown = "".join(c if c == "\n" or c.isprintable() else " " for c in text)
    for letter, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        shown = shown.replace(letter, written)
    return shown


def _folded(line: str) -> bytes:
    """Return a line with its breaks: no more than 75 octets each, no letter cut in two."""
    parts, piece = [], b""
    for letter in line:
        octets = letter.encode("utf-8", "replace")
        if len(piece) + len(octets) > _LONGEST:
            parts.append(piece)
            piece = b" "
        piece += octets
    return b"\r\n".join([*parts, piece]) + b"\r\n"
