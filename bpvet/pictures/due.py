"""The clinic's list as a picture: each animal's window for measuring again, in days from today."""

from __future__ import annotations

import numpy as np

from bpvet.answers.due.bands import BANDS
from bpvet.answers.due.due import Due, DueRow
from bpvet.figures.clinic.cohort_picture import IntervalPanel, IntervalsPicture
from bpvet.printing import prose_date
from bpvet.wording.en.due import who_of
from bpvet.wording.en.phrases import counted

_MEASURE = "measure"


def due_picture(due: Due) -> IntervalsPicture:
    """Return the windows for measuring again of the animals of a list, the most pressing first.

    Parameters
    ----------
    due : Due
        The list. Animals without a window are counted in the caption, not drawn.
    """
    rows = [one for one in due.rows if one.latest is not None]
    first, last = (
        np.array([_days(due, day) for day in days], dtype=float)
        for days in ([one.earliest for one in rows], [one.latest for one in rows])
    )
    today, apart = prose_date(due.as_of), len(due.rows) - len(rows)
    left = f" {counted(apart, 'animal').capitalize()} more without a window." if apart else ""
    return IntervalsPicture(
        title="Whom to see next, and by when",
        names=tuple(_name(one) for one in rows),
        panels=(IntervalPanel("", f"Days from {today}", last, first, last),),
        zero_is=f"{today}; a window that ends left of it is overdue",
        mark="Last day",
        interval="line from the first day",
        caption=(
            f"Windows for measuring again of {counted(len(rows), 'animal')} on {today}, the most "
            "pressing first. What is urgent does not wait for its window, nor do eyes, blood or "
            "urine that are asked for now. Where no first day is named the last stands alone."
            f"{left}"
        ),
        alt_text=" ".join(
            [
                f"Windows of {counted(len(rows), 'animal')}, the most pressing first.",
                *(f"{_name(one)}, {_words(one)}." for one in rows),
            ]
        ),
    )


def _days(due: Due, date: np.datetime64 | None) -> float:
    """Return days from the day of the list; NaN without a date."""
    return np.nan if date is None else float((date - due.as_of) / np.timedelta64(1, "D"))


def _name(one: DueRow) -> str:
    others = ", ".join(what for what in one.what if what != _MEASURE)
    if _MEASURE in one.what or not others:
        return f"{who_of(one)}: {BANDS[one.band]}"
    return f"{who_of(one)}: {others} now, to be measured later"


def _words(one: DueRow) -> str:
    told = f"by {prose_date(one.latest)}"
    return told if one.earliest is None else f"from {prose_date(one.earliest)} {told}"
