"""What is told of entries to records: what was added, what is asked first, what was taken back."""

from __future__ import annotations

#: The questions of the check, told before something is added; a line each follows.
LOOK_FIRST, ADDED_ANYWAY = "Please look at this first:", "Added all the same:"
#: Asked at a terminal; "yes" adds it.
ASK = "Add it all the same? Type yes: "
NO_READING_YET = "There is no reading in these records as yet."
NOTHING_TO_CANCEL = "Nothing here was added by bpvet, so nothing can be taken back."


def added(what: str, file: str, undo: str) -> str:
    """Return what was added, the name of its file, and the command that takes it back."""
    return f'Added: {what}. It is in "{file}".\nTo take it back: {undo}'


def cancelled(what: str, reason: str, file: str) -> str:
    """Return what was taken back, and the name of the file that says so."""
    return (
        f"Cancelled: {what}: {reason}. It stays in its file, and is used by nothing; "
        f'"bpvet check" lists it. The row that says so is in "{file}".'
    )


def what_now(who: str, without: bool = False) -> str:
    """Return what stands above an animal's answer: with a new entry, or without one taken back."""
    return (
        f"What now, without it, of {who}:" if without else (f"What now, with all records of {who}:")
    )


def not_known(reason: str) -> str:
    """Return that there is no answer to "what now", and why."""
    return f"What now is not known: {reason}"


def not_added(again: str) -> str:
    """Return that readings were lost to the records, and the command that adds them."""
    return f"These readings are not in the records. To add them: {again}"


def is_animal(typed: str, found: str) -> str:
    """Return whose readings they are, by what was typed; both are ready to be shown."""
    return f"{typed} is the animal {found} of these records."


def new_animal(typed: str) -> str:
    """Return that what was typed is a new animal."""
    return f"No animal of these records has the id or the name {typed}: it is a new one."


def not_looked_up(typed: str, reason: str) -> str:
    """Return that nobody knows whether what was typed is an animal of the records."""
    return f"It could not be looked up whether {typed} is a known id: {reason}"


def saved(many: str, taken_at: str, file: object, by_itself: bool) -> str:
    """Return where readings were saved; `by_itself`: a folder of records would not read it."""
    note = " In a folder of records only files named readings….csv are read as readings."
    return f'Saved {many} of {taken_at} in "{file}".{note if by_itself else ""}'
