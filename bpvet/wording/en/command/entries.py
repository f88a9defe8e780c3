"""What is told of entries to records: what was added, what is asked first, what was taken back."""

from __future__ import annotations

#: The questions of the check, told before something is added; a line each follows.
LOOK_FIRST, ADDED_ANYWAY = "Please look at this first:", "Added all the same:"
#: Asked at a terminal; "yes" adds it.
ASK = "Add it all the same? Type yes: "
NO_READING_YET = "There is no reading in these records as yet."
NOTHING_TO_CANCEL = "Nothing here was added by bpvet, so nothing can be taken back."
#: What was added, the name of its file, and the command that takes it back.
ADDED = 'Added: {what}. It is in "{file}".\nTo take it back: {undo}'
#: What was taken back, and the name of the file that says so.
CANCELLED = (
    "Cancelled: {what}: {reason}. It stays in its file, and is used by nothing; "
    '"bpvet check" lists it. The row that says so is in "{file}".'
)


def what_now(who: str, without: bool = False) -> str:
    """Return what stands above an animal's answer: with a new entry, or without one taken back."""
    return (
        f"What now, without it, of {who}:" if without else (f"What now, with all records of {who}:")
    )


#: That there is no answer to "what now", and why.
NOT_KNOWN = "What now is not known: {reason}"
#: That readings were lost to the records, and the command that adds them.
NOT_ADDED = "These readings are not in the records. To add them: {again}"
#: Whose readings they are, by what was typed; both are ready to be shown.
IS_ANIMAL = "{typed} is the animal {found} of these records."
#: That what was typed is a new animal.
NEW_ANIMAL = "No animal of these records has the id or the name {typed}: it is a new one."
#: That nobody knows whether what was typed is an animal of the records.
NOT_LOOKED_UP = "It could not be looked up whether {typed} is a known id: {reason}"


def saved(many: str, taken_at: str, file: object, by_itself: bool) -> str:
    """Return where readings were saved; `by_itself`: a folder of records would not read it."""
    note = " In a folder of records only files named readings….csv are read as readings."
    return f'Saved {many} of {taken_at} in "{file}".{note if by_itself else ""}'
