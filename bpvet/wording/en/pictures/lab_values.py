"""What small rows and further panels of laboratory values say, as recorded and not modelled."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

import numpy as np

from bpvet.facts.analytes import short_name
from bpvet.facts.labs import DRAWN
from bpvet.facts.stages import NEWER, Staging
from bpvet.printing import number, prose_date
from bpvet.wording.en.phrases import capital
from bpvet.wording.en.pictures.drawn import TREND


class Values(Protocol):
    """One animal's values of one analyte in one unit: `bpvet.pictures.lab_values.LabValues`."""

    @property
    def analyte(self) -> str:
        """Its key."""

    @property
    def unit(self) -> str:
        """The unit."""

    @property
    def date(self) -> np.ndarray:
        """Days of sampling."""

    @property
    def value(self) -> np.ndarray:
        """As recorded."""

    @property
    def bound(self) -> np.ndarray:
        """Blank, ``at least`` or ``at most``."""

    @property
    def staging(self) -> Staging | None:
        """The stages that are sourced for them."""


def values_name(values: Values) -> str:
    """Return what was measured, with its unit."""
    return f"{DRAWN[values.analyte]}{_in(values.unit)}"


def heading(analyte: str) -> str:
    """Return an analyte at the head of a panel or a row."""
    return capital(DRAWN[analyte])


def marks_name(analyte: str) -> str:
    """Return what the marks of an analyte are."""
    return TREND.as_recorded.format(what=DRAWN[analyte])


def panels_caption(values: Sequence[Values], unseen: Sequence[str]) -> Iterator[str]:
    """Yield what a caption says of further panels.

    Parameters
    ----------
    values : sequence of Values
    unseen : sequence of str
        Analytes that are on record and not drawn.
    """
    names = "; ".join(values_name(lab) for lab in values)
    yield f"Below, on the same dates, values as recorded, not modelled: {names}."
    for analyte, units in _units(values).items():
        if len(units) > 1:
            yield (
                f"{heading(analyte)} was recorded in {' and in '.join(units)}: each "
                "unit has its own panel; nothing was converted."
            )
    for edition, species, bounds in _stages(values):
        yield (
            f"Dotted lines there: bounds of the stages of the {edition} ({species}): "
            f"{bounds}. One value does not establish a stage. {NEWER}"
        )
    if unseen:
        yield f"Also recorded, not drawn: {', '.join(unseen)}."


def rows_caption(values: Sequence[Values]) -> Iterator[str]:
    """Yield what a caption says of small rows."""
    yield (
        f"Small lines on the same dates, values as recorded and not modelled: "
        f"{'; '.join(values_name(lab) for lab in values)}. At their left stand the lowest and the "
        "highest value, at their right the newest with the change to it."
    )
    for edition, species, bounds in _stages(values):
        yield (
            f"Ranges of the stages: {edition} ({species}): {bounds}. One value does not "
            f"establish a stage. {NEWER}"
        )


def charts_alt_text(values: Sequence[Values]) -> Iterator[str]:
    """Yield in sentences what the charts of some values show."""
    yield f"Below it {len(values)} smaller chart{'s' if len(values) > 1 else ''}, same dates."
    for lab in values:
        unit = "" if lab.unit == "ratio" else f" {lab.unit}".rstrip()
        first, last = (
            f"{f'{lab.bound[index]} '.lstrip()}{lab.value[index]:g}{unit} on "
            f"{prose_date(lab.date[index])}"
            for index in (0, -1)
        )
        what, count = heading(lab.analyte), lab.value.size
        if count == 1:
            yield f"{what}: one value, {first}."
        else:
            low, high = float(lab.value.min()), float(lab.value.max())
            yield f"{what}: {count} values between {low:g} and {high:g}; {first}, {last}."


def rows_alt_text(values: Sequence[Values]) -> Iterator[str]:
    """Yield in sentences what small rows show, with what stands beside each."""
    yield from charts_alt_text(values)
    for lab in values:
        yield f"{lead(lab)}, {detail(lab)}."


def lead(values: Values) -> str:
    """Return what was measured, its newest value with its unit, and the stage it points to."""
    unit = "" if values.unit == "ratio" else values.unit
    value = f"{values.bound[-1]} {values.value[-1]:g} {unit}".strip()
    newest = f"{capital(short_name(values.analyte))} {value}"
    if values.staging is None or values.bound[-1]:
        return newest
    stage = values.staging.stages[values.staging.place_of(float(values.value[-1]))]
    return f"{newest}, {stage.name} range"


def detail(values: Values) -> str:
    """Return the date of the newest value, and the change to it."""
    text = prose_date(values.date[-1])
    before = np.flatnonzero(values.date < values.date[-1])
    if before.size and not values.bound[-1] and not values.bound[before[-1]]:
        change = _change(float(values.value[before[-1]]), float(values.value[-1]))
        text += f", {change} since {prose_date(values.date[before[-1]])}"
    return text


def _change(before: float, now: float) -> str:
    """Return a change with the decimals that were recorded, and in per cent.

    Examples
    --------
    >>> _change(190.0, 252.0), _change(4.25, 4.1), _change(3.0, 3.0)
    ('+62 (+33 %)', '−0.15 (−4 %)', 'unchanged')
    """
    if now == before:
        return "unchanged"
    digits = min(4, max(len(f"{value:.10g}".partition(".")[2]) for value in (before, now)))
    change, share = number(abs(now - before), digits), ""
    sign = "+" if now > before else "−"
    if before > 0:
        share = f" ({sign}{100 * abs(now / before - 1):.0f} %)"
    return f"{sign}{change}{share}"


def _stages(values: Sequence[Values]) -> Iterator[tuple[str, str, str]]:
    """Yield each edition of stages, its species, and the bounds it gives for the values."""
    staged = [lab.staging for lab in values if lab.staging is not None]
    for edition in dict.fromkeys(staging.edition for staging in staged):
        bounds = "; ".join(
            f"{DRAWN[staging.analyte]}{_in(staging.unit)}: {staging.words()}"
            for staging in staged
            if staging.edition == edition
        )
        yield edition, staged[0].species, bounds


def _units(values: Sequence[Values]) -> Mapping[str, list[str]]:
    units: dict[str, list[str]] = {}
    for lab in values:
        units.setdefault(lab.analyte, []).append(lab.unit or "no unit")
    return units


def _in(unit: str) -> str:
    return "" if unit in ("", "ratio") else f" in {unit}"
