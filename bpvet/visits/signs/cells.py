"""The cells of records that are asked about: notes, and columns that are not ours."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.checks.signs import may_tell
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.records.tables import ADDED, column_names
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
_DATED = {table: dated for table, dated, *_ in ASKED} | {"labs": "sampled_on", "animals": ""}
#: Animal, day, file and line of a row.
Place = tuple[str, np.datetime64, str, int]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Asked:
    """The cells of one column that is asked about.

    Parameters
    ----------
    rows : TableColumns
        Their rows.
    dated : str
        The column with their dates; blank where there is none.
    texts : list of str
        The different texts of the cells, as met.
    code : (n,) int
        The index of each row's among them.
    name : str
        What `bpvet.visits.signs.signs.Sign.table` says of it.
    heading : str
        What a column that is not ours is called; blank for our own.
    """

    rows: TableColumns
    dated: str
    texts: list[str]
    code: NDArray[np.integer]
    name: str
    heading: str = ""

    def among(self, texts: Collection[str]) -> Mask:
        """Return which rows (n,) have one of these texts in their cell."""
        return np.array([text in texts for text in self.texts], dtype=bool)[self.code]

    def cells(self, which: Mask) -> Iterator[tuple[str, Place]]:
        """Yield the text and the place of some rows, in order."""
        found = places(self.rows.take(which), self.dated)
        for code, row in zip(self.code[which].tolist(), found, strict=True):
            yield self.texts[code], row


def asked_cells(records: Records, animal: str | None = None) -> Iterator[Asked]:
    """Yield the notes of one animal, or of all, and then the columns that are not ours.

    What nobody reads may be what matters: "blind" stands in a column "comments" too.
    """
    ours = [(*asked, "") for asked in ASKED]
    for table, dated, column, name, heading in (*ours, *_foreign(records)):
        rows = records.columns(table, animal)
        if column not in rows:
            continue
        # Few rows have such words: nothing else is looked at.
        rows = in_their_time(records, rows.take(~rows.is_text(column, "")), dated)
        if len(rows):
            yield Asked(rows, dated, *rows.different(column), name, heading)


def _foreign(records: Records) -> Iterator[tuple[str, str, str, str, str]]:
    strange = {name for names in records.understood["unknown_columns"].values() for name in names}
    for table, dated in _DATED.items():
        # What is strange in one table may be ours in another.
        known = {*column_names(table), *ADDED[table]}
        for name in sorted(strange - known):
            if may_tell(name):
                yield table, dated, name, f"{table} column", name


def in_their_time(records: Records, rows: TableColumns, dated: str) -> TableColumns:
    """Return the rows of a known animal but for later ones and exact doubles."""
    keep = ~rows.is_text("animal", "")
    if dated:
        day = rows.days(dated)
        # A date that nobody can have written is a slip: what stands there may be of any day.
        keep &= ~(day > records.as_of) | (day > last_possible(records))
    double = rows.cells("duplicate") if "duplicate" in rows else None
    # A column that is not ours may be headed so, and says nothing of its rows.
    if isinstance(double, np.ndarray):
        keep &= ~double
    return rows.take(keep)


def places(rows: TableColumns, dated: str) -> Iterator[Place]:
    """Yield where each row stands: without day, file and line where the table has no dates."""
    if not dated:
        return ((animal, np.datetime64("NaT", "D"), "", 0) for animal in rows["animal"])
    lines = rows["line"].tolist()
    return zip(rows["animal"], rows.days(dated), rows["file"], lines, strict=True)
