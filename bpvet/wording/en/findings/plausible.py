"""The numbers of the readings: what cannot be, what is seldom, and in which unit they stand."""

from __future__ import annotations

from bpvet.facts.protocol import CEILING, MEAN_FRACTION, MMHG_PER_KPA, PULSE_DISAGREES
from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import CHECK_THE_CHART, LEAVE_OUT
from bpvet.wording.en.findings.settled import IN_KPA, for_one_file
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.WHICH_UNIT: Words("systolic: in which unit is the column?", ""),
        Code.GAUGES_CEILING: Words(
            f"{CEILING} is the ceiling of many gauges; the true value may be higher. It is kept.",
            f'If the gauge could show no more, write "> {CEILING}".',
        ),
        Code.NO_SIZE: Words("A size is above 0.", "Correct it."),
    }
)

_QUANTITIES = {
    "systolic": "systolic pressure in mmHg",
    "diastolic": "diastolic pressure in mmHg",
    "mean": "mean pressure in mmHg",
    "heart_rate": "heart rate per minute",
    "counted_pulse": "pulse per minute",
}


@WORDS.of(Code.MMHG_AS_KPA)
def _mmhg_as_kpa(rows: int, median: float, in_file: str) -> Words:
    line = for_one_file(in_file, 'unit = "mmHg"')
    return Words(
        f"Half of the {rows} values, read as kPa, are {median:.0f} mmHg or more. All {rows} rows "
        "are set aside.",
        "They are in mmHg, it seems: leave --unit kPa out. If other files are in kPa, say so of "
        f"this one, {line}.",
    )


@WORDS.of(Code.NOT_IN_MMHG)
def _not_in_mmhg(rows: int, median: float) -> Words:
    return Words(
        f"Half of the {rows} values are {median:g} or lower, so they are not in mmHg. All {rows} "
        "rows are set aside.",
        f"If the file is in kPa, say so: {IN_KPA}. {median:g} kPa is then read as "
        f"{median * MMHG_PER_KPA:.0f} mmHg.",
    )


def _written(written: str, in_mmhg: float | None) -> str:
    """Return the cell, in mmHg too where the file is in kPa."""
    return f"{shown(written)} kPa ({in_mmhg:.0f} mmHg)" if in_mmhg is not None else shown(written)


@WORDS.of(Code.UNUSUAL_READING)
def _unusual(
    written: str, in_mmhg: float | None, quantity: str, usual: tuple[float, float]
) -> Words:
    return Words(
        f"{_written(written, in_mmhg)} is unusual for a {_QUANTITIES[quantity]}: outside "
        f"{usual[0]:g} to {usual[1]:g}. It is kept.",
        CHECK_THE_CHART,
    )


@WORDS.of(Code.IMPOSSIBLE_READING)
def _impossible(
    written: str,
    in_mmhg: float | None,
    quantity: str,
    number: float,
    possible: tuple[float, float],
    usual: tuple[float, float],
) -> Words:
    low, high = possible
    limit = f"below {low:g}" if number < low else f"above {high:g}"
    return Words(
        f"{_written(written, in_mmhg)} cannot be a {_QUANTITIES[quantity]}: {limit}.",
        _slip(quantity, number, possible, usual),
    )


def _slip(
    quantity: str, number: float, possible: tuple[float, float], usual: tuple[float, float]
) -> str:
    """Return what an impossible value may have been meant for, as a question."""
    low, high = possible
    pressure = quantity in ("systolic", "diastolic", "mean")
    if number == 0 and pressure:
        return 'If no sound was heard, write "no sound"; otherwise correct it.'
    if pressure and number < low and low <= number * MMHG_PER_KPA <= high:
        return f"Is it in kPa? {number:g} kPa is {number * MMHG_PER_KPA:.0f} mmHg. {LEAVE_OUT}"
    if number > high and usual[0] <= number / 10 <= usual[1]:
        return f"A digit too many, or a lost decimal mark ({number / 10:g})? {LEAVE_OUT}"
    return f"Typing error? {LEAVE_OUT}"


@WORDS.of(Code.NOT_BELOW_SYSTOLIC)
def _not_below_systolic(diastolic: float, systolic: float) -> Words:
    return Words(
        f"The diastolic pressure {diastolic:g} is not below the systolic {systolic:g}.",
        f"Were the two entered the wrong way round? {LEAVE_OUT}",
    )


@WORDS.of(Code.PULSE_PRESSURE)
def _pulse_pressure(apart: float, usual: tuple[float, float]) -> Words:
    return Words(
        f"Systolic and diastolic are {apart:g} mmHg apart; {usual[0]:g} to {usual[1]:g} is usual. "
        "Both are kept.",
        CHECK_THE_CHART,
    )


@WORDS.of(Code.MEAN_NOT_BETWEEN)
def _mean_not_between(mean: float, diastolic: float, systolic: float) -> Words:
    return Words(
        f"The mean pressure {mean:g} does not lie between the diastolic {diastolic:g} and the "
        f"systolic {systolic:g}: one of the three is wrong.",
        f"Compare the three with the instrument's record. {LEAVE_OUT}",
    )


@WORDS.of(Code.UNUSUAL_MEAN)
def _unusual_mean(fraction: float) -> Words:
    low, high = MEAN_FRACTION
    return Words(
        f"The mean pressure lies {100 * fraction:.0f} % of the way from diastolic to systolic; "
        f"{100 * low:.0f} to {100 * high:.0f} % is usual. It is kept.",
        CHECK_THE_CHART,
    )


@WORDS.of(Code.PULSE_DISAGREES)
def _pulse_disagrees(rate: float, counted: float) -> Words:
    return Words(
        f"The instrument's heart rate {rate:g} and the counted pulse {counted:g} are more than "
        f"{100 * PULSE_DISAGREES:.0f} % apart; the reading may be wrong. It is kept.",
        CHECK_THE_CHART,
    )


@WORDS.of(Code.CUFF_TOO_WIDE)
def _cuff_too_wide(times: float) -> Words:
    return Words(
        f"The cuff is more than {times:g} times as wide as the limb is round.",
        "Are both in cm, and the right way round?",
    )


@WORDS.of(Code.CUFF_SIZE)
def _cuff_size(ratio: float, usual: tuple[float, float]) -> Words:
    return Words(
        f"The cuff's width is {100 * ratio:.0f} % of the limb's circumference; "
        f"{100 * usual[0]:.0f} to {100 * usual[1]:.0f} % is advised. The session is kept.",
        CHECK_THE_CHART,
    )
