"""Kidney values and weight as small lines under the pressure, each with its newest value in words.

A row has a scale of its own, written at its left as lowest and highest value, and shares the dates.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from bpvet.figures.axes import Scale, days
from bpvet.figures.lettering import Block, block, height_mm, width_mm
from bpvet.figures.marks import draw_sessions
from bpvet.figures.pictures import Panel, SessionMarks, SmallRow
from bpvet.figures.sheet import Sheet
from bpvet.figures.style import FAINT_GREY, GUIDE_GREY, HAIRLINE, WORDS_GREY
from bpvet.figures.words import TrendWords
from bpvet.frozen import dataclass

_LEAST, _BETWEEN = 8.4, 1.6
#: Marks of a row beside those of the pressure.
_SIZE = 0.62
#: Clear of the row's upper and lower end, mm: an arrow of a bound takes more.
_CLEAR, _CLEAR_BOUND = 1.2, 3.4


@dataclass(frozen=True)
class RowPlan:
    """A row in its place, mm from the top of all rows.

    Parameters
    ----------
    row : SmallRow
    lead, detail : Block
        What stands at its right, or above it in a narrow figure.
    words_left, words_top : float
        Where they stand, mm.
    top, height : float
        Of the line's own field, mm.
    y : Scale
        Values to mm from the field's top.
    ends : tuple of (float, str)
        Lowest and highest value as written at the left; one where all are the same.
    """

    row: SmallRow
    lead: Block
    detail: Block
    words_left: float
    words_top: float
    top: float
    height: float
    y: Scale
    ends: tuple[tuple[float, str], ...]


@dataclass(frozen=True)
class RowsPlan:
    """All rows in their places, their height in mm, and what they leave unsaid."""

    rows: tuple[RowPlan, ...] = ()
    height: float = 0.0
    unsaid: tuple[str, ...] = ()


def ends_width(rows: Sequence[SmallRow]) -> float:
    """Return the width of the values written at the left of the rows, mm."""
    return max((width_mm(words) for row in rows for _, words in _ends(row.values)), default=0.0)


def plan_rows(rows: Sequence[SmallRow], x: Scale, words_left: float, right: float) -> RowsPlan:
    """Plan the rows.

    Parameters
    ----------
    rows : sequence of SmallRow
    x : Scale
        The date axis, days to mm.
    words_left : float
        Where the words at the right begin, mm; left of the date axis where the figure is narrow:
        they then stand above each row.
    right : float
        How far words may run to the right, mm.
    """
    placed, top, unsaid = [], 1.2, []
    beside = words_left > x.at_high
    for row in rows:
        lead = block(row.lead, right - words_left, most=2, bold=True)
        detail = block(row.detail, right - words_left, most=4)
        tall = lead.height + detail.height
        height = max(_LEAST, tall) if beside else _LEAST
        begins = top if beside else top + tall + 0.6
        words_top = top + (height - tall) / 2 if beside else top
        ends = _ends(row.values)
        y = _scale(row.values, height)
        placed.append(RowPlan(row, lead, detail, words_left, words_top, begins, height, y, ends))
        unsaid += [
            text for text, drawn in ((row.lead, lead), (row.detail, detail)) if not drawn.whole
        ]
        top = begins + height + _BETWEEN
    return RowsPlan(tuple(placed), top if placed else 0.0, tuple(unsaid))


def _ends(values: SessionMarks) -> tuple[tuple[float, str], ...]:
    """Return the lowest and the highest value, with what is written there."""
    found = values.mean[np.isfinite(values.mean)]
    if not found.size:
        return ()
    return tuple((float(value), f"{value:.6g}") for value in np.unique([found.min(), found.max()]))


def _scale(values: SessionMarks, height: float) -> Scale:
    """Return the scale of a row: its values, clear of the field's ends."""
    found = values.mean[np.isfinite(values.mean)]
    low, high = (float(found.min()), float(found.max())) if found.size else (0.0, 1.0)
    if high == low:
        spare = abs(high) or 1.0
        return Scale(low - spare, high + spare, height, 0.0)
    up = _CLEAR_BOUND if np.any(values.bound == "at least") else _CLEAR
    down = _CLEAR_BOUND if np.any(values.bound == "at most") else _CLEAR
    each = (high - low) / (height - up - down)
    return Scale(low - down * each, high + up * each, height, 0.0)


def draw_rows(
    plan: RowsPlan, sheet: Sheet, x: Scale, top: float, words: TrendWords
) -> list[tuple[Axes, str]]:
    """Draw planned rows on a sheet, from `top` mm downwards.

    Parameters
    ----------
    plan : RowsPlan
    sheet : Sheet
    x : Scale
        The date axis, days to mm.
    top : float
        mm from the sheet's top.
    words : TrendWords
        What a pointer shows of a value.

    Returns
    -------
    list of (Axes, str)
        The field of each row and its quantity, for lines that run down through all.
    """
    fields = []
    for planned in plan.rows:
        axes = sheet.field(x.at_low, top + planned.top, x.at_high - x.at_low, planned.height)
        axes.set_xlim(x.low, x.high)
        axes.set_ylim(planned.y.low, planned.y.high)
        axes.spines[["top", "right", "bottom"]].set_visible(False)
        _draw_line(axes, planned.row, words)
        for value, end in planned.ends:
            middle = top + planned.top + _end_middle(planned, value)
            written = block(end, sheet.width, most=1)
            left = x.at_low - 1.6 - written.width
            if left >= 0.0:  # a number of very many digits stands in the mark's own words alone
                sheet.words(left, middle - written.height / 2, written, color=WORDS_GREY)
        across, down = planned.words_left, top + planned.words_top
        sheet.words(across, down, planned.lead, weight="bold")
        sheet.words(across, down + planned.lead.height, planned.detail, color=WORDS_GREY)
        fields.append((axes, planned.row.quantity))
    return fields


def _end_middle(planned: RowPlan, value: float) -> float:
    """Return where a value is written, mm from the field's top: at its height, if it fits."""
    half, at = height_mm(1) / 2, planned.y.mm(value)
    if len(planned.ends) < 2:
        return at
    low = value == planned.ends[0][0]
    middle = planned.height / 2
    return max(at, middle + half) if low else min(at, middle - half)


def _draw_line(axes: Axes, row: SmallRow, words: TrendWords) -> None:
    """Draw the values as marks, joined where both neighbours are plain numbers."""
    values = row.values
    known = np.flatnonzero(np.isfinite(values.mean))
    order = known[np.argsort(days(values.date[known]), kind="stable")]
    at, plain = days(values.date), values.bound == ""
    for before, after in pairwise(order):
        if plain[before] and plain[after]:
            ends = [at[before], at[after]], [values.mean[before], values.mean[after]]
            style: dict[str, Any] = {"color": FAINT_GREY, "lw": HAIRLINE, "zorder": 3}
            axes.add_artist(Line2D(*ends, label=f"{row.name}, line", **style))
    panel = Panel(row.name, row.quantity, row.unit, values, words=words)
    faint = np.zeros(values.date.size, dtype=bool)
    draw_sessions(axes, panel, values, faint, _SIZE, row.quantity)
    axes.spines["left"].set_color(GUIDE_GREY)
