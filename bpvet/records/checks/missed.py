"""Doses that were missed or late: checked, and held against the treatments."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.drugs import drug, drug_name, purpose_overrides
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Outcome
from bpvet.records.parsing.arrow import arrow_of, scalar_of
from bpvet.records.parsing.columns import TEXT, distinct, uncoded
from bpvet.records.parsing.packed import PackedTimes
from bpvet.records.parsing.values import Mask, Values

#: Days from one date to another, as numbers; a stop that is blank is never.
_NEVER = np.iinfo(np.int64).max


def check_missed(
    tables: Mapping[str, CheckedTable], values: dict[str, Values], as_of: np.datetime64
) -> None:
    """Check the rows of missed doses; a blank ``what`` becomes "missed" in `values`.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        All tables.
    values : dict of str to dict
        Their values, the treatments checked already.
    as_of : datetime64[D]
        Rows that begin later are set aside; a later end is cut there.
    """
    checked, doses = tables["missed"], values["missed"]
    if checked.n == 0:
        doses["future"] = np.zeros(0, dtype=bool)
        return
    start, end = doses["from"], doses["to"]
    checked.report(
        end < start,
        "to",
        Code.END_BEFORE_START,
        Outcome.ROW,
        start=OfRow(lambda row: str(start[row].astype("M8[D]"))),
    )
    doses["future"] = report_future(checked, start, "from", as_of)
    later = (end > as_of) & ~doses["future"]
    checked.report(later, "to", Code.FUTURE_END, written=WRITTEN, as_of=str(as_of))
    doses["to"] = np.where(later, as_of.astype("datetime64[ns]"), end)
    blank = checked.blank("what") & checked.usable
    checked.report(blank, "what", Code.MISSED_OR_LATE)
    doses["what"] = pc.if_else(arrow_of(blank), scalar_of("missed"), uncoded(doses["what"])).cast(
        TEXT
    )
    _report_outside(checked, doses, tables["treatments"], values["treatments"])


def report_future(
    checked: CheckedTable,
    date: NDArray[np.datetime64] | PackedTimes,
    column: str,
    as_of: np.datetime64,
) -> Mask:
    """Set aside rows dated later than `as_of`; return which (n,) those are."""
    future: Mask = date.dated_after(as_of) if isinstance(date, PackedTimes) else date > as_of
    checked.report(future, column, Code.FUTURE_DATE, Outcome.ROW, written=WRITTEN, as_of=str(as_of))
    return future


def _report_outside(
    checked: CheckedTable, doses: Values, treatments: CheckedTable, given: Values
) -> None:
    """Report which rows lie in no course of their drug; where none is named, of a pressure drug."""
    rows = np.flatnonzero(checked.usable)
    if len(rows) == 0:
        return
    whose = set(doses["animal"].take(arrow_of(rows)).to_pylist())
    courses = _courses(treatments, given, whose)
    animals, drugs = (doses[name].take(arrow_of(rows)).to_pylist() for name in ("animal", "drug"))
    first = doses["from"][rows].astype("datetime64[D]").astype(np.int64)
    end = doses["to"][rows].astype("datetime64[D]")
    last = np.where(np.isnat(end), first, end.astype(np.int64))
    outside = [
        not any(
            start <= to and stop >= begin and (name == drug_name(text) if text else pressure)
            for name, pressure, start, stop in courses.get(animal, ())
        )
        for animal, text, begin, to in zip(
            animals, drugs, first.tolist(), last.tolist(), strict=True
        )
    ]
    checked.report(rows[np.array(outside, dtype=bool)], "drug", Code.NO_COURSE, drug=WRITTEN)


def _courses(
    checked: CheckedTable, values: Values, whose: set[str]
) -> dict[str, list[tuple[str, bool, int, int]]]:
    """Return (drug, whether a pressure drug, first day, last day) of each row of some animals."""
    found: dict[str, list[tuple[str, bool, int, int]]] = {}
    texts, code = distinct(values["animal"])
    mine = np.array([text in whose for text in texts], dtype=bool)
    rows = np.flatnonzero(mine[code] & checked.usable & ~np.isnat(values["started_on"]))
    names, purposes = (
        values[name].take(arrow_of(rows)).to_pylist() for name in ("drug", "purpose")
    )
    start = values["started_on"][rows].astype("datetime64[D]").astype(np.int64)
    end = values["stopped_on"][rows].astype("datetime64[D]")
    stop = np.where(np.isnat(end), _NEVER, end.astype(np.int64))
    for row, name, purpose, begin, last in zip(
        rows.tolist(), names, purposes, start.tolist(), stop.tolist(), strict=True
    ):
        known, pressure = drug(name), purpose_overrides(purpose)
        if pressure is None:
            pressure = known is not None and known.kind == "pressure"
        found.setdefault(texts[code[row]], []).append((drug_name(name), pressure, begin, last))
    return found
