"""The cells of records that are asked about: notes, and columns that are not ours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.records.checks.signs import may_tell
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records
from bpvet.records.tables import TABLES
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
#: The columns that date the rows of each table; those of the animals have no date.
_DATED = {table: dated for table, dated, *_ in ASKED} | {"labs": "sampled_on", "animals": "date"}
#: Animal, day, file and line of a row.
Place = tuple[str, np.datetime64, str, int]


@dataclass(frozen=True, eq=False)
class Asked:
    """The cells of one column that is asked about.

    Parameters
    ----------
    rows : DataFrame
        Rows whose cell is not blank.
    dated, column : str
        The columns with their dates and with the cells.
    name : str
        What `bpvet.visits.signs.signs.Sign.table` says of it.
    heading : str
        What a column that is not ours is called; blank for our own.
    """

    rows: pd.DataFrame
    dated: str
    column: str
    name: str
    heading: str = ""


def asked_cells(records: Records, animal: str | None = None) -> Iterator[Asked]:
    """Yield the notes of one animal, or of all, and then the columns that are not ours.

    What nobody reads may be what matters: "blind" stands in a column "comments" too.
    """
    ours = [(*asked, "") for asked in ASKED]
    for table, dated, column, name, heading in (*ours, *_foreign(records)):
        frame = records.rows_of(table, animal)
        if column not in frame.columns:
            continue
        # Few rows have such words: nothing else is looked at.
        given = (frame[column] != "").to_numpy(dtype=bool)
        if not given.any():
            continue
        frame = frame[given]
        if table == "animals":
            frame = frame.assign(date=np.datetime64("NaT", "s"), file="", line=0)
        yield Asked(in_their_time(records, frame, dated), dated, column, name, heading)


def _foreign(records: Records) -> Iterator[tuple[str, str, str, str, str]]:
    strange = {name for names in records.understood["unknown_columns"].values() for name in names}
    for table, dated in _DATED.items():
        known = {column.name for column in TABLES[table]}
        for name in sorted(strange - known):
            if may_tell(name):
                yield table, dated, name, f"{table} column", name


def in_their_time(records: Records, frame: pd.DataFrame, dated: str) -> pd.DataFrame:
    """Return the rows of a known animal but for later ones and exact doubles."""
    day = frame[dated].to_numpy(dtype="datetime64[D]")
    # A date that nobody can have written is a slip: what stands there may be of any day.
    later = (day > records.as_of) & ~(day > last_possible(records))
    keep = ~cells_are(frame, "animal", "") & ~later
    if "duplicate" in frame.columns:
        keep &= ~frame["duplicate"].to_numpy(dtype=bool)
    return frame if keep.all() else frame[keep]


def places(rows: pd.DataFrame, dated: str) -> Iterator[Place]:
    """Yield where each row stands."""
    days = rows[dated].to_numpy(dtype="datetime64[D]")
    return zip(rows["animal"], days, rows["file"], rows["line"], strict=True)
