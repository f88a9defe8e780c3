"""Readings of the newest visit that the clinic excluded, where the mean may look better by it.

With 205 and 208 excluded beside 150 the day reads as 150; and of fewer readings than the protocol
asks for a mean rests on little. That the first reading of enough is excluded is the protocol's own.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.facts.protocol import MIN_READINGS
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.visits.latest_date import JUDGED_CONDITIONS
from bpvet.visits.uncounted.groups import newest_days, starts

Mask = NDArray[np.bool_]


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
    rows = records.columns("readings", animal)
    excluded = ~rows.is_text("excluded", "")
    if not excluded.any():
        return {}
    judged = rows.among("condition", JUDGED_CONDITIONS) & rows.is_text("set_aside", "")
    judged &= ~rows["duplicate"] & (rows.days("date") <= records.as_of)
    animals, some, whose = _of_newest_days(rows, excluded, judged)
    if not len(some):
        return {}
    # By animal as they are met, and by time.
    order = np.lexsort((rows["reading"][some], rows["taken_at"][some], whose))
    some, whose = some[order], whose[order]
    start = starts(whose)
    near = rows.take(some)
    day, out, systolic = near.days("date"), excluded[some], near["systolic"]
    bounds = near["systolic_bound"]
    counts = np.maximum(near["summary_n"], 1)
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
        found[animals[whose[start[i]]]] = ExcludedReadings(
            date=day[start[i]],
            rows=int(many[i]),
            values=tuple(
                (read, str(bound)) for read, bound, left in pairs if left and read == read
            ),
            kept=int(kept[i]),
            highest=float(highest[i]) if np.isfinite(highest[i]) else None,
        )
    return found


def _of_newest_days(
    rows: TableColumns, excluded: Mask, judged: Mask
) -> tuple[list[str], NDArray[np.int64], NDArray[np.integer]]:
    """Return the judged rows of each animal's newest day that has excluded ones, and whose.

    Animals are numbered as they are met among all rows.
    """
    animals, code = rows.different("animal")
    some = np.flatnonzero(judged)
    day, whose = rows.days("date")[some], code[some]
    of_day = day == newest_days(whose, day, len(animals))[whose]
    some, whose = some[of_day], whose[of_day]
    has = np.zeros(len(animals), dtype=bool)
    has[whose[excluded[some]]] = True
    return animals, some[has[whose]], whose[has[whose]]
