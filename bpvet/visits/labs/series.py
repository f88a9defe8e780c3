"""One animal's laboratory values or weights as a series on the log scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

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

Days = NDArray[np.datetime64]
Numbers = NDArray[np.float64]


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
    days, logarithms, _ = _usable(records, quantity, animal)
    if not len(days):
        units = ", ".join(known_units(quantity))
        others = dict.fromkeys(why for _, why in left_out(records, animal, quantity))
        unmodelled = reason("labs.no_trend", why="; ".join(others)) if others else ""
        raise CallError(
            f"{animal} has no usable value of {QUANTITY_WORDS[quantity]}; it is read in {units}."
            f"{unmodelled}"
        )
    species = _species(records).get(animal, "")
    given = courses(records, animal).courses
    return _series(animal, species, quantity, days, logarithms, given)


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
        days, logarithms, animals = _usable(records, quantity)
        rows_of: dict[str, list[int]] = {}
        for row, animal in enumerate(animals.tolist()):
            rows_of.setdefault(animal, []).append(row)
        for animal in sorted(rows_of):
            some = rows_of[animal]
            given = treatments[animal].courses if animal in treatments else ()
            kind = species.get(animal, "")
            found.append(_series(animal, kind, quantity, days[some], logarithms[some], given))
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
    animals = records.columns("animals")
    return dict(zip(animals["animal"], animals["species"], strict=True))


def _usable(
    records: Records, quantity: str, animal: str | None = None
) -> tuple[Days, Numbers, NDArray[np.object_]]:
    """Return the days (n,) of the values that can be used, their logarithms, and whose they are.

    The logarithms are of the values in the modelled unit. What is left out is told by `left_out`.
    """
    rows = records.columns("labs", animal)
    usable = rows.is_text("analyte", quantity) & rows.is_text("set_aside", "")
    # A blank date, and a blank value, compare as false.
    usable &= rows.is_text("value_bound", "") & (rows["value"] > 0)
    rows = rows.take(usable & (rows.days("sampled_on") <= records.as_of))
    units, unit = rows.different("unit")
    scale = np.array([factor(quantity, text) or np.nan for text in units], dtype=np.float64)[unit]
    rows, scale = rows.take(np.isfinite(scale)), scale[np.isfinite(scale)]
    return rows.days("sampled_on"), np.log(rows["value"] * scale), rows["animal"]


def _series(
    animal: str,
    species: str,
    quantity: str,
    days: Days,
    logarithms: Numbers,
    given: tuple[Course, ...],
) -> Series:
    order = np.argsort(days, kind="stable")
    count = order.size
    y = logarithms[order]
    arrays = {
        "date": days[order],
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
