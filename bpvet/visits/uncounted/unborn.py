"""Readings dated before the animal's birth date: one of the two dates is wrong.

Where it is the reading's, the animal may have been seen since its latest date: 2006 for 2026.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.uncounted.groups import first_rows, newest_days


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
    rows, animals = records.columns("readings", animal), records.columns("animals", animal)
    day, births = rows.days("date"), animals.days("birth_date")
    # Of an animal that was born before the first reading of all nothing need be looked at.
    if not len(day) or not (births > np.fmin.reduce(day)).any():
        return {}
    known = dict(zip(animals["animal"], births, strict=True))
    texts, whose = rows.different("animal")
    never = np.datetime64("NaT", "D")
    born = np.array([known.get(text, never) for text in texts], dtype="datetime64[D]")
    early = (day < born[whose]) & rows.is_text("set_aside", "") & ~rows["duplicate"]
    day, whose = day[early], whose[early]
    many, newest = np.bincount(whose), newest_days(whose, day, len(texts))
    return {
        texts[code]: Unborn(int(many[code]), newest[code], born[code])
        for code in whose[first_rows(whose)].tolist()
    }
