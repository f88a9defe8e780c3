"""Workbooks: sheets that are not read, and what a reading of the values alone would not show."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.tables import TABLES
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, lines_named
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.HIDDEN_SHEET: Words(
            "The sheet is hidden in the workbook, and is read like any other.", NOTHING_TO_DO
        ),
    }
)


@WORDS.of(Code.SHEETS_NOT_READ)
def _not_read(names: tuple[str, ...], more: int) -> Words:
    listed = ", ".join(shown(name, 30) for name in names)
    return Words(
        f"Sheets of the workbook that are not read: {listed}{_more(more)}.",
        f"If one holds records, name the sheets after their tables: {', '.join(TABLES)}.",
    )


@WORDS.of(Code.HIDDEN_ROWS)
def _hidden_rows(lines: SomeLines) -> Words:
    verb = "is" if lines.many == 1 else "are"
    return Words(
        f"{lines_named(lines)} {verb} hidden in the workbook, and read like the others.",
        "Check whether they belong to the records; delete them if not.",
    )


@WORDS.of(Code.MERGED_CELLS)
def _merged(cells: tuple[str, ...], more: int) -> Words:
    return Words(
        f"Merged cells ({', '.join(cells)}{_more(more)}) hold one value, in the first of their "
        "rows.",
        "Unmerge them, and fill in every row; the other rows count as blank there.",
    )


@WORDS.of(Code.ERROR_CELLS)
def _errors(cells: tuple[str, ...], more: int) -> Words:
    return Words(
        f"Cells that hold an error of the spreadsheet: {', '.join(cells)}{_more(more)}.",
        "Correct what they are worked out from; they are read as the error's name.",
    )


@WORDS.of(Code.FORMULAS_UNVALUED)
def _formulas(cells: tuple[str, ...], more: int) -> Words:
    return Words(
        f"Formulas without a stored value count as blank: {', '.join(cells)}{_more(more)}.",
        "Open the workbook in a spreadsheet program, save it, and read it again.",
    )


def _more(count: int) -> str:
    return f" and {count} more" if count else ""
