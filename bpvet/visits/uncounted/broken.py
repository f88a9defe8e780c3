"""Lines that cannot be counted for anybody, and that name an animal.

A comma in a note that is typed in haste makes a line that cannot be told apart into cells; a row
may lack its id. Nothing of them is counted, and they may tell of a blind cat.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from weakref import WeakKeyDictionary

import numpy as np

from bpvet.equality import Content
from bpvet.facts.signs.signs import read_note
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.signs.states import ALARMING
from bpvet.visits.uncounted.naming import named_in, whose_names

_CELL = re.compile(r"[,;\t|]")
_DATE = re.compile(r"\b(\d{4}-\d\d-\d\d)(?!\d)")
#: So many lines of an animal are read for signs; what is beyond may tell of one.
_READ = 100
#: Of tables with rows of a visit, where its date and its words stand.
_TABLES = {"readings": ("date", ("note",)), "observations": ("seen_on", ("sign", "note"))}


@dataclass(frozen=True, eq=False)
class BrokenLine(Content):
    """A line that cannot be counted and has an animal's id, or its name, in it.

    Parameters
    ----------
    file : str
    line : int
    date : datetime64[D]
        Of a line that cannot be read the latest ISO date in it; NaT without one.
    sign : bool
        Whether its words may tell of a sign of eye, brain or weakness.
    """

    file: str
    line: int
    date: np.datetime64
    sign: bool


def broken_lines(
    records: Records, animal: str | None = None
) -> Mapping[str, tuple[BrokenLine, ...]]:
    """Return the lines of each animal that one names and that cannot be counted.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    if records not in _KNOWN:
        _KNOWN[records] = _of_all(records)
    found = _KNOWN[records]
    if animal is None:
        return found
    return {animal: found[animal]} if animal in found else {}


#: Those of the records in use: each report of a run asks for them.
_KNOWN: WeakKeyDictionary[Records, Mapping[str, tuple[BrokenLine, ...]]] = WeakKeyDictionary()


def _of_all(records: Records) -> Mapping[str, tuple[BrokenLine, ...]]:
    lines = [*_unread(records), *_nameless(records)]
    if not lines:
        return {}
    whose, found = whose_names(records), dict[str, list[BrokenLine]]()
    for file, number, date, text in lines:
        for id_ in {id_ for written in _named(text, whose) for id_ in whose[written]}:
            of_animal = found.setdefault(id_, [])
            # Of a whole file that cannot be read not every line is looked into.
            sign = len(of_animal) >= _READ or any(
                item.group in ALARMING for item in read_note(text)
            )
            of_animal.append(BrokenLine(file, number, date, sign))
    return {id_: tuple(of_animal) for id_, of_animal in found.items()}


_Line = tuple[str, int, np.datetime64, str]


def _unread(records: Records) -> Iterator[_Line]:
    """Yield file, line, date and text of the lines that cannot be told apart into cells."""
    for finding in records.findings.by_code(Code.BROKEN_LINE):
        yield finding.file, finding.line or 0, _newest(finding.value), finding.value


def _nameless(records: Records) -> Iterator[_Line]:
    """Yield the same of rows of a visit that have no id and some words."""
    for table, (dated, texts) in _TABLES.items():
        rows = records.columns(table)
        rows = rows.take(rows.is_text("animal", ""))
        if not len(rows):
            continue
        words = zip(*(rows[name] for name in texts), strict=True)
        places = zip(rows["file"], rows["line"], rows.days(dated), words, strict=True)
        for file, line, date, cells in places:
            if any(cells):
                yield str(file), int(line), date, "; ".join(filter(None, cells))


def _named(text: str, whose: Mapping[str, list[str]]) -> set[str]:
    """Return how a line names animals; a mere number does where it is its first known cell."""
    cells = [cell.strip().strip("\"'").strip().casefold() for cell in _CELL.split(text)]
    known = [cell for cell in cells if cell in whose]
    worded = {*named_in(text, whose), *(cell for cell in known if not cell.isdigit())}
    return worded or set(known[:1])


def _newest(text: str) -> np.datetime64:
    dates = []
    for written in _DATE.findall(text):
        try:
            dates.append(np.datetime64(written, "D"))
        except ValueError:  # a thirteenth month
            continue
    return max(dates, default=np.datetime64("NaT", "D"))
