"""Days on which an animal was to be measured and no reading can be used.

Such a day makes no session, and without a word of it an animal whose pressure could not be taken
would look like one that was not seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.records.records import Records


@dataclass(frozen=True, eq=False)
class UnmeasuredDay(Content):
    """A day with readings of which none can be used: each is set aside or excluded.

    Parameters
    ----------
    date : datetime64[D]
    rows : int
        Its readings, exact doubles left out.
    """

    date: np.datetime64
    rows: int


def unmeasured_days(
    records: Records, animal: str | None = None
) -> Mapping[str, tuple[UnmeasuredDay, ...]]:
    """Return the days without a usable reading of each animal that has any, in order.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame = records.readings
    day = frame["date"].to_numpy(dtype="datetime64[D]")
    unused = ((frame["set_aside"] != "") | (frame["excluded"] != "")).to_numpy(dtype=bool)
    if not unused.any():
        return {}
    whose = frame["animal"] != "" if animal is None else frame["animal"] == animal
    unused = unused & whose.to_numpy(dtype=bool) & ~frame["duplicate"].to_numpy(dtype=bool)
    unused &= ~np.isnat(day) & (day <= records.as_of)
    # Of the animals that have such a row alone: few of a large clinic.
    near = frame["animal"].isin(frame["animal"][unused].unique()).to_numpy(dtype=bool)
    rows = pd.DataFrame(
        {
            "animal": frame["animal"][near].astype(str),
            "date": day[near],
            "unused": unused[near],
            "used": (frame["set_aside"] == "")[near] & (frame["excluded"] == "")[near],
        }
    )
    days = rows.groupby(["animal", "date"], sort=True)[["unused", "used"]].sum()
    found: dict[str, list[UnmeasuredDay]] = {}
    for (whose, date), unused_rows, used in days.itertuples(name=None):
        if unused_rows and not used:
            unmeasured = UnmeasuredDay(np.datetime64(date, "D"), int(unused_rows))
            found.setdefault(str(whose), []).append(unmeasured)
    return {whose: tuple(of_animal) for whose, of_animal in found.items()}
