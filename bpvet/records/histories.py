"""What the tables say together and may be a slip: suspected, said, and never put right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from bpvet.facts.drugs import drug, near_drugs
from bpvet.records.columns import distinct
from bpvet.records.findings import shown
from bpvet.records.ledger import Ledger
from bpvet.records.suggest import either
from bpvet.records.values import Values

#: Unknown drugs that are compared with the known ones; a file may hold a million of them.
_MOST_COMPARED = 2000


def say_histories(ledgers: Mapping[str, Ledger], values: Mapping[str, Values]) -> None:
    """Say which drugs, animals and sessions look like a slip; all are kept as they stand.

    Parameters
    ----------
    ledgers : mapping of str to Ledger
        All five tables.
    values : mapping of str to dict
        Their values after all other checks.
    """
    _say_nearly_known_drugs(ledgers["treatments"], values["treatments"])
    _say_same_animals(ledgers["animals"], values["animals"])
    _say_overlapping_sessions(ledgers["readings"], values["readings"])


def _say_nearly_known_drugs(ledger: Ledger, values: Values) -> None:
    """Say which drugs are not known, but are spelled nearly as one that is."""
    texts, code = distinct(values["drug"])
    unknown = [text for text in texts if text and drug(text) is None][:_MOST_COMPARED]
    near = {text: found for text in unknown if (found := near_drugs(text))}
    alike = np.array([text in near for text in texts], dtype=bool)
    if not alike.any():
        return
    ledger.say(
        alike[code],
        "drug",
        lambda v: (
            f"{shown(v.strip())} is not a drug known here, but is spelled nearly as "
            f"{either(near[v.strip()])}. It is kept as it is written, as an unknown drug."
        ),
        "If that is what is meant, write it so.",
        "drug spelled nearly so",
    )


def _say_same_animals(ledger: Ledger, values: Values) -> None:
    """Say which animals of different ids have one name, one species and one birth date."""
    if ledger.n == 0:
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
    ledger.say(
        again["row"].to_numpy(dtype=np.int64),
        "animal",
        lambda v: (
            f"{shown(v.strip())} has the name, the species and the birth date of "
            f"{shown(other[v.strip()])}. They are kept as two animals."
        ),
        "If they are one animal, write its id in one way.",
        "one animal under two ids?",
    )


def _say_overlapping_sessions(ledger: Ledger, values: Values) -> None:
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
    ledger.say(
        np.sort(late["row"].to_numpy(dtype=np.int64)),
        "session",
        lambda v: (
            f"The session {shown(v.strip())} begins before an earlier one of that animal, day and "
            "method has ended. Both are kept."
        ),
        "Correct the label or the times, if these readings belong together.",
        "overlapping sessions",
    )
