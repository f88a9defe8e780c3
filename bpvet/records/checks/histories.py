"""What the tables say together and may be a slip: suspected, said, and never put right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from bpvet.facts.drugs import drug, near_drugs, purpose_overrides
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfCell
from bpvet.records.finding_codes import Code
from bpvet.records.parsing.columns import distinct
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
    alike = np.array([text in near for text in texts], dtype=bool)
    checked.report(
        alike[code],
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
    frame = pd.DataFrame({"birth": values["birth_date"]})
    for name in ("animal", "name", "species"):
        texts, code = distinct(values[name])
        frame[name] = np.array(texts, dtype=object)[code] if texts else ""
    frame["row"] = np.arange(len(frame))
    known = (frame["name"] != "") & (frame["species"] != "") & frame["birth"].notna()
    frame = frame[known & (frame["animal"] != "")]
    frame["name"] = frame["name"].str.casefold()
    first = frame.groupby(["name", "species", "birth"])["animal"].transform("first")
    again = frame[first != frame["animal"]]
    same = dict(zip(again["animal"], first[again.index], strict=True))
    checked.report(
        again["row"].to_numpy(dtype=np.int64),
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
    frame = pd.DataFrame(
        {
            "animal": distinct(values["animal"])[1][rows],
            "method": distinct(values["method"])[1][rows],
            "day": values["date"][rows],
            "label": label_code[rows],
            "time": values["taken_at"][rows],
            "row": rows,
        }
    )
    of_day = ["animal", "method", "day"]
    spans = frame.groupby([*of_day, "label"], sort=False).agg(
        start=("time", "min"), end=("time", "max"), row=("row", "min")
    )
    spans = spans.reset_index().sort_values([*of_day, "start", "row"], kind="stable")
    ends = spans.groupby(of_day)["end"].cummax()
    before = ends.groupby([spans[name] for name in of_day]).shift()
    late = spans[spans["start"] < before]
    rows = np.sort(late["row"].to_numpy(dtype=np.int64))
    checked.report(rows, "session", Code.SESSIONS_OVERLAP, written=WRITTEN)
