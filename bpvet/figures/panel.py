"""One panel: levels, bands, readings and sessions of one quantity, planned and then drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bpvet.figures.axes import Scale, days, value_label, value_step, value_ticks
from bpvet.figures.labels import (
    MarginLabel,
    NearLabel,
    first_label,
    margin_labels,
    near_labels,
)
from bpvet.figures.marking import Meaning, plain_number
from bpvet.figures.marks import (
    crowding,
    draw_band,
    draw_levels,
    draw_readings,
    draw_sessions,
    far_readings,
    overlapping,
    single_day,
)
from bpvet.figures.pictures import GuideLine, Panel, SessionMarks
from bpvet.figures.placing import Box
from bpvet.figures.style import FLOOR_DASHES, HAIRLINE, INK, TARGET_DASHES
from bpvet.frozen import dataclass


@dataclass(frozen=True, eq=False)
class PanelPlan:
    """A panel with everything in its place.

    Parameters
    ----------
    name : str
        ``main``, ``near`` or the quantity, as `figures.marking.Meaning` has it.
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
    unkeyed : tuple of SessionMarks
        Other series whose name found no place beside any of their marks.
    """

    name: str
    panel: Panel
    x: Scale
    y: Scale
    height: float
    ticks: tuple[tuple[float, str], ...]
    margin: tuple[MarginLabel, ...]
    names: tuple[NearLabel, ...]
    unnamed: tuple[tuple[float, float, str], ...]
    unkeyed: tuple[SessionMarks, ...]


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
    # The floor comes into view when it is near, and always when something lies below it.
    if panel.floor is not None and panel.floor.value > low - 0.15 * (high - low):
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
    panel: Panel,
    x: Scale,
    height: float,
    margin_space: float,
    uprights: Sequence[float],
    name: str = "main",
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
    margin_space : float
        Width for the names at the right edge, mm.
    uprights : sequence of float
        Where lines run down through the panel, mm.
    name : str
        As in `PanelPlan`.

    Returns
    -------
    PanelPlan
        Everything placed; nothing is drawn yet.
    """
    low, high = value_range(panel, height)
    # Ticks are those of the least height, for whose labels the left edge has space.
    step = value_step(low, high, height)
    ticks = tuple((v, value_label(v, step)) for v in value_ticks(low, high, height))
    margin, height = margin_labels(panel, low, high, height, margin_space)
    y = Scale(low, high, height, 0.0)
    space = Box(x.at_low + 1, 1, x.at_high - 1, height - 1)
    marks = list(_mark_boxes(panel, x, y))
    across = [line.value for line in (panel.target, panel.floor) if line is not None]
    across += [level.low for level in panel.levels if np.isfinite(level.low)]
    upright = [Box(at - 0.3, 0, at + 0.3, height) for at in uprights]
    lines = [
        *(Box(x.at_low, y.mm(value) - 0.3, x.at_high, y.mm(value) + 0.3) for value in across),
        *_band_edges(panel, x, y),
        *upright,
    ]
    wanted = [*_named_sessions(panel, x), *far_readings(panel, x, y)]
    names, unnamed = near_labels(wanted, y, space, marks, lines)
    unkeyed = []
    for series in panel.others:
        spots = list(_spots(series, x))
        taken = [*marks, *(label.box for label in names), *(label.path for label in names)]
        found, missed = first_label(spots, y, space, taken, lines)
        names += found
        if missed:
            unkeyed.append(series)
    return PanelPlan(name, panel, x, y, height, ticks, margin, names, unnamed, tuple(unkeyed))


def draw_panel(plan: PanelPlan, axes: Axes) -> None:
    """Draw a planned panel on axes whose limits are those of its scales."""
    panel = plan.panel
    axes.set_xlim(plan.x.low, plan.x.high)
    axes.set_ylim(plan.y.low, plan.y.high)
    axes.set_yticks([v for v, _ in plan.ticks], [label for _, label in plan.ticks])
    axes.spines[["top", "right"]].set_visible(False)
    draw_levels(axes, panel, plan.y)
    draw_band(axes, panel, plan.name)
    _guide_line(axes, plan, panel.target, "target")
    _guide_line(axes, plan, panel.floor, "floor")
    draw_readings(axes, panel, plan.x, plan.y, plan.name)
    faint = overlapping(panel, plan.x, plan.y)
    for marks, see_through in zip((panel.sessions, *panel.others), faint, strict=True):
        draw_sessions(axes, panel, marks, see_through, crowding(panel, plan.x), plan.name)


def _guide_line(axes: Axes, plan: PanelPlan, line: GuideLine | None, kind: str) -> None:
    if line is None or not plan.y.low <= line.value <= plan.y.high:
        return
    value, unit = plain_number(line.value), plan.panel.unit
    meaning = Meaning(kind, plan.name, value=value, unit=unit, title=line.words)
    dashes = TARGET_DASHES if kind == "target" else FLOOR_DASHES
    style: dict[str, Any] = {"color": INK, "lw": HAIRLINE, "ls": dashes, "zorder": 4}
    axes.axhline(line.value, label=line.words, gid=meaning.gid, **style)


def _named_sessions(panel: Panel, x: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value, mm from the left and name of each session that bears one, newest first."""
    for marks in (panel.sessions, *panel.others):
        for index in reversed(range(marks.date.size)):
            name, value = str(marks.label[index]), float(marks.mean[index])
            day = float(days(marks.date[index])[0])
            if name and np.isfinite(value):
                yield day, value, x.mm(day), name


def _spots(marks: SessionMarks, x: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value, mm from the left and the name of a series for each mark, newest first."""
    for index in reversed(np.flatnonzero(np.isfinite(marks.mean))):
        day = float(days(marks.date[index])[0])
        yield day, float(marks.mean[index]), x.mm(day), marks.name


def _mark_boxes(panel: Panel, x: Scale, y: Scale) -> Iterator[Box]:
    """Yield the marks, which neither a name nor the line to it may cover, mm."""

    def around(at: float, top: float, bottom: float, half: float) -> Box:
        return Box(at - half, min(top, bottom) - half, at + half, max(top, bottom) + half)

    for marks in (panel.sessions, *panel.others):
        for index in np.flatnonzero(np.isfinite(marks.mean)):
            at = x.mm(float(days(marks.date[index])[0]))
            middle = y.mm(float(marks.mean[index]))
            arrow = {"at least": -4.5, "at most": 4.5}.get(str(marks.bound[index]), 0.0)
            yield around(at, middle + arrow, middle, 1.3)
            if np.isfinite(marks.low[index] + marks.high[index]):
                ends = y.mm(float(marks.high[index])), y.mm(float(marks.low[index]))
                yield around(at, *ends, 0.4)
    bounds = {"at least": -2.6, "at most": 2.6}
    for day, value, bound in zip(
        days(panel.readings.date), panel.readings.value, panel.readings.bound, strict=True
    ):
        if y.low <= value <= y.high:
            at, level = x.mm(float(day)), y.mm(float(value))
            end = level + bounds.get(str(bound), 0.0)
            yield Box(at - 1.7, min(level, end) - 0.6, at + 1.7, max(level, end) + 0.6)


def _band_edges(panel: Panel, x: Scale, y: Scale) -> Iterator[Box]:
    """Yield small boxes along the lines of the band, one a millimetre of their length.

    Along the line and not across the panel: an edge that rises steeply has no gap that a name
    would fall into.
    """
    band = panel.band
    if band is None or not band.date.size:
        return
    day = days(band.date)
    if day.size == 1:
        day = single_day(float(day[0]), x.low, x.high)
    at = np.array([x.mm(float(date)) for date in day])
    for edge in (band.low_outer, band.low_inner, band.centre, band.high_inner, band.high_outer):
        level = np.resize([y.mm(float(value)) for value in edge], at.size)
        pieces = np.maximum(1, np.ceil(np.hypot(np.diff(at), np.diff(level)))).astype(int)
        # Of each piece the stretch of dates it lies in, and where in it the piece begins and ends.
        which = np.repeat(np.arange(pieces.size), pieces)
        begin = np.arange(which.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        ends = np.stack([begin, begin + 1]) * (1 / pieces[which])
        across, down = (axis[:-1][which] + ends * np.diff(axis)[which] for axis in (at, level))
        top, bottom = down.min(axis=0) - 0.4, down.max(axis=0) + 0.4
        sides = across[0] - 0.3, top, across[1] + 0.3, bottom
        yield from map(Box._make, np.stack(sides, axis=1).tolist())
