"""Readings of the newest visit that the clinic excluded, where the mean may look better by it.

With 205 and 208 excluded beside 150 the day reads as 150; and of fewer readings than the protocol
asks for a mean rests on little. That the first reading of enough is excluded is the protocol's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.facts.protocol import MIN_READINGS
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records
from bpvet.visits.latest_date import JUDGED_CONDITIONS

Mask = NDArray[np.bool_]
Days = NDArray[np.datetime64]


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
    excluded = ~cells_are(frame, "excluded", "")
    if not excluded.any():
        return {}
    usable = frame["condition"].isin(JUDGED_CONDITIONS) & cells_are(frame, "set_aside", "")
    day = frame["date"].to_numpy(dtype="datetime64[D]")
    judged = (usable & ~frame["duplicate"]).to_numpy(dtype=bool) & (day <= records.as_of)
    rows, whose = _of_newest_days(frame["animal"], day, excluded, judged)
    if not len(rows):
        return {}
    number = frame["reading"].to_numpy(dtype=float)[rows]
    order = np.lexsort((number, frame["taken_at"].to_numpy()[rows], whose))
    rows, start = rows[order], np.flatnonzero(np.diff(whose[order], prepend=-1))
    out, systolic = excluded[rows], frame["systolic"].to_numpy(dtype=float)[rows]
    bounds = frame["systolic_bound"].iloc[rows].to_numpy(dtype=object)
    counts = np.maximum(frame["summary_n"].to_numpy()[rows], 1)
    kept = np.add.reduceat(np.where(out, 0, counts), start)
    many = np.add.reduceat(out.astype(int), start)
    value = np.where(np.isnan(systolic), -np.inf, systolic)
    highest = np.maximum.reduceat(np.where(out, -np.inf, value), start)
    top = np.maximum.reduceat(np.where(out & (bounds != "at most"), value, -np.inf), start)
    first_alone = out[start] & (many == 1)
    tell = (kept < MIN_READINGS) | ((top > highest) & ~first_alone)
    found = {}
    for i in np.flatnonzero(tell).tolist():
        of_day = slice(start[i], start[i + 1] if i + 1 < len(start) else None)
        pairs = zip(systolic[of_day].tolist(), bounds[of_day], out[of_day], strict=True)
        found[str(frame["animal"].iloc[rows[start[i]]])] = ExcludedReadings(
            date=day[rows[start[i]]],
            rows=int(many[i]),
            values=tuple(
                (read, str(bound)) for read, bound, left in pairs if left and read == read
            ),
            kept=int(kept[i]),
            highest=float(highest[i]) if np.isfinite(highest[i]) else None,
        )
    return found


def _of_newest_days(
    animals: pd.Series, day: Days, excluded: Mask, judged: Mask
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the judged rows of each animal's newest day that has excluded ones, and whose."""
    rows = np.flatnonzero(judged)
    code, names = pd.factorize(animals)
    newest = np.full(len(names), np.iinfo(np.int64).min)
    np.maximum.at(newest, code[rows], day[rows].astype(np.int64))
    rows = rows[day[rows].astype(np.int64) == newest[code[rows]]]
    some = np.bincount(code[rows], weights=excluded[rows], minlength=len(names)) > 0
    rows = rows[some[code[rows]]]
    return rows, code[rows]
