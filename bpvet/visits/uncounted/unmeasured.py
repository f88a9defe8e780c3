"""Days on which an animal was to be measured, and none or not all of the readings can be used.

A day without any makes no session, and without a word of it an animal whose pressure could not be
taken would look like one that was not seen. What is unread beside a usable reading may be what
mattered: "24O" and "2 30" beside 140.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records


@dataclass(frozen=True, eq=False)
class UnmeasuredDay(Content):
    """A day with readings that cannot be used, exact doubles left out.

    Parameters
    ----------
    date : datetime64[D]
    rows : int
        How many; where others of the day are usable, without those that the clinic excluded.
    used : int
        Usable ones of that day.
    """

    date: np.datetime64
    rows: int
    used: int = 0


def unmeasured_days(
    records: Records, animal: str | None = None
) -> Mapping[str, tuple[UnmeasuredDay, ...]]:
    """Return the days with readings that cannot be used of each animal that has any, in order.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame = records.rows_of("readings", animal)
    day = frame["date"].to_numpy(dtype="datetime64[D]")
    aside, used = (
        ~cells_are(frame, "set_aside", ""),
        cells_are(frame, "set_aside", "") & cells_are(frame, "excluded", ""),
    )
    unused = ~used
    if not unused.any():
        return {}
    known = ~cells_are(frame, "animal", "")
    unused = unused & known & ~frame["duplicate"].to_numpy(dtype=bool)
    unused &= ~np.isnat(day) & (day <= records.as_of)
    if not unused.any():
        return {}
    # Of the animals that have such a row alone: few of a large clinic.
    near = frame["animal"].isin(frame["animal"][unused].unique()).to_numpy(dtype=bool)
    rows = pd.DataFrame(
        {
            "animal": frame["animal"][near].astype(str),
            "date": day[near],
            "unused": unused[near],
            "aside": (unused & aside)[near],
            "used": used[near],
        }
    )
    days = rows.groupby(["animal", "date"], sort=True)[["unused", "aside", "used"]].sum()
    found: dict[str, list[UnmeasuredDay]] = {}
    for (whose, date), unused_rows, aside_rows, used_rows in days.itertuples(name=None):
        if many := int(aside_rows if used_rows else unused_rows):
            unmeasured = UnmeasuredDay(np.datetime64(date, "D"), many, int(used_rows))
            found.setdefault(str(whose), []).append(unmeasured)
    return {whose: tuple(of_animal) for whose, of_animal in found.items()}
