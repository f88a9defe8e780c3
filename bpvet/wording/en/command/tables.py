"""Heads and notes of what is printed as a table or a list at the terminal."""

from __future__ import annotations

#: Of ``bpvet sessions``.
NO_SESSIONS = "There are no sessions."
SESSIONS_NOTE = "Systolic in mmHg, the mean of the used readings."
#: Of ``bpvet priors``.
PRIORS_NOTE = "Noise SDs are medians, with their log-SDs in brackets."
#: Of ``bpvet sheet``.
HOW_TO_MEASURE = "How to measure"
#: Of ``bpvet trend``: what stands above each list, and in the table of numbers.
NOT_USED = "Also on record, not used here"
FOUND_HERE = "Found in these records"
JOINT = "Pressure and laboratory values together"
CHANGE = "change a month, apart from drugs"


def at_or_below(value: str) -> str:
    """Return the row of a probability, by its value as text."""
    return f"probability at or below {value}"


def coming_on(date: object, of_labs: bool) -> str:
    """Return the row of what is expected on a date: a laboratory value, or a session's mean."""
    return f"{'value' if of_labs else 'mean of a session'} on {date}"


def more_findings(count: int) -> str:
    """Return how many findings are not shown, and where they are."""
    return f"- … and {count} more; bpvet check shows all"


def plan_title(level: str, unit: str, readings: int) -> str:
    """Return the title of the half-widths of a plan."""
    return (
        f"Half-widths at {level} ({unit}, rounded up) of the usual value, by readings\n"
        f"per visit, and of a drug started in mid-schedule with {readings}"
    )


def due_head(as_of: object, days: int, animals: str, left: str) -> str:
    """Return the head of the list; `animals` and `left` ("two animals"; blank) were counted."""
    gone = f"; {left} left, not on it" if left else ""
    return f"Due on {as_of}, within {days} days: {animals}{gone}"


def due_rest(animals: str) -> str:
    """Return how many due animals are not printed."""
    return f"… and {animals} more; --all prints every one."


def due_later(animals: str) -> str:
    """Return how many later animals are not printed."""
    return f"Later: {animals}; --all prints them too."


def due_target(probability: str) -> str:
    """Return the probability of being at target when the window ends."""
    return f"; at target then {probability}"
