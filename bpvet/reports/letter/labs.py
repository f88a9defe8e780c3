"""Laboratory values and weight of a letter: each marker's newest value with its course, and all."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.labs import unit_as_given
from bpvet.figures.lettering import written
from bpvet.frozen import dataclass
from bpvet.printing import number, prose_date
from bpvet.reports.letter.records import iso
from bpvet.reports.letter.source import Source
from bpvet.wording.en.pages.animal.recorded import analyte_words
from bpvet.wording.en.pages.letter import NEWEST_CHANGE, NOTES, VALUE

#: Markers in the order in which a letter tells them; others follow by name.
_FIRST = ("creatinine", "sdma", "urea", "potassium", "phosphate", "upc", "weight")
#: So many dates stand beside each other in a table.
DATES = 10
_NONE = "–"

Cells = tuple[str, ...]


@dataclass(frozen=True)
class LabTable:
    """A table of text: its heads, and a row a marker or a date."""

    heads: Cells
    rows: tuple[Cells, ...]


@dataclass(frozen=True)
class Labs:
    """Laboratory values and weight; every value stands once.

    Parameters
    ----------
    newest : LabTable or None
        A row a marker and unit: its change since the value before, and its values on the newest
        `DATES` dates; None without any value.
    others : tuple of str
        Markers that have no value on these dates, in a line each: the newest two.
    earlier : tuple of LabTable
        The values of the dates before, so many dates a table.
    aside : tuple of str
        Values that are set aside, and why.
    """

    newest: LabTable | None
    others: tuple[str, ...]
    earlier: tuple[LabTable, ...]
    aside: tuple[str, ...]


@dataclass(frozen=True)
class _Value:
    date: str
    bound: str
    value: float

    @property
    def text(self) -> str:
        shown = "no number" if np.isnan(self.value) else f"{self.value:.10g}"
        return f"{self.bound} {shown}".strip()

    @property
    def plain(self) -> bool:
        return not self.bound and not np.isnan(self.value)


_Marker = tuple[str, str]


def labs_of(source: Source) -> Labs:
    """Return an animal's laboratory values and weights, in the units given; none is converted.

    Parameters
    ----------
    source : Source
    """
    frame = source.rows(source.records.labs, "sampled_on")
    markers: dict[_Marker, list[_Value]] = {}
    aside = []
    for row in frame.to_dict("records"):
        unit = unit_as_given(str(row["analyte"]), str(row["unit"]))
        value = _value(row)
        if row["set_aside"] or not value.date:
            text = f"{_name((str(row['analyte']), unit))}: {value.text}, {row['set_aside']}"
            on = prose_date(value.date) if value.date else NOTES["date"]
            aside.append(written(f"{on}: {text}".rstrip(", ")))
        else:
            markers.setdefault((str(row["analyte"]), unit), []).append(value)
    rank = {analyte: index for index, analyte in enumerate(_FIRST)}
    order = sorted(markers, key=lambda marker: (rank.get(marker[0], len(rank)), marker))
    return _laid_out({marker: markers[marker] for marker in order}, tuple(reversed(aside)))


def _laid_out(markers: dict[_Marker, list[_Value]], aside: tuple[str, ...]) -> Labs:
    dates = sorted({value.date for values in markers.values() for value in values}, reverse=True)
    shown = dates[:DATES]
    now = {marker: values for marker, values in markers.items() if values[-1].date in shown}
    others = tuple(_in_a_line(marker, markers[marker]) for marker in markers if marker not in now)
    heads = (VALUE, NEWEST_CHANGE, *shown)
    rows = tuple(
        (_name(marker), _change(values), *_cells(values, shown)) for marker, values in now.items()
    )
    newest = LabTable(heads, rows) if now else None
    return Labs(newest, others, tuple(_earlier(markers, dates[DATES:])), aside)


def _value(row: dict[Hashable, Any]) -> _Value:
    number_ = float("nan") if pd.isna(row["value"]) else float(row["value"])
    return _Value(iso(row["sampled_on"]), str(row["value_bound"]), number_)


def _name(marker: _Marker) -> str:
    analyte, unit = marker
    unit = "" if unit == "ratio" else unit
    return written(", ".join(filter(None, (analyte_words(analyte), unit))))


def _cells(values: list[_Value], dates: Sequence[str]) -> Cells:
    """Return a marker's values on some dates; several of one date stand beside each other."""
    return tuple(", ".join(value.text for value in values if value.date == date) for date in dates)


def _in_a_line(marker: _Marker, values: list[_Value]) -> str:
    last, *before = values[:-3:-1]
    text = f"{_name(marker)}: {last.text} on {prose_date(last.date)}"
    return f"{text}, before {before[0].text} on {prose_date(before[0].date)}" if before else text


def _earlier(markers: dict[_Marker, list[_Value]], dates: list[str]) -> Iterator[LabTable]:
    """Yield the values of some dates, so many dates beside each other, the newest first."""
    for start in range(0, len(dates), DATES):
        chosen = dates[start : start + DATES]
        rows = ((_name(marker), *_cells(values, chosen)) for marker, values in markers.items())
        yield LabTable(("", *chosen), tuple(row for row in rows if any(row[1:])))


def _change(values: list[_Value]) -> str:
    """Return a marker's newest value less the one before, and in per cent of that."""
    if len(values) < 2 or not (values[-1].plain and values[-2].plain):
        return _NONE
    before, last = values[-2:]
    digits = max(_digits(before.text), _digits(last.text))
    gap = last.value - before.value
    if round(gap, digits) == 0:
        return "none"
    sign = "+" if gap > 0 else ""
    share = f" ({sign}{number(100 * gap / before.value, 0)} %)" if before.value > 0 else ""
    return f"{sign}{number(gap, digits)}{share}"


def _digits(text: str) -> int:
    return len(text.partition(".")[2])
