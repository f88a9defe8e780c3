"""What ``bpvet check`` prints: what there is to do, what was understood, and how signs were."""

from __future__ import annotations

#: What there is to do, in the order of pressing, as the heading of a group of findings.
STOPS = "Fix first: nothing can be done with the records until then"
ASIDE = "Correct: set aside, and not used until then"
LOOK = "Check"
NOTHING = "For information: nothing to do"
GROUPS = (STOPS, ASIDE, LOOK, NOTHING)

#: Headings of what follows the findings.
UNDERSTOOD = "What was understood"
CANCELLED = "Cancelled: kept where it stands, and used by nothing"
SIGNS = "Signs, as they were understood"

#: How a sign was understood, the most pressing first.
READING_WORDS = {
    "present": "present",
    "unclear": "unclear",
    "unread": "not understood",
    "past": "past",
    "denied": "absent",
    "other": "not urgent",
}
#: What a sign is of, by its group.
GROUP_WORDS = {
    "eye": "eye",
    "brain": "brain",
    "brain_other": "nerves",
    "look": "to look at",
    "weak": "weakness",
    "heart": "heart",
    "kidney": "kidney",
    "bleeding": "bleeding",
    "other": "other",
    "left": "died or left?",
    "pressure": "mmHg, another pressure?",
    "doubt": "a reading in doubt?",
    "treatment": "of a treatment",
}

#: What is counted.
ROW, READING, FINDING = "row", "reading", "finding"
NO_ANIMALS = "none"
#: What was understood, by the keys of `understood`.
UNDERSTOOD_WORDS = {
    "tables": "tables",
    "layout": "layout",
    "mapping": "columns",
    "dates": "dates",
    "unit": "unit",
    "methods": "methods",
    "animals": "animals",
    "encoding": "encoding",
    "separator": "columns between",
    "decimal_commas": "decimal commas",
    "unknown_columns": "unknown, kept",
}
#: How a file is laid out and what stands between its columns, by what `understood` has.
FORMS = {
    "one row a reading": "one row a reading",
    "comma": "comma",
    "semicolon": "semicolon",
    "tab": "tab",
    "bar": "bar",
}
NO_FINDINGS = "Nothing was found that needs attention."
NO_TABLE = "No table could be read."
HOW_TO_SEE_ALL = "--all shows every finding, --json gives them to other programs."
#: Whose records they are, and as of when.
RECORDS_LINE = "Records of {source}, as of {as_of}"
#: How many readings there are, counted as text.
IN_ALL = "{readings} in all"


def times(many: int) -> str:
    """Return how often a sign was written so; blank where once."""
    return f", {many} times" if many > 1 else ""


#: The status that was written beside a sign.
STATUS_WORDS = ", status {status}"
#: How many like the last are not shown.
LIKE_THIS = "  … and {rest} more like this"
#: As which column of ours a heading is read.
READ_AS = "{theirs} as {ours}"
#: Which file says so.
MAPPING_SAYS = ", as {file} says"


def line_numbers(first: int, last: int) -> str:
    """Return lines from one to another."""
    return f", line {first}" if first == last else f", lines {first} to {last}"


def some_lines(numbers: str, rest: int) -> str:
    """Return lines that do not follow on each other, and how many more there are."""
    return f", lines {numbers}" + (f" and {rest} more" if rest > 0 else "")


#: How to have a mapping proposed for the records at a path, quoted.
SUGGESTION = "To have the headings, dates and units proposed: bpvet check {path} --suggest"


def counted_words(rule: str, cancelled: int) -> dict[str, str]:
    """Return what becomes of readings, by the keys of their accounting, as a sum has it."""
    first = "" if rule == "all" else "the first of four or more; "
    aside = f" ({cancelled} of them cancelled)" if cancelled else ""
    return {
        "used": "used",
        "left_out": f"left out (rule {rule}: {first}no sound)",
        "excluded": "excluded by the clinic",
        "set_aside": f"set aside{aside}",
    }


#: How many animals are of no species that is known.
UNKNOWN_SPECIES = "{count} of unknown species"
