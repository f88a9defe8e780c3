"""What cannot be, and what is seldom: the limits of each quantity, and quantities against another.

A value that cannot be is set aside; one that is seldom is kept and noted. Nothing is corrected.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.protocol import (
    CEILING,
    KPA_MEDIAN_BELOW,
    MEAN_FRACTION,
    PULSE_DISAGREES,
    Limits,
    limits,
)
from bpvet.facts.words import SPECIES
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Outcome, finding_of
from bpvet.records.parsing.codes import as_one
from bpvet.records.parsing.columns import distinct, each
from bpvet.records.parsing.packed import PackedNumbers
from bpvet.records.parsing.values import PRESSURES, Mask, Values

#: Quantities that are judged one by one.
JUDGED = ("systolic", "diastolic", "mean", "heart_rate", "counted_pulse")
#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15
#: Fewer systolic values than this do not show in which unit a file is.
ENOUGH_FOR_UNIT = 3
#: A column of numbers, whole or packed.
Number = NDArray[np.float64] | PackedNumbers
#: Returns the species of the animals of some rows.
SpeciesOf = Callable[[NDArray[np.int64]], NDArray[np.object_]]


def check_plausible(checked: CheckedTable, values: Values, species: SpeciesOf) -> None:
    """Judge the readings' numbers; those set aside become NaN in `values`.

    Parameters
    ----------
    checked : CheckedTable
        The readings' cells.
    values : dict
        Their values, as `bpvet.records.parsing.values.parse` gives them.
    species : function of rows
        The species of each row's animal, "" where it is not known.
    """
    refused = _refuse_unit(checked, values)
    for quantity in JUDGED:
        _judge(checked, values, quantity, species, refused)
    _judge_order(checked, values)
    _compare_pulse(checked, values)
    _judge_cuff(checked, values, species)


def _plain(values: Values, quantity: str, some: slice | NDArray[np.int64] = slice(None)) -> Mask:
    """Return which of some rows have a number that is not a bound."""
    plain: Mask = ~np.isnan(values.at(quantity, some))
    if f"{quantity}_bound" in values:
        plain &= values[f"{quantity}_bound"][some] == 0
    return plain


def _refuse_unit(checked: CheckedTable, values: Values) -> Mask:
    """Refuse the systolic column of a file that is in another unit; return its rows (n,)."""
    refused = np.zeros(checked.n, dtype=bool)
    highest = limits("systolic", "").aside_high
    in_kpa = np.array([unit == "kPa" for unit in checked.units], dtype=bool)
    many = _by_file(checked, ~values.which("systolic", np.isnan))
    high, low = (
        _by_file(checked, values.which("systolic", test)) if some else np.zeros_like(many)
        for test, some in (
            (lambda number: number > highest, in_kpa.any()),
            (lambda number: number < KPA_MEDIAN_BELOW, not in_kpa.all()),
        )
    )
    odd = np.where(in_kpa, high, low)
    doubted = (many >= ENOUGH_FOR_UNIT) & (2 * odd >= many)
    if not doubted.any():
        return refused
    systolic = values["systolic"]
    for file in np.flatnonzero(doubted).tolist():
        stated = in_kpa[file]
        rows = np.flatnonzero(~np.isnan(systolic) & (checked.file == file))
        median = float(np.median(systolic[rows]))
        first, counts = int(rows[0]), {"rows": len(rows), "median": median}
        if stated and median > highest:
            name = checked.files[file]
            checked.report_file(
                file, "systolic", Code.MMHG_AS_KPA, first, stops=True, **counts, in_file=name
            )
        elif not stated and median < KPA_MEDIAN_BELOW:
            checked.report_file(file, "systolic", Code.NOT_IN_MMHG, first, stops=True, **counts)
        else:
            continue
        checked.put_aside(rows, finding_of(Code.WHICH_UNIT, checked.files[file]))
        refused[rows] = True
    if refused.any():
        values["systolic"] = np.where(refused, np.nan, systolic)
        values["systolic_bound"] = np.where(refused, 0, values["systolic_bound"]).astype(np.int8)
    return refused


def _by_file(checked: CheckedTable, mask: Mask) -> NDArray[np.int64]:
    """Return how many rows of each file are in a mask (n,)."""
    if len(checked.files) == 1:
        return np.array([np.count_nonzero(mask)])
    return np.bincount(checked.file[mask], minlength=len(checked.files))


def _judge(
    checked: CheckedTable, values: Values, quantity: str, species: SpeciesOf, refused: Mask
) -> None:
    """Set aside what no animal has, and note what few have."""
    packed = values.packed(quantity)
    of_species = {kind: limits(quantity, kind) for kind in ("", *SPECIES)}
    # Nearly all values are usual for every species, and are looked at no further.
    usual_from = max(bounds.note_low for bounds in of_species.values())
    usual_to = min(bounds.note_high for bounds in of_species.values())
    rows = _outside(packed, usual_from, usual_to, CEILING)
    if len(rows):
        rows = rows[~refused[rows]]
    if len(rows) == 0:
        return
    few, kinds = values.at(quantity, rows), species(rows)
    plain = _plain(values, quantity, rows)
    # Limits that are the same for all species are laid on all rows at once.
    same = all(bounds == of_species[SPECIES[0]] for bounds in of_species.values())
    gone = np.zeros(len(rows), dtype=bool)
    for kind, bounds in list(of_species.items())[: 1 if same else None]:
        mine = np.ones(len(rows), dtype=bool) if same else kinds == kind
        below, above = mine & (few < bounds.aside_low), mine & (few > bounds.aside_high)
        for some in (rows[below], rows[above]):
            _set_aside(checked, some, quantity, packed, bounds)
        gone |= below | above
        unusual = mine & ~gone & plain
        ceiling = unusual & (few == CEILING) & (quantity == "systolic")
        unusual &= ~ceiling & ((few < bounds.note_low) | (few > bounds.note_high))
        checked.report(
            rows[unusual],
            quantity,
            Code.UNUSUAL_READING,
            **_written(checked, quantity, packed),
            quantity=quantity,
            usual=_usual(bounds),
        )
        checked.report(rows[ceiling], quantity, Code.GAUGES_CEILING)
    if gone.any():
        values[quantity] = _without(values[quantity], rows[gone], np.nan)
        if f"{quantity}_bound" in values:
            values[f"{quantity}_bound"] = _without(values[f"{quantity}_bound"], rows[gone], 0)
        if quantity == "systolic":
            # Set aside, and yet a reading without a sound to whoever asks what is urgent.
            low = rows[gone & (few < limits(quantity, "").aside_low)]
            values["below_gauge"] = _without(values["below_gauge"], low, True)


def _outside(value: Number, low: float, high: float, exactly: float) -> NDArray[np.int64]:
    """Return the rows whose number lies outside of two limits, or is a certain one."""
    if isinstance(value, PackedNumbers):
        few = np.zeros(len(value.few), dtype=bool)
        few[_outside(value.few, low, high, exactly)] = True
        rows = np.flatnonzero(each(few, value.code)) if few.any() else np.zeros(0, dtype=np.int64)
        if not len(value.rows):
            return rows
        others = value.rows[_outside(value.aside, low, high, exactly)]
        return np.union1d(np.setdiff1d(rows, value.rows, assume_unique=True), others)
    found = [np.zeros(0, dtype=np.int64)]
    for at in range(0, len(value), _ROWS):
        some = value[at : at + _ROWS]
        found.append(at + np.flatnonzero((some < low) | (some > high) | (some == exactly)))
    return np.concatenate(found)


def _without(column: NDArray[Any], rows: NDArray[np.int64], nothing: float) -> NDArray[Any]:
    """Return a column (n,) with nothing in some rows; what was said of it keeps the old one."""
    left = column.copy()
    left[rows] = nothing
    return left


def _set_aside(
    checked: CheckedTable,
    rows: NDArray[np.int64],
    quantity: str,
    value: Number,
    bounds: Limits,
) -> None:
    checked.report(
        rows,
        quantity,
        Code.IMPOSSIBLE_READING,
        Outcome.ROW if quantity == "systolic" else Outcome.CELL,
        **_written(checked, quantity, value),
        quantity=quantity,
        number=OfRow(lambda row: float(value[row])),
        possible=(bounds.aside_low, bounds.aside_high),
        usual=_usual(bounds),
    )


def _usual(bounds: Limits) -> tuple[float, float]:
    return bounds.note_low, bounds.note_high


def _written(checked: CheckedTable, quantity: str, value: Number) -> dict[str, Any]:
    """Return what a cell is worded from: itself, and in mmHg where its file is in kPa."""
    if quantity not in PRESSURES or "kPa" not in checked.units:
        return {"written": WRITTEN, "in_mmhg": None}
    texts, converted = checked.cells(quantity), checked.in_kilopascal()
    return {
        "written": OfRow(lambda row: texts[row].as_py()),
        "in_mmhg": OfRow(lambda row: float(value[row]) if converted[row] else None),
    }


def _judge_order(checked: CheckedTable, values: Values) -> None:
    """Hold diastolic and systolic of a reading against each other, then the mean against both.

    Where the mean does not lie between them, which of the three is the slip cannot be told;
    systolic and diastolic are in order, so they are kept and the mean is set aside.
    """
    if not checked.given("diastolic"):
        return
    found: dict[str, list[NDArray[Any]]] = {name: [] for name in _ORDERS}
    for start in range(0, checked.n, _ROWS):
        for name, rows in _orders(values, slice(start, start + _ROWS)).items():
            found[name].append(rows)
    reverse, pulse, outside, odd, fraction = (
        np.concatenate([np.zeros(0, np.int64), *found[name]]) for name in _ORDERS
    )
    # What is said of a row holds the columns as they are now.
    high, low = (values.packed(name) for name in ("systolic", "diastolic"))
    numbers = {name: _number(values, name) for name in ("diastolic", "systolic")}
    checked.report(reverse, "diastolic", Code.NOT_BELOW_SYSTOLIC, Outcome.ROW, **numbers)
    apart = OfRow(lambda row: float(high[row]) - float(low[row]))
    usual = _usual(limits("pulse_pressure"))
    checked.report(pulse, "diastolic", Code.PULSE_PRESSURE, apart=apart, usual=usual)
    of_mean = {"mean": _number(values, "mean"), **numbers}
    checked.report(outside, "mean", Code.MEAN_NOT_BETWEEN, Outcome.CELL, **of_mean)
    if len(outside):
        values["mean"] = _without(values["mean"], outside, np.nan)
    near_end = OfRow(lambda row: float(fraction[np.searchsorted(odd, row)]))
    checked.report(odd, "mean", Code.UNUSUAL_MEAN, fraction=near_end)


#: Rows whose pressures stand in the wrong order, are unusually far apart, have their mean outside
#: of them, or near either end, and how near that is.
_ORDERS = ("reverse", "pulse", "outside", "odd", "fraction")


def _orders(values: Values, some: slice) -> dict[str, NDArray[Any]]:
    """Return the rows of a slice that `_ORDERS` tells of, each (k,)."""
    high, low, mean = (values.at(name, some) for name in ("systolic", "diastolic", "mean"))
    plain, plain_low, plain_mean = (
        values[f"{name}_bound"][some] == 0 for name in ("systolic", "diastolic", "mean")
    )
    # What is no number is neither above nor below anything.
    pulse, bounds = high - low, limits("pulse_pressure")
    plain &= plain_low
    reverse = plain & (pulse <= bounds.aside_low)
    plain &= ~reverse
    odd_pulse = plain & ((pulse < bounds.note_low) | (pulse > bounds.note_high))
    plain &= plain_mean
    with np.errstate(divide="ignore", invalid="ignore"):
        fraction = (mean - low) / pulse
    outside = plain & ((fraction <= 0) | (fraction >= 1))
    odd = plain & ~outside & ((fraction < MEAN_FRACTION[0]) | (fraction > MEAN_FRACTION[1]))
    found = [np.flatnonzero(mask) for mask in (reverse, odd_pulse, outside, odd)]
    placed = [at_rows + some.start for at_rows in found]
    return dict(zip(_ORDERS, (*placed, fraction[odd]), strict=True))


def _number(values: Values, name: str) -> OfRow:
    """Return what a column says of a row now: what it is changed to later is another column."""
    column = values.packed(name)
    return OfRow(lambda row: float(column[row]))


def _compare_pulse(checked: CheckedTable, values: Values) -> None:
    if not checked.given("counted_pulse"):
        return
    rate, counted = values["heart_rate"], values["counted_pulse"]
    both = _plain(values, "heart_rate") & ~np.isnan(counted)
    apart = both & (np.abs(rate - counted) > PULSE_DISAGREES * counted)
    checked.report(
        apart,
        "heart_rate",
        Code.PULSE_DISAGREES,
        rate=_number(values, "heart_rate"),
        counted=_number(values, "counted_pulse"),
    )


def _judge_cuff(checked: CheckedTable, values: Values, species: SpeciesOf) -> None:
    """Hold the cuff's width against the limb; where that cannot be, both are set aside."""
    if not any(map(checked.given, ("cuff_width_cm", "limb_circumference_cm"))):
        return
    for name in ("cuff_width_cm", "limb_circumference_cm"):
        nothing = values[name] <= 0
        checked.report(nothing, name, Code.NO_SIZE, Outcome.CELL)
        values[name] = np.where(nothing, np.nan, values[name])
    ratio = values["cuff_width_cm"] / values["limb_circumference_cm"]
    kinds = species(np.arange(checked.n))
    for kind in ("", *SPECIES):
        bounds = limits("cuff_ratio", kind)
        mine = ~np.isnan(ratio) & (kinds == kind)
        aside = mine & (ratio > bounds.aside_high)
        for name in ("cuff_width_cm", "limb_circumference_cm"):
            checked.report(aside, name, Code.CUFF_TOO_WIDE, Outcome.CELL, times=bounds.aside_high)
            values[name] = np.where(aside, np.nan, values[name])
        odd = mine & ~aside & ~bounds.usual(ratio)
        checked.report(
            _first_of_sessions(values, odd),
            "cuff_width_cm",
            Code.CUFF_SIZE,
            ratio=OfRow(lambda row: float(ratio[row])),
            usual=_usual(bounds),
        )


def _first_of_sessions(values: Values, rows: Mask) -> Mask:
    """Return of some rows (n,) the first of each animal, day, method and session."""
    index = np.flatnonzero(rows)
    first = np.zeros(len(rows), dtype=bool)
    if len(index):
        day = values["date"].astype(np.int64)[index]
        texts = (distinct(values[name])[1][index] for name in ("animal", "method", "session"))
        _, at = np.unique(as_one((*texts, day), len(index)), return_index=True)
        first[index[at]] = True
    return first
