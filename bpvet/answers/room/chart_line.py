"""The line for the chart: one plain line that holds a session, made to be read back.

The format is this project's own, and stable:

    [WHEN ][animal "ID" ]HEAD (METHOD, [CONDITION, ]COUNT[, SD n]; READINGS)

- ``WHEN`` is an ISO date, or date and time: ``2026-03-01`` or ``2026-03-01T10:15``.
- ``ID`` stands in quotation marks; one within it is doubled.
- ``HEAD`` names each quantity with its mean of the used readings: ``Systolic 161 mmHg``,
  ``Systolic at least 232 mmHg``, ``Systolic: no number``, or, by an oscillometric instrument,
  ``Systolic 152, diastolic 91, mean 111 mmHg, heart rate 182 /min``. At most one decimal.
- ``METHOD`` is ``Doppler`` or ``oscillometric``; ``CONDITION`` is the contract's word, left out
  for ``clinic``.
- ``COUNT`` is ``mean of 3 of 4 readings``: used, and taken.
- ``READINGS`` are all that were taken, in order, with commas between: ``158``, ``> 300``,
  ``< 40`` or ``no sound``; of an oscillometric instrument ``systolic/diastolic/mean/rate``,
  shorter where the end was not given. After it may stand ``left out`` (by the rule) or
  ``excluded`` with the reason in quotation marks, one within it doubled.

The readings come last and are complete, so that whoever reads the line back need not trust the
mean.
"""

from __future__ import annotations

from bpvet.answers.room.result import ReadingFate, Spread
from bpvet.facts.words import METHOD_WORDS, Bound, Fate

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_SIGNS: dict[str, str] = {Bound.AT_LEAST: "> ", Bound.AT_MOST: "< "}


def chart_line(
    readings: Sequence[ReadingFate],
    spreads: Mapping[str, Spread],
    method: str,
    condition: str = "clinic",
    animal: str = "",
    taken_at: str = "",
) -> str:
    """Return the line for the chart, in the format that this file states.

    Parameters
    ----------
    readings : sequence of ReadingFate
        All readings, in order of taking.
    spreads : mapping of str to Spread
        What the used ones come to, by quantity; ``systolic`` at least.
    method, condition : str
        As in the records.
    animal, taken_at : str
        Its id and the ISO date or date and time; may be blank.
    """
    before = [taken_at] if taken_at else []
    before += [f"animal {quoted(animal)}"] if animal else []
    systolic = spreads["systolic"]
    facts = [METHOD_WORDS[method]]
    facts += [condition] if condition != "clinic" else []
    facts += [f"mean of {systolic.n} of {len(readings)} reading{'s' * (len(readings) != 1)}"]
    facts += [f"SD {short(systolic.sd)}"] if systolic.sd is not None else []
    taken = ", ".join(_reading(reading) for reading in readings)
    return " ".join([*before, f"{_head(spreads)} ({', '.join(facts)}; {taken})"])


def quoted(text: str) -> str:
    """Return text in quotation marks, those within doubled.

    Examples
    --------
    >>> print(quoted('the "big" cat'))
    "the ""big"" cat"
    """
    return '"' + text.replace('"', '""') + '"'


def short(value: float) -> str:
    """Return a number with at most one decimal, and none where it is whole.

    Examples
    --------
    >>> short(161.0), short(161.25), short(3.61)
    ('161', '161.2', '3.6')
    """
    return f"{value:.1f}".removesuffix(".0")


def _head(spreads: Mapping[str, Spread]) -> str:
    systolic = spreads["systolic"]
    if systolic.mean is None:
        return "Systolic: no number"
    bound = f"{systolic.bound} " if systolic.bound else ""
    pressures = [f"Systolic {bound}{short(systolic.mean)}"]
    for name in ("diastolic", "mean"):
        if name in spreads and (value := spreads[name].mean) is not None:
            pressures.append(f"{name} {short(value)}")
    head = f"{', '.join(pressures)} mmHg"
    if "heart_rate" in spreads and (rate := spreads["heart_rate"].mean) is not None:
        head += f", heart rate {short(rate)} /min"
    return head


def _reading(reading: ReadingFate) -> str:
    """Return one reading as it was taken, with its fate unless it is used."""
    if reading.systolic is None:
        text = "no sound"
    else:
        companions = (reading.diastolic, reading.mean, reading.heart_rate)
        parts = [f"{_SIGNS.get(reading.bound, '')}{_exact(reading.systolic)}"]
        parts += ["" if value is None else _exact(value) for value in companions]
        text = "/".join(parts).rstrip("/")
    if reading.fate == Fate.LEFT_OUT:
        return f"{text} left out"
    if reading.fate == Fate.EXCLUDED:
        return f"{text} excluded {quoted(reading.reason)}"
    return text


def _exact(value: float) -> str:
    """Return a reading with the digits that it was given with."""
    return f"{value:.10g}"
