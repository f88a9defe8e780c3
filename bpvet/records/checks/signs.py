"""Signs that ask: what is not understood or unclear, and what notes seem to say of signs."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from bpvet.facts.signs.signs import read_cell, read_sign
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.parsing.columns import distinct
from bpvet.records.parsing.values import Values

#: The status of a sign whose cell holds a word that is none of ours: it makes the row unclear.
UNKNOWN_STATUS = "unclear"
#: Cells that may hold a sign without being one: their table, column, and the column that dates it.
NOTED = (
    ("readings", "note", "date"),
    ("readings", "excluded", "date"),
    ("treatments", "note", "started_on"),
    ("observations", "note", "seen_on"),
    ("missed", "note", "from"),
    ("contacts", "note", "date"),
)


#: The columns that date the rows of each table, where columns that are not ours may hold a sign.
DATED = {table: dated for table, _, dated in NOTED} | {"labs": "sampled_on"}
#: Columns about the owner or the house: a street may be called Blind Lane.
_NOT_ASKED = re.compile(r"owner|client|address|street|city|town|mail|phone|postcode|zip|insur|chip")


def may_tell(heading: str) -> bool:
    """Return whether a column that is not ours may tell of the animal."""
    return _NOT_ASKED.search(heading.casefold()) is None


def report_signs(tables: Mapping[str, CheckedTable], values: Mapping[str, Values]) -> None:
    """Report which signs are not understood or unclear, and which notes may hold a sign.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        All five tables.
    values : mapping of str to dict
        Their values after all other checks.
    """
    _report_observations(tables["observations"], values["observations"])
    for table, column, dated in NOTED:
        _report_notes(tables[table], values[table], column, dated)
    for table, dated in DATED.items():
        for name in tables[table].unknown:
            if may_tell(name):
                _report_notes(tables[table], values[table], name, dated, heading=name)


def _report_observations(checked: CheckedTable, values: Values) -> None:
    rows = np.flatnonzero(checked.usable)
    if len(rows) == 0:
        return
    texts, code = distinct(values["sign"])
    statuses, of_status = distinct(values["status"])
    days = values["seen_on"].astype("datetime64[D]")
    codes = {"unread": Code.SIGN_NOT_UNDERSTOOD, "unclear": Code.SIGN_UNCLEAR}
    pieces: dict[str, dict[int, tuple[str, ...]]] = {reading: {} for reading in codes}
    for row in rows.tolist():
        items = read_sign(texts[code[row]], statuses[of_status[row]], days[row].item())
        for reading, of_row in pieces.items():
            if found := dict.fromkeys(item.text for item in items if item.reading == reading):
                of_row[row] = tuple(found)[:3]
    for reading, of_row in pieces.items():
        asked = np.array(list(of_row), dtype=np.int64)
        checked.report(asked, "sign", codes[reading], pieces=OfRow(of_row.__getitem__))


def _report_notes(
    checked: CheckedTable, values: Values, column: str, dated: str, heading: str = ""
) -> None:
    if checked.n == 0 or not checked.given(column):
        return
    texts, code = distinct(checked.cells(column) if heading else values[column])
    # Without the date of its row: what a note says of the past is past by its own words.
    noted = np.array([bool(text) and bool(read_cell(text, heading)) for text in texts], dtype=bool)
    if not noted.any():
        return
    days = values[dated]
    # A row that is set aside asks as well: that it cannot be used may be because of the sign.
    asking = noted[code] & ~np.isnat(days)
    if "duplicate" in values:
        asking &= ~values["duplicate"]
    checked.report(
        asking,
        column,
        Code.SIGN_IN_NOTE,
        day=OfRow(lambda row: str(days[row].astype("datetime64[D]"))),
        note=OfRow(lambda row: texts[code[row]]),
    )
