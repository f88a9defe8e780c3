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
    MMHG_PER_KPA,
    PULSE_DISAGREES,
    Limits,
    limits,
)
from bpvet.facts.words import SPECIES
from bpvet.records.checked_table import CheckedTable, Rows
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.findings import shown
from bpvet.records.headings.settled import IN_KPA, for_one_file
from bpvet.records.parsing.codes import as_one
from bpvet.records.parsing.columns import distinct
from bpvet.records.parsing.numbers import BOUND_WORDS, NO_SOUND
from bpvet.records.parsing.values import LEAVE_OUT, PRESSURES, Mask, Values

#: Quantities that are judged one by one, and the words for each.
JUDGED = {
    "systolic": "systolic pressure in mmHg",
    "diastolic": "diastolic pressure in mmHg",
    "mean": "mean pressure in mmHg",
    "heart_rate": "heart rate per minute",
    "counted_pulse": "pulse per minute",
}
#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15
#: Fewer systolic values than this do not show in which unit a file is.
ENOUGH_FOR_UNIT = 3
KEPT = "Check it against the chart; nothing to do if it is right."


#: The kind of a finding that a column is in another unit than is thought.
NOT_IN_MMHG = "not in mmHg"
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


def _plain(values: Values, quantity: str) -> Mask:
    """Return which rows (n,) have a number that is not a bound."""
    plain: Mask = ~np.isnan(values[quantity])
    if f"{quantity}_bound" in values:
        plain &= values[f"{quantity}_bound"] == 0
    return plain


def _refuse_unit(checked: CheckedTable, values: Values) -> Mask:
    """Refuse the systolic column of a file that is in another unit; return its rows (n,)."""
    systolic = values["systolic"]
    refused = np.zeros(checked.n, dtype=bool)
    highest = limits("systolic", "").aside_high
    in_kpa = np.array([unit == "kPa" for unit in checked.units], dtype=bool)
    many = _by_file(checked, ~np.isnan(systolic))
    high, low = (
        _by_file(checked, mask) if some else np.zeros_like(many)
        for mask, some in (
            (systolic > highest, in_kpa.any()),
            (systolic < KPA_MEDIAN_BELOW, not in_kpa.all()),
        )
    )
    odd = np.where(in_kpa, high, low)
    doubted = (many >= ENOUGH_FOR_UNIT) & (2 * odd >= many)
    for file in np.flatnonzero(doubted).tolist():
        stated = in_kpa[file]
        rows = np.flatnonzero(~np.isnan(systolic) & (checked.file == file))
        median = float(np.median(systolic[rows]))
        if stated and median > highest:
            reason = f"Half of the {len(rows)} values, read as kPa, are {median:.0f} mmHg or more."
            line = for_one_file(checked.files[file], 'unit = "mmHg"')
            mend = (
                "They are in mmHg, it seems: leave --unit kPa out. If other files are in kPa, say "
                f"so of this one, {line}."
            )
        elif not stated and median < KPA_MEDIAN_BELOW:
            reason = (
                f"Half of the {len(rows)} values are {median:g} or lower, so they are not in mmHg."
            )
            mend = (
                f"If the file is in kPa, say so: {IN_KPA}. "
                f"{median:g} kPa is then read as {median * MMHG_PER_KPA:.0f} mmHg."
            )
        else:
            continue
        reason += f" All {len(rows)} rows are set aside."
        checked.say_of_file(file, "systolic", reason, mend, NOT_IN_MMHG, True, int(rows[0]))
        checked.put_aside(rows, "systolic: in which unit is the column?")
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
    value = values[quantity]
    what = JUDGED[quantity]
    of_species = {kind: limits(quantity, kind) for kind in ("", *SPECIES)}
    # Nearly all values are usual for every species, and are looked at no further.
    usual_from = max(bounds.note_low for bounds in of_species.values())
    usual_to = min(bounds.note_high for bounds in of_species.values())
    rows = _outside(value, usual_from, usual_to, CEILING)
    if len(rows):
        rows = rows[~refused[rows]]
    if len(rows) == 0:
        return
    few, kinds, plain = value[rows], species(rows), _plain(values, quantity)[rows]
    # Limits that are the same for all species are laid on all rows at once.
    same = all(bounds == of_species[SPECIES[0]] for bounds in of_species.values())
    gone = np.zeros(len(rows), dtype=bool)
    for kind, bounds in list(of_species.items())[: 1 if same else None]:
        mine = np.ones(len(rows), dtype=bool) if same else kinds == kind
        below, above = mine & (few < bounds.aside_low), mine & (few > bounds.aside_high)
        _set_aside(checked, rows[below], rows[above], quantity, value, what, bounds)
        gone |= below | above
        unusual = mine & ~gone & plain
        ceiling = unusual & (few == CEILING) & (quantity == "systolic")
        unusual &= ~ceiling & ((few < bounds.note_low) | (few > bounds.note_high))
        checked.say(
            rows[unusual],
            quantity,
            _worded(
                checked,
                quantity,
                value,
                f"is unusual for a {what}: "
                f"outside {bounds.note_low:g} to {bounds.note_high:g}. It is kept.",
            ),
            KEPT,
            "unusual value",
        )
        checked.say(
            rows[ceiling],
            quantity,
            f"{CEILING} is the ceiling of many gauges; the true value may be higher. It is kept.",
            f'If the gauge could show no more, write "> {CEILING}".',
            "gauge's ceiling",
        )
    if gone.any():
        values[quantity] = _without(value, rows[gone], np.nan)
        if f"{quantity}_bound" in values:
            left = _without(values[f"{quantity}_bound"], rows[gone], 0)
            if quantity == "systolic":
                # Set aside, and yet a reading without a sound to whoever asks what is urgent.
                left[rows[gone & (few < limits(quantity, "").aside_low)]] = (
                    BOUND_WORDS.tolist().index(NO_SOUND)
                )
            values[f"{quantity}_bound"] = left


def _outside(
    value: NDArray[np.float64], low: float, high: float, exactly: float
) -> NDArray[np.int64]:
    """Return the rows whose number lies outside of two limits, or is a certain one."""
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
    below: NDArray[np.int64],
    above: NDArray[np.int64],
    quantity: str,
    value: NDArray[np.float64],
    what: str,
    bounds: Limits,
) -> None:
    low, high = bounds.aside_low, bounds.aside_high
    for rows, limit in ((below, f"below {low:g}"), (above, f"above {high:g}")):
        checked.say(
            rows,
            quantity,
            _worded(checked, quantity, value, f"cannot be a {what}: {limit}."),
            OfRow(lambda row: _slip(quantity, float(value[row]), bounds)),
            "impossible value",
            "row" if quantity == "systolic" else "cell",
        )


def _worded(
    checked: CheckedTable, quantity: str, value: NDArray[np.float64], words: str
) -> Callable[[str], str] | OfRow:
    """Return what is said of cells: the cell, in mmHg too where the file is in kPa, and words."""
    if quantity not in PRESSURES or "kPa" not in checked.units:
        return lambda cell: f"{shown(cell.strip())} {words}"
    texts, converted = checked.cells(quantity), checked.in_kilopascal()

    def made(row: int) -> str:
        also = f" kPa ({value[row]:.0f} mmHg)" if converted[row] else ""
        return f"{shown(texts[row].as_py())}{also} {words}"

    return OfRow(made)


def _slip(quantity: str, value: float, bounds: Limits) -> str:
    """Return what an impossible value may have been meant for, as a question."""
    low, high = bounds.aside_low, bounds.aside_high
    pressure = quantity in ("systolic", "diastolic", "mean")
    if value == 0 and pressure:
        return 'If no sound was heard, write "no sound"; otherwise correct it.'
    if pressure and value < low and low <= value * MMHG_PER_KPA <= high:
        return f"Is it in kPa? {value:g} kPa is {value * MMHG_PER_KPA:.0f} mmHg. {LEAVE_OUT}"
    if value > high and bounds.note_low <= value / 10 <= bounds.note_high:
        return f"A digit too many, or a lost decimal mark ({value / 10:g})? {LEAVE_OUT}"
    return f"Typing error? {LEAVE_OUT}"


def _judge_order(checked: CheckedTable, values: Values) -> None:
    """Hold diastolic and systolic of a reading against each other, then the mean against both."""
    if not checked.given("diastolic"):
        return
    systolic, diastolic = values["systolic"], values["diastolic"]
    both = _plain(values, "systolic") & _plain(values, "diastolic")
    pulse = systolic - diastolic
    if not both.any():
        return
    bounds = limits("pulse_pressure")
    reverse = both & (pulse <= bounds.aside_low)
    index = np.flatnonzero(reverse)
    checked.say(
        index,
        "diastolic",
        OfRow(
            lambda row: (
                f"The diastolic pressure {diastolic[row]:g} is not below the systolic "
                f"{systolic[row]:g}."
            )
        ),
        f"Were the two entered the wrong way round? {LEAVE_OUT}",
        "order of pressures",
        "row",
    )
    odd = both & ~reverse & ((pulse < bounds.note_low) | (pulse > bounds.note_high))
    _note(
        checked,
        odd,
        "diastolic",
        lambda row: (
            f"Systolic and diastolic are {pulse[row]:g} mmHg apart; {bounds.note_low:g} to "
            f"{bounds.note_high:g} is usual. Both are kept."
        ),
        "unusual pulse pressure",
    )
    _judge_mean(checked, values, both & ~reverse & _plain(values, "mean"))


def _judge_mean(checked: CheckedTable, values: Values, full: Mask) -> None:
    """Set aside a mean that is not between its pressures; note one that is near either end.

    Which of the three is the slip cannot be told; systolic and diastolic are in order, so they
    are kept.
    """
    systolic, diastolic, mean = (values[q] for q in ("systolic", "diastolic", "mean"))
    rows = np.flatnonzero(full)
    low_end = diastolic[rows]
    fraction = (mean[rows] - low_end) / (systolic[rows] - low_end)
    outside = (fraction <= 0) | (fraction >= 1)
    index = rows[outside]
    checked.say(
        index,
        "mean",
        OfRow(
            lambda row: (
                f"The mean pressure {mean[row]:g} does not lie between the diastolic "
                f"{diastolic[row]:g} and the systolic {systolic[row]:g}: one of the three is "
                "wrong."
            )
        ),
        f"Compare the three with the instrument's record. {LEAVE_OUT}",
        "order of pressures",
        "cell",
    )
    if len(index):
        values["mean"] = _without(mean, index, np.nan)
    low, high = MEAN_FRACTION
    odd = ~outside & ((fraction < low) | (fraction > high))
    of_odd, rows = fraction[odd], rows[odd]
    _note(
        checked,
        rows,
        "mean",
        lambda row: (
            f"The mean pressure lies {100 * of_odd[np.searchsorted(rows, row)]:.0f} % of the way "
            f"from diastolic to systolic; {100 * low:.0f} to {100 * high:.0f} % is usual. It is "
            "kept."
        ),
        "unusual mean",
    )


def _note(
    checked: CheckedTable, rows: Rows, column: str, reason: Callable[[int], str], kind: str
) -> None:
    checked.say(rows, column, OfRow(reason), KEPT, kind)


def _compare_pulse(checked: CheckedTable, values: Values) -> None:
    if not checked.given("counted_pulse"):
        return
    rate, counted = values["heart_rate"], values["counted_pulse"]
    both = _plain(values, "heart_rate") & ~np.isnan(counted)
    apart = both & (np.abs(rate - counted) > PULSE_DISAGREES * counted)
    _note(
        checked,
        apart,
        "heart_rate",
        lambda row: (
            f"The instrument's heart rate {rate[row]:g} and the counted pulse {counted[row]:g} "
            f"are more than {100 * PULSE_DISAGREES:.0f} % apart; the reading may be wrong. It is "
            "kept."
        ),
        "pulse disagrees",
    )


def _judge_cuff(checked: CheckedTable, values: Values, species: SpeciesOf) -> None:
    """Hold the cuff's width against the limb; where that cannot be, both are set aside."""
    if not any(map(checked.given, ("cuff_width_cm", "limb_circumference_cm"))):
        return
    for name in ("cuff_width_cm", "limb_circumference_cm"):
        nothing = values[name] <= 0
        checked.say(nothing, name, "A size is above 0.", "Correct it.", "impossible value", "cell")
        values[name] = np.where(nothing, np.nan, values[name])
    ratio = values["cuff_width_cm"] / values["limb_circumference_cm"]
    kinds = species(np.arange(checked.n))
    for kind in ("", *SPECIES):
        bounds = limits("cuff_ratio", kind)
        mine = ~np.isnan(ratio) & (kinds == kind)
        aside = mine & (ratio > bounds.aside_high)
        for name in ("cuff_width_cm", "limb_circumference_cm"):
            checked.say(
                aside,
                name,
                f"The cuff is more than {bounds.aside_high:g} times as wide as the limb is round.",
                "Are both in cm, and the right way round?",
                "impossible value",
                "cell",
            )
            values[name] = np.where(aside, np.nan, values[name])
        odd = mine & ~aside & ~bounds.usual(ratio)
        _note(
            checked,
            _first_of_sessions(values, odd),
            "cuff_width_cm",
            lambda row, bounds=bounds: (  # type: ignore[misc]
                f"The cuff's width is {100 * ratio[row]:.0f} % of the limb's circumference; "
                f"{100 * bounds.note_low:.0f} to {100 * bounds.note_high:.0f} % is advised. "
                "The session is kept."
            ),
            "cuff size",
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
