"""What may be a slip of an animal's newest visit."""

from __future__ import annotations

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, shown
from bpvet.wording.en.findings.wording import Wording
from bpvet.wording.en.phrases import counted

WORDS = Wording({})


@WORDS.of(Code.BACKDATED)
def _backdated(animal: str, rows: int, date: str, above: str) -> Words:
    are = "is" if rows == 1 else "are"
    return Words(
        f"From here on the last {counted(rows, 'reading')} of {shown(animal)} in this file {are} "
        f"dated {date}, after rows of {above}.",
        "If the year is a slip, correct it: this is then the newest visit, and no answer takes "
        "it for it.",
    )


@WORDS.of(Code.NEWEST_WITHOUT_SYSTOLIC)
def _newest_without_systolic(animal: str, date: str) -> Words:
    return Words(
        f"The newest visit of {shown(animal)}, of {date}, has no systolic pressure.",
        'If one was read, write it; if no sound was heard, write "no sound". What is told of '
        "systolic pressure is of earlier days.",
    )
