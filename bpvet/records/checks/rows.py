"""Rows against each other and against the date of this report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES, condition_of
from bpvet.records.animals import (
    Animals,
    animals_table,
    check_animals,
    met_animals,
    report_look_alikes,
    report_strangers,
    report_unlisted,
)
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.duplicates import at_one_time, check_readings_twice, report_contradictions
from bpvet.records.checks.histories import report_histories
from bpvet.records.checks.labs import check_labs
from bpvet.records.checks.missed import check_missed, report_future
from bpvet.records.checks.plausible import check_plausible
from bpvet.records.checks.row_findings import WRITTEN, OfRow
from bpvet.records.checks.signs import UNKNOWN_STATUS, report_signs
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome
from bpvet.records.parsing.arrow import arrow_of, scalar_of
from bpvet.records.parsing.columns import TEXT, distinct, is_text, of_texts, uncoded
from bpvet.records.parsing.dates import NAT
from bpvet.records.parsing.values import Values


def check(
    tables: Mapping[str, CheckedTable], values: dict[str, Values], as_of: np.datetime64
) -> tuple[Animals, list[Finding]]:
    """Check the tables; what cannot be used is set aside in the tables and blank in `values`.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        All tables.
    values : dict of str to dict
        Their values, as `bpvet.records.parsing.values.parse` gives them; altered in place.
    as_of : datetime64[D]
        Rows dated later are set aside.

    Returns
    -------
    Animals
        The animals, one row each.
    list of Finding
        Findings that belong to no table.
    """
    check_animals(tables["animals"], values["animals"], as_of)
    animals = animals_table(tables["animals"], values["animals"], met_animals(tables))
    _check_readings(tables["readings"], values["readings"], animals, as_of)
    _check_treatments(tables["treatments"], values["treatments"], as_of)
    check_labs(tables["labs"], values["labs"], animals)
    check_missed(tables, values, as_of)
    # A status that is no word known here is marked; a blank one leaves it to the text.
    signs = values["observations"]
    unknown = is_text(signs["status"], "") & ~tables["observations"].blank("status")
    if unknown.any():
        status = pc.if_else(arrow_of(unknown), scalar_of(UNKNOWN_STATUS), uncoded(signs["status"]))
        signs["status"] = status.cast(TEXT)
    for table, date in (("labs", "sampled_on"), ("observations", "seen_on"), ("contacts", "date")):
        values[table]["future"] = report_future(tables[table], values[table][date], date, as_of)
    lives = not all(np.isnat(values["animals"][name]).all() for name in ("birth_date", "left_on"))
    for table, date in (
        ("readings", "date"),
        ("treatments", "started_on"),
        ("labs", "sampled_on"),
        ("observations", "seen_on"),
        ("missed", "from"),
    ):
        if lives and tables[table].n:
            _check_life(tables[table], values[table], date, animals)
    if lives:
        _not_left(tables["readings"], values["readings"], animals)
    report_look_alikes(tables)
    others = report_unlisted(tables)
    listed = set(distinct(tables["animals"].cells("animal"))[0])
    measured = set(distinct(tables["readings"].cells("animal"))[0])
    report_strangers(tables, listed, measured)
    report_histories(tables, values)
    report_signs(tables, values)
    return animals, others


def _check_readings(
    checked: CheckedTable, values: Values, animals: Animals, as_of: np.datetime64
) -> None:
    kinds, code = _of_animals(values["animal"], animals, "species", "")
    check_plausible(checked, values, lambda rows: kinds[code[rows]])
    nothing = checked.usable
    for quantity in READING_QUANTITIES:
        # Most rows have a systolic pressure, and no other column need be looked at.
        if nothing.any():
            nothing &= values.which(quantity, np.isnan) & (values[f"{quantity}_bound"] == 0)
    if nothing.any():
        nothing &= is_text(values["excluded"], "")
    checked.report(nothing, "", Code.NO_READING, Outcome.ROW)
    values["future"] = report_future(checked, values.packed("date"), "taken_at", as_of)
    shared = at_one_time(values)
    values["duplicate"] = check_readings_twice(checked, values, shared)
    report_contradictions(checked, values, shared)
    values["condition"] = _conditions(checked, values)


def _conditions(checked: CheckedTable, values: Values) -> pa.Array:
    """Return the condition of each reading, "" where setting or state cannot be used."""
    settings, of_setting = distinct(values["setting"])
    states, of_state = distinct(values["state"])
    words = [condition_of(setting, state) for setting in settings for state in states]
    code = of_setting
    if len(states) > 1:
        code = of_setting * np.int32(len(states)) + of_state
    unusable = checked.broken.copy()
    for name in ("setting", "state"):
        if checked.given(name):
            unusable |= is_text(values[name], "") & ~checked.blank(name)
    if unusable.any():
        code = np.where(unusable, np.int32(len(words)), code)
    return of_texts([*words, ""], code)


def _check_treatments(checked: CheckedTable, values: Values, as_of: np.datetime64) -> None:
    started, stopped = values["started_on"], values["stopped_on"]
    checked.report(
        stopped < started,
        "stopped_on",
        Code.STOP_BEFORE_START,
        Outcome.ROW,
        started_on=_day(started),
    )
    values["future"] = report_future(checked, started, "started_on", as_of)
    later = (stopped > as_of) & ~values["future"]
    checked.report(later, "stopped_on", Code.FUTURE_STOP, written=WRITTEN, as_of=str(as_of))
    values["stopped_on"] = np.where(later, NAT, stopped)
    _report_overlaps(checked, values)


def _report_overlaps(checked: CheckedTable, values: Values) -> None:
    """Report which rows of one drug start while an earlier one still runs, or start together."""
    usable = np.flatnonzero(checked.usable)
    if len(usable) == 0:
        return
    animal = distinct(values["animal"])[1][usable].astype(np.int64)
    texts, code = distinct(values["drug"])
    same: dict[str, int] = {}
    drug = np.array([same.setdefault(text.casefold(), len(same)) for text in texts])[code[usable]]
    start, stop = (
        values[name][usable].astype("datetime64[ns]") for name in ("started_on", "stopped_on")
    )
    # By start within each animal's drug, those without one last.
    order = np.lexsort((usable, start, np.isnat(start), drug, animal))
    series = animal[order] * len(same) + drug[order]
    first = np.diff(series, prepend=-1) != 0
    rows, start, stop = usable[order], start[order], stop[order]
    together = ~first & (start == np.roll(start, 1))
    running = start.astype(np.int64) < _latest_before(np.cumsum(first), stop)
    overlap = ~first & ~np.isnat(start) & running & ~together
    checked.report(np.sort(rows[together]), "started_on", Code.STARTS_TOGETHER)
    checked.report(np.sort(rows[overlap]), "started_on", Code.RUNS_ON)


def _latest_before(group: NDArray[np.int64], stop: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return the latest stop of all earlier rows of a row's group (n,), in nanoseconds.

    A blank stop ends at the next start. Of the first row of a group it says nothing.
    """
    # NaT is the least of all whole numbers.
    times, rank = np.unique(stop.astype(np.int64), return_inverse=True)
    behind = group * len(times)
    latest = np.maximum.accumulate(rank + behind) - behind
    return np.roll(times[latest], 1)


def _check_life(checked: CheckedTable, values: Values, column: str, animals: Animals) -> None:
    """Report which rows are dated before the animal was born or after it left; they are kept."""
    heading = "taken_at" if column == "date" else column
    date = values[column]
    usable = checked.usable
    born = _of_animal(values["animal"], animals, "birth_date", NAT)
    left = _of_animal(values["animal"], animals, "left_on", NAT)
    early, late = usable & (date < born), usable & (date > left)
    checked.report(early, heading, Code.BEFORE_BIRTH, day=_day(born))
    if column != "started_on":
        checked.report(late, heading, Code.AFTER_LEAVING, day=_day(left))


def _not_left(readings: CheckedTable, values: Values, animals: Animals) -> None:
    """Take animals for not having left that were measured after the day on which they did.

    One of the two dates is wrong, and what is urgent of an animal that left is told nowhere.
    """
    left = _of_animal(values["animal"], animals, "left_on", NAT)
    late = readings.usable & (values["date"] > left)
    if late.any():
        met = values["animal"].filter(arrow_of(late)).unique().to_pylist()
        animals.columns["left_on"][animals.rows_of(met)] = NAT


def _day(dates: NDArray[np.datetime64]) -> OfRow:
    return OfRow(lambda row: str(dates[row].astype("datetime64[D]")))


def _of_animal(cells: pa.Array, animals: Animals, column: str, missing: object) -> NDArray[Any]:
    """Return each row's (n,) value of a column of the animals table."""
    each, code = _of_animals(cells, animals, column, missing)
    return each[code]


def _of_animals(
    cells: pa.Array, animals: Animals, column: str, missing: object
) -> tuple[NDArray[Any], NDArray[np.integer]]:
    """Return a value of the animals table for each different id (m,), and each row's id (n,)."""
    texts, code = distinct(cells)
    found = animals[column]
    return np.append(found, np.array([missing], dtype=found.dtype))[animals.rows_of(texts)], code
