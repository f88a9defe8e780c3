"""Marks in a panel: levels, bands, readings and sessions, drawn where their values are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray

from bpvet.figures.axes import Scale, days
from bpvet.figures.pictures import Panel, ReadingMarks, SessionMarks
from bpvet.figures.style import (
    BOUND_ARROWS,
    CENTRE_LINE,
    CONDITION_SIGNS,
    FAINT_GREY,
    GUIDE_GREY,
    HAIRLINE,
    LEVEL_GREYS,
    MEAN_SIZE,
    MM_PER_INCH,
    PAPER,
    READING_SIZE,
    method_style,
)

#: How far beside its session's date a reading is drawn, and marks of one date from each other.
READING_SHIFT = -1.3
MARK_SHIFT = 1.7
_ROUND = {"used": FAINT_GREY, "left out": PAPER}


def crowding(panel: Panel, x: Scale) -> float:
    """Return by how much marks shrink where sessions stand close, 0.6 to 1."""
    dates = np.concatenate([days(one.date) for one in (panel.sessions, *panel.others)])
    each = (x.at_high - x.at_low) / max(1, np.unique(dates).size)
    return float(np.clip(each / 2.8, 0.6, 1.0))


def mark_shifts(panel: Panel, x: Scale) -> list[NDArray[np.float64]]:
    """Return how far each session's mark moves aside, mm: marks of one date stand in a row."""
    placed: list[float] = []
    shifts, step = [], MARK_SHIFT * crowding(panel, x)
    for marks in (panel.sessions, *panel.others):
        row = []
        for day in days(marks.date):
            at = x.mm(float(day))
            row.append(step * min(4, sum(abs(at - other) < 0.3 for other in placed)))
            placed.append(at)
        shifts.append(np.array(row))
    return shifts


def reading_shifts(panel: Panel, x: Scale) -> NDArray[np.float64]:
    """Return how far each reading moves aside, mm: equal ones of one date stand in a row."""
    seen: dict[tuple[float, float], int] = {}
    shifts, size = [], crowding(panel, x)
    for day, value in zip(days(panel.readings.date), panel.readings.value, strict=True):
        before = seen.get((float(day), float(value)), 0)
        seen[float(day), float(value)] = before + 1
        shifts.append(size * (READING_SHIFT - 0.9 * min(before, 3)))
    return np.array(shifts, dtype=np.float64)


def far_readings(panel: Panel, x: Scale, y: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value at the edge, mm from the left and words of excluded readings far off."""
    marks = panel.readings
    far = (marks.fate == "excluded") & np.isfinite(marks.value) & ~_in_view(marks, y)
    at = days(marks.date)
    for day in np.unique(at[far]):
        for beyond, edge in ((marks.value > y.high, 1.5), (marks.value < y.low, y.at_low - 1.5)):
            values = marks.value[far & beyond & (at == day)]
            if values.size:
                listed = ", ".join(f"{value:g}" for value in values)
                place = x.mm(float(day)) + READING_SHIFT
                yield float(day), y.value(edge), place, f"excluded: {listed}"


def draw_levels(axes: Axes, panel: Panel, y: Scale) -> None:
    """Shade the guideline's levels, the higher the darker, and draw their bounds."""
    lines = [line.value for line in (panel.target, panel.floor) if line is not None]
    for index, level in enumerate(sorted(panel.levels, key=lambda one: one.low)):
        low, high = max(level.low, y.low), min(level.high, y.high)
        if low >= high:
            continue
        grey = LEVEL_GREYS[min(index, len(LEVEL_GREYS) - 1)]
        axes.axhspan(low, high, color=grey, lw=0, zorder=0, label=level.name)
        if y.low < level.low < y.high and level.low not in lines:
            axes.axhline(level.low, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (1, 3)), zorder=3.5)


def draw_band(axes: Axes, panel: Panel) -> None:
    """Draw the inner and outer band, each with its outline, and the centre."""
    band = panel.band
    if band is None or not band.date.size:
        return
    style = method_style(panel.sessions.method)
    at = days(band.date)
    if at.size == 1:  # one date has no width: show the band about as wide as the marks are
        width = 0.018 * float(np.ptp(axes.get_xlim()))
        at = np.array([at[0] - width, at[0] + width])
    ends = [
        (band.low_outer, band.high_outer, style.outer_tint, "solid", "outer band"),
        (band.low_inner, band.high_inner, style.inner_tint, (0, (1, 1.5)), "inner band"),
    ]
    for z, (low, high, tint, line, name) in enumerate(ends):
        below, above = np.resize(low, at.size), np.resize(high, at.size)
        axes.fill_between(at, below, above, color=tint, lw=0, zorder=1 + z, label=name)
        for edge in (below, above):
            axes.plot(at, edge, color=style.colour, lw=HAIRLINE, ls=line, zorder=3)
    axes.plot(
        at,
        np.resize(band.centre, at.size),
        color=style.colour,
        lw=CENTRE_LINE,
        ls=style.line,
        zorder=3.2,
        label="centre",
    )


def draw_readings(axes: Axes, panel: Panel, x: Scale, y: Scale) -> None:
    """Draw every reading beside its session's date, faint, by its fate and bound."""
    marks, shifts, size = panel.readings, reading_shifts(panel, x), crowding(panel, x)
    at = days(marks.date)
    for shift in np.unique(shifts):
        here = shifts == shift
        plain = here & (marks.bound == "")
        for fate, fill in _ROUND.items():
            chosen = plain & (marks.fate == fate)
            small = READING_SIZE * size
            _marks(axes, at[chosen], marks.value[chosen], shift, "o", small, fill, fate)
        crossed = here & (marks.fate == "excluded") & _in_view(marks, y)
        _marks(axes, at[crossed], marks.value[crossed], shift, "x", 4.2, PAPER, "excluded")
        for bound, arrow in BOUND_ARROWS.items():
            chosen = here & (marks.bound == bound) & np.isin(marks.fate, list(_ROUND))
            _marks(axes, at[chosen], marks.value[chosen], shift, arrow, 13, "none", bound)
    for day, edge, _, _ in far_readings(panel, x, y):
        _marks(axes, [day], [edge], READING_SHIFT, "x", 4.2, PAPER, "excluded, beyond the scale")


def draw_sessions(
    axes: Axes, marks: SessionMarks, shift: NDArray[np.float64], size: float, hollow: bool
) -> None:
    """Draw sessions with their spread: filled, or hollow with the sign of their condition."""
    style, at = method_style(marks.method), days(marks.date)
    name = marks.name if hollow else "session means"
    sign = CONDITION_SIGNS.get(marks.condition) if hollow else None
    for step in np.unique(shift):
        here = (shift == step) & np.isfinite(marks.mean)
        aside = _aside(axes, float(step))
        line: dict[str, Any] = {"ls": "none", "mec": style.colour, "transform": aside}
        _draw_spread(axes, marks, here, aside, name)
        for bound, arrow in BOUND_ARROWS.items():
            chosen = here & (marks.bound == bound)
            where = at[chosen], marks.mean[chosen]
            shape: dict[str, Any] = {"marker": arrow, "ms": 24, "mfc": "none", "mew": 1.3}
            axes.plot(*where, zorder=6.5, label=bound, clip_on=False, **shape, **line)
        where = at[here], marks.mean[here]
        shape = {"marker": style.marker, "ms": MEAN_SIZE * size, "mew": HAIRLINE}
        shape["mfc"] = PAPER if hollow else style.colour
        axes.plot(*where, zorder=7, label=name, clip_on=False, **shape, **line)
        if sign is not None:
            shape = {"marker": sign, "ms": 3.2 * size, "mfc": style.colour}
            axes.plot(*where, zorder=7.1, clip_on=False, **shape, **line)


def _draw_spread(
    axes: Axes, marks: SessionMarks, here: NDArray[np.bool_], aside: Transform, name: str
) -> None:
    """Draw a line from low to high through each of the sessions `here` that has both."""
    known = here & np.isfinite(marks.low) & np.isfinite(marks.high)
    axes.vlines(
        days(marks.date)[known],
        marks.low[known],
        marks.high[known],
        color=method_style(marks.method).colour,
        lw=HAIRLINE,
        zorder=6,
        transform=aside,
        label=f"{name}, spread",
    )


def _marks(
    axes: Axes,
    at: Sequence[float] | NDArray[np.float64],
    value: Sequence[float] | NDArray[np.float64],
    shift: float,
    marker: object,
    size: float,
    fill: str,
    name: str,
) -> None:
    if not len(at):
        return
    axes.plot(
        at,
        value,
        ls="none",
        marker=marker,
        ms=size,
        mfc=fill,
        mec=FAINT_GREY,
        mew=HAIRLINE,
        zorder=5,
        transform=_aside(axes, shift),
        label=f"readings {name}",
        clip_on=False,
    )


def _aside(axes: Axes, shift: float) -> Transform:
    figure = axes.get_figure(root=True)
    assert figure is not None
    return axes.transData + ScaledTranslation(shift / MM_PER_INCH, 0, figure.dpi_scale_trans)


def _in_view(marks: ReadingMarks, y: Scale) -> NDArray[np.bool_]:
    return (marks.value >= y.low) & (marks.value <= y.high)
