"""What a command is about to do, and where it has put what it made."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

#: Heads of a figure's text.
CAPTION, ALTERNATIVE = "Caption", "Alternative text"
#: What takes long, told to a terminal before it begins, by command.
WAITING = {
    "agreement": "Comparing, and writing the report; this takes some seconds.",
    "audit": "Looking, and writing the report; this takes some seconds.",
    "cohort": "Fitting, and writing the report; this may take a minute.",
    "due": "Looking at every animal; of thousands this takes minutes.",
    "morning": "Writing the list and its reports; this takes a while.",
    "priors": "Learning; this may take a minute.",
    "report": "Writing the report; this takes some seconds.",
}
#: Where the list of whom to see next is.
DUE_WRITTEN = 'The list is in "{file}".'
#: Where the list is, and how many `reports` ("three reports") stand with it.
MORNING_WRITTEN = 'The list is in "{file}", with {reports}.'
#: That the report of an animal could not be written, and why.
NO_REPORT = "No report of {animal}: {reason}"
#: Where the sheet for the room is.
SHEET_WRITTEN = 'The sheet is in "{file}".'
#: Where the page for the owner is.
#: What stands beside a page for the owner, and not on it.
READ_FIRST = "Before the page is handed out: {questions}"
OWNER_PAGE_WRITTEN = 'The page for the owner is in "{file}".'
#: Where the diary is, and what becomes of it.
DIARY_WRITTEN = 'The diary is in "{file}"; filled in, it is read as readings.'
#: Where a letter is, and the table of the same.
LETTER_WRITTEN = 'The letter is in "{file}", the same as a table in "{table}".'
#: Where a figure is, and its words.
FIGURE_WRITTEN = 'The figure is in "{file}", its caption and alternative text in "{text}".'


def report_written(page: Path, notebook: Path, pdf: Path | None) -> list[str]:
    """Return where a report is, a line each of its page, what is printed, and its notebook."""
    return [
        f'The report is in "{page}"; open it in any browser.',
        *([] if pdf is None else [f'The same to print is in "{pdf}".']),
        f'The notebook behind it is in "{notebook}".',
    ]


#: What must not leave the clinic with a report under other names.
KEEP_PARAMETERS = 'Do not pass on "{file}": it says where the records are.'
#: Where priors were saved, and how they are used.
PRIORS_SAVED = 'Saved in "{file}"; to use them: --priors {file}'
#: Which files of invented records are where.
EXAMPLE_WRITTEN = "Wrote {files} into {folder}. All of it is invented; ABOUT.txt says more."
#: What stands above the commands to begin with.
EXAMPLE_NEXT = "Then, for instance:"

#: What a bundle does not hold, by its reason.
_LEFT_BEHIND = {
    "duplicate": "exact duplicates",
    "set aside": "readings set aside",
    "cancelled": "rows that were cancelled",
    "missed": "doses missed or late, which have no place in it",
    "contacts": "contacts with owners, which have no place in it",
}


def left_behind(why: str, count: int) -> str:
    """Return what a bundle does not hold; `why` by key, or a reason in words."""
    return f"Not in it: {_LEFT_BEHIND.get(why, why)} ({count})."


def proposal_told(proposed: int, unsure: int) -> str:
    """Return how many columns were proposed, and that nothing was done."""
    many = f"{proposed} proposed, {unsure} of them not sure. " if proposed else ""
    return f"{many}Nothing was applied and nothing was written."


#: How many findings there are about records at a path, quoted, and how to see them.
FINDINGS_TOLD = "{many} about the records; to see them: bpvet check {path}"
