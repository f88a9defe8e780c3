"""The recorded signs of an animal as marks of a picture."""

from __future__ import annotations

import numpy as np

from bpvet.facts.signs.signs import status_shown
from bpvet.figures.pictures import SignMark
from bpvet.records.records import Records
from bpvet.visits.signs.signs import day_of
from bpvet.visits.uncounted.unmeasured import unmeasured_days
from bpvet.wording.en.pictures.trend import NO_USABLE_READING, sign_label


def unmeasured_marks(records: Records, animal: str, after: np.datetime64) -> tuple[SignMark, ...]:
    """Return the days after another on which no reading of the animal can be used, in order."""
    days = unmeasured_days(records, animal).get(animal, ())
    return tuple(
        SignMark(day.date, NO_USABLE_READING) for day in days if not day.used and day.date > after
    )


def sign_marks(records: Records, animal: str, as_of: np.datetime64) -> tuple[SignMark, ...]:
    """Return the animal's signs up to a day, in the order of their dates.

    Parameters
    ----------
    records : Records
        Rows that were set aside are left out.
    animal : str
        The animal's id.
    as_of : datetime64[D]
    """
    rows = records.rows_of("observations", animal)
    rows = rows[rows["set_aside"] == ""]
    seen = rows["seen_on"].to_numpy(dtype="datetime64[D]")
    labels = [
        sign_label(sign, status_shown(sign, status, day_of(day)))
        for sign, status, day in zip(rows["sign"], rows["status"], seen, strict=True)
    ]
    order = [int(i) for i in np.argsort(seen, kind="stable") if seen[i] <= as_of]
    return tuple(SignMark(seen[i], labels[i]) for i in order)
