"""A table's cells before they are read: white space, and lines that cannot be told apart."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.WHITE_SPACE)
def _white_space(cells: int) -> Words:
    return Words(f"White space around {cells} of the cells is ignored.", NOTHING_TO_DO)


@WORDS.of(Code.BROKEN_LINE)
def _broken_line(text: str, why: str) -> Words:
    return Words(
        f"The line {why}.",
        f"Correct the line {shown(text)}: a cell with a separator or a line break in it needs "
        "quotation marks.",
    )


@WORDS.of(Code.APOSTROPHE)
def _apostrophe(such_as: str, cells: int) -> Words:
    many = f" {cells} cells of this column have one." if cells > 1 else ""
    return Words(
        f"An apostrophe keeps spreadsheets from taking {shown(such_as)} for a formula, and is "
        f"taken off.{many}",
        NOTHING_TO_DO,
    )
