"""The entries of records: what was added, by its id, so that it can be found and taken back."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.records.entries.cancelled import REPORTED_COLUMNS, what_words
from bpvet.records.entries.files import ENTRY
from bpvet.records.findings import shown
from bpvet.records.headings.near_names import did_you_mean, nearest
from bpvet.records.parsing.numbers import BOUND_SIGNS
from bpvet.records.records import Records


@dataclass(frozen=True)
class Listed:
    """An entry: its id, its table and file, whose it is, and what it holds as a sentence has it."""

    entry: str
    table: str
    file: str
    animal: str
    text: str


def entries(records: Records) -> tuple[Listed, ...]:
    """Return the entries that are not cancelled, the oldest id first.

    Parameters
    ----------
    records : Records
    """
    return tuple(sorted(_listed(records), key=lambda listed: (listed.entry, listed.table)))


def entry_named(records: Records, entry: str) -> tuple[Listed, ...]:
    """Return what bears an id and is not cancelled, a part for each table.

    Raises
    ------
    CallError
        It is cancelled already, or no row bears it.
    """
    found = tuple(listed for listed in entries(records) if listed.entry == entry)
    if found:
        return found
    gone = [row for row in records.cancelled_rows if row.entry == entry]
    if gone:
        raise CallError(f"The entry {shown(entry)} is cancelled already ({gone[0].why}).")
    hint = did_you_mean(nearest(entry, [listed.entry for listed in entries(records)]))
    raise CallError(
        f"No row of these records bears the entry {shown(entry)}: only what bpvet added can be "
        f"taken back. {hint}".rstrip()
    )


def _listed(records: Records) -> Iterator[Listed]:
    for table, (date, names) in REPORTED_COLUMNS.items():
        frame = getattr(records, table)
        if ENTRY not in frame.columns:
            continue
        entered = frame[frame[ENTRY] != ""]
        for entry, rows in entered.groupby(ENTRY, sort=False):
            first = rows.iloc[0]
            texts = [" ".join(_texts(row, names)) for _, row in rows.iterrows()]
            day = "" if pd.isna(first[date]) else str(first[date].date())
            animal = str(first["animal"])
            file = str(first["file"]) if "file" in rows.columns else ""
            yield Listed(str(entry), table, file, animal, what_words(table, animal, day, texts))


def _texts(row: pd.Series, names: tuple[str, ...]) -> Iterator[str]:
    for name in names:
        value, bound = row[name], str(row.get(f"{name}_bound", ""))
        if bound == "no sound":
            yield bound
        elif isinstance(value, str):
            if value:
                yield value
        elif not pd.isna(value):
            yield f"{BOUND_SIGNS.get(bound, '')}{value:g}"
