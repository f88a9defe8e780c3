"""Readings dated before the animal's birth date: one of the two dates is wrong.

Where it is the reading's, the animal may have been seen since its latest date: 2006 for 2026.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bpvet.equality import Content
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records


@dataclass(frozen=True, eq=False)
class Unborn(Content):
    """Readings of one animal that are dated before it was born.

    Parameters
    ----------
    rows : int
    newest : datetime64[D]
        The newest of their dates.
    born : datetime64[D]
        Its birth date, as recorded.
    """

    rows: int
    newest: np.datetime64
    born: np.datetime64


def unborn_rows(records: Records, animal: str | None = None) -> Mapping[str, Unborn]:
    """Return the readings of each animal dated before its birth date; others are not in it.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame = records.rows_of("readings", animal)
    birth_dates = records.rows_of("animals", animal).set_index("animal")["birth_date"]
    # Of an animal that was born before the first reading of all nothing need be looked at.
    birth_dates = birth_dates[birth_dates > frame["date"].min()]
    if birth_dates.empty:
        return {}
    near = frame["animal"].isin(birth_dates.index) & cells_are(frame, "set_aside", "")
    rows = frame.loc[near & ~frame["duplicate"], ["animal", "date"]]
    born = rows["animal"].astype(str).map(birth_dates)
    rows = rows[(rows["date"] < born).to_numpy(dtype=bool)]
    dates = rows.groupby("animal", sort=False, observed=True)["date"].agg(["size", "max"])
    newest = dates["max"].to_numpy(dtype="datetime64[D]")
    birth = birth_dates[dates.index.astype(str)].to_numpy(dtype="datetime64[D]")
    return {
        str(whose): Unborn(int(many), last, day)
        for whose, many, last, day in zip(dates.index, dates["size"], newest, birth, strict=True)
    }
