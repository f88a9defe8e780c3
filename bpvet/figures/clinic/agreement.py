"""The figure of two methods: differences against means, and one method against the other.

Planned in millimetres: two panels side by side, or one below the other where it is narrow, and
below them the key. The width is given; the height follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from bpvet.figures.clinic.agreement_picture import AgreementPicture, LevelLine, PairMarks
from bpvet.figures.lettering import Block, block, height_mm, plain
from bpvet.figures.placing import spread
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
from bpvet.figures.style import (
    CENTRE_LINE,
    FAINT_GREY,
    GUIDE_GREY,
    HAIRLINE,
    INK,
    PAPER,
    house_style,
)
from bpvet.frozen import dataclass
from bpvet.printing import number

__all__ = ["COLUMN_WIDTH", "FULL_WIDTH", "MARKERS", "draw"]

_LEFT, _RIGHT = 15.0, 11.0
_BETWEEN = 3.0
#: In somebody's Axes the panels are no lower, mm.
_LEAST_PANEL = 30.0
_BAND = "#e2e2e2"
#: Marks of single animals, told apart by shape alone.
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
_MARK, _SMALL = 5.0, 2.3

#: Line of each fitted line, in their order.
_DASHES: tuple[Any, ...] = ((0, (5, 1.5)), (0, (1, 1.5)), (0, (5, 1.5, 1, 1.5)))
_LIMIT_DASH: Any = (0, (4, 2))
_TREND_DASH: Any = (0, (1, 3))


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole figure with everything in its place, mm."""

    width: float
    height: float
    title: Block
    headings: tuple[Block, ...]
    heading_tops: tuple[float, ...]
    panels: tuple[PanelBox, ...]
    key: tuple[KeyRow, ...]
    key_top: float


def draw(
    picture: AgreementPicture, width_mm: float = FULL_WIDTH, region: Region | None = None
) -> Figure:
    """Draw two methods against each other.

    Parameters
    ----------
    picture : AgreementPicture
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
    if region is None:
        refuse_width(width_mm)
        plan = _plan(picture, width_mm)
    else:
        plan = _alone(picture, region)
    with house_style():
        return _drawn(plan, picture, region)


def _plan(picture: AgreementPicture, width: float) -> Plan:
    space = width - 2 * EDGE
    title = title_block(picture.title, width)
    beside = width >= 120
    share = (space - _BETWEEN) / 2 if beside else space
    words = (
        _heading(picture),
        picture.words.identity.format(first=picture.labels[0], second=_capital(picture.labels[1])),
    )
    headings = (block(words[0], share, most=3), block(words[1], share, most=3))
    inner = (share - _LEFT - _RIGHT, share - _LEFT - 3.0)
    tall = max(heading.height for heading in headings) if beside else headings[0].height
    top = EDGE + title.height + 1.0
    first = PanelBox(EDGE + _LEFT, top + tall + 2.0, inner[0], min(inner[1], 66.0))
    below = first.top + first.height + height_mm(2) + 4.0
    if beside:
        left, second_top, heading_top = EDGE + share + _BETWEEN, first.top, top
    else:
        left, heading_top = EDGE, below + 1.0
        second_top = heading_top + headings[1].height + 2.0
    second = PanelBox(left + _LEFT, second_top, inner[1], first.height)
    key = key_rows(_key(picture), width)
    key_top = second.top + second.height + height_mm(2) + 5.0
    bottom = key_top + key_height(key) + EDGE
    return Plan(width, bottom, title, headings, (top, heading_top), (first, second), key, key_top)


def _alone(picture: AgreementPicture, region: Region) -> Plan:
    """Return the plan of the differences alone, which fill a region."""
    title, space = title_block(picture.title, region.width), region.width - 2 * EDGE
    heading, heading_top = block(_heading(picture), space, most=3), EDGE + title.height + 1.0
    top = heading_top + heading.height + 2.0
    key = key_rows(_key(picture, alone=True), region.width)
    below = height_mm(2) + 5.0 + key_height(key) + EDGE
    tall = region.spare(top + below, 0.0, _LEAST_PANEL)
    box = PanelBox(EDGE + _LEFT, top, space - _LEFT - _RIGHT, tall)
    key_top = top + tall + height_mm(2) + 5.0
    tops, size = (heading_top,), (region.width, region.height)
    return Plan(*size, title, (heading,), tops, (box,), key, key_top)


def _heading(picture: AgreementPicture) -> str:
    first, second = picture.labels
    return picture.words.differences.format(first=first, second=second)


def _key(picture: AgreementPicture, alone: bool = False) -> list[tuple[Style, str]]:
    """Return the samples and words of the key, in order; of the differences `alone`."""
    marks: Style = {"ls": "none", "mec": INK, "mew": HAIRLINE, "ms": _MARK}
    rows: list[tuple[Style, str]] = []
    words = picture.words
    if picture.animals:
        for index, name in enumerate(picture.animals):
            rows.append((marks | {"marker": MARKERS[index], "mfc": PAPER}, name))
        first, name = rows[0]
        rows[0] = (first, words.marks_are.format(name=name, points=picture.points_are))
    else:
        rows.append((marks | {"marker": "o", "mfc": PAPER}, _capital(picture.points_are)))
    if picture.readings.first.size:
        small = {"ls": "none", "marker": "o", "ms": _SMALL, "mfc": FAINT_GREY, "mec": FAINT_GREY}
        rows.append((small, words.readings))
    bias = words.bias.format(words=picture.bias.words)
    rows.append(({"color": INK, "lw": CENTRE_LINE}, bias))
    limits = words.limits.format(lower=picture.lower.words, upper=picture.upper.words)
    rows.append(({"color": INK, "lw": HAIRLINE, "ls": _LIMIT_DASH}, limits))
    if picture.trend is not None:
        rows.append(({"color": INK, "lw": HAIRLINE, "ls": _TREND_DASH}, picture.trend.words))
    if alone:
        return rows
    rows.append(({"color": GUIDE_GREY, "lw": HAIRLINE}, words.equal))
    for line, dash in zip(picture.lines, _DASHES, strict=False):
        rows.append(({"color": INK, "lw": 1.4, "ls": dash}, line.words))
    return rows


def _drawn(plan: Plan, picture: AgreementPicture, region: Region | None) -> Figure:
    sheet = new_sheet(plan.width, plan.height, plan.title, region)
    for heading, top, panel in zip(plan.headings, plan.heading_tops, plan.panels, strict=True):
        sheet.words(panel.left - _LEFT, top, heading)
    axes = [sheet.panel(box) for box in plan.panels]
    for ax in axes:
        ax.xaxis.set_major_locator(MaxNLocator(5))
        ax.yaxis.set_major_locator(MaxNLocator(6))
    _differences(axes[0], picture)
    for ax in axes[1:]:
        _identity(ax, picture)
    _margin(sheet, axes[0], plan.panels[0], (picture.lower, picture.bias, picture.upper))
    sheet.key(plan.key_top, plan.key)
    return sheet.figure


def _differences(axes: Axes, picture: AgreementPicture) -> None:
    lines = (picture.lower, picture.bias, picture.upper)
    ends = [end for line in lines for end in (line.low, line.high, line.value) if end is not None]
    heights = [picture.points.difference, picture.readings.difference, np.array(ends)]
    axes.set_ylim(*_range(heights))
    low, high = _range([picture.points.middle, picture.readings.middle])
    axes.set_xlim(low, high)
    axes.axhline(0.0, color=GUIDE_GREY, lw=HAIRLINE, zorder=1, label="no difference")
    for line in lines:
        if line.low is not None and line.high is not None:
            axes.axhspan(line.low, line.high, color=_BAND, lw=0, zorder=0.5, label="interval")
            for end in (line.low, line.high):
                axes.axhline(end, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (1, 2)), zorder=0.6)
    axes.axhline(picture.bias.value, color=INK, lw=CENTRE_LINE, zorder=2, label="bias")
    for line, name in ((picture.lower, "lower limit"), (picture.upper, "upper limit")):
        axes.axhline(line.value, color=INK, lw=HAIRLINE, ls=_LIMIT_DASH, zorder=2, label=name)
    if picture.trend is not None:
        ends_x = np.array([low, high])
        axes.plot(
            ends_x,
            picture.trend.at(ends_x),
            color=INK,
            lw=HAIRLINE,
            ls=_TREND_DASH,
            zorder=2.2,
            label="trend",
        )
    for marks, faint in ((picture.readings, True), (picture.points, False)):
        _marks(axes, marks.middle, marks.difference, marks, picture, faint)
    unit = f", {picture.unit}" if picture.unit else ""
    axes.set_xlabel(f"{picture.words.mean_axis}{unit}", parse_math=False)
    axes.set_ylabel(f"{picture.words.difference_axis}{unit}", labelpad=2, parse_math=False)


def _identity(axes: Axes, picture: AgreementPicture) -> None:
    marks = (picture.readings, picture.points)
    low, high = _range([values for points in marks for values in (points.first, points.second)])
    axes.set_xlim(low, high)
    axes.set_ylim(low, high)
    ends = np.array([low, high])
    axes.plot(ends, ends, color=GUIDE_GREY, lw=HAIRLINE, zorder=1, label="identity")
    for line, dash in zip(picture.lines, _DASHES, strict=False):
        axes.plot(ends, line.at(ends), color=INK, lw=1.4, ls=dash, zorder=2, label=line.words)
    for points, faint in zip(marks, (True, False), strict=True):
        _marks(axes, points.first, points.second, points, picture, faint)
    unit = f", {picture.unit}" if picture.unit else ""
    names = [plain(name) for name in picture.labels]
    axes.set_xlabel(f"{_capital(names[0])}{unit}", parse_math=False)
    axes.set_ylabel(f"{_capital(names[1])}{unit}", labelpad=2, parse_math=False)


def _marks(
    axes: Axes,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    marks: PairMarks,
    picture: AgreementPicture,
    faint: bool,
) -> None:
    """Draw readings faint and round, points hollow and by animal where the animals are named."""
    if not x.size:
        return
    if faint:
        axes.plot(
            x,
            y,
            ls="none",
            marker="o",
            ms=_SMALL,
            mfc=FAINT_GREY,
            mec=FAINT_GREY,
            zorder=3,
            label="readings",
        )
        return
    codes = np.unique(marks.animal) if picture.animals else np.array([-1])
    for code in codes:
        here = marks.animal == code if picture.animals else np.ones(x.size, dtype=bool)
        axes.plot(
            x[here],
            y[here],
            ls="none",
            marker=MARKERS[code] if picture.animals else "o",
            ms=_MARK if x.size <= 60 else 3.5,
            mfc=PAPER,
            mec=INK,
            mew=HAIRLINE,
            zorder=4,
            label="points",
        )


def _range(parts: Sequence[NDArray[np.float64]]) -> tuple[float, float]:
    values = np.concatenate(parts)
    low, high = float(values.min()), float(values.max())
    spare = 0.06 * (high - low) or 5.0
    return low - spare, high + spare


def _margin(sheet: Sheet, axes: Axes, box: PanelBox, lines: Sequence[LevelLine]) -> None:
    """Write the lines' values at the right edge, led to their lines."""
    low, high = axes.get_ylim()
    wanted = [box.top + (high - line.value) / (high - low) * box.height for line in lines]
    order = sorted(range(len(lines)), key=lambda index: wanted[index])
    height = height_mm(1)
    tops = spread(
        [wanted[index] for index in order],
        [height] * len(lines),
        box.top - height,
        box.top + box.height + height,
    )
    edge = box.left + box.width
    for index, middle in zip(order, tops, strict=True):
        sheet.page.plot(
            [edge + 0.3, edge + 1.6], [wanted[index], middle], color=GUIDE_GREY, lw=HAIRLINE
        )
        sheet.page.text(edge + 2.0, middle, number(lines[index].value, 1), ha="left", va="center")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
