"""What the tables say together and may be a slip: suspected, said, and never put right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.drugs import drug, near_drugs, purpose_overrides
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfCell
from bpvet.records.finding_codes import Code
from bpvet.records.parsing.columns import distinct, uncoded
from bpvet.records.parsing.values import Values

#: Unknown drugs that are compared with the known ones; a file may hold a million of them.
_MOST_COMPARED = 2000


def report_histories(tables: Mapping[str, CheckedTable], values: Mapping[str, Values]) -> None:
    """Report which drugs, animals and sessions look like a slip; all are kept as they stand.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        All tables.
    values : mapping of str to dict
        Their values after all other checks.
    """
    _report_drugs_off_the_list(tables["treatments"], values["treatments"])
    _report_same_animals(tables["animals"], values["animals"])
    _report_overlapping_sessions(tables["readings"], values["readings"])


def _report_drugs_off_the_list(checked: CheckedTable, values: Values) -> None:
    """Ask about drugs that are not known: by row where spelled nearly as one, else once a name."""
    texts, code = distinct(values["drug"])
    unknown = dict.fromkeys(text for text in texts if text and drug(text) is None)
    if not unknown:
        return
    near = {text: found for text in list(unknown)[:_MOST_COMPARED] if (found := near_drugs(text))}
    is_near = np.array([text in near for text in texts], dtype=bool)
    checked.report(
        is_near[code],
        "drug",
        Code.DRUG_NEARLY,
        written=WRITTEN,
        near=OfCell(lambda v: tuple(near[v.strip()])),
    )
    purposes, of_purpose = distinct(values["purpose"])
    silent = np.array([purpose_overrides(text) is None for text in purposes], dtype=bool)
    strange = np.array([text in unknown and text not in near for text in texts], dtype=bool)
    rows = np.flatnonzero(strange[code] & silent[of_purpose] & checked.usable)
    _, first = np.unique(code[rows], return_index=True)
    checked.report(np.sort(rows[first]), "drug", Code.DRUG_OFF_THE_LIST, written=WRITTEN)


def _report_same_animals(checked: CheckedTable, values: Values) -> None:
    """Report which animals of different ids have one name, one species and one birth date."""
    if checked.n == 0:
        return
    names, species, animals = (
        uncoded(values[name]).to_pylist() for name in ("name", "species", "animal")
    )
    named = [text.casefold() for text in names if text]
    if len(set(named)) == len(named):
        return
    births = values["birth_date"]
    known = zip(names, species, animals, births.tolist(), np.isnat(births).tolist(), strict=True)
    first: dict[tuple[str, str, int], str] = {}
    same: dict[str, str] = {}
    again = []
    for row, (name, kind, animal, birth, unborn) in enumerate(known):
        if not (name and kind and animal) or unborn:
            continue
        met = first.setdefault((name.casefold(), kind, birth), animal)
        if met != animal:
            same[animal] = met
            again.append(row)
    checked.report(
        np.array(again, dtype=np.int64),
        "animal",
        Code.SAME_ANIMAL,
        written=WRITTEN,
        other=OfCell(lambda v: same[v.strip()]),
    )


def _report_overlapping_sessions(checked: CheckedTable, values: Values) -> None:
    """Report which labelled sessions begin while another of that animal, day and method runs."""
    label, label_code = distinct(values["session"])
    if not any(label):
        return
    timed = values["timed"] & ~np.isnat(values["taken_at"])
    labelled = np.array([text != "" for text in label], dtype=bool)
    rows = np.flatnonzero(timed & labelled[label_code])
    if len(rows) == 0:
        return
    of_day = (
        distinct(values["animal"])[1][rows],
        distinct(values["method"])[1][rows],
        values["date"][rows].astype(np.int64),
    )
    time = values["taken_at"][rows].astype(np.int64)
    late = _begun_meanwhile(of_day, label_code[rows], time)
    checked.report(np.sort(rows[late]), "session", Code.SESSIONS_OVERLAP, written=WRITTEN)


def _begun_meanwhile(
    of_day: tuple[NDArray[np.integer], ...], label: NDArray[np.integer], time: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return the first reading of each session that begins before one of its day has ended.

    Parameters
    ----------
    of_day : tuple of (n,) int
        What sessions of one animal, day and method have in common.
    label, time : (n,) int
        Which of them each reading is of, and when it was taken.
    """
    # By their ranks: of nanoseconds the days below would soon be more than a number can count.
    time = np.unique(time, return_inverse=True)[1]
    order = np.lexsort((time, label, *of_day))
    begin = _changes(order, *of_day, label)
    start, end = time[order[begin]], time[order[np.append(begin[1:], len(order)) - 1]]
    first = np.minimum.reduceat(order, begin)
    # Sessions of one day by their start; of those that start together, as they stand.
    by_start = np.lexsort((first, start, *(code[first] for code in of_day)))
    start, end, first = start[by_start], end[by_start], first[by_start]
    day = np.zeros(len(first), dtype=np.int64)
    day[_changes(first, *of_day)[1:]] = 1
    # The latest end so far, of this day alone: each day is put behind all times of the one before.
    behind = np.cumsum(day) * len(time)
    latest = np.maximum.accumulate(end + behind) - behind
    late = (start[1:] < latest[:-1]) & (day[1:] == 0)
    return np.asarray(first[1:][late])


def _changes(order: NDArray[np.int64], *codes: NDArray[np.integer]) -> NDArray[np.int64]:
    """Return where in an order (n,), from its beginning on, another combination of codes begins."""
    differs = np.ones(len(order), dtype=bool)
    differs[1:] = np.logical_or.reduce([np.diff(code[order]) != 0 for code in codes])
    return np.flatnonzero(differs)
