"""Rows that a row of the table ``cancelled`` takes back: in no analysis, and never out of sight.

They are taken out before anything is checked or worked out, so that nothing can use them; each is
kept with its place, what it holds, when it was cancelled and why, and is told by the check.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.frozen import dataclass, replace
from bpvet.printing import prose_date
from bpvet.reasons import reason
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfRow
from bpvet.records.entries.files import ENTRY
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, shown
from bpvet.records.headings.headers import Sheet
from bpvet.records.parsing.arrow import arrow_of, numpy_of, text_column
from bpvet.records.parsing.columns import coded, trimmed, uncoded
from bpvet.records.parsing.values import Values

NO_REASON = reason("cancelled.no_reason")
#: For each table: the column of its date, and those that tell what a row holds.
REPORTED_COLUMNS = {
    "readings": ("taken_at", ("method", "systolic", "diastolic", "mean", "heart_rate")),
    "animals": ("birth_date", ("species", "name")),
    "treatments": ("started_on", ("drug", "dose", "dose_unit")),
    "missed": ("from", ("what", "drug")),
    "contacts": ("date", ("outcome",)),
    "labs": ("sampled_on", ("analyte", "value", "unit")),
    "observations": ("seen_on", ("sign", "status")),
}
#: Rows of an entry whose content a finding names.
_SHOWN = 8


@dataclass(frozen=True, eq=False)
class CancelledRow(Content):
    """A row that was taken back.

    Parameters
    ----------
    table, file : str
        Where it stands.
    line : int
        Its line there.
    entry : str
        The id by which it was taken back.
    animal, date, text : str
        As written: whose it was, of when, and what it holds.
    cancelled_on : str
        When it was taken back, ISO; "" where that cannot be read.
    reason : str
        Why.
    """

    table: str
    file: str
    line: int
    entry: str
    animal: str
    date: str
    text: str
    cancelled_on: str
    reason: str

    @property
    def why(self) -> str:
        """When it was cancelled and why, for a sentence."""
        on = f" on {prose_date(self.cancelled_on)}" if self.cancelled_on else ""
        return f"cancelled{on}: {self.reason}"


@dataclass(frozen=True, eq=False)
class TakenOut:
    """What is left of the sheets, the rows that were taken out, and what is to be said of them."""

    sheets: list[Sheet]
    rows: tuple[CancelledRow, ...]
    findings: list[Finding]


def take_out(sheets: Sequence[Sheet], checked: CheckedTable, values: Values) -> TakenOut:
    """Return the sheets without the rows that were cancelled, and these rows.

    Parameters
    ----------
    sheets : sequence of Sheet
        All tables' files.
    checked, values
        The table ``cancelled``; what is wrong in it is said there.
    """
    if checked.n == 0:
        return TakenOut(list(sheets), (), [])
    # When and why, by entry; the first row of an entry stands.
    by_entry: dict[str, tuple[str, str]] = {}
    entries, reasons = (uncoded(values[name]).to_pylist() for name in (ENTRY, "reason"))
    days = values["cancelled_on"].astype("datetime64[D]")
    for row in np.flatnonzero(checked.usable).tolist():
        on = "" if np.isnat(days[row]) else str(days[row])
        by_entry.setdefault(entries[row], (on, reasons[row] or NO_REASON))
    known: set[str] = set()
    left, rows = [], list[CancelledRow]()
    for sheet in sheets:
        gone = _gone(sheet, by_entry, known)
        if gone is None or not gone.any():
            left.append(sheet)
            continue
        rows += _rows_taken_out(sheet, np.flatnonzero(gone), by_entry)
        left.append(_without(sheet, gone))
    _report_wrong(checked, values, known)
    return TakenOut(left, tuple(rows), _findings(rows))


def _gone(
    sheet: Sheet, by_entry: Mapping[str, tuple[str, str]], known: set[str]
) -> NDArray[np.bool_] | None:
    """Return which rows (n,) of a sheet are cancelled; None where it bears no entries."""
    if sheet.table == "cancelled" or ENTRY not in sheet.columns or not by_entry:
        return None
    cells = uncoded(trimmed(sheet.columns[ENTRY]))
    known.update(pc.unique(cells).to_pylist())
    found = pc.is_in(cells, text_column(list(by_entry)))
    return np.asarray(numpy_of(found), dtype=bool)


def _rows_taken_out(
    sheet: Sheet, rows: NDArray[np.int64], by_entry: Mapping[str, tuple[str, str]]
) -> list[CancelledRow]:
    date, names = REPORTED_COLUMNS[sheet.table]
    index = arrow_of(rows)
    cells = {
        name: [text.strip() for text in uncoded(sheet.columns[name].take(index)).to_pylist()]
        for name in (ENTRY, "animal", date, *names)
        if name in sheet.columns
    }
    blank = [""] * len(rows)
    made = []
    for at, row in enumerate(rows.tolist()):
        entry = cells[ENTRY][at]
        texts = (cells.get(name, blank)[at] for name in names)
        on, why = by_entry[entry]
        made.append(
            CancelledRow(
                table=sheet.table,
                file=sheet.file,
                line=int(sheet.lines[row]),
                entry=entry,
                animal=cells.get("animal", blank)[at],
                date=cells.get(date, blank)[at],
                text=" ".join(filter(None, texts)),
                cancelled_on=on,
                reason=why,
            )
        )
    return made


def _without(sheet: Sheet, gone: NDArray[np.bool_]) -> Sheet:
    keep = np.flatnonzero(~gone)
    index, new = arrow_of(keep), np.cumsum(~gone) - 1
    return replace(
        sheet,
        # Coded anew, so that no text is left that only these rows held.
        columns={name: coded(uncoded(cells.take(index))) for name, cells in sheet.columns.items()},
        lines=sheet.lines[keep],
        parts=sheet.parts[keep],
        places=sheet.places[keep],
        several=sheet.several[keep],
        summary=sheet.summary[keep],
        whole=None if sheet.whole is None else sheet.whole.take(index),
        broken={int(new[row]): why for row, why in sheet.broken.items() if not gone[row]},
    )


def _report_wrong(checked: CheckedTable, values: Values, known: set[str]) -> None:
    """Report which cancellations cancel nothing, which stand twice, and which give no reason."""
    entries = uncoded(values[ENTRY]).to_pylist()
    usable = checked.usable
    first: dict[str, int] = {}
    unknown, twice = (np.zeros(checked.n, dtype=bool) for _ in range(2))
    for row in np.flatnonzero(usable).tolist():
        twice[row] = entries[row] in first
        first.setdefault(entries[row], row)
        unknown[row] = entries[row] not in known
    checked.report(unknown, ENTRY, Code.UNKNOWN_ENTRY, entry=WRITTEN)

    def earlier(row: int) -> tuple[str, int]:
        at = first[entries[row]]
        return checked.files[checked.file[at]], int(checked.line[at])

    checked.report(
        twice & ~unknown,
        ENTRY,
        Code.CANCELLED_TWICE,
        entry=OfRow(lambda row: entries[row]),
        earlier=OfRow(earlier),
    )
    checked.report(checked.blank("reason") & usable, "reason", Code.CANCELLED_UNSAID)


def _findings(rows: Sequence[CancelledRow]) -> list[Finding]:
    """Return one finding for each entry in each file: what was cancelled, when and why."""
    found = []
    for (file, entry), group in groupby(rows, key=lambda row: (row.file, row.entry)):
        of_entry = list(group)
        first = of_entry[0]
        found.append(
            finding_of(
                Code.CANCELLED,
                file,
                first.line,
                "",
                entry,
                what=what(of_entry),
                why=first.why,
                entry=entry,
            )
        )
    return found


def what(rows: Sequence[CancelledRow]) -> str:
    """Return what the rows of an entry hold, for a sentence; a few of many."""
    first = rows[0]
    return what_words(first.table, first.animal, first.date, [row.text for row in rows])


def what_words(table: str, animal: str, date: str, texts: Sequence[str]) -> str:
    """Return what some rows of a table hold, for a sentence; a few of many.

    Examples
    --------
    >>> print(what_words("readings", "A17", "2026-03-01", ["doppler 158", "doppler 160"]))
    readings of "A17", 2026-03-01 (doppler 158; doppler 160)
    """
    rest = f" and {len(texts) - _SHOWN} more" if len(texts) > _SHOWN else ""
    whose = f" of {shown(animal)}" if animal else ""
    of = f", {date}" if date else ""
    return f"{table}{whose}{of} ({'; '.join(texts[:_SHOWN])}{rest})"
