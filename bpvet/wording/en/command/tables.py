"""Heads and notes of what is printed as a table or a list at the terminal."""

from __future__ import annotations

#: Of ``bpvet sessions``.
NO_SESSIONS = "There are no sessions."
SESSIONS_NOTE = "Systolic in mmHg, the mean of the used readings."
#: What stands above the cautions.
CAUTIONS, NOTES = "Cautions", "Notes"
#: Heads of the readings of one session, around the method.
READING, COUNTS = "reading", "counts"
#: Of ``bpvet priors``.
PRIORS_NOTE = "Noise SDs are medians, with their log-SDs in brackets."
#: Of ``bpvet sheet``.
HOW_TO_MEASURE = "How to measure"
#: Of ``bpvet trend``: what stands above each list, and in the table of numbers.
NOT_USED = "Also on record, not used here"
FOUND_HERE = "Found in these records"
ESTIMATE, UNIT = "estimate", "unit"
JOINT = "Pressure and laboratory values together"
CHANGE = "change a month, apart from drugs"
#: How many cautions are not printed, and how they are.
MORE_CAUTIONS = "- … and {count} more; --cautions prints all"
#: An urgent line as it stands before anything else.
URGENT_LINE = "Urgent: {text}"


def speaks_on(what: str, date: str) -> str:
    """Return the first line of an answer: whose it is and of what, and as of when."""
    return f"{what}, as of {date}" if what else f"as of {date}"


def and_more(texts: str, count: int) -> str:
    """Return texts, with how many are not among them."""
    return f"{texts} and {count} more" if count > 0 else texts


#: The head of intervals that hold with a probability, as text.
INTERVAL_HEAD = "{level} interval"
#: The row of the usual value on a date.
USUAL_ON = "usual on {date}"
#: The row of a drug's full effect.
FULL_EFFECT = "{drug} from {since}, full effect"
#: An interval by its ends as text.
ENDS = "{lower} to {upper}"
#: The row of a probability, by its value as text.
AT_OR_BELOW = "probability at or below {value}"


def coming_on(date: object, of_labs: bool) -> str:
    """Return the row of what is expected on a date: a laboratory value, or a session's mean."""
    return f"{'value' if of_labs else 'mean of a session'} on {date}"


#: How many findings are not shown, and where they are.
MORE_FINDINGS = "- … and {count} more; bpvet check shows all"


def plan_heads(readings: list[str]) -> tuple[str, ...]:
    """Return the heads of a plan's half-widths."""
    return ("visits", *(f"± with {k}" for k in readings), "± drug effect")


#: The title of the half-widths of a plan.
PLAN_TITLE = (
    "Half-widths at {level} ({unit}, rounded up) of the usual value, by readings\n"
    "per visit, and of a drug started in mid-schedule with {readings}"
)


def due_head(as_of: object, days: int, animals: int, left: int) -> str:
    """Return the head of the list: how many are on it, and how many left."""
    gone = f"; {_animals(left)} left, not on it" if left else ""
    return f"Due on {as_of}, within {days} days: {_animals(animals)}{gone}"


def due_rest(animals: int) -> str:
    """Return how many due animals are not printed."""
    return f"… and {_animals(animals)} more; --all prints every one."


def due_later(animals: int) -> str:
    """Return how many later animals are not printed."""
    return f"Later: {_animals(animals)}; --all prints them too."


#: How many further urgent lines an animal has.
DUE_MORE = " And {urgent} more urgent."
#: The probability of being at target when the window ends.
DUE_TARGET = "; at target then {probability}"


def _animals(many: int) -> str:
    return f"{many} animals" if many != 1 else "1 animal"
