"""The last rows of a file dated before those above: last year's figure, or month for day, perhaps.

In January the old year is typed from habit, and a date is typed with the month first. The newest
visit then lies months back, where no number is amiss and nothing else asks about it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records

#: So many dates above must run on in order for a step back to be a surprise, and it is at least
#: so many days long (judgement of this project).
_DATES, _BACK = 3, np.timedelta64(90, "D")
_YEAR = np.timedelta64(365, "D")


@dataclass(frozen=True, eq=False)
class Backdated(Content):
    """The last readings of an animal in a file, dated before those above them.

    Parameters
    ----------
    date : datetime64[D]
        As written; with the next year they would be the animal's newest.
    rows : int
    above : datetime64[D]
        The newest date above them.
    file : str
    line : int
        Of the first of these rows.
    exchanged : bool
        Whether day and month in each other's place, and not the next year, make them the newest.
    """

    date: np.datetime64
    rows: int
    above: np.datetime64
    file: str
    line: int
    exchanged: bool


def backdated_rows(records: Records, animal: str | None = None) -> Mapping[str, Backdated]:
    """Return the last readings that may bear last year's date, of each animal that has such.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame = records.rows_of("readings", animal)
    keep = ~cells_are(frame, "animal", "") & frame["date"].notna().to_numpy(dtype=bool)
    keep &= ~frame["duplicate"].to_numpy(dtype=bool)
    rows = frame.loc[keep, ["animal", "file", "line", "date"]]
    rows = rows[(rows["date"] <= pd.Timestamp(records.as_of)).to_numpy(dtype=bool)]
    # Where no row lies before the one above it, of whatever animal, nothing steps back.
    if not (rows["date"].diff() < pd.Timedelta(0)).any():
        return {}
    by_file = rows.groupby(["animal", "file"], sort=False, observed=True)["date"]
    # Once, and at the end: a file with its newest rows first steps back throughout.
    stepped = by_file.diff() < pd.Timedelta(0)
    once = stepped.groupby([rows["animal"], rows["file"]], sort=False, observed=True).sum() == 1
    at_end = once & (by_file.last() < by_file.max())
    files = {str(whose): str(file) for whose, file in once.index[at_end.to_numpy(dtype=bool)]}
    near = rows[rows["animal"].isin(list(files)).to_numpy(dtype=bool)]
    found = {}
    for whose, of_animal in near.groupby("animal", sort=False, observed=True):
        step = _step(of_animal, files[str(whose)], records.as_of)
        if step is not None:
            found[str(whose)] = step
    return found


def _step(rows: pd.DataFrame, file: str, as_of: np.datetime64) -> Backdated | None:
    """Return the step back at the end of a file, where a slip of its date may hide the newest."""
    day = rows["date"].to_numpy(dtype="datetime64[D]")
    here = cells_are(rows, "file", file)
    in_file = day[here]
    last, newest = in_file[-1], day.max()
    above = in_file[: np.flatnonzero(in_file != last)[-1] + 1]
    in_order = len(np.unique(above)) >= _DATES and bool((np.diff(above) >= 0).all())
    # A year on, give or take the leap day.
    of_last_year = (
        in_file.max() - last >= _BACK and newest < last + _YEAR + 1 and last + _YEAR <= as_of
    )
    exchanged = not of_last_year and bool(newest < _exchanged(last) <= as_of)
    if not in_order or not (of_last_year or exchanged):
        return None
    line = int(rows["line"].to_numpy()[here][len(above)])
    return Backdated(last, len(in_file) - len(above), above[-1], file, line, exchanged)


def _exchanged(date: np.datetime64) -> np.datetime64:
    """Return a date with day and month in each other's place; NaT where that is none."""
    year, month, day = str(date).split("-")
    return np.datetime64(f"{year}-{day}-{month}" if int(day) <= 12 else "NaT", "D")
