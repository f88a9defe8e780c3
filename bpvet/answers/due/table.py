"""The clinic's list as a flat table for CSV and workbooks, and what its columns mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bpvet.answers.due.bands import BANDS
from bpvet.facts.cautions import licensed

if TYPE_CHECKING:
    from bpvet.answers.due.due import Due, DueRow

#: Column, meaning and unit of the table, in its order.
COLUMNS = (
    ("animal", "id of the animal, or its number with pseudonyms", ""),
    ("name", "its name; blank with pseudonyms", ""),
    ("species", "species as recorded", ""),
    ("band", f"one of {', '.join(BANDS.values())}", ""),
    ("earliest", "first day of the window; blank where only a last day is asked", "date"),
    ("latest", "last day of the window", "date"),
    ("overdue_days", "days that the window lies before the date spoken for", "d"),
    ("what", "what to do: measure, eyes, bloods, urine", ""),
    ("why", f"what is urgent, or why the window is so. {licensed()}", ""),
    ("urgent", "how many urgent lines the animal has", ""),
    ("state", "row of the table of windows", ""),
    ("guideline", "whose window it is", ""),
    ("grade", "grade of its evidence: J judgement, M from memory, R read, S restated", ""),
    ("last_date", "latest date with a session", "date"),
    ("last_value", "highest session mean of that date, as measured", "mmHg"),
    ("last_usual", "usual pressure then, estimated", "mmHg"),
    ("last_usual_sd", "posterior SD of the usual pressure then", "mmHg"),
    ("p_at_target", "probability that it is at or below the target; treated animals only", "1"),
    ("treated", "whether a blood-pressure drug is on record at the date spoken for", ""),
    ("contact", "the newest contact with the owner", ""),
    ("as_of", "the date spoken for", "date"),
)


def due_frame(due: Due) -> pd.DataFrame:
    """Return the list as a data frame, one row an animal, in its order."""
    rows = [_cells(one, due) for one in due.rows]
    columns = {name: [row[i] for row in rows] for i, (name, _, _) in enumerate(COLUMNS)}
    frame = pd.DataFrame(columns)
    for name, _, unit in COLUMNS:
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


def _cells(one: DueRow, due: Due) -> tuple[object, ...]:
    never, last = np.datetime64("NaT", "D"), one.last
    return (
        one.animal,
        one.name,
        one.species,
        BANDS[one.band],
        never if one.earliest is None else one.earliest,
        never if one.latest is None else one.latest,
        one.overdue_days,
        ", ".join(one.what),
        one.why,
        len(one.urgent),
        one.state or "",
        one.guideline_name or "",
        one.grade or "",
        never if last is None else last.date,
        np.nan if last is None or last.value is None else last.value,
        np.nan if last is None or last.estimate is None else last.estimate,
        np.nan if last is None or last.sd is None else last.sd,
        np.nan if one.p_at_target is None else one.p_at_target,
        one.treated,
        "" if one.contact is None else one.contact.text,
        due.as_of,
    )
