"""What the picture of the clinic's list says: its rows, its caption and its alternative text."""

from __future__ import annotations

import numpy as np

from bpvet.answers.due.bands import band_name
from bpvet.answers.due.due import Due, DueRow
from bpvet.printing import prose_date
from bpvet.wording.en.due import ASKED, who_of
from bpvet.wording.en.phrases import counted

TITLE = "Whom to see next, and by when"
#: What a mark is, and the line to it.
MARK, INTERVAL = "Last day", "line from the first day"
_MEASURE = "measure"


def axis(as_of: np.datetime64) -> str:
    """Return the axis: days from the day of the list."""
    return f"Days from {prose_date(as_of)}"


def zero_is(as_of: np.datetime64) -> str:
    """Return what the line at 0 is."""
    return f"{prose_date(as_of)}; a window that ends left of it is overdue"


def caption(due: Due, drawn: int) -> str:
    """Return the written caption; animals without a window are counted in it."""
    apart = len(due.rows) - drawn
    left = f" {counted(apart, 'animal').capitalize()} more without a window." if apart else ""
    return (
        f"Windows for measuring again of {counted(drawn, 'animal')} on {prose_date(due.as_of)}, "
        "the most pressing first. What is urgent does not wait for its window, nor do eyes, blood "
        "or urine that are asked for now. Where no first day is named the last stands alone."
        f"{left}"
    )


def alt_text(rows: list[DueRow]) -> str:
    """Return the windows in words."""
    first = f"Windows of {counted(len(rows), 'animal')}, the most pressing first."
    return " ".join([first, *(f"{row_name(row)}, {_window(row)}." for row in rows)])


def row_name(row: DueRow) -> str:
    """Return whose window it is, and how pressing, or what else is to be done now."""
    others = ", ".join(ASKED[what] for what in row.what if what != _MEASURE)
    if _MEASURE in row.what or not others:
        return f"{who_of(row)}: {band_name(row.band)}"
    return f"{who_of(row)}: {others} now, to be measured later"


def _window(row: DueRow) -> str:
    latest = f"by {prose_date(row.latest)}"
    return latest if row.earliest is None else f"from {prose_date(row.earliest)} {latest}"
