"""Databases: rows that are not in the file, and tables that are not there."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.NEWEST_ROWS)
def _newest_rows(name: str) -> Words:
    return Words(
        "The database keeps its newest rows in a file beside it, and those are not read.",
        f"To read them too, give its URL: sqlite:///{name}.",
    )


@WORDS.of(Code.DATABASE_REFUSES)
def _refuses(why: str) -> Words:
    return Words(why, "Take another copy of it, or get the table as CSV.")


@WORDS.of(Code.NO_READINGS_TABLE)
def _no_readings_table(tables: tuple[str, ...]) -> Words:
    there = ", ".join(shown(name, 40) for name in tables) or "none"
    return Words(
        f"The database holds no table of readings; its tables are: {there}.",
        'Say how to get them: --query "SELECT … FROM …".',
    )
