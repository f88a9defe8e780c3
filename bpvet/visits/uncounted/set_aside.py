"""Rows of an animal that cannot be used, and that an answer must not read as if they were not.

"No treatment is recorded" is no fact where a row of treatment cannot be read. Rows dated after the
date that is looked at are not among them: on that date nobody had written them; but those dated
after today are: a slip of the year.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.facts.labs import ANALYTES, factor, unit_as_given
from bpvet.records.checks.labs import nearly_named
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records
from bpvet.visits.labs.events import number_of
from bpvet.visits.uncounted.later import DATED, last_possible


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
        if rows.empty:
            continue
        for whose, drug in zip(rows["animal"], rows["drug"], strict=True):
            found[str(whose)][table].append(str(drug))
    since = records.as_of - np.timedelta64(int(number_of("project.kidney.alarm_age")), "D")
    pressing = set()
    for whose, analyte, day in _labs(records, animal):
        found[whose]["labs"].append(analyte)
        if not day < since:
            pressing.add(whose)
    readings = _aside(records, "readings", animal)
    undated = readings[(readings["date"].isna() & ~readings["duplicate"]).to_numpy(dtype=bool)]
    count = undated["animal"].value_counts()
    return {
        str(whose): RowsAside(
            treatments=tuple(found[whose]["treatments"]),
            labs=tuple(found[whose]["labs"]),
            missed=tuple(found[whose]["missed"]),
            undated=int(count.get(whose, 0)),
            pressing=whose in pressing or whose in count.index,
        )
        for whose in sorted({*found, *count.index})
    }


def _aside(records: Records, table: str, animal: str | None) -> pd.DataFrame:
    rows = records.rows_of(table, animal)
    aside = ~cells_are(rows, "set_aside", "")
    # Mostly none is: then nothing else is looked at.
    if not aside.any():
        return rows[:0]
    keep = ~_not_yet(records, rows, table).to_numpy(dtype=bool) & ~cells_are(rows, "animal", "")
    return rows[aside & keep]


def _not_yet(records: Records, rows: pd.DataFrame, table: str) -> pd.Series[bool]:
    """Return which rows of a table were not yet written on the date that is looked at."""
    return rows["future"].astype(bool) & (rows[DATED[table]] <= last_possible(records))


def _labs(records: Records, animal: str | None) -> list[tuple[str, str, pd.Timestamp]]:
    """Return animal, analyte and day of the values that cannot be used, none newer being usable."""
    near = nearly_named(list(records.labs["analyte"].unique()))
    rows = records.rows_of("labs", animal)
    kept = rows[cells_are(rows, "set_aside", "")]
    read = ~kept["analyte"].isin(list(near)).to_numpy(dtype=bool) & _in_known_unit(kept)
    aside = _aside(records, "labs", animal)
    if aside.empty and read.all():
        return []
    unread = kept[~read & ~_not_yet(records, kept, "labs").to_numpy(dtype=bool)]
    unused = pd.concat([aside, unread])
    usable = kept[read]
    newest = usable.groupby(["animal", "analyte"])["sampled_on"].max().to_dict()
    cells = zip(unused["animal"], unused["analyte"], unused["sampled_on"], strict=True)
    # No day, or none to lay it beside, compares as not superseded.
    return [
        (str(whose), str(analyte), day)
        for whose, analyte, day in cells
        if not day <= newest.get((whose, near.get(analyte, analyte)), pd.NaT)
    ]


def _in_known_unit(rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which rows do not stand in a unit that is not read for their analyte."""
    read = np.ones(len(rows), dtype=bool)
    for analyte, unit in set(zip(rows["analyte"].tolist(), rows["unit"].tolist(), strict=True)):
        if analyte in ANALYTES and factor(analyte, unit_as_given(analyte, unit)) is None:
            read &= ~(cells_are(rows, "analyte", analyte) & cells_are(rows, "unit", unit))
    return read
