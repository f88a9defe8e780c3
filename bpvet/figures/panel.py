"""One panel: levels, bands, readings and sessions of one quantity, planned and then drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray

from bpvet.figures.axes import Scale, days, value_label, value_step, value_ticks
from bpvet.figures.labels import MarginLabel, NearLabel, margin_labels, near_labels
from bpvet.figures.pictures import Level, Panel, SessionMarks
from bpvet.figures.placing import Box
from bpvet.figures.style import (
    BOUND_ARROWS,
    CENTRE_LINE,
    CONDITION_SIGNS,
    FAINT_GREY,
    GUIDE_GREY,
    HAIRLINE,
    INK,
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
_FILLED_ROUND = {"used": GUIDE_GREY, "left out": PAPER}


@dataclass(frozen=True, eq=False)
class PanelPlan:
    """A panel with everything in its place.

    Parameters
    ----------
    panel : Panel
        What is shown.
    x, y : Scale
        Days to mm from the figure's left edge; values to mm from the panel's top.
    height : float
        Height, mm.
    ticks : tuple of (float, str)
        Values written at the left edge.
    margin : tuple of MarginLabel
        Names at the right edge.
    names : tuple of NearLabel
        Names of sessions written beside their marks.
    unnamed : tuple of (float, float, str)
        Sessions with a name that found no place: days, value, name.
    """

    panel: Panel
    x: Scale
    y: Scale
    height: float
    ticks: tuple[tuple[float, str], ...]
    margin: tuple[MarginLabel, ...]
    names: tuple[NearLabel, ...]
    unnamed: tuple[tuple[float, float, str], ...]


def value_range(panel: Panel, height: float) -> tuple[float, float]:
    """Return the lowest and highest value that the panel shows, on half steps of its ticks."""
    parts = [panel.readings.value]
    for marks in (panel.sessions, *panel.others):
        parts += [marks.mean, marks.low, marks.high]
    if panel.band is not None:
        parts += [panel.band.low_outer, panel.band.high_outer]
    parts.append(np.array([line.value for line in (panel.target,) if line is not None]))
    found = np.concatenate(parts)
    found = found[np.isfinite(found)]
    low, high = (float(found.min()), float(found.max())) if found.size else (0.0, 1.0)
    if panel.floor is not None and panel.floor.value > low - 0.3 * (high - low):
        low, high = min(low, panel.floor.value), max(high, panel.floor.value)
    spare = 0.05 * (high - low) or max(0.1 * abs(high), 0.5)
    half = value_step(low - spare, high + spare, height) / 2
    bottom = np.floor((low - spare) / half) * half
    if low >= 0:
        bottom = max(0.0, bottom)
    return float(bottom), float(np.ceil((high + spare) / half) * half)


def plan_panel(panel: Panel, x: Scale, height: float, margin_room: float) -> PanelPlan:
    """Plan a panel.

    Parameters
    ----------
    panel : Panel
        What to show.
    x : Scale
        The date axis, days to mm.
    height : float
        Least height, mm; names at the right edge may need more.
    margin_room : float
        Width for the names at the right edge, mm.

    Returns
    -------
    PanelPlan
        Everything placed; nothing is drawn yet.
    """
    low, high = value_range(panel, height)
    margin, height = margin_labels(panel, low, high, height, margin_room)
    y = Scale(low, high, height, 0.0)
    step = value_step(low, high, height)
    ticks = tuple((v, value_label(v, step)) for v in value_ticks(low, high, height))
    obstacles = list(_obstacles(panel, x, y))
    room = Box(x.at_low + 1, 1, x.at_high - 1, height - 1)
    wanted = list(_named_sessions(panel, x))
    names, unnamed = near_labels(wanted, y, room, obstacles)
    return PanelPlan(panel, x, y, height, ticks, margin, names, unnamed)


def draw_panel(plan: PanelPlan, axes: Axes) -> None:
    """Draw a planned panel on axes whose limits are those of its scales."""
    panel = plan.panel
    axes.set_xlim(plan.x.low, plan.x.high)
    axes.set_ylim(plan.y.low, plan.y.high)
    axes.set_yticks([v for v, _ in plan.ticks], [label for _, label in plan.ticks])
    axes.spines[["top", "right"]].set_visible(False)
    _draw_levels(axes, panel.levels, plan.y)
    _draw_band(axes, panel)
    for line, dashes in ((panel.target, (7, 3)), (panel.floor, (2, 2))):
        if line is not None and plan.y.low <= line.value <= plan.y.high:
            axes.axhline(
                line.value, color=INK, lw=HAIRLINE, ls=(0, dashes), zorder=4, label=line.words
            )
    _draw_readings(axes, panel, plan.x)
    shown = panel.sessions
    for marks, shift in zip((shown, *panel.others), mark_shifts(panel, plan.x), strict=True):
        _draw_sessions(axes, marks, shift, hollow=marks is not shown)


def mark_shifts(panel: Panel, x: Scale) -> list[NDArray[np.float64]]:
    """Return how far each session's mark moves aside, mm: marks of one date stand in a row."""
    placed: list[float] = []
    shifts = []
    for marks in (panel.sessions, *panel.others):
        row = []
        for day in days(marks.date):
            at = x.mm(float(day))
            row.append(MARK_SHIFT * min(4, sum(abs(at - other) < 0.3 for other in placed)))
            placed.append(at)
        shifts.append(np.array(row))
    return shifts


def reading_shifts(panel: Panel) -> NDArray[np.float64]:
    """Return how far each reading moves aside, mm: equal ones of one date stand in a row."""
    seen: dict[tuple[float, float], int] = {}
    shifts = []
    for day, value in zip(days(panel.readings.date), panel.readings.value, strict=True):
        before = seen.get((float(day), float(value)), 0)
        seen[float(day), float(value)] = before + 1
        shifts.append(READING_SHIFT - 0.9 * min(before, 3))
    return np.array(shifts, dtype=np.float64)


def _aside(axes: Axes, shift: float) -> Transform:
    figure = axes.get_figure(root=True)
    assert figure is not None
    return axes.transData + ScaledTranslation(shift / MM_PER_INCH, 0, figure.dpi_scale_trans)


def _draw_levels(axes: Axes, levels: tuple[Level, ...], y: Scale) -> None:
    for index, level in enumerate(sorted(levels, key=lambda one: one.low)):
        low, high = max(level.low, y.low), min(level.high, y.high)
        if low >= high:
            continue
        grey = LEVEL_GREYS[min(index, len(LEVEL_GREYS) - 1)]
        axes.axhspan(low, high, color=grey, lw=0, zorder=0, label=level.name)
        if y.low < level.low < y.high:
            axes.axhline(level.low, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (1, 3)), zorder=3.5)


def _draw_band(axes: Axes, panel: Panel) -> None:
    band = panel.band
    if band is None or not band.date.size:
        return
    style = method_style(panel.sessions.method)
    at = days(band.date)
    if at.size == 1:  # one date has no width: show it over half a millimetre each way
        width = 0.004 * float(np.ptp(axes.get_xlim()))
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


def _draw_readings(axes: Axes, panel: Panel, x: Scale) -> None:
    marks, shifts = panel.readings, reading_shifts(panel)
    at = days(marks.date)
    for shift in np.unique(shifts):
        here = shifts == shift
        plain = here & (marks.bound == "")
        for fate, fill in _FILLED_ROUND.items():
            chosen = plain & (marks.fate == fate)
            _marks(axes, at[chosen], marks.value[chosen], shift, "o", READING_SIZE, fill, fate)
        crossed = here & (marks.fate == "excluded")
        _marks(axes, at[crossed], marks.value[crossed], shift, "x", 4.2, PAPER, "excluded")
        for bound, arrow in BOUND_ARROWS.items():
            chosen = here & (marks.bound == bound) & np.isin(marks.fate, list(_FILLED_ROUND))
            _marks(axes, at[chosen], marks.value[chosen], shift, arrow, 13, "none", bound)


def _marks(
    axes: Axes,
    at: NDArray[np.float64],
    value: NDArray[np.float64],
    shift: float,
    marker: object,
    size: float,
    fill: str,
    name: str,
) -> None:
    if not at.size:
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


def _draw_sessions(
    axes: Axes, marks: SessionMarks, shift: NDArray[np.float64], hollow: bool
) -> None:
    style, at = method_style(marks.method), days(marks.date)
    name = marks.name if hollow else "session means"
    for step in np.unique(shift):
        here = (shift == step) & np.isfinite(marks.mean)
        aside = _aside(axes, float(step))
        spread = here & np.isfinite(marks.low) & np.isfinite(marks.high)
        axes.vlines(
            at[spread],
            marks.low[spread],
            marks.high[spread],
            color=style.colour,
            lw=HAIRLINE,
            zorder=6,
            transform=aside,
            label=f"{name}, spread",
        )
        line: dict[str, Any] = {
            "ls": "none",
            "mec": style.colour,
            "transform": aside,
            "clip_on": False,
        }
        for bound, arrow in BOUND_ARROWS.items():
            chosen = here & (marks.bound == bound)
            if chosen.any():
                where = at[chosen], marks.mean[chosen]
                axes.plot(
                    *where,
                    marker=arrow,
                    ms=24,
                    mfc="none",
                    mew=1.3,
                    zorder=6.5,
                    label=bound,
                    **line,
                )
        fill = PAPER if hollow else style.colour
        where = at[here], marks.mean[here]
        axes.plot(
            *where,
            marker=style.marker,
            ms=MEAN_SIZE,
            mfc=fill,
            mew=HAIRLINE,
            zorder=7,
            label=name,
            **line,
        )
        sign = CONDITION_SIGNS.get(marks.condition)
        if hollow and sign is not None:
            axes.plot(*where, marker=sign, ms=3.2, mfc=style.colour, zorder=7.1, **line)


def _named_sessions(panel: Panel, x: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value, mm from the left and name of each session that bears one."""
    shifts = mark_shifts(panel, x)
    for marks, shift in zip((panel.sessions, *panel.others), shifts, strict=True):
        for index, day in enumerate(days(marks.date)):
            name, value = str(marks.label[index]), float(marks.mean[index])
            if name and np.isfinite(value):
                yield float(day), value, x.mm(float(day)) + float(shift[index]), name


def _obstacles(panel: Panel, x: Scale, y: Scale) -> Iterator[Box]:
    """Yield what a name inside the panel must not cover, mm."""

    def around(at: float, top: float, bottom: float, half: float) -> Box:
        return Box(at - half, min(top, bottom) - half, at + half, max(top, bottom) + half)

    shifts = mark_shifts(panel, x)
    for marks, shift in zip((panel.sessions, *panel.others), shifts, strict=True):
        for index in np.flatnonzero(np.isfinite(marks.mean)):
            at = x.mm(float(days(marks.date)[index])) + float(shift[index])
            middle = y.mm(float(marks.mean[index]))
            arrow = {"at least": -4.5, "at most": 4.5}.get(str(marks.bound[index]), 0.0)
            yield around(at, middle + arrow, middle, 1.2)
            if np.isfinite(marks.low[index] + marks.high[index]):
                ends = y.mm(float(marks.high[index])), y.mm(float(marks.low[index]))
                yield around(at, *ends, 0.4)
    for day, value, aside in zip(
        days(panel.readings.date), panel.readings.value, reading_shifts(panel), strict=True
    ):
        if np.isfinite(value):
            at, level = x.mm(float(day)) + float(aside), y.mm(float(value))
            yield around(at, level, level, 0.8)
    for line in (panel.target, panel.floor):
        if line is not None:
            yield Box(x.at_low, y.mm(line.value) - 0.3, x.at_high, y.mm(line.value) + 0.3)
    yield from _band_edges(panel, x, y)


def _band_edges(panel: Panel, x: Scale, y: Scale) -> Iterator[Box]:
    """Yield small boxes along the lines of the band, one a millimetre."""
    band = panel.band
    if band is None or not band.date.size:
        return
    at = np.array([x.mm(float(day)) for day in days(band.date)])
    grid = np.arange(at[0], at[-1] + 1e-9, 1.0)
    for edge in (band.low_outer, band.low_inner, band.centre, band.high_inner, band.high_outer):
        level = np.array([y.mm(float(value)) for value in edge])
        for left, top in zip(grid, np.interp(grid, at, level), strict=True):
            yield Box(float(left) - 0.5, float(top) - 0.4, float(left) + 0.5, float(top) + 0.4)
