"""The letter's content in full, as one table to attach: a row an item, told by its first column."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.answers.trend.usual import SessionAnswer, session_answer
from bpvet.facts.signs.signs import understood
from bpvet.facts.words import READING_QUANTITIES, UNITS, Fate
from bpvet.files import csv_bytes
from bpvet.reports.letter.records import iso
from bpvet.reports.letter.sessions import animal_readings
from bpvet.reports.letter.signs import eyes_line
from bpvet.reports.letter.source import Source
from bpvet.reports.letter.who import Who
from bpvet.visits.signs.signs import day_of
from bpvet.wording.en.letter import letter_statements
from bpvet.wording.en.pages.letter import NOTES

#: What an item is, and all that any kind of item says of itself.
COLUMNS = (
    *("kind", "date", "time", "session", "order", "name", "value", "unit", "bound", "sd"),
    *("taken", "used", "method", "condition", "setting", "state", "site", "side"),
    *("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm", "posture", "demeanour"),
    *("operator", "instrument", "diastolic", "mean", "heart_rate", "counted_pulse", "product"),
    *("counts", "until", "text"),
)
_OF_READING = (
    *("method", "condition", "setting", "state", "site", "side", "posture", "demeanour"),
    *("operator", "instrument", "diastolic", "mean", "heart_rate", "counted_pulse"),
    *("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm"),
)
#: What stands at the letter's head, in this order.
_OF_HEAD = ("name", "id", "known", "left", "basis", "to", "question", "clinic")
Item = Mapping[str, object]


def table_bytes(
    source: Source, answer: TrendAnswer | UnseenAnswer, who: Who, plain: bool = False
) -> bytes:
    """Return everything that a letter reports, nothing left out, as a CSV file.

    Parameters
    ----------
    source : Source
    answer : TrendAnswer or UnseenAnswer
    who : Who
        The letter's head.
    plain : bool
        As in `bpvet.files.csv_bytes`.

    Returns
    -------
    bytes
        One table of `COLUMNS`; its rows are identity, answer, session, reading, treatment,
        sign, eyes, laboratory value, not used and caution, by `kind`; the newest first.
    """
    rows = ([_cell(item.get(name)) for name in COLUMNS] for item in _items(source, answer, who))
    return csv_bytes(COLUMNS, rows, plain)


def _cell(value: Any) -> object:
    """Return a number without needless decimals, and None where nothing is recorded."""
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if not isinstance(value, float):
        return value
    return int(value) if value.is_integer() else float(f"{value:.10g}")


def _items(source: Source, answer: TrendAnswer | UnseenAnswer, who: Who) -> Iterator[Item]:
    for name in _OF_HEAD:
        yield {"kind": "identity", "name": name, "text": getattr(who, name)}
    yield from (
        {"kind": "answer", "text": statement.text} for statement in letter_statements(answer)
    )
    yield from _sessions(source)
    yield from _readings(source)
    yield from _treatments(source)
    yield from _signs(source)
    yield {"kind": "eyes", "text": eyes_line(source, bool(answer.recorded.uncounted.broken))}
    yield from _labs(source)
    for row in answer.not_used:
        date = None if np.isnat(row.date) else str(row.date)
        yield {"kind": "not used", "date": date, "name": row.text, "text": row.reason}
    yield from ({"kind": "caution", "text": text} for text in answer.cautions)


def _sessions(source: Source) -> Iterator[Item]:
    quantity = source.quantity
    for _, row in source.sessions.iloc[::-1].iterrows():
        session: SessionAnswer = session_answer(row.to_dict(), quantity)
        columns = ("setting", "state", "site", "side", "operator", "instrument")
        circumstances = {name: row[name] for name in columns}
        sizes = {name: row[name] for name in ("cuff_width_cm", "limb_circumference_cm")}
        yield {
            "kind": "session",
            "date": str(session.date),
            "session": row["session"],
            "name": quantity,
            "value": session.mean,
            "unit": UNITS[quantity],
            "bound": session.bound,
            "sd": session.sd,
            "taken": session.n_taken,
            "used": session.n_used,
            "method": session.method,
            "condition": session.condition,
            "counts": "yes" if row["session"] in source.series else NOTES["trend"],
            "text": "; ".join(filter(None, (session.label, *session.flags))),
            **circumstances,
            **sizes,
        }


def _readings(source: Source) -> Iterator[Item]:
    frame = animal_readings(source)
    frame = frame.sort_values(["session", "order"], ascending=[False, True], kind="stable")
    for row in frame.to_dict("records"):
        used = row["fate"] == "used"
        yield {
            "kind": "reading",
            "date": iso(row["date"]),
            "time": pd.Timestamp(row["taken_at"]).strftime("%H:%M") if row["timed"] else None,
            "session": row["session"] or None,
            "order": row["order"] or None,
            "name": READING_QUANTITIES[0],
            "value": row["systolic"],
            "unit": "mmHg",
            "bound": "" if row["fate"] == Fate.SET_ASIDE else row["systolic_bound"],
            "taken": row["summary_n"] or 1,
            "counts": "yes" if used else f"no: {row['reason'] or row['fate']}",
            "text": row["note"],
            **{name: row[name] for name in _OF_READING},
        }


def _treatments(source: Source) -> Iterator[Item]:
    frame = source.rows(source.records.treatments, "started_on").iloc[::-1]
    for row in frame.to_dict("records"):
        until = iso(row["stopped_on"])
        yield {
            "kind": "treatment",
            "date": iso(row["started_on"]),
            "name": row["drug"],
            "value": row["dose"],
            "unit": row["dose_unit"],
            "product": row["product"],
            "until": until if until and until <= str(source.as_of) else NOTES["stop"],
            "text": _joined(row, "purpose", "note", "set_aside"),
        }


def _signs(source: Source) -> Iterator[Item]:
    frame = source.rows(source.records.observations, "seen_on").iloc[::-1]
    for row in frame.to_dict("records"):
        text = _joined(row, "status", "note", "set_aside")
        yield {
            "kind": "sign",
            "date": iso(row["seen_on"]),
            "name": row["sign"],
            "value": understood(row["sign"], row["status"], day_of(row["seen_on"])),
            "text": text,
        }


def _labs(source: Source) -> Iterator[Item]:
    frame = source.rows(source.records.labs, "sampled_on").iloc[::-1]
    for row in frame.to_dict("records"):
        yield {
            "kind": "laboratory value",
            "date": iso(row["sampled_on"]),
            "name": row["analyte"],
            "value": row["value"],
            "unit": row["unit"],
            "bound": row["value_bound"],
            "text": row["set_aside"],
        }


def _joined(row: dict[Hashable, Any], *names: str) -> str:
    return "; ".join(str(row[name]) for name in names if row[name])
