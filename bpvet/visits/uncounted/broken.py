"""Lines of a file that cannot be told apart into cells, and that name an animal.

A comma in a note that is typed in haste makes such a line. Nothing of it is counted, and the note
may tell of a blind cat.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records

_CELL = re.compile(r"[,;\t|]")
_DATE = re.compile(r"\b(\d{4}-\d\d-\d\d)(?!\d)")


@dataclass(frozen=True, eq=False)
class BrokenLine(Content):
    """A line that cannot be read and has an animal's id, or its name, as one of its cells.

    Parameters
    ----------
    file : str
    line : int
    date : datetime64[D]
        The latest ISO date in it; NaT without one.
    """

    file: str
    line: int
    date: np.datetime64


def broken_lines(
    records: Records, animal: str | None = None
) -> Mapping[str, tuple[BrokenLine, ...]]:
    """Return the broken lines of each animal that one names, in order.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    broken = records.findings.by_code(Code.BROKEN_LINE)
    if not broken:
        return {}
    whose: dict[str, list[str]] = {}
    for id_, row in records.rows_by_animal.items():
        for written in {id_.casefold(), row.name.casefold()} - {""}:
            whose.setdefault(written, []).append(id_)
    found: dict[str, list[BrokenLine]] = {}
    for finding in broken:
        line = BrokenLine(finding.file, finding.line or 0, _newest(finding.value))
        for id_ in _named(finding.value, whose):
            if animal in (None, id_):
                found.setdefault(id_, []).append(line)
    return {id_: tuple(lines) for id_, lines in found.items()}


def _named(text: str, whose: Mapping[str, list[str]]) -> set[str]:
    """Return the ids among the cells of a line; of mere numbers, which may be others, the first."""
    cells = [cell.strip().strip("\"'").strip().casefold() for cell in _CELL.split(text)]
    known = [cell for cell in cells if cell in whose]
    named = [cell for cell in known if not cell.isdigit()] or known[:1]
    return {id_ for cell in named for id_ in whose[cell]}


def _newest(text: str) -> np.datetime64:
    dates = [np.datetime64("NaT", "D")]
    for written in _DATE.findall(text):
        try:
            dates.append(np.datetime64(written, "D"))
        except ValueError:  # a thirteenth month
            continue
    known = [date for date in dates if not np.isnat(date)]
    return max(known) if known else dates[0]
