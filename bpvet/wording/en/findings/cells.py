"""A table's cells before they are read: white space, and lines that cannot be told apart."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO


def _white_space(cells: int) -> Words:
    return Words(f"White space around {cells} of the cells is ignored.", NOTHING_TO_DO)


def _broken_line(text: str, why: str) -> Words:
    return Words(
        f"The line {why}.",
        f"Correct the line {shown(text)}: a cell with a separator or a line break in it needs "
        "quotation marks.",
    )


WORDS: WordsByCode = MappingProxyType(
    {
        Code.WHITE_SPACE: _white_space,
        Code.BROKEN_LINE: _broken_line,
    }
)
