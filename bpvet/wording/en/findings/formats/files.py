"""What a file is, whatever its name says: forms that are not read, and files that say little."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.OLD_WORKBOOK: Words(
            "This is an old workbook (.xls), which is not read.",
            "Open it in a spreadsheet program and save it as .xlsx or CSV.",
        ),
        Code.PROTECTED_FILE: Words(
            "This workbook is protected by a password.",
            "Open it in a spreadsheet program and save it as .xlsx without a password.",
        ),
        Code.OLD_FEATHER: Words(
            "This is a Feather file of the first version, which is not read.",
            "Write it again as Feather version 2, Parquet or CSV.",
        ),
        Code.PDF: Words(
            "This is a PDF, not a table.",
            "Ask the program that made it for the table itself, as CSV or .xlsx.",
        ),
        Code.PICTURE: Words(
            "This is a picture, not a table.",
            "Type its readings into a table (.xlsx or CSV): animal, taken_at, method and systolic.",
        ),
        Code.TEXT_DOCUMENT: Words(
            "This is a text document, not a table.",
            "Copy its table into a spreadsheet program and save it as .xlsx or CSV.",
        ),
        Code.MARKUP: Words(
            "This is a web page or another marked-up text (HTML or XML), whatever its name says.",
            "Open it in a spreadsheet program and save it as .xlsx or CSV.",
        ),
        Code.GZIP: Words(
            "This is a compressed file.",
            "Unpack it and read what is in it.",
        ),
    }
)


@WORDS.of(Code.HEADER_ONLY)
def _header_only(readings: bool) -> Words:
    return Words(
        "The file has a header and no rows.",
        "Add a row for each reading." if readings else NOTHING_TO_DO,
    )


@WORDS.of(Code.LONG_HEADING)
def _long_heading(headings: int, longest: int, such_as: str) -> Words:
    many = f"{headings} headings are" if headings > 1 else "A heading is"
    return Words(
        f"{many} longer than {longest} letters, and cut: {shown(such_as)}.",
        "Give it a short heading, and look whether it is one.",
    )


@WORDS.of(Code.SAME_FILE_TWICE)
def _same_twice(same_as: str) -> Words:
    return Words(
        f"The file holds exactly what {same_as} holds: its rows are copies, and are set aside.",
        "Take one of the two out of the folder.",
    )
