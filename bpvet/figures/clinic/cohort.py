"""The figures of a cohort: small panels, residuals, a caterpillar, and components of scatter.

Planned in millimetres: the title, panels side by side or one below the other where it is
narrow, and the key below them. The width is given; the height follows.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from bpvet.figures.clinic.cohort_picture import (
    IntervalPanel,
    IntervalsPicture,
    ResidualsPicture,
)
from bpvet.figures.clinic.panels import draw_panels
from bpvet.figures.clinic.panels_picture import CohortPicture, PanelsPicture
from bpvet.figures.lettering import Block, block, height_mm, plain, width_mm
from bpvet.figures.sheet import (
    COLUMN_WIDTH,
    EDGE,
    FULL_WIDTH,
    KeyRow,
    PanelBox,
    Region,
    Sheet,
    Style,
    key_height,
    key_rows,
    new_sheet,
    refuse_width,
    title_block,
)
from bpvet.figures.style import CENTRE_LINE, GUIDE_GREY, HAIRLINE, INK, PAPER, house_style
from bpvet.frozen import dataclass

__all__ = ["COLUMN_WIDTH", "FULL_WIDTH", "MOST_NAMES", "draw"]

#: Most rows whose names are written; more are drawn closer, without names.
MOST_NAMES = 45
#: From this many sessions on, marks are smaller, and are kept as dots and not as outlines.
MANY = 400

_LEFT, _RIGHT = 14.0, 4.0
_BESIDE_FROM = 120.0
_ROW = 4.3
#: In somebody's Axes panels without names are no lower, mm.
_LEAST_PANEL = 30.0
_STEPS = [1, 2, 5, 10]
_ANIMAL_GREY = "#a8a8a8"


@dataclass(frozen=True)
class Plan:
    """The whole figure with everything in its place, mm."""

    width: float
    height: float
    title: Block
    headings: tuple[Block, ...]
    panels: tuple[PanelBox, ...]
    key: tuple[KeyRow, ...]
    key_top: float


def draw(
    picture: CohortPicture, width_mm: float = FULL_WIDTH, region: Region | None = None
) -> Figure:
    """Draw one of a cohort's figures.

    Parameters
    ----------
    picture : PanelsPicture, ResidualsPicture or IntervalsPicture
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
    if isinstance(picture, PanelsPicture):
        return draw_panels(picture, width_mm, region)
    width = width_mm if region is None else region.width
    refuse_width(width)
    with house_style():
        if isinstance(picture, ResidualsPicture):
            return _residuals(picture, width, region)
        return _intervals(picture, width, region)


def _residuals(picture: ResidualsPicture, width: float, region: Region | None) -> Figure:
    many = picture.residual.size > MANY
    mark: Style = {"ls": "none", "marker": "o", "ms": 2.2 if many else 3.0}
    mark |= {"mec": INK, "mew": 0.5 if many else 0.7, "mfc": PAPER}
    words = picture.words
    key: list[tuple[Style, str]] = [
        (mark, words.session),
        ({"color": INK, "lw": HAIRLINE}, words.none),
        ({"color": GUIDE_GREY, "lw": HAIRLINE, "ls": (0, (4, 2))}, words.two_sds),
    ]
    plan = _plan(picture.title, width, [words.fitted, words.normal], 0.8, key)
    if region is not None:
        tall = _filling(plan, region, _LEAST_PANEL)
        plan = _plan(picture.title, width, [words.fitted, words.normal], 0.8, key, height=tall)
    sheet = _sheet(plan, region)
    first, second = (_axes(sheet, box) for box in plan.panels)
    reach = 1.08 * max(3.0, float(np.abs(picture.residual).max()))
    for axes, x in ((first, picture.fitted), (second, picture.normal)):
        axes.plot(x, picture.residual, zorder=2, rasterized=many, label="sessions", **mark)
        axes.set_ylim(-reach, reach)
        axes.set_ylabel(words.residual_axis, labelpad=2)
    first.axhline(0.0, color=INK, lw=HAIRLINE, zorder=1)
    for end in (-2.0, 2.0):
        first.axhline(end, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (4, 2)), zorder=1)
    ends = [float(picture.normal.min()), float(picture.normal.max())]
    second.plot(ends, ends, color=INK, lw=HAIRLINE, zorder=3, label="normal")
    first.set_xlabel(words.fitted_axis.format(unit=picture.unit).rstrip(", "))
    second.set_xlabel(words.normal_axis)
    return _finished(sheet, plan)


def _intervals(
    picture: IntervalsPicture, width: float, region: Region | None, most: int = MOST_NAMES
) -> Figure:
    named = len(picture.names) <= most
    share = width / len(picture.panels) if width >= _BESIDE_FROM else width
    space = min(max(map(width_mm, map(plain, picture.names))) + 1.0, 0.4 * share) if named else 4.0
    names = [block(name, space - 1.0) for name in picture.names] if named else []
    row = max([_ROW, *(name.height + 1.0 for name in names)])
    height = row * (len(names) + 0.6) if named else min(180.0, 0.4 * len(picture.names))
    key: list[tuple[Style, str]] = [(_interval_style(named), f"{picture.mark}, {picture.interval}")]
    if picture.zero_is:
        key.append(({"color": GUIDE_GREY, "lw": HAIRLINE}, f"0: {picture.zero_is}"))
    if not named:
        key.append(({"lw": 0}, picture.unnamed.format(count=len(picture.names))))
    headings = [panel.heading for panel in picture.panels]
    plan = _plan(picture.title, width, headings, 0.0, key, left=space, height=height)
    if region is not None:
        least = height * max((name.height + 0.2) / row for name in names) if named else 0.0
        if named and plan.height - height + least > region.height:
            # Where there is no space for their names, rows are drawn closer, without.
            return _intervals(picture, width, region, 0)
        tall = _filling(plan, region, max(least, _LEAST_PANEL))
        row *= tall / height
        plan = _plan(picture.title, width, headings, 0.0, key, left=space, height=tall)
    sheet = _sheet(plan, region)
    for panel, box in zip(picture.panels, plan.panels, strict=True):
        axes = _axes(sheet, box)
        _draw_intervals(axes, panel, named)
        if picture.zero_is:
            axes.axvline(0.0, color=GUIDE_GREY, lw=HAIRLINE, zorder=1)
        else:
            axes.set_xlim(left=0.0)
        for row_number, name in enumerate(names):
            middle = box.top + (row_number + 0.8) * row
            at: Style = {"ha": "right", "va": "center", "parse_math": False}
            sheet.page.text(box.left - 1.2, middle, name.text, **at)
    return _finished(sheet, plan)


def _interval_style(named: bool) -> Style:
    """Return how an interval and its estimate are drawn; without names they stand close."""
    if named:
        return {"color": INK, "lw": CENTRE_LINE, "marker": "o", "ms": 4, "mfc": PAPER, "mec": INK}
    return {"color": _ANIMAL_GREY, "lw": HAIRLINE, "marker": "o", "ms": 1.6, "mfc": INK, "mec": INK}


def _draw_intervals(axes: Axes, panel: IntervalPanel, named: bool) -> None:
    rows = np.arange(panel.estimate.size, dtype=float)
    ended = np.isfinite(panel.low) & np.isfinite(panel.high)
    style = _interval_style(named)
    line = {name: style.pop(name) for name in ("color", "lw")}
    low, high = panel.low[ended], panel.high[ended]
    if named:
        axes.hlines(rows[ended], low, high, zorder=2, label="interval", **line)
    else:
        # Thousands of lines are one path with gaps: the same ink, and a tenth of the elements.
        gap = np.full(low.size, np.nan)
        x, y = np.stack([low, high, gap], 1).ravel(), np.repeat(rows[ended], 3)
        axes.plot(x, y, zorder=2, label="interval", solid_capstyle="butt", marker="", **line)
    axes.plot(panel.estimate, rows, ls="none", zorder=3, label="estimates", **style)
    axes.set_ylim(len(rows) - 0.2, -0.8)
    axes.set_yticks([])
    axes.set_xlabel(plain(panel.axis))


def _plan(
    title: str,
    width: float,
    headings: list[str],
    ratio: float,
    key: list[tuple[Style, str]],
    left: float = _LEFT,
    height: float = 0.0,
) -> Plan:
    """Return the plan; panels are `height` mm high, or that share of their width."""
    space = width - 2 * EDGE
    heading = title_block(title, width, most=3)
    beside = len(headings) > 1 and width >= _BESIDE_FROM
    share = space / len(headings) if beside else space
    inner = share - left - _RIGHT
    tall = height or max(45.0, ratio * inner)
    words = tuple(block(text, inner, most=3) for text in headings)
    top, places = EDGE + heading.height + 1.5, []
    most = max(heading_words.height for heading_words in words)
    below = tall + height_mm(2) + 5.0
    for position in range(len(words)):
        at = EDGE + left + (position * share if beside else 0.0)
        words_top = top if beside else top + position * (below + most + 2.0)
        places.append(PanelBox(at, words_top + most + 1.5, inner, tall))
    rows = key_rows(key, width)
    key_top = places[-1].top + below
    bottom = key_top + key_height(rows) + EDGE
    return Plan(width, bottom, heading, words, tuple(places), rows, key_top)


def _filling(plan: Plan, region: Region, least: float) -> float:
    """Return how high panels are with which a plan fills a region, at least so many mm."""
    rows, tall = len({box.top for box in plan.panels}), plan.panels[0].height
    return tall + region.spare(plan.height, rows * tall, rows * least) / rows


def _sheet(plan: Plan, region: Region | None) -> Sheet:
    sheet = new_sheet(plan.width, plan.height, plan.title, region)
    for box, heading in zip(plan.panels, plan.headings, strict=True):
        sheet.words(box.left, box.top - heading.height - 1.0, heading)
    return sheet


def _axes(sheet: Sheet, box: PanelBox) -> Axes:
    axes = sheet.panel(box)
    axes.xaxis.set_major_locator(MaxNLocator(4 if box.width < 50 else 6, steps=_STEPS))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=_STEPS))
    return axes


def _finished(sheet: Sheet, plan: Plan) -> Figure:
    """Draw the key, keep the ticks that lie within each panel, and return the figure."""
    for axes in sheet.panels:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            axis.set_ticks([tick for tick in axis.get_majorticklocs() if low <= tick <= high])
    sheet.key(plan.key_top, plan.key)
    return sheet.figure
