"""Readings and observations dated after today: a slip of the year hides the newest visit.

A row dated after the day that is looked at is left out, as it was not yet written then. One that
lies after the day of reading as well cannot be right, and without a word of it the animal would
look as if it had not been seen since the row before.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.parsing import dates
from bpvet.records.records import Records

#: The date of each table's rows.
DATED = {
    "readings": "date",
    "observations": "seen_on",
    "labs": "sampled_on",
    "treatments": "started_on",
    "missed": "from",
}
#: What a row of a table is of.
NAMED = {"observations": "sign", "labs": "analyte", "treatments": "drug"}


@dataclass(frozen=True, eq=False)
class LaterRows(Content):
    """Readings and observations of one animal that are dated after today.

    Parameters
    ----------
    readings, observations : int
    first, last : datetime64[D]
        Their first and last date.
    """

    readings: int
    observations: int
    first: np.datetime64
    last: np.datetime64


def last_possible(records: Records) -> np.datetime64:
    """Return the last day of which a row can have been written: today, or the day looked at."""
    return max(records.as_of, dates.today())


def later_rows(records: Records, animal: str | None = None) -> Mapping[str, LaterRows]:
    """Return those of each animal; animals without any are not in it.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    last = last_possible(records)
    found: dict[str, list[tuple[str, np.datetime64]]] = {}
    for table in ("readings", "observations"):
        rows = records.columns(table, animal)
        if not rows["future"].any():
            continue
        rows = rows.take(rows["future"] & (rows.days(DATED[table]) > last))
        for whose, day in zip(rows["animal"], rows.days(DATED[table]), strict=True):
            if whose:
                found.setdefault(whose, []).append((table, day))
    return {
        whose: LaterRows(
            readings=sum(table == "readings" for table, _ in rows),
            observations=sum(table == "observations" for table, _ in rows),
            first=min(day for _, day in rows),
            last=max(day for _, day in rows),
        )
        for whose, rows in found.items()
    }
