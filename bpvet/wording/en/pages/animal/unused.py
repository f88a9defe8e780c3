"""What is on record and stands in no sentence of the answers: each row with the reason."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.wording.en.phrases import counted, day

_TABLES = {
    "labs": "Laboratory values",
    "observations": "Signs",
    "treatments": "Treatments",
    "readings": "Readings",
    "animals": "Animals",
    "missed": "Missed doses",
    "contacts": "Contacts",
    "readings note": "Notes of readings",
    "treatments note": "Notes of treatments",
    "observations note": "Notes of signs",
    "missed note": "Notes of missed doses",
    "contacts note": "Notes of contacts",
}


def unused_lines(answer: TrendAnswer) -> list[str]:
    """Return the rows that no sentence speaks of, a line a table and reason."""
    alike: dict[tuple[str, str], list[str]] = {}
    for row in answer.not_used:
        when = "no date" if np.isnat(row.date) else day(row.date)
        alike.setdefault((row.table, row.reason), []).append(f"{row.text} ({when})")
    return [
        f"{_TABLES.get(table, table)}, because {reason}: {'; '.join(rows)}."
        for (table, reason), rows in alike.items()
    ]


def unused_caption(answer: TrendAnswer) -> str:
    """Return what stands above them."""
    return f"Also on record, not used here ({counted(len(answer.not_used), 'row')})"
