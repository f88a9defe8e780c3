"""The signs of records, one an item of a cell, each with how it was understood.

Only rows that are not dated after the date that is looked at. What else seems to say something of
signs is given too, as questions: notes, reasons for leaving a reading out, words where a number
should stand, columns that are not ours, observations that are set aside. `table` names where it
stands, `reading` is ``unclear``. A row that cannot be used is asked about all the same: a cat whose
pressure could not be taken because it had gone blind has no number, and it is the one that must be
seen. What is asked of treatments and of an animal's end is among them too
(`bpvet.visits.signs.remarks`).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.facts.signs.signs import SignItem, read_cell, read_sign
from bpvet.frozen import dataclass, replace
from bpvet.records.checks.signs import UNKNOWN_STATUS
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.signs.cells import Asked, Place, asked_cells, in_their_time, places
from bpvet.visits.signs.remarks import remarks

if TYPE_CHECKING:
    import pandas as pd

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
    import pandas as pd

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
    # What is missing equals nothing, itself neither.
    missing = value is None or value != value
    found = None if missing else np.datetime64(value, "D").item()
    return found if isinstance(found, date) else None


def _of_observations(records: Records, animal: str | None = None) -> Iterator[Sign]:
    rows = in_their_time(records, records.columns("observations", animal), "seen_on")
    if not len(rows):
        return
    strange = rows.is_text("status", UNKNOWN_STATUS)
    unread = records.findings.by_code(Code.UNKNOWN_WORD) if strange.any() else ()
    written = {(finding.file, finding.line): finding.value for finding in unread}
    for text, status, aside, row in zip(
        rows["sign"], rows["status"], rows["set_aside"], places(rows, "seen_on"), strict=True
    ):
        unknown = written.get(row[2:], "")
        for item in _read_beside(text, status, unknown, day_of(row[1])):
            if not aside:
                yield _made(row, "observations", status, item)
            elif item.reading in ("present", "unclear", "unread"):
                # Whether the row is this animal's, or of this day, is what is in doubt.
                yield _made(row, SET_ASIDE, "", replace(item, reading="unclear"))


def _read_beside(text: str, status: str, unknown: str, day: date | None) -> Iterator[SignItem]:
    """Yield the items of a cell beside its status; one that is no word of ours is told with it.

    What is unclear of "retinas" is what stands beside it: "detached".
    """
    items = read_sign(text, status, day)
    if not unknown:
        yield from items
        return
    whole = f"{text}: {unknown}"
    known = {"", *(item.term for item in items)}
    more = [
        item
        for item in read_sign(whole, status, day)
        if item.term not in known and item.group != "other"
    ]
    for item in items:
        # Which part was looked at says less than what was seen there.
        if not (more and item.term.endswith("examination")):
            yield replace(item, text=f"{item.text}: {unknown}")
    yield from (replace(item, text=whole) for item in more)


def _asked(records: Records, animal: str | None = None) -> Iterator[Sign]:
    """Yield what notes, reasons and words in place of numbers seem to say of signs."""
    cells = list(asked_cells(records, animal))
    for asked in cells:
        yield from _signs_of_column(asked)
    for row, table, item in remarks(records, animal, cells):
        yield _made(row, table, "", item)
    readings = records.columns("readings", animal)
    aside = readings.take(~readings.is_text("set_aside", ""))
    rows = in_their_time(records, aside, "taken_at")
    if not len(rows):
        return
    lines_of = [*zip(rows["file"], rows["line"].tolist(), strict=True)]
    lines: dict[str, set[int]] = {}
    for file, line in lines_of:
        lines.setdefault(file, set()).add(line)
    found = records.findings.by_code(Code.NOT_A_NUMBER).about(lines)
    written = {(finding.file, finding.line): finding.value for finding in found}
    code_of: dict[str, int] = {}
    words = (written.get(file_line, "") for file_line in lines_of)
    code = np.array([code_of.setdefault(word, len(code_of)) for word in words])
    yield from _signs_of_column(Asked(rows, "taken_at", list(code_of), code, IN_CELL))


def _signs_of_column(asked: Asked) -> Iterator[Sign]:
    read = {text: read_cell(text, asked.heading) for text in asked.texts}
    found = {text: items for text, items in read.items() if items}
    if not found:
        return
    for text, row in asked.cells(asked.among(found)):
        for item in found[text]:
            yield _made(row, asked.name, "", item)


def _made(row: Place, table: str, status: str, item: SignItem) -> Sign:
    animal, day, file, line = row
    return Sign(
        animal,
        day,
        table,
        item.text,
        status,
        item.term,
        item.group,
        item.reading,
        file,
        line,
    )
