"""The figures of the audit: estimates with intervals one below the other, and counts of digits.

Planned in millimetres: the title, the panels one below the other, and the key. The width is
given; the height follows.
"""

from __future__ import annotations

from contextlib import suppress
from itertools import zip_longest
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from bpvet.errors import CallError
from bpvet.figures.clinic.audit_picture import AuditPicture, BarsPanel, RowsPanel
from bpvet.figures.lettering import Block, block, width_mm
from bpvet.figures.sheet import (
    EDGE,
    FULL_WIDTH,
    KeyRow,
    PanelBox,
    Region,
    Style,
    key_height,
    key_rows,
    new_sheet,
    refuse_width,
    title_block,
)
from bpvet.figures.style import GUIDE_GREY, HAIRLINE, INK, PAPER, house_style
from bpvet.frozen import dataclass, replace

_ROW, _BARS = 5.0, 34.0
#: In somebody's Axes panels keep this share of that, so that no name stands on another.
_LEAST = 0.72
#: Rows without names, and their lines of text, take less, mm.
_LEAST_UNNAMED = 20.0
#: Below a panel: space for the numbers of its axis, and after the words of the axis.
_TICKS, _BELOW = 5.0, 2.5
_RIGHT = 5.0
_BARS_LEFT = 11.0
#: Names of rows take at most this share of the width.
_NAMES = 0.54
_WIDEST_PANEL = 115.0
_DASH: Any = (0, (4, 2))
_BAR = "#c4c4c4"
_MARK: Style = {"marker": "o", "mfc": PAPER, "mec": INK, "mew": HAIRLINE, "ms": 4.5}

Panel = RowsPanel | BarsPanel


@dataclass(frozen=True)
class PlacedPanel:
    """A panel with its place, the words above and below it, and whether its rows are named."""

    box: PanelBox
    heading: Block
    axis: Block
    panel: Panel
    named: bool


@dataclass(frozen=True)
class Plan:
    """The whole figure with everything in its place, mm."""

    width: float
    height: float
    title: Block
    panels: tuple[PlacedPanel, ...]
    key: tuple[KeyRow, ...]
    key_top: float


def draw(
    picture: AuditPicture, width_mm: float = FULL_WIDTH, region: Region | None = None
) -> Figure:
    """Draw a figure of the audit.

    Parameters
    ----------
    picture : AuditPicture
        What to show.
    width_mm : float
        Width, mm, at least 80; the height follows.
    region : Region, optional
        What it is to fill in somebody's figure; its width and height are then the picture's.

    Returns
    -------
    matplotlib.figure.Figure
        A figure of its own, known to no window, or that of the region.

    Raises
    ------
    CallError
        If the width, or the region, is too small.
    """
    width = width_mm if region is None else region.width
    refuse_width(width)
    plan = _plan(picture, width) if region is None else _fitted(picture, region)
    with house_style():
        return _drawn(plan, region)


def _fitted(picture: AuditPicture, region: Region) -> Plan:
    """Return the plan of what of a picture a region has space for.

    Where it is too much, an axis is named once, then the lower panels are left out, then the
    names of the rows; the key tells of both.
    """
    with suppress(CallError):
        return _filling(picture, region)
    for count in range(len(picture.panels), 0, -1):
        with suppress(CallError):
            return _filling(_first_panels(picture, count), region, brief=True)
    return _filling(_first_panels(picture, 1), region, brief=True, named=False)


def _first_panels(picture: AuditPicture, count: int) -> AuditPicture:
    """Return a picture without all but so many panels; its note tells of the others."""
    left_out = [panel.heading for panel in picture.panels[count:]]
    if not left_out:
        return picture
    note = picture.words.left_out.format(panels="; ".join(left_out))
    return replace(picture, panels=picture.panels[:count], note=note)


def _filling(
    picture: AuditPicture, region: Region, *, brief: bool = False, named: bool = True
) -> Plan:
    """Return the plan of a picture whose panels grow or give way to fill a region."""
    plan = _plan(picture, region.width, brief=brief, named=named)
    panels = sum(placed.box.height for placed in plan.panels)
    least = _LEAST * panels if named else min(panels, _LEAST_UNNAMED)
    stretch = 1.0 + region.spare(plan.height, panels, least) / panels
    return _plan(picture, region.width, stretch, brief=brief, named=named)


def _plan(
    picture: AuditPicture,
    width: float,
    stretch: float = 1.0,
    *,
    brief: bool = False,
    named: bool = True,
) -> Plan:
    """Return the plan, its panels `stretch` times as high as they would be by themselves.

    A `brief` one names an axis below the last of the panels that share it; its rows have their
    names where they are `named`.
    """
    space = width - 2 * EDGE
    title = title_block(picture.title, width, most=3)
    top, panels, left = EDGE + title.height + 1.5, [], _left(picture, width, named)
    for panel, below in zip_longest(picture.panels, picture.panels[1:]):
        heading = block(panel.heading, space, most=2)
        top += heading.height + (1.5 if brief else 2.5)
        tall = _BARS if isinstance(panel, BarsPanel) else _ROW * len(panel.names) + 2.0
        tall *= stretch
        wide = min(width - EDGE - left - _RIGHT, _WIDEST_PANEL)
        shared = brief and below is not None and below.axis == panel.axis
        axis = block("" if shared else panel.axis, space, most=2)
        panels.append(PlacedPanel(PanelBox(left, top, wide, tall), heading, axis, panel, named))
        top += tall + _TICKS + axis.height + (1.2 if brief else _BELOW)
    key = key_rows(_key(picture, named), width)
    return Plan(width, top + key_height(key) + EDGE, title, tuple(panels), key, top)


def _left(picture: AuditPicture, width: float, named: bool) -> float:
    """Return where the panels begin: right of the longest name, as far as that may reach."""
    widest = _BARS_LEFT
    for panel in picture.panels:
        if isinstance(panel, RowsPanel) and named:
            names = (block(name, _NAMES * width, most=1).text for name in panel.names)
            widest = max(widest, *(width_mm(name) + 2.5 for name in names))
    return EDGE + widest


def _key(picture: AuditPicture, named: bool) -> list[tuple[Style, str]]:
    rows: list[tuple[Style, str]] = []
    if picture.marks_are:
        rows.append((_MARK | {"color": INK, "lw": 1.4}, picture.marks_are))
    if any(_without_interval(panel) for panel in picture.panels):
        rows.append((_MARK | {"ls": "none"}, picture.words.no_interval))
    for words in dict.fromkeys(panel.line_is for panel in picture.panels if panel.line_is):
        rows.append(({"color": GUIDE_GREY, "lw": HAIRLINE, "ls": _DASH}, words))
    unnamed = sum(len(panel.names) for panel in picture.panels if isinstance(panel, RowsPanel))
    notes = [picture.words.unnamed.format(count=unnamed)] if unnamed and not named else []
    notes.append(picture.note)
    rows += [({"lw": 0}, note) for note in notes if note]
    return rows


def _without_interval(panel: Panel) -> bool:
    """Return whether a panel has an estimate that stands alone."""
    if isinstance(panel, BarsPanel):
        return False
    return bool((np.isfinite(panel.estimate) & ~np.isfinite(panel.low)).any())


def _drawn(plan: Plan, region: Region | None) -> Figure:
    sheet = new_sheet(plan.width, plan.height, plan.title, region)
    for placed in plan.panels:
        sheet.words(EDGE, placed.box.top - placed.heading.height - 2.0, placed.heading)
        # What the axis shows stands below its middle, as near to it as the page allows.
        half = placed.axis.width / 2
        middle = min(placed.box.left + placed.box.width / 2, sheet.width - EDGE - half)
        top = placed.box.top + placed.box.height + _TICKS + placed.axis.height / 2
        fixed: Style = {"ha": "center", "va": "center", "parse_math": False}
        sheet.page.text(max(middle, EDGE + half), top, placed.axis.text, **fixed)
        axes = sheet.panel(placed.box)
        if isinstance(placed.panel, RowsPanel):
            _rows(axes, placed.panel, plan.width, placed.named)
        else:
            at = np.arange(len(placed.panel.names), dtype=float)
            style: Style = {"color": _BAR, "edgecolor": INK, "lw": HAIRLINE}
            axes.bar(at, placed.panel.count, width=0.7, label="counts", **style)
            axes.set_xticks(at, placed.panel.names)
            axes.tick_params(axis="x", length=0)
            axes.yaxis.set_major_locator(MaxNLocator(4, integer=True, steps=[1, 2, 5, 10]))
            axes.set_ylim(0, 1.08 * max(float(placed.panel.count.max()), placed.panel.line, 1.0))
            axes.axhline(
                placed.panel.line, color=INK, lw=HAIRLINE, ls=_DASH, zorder=3, label="line"
            )
    sheet.key(plan.key_top, plan.key)
    return sheet.figure


def _rows(axes: Axes, panel: RowsPanel, width: float, named: bool) -> None:
    at = np.arange(len(panel.names), dtype=float)
    axes.set_ylim(len(panel.names) - 0.4, -0.6)
    if named:
        names = [block(name, _NAMES * width, most=1).text for name in panel.names]
        axes.set_yticks(at, names)
    else:
        axes.set_yticks([])
    axes.tick_params(axis="y", length=0)
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    span = panel.span or (panel.line, panel.line)
    drawn = np.concatenate([panel.estimate, panel.low, panel.high, [panel.line, *span]])
    drawn = drawn[np.isfinite(drawn)]
    spare = 0.06 * float(np.ptp(drawn)) or 1.0
    axes.set_xlim(float(drawn.min()) - spare, float(drawn.max()) + spare)
    if panel.line_is:
        axes.axvline(panel.line, color=GUIDE_GREY, lw=HAIRLINE, ls=_DASH, zorder=1, label="line")
    axes.hlines(at, panel.low, panel.high, color=INK, lw=1.4, zorder=2, label="intervals")
    axes.plot(panel.estimate, at, ls="none", zorder=3, label="estimates", **_MARK)
