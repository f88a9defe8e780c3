"""Laboratory histories made by hand: "2026-03-01 creatinine 150 µmol/L" a line."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from bpvet.facts.labs import factor, unit_as_given
from bpvet.visits.labs.history import LabHistory, LabValue

_BOUNDS = {"<": "at most", ">": "at least"}


def value(text: str) -> LabValue:
    """Return one value from "date analyte value unit", the value perhaps behind < or >."""
    date, analyte, number, *unit = text.split()
    bound = _BOUNDS.get(number[0], "")
    amount = float(number.lstrip("<>"))
    scale = factor(analyte, " ".join(unit))
    return LabValue(
        analyte=analyte,
        date=np.datetime64(date),
        value=amount,
        unit=unit_as_given(analyte, " ".join(unit)),
        bound=bound,
        modelled=None if scale is None else amount * scale,
    )


def history(*lines: str, species: str = "cat") -> LabHistory:
    """Return the history of these values, in order of date."""
    found: dict[str, list[LabValue]] = {}
    for one in sorted(map(value, lines), key=lambda one: one.date):
        found.setdefault(one.analyte, []).append(one)
    fixed = {name: tuple(values) for name, values in found.items()}
    return LabHistory("A1", species, MappingProxyType(fixed))


def day(text: str) -> np.datetime64:
    """Return a date."""
    return np.datetime64(text, "D")
