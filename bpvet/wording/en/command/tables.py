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


def more_cautions(count: int) -> str:
    """Return how many cautions are not printed, and how they are."""
    return f"- … and {count} more; --cautions prints all"


def urgent_line(text: str) -> str:
    """Return an urgent line as it stands before anything else."""
    return f"Urgent: {text}"


def speaks_on(what: str, date: str) -> str:
    """Return the first line of an answer: whose it is and of what, and as of when."""
    return f"{what}, as of {date}" if what else f"as of {date}"


def and_more(texts: str, count: int) -> str:
    """Return texts, with how many are not among them."""
    return f"{texts} and {count} more" if count > 0 else texts


def interval_head(level: str) -> str:
    """Return the head of intervals that hold with a probability, as text."""
    return f"{level} interval"


def usual_on(date: object) -> str:
    """Return the row of the usual value on a date."""
    return f"usual on {date}"


def full_effect(drug: str, since: object) -> str:
    """Return the row of a drug's full effect."""
    return f"{drug} from {since}, full effect"


def ends(lower: str, upper: str) -> str:
    """Return an interval by its ends as text."""
    return f"{lower} to {upper}"


def at_or_below(value: str) -> str:
    """Return the row of a probability, by its value as text."""
    return f"probability at or below {value}"


def coming_on(date: object, of_labs: bool) -> str:
    """Return the row of what is expected on a date: a laboratory value, or a session's mean."""
    return f"{'value' if of_labs else 'mean of a session'} on {date}"


def more_findings(count: int) -> str:
    """Return how many findings are not shown, and where they are."""
    return f"- … and {count} more; bpvet check shows all"


def plan_heads(readings: list[str]) -> tuple[str, ...]:
    """Return the heads of a plan's half-widths."""
    return ("visits", *(f"± with {k}" for k in readings), "± drug effect")


def plan_title(level: str, unit: str, readings: int) -> str:
    """Return the title of the half-widths of a plan."""
    return (
        f"Half-widths at {level} ({unit}, rounded up) of the usual value, by readings\n"
        f"per visit, and of a drug started in mid-schedule with {readings}"
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


def due_more(urgent: int) -> str:
    """Return how many further urgent lines an animal has."""
    return f" And {urgent} more urgent."


def due_target(probability: str) -> str:
    """Return the probability of being at target when the window ends."""
    return f"; at target then {probability}"


def _animals(many: int) -> str:
    return f"{many} animals" if many != 1 else "1 animal"
