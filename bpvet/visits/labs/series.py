"""One animal's laboratory values or weights as a series on the log scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.labs import factor, known_units
from bpvet.facts.words import LAB_METHOD, LAB_QUANTITIES, QUANTITY_WORDS, UNITS
from bpvet.reasons import reason
from bpvet.records.parsing.frames import cells_are
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
    if not usable.date.size:
        units = ", ".join(known_units(quantity))
        others = dict.fromkeys(why for _, why in left_out(records, animal, quantity))
        unmodelled = reason("labs.no_trend", why="; ".join(others)) if others else ""
        raise CallError(
            f"{animal} has no usable value of {QUANTITY_WORDS[quantity]}; it is read in {units}."
            f"{unmodelled}"
        )
    row = records.rows_by_animal.get(animal)
    species = "" if row is None else row.species
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
        usable = _usable(records, quantity)
        of_animal = pd.Series(usable.animal).groupby(usable.animal).indices
        for name in sorted(map(str, of_animal)):
            rows = of_animal[name]
            given = treatments[name].courses if name in treatments else ()
            values = _Usable(usable.animal[rows], usable.date[rows], usable.logarithm[rows])
            found.append(_series(name, species.get(name, ""), quantity, values, given))
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


def _species(records: Records) -> dict[str, str]:
    return dict(zip(records.animals["animal"], records.animals["species"], strict=True))


class _Usable(NamedTuple):
    """Values that can be used: whose (n,), dates, and logarithms in the modelled unit."""

    animal: np.ndarray
    date: NDArray[np.datetime64]
    logarithm: NDArray[np.float64]


def _usable(records: Records, quantity: str, animal: str | None = None) -> _Usable:
    """Return the values that can be used, in the order of the rows.

    What is left out is told by `left_out`.
    """
    rows = records.rows_of("labs", animal)
    usable = cells_are(rows, "analyte", quantity) & cells_are(rows, "set_aside", "")
    usable &= cells_are(rows, "value_bound", "")
    # A blank date, and a blank value, compare as false.
    date, value = rows["sampled_on"].to_numpy(dtype="datetime64[D]"), rows["value"].to_numpy(float)
    keep = np.flatnonzero(usable & (date <= records.as_of) & (value > 0))
    units = rows["unit"].to_numpy(dtype=object)[keep].tolist()
    factors = {unit: factor(quantity, str(unit)) for unit in dict.fromkeys(units)}
    scale = np.array([factors[unit] or np.nan for unit in units], dtype=np.float64)
    known = np.isfinite(scale)
    keep, scale = keep[known], scale[known]
    names = rows["animal"].to_numpy(dtype=object)[keep]
    return _Usable(names, date[keep], np.log(value[keep] * scale))


def _series(
    animal: str, species: str, quantity: str, values: _Usable, given: tuple[Course, ...]
) -> Series:
    order = np.argsort(values.date, kind="stable")
    count = order.size
    y = values.logarithm[order]
    arrays = {
        "date": values.date[order],
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
