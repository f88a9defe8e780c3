"""The headings and notes of a sheet for the room; its rows are in `bpvet.wording.en.sheet`."""

from __future__ import annotations

from bpvet.answers.sheet.sheet import SheetAnswer
from bpvet.wording.en.phrases import counted, day

#: Each heading, label and note, by what it stands at.
SHEET_WORDS = {
    "open": "Read this first",
    "cut": "… The whole text is in the records.",
    "readings": "Readings in the order of taking, mmHg",
    "doses": "Doses since the last visit",
    "last_dose": "Last tablet given at",
    "eyes": "Eyes",
    "nerves": "Nerves",
    "how": "How to measure",
    "what": "What",
    "today": "Today, date and time:",
    "first": "1 (first)",
    "why": "why not?",
}
#: What the page is called.
PAGE_TITLE = "{who}: measuring"


def who_line(answer: SheetAnswer, species: str) -> str:
    """Return the kind of animal and the date that is spoken for."""
    kind = f"{species}. " if species else ""
    return f"{kind[:1].upper()}{kind[1:]}Records as of {day(answer.as_of)}."


def shown_short(left: int) -> str:
    """Return that lines are cut, and how many are left out."""
    more = f"And {counted(left, 'line')} more. " if left else ""
    return f"{more}This is shown short: read the record before you measure."
