"""The clinic's list as one self-contained page, rows linked to animals' pages and sheets."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape
from pathlib import Path

from bpvet.answers.due.bands import BANDS, LATER
from bpvet.answers.due.calendar import due_calendar
from bpvet.answers.due.due import Due, DueRow
from bpvet.answers.sheet.sheet import SheetAnswer
from bpvet.facts.cautions import parted
from bpvet.facts.sources import footnotes
from bpvet.files import write_all
from bpvet.printing import prose_date
from bpvet.records.outputs import Inputs
from bpvet.records.table_files import table_files
from bpvet.reports.files import made_folder, refuse_foreign
from bpvet.reports.markup import (
    bullets,
    folded,
    heading,
    paragraph,
    prose,
    tag,
)
from bpvet.reports.naming import digest_of, slug
from bpvet.reports.page import cleaned, document
from bpvet.reports.sheet import SHEET, sheet_name, sheet_pages
from bpvet.wording.en.due import (
    asked_words,
    column_words,
    credit_of_row,
    nameless_words,
    unread_words,
    who_of,
)
from bpvet.wording.en.pages.due import (
    ABOUT_BAND,
    ALL_CAUTIONS,
    CAUTIONS,
    SHEET_LINK,
    also_lines,
    band_title,
    counts,
    last_line,
    later_words,
    list_title,
)
from bpvet.wording.en.phrases import capital

#: Marks the page as ours, so that the next list may replace it.
MARK = f"due {digest_of('due')}"
PAGE, TABLE, CALENDAR = "due.html", "due.csv", "due.ics"
_ISO_DATE = re.compile(r"\b\d{4}-\d\d-\d\d\b")


def due_page(
    due: Due, pages: Mapping[str, str] | None = None, sheets: Mapping[str, str] | None = None
) -> str:
    """Return the list as a page.

    Parameters
    ----------
    due : Due
    pages, sheets : mapping of str to str, optional
        File names of an animal's own page and of its sheet for the room, beside this one, by id
        (with pseudonyms, by what the list calls it; it then links to no animal's page).
    """
    linked = {} if pages is None or due.pseudonyms else pages
    rooms = sheets or {}
    title = list_title(due)
    first, rest = parted(due.cautions)
    body = tag(
        "header",
        heading(1, title)
        + paragraph(counts(due))
        + paragraph(nameless_words(due.nameless))
        + paragraph(unread_words(due.unread, due.pseudonyms)),
    )
    bands = [band for band in BANDS if band != LATER]
    body += "".join(_band(band, due, linked, rooms) for band in bands)
    body += paragraph(later_words(due))
    more = folded(ALL_CAUTIONS, bullets(rest)) if rest else ""
    body += tag("section", heading(2, CAUTIONS) + bullets(first) + more)
    body += "".join(paragraph(note, "footnote") for note in footnotes(body))
    return document(cleaned(body), title, MARK, "page.css")


def _band(band: str, due: Due, pages: Mapping[str, str], sheets: Mapping[str, str]) -> str:
    rows = [row for row in due.rows if row.band == band]
    if not rows:
        return ""
    top = heading(2, band_title(band, len(rows))) + paragraph(ABOUT_BAND.get(band, ""))
    entries = [_entry(row, pages, sheets) for row in rows]
    if band == "now":
        return tag("section", top + "".join(entries), class_="urgent")
    # Two beside each other where there is room: a morning's list is read at a glance.
    top += tag("div", "".join(tag("section", entry) for entry in entries), class_="answers")
    return tag("section", top)


def _entry(row: DueRow, pages: Mapping[str, str], sheets: Mapping[str, str]) -> str:
    """Return an animal's entry: who, what and by when, why, and whose rule it is."""
    who, page, sheet = escape(who_of(row)), pages.get(row.animal), sheets.get(row.animal)
    what, last = _dated(capital(asked_words(row))), _dated(last_line(row))
    credit, also = credit_of_row(row), also_lines(row)
    return "".join(
        (
            tag("h3", tag("a", who, href=page) if page else who),
            tag("p", tag("strong", prose(f"{what}.")) + prose(f" {capital(last)}")),
            paragraph(f"{row.why}{f' ({credit})' if credit else ''}"),
            bullets(also) if also else "",
            tag("p", tag("a", SHEET_LINK, href=sheet)) if sheet else "",
        )
    )


def _dated(text: str) -> str:
    """Return a text with its dates as readers write them."""
    # A date stays on one line.
    return _ISO_DATE.sub(
        lambda found: prose_date(found[0]).replace(" ", "\N{NO-BREAK SPACE}"), text
    )


def pages_in(folder: Path, due: Due) -> dict[str, str]:
    """Return the animals' own pages that are in a folder, file name by id."""
    return _there(folder, {row.animal: f"{slug(row.animal)}.html" for row in due.rows})


def sheets_in(folder: Path, due: Due) -> dict[str, str]:
    """Return the sheets for the room that are in a folder, file name by id.

    None with pseudonyms: an earlier list may have called another animal so.
    """
    if due.pseudonyms:
        return {}
    return _there(folder, {row.animal: sheet_name(row.animal) for row in due.listed})


def _there(folder: Path, names: Mapping[str, str]) -> dict[str, str]:
    return {animal: name for animal, name in names.items() if (folder / name).is_file()}


def write_due(
    due: Due,
    folder: Path,
    inputs: Inputs,
    force: bool,
    sheets: Mapping[str, SheetAnswer] | None = None,
) -> tuple[Path, ...]:
    """Write the list into a folder as a page, a table and a calendar, with sheets for the room.

    Parameters
    ----------
    due : Due
    folder : Path
        It is made if it is not there.
    inputs : Inputs
        What was read, which is never written over.
    force : bool
        Whether files that are not an earlier list may be replaced.
    sheets : mapping of str to SheetAnswer, optional
        As `bpvet.answers.sheet.sheet.sheets` gives them: a page for each.

    Returns
    -------
    tuple of Path
        The page first.

    Raises
    ------
    CallError
        Where a file is in the way or cannot be written; nothing is then replaced.
    """
    contents = {CALENDAR: due_calendar(due)}
    contents |= table_files(folder / TABLE, due.to_frame(), column_words())
    marks = {sheet_name(animal): SHEET.mark(sheet) for animal, sheet in (sheets or {}).items()}

    def refuse() -> None:
        for name in (*contents, PAGE, *marks):
            inputs.refuse(folder / name)
        if not force:
            refuse_foreign(folder / PAGE, MARK)
            for name, mark in marks.items():
                refuse_foreign(folder / name, mark)
            if not (folder / PAGE).exists():
                for name in contents:
                    refuse_foreign(folder / name, MARK)

    with made_folder(folder):
        refuse()
        rooms = {animal: sheet_name(animal) for animal in sheets or {}}
        rooms |= sheets_in(folder, due)
        # The page last: whoever opens it finds what belongs to it.
        page = due_page(due, pages_in(folder, due), rooms).encode("utf-8", "replace")
        write_all(
            folder,
            contents | sheet_pages(sheets or {}) | {PAGE: page},
            replace=True,
            check=refuse,
        )
    return (folder / PAGE, folder / TABLE, folder / CALENDAR)
