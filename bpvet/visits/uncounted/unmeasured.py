"""Days on which an animal was to be measured, and none or not all of the readings can be used.

A day without any makes no session, and without a word of it an animal whose pressure could not be
taken would look like one that was not seen. What is unread beside a usable reading may be what
mattered: "24O" and "2 30" beside 140.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.parsing.codes import as_one
from bpvet.records.records import Records
from bpvet.visits.uncounted.groups import ranks, starts


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
    rows = records.columns("readings", animal)
    aside, excluded = ~rows.is_text("set_aside", ""), ~rows.is_text("excluded", "")
    unused = aside | excluded
    if not unused.any():
        return {}
    used, day = ~unused, rows.days("date")
    # A blank date compares as false.
    unused &= (day <= records.as_of) & ~rows["duplicate"] & ~rows.is_text("animal", "")
    # Of the animals that have such a row alone: few of a large clinic.
    animals, whose = rows.different("animal")
    has = np.zeros(len(animals), dtype=bool)
    has[whose[unused]] = True
    some = np.flatnonzero(has[whose] & ~np.isnat(day))
    if not len(some):
        return {}
    texts, code = rows.take(some).different("animal")
    order = np.lexsort((day[some], ranks(texts)[code]))
    some, code = some[order], code[order]
    start = starts(as_one((code, day[some].astype(np.int64)), len(some)))
    sums = (
        np.add.reduceat(mask[some].astype(int), start) for mask in (unused, unused & aside, used)
    )
    found: dict[str, list[UnmeasuredDay]] = {}
    days = zip(code[start].tolist(), day[some][start], *(n.tolist() for n in sums), strict=True)
    for of_animal, date, not_used, set_aside, usable in days:
        if many := set_aside if usable else not_used:
            found.setdefault(texts[of_animal], []).append(UnmeasuredDay(date, many, usable))
    return {whom: tuple(of_animal) for whom, of_animal in found.items()}
