"""The signs of records, one an item of a cell, each with how it was understood.

Only rows that are not dated after the date that is looked at. What else seems to say something of
signs is given too, as questions: notes, reasons for leaving a reading out, words where a number
should stand, observations that are set aside. `table` names where it stands, `reading` is
``unclear``. A row that cannot be used is asked about all the same: a cat whose pressure could not
be taken because it had gone blind has no number, and it is the one that must be seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.signs.signs import SignItem, read_note, read_sign
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.uncounted.later import last_possible

#: Cells that are asked about: their table, the column that dates them, their own column, and what
#: `Sign.table` says.
ASKED = (
    ("readings", "taken_at", "note", "readings note"),
    ("readings", "taken_at", "excluded", "readings excluded"),
    ("treatments", "started_on", "note", "treatments note"),
    ("observations", "seen_on", "note", "observations note"),
    ("missed", "from", "note", "missed note"),
    ("contacts", "date", "note", "contacts note"),
)
#: What `Sign.table` says of words where a number should stand, and of a row that is set aside.
IN_CELL = "readings cell"
SET_ASIDE = "observations aside"
COLUMNS = ("animal", "seen_on", "table", "text", "status", "term", "group", "reading")


@dataclass(frozen=True)
class Sign:
    """One item of a cell of the observations, or of a note.

    Parameters
    ----------
    animal : str
        Its id.
    seen_on : datetime64[D]
        Date of its row; NaT where none can be read, which only what is asked about may lack.
    table : str
        ``observations``; or one of `ASKED`, `IN_CELL` or `SET_ASIDE` for what is to be asked
        about and never used.
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
        """Whether it is only asked about: what a note, or a row that is set aside, seems to say."""
        return self.table != "observations"


def all_signs(records: Records) -> tuple[Sign, ...]:
    """Return the signs of all animals: the observations in order, then what is asked about."""
    return (*_of_observations(records), *_asked(records))


def animal_signs(records: Records, animal: str) -> tuple[Sign, ...]:
    """Return the signs of one animal, in the order of `all_signs`."""
    return (*_of_observations(records, animal), *_asked(records, animal))


def signs_frame(records: Records) -> pd.DataFrame:
    """Return the signs of all animals, one row an item of a cell.

    Parameters
    ----------
    records : Records

    Returns
    -------
    DataFrame
        ``animal``, ``seen_on``, ``table`` (``observations``, or as in `Sign`), ``text`` (item as
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


def _of_animal(
    records: Records, frame: pd.DataFrame, dated: str, animal: str | None
) -> pd.DataFrame:
    """Return the rows of one animal, or of all, but for later ones and exact doubles."""
    day = frame[dated].to_numpy(dtype="datetime64[D]")
    # A date that nobody can have written is a slip: what stands there may be of any day.
    later = (day > records.as_of) & ~(day > last_possible(records))
    keep = (frame["animal"] != "").to_numpy(dtype=bool) & ~later
    if "duplicate" in frame.columns:
        keep &= ~frame["duplicate"].to_numpy(dtype=bool)
    if animal is not None:
        keep &= (frame["animal"] == animal).to_numpy(dtype=bool)
    return frame[keep]


def _of_observations(records: Records, animal: str | None = None) -> Iterator[Sign]:
    rows = _of_animal(records, records.observations, "seen_on", animal)
    if rows.empty:
        return
    for text, status, aside, row in zip(
        rows["sign"], rows["status"], rows["set_aside"], _places(rows, "seen_on"), strict=True
    ):
        for item in read_sign(str(text), str(status), day_of(row[1])):
            if not aside:
                yield _made(row, "observations", str(status), item)
            elif item.reading in ("present", "unclear", "unread"):
                # Whether the row is this animal's, or of this day, is what is in doubt.
                yield _made(row, SET_ASIDE, "", replace(item, reading="unclear"))


def _asked(records: Records, animal: str | None = None) -> Iterator[Sign]:
    """Yield what notes, reasons and words in place of numbers seem to say of signs."""
    for table, dated, column, name in ASKED:
        frame: pd.DataFrame = getattr(records, table)
        # Few rows have such words: nothing else is looked at.
        frame = frame[(frame[column] != "").to_numpy(dtype=bool)]
        if not frame.empty:
            rows = _of_animal(records, frame, dated, animal)
            yield from _said(rows, column, dated, name)
    frame = records.readings
    frame = frame[(frame["set_aside"] != "").to_numpy(dtype=bool)]
    rows = _of_animal(records, frame, "taken_at", animal)
    if rows.empty:
        return
    places = [*zip(rows["file"].astype(str), rows["line"].astype(int), strict=True)]
    lines: dict[str, set[int]] = {}
    for file, line in places:
        lines.setdefault(file, set()).add(line)
    found = records.findings.by_code(Code.NOT_A_NUMBER).about(lines)
    written = {(finding.file, finding.line): finding.value for finding in found}
    cells = rows.assign(cell=[written.get(file_line, "") for file_line in places])
    yield from _said(cells, "cell", "taken_at", IN_CELL)


def _said(rows: pd.DataFrame, column: str, dated: str, name: str) -> Iterator[Sign]:
    found = {text: read_note(str(text)) for text in rows[column].unique()}
    rows = rows[rows[column].map(lambda text: bool(found[text])).to_numpy(dtype=bool)]
    for text, row in zip(rows[column], _places(rows, dated), strict=True):
        for item in found[text]:
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
