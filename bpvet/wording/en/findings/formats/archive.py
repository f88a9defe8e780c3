"""Workbooks that are not opened, and archives that are none."""

from __future__ import annotations

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import FILL_IT
from bpvet.wording.en.findings.wording import Wording

_SAVE_AS_CSV = "Save the sheet as CSV (UTF-8) and read that."
_SAVE_AS_EITHER = "Save it as .xlsx or CSV."
WORDS = Wording(
    {
        Code.ARCHIVE_DAMAGED: Words(
            "This is a workbook or an archive that is damaged: it cannot be unpacked.",
            "Open it in a spreadsheet program and save it again, or take another copy.",
        ),
        Code.ARCHIVE_PROTECTED: Words(
            "The archive is protected by a password.", "Save it without a password."
        ),
        Code.BINARY_WORKBOOK: Words(
            "This is a binary workbook (.xlsb), which is not read.", _SAVE_AS_EITHER
        ),
        Code.OPEN_DOCUMENT: Words(
            "This is an OpenDocument sheet, which is not read.", _SAVE_AS_EITHER
        ),
        Code.WORD_DOCUMENT: Words(
            "This is a text document (.docx), not a table.",
            "Copy its table into a spreadsheet program and save it as .xlsx or CSV.",
        ),
        Code.NO_WORKBOOK: Words(
            "This is an archive, not a workbook.", "Unpack it and read what is in it."
        ),
        Code.PARTS_OF_ONE_NAME: Words(
            "The workbook is damaged: two of its parts have the same name.", _SAVE_AS_CSV
        ),
        Code.MORE_THAN_STATED: Words("The workbook unpacks to more than it says.", _SAVE_AS_CSV),
        Code.NESTED_TOO_DEEPLY: Words(
            "The parts of the workbook are nested deeper than any sheet's are.", _SAVE_AS_CSV
        ),
        Code.DOCUMENT_TYPE: Words(
            "A part of the workbook declares a document type, which no workbook needs.",
            _SAVE_AS_CSV,
        ),
        Code.NO_STORED_VALUES: Words(
            "Next to no formula of the workbook has a stored value.", _SAVE_AS_CSV
        ),
        Code.UNSOUND_PART: Words("A part of the workbook is not sound XML.", _SAVE_AS_CSV),
        Code.UNKNOWN_PACKING: Words(
            "The workbook is packed in a way that is not read.", _SAVE_AS_CSV
        ),
        Code.WORKBOOK_DAMAGED: Words(
            "The workbook cannot be read: it is damaged, or written in an unusual way.",
            _SAVE_AS_CSV,
        ),
        Code.EMPTY_SHEET: Words("The sheet is empty.", FILL_IT),
        Code.EMPTY_WORKBOOK: Words("The workbook holds no sheet with cells in it.", FILL_IT),
    }
)


@WORDS.of(Code.PARTS_TOO_LARGE)
def _too_large(megabytes: int) -> Words:
    reason = f"The workbook unpacks to more than {megabytes} MB, which is not read."
    return Words(reason, _SAVE_AS_CSV)


@WORDS.of(Code.TOO_MUCH_TEXT)
def _too_much_text(megabytes: int) -> Words:
    return Words(f"The cells of a sheet hold more than {megabytes} MB of text.", _SAVE_AS_CSV)


@WORDS.of(Code.TOO_MANY_CELLS)
def _too_many_cells(cells: float) -> Words:
    return Words(f"The workbook holds more than {cells / 1e6:.1f} million cells.", _SAVE_AS_CSV)


@WORDS.of(Code.ROW_NUMBER)
def _row_number(most: int) -> Words:
    return Words(f"A row of the workbook is numbered above {most:,}.", _SAVE_AS_CSV)


@WORDS.of(Code.SHEET_TOO_WIDE)
def _too_wide(most: int) -> Words:
    return Words(f"A sheet has more than {most:,} cells between its corners.", _SAVE_AS_CSV)
