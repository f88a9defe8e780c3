"""Whether readings that are added to records are read back as the session that was taken."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.words import METHOD_WORDS
from bpvet.printing import prose_date
from bpvet.reasons import reason
from bpvet.records.findings import shown
from bpvet.records.records import Records
from bpvet.visits.readings import readings_used

_SIGNS = {"at least": "> ", "at most": "< "}
#: Readings that, all the same as those of another session of the day, look like a copy.
_ENOUGH = 2


def check_added_session(
    records: Records, file: str, fates: Sequence[str], rule: str = "guideline"
) -> list[str]:
    """Check that a file of readings is one session, with every reading's fate as it was told.

    Parameters
    ----------
    records : Records
        With the file in them.
    file : str
        Its name.
    fates : sequence of str
        What became of each reading in the room, in order of taking.
    rule : str
        As in `bpvet.visits.readings.readings_used`.

    Returns
    -------
    list of str
        What is to be asked: whether it is a copy of another session of that day.

    Raises
    ------
    CallError
        Its readings would join those of another session, or would be read otherwise.
    """
    used = readings_used(records, rule)
    mine = used["file"] == file
    of_entry = used[mine].sort_values("order")
    if of_entry.empty or (of_entry["session"] == 0).any() or of_entry["session"].nunique() > 1:
        raise CallError("The readings would not be read as one session; they were not added.")
    first = of_entry.iloc[0]
    theirs = used[~mine & (used["animal"] == first["animal"]) & (used["session"] > 0)]
    _refuse_joined(theirs[theirs["session"] == first["session"]], first)
    if of_entry["fate"].tolist() != list(fates):
        raise CallError("The readings would count otherwise than was told; they were not added.")
    return _alike(of_entry, theirs)


def _refuse_joined(joined: pd.DataFrame, first: pd.Series) -> None:
    if joined.empty:
        return
    joined = joined.sort_values("order")
    entry = str(joined.iloc[0]["entry"])
    known = f" (entry {entry})" if entry else ""
    method = METHOD_WORDS[str(first["method"])]
    raise CallError(
        f"On {prose_date(first['date'])} {shown(str(first['animal']))} has a {method} session "
        f"already: {_numbers(joined)}; {joined.iloc[0]['file']}{known}. These readings would be "
        "taken for more of it, and were not added. If this is another visit of that day, give it "
        "a name: --session evening. If it is the same visit, it is in the records."
    )


def _alike(of_entry: pd.DataFrame, theirs: pd.DataFrame) -> list[str]:
    """Return a question for each other session of that day and method with the same numbers."""
    first, mine = of_entry.iloc[0], _numbers(of_entry)
    day = theirs[(theirs["date"] == first["date"]) & (theirs["method"] == first["method"])]
    found: list[str] = []
    for _, rows in day.groupby("session"):
        ordered = rows.sort_values("order")
        if len(of_entry) >= _ENOUGH and _numbers(ordered) == mine:
            found.append(
                reason(
                    "visits.same_numbers",
                    date=prose_date(first["date"]),
                    numbers=mine,
                    file=ordered.iloc[0]["file"],
                )
            )
    return found


def _numbers(rows: pd.DataFrame) -> str:
    cells = zip(rows["systolic"], rows["systolic_bound"], strict=True)
    return ", ".join(
        "no sound" if bound == "no sound" else f"{_SIGNS.get(bound, '')}{value:g}"
        for value, bound in cells
    )
