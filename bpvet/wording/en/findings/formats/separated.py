"""Files of text: headers too wide, lines that do not fit, and rows that hold nothing."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import FILL_IT, NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording({Code.EMPTY_FILE: Words("The file is empty.", FILL_IT)})


@WORDS.of(Code.TOO_MANY_COLUMNS)
def _too_many_columns(most: int) -> Words:
    return Words(
        f"The header has more than {most:,} cells.".replace(",", " "),
        "Keep the columns that hold records.",
    )


@WORDS.of(Code.MOSTLY_BROKEN)
def _mostly_broken(broken: int, rows: int, why: str) -> Words:
    return Words(
        f"{broken:,} of the first {rows:,} rows do not fit the header (the last of these {why}), "
        "so it is not the table that its header says; no row is used.",
        "Look whether the header and the separator are those of the rows, and save it again.",
    )


@WORDS.of(Code.SEPARATORS_ONLY)
def _separators_only(rows: int) -> Words:
    reason = "One row holds only separators and was skipped."
    if rows > 1:
        reason = f"{rows} rows hold only separators and were skipped."
    return Words(reason, NOTHING_TO_DO)


@WORDS.of(Code.ROWS_IN_A_CELL)
def _rows_in_a_cell(such_as: str) -> Words:
    return Words(
        f"{shown(such_as)} spans lines that look like rows of their own. It is one cell.",
        "Check whether a quotation mark was not closed on that line.",
    )
