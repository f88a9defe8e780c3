"""Rows against each other and against the date of this report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES, condition_of
from bpvet.records.animals import (
    animals_table,
    check_animals,
    met_animals,
    say_look_alikes,
    say_strangers,
    say_unlisted,
)
from bpvet.records.checks.duplicates import at_one_time, check_readings_twice, say_contradictions
from bpvet.records.checks.histories import say_histories
from bpvet.records.checks.labs import check_labs
from bpvet.records.checks.missed import check_missed, say_future
from bpvet.records.checks.plausible import check_plausible
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.checks.signs import UNKNOWN_STATUS, say_signs
from bpvet.records.findings import Finding, shown
from bpvet.records.ledger import Ledger
from bpvet.records.parsing.columns import TEXT, distinct, is_text, of_texts, uncoded
from bpvet.records.parsing.dates import NAT
from bpvet.records.parsing.values import Values


def check(
    ledgers: Mapping[str, Ledger], values: dict[str, Values], as_of: np.datetime64
) -> tuple[pd.DataFrame, list[Finding]]:
    """Check the tables; what cannot be used is set aside in the ledgers and blank in `values`.

    Parameters
    ----------
    ledgers : mapping of str to Ledger
        All tables.
    values : dict of str to dict
        Their values, as `bpvet.records.parsing.values.parse` gives them; altered in place.
    as_of : datetime64[D]
        Rows dated later are set aside.

    Returns
    -------
    DataFrame
        The animals, one row each.
    list of Finding
        Findings that belong to no table's ledger.
    """
    check_animals(ledgers["animals"], values["animals"], as_of)
    animals = animals_table(ledgers["animals"], values["animals"], met_animals(ledgers))
    _check_readings(ledgers["readings"], values["readings"], animals, as_of)
    _check_treatments(ledgers["treatments"], values["treatments"], as_of)
    check_labs(ledgers["labs"], values["labs"], animals)
    check_missed(ledgers, values, as_of)
    _check_statuses(ledgers["observations"], values["observations"])
    for table, date in (("labs", "sampled_on"), ("observations", "seen_on"), ("contacts", "date")):
        values[table]["future"] = say_future(ledgers[table], values[table][date], date, as_of)
    lives = not all(np.isnat(values["animals"][name]).all() for name in ("birth_date", "left_on"))
    for table, date in (
        ("readings", "date"),
        ("treatments", "started_on"),
        ("labs", "sampled_on"),
        ("observations", "seen_on"),
        ("missed", "from"),
    ):
        if lives and ledgers[table].n:
            _check_life(ledgers[table], values[table], date, animals)
    say_look_alikes(ledgers)
    others = say_unlisted(ledgers)
    listed = set(distinct(ledgers["animals"].cells("animal"))[0])
    measured = set(distinct(ledgers["readings"].cells("animal"))[0])
    say_strangers(ledgers, listed, measured)
    say_histories(ledgers, values)
    say_signs(ledgers, values)
    return animals, others


def _check_statuses(ledger: Ledger, values: Values) -> None:
    """Mark the signs whose status is no word known here; a blank one leaves it to the text."""
    unknown = is_text(values["status"], "") & ~ledger.blank("status")
    if unknown.any():
        status = pc.if_else(pa.array(unknown), UNKNOWN_STATUS, uncoded(values["status"]))
        values["status"] = status.cast(TEXT)


def _check_readings(
    ledger: Ledger, values: Values, animals: pd.DataFrame, as_of: np.datetime64
) -> None:
    kinds, code = _of_animals(values["animal"], animals, "species", "")
    check_plausible(ledger, values, lambda rows: kinds[code[rows]])
    nothing = ledger.usable
    for quantity in READING_QUANTITIES:
        # Most rows have a systolic pressure, and no other column need be looked at.
        if nothing.any():
            nothing &= np.isnan(values[quantity]) & (values[f"{quantity}_bound"] == 0)
    if nothing.any():
        nothing &= is_text(values["excluded"], "")
    ledger.say(
        nothing,
        "",
        "The row holds no usable reading.",
        'Fill in the pressure; if no sound was heard, write "no sound"; if the reading was given '
        'up, say why under "excluded".',
        "no reading",
        "row",
    )
    values["future"] = say_future(ledger, values["date"], "taken_at", as_of)
    shared = at_one_time(values)
    values["duplicate"] = check_readings_twice(ledger, values, shared)
    say_contradictions(ledger, values, shared)
    values["condition"] = _conditions(ledger, values)


def _conditions(ledger: Ledger, values: Values) -> pa.Array:
    """Return the condition of each reading, "" where setting or state cannot be used."""
    settings, of_setting = distinct(values["setting"])
    states, of_state = distinct(values["state"])
    words = [condition_of(setting, state) for setting in settings for state in states]
    code = of_setting
    if len(states) > 1:
        code = of_setting * np.int32(len(states)) + of_state
    unusable = ledger.broken.copy()
    for name in ("setting", "state"):
        if ledger.given(name):
            unusable |= is_text(values[name], "") & ~ledger.blank(name)
    if unusable.any():
        code = np.where(unusable, np.int32(len(words)), code)
    return of_texts([*words, ""], code)


def _check_treatments(ledger: Ledger, values: Values, as_of: np.datetime64) -> None:
    started, stopped = values["started_on"], values["stopped_on"]
    reverse = stopped < started
    ledger.say(
        reverse,
        "stopped_on",
        OfRow(
            lambda row: (
                "The treatment stopped before it started on "
                f"{started[row].astype('datetime64[D]')}."
            )
        ),
        "Correct one of the two dates.",
        "order of dates",
        "row",
    )
    values["future"] = say_future(ledger, started, "started_on", as_of)
    later = (stopped > as_of) & ~values["future"]
    ledger.say(
        later,
        "stopped_on",
        lambda value: f"{shown(value.strip())} is later than {as_of}: the treatment is ongoing.",
        "Nothing to do.",
        "future stop",
    )
    values["stopped_on"] = np.where(later, NAT, stopped)
    _say_overlaps(ledger, values)


def _say_overlaps(ledger: Ledger, values: Values) -> None:
    """Say which rows of one drug start while an earlier one still runs, or start together."""
    usable = np.flatnonzero(ledger.usable)
    if len(usable) == 0:
        return
    frame = pd.DataFrame(
        {
            "animal": uncoded(values["animal"]).to_numpy(zero_copy_only=False)[usable],
            "drug": [text.casefold() for text in values["drug"].take(usable).to_pylist()],
            "start": values["started_on"][usable],
            "stop": values["stopped_on"][usable],
            "row": usable,
        }
    ).sort_values(["animal", "drug", "start", "row"], kind="stable")
    groups = frame.groupby(["animal", "drug"], sort=False)
    before = groups["start"].shift()
    # The latest stop of all earlier rows; a blank stop ends at the next start.
    ends = frame["stop"].fillna(pd.Timestamp.min).groupby([frame["animal"], frame["drug"]]).cummax()
    ends = ends.groupby([frame["animal"], frame["drug"]]).shift()
    together = (before == frame["start"]).to_numpy()
    overlap = (frame["start"] < ends).to_numpy() & ~together
    rows = frame["row"].to_numpy(dtype=np.int64)
    ledger.say(
        np.sort(rows[together]),
        "started_on",
        "Another row of this drug starts on the same day. Both are kept and read as one.",
        "Keep one row for each start or change of dose.",
        "starts together",
    )
    ledger.say(
        np.sort(rows[overlap]),
        "started_on",
        "An earlier row of this drug runs on beyond this start. Both are kept.",
        "Let the earlier row stop on the day on which this one starts.",
        "overlapping treatment",
    )


def _check_life(ledger: Ledger, values: Values, column: str, animals: pd.DataFrame) -> None:
    """Say which rows are dated before the animal was born or after it left; they are kept."""
    heading = "taken_at" if column == "date" else column
    date = values[column]
    usable = ledger.usable
    born = _of_animal(values["animal"], animals, "birth_date", NAT)
    left = _of_animal(values["animal"], animals, "left_on", NAT)
    early, late = usable & (date < born), usable & (date > left)
    ledger.say(
        early,
        heading,
        OfRow(lambda row: _than("before", "was born", born[row])),
        "Correct this date or the birth date.",
        "before birth",
    )
    if column == "started_on":
        return
    ledger.say(
        late,
        heading,
        OfRow(lambda row: _than("after", "left", left[row])),
        "Correct this date or the day on which the animal left.",
        "after leaving",
    )


def _than(when: str, what: str, day: np.datetime64) -> str:
    return f"This is {when} the animal {what} ({day.astype('datetime64[D]')}). The row is kept."


def _of_animal(
    cells: pa.Array, animals: pd.DataFrame, column: str, missing: object
) -> NDArray[Any]:
    """Return each row's (n,) value of a column of the animals table."""
    each, code = _of_animals(cells, animals, column, missing)
    return each[code]


def _of_animals(
    cells: pa.Array, animals: pd.DataFrame, column: str, missing: object
) -> tuple[NDArray[Any], NDArray[np.integer]]:
    """Return a value of the animals table for each different id (m,), and each row's id (n,)."""
    texts, code = distinct(cells)
    place = pd.Index(animals["animal"]).get_indexer(pd.Index(texts, dtype=object))
    found = animals[column].to_numpy()
    return np.append(found, np.array([missing], dtype=found.dtype))[place], code
