"""The clinic's list as a flat table for CSV and workbooks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bpvet.answers.due.bands import band_name

if TYPE_CHECKING:
    from bpvet.answers.due.due import Due, DueRow

#: Column and unit of the table, in its order; `bpvet.wording.en.due` says what each means.
COLUMNS = (
    ("animal", ""),
    ("name", ""),
    ("species", ""),
    ("band", ""),
    ("earliest", "date"),
    ("latest", "date"),
    ("overdue_days", "d"),
    ("what", ""),
    ("why", ""),
    ("urgent", ""),
    ("state", ""),
    ("guideline", ""),
    ("grade", ""),
    ("last_date", "date"),
    ("last_value", "mmHg"),
    ("last_usual", "mmHg"),
    ("last_usual_sd", "mmHg"),
    ("p_at_target", "1"),
    ("treated", ""),
    ("contact", ""),
    ("as_of", "date"),
)


def due_frame(due: Due) -> pd.DataFrame:
    """Return the list as a data frame, one row an animal, in its order."""
    rows = [_cells(row, due) for row in due.rows]
    columns = {name: [row[i] for row in rows] for i, (name, _) in enumerate(COLUMNS)}
    frame = pd.DataFrame(columns)
    for name, unit in COLUMNS:
        if unit == "date":
            frame[name] = np.array(columns[name], dtype="datetime64[s]")
        elif unit in ("mmHg", "1"):
            frame[name] = np.array(columns[name], dtype=float)
        elif name in ("overdue_days", "urgent"):
            frame[name] = np.array(columns[name], dtype=np.int64)
        elif name == "treated":
            frame[name] = np.array(columns[name], dtype=bool)
        else:
            frame[name] = pd.Series(columns[name], dtype=object).astype("str")
    return frame


def _cells(row: DueRow, due: Due) -> tuple[object, ...]:
    never, last = np.datetime64("NaT", "D"), row.last
    return (
        row.animal,
        row.name,
        row.species,
        band_name(row.band),
        never if row.earliest is None else row.earliest,
        never if row.latest is None else row.latest,
        row.overdue_days,
        ", ".join(row.what),
        row.why,
        len(row.urgent),
        row.state or "",
        row.guideline_name or "",
        row.grade or "",
        never if last is None else last.date,
        np.nan if last is None or last.value is None else last.value,
        np.nan if last is None or last.estimate is None else last.estimate,
        np.nan if last is None or last.sd is None else last.sd,
        np.nan if row.p_at_target is None else row.p_at_target,
        row.treated,
        "" if row.contact is None else row.contact.text,
        due.as_of,
    )
