"""One animal's laboratory values or weights as a series on the log scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.labs import factor, known_units
from bpvet.facts.words import LAB_METHOD, LAB_QUANTITIES, QUANTITY_WORDS, UNITS
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.labs.history import LabValue, lab_history
from bpvet.visits.series import Series
from bpvet.visits.treatments.courses import Course, Treatments, courses

#: A single value has no reading noise of its own: it stands for so many readings that none is left.
_WHOLE = 1e12


def lab_series(records: Records, animal: str, quantity: str) -> Series:
    """Return one animal's values of one analyte, as logarithms in the modelled unit.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id.
    quantity : str
        One of `bpvet.facts.words.LAB_QUANTITIES`.

    Returns
    -------
    Series
        `y` is the logarithm of the value; method ``laboratory``, no condition, no first visit.

    Raises
    ------
    CallError
        For an unknown quantity, or where no value is left: the message says which units are
        read.
    """
    if quantity not in LAB_QUANTITIES:
        known = ", ".join(LAB_QUANTITIES)
        raise CallError(f'"{quantity}" is not a laboratory quantity; there are {known}.')
    usable = _usable(records, quantity, animal)
    if usable.empty:
        units = ", ".join(known_units(quantity))
        others = dict.fromkeys(why for _, why in left_out(records, animal, quantity))
        unmodelled = reason("labs.no_trend", why="; ".join(others)) if others else ""
        raise CallError(
            f"{animal} has no usable value of {QUANTITY_WORDS[quantity]}; it is read in {units}."
            f"{unmodelled}"
        )
    species = _species(records, animal).get(animal, "")
    return _series(animal, species, quantity, usable, courses(records, animal).courses)


def all_lab_series(
    records: Records, quantities: Iterable[str], treatments: Mapping[str, Treatments]
) -> list[Series]:
    """Return the series of every animal that has usable values, animals in order of their ids.

    Parameters
    ----------
    records : Records
    quantities : iterable of str
        From `bpvet.facts.words.LAB_QUANTITIES`.
    treatments : mapping
        As from `bpvet.visits.treatments.courses.all_courses`.
    """
    species = _species(records)
    found = []
    for quantity in quantities:
        for animal, rows in _usable(records, quantity).groupby("animal", sort=True):
            name = str(animal)
            given = treatments[name].courses if name in treatments else ()
            found.append(_series(name, species.get(name, ""), quantity, rows, given))
    return found


def left_out(records: Records, animal: str, quantity: str) -> tuple[tuple[LabValue, str], ...]:
    """Return one animal's values that its series leaves out, by date, each with the reason.

    A bound is never taken as a number, 0 has no logarithm, and no unit is guessed.
    """
    found = []
    for lab_value in lab_history(records, animal).analytes.get(quantity, ()):
        if lab_value.bound:
            found.append((lab_value, reason("labs.bound")))
        elif lab_value.modelled is None:
            found.append((lab_value, reason("labs.unit", unit=lab_value.unit)))
        elif lab_value.value <= 0:
            found.append((lab_value, reason("labs.zero")))
    return tuple(found)


def _species(records: Records, animal: str | None = None) -> dict[str, str]:
    rows = records.rows_of("animals", animal)
    return dict(zip(rows["animal"], rows["species"], strict=True))


def _usable(records: Records, quantity: str, animal: str | None = None) -> pd.DataFrame:
    """Return the rows that can be used, with their `logarithm` in the modelled unit.

    What is left out is told by `left_out`.
    """
    rows = records.rows_of("labs", animal)
    usable = (rows["analyte"] == quantity) & (rows["set_aside"] == "") & (rows["value_bound"] == "")
    # A blank date, and a blank value, compare as false.
    dated = rows["sampled_on"].to_numpy(dtype="datetime64[D]") <= records.as_of
    rows = rows[usable.to_numpy(dtype=bool) & dated & rows["value"].gt(0).to_numpy(dtype=bool)]
    factors = {unit: factor(quantity, str(unit)) for unit in rows["unit"].unique()}
    scale = np.array([factors[unit] or np.nan for unit in rows["unit"]], dtype=np.float64)
    rows = rows.assign(logarithm=np.log(rows["value"].to_numpy(dtype=np.float64) * scale))
    return rows[np.isfinite(scale)]


def _series(
    animal: str, species: str, quantity: str, rows: pd.DataFrame, given: tuple[Course, ...]
) -> Series:
    date = rows["sampled_on"].to_numpy(dtype="datetime64[D]")
    order = np.argsort(date, kind="stable")
    count = order.size
    y = rows["logarithm"].to_numpy(dtype=np.float64)[order]
    arrays = {
        "date": date[order],
        "y": y,
        "ss": np.zeros(count),
        "k": np.full(count, _WHOLE),
        "scatter_known": np.zeros(count, dtype=bool),
        "bound": np.full(count, "", dtype="<U1"),
        "visit": np.full(count, -1, dtype=np.int64),
        "session": np.arange(1, count + 1),
        "methods": np.full(count, LAB_METHOD),
        "conditions": np.full(count, "", dtype="<U1"),
        "median": y.copy(),
        "tense": np.zeros(count, dtype=bool),
    }
    for array in arrays.values():
        array.setflags(write=False)
    return Series(
        animal=animal,
        species=species,
        method=LAB_METHOD,
        condition="",
        quantity=quantity,
        unit=UNITS[quantity],
        courses=given,
        **arrays,
    )
