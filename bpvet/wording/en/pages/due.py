"""The clinic's list as a page, in words."""

from __future__ import annotations

from bpvet.answers.due.bands import BANDS, LATER, band_name
from bpvet.answers.due.due import Due, DueRow
from bpvet.printing import probability
from bpvet.wording.en.due import last_words
from bpvet.wording.en.phrases import capital, counted, day

#: What is said below a band's heading.
ABOUT_BAND = {
    "now": "Something is urgent: look at these animals first, whatever their window says.",
    "checks": "The pressure is not due; an examination of eyes, blood or urine is (our own rule).",
    "lost": "Long past their window, and nothing urgent known: ring the owner.",
    "no_plan": "No window is given, or the animal was never measured.",
}
CAUTIONS = "Cautions"
ALL_CAUTIONS = "All cautions"
SHEET_LINK = "Sheet for the room"


def list_title(due: Due) -> str:
    """Return what the list is called."""
    return f"Whom to see next: {day(due.as_of)}"


def counts(due: Due) -> str:
    """Return how many animals stand in each band."""
    left = f" Not on it: {counted(due.left, 'animal')} that left." if due.left else ""
    by_band = {band: sum(row.band == band for row in due.rows) for band in BANDS}
    bands = ", ".join(f"{band_name(band)} {by_band[band]}" for band in BANDS if by_band[band])
    return (
        f"{counted(len(due.rows), 'animal').capitalize()}: {bands}.{left} Windows that end within "
        f"{counted(due.days, 'day')} are due. Most pressing first."
    )


def band_title(band: str, many: int) -> str:
    """Return the heading of a band with so many animals."""
    return f"{band_name(band).capitalize()}: {counted(many, 'animal')}"


def later_words(due: Due) -> str:
    """Return how many animals the page leaves to the table; blank where none."""
    later = sum(row.band == LATER for row in due.rows)
    if not later:
        return ""
    return (
        f"Later: {counted(later, 'animal')} whose window ends after these {due.days} days; "
        "the table and the calendar have them all."
    )


def last_line(row: DueRow) -> str:
    """Return what is known of an animal's last visit, and of whom was spoken to."""
    target = "" if row.p_at_target is None else f"; at target then {probability(row.p_at_target)}"
    contact = "" if row.contact is None else f"; {row.contact.text}"
    return f"{last_words(row)}{target}{contact}."


def also_lines(row: DueRow) -> tuple[str, ...]:
    """Return what stands below the reason of a row: further urgent lines, and examinations.

    In the band of examinations they are the reason, and are not said again.
    """
    urgent = (line.text for line in row.urgent[1:])
    checks = () if row.band == "checks" and not row.urgent else row.asked
    return (*urgent, *(f"{capital(check.why)} ({check.grade})" for check in checks))
