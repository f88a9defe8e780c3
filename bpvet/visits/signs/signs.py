"""The signs of records, one an item of a cell, each with how it was understood.

Only rows that are neither set aside nor dated after the date that is looked at. What notes seem
to say of signs is given too, as questions: `table` names the notes, `reading` is ``unclear``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.signs.signs import SignItem, read_note, read_sign
from bpvet.records.records import Records

#: Tables whose notes are looked at, the column that dates them, and what `Sign.table` says.
NOTES = {
    "readings": ("taken_at", "readings note"),
    "treatments": ("started_on", "treatments note"),
    "observations": ("seen_on", "observations note"),
}
COLUMNS = ("animal", "seen_on", "table", "text", "status", "term", "group", "reading")


@dataclass(frozen=True)
class Sign:
    """One item of a cell of the observations, or of a note.

    Parameters
    ----------
    animal : str
        Its id.
    seen_on : datetime64[D]
        Date of its row.
    table : str
        ``observations``, or ``readings note``, ``treatments note``, ``observations note`` for
        what a note seems to say: to be asked about, never used.
    text : str
        The item as written.
    status : str
        The status of its row: ``present``, ``absent``, ``resolved``, ``longstanding``,
        ``unclear`` (a word that is none of these) or blank; blank for notes.
    term, group, reading : str
        As `bpvet.facts.signs.signs.SignItem` has them.
    file : str
        Name of the file.
    line : int
        Line in it.
    """

    animal: str
    seen_on: np.datetime64
    table: str
    text: str
    status: str
    term: str
    group: str
    reading: str
    file: str
    line: int

    @property
    def is_note(self) -> bool:
        """Whether it is what a note seems to say."""
        return self.table != "observations"


def all_signs(records: Records) -> tuple[Sign, ...]:
    """Return the signs of all animals: the observations in the order of the input, then notes."""
    found = list(_of_observations(records))
    for table, (column, name) in NOTES.items():
        found += _of_notes(records, table, column, name)
    return tuple(found)


def animal_signs(records: Records, animal: str) -> tuple[Sign, ...]:
    """Return the signs of one animal, in the order of `all_signs`."""
    return tuple(_of_observations(records, animal)) + tuple(
        sign
        for table, (column, name) in NOTES.items()
        for sign in _of_notes(records, table, column, name, animal)
    )


def signs_frame(records: Records) -> pd.DataFrame:
    """Return the signs of all animals, one row an item of a cell.

    Parameters
    ----------
    records : Records

    Returns
    -------
    DataFrame
        ``animal``, ``seen_on``, ``table`` (``observations``, or whose note), ``text`` (the item as
        written), ``status`` (of its row), ``term`` (canonical name), ``group`` (``eye``,
        ``brain``, ``brain_other``, ``look``, ``weak``, ``heart``, ``kidney``, ``bleeding``,
        ``other``, or blank), ``reading`` (``present``, ``denied``, ``past``, ``unclear``,
        ``unread``, ``other``).

    Examples
    --------
    >>> import pandas as pd
    >>> readings = pd.DataFrame(
    ...     {"animal": ["A17"], "taken_at": ["2026-03-01"], "method": ["doppler"],
    ...      "systolic": [152]}
    ... )
    >>> seen = pd.DataFrame(
    ...     {"animal": ["A17"], "seen_on": ["2026-03-01"], "sign": ["no seizures; blind OU"]}
    ... )
    >>> records = Records.from_frames(readings, observations=seen, as_of="2026-03-02")
    >>> signs_frame(records)[["term", "group", "reading"]].values.tolist()
    [['seizure', 'brain', 'denied'], ['blindness', 'eye', 'present']]
    """
    found = all_signs(records)
    columns = {name: [getattr(sign, name) for sign in found] for name in COLUMNS}
    frame = pd.DataFrame(columns, columns=list(COLUMNS))
    for name in COLUMNS:
        if name != "seen_on":
            frame[name] = frame[name].astype(str)
    frame["seen_on"] = np.array(columns["seen_on"], dtype="datetime64[s]")
    return frame


#: As the front door calls it.
signs = signs_frame


def day_of(value: Any) -> date | None:
    """Return a cell of a date column as a date, or None where there is none."""
    found = None if pd.isna(value) else np.datetime64(value, "D").item()
    return found if isinstance(found, date) else None


def _usable(frame: pd.DataFrame, column: str, records: Records, animal: str | None) -> pd.DataFrame:
    day = frame[column].to_numpy(dtype="datetime64[D]")
    keep = (frame["set_aside"] == "").to_numpy() & ~np.isnat(day) & (day <= records.as_of)
    if animal is not None:
        keep &= (frame["animal"] == animal).to_numpy()
    if not keep.any():
        return frame.iloc[:0]
    return frame[keep].assign(**{column: day[keep]})


def _of_observations(records: Records, animal: str | None = None) -> Iterator[Sign]:
    rows = _usable(records.observations, "seen_on", records, animal)
    if rows.empty:
        return
    for text, status, row in zip(
        rows["sign"], rows["status"], _places(rows, "seen_on"), strict=True
    ):
        for item in read_sign(str(text), str(status), day_of(row[1])):
            yield _made(row, "observations", str(status), item)


def _of_notes(
    records: Records, table: str, column: str, name: str, animal: str | None = None
) -> Iterator[Sign]:
    frame: pd.DataFrame = getattr(records, table)
    if animal is not None:
        # Few rows are an animal's, and most of them have no note: nothing else is looked at.
        of_animal = ((frame["animal"] == animal) & (frame["note"] != "")).to_numpy(dtype=bool)
        if not of_animal.any():
            return
        frame = frame[of_animal]
    names_sign = {text: bool(read_note(str(text))) for text in frame["note"].unique()}
    frame = frame[frame["note"].map(names_sign).astype(bool)]
    rows = _usable(frame, column, records, animal)
    for text, row in zip(rows["note"], _places(rows, column), strict=True):
        for item in read_note(str(text)):
            yield _made(row, name, "", item)


_Place = tuple[str, np.datetime64, str, int]


def _places(rows: pd.DataFrame, column: str) -> Iterator[_Place]:
    days = rows[column].to_numpy(dtype="datetime64[D]")
    return zip(rows["animal"], days, rows["file"], rows["line"], strict=True)


def _made(row: _Place, table: str, status: str, item: SignItem) -> Sign:
    animal, day, file, line = row
    return Sign(
        str(animal),
        day,
        table,
        item.text,
        status,
        item.term,
        item.group,
        item.reading,
        str(file),
        int(line),
    )
