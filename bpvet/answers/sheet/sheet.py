"""The sheet for the room: how an animal was measured last time, and nothing of what is expected.

Whoever measures writes down what is heard, not what was hoped for: no earlier mean, no usual
pressure and no forecast is in the answer. What is urgent comes first all the same.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.due.due import Due
from bpvet.answers.json_values import plain
from bpvet.answers.trend.safety import UrgentAnswer, urgent_answers
from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.categories import DEFAULT
from bpvet.frozen import dataclass, replace
from bpvet.models.clinic.cohort import pseudonyms_of
from bpvet.models.safety.animal import animal_safety
from bpvet.printing import Brief, prose_date
from bpvet.records.animal_rows import AnimalRow, animal_rows
from bpvet.records.records import Records
from bpvet.visits.readings import readings_used
from bpvet.visits.sessions import sessions as sessions_of

#: Numbers in a note may be pressures, and these are kept back until the readings are down.
_NUMBER = re.compile(r"\d[\d.,/]*\d|\d")
KEPT_BACK = "…"


@dataclass(frozen=True)
class Measured(Content):
    """How one session was taken, as written; blank or None where nothing is recorded.

    Parameters
    ----------
    date : datetime64[D]
    time : str
        Clock time of the first reading, such as "10:15".
    method, instrument, setting, state, site, side, posture, operator, demeanour : str
    cuff_width_cm, limb_circumference_cm : float or None
    n_taken : int
    notes : tuple of str
        Notes of its readings, each once, without their numbers.
    """

    date: np.datetime64
    time: str
    method: str
    instrument: str
    setting: str
    state: str
    site: str
    side: str
    posture: str
    operator: str
    demeanour: str
    cuff_width_cm: float | None
    limb_circumference_cm: float | None
    n_taken: int
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class SheetAnswer(Brief, Content):
    """What a sheet for the room tells of one animal.

    Parameters
    ----------
    animal, name, species : str
        With pseudonyms `animal` is a number, and name, operators and notes are blank.
    as_of : datetime64[D]
    urgent : tuple of UrgentAnswer
        The most pressing first.
    open_questions : tuple of str
        What the records hold and no session rests on, a sentence each; none with pseudonyms.
    last : tuple of Measured
        The sessions of the newest date in the practice, in the order of taking; of the newest
        date at home where there is none; empty where the animal was never measured.
    version : str
    """

    animal: str
    name: str
    species: str
    as_of: np.datetime64
    urgent: tuple[UrgentAnswer, ...]
    open_questions: tuple[str, ...]
    last: tuple[Measured, ...]
    version: str

    def report(self, folder: str | Path, **page: Any) -> Path:
        """Write the sheet for the room into a folder; choices as `bpvet.letter` takes them."""
        from bpvet.reports.results import page as written

        return written(self, folder, **page)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain JSON values."""
        return plain(self)


def sheet(records: Records, animal: str, *, guideline: str = DEFAULT) -> SheetAnswer:
    """Return what the sheet for the room tells of an animal.

    Parameters
    ----------
    records : Records
    animal : str
        Its id, or an unambiguous name.
    guideline : str
        Key of the guideline by which low pressures are judged.

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
    ...     {"animal": ["A17"], "taken_at": ["2026-03-01T10:15"], "method": ["doppler"],
    ...      "systolic": [152], "site": ["tail"]}
    ... )
    >>> records = bpvet.Records.from_frames(readings, as_of="2026-03-02")
    >>> [(one.method, one.site, one.time) for one in bpvet.sheet(records, "A17").last]
    [('doppler', 'tail', '10:15')]
    """
    from bpvet.wording.en.due import open_questions

    records.require_usable()
    key = records.animal(animal)
    row = animal_rows(records)[key]
    refuse_left(row, records.as_of, "no sheet is made")
    safety, chosen = animal_safety(records, key, guideline)
    (measured,) = _last_measured(records, [key]).values()
    questions = tuple(open_questions(safety))
    return _sheet(records, row, urgent_answers(safety, chosen), questions, measured)


def sheets(records: Records, due: Due) -> dict[str, SheetAnswer]:
    """Return the sheet of each animal on a clinic's list, by what the list calls it.

    Parameters
    ----------
    records : Records
        Those that the list was made of.
    due : Due
        With pseudonyms the sheets bear numbers too, and no operator and no note.
    """
    rows = animal_rows(records)
    ids = [id_ for id_, row in rows.items() if not row.left(records.as_of)]
    called = pseudonyms_of(ids, records.digest) if due.pseudonyms else {id_: id_ for id_ in ids}
    animal_of = {name: animal for animal, name in called.items()}
    listed = {row.animal: animal_of[row.animal] for row in due.listed}
    measured = _last_measured(records, list(listed.values()))
    found = {}
    for due_row in due.listed:
        animal = listed[due_row.animal]
        questions = due_row.open_questions
        made = _sheet(records, rows[animal], due_row.urgent, questions, measured[animal])
        found[due_row.animal] = _nameless(made, due_row.animal) if due.pseudonyms else made
    return found


def refuse_left(row: AnimalRow, as_of: np.datetime64, what: str) -> None:
    """Raise a `CallError` for an animal that has left the practice, said kindly.

    Parameters
    ----------
    row : AnimalRow
    as_of : datetime64[D]
    what : str
        What is not made, such as "no sheet is made".
    """
    if not row.left(as_of):
        return
    who = f"{row.name} ({row.animal})" if row.name else row.animal
    gone = {"died": "died", "moved": "moved away"}.get(row.left_reason, "left the practice")
    raise CallError(
        f"{who} {gone} on {prose_date(row.left_on)}, so {what}. If that is not so, correct "
        "left_on among the animals."
    )


def _sheet(
    records: Records,
    row: AnimalRow,
    urgent: tuple[UrgentAnswer, ...],
    questions: tuple[str, ...],
    measured: tuple[Measured, ...],
) -> SheetAnswer:
    return SheetAnswer(
        animal=row.animal,
        name=row.name,
        species=row.species or row.species_written,
        as_of=records.as_of,
        urgent=urgent,
        open_questions=questions,
        last=measured,
        version=__version__,
    )


def _nameless(made: SheetAnswer, called: str) -> SheetAnswer:
    last = tuple(replace(session, operator="", demeanour="", notes=()) for session in made.last)
    return replace(made, animal=called, name="", open_questions=(), last=last)


def _last_measured(records: Records, animals: Sequence[str]) -> Mapping[str, tuple[Measured, ...]]:
    """Return the sessions of each animal's newest date in the practice, or else at home."""
    table = sessions_of(records)
    wanted = table[table["animal"].isin(set(animals))]
    if wanted.empty:
        return dict.fromkeys(animals, ())
    # By a date at home only where the animal was never measured in the practice.
    practice = (wanted["condition"] != "home").to_numpy()
    met = set(wanted.loc[practice, "animal"])
    shown = wanted[practice | ~wanted["animal"].isin(met).to_numpy()]
    newest = shown.groupby("animal", observed=True)["date"].transform("max")
    last = shown[(shown["date"] == newest).to_numpy()]
    notes = _notes(records, last)
    found: dict[str, list[Measured]] = {animal: [] for animal in animals}
    for row in last.to_dict("records"):
        texts = notes.get((str(row["animal"]), int(row["session"])), ())
        found[str(row["animal"])].append(_measured(row, texts))
    return {animal: tuple(measured) for animal, measured in found.items()}


def _notes(records: Records, last: pd.DataFrame) -> dict[tuple[str, int], tuple[str, ...]]:
    """Return the notes of some sessions' readings, each once, by animal and session."""
    if not (records.readings["note"] != "").any():
        return {}
    frame = readings_used(records)
    frame = frame[(frame["note"] != "").to_numpy() & (frame["session"] > 0).to_numpy()]
    asked = set(zip(last["animal"].astype(str), last["session"].astype(int), strict=True))
    found: dict[tuple[str, int], dict[str, None]] = {}
    for animal, session, note in zip(frame["animal"], frame["session"], frame["note"], strict=True):
        key = (str(animal), int(session))
        if key in asked:
            found.setdefault(key, {})[without_numbers(str(note))] = None
    return {key: tuple(texts) for key, texts in found.items()}


def without_numbers(text: str) -> str:
    """Return a text whose numbers are kept back: any of them may be a pressure.

    Examples
    --------
    >>> without_numbers("calmer on the lap, 152/148 after")
    'calmer on the lap, … after'
    """
    return _NUMBER.sub(KEPT_BACK, text)


def _measured(row: Mapping[Any, Any], notes: tuple[str, ...]) -> Measured:
    def size(name: str) -> float | None:
        return None if pd.isna(row[name]) else float(row[name])

    first = row["first_time"]
    return Measured(
        date=np.datetime64(row["date"], "D"),
        time="" if pd.isna(first) else f"{pd.Timestamp(first):%H:%M}",
        **{
            name: str(row[name])
            for name in ("method", "instrument", "setting", "state", "site", "side", "posture")
        },
        operator=str(row["operator"]),
        demeanour=without_numbers(str(row["demeanour"])),
        cuff_width_cm=size("cuff_width_cm"),
        limb_circumference_cm=size("limb_circumference_cm"),
        n_taken=int(row["n_taken"]),
        notes=notes,
    )
