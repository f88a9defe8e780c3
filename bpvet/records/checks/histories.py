"""What the tables say together and may be a slip: suspected, said, and never put right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from bpvet.facts.drugs import drug, near_drugs, purpose_overrides
from bpvet.records.checked_table import CheckedTable
from bpvet.records.findings import shown
from bpvet.records.headings.near_names import either
from bpvet.records.parsing.columns import distinct
from bpvet.records.parsing.values import Values

#: Unknown drugs that are compared with the known ones; a file may hold a million of them.
_MOST_COMPARED = 2000


def say_histories(tables: Mapping[str, CheckedTable], values: Mapping[str, Values]) -> None:
    """Say which drugs, animals and sessions look like a slip; all are kept as they stand.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        All tables.
    values : mapping of str to dict
        Their values after all other checks.
    """
    _say_drugs_off_the_list(tables["treatments"], values["treatments"])
    _say_same_animals(tables["animals"], values["animals"])
    _say_overlapping_sessions(tables["readings"], values["readings"])


def off_the_list(written: str) -> tuple[str, str, str]:
    """Return reason, mend and kind of the finding about a drug that is not on the list."""
    return (
        f"{shown(written)} is not on the drug list and is not taken as a pressure drug; if it "
        "is one, write purpose = blood pressure.",
        'Write its generic name, or the purpose: "blood pressure", or "not for pressure".',
        "drug off the list",
    )


def _say_drugs_off_the_list(checked: CheckedTable, values: Values) -> None:
    """Ask about drugs that are not known: by row where spelled nearly as one, else once a name."""
    texts, code = distinct(values["drug"])
    unknown = {text: place for place, text in enumerate(texts) if text and drug(text) is None}
    if not unknown:
        return
    near = {text: found for text in list(unknown)[:_MOST_COMPARED] if (found := near_drugs(text))}
    alike = np.array([text in near for text in texts], dtype=bool)
    checked.say(
        alike[code],
        "drug",
        lambda v: (
            f"{shown(v.strip())} is not a drug known here, but is spelled nearly as "
            f"{either(near[v.strip()])}. It is kept as it is written, and is not taken as a "
            "pressure drug unless its purpose names blood pressure."
        ),
        "If that is what is meant, write it so.",
        "drug spelled nearly so",
    )
    purposes, of_purpose = distinct(values["purpose"])
    silent = np.array([purpose_overrides(text) is None for text in purposes], dtype=bool)
    strange = np.array([text in unknown and text not in near for text in texts], dtype=bool)
    rows = np.flatnonzero(strange[code] & silent[of_purpose] & checked.usable)
    _, first = np.unique(code[rows], return_index=True)
    checked.say(
        np.sort(rows[first]),
        "drug",
        lambda v: off_the_list(v.strip())[0],
        *off_the_list("")[1:],
    )


def _say_same_animals(checked: CheckedTable, values: Values) -> None:
    """Say which animals of different ids have one name, one species and one birth date."""
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
    other = dict(zip(again["animal"], first[again.index], strict=True))
    checked.say(
        again["row"].to_numpy(dtype=np.int64),
        "animal",
        lambda v: (
            f"{shown(v.strip())} has the name, the species and the birth date of "
            f"{shown(other[v.strip()])}. They are kept as two animals."
        ),
        "If they are one animal, write its id in one way.",
        "one animal under two ids?",
    )


def _say_overlapping_sessions(checked: CheckedTable, values: Values) -> None:
    """Say which labelled sessions begin while another of that animal, day and method runs."""
    label, label_code = distinct(values["session"])
    timed = values["timed"] & ~np.isnat(values["taken_at"])
    labelled = np.array([text != "" for text in label], dtype=bool)
    rows = np.flatnonzero(timed & labelled[label_code]) if len(label) else np.zeros(0, np.int64)
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
    checked.say(
        np.sort(late["row"].to_numpy(dtype=np.int64)),
        "session",
        lambda v: (
            f"The session {shown(v.strip())} begins before an earlier one of that animal, day and "
            "method has ended. Both are kept."
        ),
        "Correct the label or the times, if these readings belong together.",
        "overlapping sessions",
    )
