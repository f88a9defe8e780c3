"""Entries that were taken back, and cancellations that cancel nothing."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.CANCELLED_UNSAID: Words(
            "It is not said why the entry was cancelled. It is cancelled all the same.", "Say why."
        ),
    }
)


@WORDS.of(Code.UNKNOWN_ENTRY)
def _unknown_entry(entry: str) -> Words:
    return Words(
        f"No row bears the entry {shown(entry)}: nothing is cancelled by it.",
        "Correct the id; it stands in the name of the file that was added and in its rows.",
    )


@WORDS.of(Code.CANCELLED_TWICE)
def _twice(entry: str, earlier: tuple[str, int]) -> Words:
    file, line = earlier
    return Words(
        f"The entry {shown(entry)} is cancelled twice; the first row stands ({file}, line {line}).",
        NOTHING_TO_DO,
    )


@WORDS.of(Code.CANCELLED)
def _rows(what: str, why: str, entry: str) -> Words:
    return Words(f"{what}: {why}. It is not used (entry {entry}).", NOTHING_TO_DO)
