"""Rows of an animal that cannot be used, and that an answer must not read as if they were not.

"No treatment is recorded" is no fact where a row of treatment cannot be read. Rows dated after the
date that is looked at are not among them: on that date nobody had written them; but those dated
after today are: a slip of the year.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.facts.labs import ANALYTES, factor, unit_as_given
from bpvet.frozen import dataclass
from bpvet.records.checks.labs import nearly_named
from bpvet.records.parsing.codes import as_one
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.visits.labs.events import number_of
from bpvet.visits.uncounted.groups import newest_days
from bpvet.visits.uncounted.later import DATED, last_possible

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class RowsAside(Content):
    """Rows of one animal that cannot be used.

    Parameters
    ----------
    treatments, labs, missed : tuple of str
        Drugs and analytes as written, one a row; of the laboratory only values of which no newer
        one of their analyte can be used, and among them those whose name or unit is not read.
    undated : int
        Readings without a usable date.
    pressing : bool
        Whether something may be urgent there: a reading without a date, or a laboratory value
        without one or of the days in which such values are alarms.
    """

    treatments: tuple[str, ...] = ()
    labs: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()
    undated: int = 0
    pressing: bool = False


def rows_aside(records: Records, animal: str | None = None) -> Mapping[str, RowsAside]:
    """Return the rows of each animal that cannot be used; animals without any are not in it.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    found: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for table in ("treatments", "missed"):
        rows = _aside(records, table, animal)
        for whose, drug in zip(rows["animal"], rows["drug"], strict=True):
            found[whose][table].append(drug)
    since = records.as_of - np.timedelta64(int(number_of("project.kidney.alarm_age")), "D")
    pressing = set()
    for whose, analyte, day in _labs(records, animal):
        found[whose]["labs"].append(analyte)
        if not day < since:
            pressing.add(whose)
    readings = _aside(records, "readings", animal)
    undated = readings.take(np.isnat(readings["date"]) & ~readings["duplicate"])
    count = Counter(undated["animal"].tolist())
    return {
        whose: RowsAside(
            treatments=tuple(found[whose]["treatments"]),
            labs=tuple(found[whose]["labs"]),
            missed=tuple(found[whose]["missed"]),
            undated=count[whose],
            pressing=whose in pressing or whose in count,
        )
        for whose in sorted({*found, *count})
    }


def _aside(records: Records, table: str, animal: str | None) -> TableColumns:
    rows = records.columns(table, animal)
    return rows.take(_is_aside(records, rows, table))


def _is_aside(records: Records, rows: TableColumns, table: str) -> Mask:
    aside = ~rows.is_text("set_aside", "")
    # Few rows are: where none is nothing else is looked at.
    if aside.any():
        aside &= ~_not_yet(records, rows, table) & ~rows.is_text("animal", "")
    return aside


def _not_yet(records: Records, rows: TableColumns, table: str) -> Mask:
    """Return which rows of a table were not yet written on the date that is looked at."""
    found: Mask = rows["future"] & (rows.days(DATED[table]) <= last_possible(records))
    return found


def _labs(records: Records, animal: str | None) -> list[tuple[str, str, np.datetime64]]:
    """Return animal, analyte and day of the values that cannot be used, none newer being usable."""
    near = nearly_named(records.columns("labs").different("analyte")[0])
    rows = records.columns("labs", animal)
    kept = rows.is_text("set_aside", "")
    usable = kept & ~rows.among("analyte", near) & _in_known_unit(rows)
    unread = kept & ~usable & ~_not_yet(records, rows, "labs")
    unused = np.append(np.flatnonzero(_is_aside(records, rows, "labs")), np.flatnonzero(unread))
    if not len(unused):
        return []
    (animals, whose), (analytes, analyte) = rows.different("animal"), rows.different("analyte")
    # Each name as the analyte that it is nearly one of.
    code_of = {text: code for code, text in enumerate(analytes)}
    as_read = np.array([code_of.get(near.get(text, text), len(code_of)) for text in analytes])
    pairs, pair = np.unique(as_one((whose, as_read[analyte]), len(rows)), return_inverse=True)
    day = rows.days("sampled_on")
    # The usable ones are all named as they are read.
    newest = newest_days(pair[usable], day[usable], len(pairs))[pair[unused]]
    # No day, or none to lay it beside, compares as not superseded.
    left = unused[~(day[unused] <= newest)]
    whom, name = whose[left].tolist(), analyte[left].tolist()
    return [
        (animals[i], analytes[j], date) for i, j, date in zip(whom, name, day[left], strict=True)
    ]


def _in_known_unit(rows: TableColumns) -> Mask:
    """Return which rows do not stand in a unit that is not read for their analyte."""
    (analytes, analyte), (units, unit) = rows.different("analyte"), rows.different("unit")
    pairs, pair = np.unique(analyte.astype(np.int64) * len(units) + unit, return_inverse=True)
    read = [
        name not in ANALYTES or factor(name, unit_as_given(name, written)) is not None
        for name, written in ((analytes[i // len(units)], units[i % len(units)]) for i in pairs)
    ]
    return np.array(read, dtype=bool)[pair]
