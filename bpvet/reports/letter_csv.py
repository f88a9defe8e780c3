"""The letter's content in full, as one table to attach: a row an item, told by its first column."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import pandas as pd

from bpvet.answers.letter import five
from bpvet.answers.parts import SessionAnswer, TrendAnswer
from bpvet.answers.trend import session_answer
from bpvet.facts.words import READING_QUANTITIES
from bpvet.files import csv_bytes
from bpvet.models.trend import Trend
from bpvet.reports.letter_parts import animal_readings, eyes_line, iso
from bpvet.reports.now import whose
from bpvet.reports.recorded import own_rows

#: What an item is, and all that any kind of item says of itself.
COLUMNS = (
    *("kind", "date", "time", "session", "order", "name", "value", "unit", "bound", "sd"),
    *("taken", "used", "method", "condition", "setting", "state", "site", "side"),
    *("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm", "posture", "demeanour"),
    *("operator", "diastolic", "mean", "heart_rate", "counted_pulse", "counts", "until", "text"),
)
_OF_READING = (
    *("method", "condition", "setting", "state", "site", "side", "posture", "demeanour"),
    *("operator", "diastolic", "mean", "heart_rate", "counted_pulse", "cuff_width_cm"),
    *("limb_circumference_cm", "cuff_above_heart_cm"),
)
Item = Mapping[str, object]


def letter_csv(trend: Trend, answer: TrendAnswer, for_excel: bool = False) -> bytes:
    """Return everything that a letter tells, nothing left out, as a CSV file.

    Parameters
    ----------
    trend : Trend
        Of a pressure.
    answer : TrendAnswer
        Its answer.
    for_excel : bool
        Whether text that a spreadsheet would take for a formula gets an apostrophe before it.

    Returns
    -------
    bytes
        One table of `COLUMNS`; its rows are identity, answer, session, reading, treatment,
        sign, eyes, laboratory value and caution, told by `kind`; the newest first.
    """
    rows = ([_cell(item.get(name)) for name in COLUMNS] for item in _items(trend, answer))
    return csv_bytes(COLUMNS, rows, for_excel)


def _cell(value: Any) -> object:
    """Return a number without needless decimals, and None where nothing is recorded."""
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if not isinstance(value, float):
        return value
    return int(value) if value.is_integer() else float(f"{value:.10g}")


def _items(trend: Trend, answer: TrendAnswer) -> Iterator[Item]:
    for name, text in whose(trend, answer)._asdict().items():
        yield {"kind": "identity", "name": name, "text": text}
    yield from ({"kind": "answer", "text": text} for text in five(answer))
    yield from _sessions(trend, answer)
    yield from _readings(trend)
    yield from _treatments(trend)
    yield from _signs(trend)
    yield {"kind": "eyes", "text": eyes_line(trend)}
    yield from _labs(trend)
    yield from ({"kind": "caution", "text": text} for text in answer.cautions)


def _sessions(trend: Trend, answer: TrendAnswer) -> Iterator[Item]:
    own = set(trend.series.session.tolist())
    for _, row in trend.context.sessions.iloc[::-1].iterrows():
        one: SessionAnswer = session_answer(row, answer.quantity)
        place = {name: row[name] for name in ("setting", "state", "site", "side", "operator")}
        sizes = {name: row[name] for name in ("cuff_width_cm", "limb_circumference_cm")}
        yield {
            "kind": "session",
            "date": str(one.date),
            "session": row["session"],
            "name": answer.quantity,
            "value": one.mean,
            "unit": answer.unit,
            "bound": one.bound,
            "sd": one.sd,
            "taken": one.n_taken,
            "used": one.n_used,
            "method": one.method,
            "condition": one.condition,
            "counts": "yes" if row["session"] in own else "no: beside the trend",
            "text": "; ".join(filter(None, (one.label, *one.flags))),
            **place,
            **sizes,
        }


def _readings(trend: Trend) -> Iterator[Item]:
    frame = animal_readings(trend)
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
            "bound": row["systolic_bound"],
            "taken": row["summary_n"] or 1,
            "counts": "yes" if used else f"no: {row['reason'] or row['fate']}",
            "text": row["note"],
            **{name: row[name] for name in _OF_READING},
        }


def _treatments(trend: Trend) -> Iterator[Item]:
    frame = own_rows(trend, trend.records.treatments, "started_on").iloc[::-1]
    for row in frame.to_dict("records"):
        until = iso(row["stopped_on"])
        yield {
            "kind": "treatment",
            "date": iso(row["started_on"]),
            "name": row["drug"],
            "value": row["dose"],
            "unit": row["dose_unit"],
            "until": until if until and until <= str(trend.as_of) else "no stop recorded",
            "text": _joined(row, "purpose", "note", "set_aside"),
        }


def _signs(trend: Trend) -> Iterator[Item]:
    frame = own_rows(trend, trend.records.observations, "seen_on").iloc[::-1]
    for row in frame.to_dict("records"):
        text = _joined(row, "note", "set_aside")
        yield {
            "kind": "sign",
            "date": iso(row["seen_on"]),
            "name": row["sign"],
            "value": row["status"],
            "text": text,
        }


def _labs(trend: Trend) -> Iterator[Item]:
    frame = own_rows(trend, trend.records.labs, "sampled_on").iloc[::-1]
    for row in frame.to_dict("records"):
        yield {
            "kind": "laboratory value",
            "date": iso(row["sampled_on"]),
            "name": row["analyte"],
            "value": row["value"],
            "unit": row["unit"],
            "text": row["set_aside"],
        }


def _joined(row: dict[Hashable, Any], *names: str) -> str:
    return "; ".join(str(row[name]) for name in names if row[name])
