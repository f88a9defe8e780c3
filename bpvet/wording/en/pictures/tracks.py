"""What stands beside a drug's track: its dose of the day, or until when it was given."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.figures.pictures import CourseSpan
from bpvet.printing import prose_date


def given_words(drug: str, doses: Sequence[str], modelled: bool) -> str:
    """Return a drug that is given, with its dose.

    Doses of rows that go on together are all named: which of them holds is not known.

    Parameters
    ----------
    drug : str
    doses : sequence of str
        As written, at least one; may be blank.
    modelled : bool
        Whether it acts on pressure: a dose that is not on record is then told.
    """
    if len(doses) > 1:
        named = " and ".join(dose or "no dose" for dose in doses)
        return f"{drug} {named} (both on record)" if len(doses) == 2 else f"{drug} {named}"
    unknown = "(no dose on record)" if modelled else ""
    return f"{drug} {doses[0] or unknown}".strip()


def ended_words(last: CourseSpan) -> str:
    """Return a drug that is no longer given, with the last day of its last spell."""
    return f"{last.label}, until {prose_date(last.stopped_on)}"
