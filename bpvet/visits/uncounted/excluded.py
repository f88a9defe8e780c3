"""Readings of the newest visit that the clinic excluded, where the mean may look better by it.

With 205 and 208 excluded beside 150 the day reads as 150; and of fewer readings than the protocol
asks for a mean rests on little. That the first reading of enough is excluded is the protocol's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.facts.protocol import MIN_READINGS
from bpvet.records.records import Records
from bpvet.visits.latest_date import JUDGED_CONDITIONS


@dataclass(frozen=True, eq=False)
class ExcludedReadings(Content):
    """The newest day with readings that the clinic excluded.

    Parameters
    ----------
    date : datetime64[D]
    rows : int
        How many it excluded.
    values : tuple of (float, str)
        Their systolic pressures, mmHg, and their bounds, in the order of the input.
    kept : int
        Readings of that day that can be used.
    highest : float or None
        Highest of these, mmHg; None without one.
    """

    date: np.datetime64
    rows: int
    values: tuple[tuple[float, str], ...]
    kept: int
    highest: float | None

    @property
    def higher(self) -> bool:
        """Whether one of them stands higher than all that can be used."""
        values = [value for value, bound in self.values if bound != "at most"]
        return self.highest is not None and max(values, default=self.highest) > self.highest


def excluded_readings(
    records: Records, animal: str | None = None
) -> Mapping[str, ExcludedReadings]:
    """Return the newest day with excluded readings of each animal, where it is to be told.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame = records.rows_of("readings", animal)
    excluded = (frame["excluded"] != "").to_numpy(dtype=bool)
    if not excluded.any():
        return {}
    day = frame["date"].to_numpy(dtype="datetime64[D]")
    usable = frame["condition"].isin(JUDGED_CONDITIONS) & (frame["set_aside"] == "")
    judged = (usable & ~frame["duplicate"]).to_numpy(dtype=bool) & (day <= records.as_of)
    of_animal = frame["animal"][excluded & judged]
    newest = pd.Series(day[excluded & judged]).groupby(of_animal.to_numpy()).max()
    near = np.flatnonzero(judged & frame["animal"].isin(newest.index).to_numpy(dtype=bool))
    near = near[day[near] == newest[frame["animal"].iloc[near]].to_numpy("datetime64[D]")]
    rows = frame.iloc[near].sort_values(["taken_at", "reading"], kind="stable")
    found = {}
    for whose, of_day in rows.groupby("animal", sort=True, observed=True):
        day_of = _of_day(of_day)
        if day_of is not None:
            found[str(whose)] = day_of
    return found


def _of_day(rows: pd.DataFrame) -> ExcludedReadings | None:
    """Return what is told of the readings of a day, in order of taking; None for nothing."""
    out = (rows["excluded"] != "").to_numpy(dtype=bool)
    systolic = rows["systolic"].to_numpy(dtype=float)
    counts = rows["summary_n"].clip(lower=1).to_numpy(dtype=int)
    read, bounds = ~np.isnan(systolic), rows["systolic_bound"].astype(str)
    kept, highest = int(counts[~out].sum()), systolic[~out & read].max(initial=-np.inf)
    found = ExcludedReadings(
        date=rows["date"].to_numpy(dtype="datetime64[D]")[0],
        rows=int(out.sum()),
        values=tuple(zip(systolic[out & read].tolist(), bounds[out & read], strict=True)),
        kept=kept,
        highest=float(highest) if np.isfinite(highest) else None,
    )
    first_alone = bool(out[0]) and found.rows == 1
    few = kept < MIN_READINGS
    return found if few or (found.higher and not first_alone) else None
