"""The owner's page: where the pressure was, when to come again, and when to phone now.

No probability, no dose and nothing that could read as all being well is in it: what is old or not
known is said to be so.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from bpvet import __version__
from bpvet.answers.json_values import plain
from bpvet.answers.sheet.sheet import refuse_left
from bpvet.answers.trend.safety import RecheckAnswer, UrgentAnswer, recheck_answer, urgent_answers
from bpvet.equality import Content
from bpvet.facts.categories import DEFAULT
from bpvet.frozen import dataclass
from bpvet.models.safety.animal import animal_safety
from bpvet.printing import Brief
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.seen import AnimalRecord
from bpvet.visits.session_columns import column

_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class OwnerLast(Content):
    """The newest date with a session, as it was measured.

    Parameters
    ----------
    date : datetime64[D]
    days_ago : int
    low, high : float or None
        Lowest and highest session mean of the date, mmHg; None where no number was read.
    low_bound, high_bound : str
        ``at least`` or ``at most`` where that is a bound; else blank.
    methods, conditions : tuple of str
        Of its sessions, each once.
    """

    date: np.datetime64
    days_ago: int
    low: float | None
    high: float | None
    low_bound: str
    high_bound: str
    methods: tuple[str, ...]
    conditions: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class OwnerAnswer(Brief, Content):
    """What the owner's page tells of one animal.

    Parameters
    ----------
    animal, name, species : str
    clinic : str
        The practice, as the records name it; may be blank.
    as_of : datetime64[D]
    urgent : tuple of UrgentAnswer
        The most pressing first. With any of them the page begins with "please phone".
    last : OwnerLast or None
        None for an animal that was never measured.
    asks : bool
        Whether a note or a row that is set aside seems to say of a sign that would be urgent.
    may_be_newer, partly : bool
        Whether the animal may have been seen since by rows that cannot be used; whether not all
        readings of the newest date can be used, or the clinic excluded some that read higher.
    open_questions : tuple of str
        What the practice is to read before the page is handed out; none of it stands on the page.
    recheck : RecheckAnswer
        When to come again.
    treated : bool
        Whether some drug is on by the records.
    version : str
    """

    animal: str
    name: str
    species: str
    clinic: str
    as_of: np.datetime64
    urgent: tuple[UrgentAnswer, ...]
    last: OwnerLast | None
    asks: bool
    may_be_newer: bool
    partly: bool
    open_questions: tuple[str, ...]
    recheck: RecheckAnswer
    treated: bool
    version: str

    def report(self, folder: str | Path, **page: Any) -> Path:
        """Write the owner's page into a folder; choices as `bpvet.letter` takes them."""
        from bpvet.reports.results import page as written

        return written(self, folder, **page)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain JSON values."""
        return plain(self)


def owner(records: Records, animal: str, *, guideline: str = DEFAULT) -> OwnerAnswer:
    """Return what the owner's page tells of an animal.

    Parameters
    ----------
    records : Records
    animal : str
        Its id, or an unambiguous name.
    guideline : str
        Key of the guideline whose window comes first.

    Raises
    ------
    CallError
        For an unknown animal or guideline, or an animal that has left.
    RecordsError
        Where the records have findings that stop the work.

    Examples
    --------
    >>> import bpvet, pandas as pd
    >>> readings = pd.DataFrame(
    ...     {"animal": ["A17"], "taken_at": ["2026-03-01"], "method": ["doppler"],
    ...      "systolic": [152]}
    ... )
    >>> records = bpvet.Records.from_frames(readings, as_of="2026-03-02")
    >>> told = bpvet.owner(records, "A17").last
    >>> told.high, told.days_ago
    (152.0, 1)
    """
    from bpvet.wording.en.due import open_questions

    records.require_usable()
    key = records.animal(animal)
    row = animal_rows(records)[key]
    refuse_left(row, records.as_of, "no page for the owner is made")
    safety, chosen = animal_safety(records, key, guideline)
    clinics = records.animals.set_index("animal")["clinic"]
    return OwnerAnswer(
        animal=key,
        name=row.name,
        species=row.species or row.species_written,
        clinic=str(clinics[key]),
        as_of=records.as_of,
        urgent=urgent_answers(safety, chosen),
        last=_last(safety.found, records.as_of),
        asks=bool(safety.asks or safety.found.uncounted.signs_since),
        may_be_newer=safety.found.uncounted.may_be_newer,
        partly=safety.found.uncounted.partly_counted,
        open_questions=tuple(open_questions(safety)),
        recheck=recheck_answer(safety, row.left_reason),
        treated=safety.standing.treated or safety.standing.on_drug,
        version=__version__,
    )


def _last(found: AnimalRecord, as_of: np.datetime64) -> OwnerLast | None:
    latest = found.seen.latest
    if latest is None:
        return None
    low, high = latest.lowest_measured, latest.highest_measured
    low = high if low is None else low
    high = low if high is None else high

    def once(name: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(str(word) for word in column(latest.sessions, name)))

    return OwnerLast(
        date=latest.date,
        days_ago=int((as_of - latest.date) / _DAY),
        low=low,
        high=high,
        low_bound="" if low is None else latest.bound_of(low),
        high_bound="" if high is None else latest.bound_of(high),
        methods=once("method"),
        conditions=once("condition"),
    )
