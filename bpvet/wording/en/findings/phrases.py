"""Sentences that several checks end with."""

from __future__ import annotations

from bpvet.records.cells import SomeLines

NOTHING_TO_DO = "Nothing to do."
FILL_IT = "Put a header and rows in it."
NOT_MEASURED = "Nothing to do if it has not been measured."
#: What asks nothing of the reader.
IDLE = ("", NOTHING_TO_DO, NOT_MEASURED)
CHECK_THE_CHART = "Check it against the chart; nothing to do if it is right."
LEAVE_OUT = 'Correct it; if the reading should not count, say why under "excluded".'
SPELL_SO = "If that is what is meant, write it so."
ONE_WAY = "If they are one animal, write its id in one way."
EITHER_DATE = "Correct one of the two dates."


def lines_named(lines: SomeLines) -> str:
    """Return line numbers for a sentence: "Line 4", "Lines 4 and 9", "Lines 1, 2 and 40 more".

    Examples
    --------
    >>> lines_named(SomeLines((4,), 1)), lines_named(SomeLines((4, 9), 2))
    ('Line 4', 'Lines 4 and 9')
    >>> lines_named(SomeLines((1, 2), 42))
    'Lines 1, 2 and 40 more'
    """
    first, rest = list(map(str, lines.first)), lines.many - len(lines.first)
    if lines.many == 1:
        return f"Line {first[0]}"
    last = f"{rest} more" if rest else first.pop()
    return f"Lines {', '.join(first)} and {last}"


def location(file: str, line: int | None, column: str) -> str:
    """Return where a finding is; without a line or a column these are left out."""
    where = file if line is None else f"{file}, line {line}"
    return f"{where}, column {column}" if column else where
