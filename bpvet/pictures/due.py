"""The clinic's list as a picture: each animal's window for measuring again, in days from today."""

from __future__ import annotations

import numpy as np

from bpvet.answers.due.due import Due
from bpvet.figures.clinic.cohort_picture import IntervalPanel, IntervalsPicture
from bpvet.wording.en.pictures import due as words
from bpvet.wording.en.pictures.drawn import UNNAMED


def due_picture(due: Due) -> IntervalsPicture:
    """Return the windows for measuring again of the animals of a list, the most pressing first.

    Parameters
    ----------
    due : Due
        The list. Animals without a window are counted in the caption, not drawn.
    """
    rows = [row for row in due.rows if row.latest is not None]
    first, last = (
        np.array([_days(due, day) for day in days], dtype=float)
        for days in ([row.earliest for row in rows], [row.latest for row in rows])
    )
    return IntervalsPicture(
        title=words.TITLE,
        names=tuple(words.row_name(row) for row in rows),
        panels=(IntervalPanel("", words.axis(due.as_of), last, first, last),),
        zero_is=words.zero_is(due.as_of),
        mark=words.MARK,
        interval=words.INTERVAL,
        unnamed=UNNAMED,
        caption=words.caption(due, len(rows)),
        alt_text=words.alt_text(rows),
    )


def _days(due: Due, date: np.datetime64 | None) -> float:
    """Return days from the day of the list; NaN without a date."""
    return np.nan if date is None else float((date - due.as_of) / np.timedelta64(1, "D"))
