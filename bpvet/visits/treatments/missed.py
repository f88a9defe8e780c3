"""Doses that were missed or late: which courses they are of, and which sessions lie inside."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.drugs import drug_name
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.parsing.columns import names_of
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns

#: First and last day of each stretch without doses, both inclusive.
Stretches = tuple[tuple[np.datetime64, np.datetime64], ...]
_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class MissedDoses:
    """A usable row of doses that were missed or late.

    Parameters
    ----------
    drug : str
        Generic name where it is known, else as written; blank for every pressure drug on then.
    what : str
        ``missed`` or ``late``; late doses change nothing, and are named.
    first, last : datetime64[D]
        First and last day, both inclusive.
    note : str
        As written.
    file, line : str, int
        Where it stands.
    """

    drug: str
    what: str
    first: np.datetime64
    last: np.datetime64
    note: str
    file: str
    line: int


def missed_rows(records: Records, animal: str | None = None) -> dict[str, tuple[MissedDoses, ...]]:
    """Return the usable rows of missed and late doses by animal, in order of their first day.

    Parameters
    ----------
    records : Records
    animal : str, optional
        One animal's alone.
    """
    if not len(records.columns("missed")):
        return {}
    usable = _usable(records, animal)
    found: dict[str, list[MissedDoses]] = {}
    first, last = _days(usable)
    cells = zip(
        *(usable[name] for name in ("animal", "drug", "what", "note", "file", "line")),
        first,
        last,
        strict=True,
    )
    for whose, drug, what, note, file, line, begin, end in cells:
        name = drug_name(drug) if drug else ""
        row = MissedDoses(name, what, begin, end, note, file, int(line))
        found.setdefault(whose, []).append(row)
    return {
        whose: tuple(sorted(rows, key=lambda row: (row.first, row.last, row.drug)))
        for whose, rows in found.items()
    }


def stretches_of(
    rows: Iterable[MissedDoses], drug: str, started_on: np.datetime64, stopped_on: np.datetime64
) -> Stretches:
    """Return the stretches without doses of a course of one drug, joined where they touch.

    Parameters
    ----------
    rows : iterable of MissedDoses
        The animal's; those of other drugs and late doses are passed over.
    drug : str
        The drug of the course.
    started_on, stopped_on : datetime64[D]
        Its first and last day (NaT: ongoing); what lies outside is cut off.
    """
    joined: list[tuple[np.datetime64, np.datetime64]] = []
    mine = [row for row in rows if row.what == "missed" and row.drug in ("", drug)]
    for row in sorted(mine, key=lambda row: row.first):
        first = max(row.first, started_on)
        last = row.last if np.isnat(stopped_on) else min(row.last, stopped_on)
        if last < first:
            continue
        if joined and first <= joined[-1][1] + _DAY:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return tuple(joined)


def missed_findings(rows: Iterable[MissedDoses]) -> list[Finding]:
    """Return what is said of each row: that the effect fades, or that nothing is changed."""
    return [
        finding_of(
            Code.DOSES_LATE if row.what == "late" else Code.DOSES_MISSED,
            row.file,
            row.line,
            drug=row.drug,
            first=str(row.first),
            last=str(row.last),
        )
        for row in rows
    ]


def inside_missed(records: Records, animal: Any, date: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    """Return whether each date lies in a stretch in which the animal's doses were missed.

    Parameters
    ----------
    records : Records
    animal : (n,) array of str, or texts as codes
        Animal of each date.
    date : (n,) datetime64[D]

    Returns
    -------
    (n,) array of bool
    """
    inside = np.zeros(len(date), dtype=bool)
    if not len(records.columns("missed")):
        return inside
    usable = _usable(records)
    usable = usable.take(usable.is_text("what", "missed"))
    if not len(usable) or not len(date):
        return inside
    names, code = names_of(animal)
    place = {name: at for at, name in enumerate(names)}
    owner = np.array([place.get(name, -1) for name in usable["animal"]], dtype=np.int64)
    first, last = _days(usable)
    # One number line for all animals: each has a stretch longer than any date.
    stretch = 10_000_000
    key = code * stretch + date.astype("datetime64[D]").astype(np.int64)
    begin = np.sort((owner * stretch + first.astype(np.int64))[owner >= 0])
    end = np.sort((owner * stretch + last.astype(np.int64))[owner >= 0])
    # As many have begun as have not ended: none is on.
    return np.asarray(np.searchsorted(begin, key, "right") > np.searchsorted(end, key, "left"))


def _usable(records: Records, animal: str | None = None) -> TableColumns:
    table = records.columns("missed", animal)
    return table.take(table.is_text("set_aside", "") & ~np.isnat(table["from"]))


def _days(rows: TableColumns) -> tuple[NDArray[np.datetime64], NDArray[np.datetime64]]:
    first, last = rows.days("from"), rows.days("to")
    return first, np.where(np.isnat(last), first, last)
