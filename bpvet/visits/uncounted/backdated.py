"""The last rows of a file dated before those above: last year's figure, or month for day, perhaps.

In January the old year is typed from habit, and a date is typed with the month first. The newest
visit then lies months back, where no number is amiss and nothing else asks about it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.parsing.codes import as_one
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.visits.uncounted.groups import Days, starts

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
    rows = records.columns("readings", animal)
    # A blank date compares as false.
    keep = (rows.days("date") <= records.as_of) & ~rows["duplicate"] & ~rows.is_text("animal", "")
    rows = rows.take(keep)
    day = rows.days("date")
    # Where no row lies before the one above it, of whatever animal, nothing steps back.
    if not (day[1:] < day[:-1]).any():
        return {}
    animals, whose = rows.different("animal")
    files, file = rows.different("file")
    ends = _ending_back(as_one((whose, file), len(rows)), day)
    if not len(ends):
        return {}
    # Of two files of an animal the one that is met last.
    file_of = dict(zip(whose[ends].tolist(), file[ends].tolist(), strict=True))
    near = np.zeros(len(animals), dtype=bool)
    near[list(file_of)] = True
    some = np.flatnonzero(near[whose])
    some = some[np.argsort(whose[some], kind="stable")]
    found = {}
    # Animals are numbered as they are met.
    for of_animal in np.split(some, starts(whose[some])[1:]):
        code = int(whose[of_animal[0]])
        step = _step(rows.take(of_animal), files[file_of[code]], records.as_of)
        if step is not None:
            found[animals[code]] = step
    return found


def _ending_back(code: NDArray[np.int64], day: Days) -> NDArray[np.int64]:
    """Return the first row of each group of rows that steps back once, and ends there.

    A file with its newest rows first steps back throughout.
    """
    order = np.argsort(code, kind="stable")
    code, day = code[order], day[order]
    start = starts(code)
    back = np.zeros(len(day), dtype=np.int64)
    back[1:] = (day[1:] < day[:-1]) & (code[1:] == code[:-1])
    once = np.add.reduceat(back, start) == 1
    last = day[np.append(start[1:], len(day)) - 1]
    return np.sort(order[start[once & (last < np.maximum.reduceat(day, start))]])


def _step(rows: TableColumns, file: str, as_of: np.datetime64) -> Backdated | None:
    """Return the step back at the end of a file, where a slip of its date may hide the newest."""
    day = rows.days("date")
    here = rows.is_text("file", file)
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
    line = int(rows["line"][here][len(above)])
    return Backdated(last, len(in_file) - len(above), above[-1], file, line, exchanged)


def _exchanged(date: np.datetime64) -> np.datetime64:
    """Return a date with day and month in each other's place; NaT where that is none."""
    year, month, day = str(date).split("-")
    return np.datetime64(f"{year}-{day}-{month}" if int(day) <= 12 else "NaT", "D")
