"""One panel: levels, bands, readings and sessions of one quantity, planned and then drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from bpvet.figures.axes import Scale, days, value_label, value_step, value_ticks
from bpvet.figures.labels import MarginLabel, NearLabel, margin_labels, near_labels
from bpvet.figures.marks import (
    crowding,
    draw_band,
    draw_levels,
    draw_readings,
    draw_sessions,
    far_readings,
    mark_shifts,
    reading_shifts,
)
from bpvet.figures.pictures import Panel
from bpvet.figures.placing import Box
from bpvet.figures.style import HAIRLINE, INK


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
    """Return the lowest and highest value that the panel shows, on half steps of its ticks.

    Parameters
    ----------
    panel : Panel
        All that it draws lies within, but for excluded readings far off.
    height : float
        Height of the panel, mm.

    Returns
    -------
    low, high : float
        Panel's unit.
    """
    excluded = panel.readings.fate == "excluded"
    parts = [panel.readings.value[~excluded]]
    for marks in (panel.sessions, *panel.others):
        parts += [marks.mean, marks.low, marks.high]
    if panel.band is not None:
        parts += [panel.band.low_outer, panel.band.high_outer]
    parts.append(np.array([line.value for line in (panel.target,) if line is not None]))
    found = np.concatenate(parts)
    aside = panel.readings.value[excluded & np.isfinite(panel.readings.value)]
    found = found[np.isfinite(found)]
    found = found if found.size else aside
    low, high = (float(found.min()), float(found.max())) if found.size else (0.0, 1.0)
    # Excluded readings may widen the range, but not set it.
    reach = 0.6 * (high - low)
    near = aside[(aside >= low - reach) & (aside <= high + reach)]
    low, high = min([low, *near]), max([high, *near])
    if panel.floor is not None and panel.floor.value > low - 0.3 * (high - low):
        low, high = min(low, panel.floor.value), max(high, panel.floor.value)
    # A mark at either end stays clear of the panel's rim, however low the panel.
    share = max(0.05, 1.7 / height) if near.size == aside.size else 0.1
    spare = share * (high - low) or max(0.1 * abs(high), 0.5)
    half = value_step(low - spare, high + spare, height) / 2
    bottom = np.floor((low - spare) / half) * half
    if low >= 0:
        bottom = max(0.0, bottom)
    return float(bottom), float(np.ceil((high + spare) / half) * half)


def plan_panel(
    panel: Panel, x: Scale, height: float, margin_room: float, uprights: Sequence[float]
) -> PanelPlan:
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
    uprights : sequence of float
        Where courses are carried down through the panel, mm.

    Returns
    -------
    PanelPlan
        Everything placed; nothing is drawn yet.
    """
    low, high = value_range(panel, height)
    # Ticks are those of the least height, for whose labels the left edge has room.
    step = value_step(low, high, height)
    ticks = tuple((v, value_label(v, step)) for v in value_ticks(low, high, height))
    margin, height = margin_labels(panel, low, high, height, margin_room)
    y = Scale(low, high, height, 0.0)
    room = Box(x.at_low + 1, 1, x.at_high - 1, height - 1)
    wanted = [*_named_sessions(panel, x), *far_readings(panel, x, y)]
    marks = list(_mark_boxes(panel, x, y))
    across = [line.value for line in (panel.target, panel.floor) if line is not None]
    lines = [*_lines_across(across, x, y), *_band_edges(panel, x, y)]
    bounds = [level.low for level in panel.levels if np.isfinite(level.low)]
    faint = [Box(at - 0.2, 0, at + 0.2, height) for at in uprights]
    faint += _lines_across(bounds, x, y)
    names, unnamed = near_labels(wanted, y, room, marks, lines, faint)
    return PanelPlan(panel, x, y, height, ticks, margin, names, unnamed)


def draw_panel(plan: PanelPlan, axes: Axes) -> None:
    """Draw a planned panel on axes whose limits are those of its scales."""
    panel = plan.panel
    axes.set_xlim(plan.x.low, plan.x.high)
    axes.set_ylim(plan.y.low, plan.y.high)
    axes.set_yticks([v for v, _ in plan.ticks], [label for _, label in plan.ticks])
    axes.spines[["top", "right"]].set_visible(False)
    draw_levels(axes, panel, plan.y)
    draw_band(axes, panel)
    for line, dashes in ((panel.target, (7, 3)), (panel.floor, (2, 2))):
        if line is not None and plan.y.low <= line.value <= plan.y.high:
            axes.axhline(
                line.value, color=INK, lw=HAIRLINE, ls=(0, dashes), zorder=4, label=line.words
            )
    draw_readings(axes, panel, plan.x, plan.y)
    shown, size = panel.sessions, crowding(panel, plan.x)
    for marks, shift in zip((shown, *panel.others), mark_shifts(panel, plan.x), strict=True):
        draw_sessions(axes, marks, shift, size, hollow=marks is not shown)


def _named_sessions(panel: Panel, x: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value, mm from the left and name of each session that bears one."""
    shifts = mark_shifts(panel, x)
    for marks, shift in zip((panel.sessions, *panel.others), shifts, strict=True):
        for index, day in enumerate(days(marks.date)):
            name, value = str(marks.label[index]), float(marks.mean[index])
            if name and np.isfinite(value):
                yield float(day), value, x.mm(float(day)) + float(shift[index]), name


def _mark_boxes(panel: Panel, x: Scale, y: Scale) -> Iterator[Box]:
    """Yield the marks, which neither a name nor the line to it may cover, mm."""

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
        days(panel.readings.date), panel.readings.value, reading_shifts(panel, x), strict=True
    ):
        if y.low <= value <= y.high:
            at, level = x.mm(float(day)) + float(aside), y.mm(float(value))
            yield around(at, level, level, 0.8)


def _lines_across(values: Sequence[float], x: Scale, y: Scale) -> list[Box]:
    """Return lines across the panel at `values`, mm."""
    return [Box(x.at_low, y.mm(one) - 0.3, x.at_high, y.mm(one) + 0.3) for one in values]


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
