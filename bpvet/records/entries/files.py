"""Files that bpvet itself adds to a record folder: one for each entry, and how they are called.

An entry is what one call of ``bpvet add`` or ``bpvet average --into`` wrote: the readings of a
session, a treatment, a sign. Its id stands in the file's name and in each of its rows, so that it
can be taken back by a row of the table ``cancelled``. Standard library only.
"""

from __future__ import annotations

import csv
import io
import re
import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime

from bpvet.records.tables import TABLES, column_names
from bpvet.spreadsheets import guarded

#: The column that holds an entry's id.
ENTRY = "entry"
_ID = r"[0-9]{8}-[0-9]{6}-[0-9a-f]{6}"
_FILE = re.compile(rf"({'|'.join(TABLES)})-added-({_ID})\.csv", re.ASCII)


def new_entry() -> str:
    """Return an id that no other entry has: the time, and six letters drawn by chance.

    Examples
    --------
    >>> len(new_entry())
    22
    """
    return f"{datetime.now():%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"


def added_name(table: str, entry: str) -> str:
    """Return the name of the file that holds an entry.

    Examples
    --------
    >>> added_name("labs", "20260301-101500-3f9a2c")
    'labs-added-20260301-101500-3f9a2c.csv'
    """
    return f"{table}-added-{entry}.csv"


def table_of_added(name: str) -> str:
    """Return the table that an added file holds, by its name; "" where it is none.

    Examples
    --------
    >>> table_of_added("labs-added-20260301-101500-3f9a2c.csv"), table_of_added("labs-added.csv")
    ('labs', '')
    """
    found = _FILE.fullmatch(name)
    return found.group(1) if found else ""


def added_csv(table: str, rows: Sequence[Mapping[str, str]], entry: str) -> bytes:
    """Return an entry as a file in our layout.

    Every cell stands in quotation marks: no text of it can be taken for anything else.

    Parameters
    ----------
    table : str
    rows : sequence of mapping of str to str
        The cells by our names, each text without white space around it; blank ones may be left
        out.
    entry : str
        Its id, which every row bears.

    Examples
    --------
    >>> added_csv("missed", [{"animal": "A17", "from": "2026-03-01"}], "x").decode()
    '"animal","from","entry"\\n"A17","2026-03-01","x"\\n'
    """
    needed = {column.name for column in TABLES[table] if column.required}
    heads = [
        name
        for name in column_names(table)
        if name == ENTRY or name in needed or any(row.get(name) for row in rows)
    ]
    lines = [heads, *([{**row, ENTRY: entry}.get(name, "") for name in heads] for row in rows)]
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerows([*map(guarded, line)] for line in lines)
    return out.getvalue().encode("utf-8")
