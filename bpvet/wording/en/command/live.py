"""What is told while readings are taken one by one (``bpvet average --live``)."""

from __future__ import annotations

HELP = """\
One reading a line, such as 158, over300, under40 or 158/92/114/180. An empty line ends.
  silent          no sound was heard
  not 2 moved     reading 2 does not count, and why; without a number the last one
  counts 2        reading 2 counts after all
  back            take back what you entered last (a slip of typing)
  list            what has been entered"""

#: What an urgent line that has been told is called from then on.
_STILL = {"low": "the pressure may be too low, or measured wrongly", "severe": "very high"}
TAKEN_BACK = "Taken back: whether a reading counts is as it was before."
NONE_NOW, NONE_YET = "No reading is entered now.", "No reading is entered yet."


def still_urgent(rule: str) -> str:
    """Return that what was urgent is so still."""
    return f"Still urgent: {_STILL.get(rule, rule)}."


#: Which reading is gone, and what to do if it was measured all the same.
READING_TAKEN_BACK = (
    "Taken back: {number}: {reading}. If it was measured all the same, enter it again and say "
    "why it does not count: not {number} WHY"
)


def entered(number: int, reading: str, reason: str | None = None) -> str:
    """Return a reading with its place; `reason`: why it does not count, blank where it does."""
    if reason is None:
        return f"{number}: {reading}"
    return f"{number}: {reading}, {f'does not count: {reason}' if reason else 'counts'}"


def ended(how: str, many: str, readings: str) -> str:
    """Return by what the taking ended, and what was kept of it."""
    by = {"end": "the end of the input", "interrupted": "an interruption"}[how]
    return f"Ended by {by}. Kept: {many} ({readings or 'none'})."


def half_line(line: str, taken: bool) -> str:
    """Return what becomes of a last line without a line end."""
    if taken:
        return f"The last line, {line}, has no line end; it is taken as it stands."
    return f"{line} was not finished with Enter, and is not taken."
