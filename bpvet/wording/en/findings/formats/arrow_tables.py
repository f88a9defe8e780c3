"""Parquet and Arrow files: what unpacks to too much, columns that are not read, zones of times."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.DAMAGED: Words(
            "The file is damaged: it cannot be read as what its first bytes claim it to be.",
            "Write it again, or save the table as CSV and read that.",
        ),
    }
)


@WORDS.of(Code.UNPACKS_TOO_LARGE)
def _too_large(why: str) -> Words:
    return Words(why, "Save the table as CSV, or take out what is not needed.")


@WORDS.of(Code.COLUMN_NOT_READ)
def _column_not_read(name: str, holds: str) -> Words:
    return Words(
        f"The column {shown(name)} holds {holds}, and is not read.",
        "Give it one plain value a row, or leave it out.",
    )


@WORDS.of(Code.ZONE_OF_TIMES)
def _zone(zone: str, foreign: bool) -> Words:
    fix = "Nothing to do, if that is the clinic's own time."
    if foreign:
        fix = "If the clinic's clock showed another time, write local times instead."
    return Words(
        f"The times are kept in the zone {shown(zone, 40)}, and its date and time are used.", fix
    )
