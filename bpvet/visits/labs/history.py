"""One animal's laboratory values and weights as dated facts: as given, and in one unit to compare.

What an event needs of them stands in `bpvet.visits.labs.events` and
`bpvet.visits.labs.kidney_reaction`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.labs import factor, unit_as_given
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records

_DIGITS = 9


@dataclass(frozen=True)
class LabValue:
    """One value as the laboratory gave it.

    Parameters
    ----------
    analyte : str
        As in the records, ours spelled our way.
    date : datetime64[D]
        Day of sampling.
    value : float
        As given, in `unit`; the bound's number where it is a bound.
    unit : str
        As `facts.labs.unit_as_given` spells it.
    bound : str
        "", ``at least`` (written as "> x") or ``at most`` ("< x").
    modelled : float or None
        In the unit that values of this analyte are compared in; None where the analyte or the unit
        is not known here.
    file, line : str, int
        Where it stands.
    """

    analyte: str
    date: np.datetime64
    value: float
    unit: str
    bound: str = ""
    modelled: float | None = None
    file: str = ""
    line: int = 0

    def age(self, as_of: np.datetime64) -> int:
        """Return how many days old it is."""
        return days_between(self.date, as_of)

    @property
    def floor(self) -> float | None:
        """The least that it can be, in the unit of comparison; None where that is not known."""
        return None if self.bound == "at most" else self.modelled

    @property
    def ceiling(self) -> float | None:
        """The most that it can be, in the unit of comparison; None where that is not known."""
        return None if self.bound == "at least" else self.modelled


@dataclass(frozen=True)
class LabHistory:
    """All usable dated values of one animal, by analyte, each in order of date.

    Two values of one day that disagree are both there: what looks at them takes the one that asks
    for more care.
    """

    animal: str
    species: str = ""
    analytes: Mapping[str, tuple[LabValue, ...]] = field(default_factory=dict)
    _by_day: dict[tuple[str, str], tuple[tuple[LabValue, ...], ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def of(self, analyte: str, as_of: np.datetime64 | None = None) -> tuple[LabValue, ...]:
        """Return the values of an analyte that are known in the unit of comparison, by date.

        Parameters
        ----------
        analyte : str
            As in the records.
        as_of : datetime64[D], optional
            Later values are left out.
        """
        return tuple(
            value
            for value in self.analytes.get(analyte, ())
            if value.modelled is not None and (as_of is None or value.date <= as_of)
        )

    def days(
        self, analyte: str, as_of: np.datetime64 | None = None
    ) -> tuple[tuple[LabValue, ...], ...]:
        """Return the same values a day at a time, the newest day first."""
        if analyte not in self.analytes:
            return ()
        # Each event asks for the same days.
        key = analyte, str(as_of)
        if key not in self._by_day:
            found: dict[np.datetime64, list[LabValue]] = {}
            for value in self.of(analyte, as_of):
                found.setdefault(value.date, []).append(value)
            days = sorted(found, reverse=True)
            self._by_day[key] = tuple(tuple(found[date]) for date in days)
        return self._by_day[key]

    def newest(self, analyte: str, as_of: np.datetime64) -> np.datetime64 | None:
        """Return the day of the newest value of an analyte, in whatever unit; None without one."""
        values = reversed(self.analytes.get(analyte, ()))
        return next((value.date for value in values if value.date <= as_of), None)

    def unread(self) -> tuple[LabValue, ...]:
        """Return the values whose analyte or unit is not known here: shown, never judged."""
        return tuple(
            value for values in self.analytes.values() for value in values if value.modelled is None
        )


def lab_history(records: Records, animal: str) -> LabHistory:
    """Return one animal's usable values.

    Parameters
    ----------
    records : Records
        Rows set aside, and rows dated after its `as_of`, are left out.
    animal : str
        The animal's id.

    Returns
    -------
    LabHistory
        Empty where the animal has no usable row.
    """
    species = records.rows_of("animals", animal)["species"].tolist()
    kind = str(species[0]) if species else ""
    gathered = _gathered(_usable(records.rows_of("labs", animal), records.as_of))
    return _history(animal, kind, gathered.get(animal, {}))


def all_lab_histories(records: Records) -> dict[str, LabHistory]:
    """Return the values of every animal that has any, in one pass; ids in order."""
    animals = records.animals
    species = dict(zip(animals["animal"], animals["species"], strict=True))
    gathered = _gathered(_usable(records.labs, records.as_of))
    return {
        animal: _history(animal, str(species.get(animal, "")), gathered[animal])
        for animal in sorted(gathered)
    }


def days_between(first: np.datetime64, second: np.datetime64) -> int:
    """Return how many days the second date lies after the first."""
    # Python's own dates: the arithmetic of single NumPy dates takes five times as long.
    begin: Any = first.item()
    end: Any = second.item()
    return int((end - begin).days)


def change(first: LabValue, second: LabValue) -> Change:
    """Return the change from one value to another, in the unit of the second."""
    assert first.modelled is not None
    assert second.modelled is not None
    same = first.unit == second.unit
    # A value of 0 tells nothing of its unit: the factor does.
    scale = 1 / (factor(second.analyte, second.unit) or 1.0)
    before = first.value if same else first.modelled * scale
    share = np.inf if before == 0 else 100 * (second.value / before - 1)
    if before == second.value == 0:
        share = 0.0
    return Change(
        absolute=round(second.value - before, _DIGITS),
        percent=round(float(share), _DIGITS),
        unit=second.unit,
        days=days_between(first.date, second.date),
        converted=not same,
        at_least=bool(first.bound or second.bound),
    )


@dataclass(frozen=True)
class Change:
    """How one value stands to an earlier one.

    Parameters
    ----------
    absolute : float
        In `unit`, that of the later value; rounded to nine decimals, so that 1.9 − 1.6 is 0.3.
    percent : float
        Of the earlier value; infinite from 0.
    unit : str
        As given.
    days : int
        Between the two.
    converted : bool
        Whether the earlier value was given in another unit, and was converted.
    at_least : bool
        Whether either is a bound: the rise is then as large as this or larger.
    """

    absolute: float
    percent: float
    unit: str
    days: int
    converted: bool
    at_least: bool


def _usable(rows: pd.DataFrame, as_of: np.datetime64) -> pd.DataFrame:
    day = rows["sampled_on"].to_numpy(dtype="datetime64[D]")
    kept = cells_are(rows, "set_aside", "") & rows["value"].notna().to_numpy()
    # A blank date compares as false.
    rows = rows[kept & (day <= as_of)]
    return rows.sort_values("sampled_on", kind="stable")


#: Values of one animal by analyte, being gathered.
_Gathered = dict[str, list[LabValue]]


def _gathered(rows: pd.DataFrame) -> dict[str, _Gathered]:
    """Return the values of usable rows by animal, then by analyte, in the order of the rows."""
    found: dict[str, _Gathered] = {}
    known: dict[tuple[str, str], tuple[float | None, str]] = {}
    columns = ("animal", "analyte", "value", "unit", "value_bound", "file", "line")
    dates = rows["sampled_on"].to_numpy(dtype="datetime64[D]")
    for date, animal, analyte, value, unit, bound, file, line in zip(
        dates, *(rows[name].tolist() for name in columns), strict=True
    ):
        if (analyte, unit) not in known:
            known[analyte, unit] = factor(analyte, unit), unit_as_given(analyte, unit)
        scale, printed = known[analyte, unit]
        lab_value = LabValue(
            analyte=analyte,
            date=date,
            value=value,
            unit=printed,
            bound=bound,
            modelled=None if scale is None else value * scale,
            file=file,
            line=line,
        )
        found.setdefault(animal, {}).setdefault(analyte, []).append(lab_value)
    return found


def _history(animal: str, species: str, gathered: _Gathered) -> LabHistory:
    fixed = {analyte: tuple(values) for analyte, values in gathered.items()}
    return LabHistory(animal, species, MappingProxyType(fixed))
