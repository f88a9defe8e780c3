"""Kidney values and weight as small rows of a picture: each with its newest value in words.

Nothing is converted: an analyte recorded in two units has two rows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from bpvet.facts.analytes import short_name
from bpvet.facts.labs import DRAWN
from bpvet.facts.stages import NEWER
from bpvet.figures.pictures import SessionMarks, SmallRow
from bpvet.pictures.lab_panels import LabValues, alt_words, lab_values
from bpvet.printing import number, prose_date
from bpvet.records.records import Records


@dataclass(frozen=True)
class LabRows:
    """Rows for a picture, and what its caption and alternative text say of them.

    Parameters
    ----------
    rows : tuple of SmallRow
        By analyte in the order of `facts.labs.DRAWN`, then by unit as first recorded.
    caption, alt_text : str
        Sentences; blank without a row.
    """

    rows: tuple[SmallRow, ...] = ()
    caption: str = ""
    alt_text: str = ""


def lab_rows(
    records: Records, animal: str, without: str = "", only: Collection[str] | None = None
) -> LabRows:
    """Return rows of one animal's laboratory values and weights.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id.
    without : str
        An analyte that the picture shows already; blank if none.
    only : collection of str, optional
        The analytes that get a row; all by default.
    """
    values = [
        one
        for one in lab_values(records, animal)
        if one.analyte != without and (only is None or one.analyte in only)
    ]
    if not values:
        return LabRows()
    return LabRows(
        tuple(_rows(values)),
        " ".join(_caption(values)),
        " ".join((*alt_words(values), *(f"{_lead(one)}, {_detail(one)}." for one in values))),
    )


def _rows(values: list[LabValues]) -> Iterator[SmallRow]:
    seen: set[str] = set()
    for one in values:
        unknown, blank = np.full(one.value.size, np.nan), np.full(one.value.size, "", dtype="<U1")
        marks = SessionMarks(
            name=f"{DRAWN[one.analyte]}, as recorded",
            method="",
            condition="",
            date=one.date,
            mean=one.value,
            low=unknown,
            high=unknown,
            n=np.ones(one.value.size, dtype=np.int64),
            bound=one.bound,
            label=blank,
        )
        key = f"{one.analyte} in {one.unit or 'no unit'}" if one.analyte in seen else one.analyte
        seen.add(one.analyte)
        yield SmallRow(_name(one), key, _unit(one), marks, _lead(one), _detail(one))


def _name(one: LabValues) -> str:
    what = DRAWN[one.analyte]
    return what[:1].upper() + what[1:]


def _unit(one: LabValues) -> str:
    return "" if one.unit == "ratio" else one.unit


def _lead(one: LabValues) -> str:
    """Return what was measured, its newest value with its unit, and the stage it points to."""
    value = f"{one.bound[-1]} {one.value[-1]:g} {_unit(one)}".strip()
    what = short_name(one.analyte)
    lead = f"{what[:1].upper()}{what[1:]} {value}"
    if one.staging is None or one.bound[-1]:
        return lead
    return f"{lead}, {one.staging.stages[one.staging.place_of(float(one.value[-1]))].name} range"


def _detail(one: LabValues) -> str:
    """Return the date of the newest value, and the change to it."""
    said = [prose_date(one.date[-1])]
    before = np.flatnonzero(one.date < one.date[-1])
    if before.size and not one.bound[-1] and not one.bound[before[-1]]:
        said.append(_change(float(one.value[before[-1]]), float(one.value[-1])))
        said[-1] += f" since {prose_date(one.date[before[-1]])}"
    return ", ".join(said)


def _change(before: float, now: float) -> str:
    """Return a change with the decimals that were recorded, and in per cent.

    Examples
    --------
    >>> _change(190.0, 252.0), _change(4.25, 4.1), _change(3.0, 3.0)
    ('+62 (+33 %)', '−0.15 (−4 %)', 'unchanged')
    """
    if now == before:
        return "unchanged"
    digits = min(4, max(len(f"{one:.10g}".partition(".")[2]) for one in (before, now)))
    change, share = number(abs(now - before), digits), ""
    sign = "+" if now > before else "−"
    if before > 0:
        share = f" ({sign}{100 * abs(now / before - 1):.0f} %)"
    return f"{sign}{change}{share}"


def _caption(values: list[LabValues]) -> Iterator[str]:
    yield (
        f"Small lines on the same dates, values as recorded and not modelled: "
        f"{'; '.join(one.name for one in values)}. At their left stand the lowest and the highest "
        "value, at their right the newest with the change to it."
    )
    staged = [one.staging for one in values if one.staging is not None]
    for edition in dict.fromkeys(one.edition for one in staged):
        bounds = "; ".join(
            f"{DRAWN[one.analyte]}{'' if one.unit == 'ratio' else f' in {one.unit}'}: {one.words()}"
            for one in staged
            if one.edition == edition
        )
        yield (
            f"Ranges of the stages: {edition} ({staged[0].species}): {bounds}. One value does not "
            f"establish a stage. {NEWER}"
        )
