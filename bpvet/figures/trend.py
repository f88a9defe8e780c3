"""The figure of one animal through time: planned in millimetres from top to bottom, then drawn.

The width is given; the height follows from what there is to show, so nothing has to be squeezed.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bpvet.errors import CallError
from bpvet.figures.axes import Scale, date_ticks, date_words
from bpvet.figures.key import draw_key, footnotes_alone
from bpvet.figures.labels import MarginLabel, NearLabel, leader
from bpvet.figures.lettering import height_mm, written
from bpvet.figures.marking import Meaning
from bpvet.figures.panel import draw_panel
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.rows import draw_rows
from bpvet.figures.sheet import (
    COLUMN_WIDTH,
    EDGE,
    FULL_WIDTH,
    LEAST_WIDTH,
    Region,
    Sheet,
    new_sheet,
)
from bpvet.figures.strip import draw_strip
from bpvet.figures.style import (
    CHANGE_DASHES,
    GUIDE_GREY,
    HAIRLINE,
    INK,
    WORDS_GREY,
    house_style,
)
from bpvet.figures.tracks import draw_tracks
from bpvet.figures.trend_plan import TO_MARGIN, URGENT_MARK, Plan, trend_plan
from bpvet.figures.words import TrendWords
from bpvet.frozen import dataclass, replace

__all__ = ["COLUMN_WIDTH", "FULL_WIDTH", "LEAST_WIDTH", "caption", "draw"]

_BETWEEN_PANELS = 3.0
#: In somebody's Axes the first panel is no lower, mm; the second where all else is left out, the
#: third where no level is named either.
_LEAST_PANEL, _LOWEST_PANEL, _LOWEST_BARE = 38.0, 22.0, 18.0


def draw(
    picture: TrendPicture, width_mm: float = FULL_WIDTH, region: Region | None = None
) -> Figure:
    """Draw a trend.

    Parameters
    ----------
    picture : TrendPicture
        What to show.
    width_mm : float
        Width, mm, at least 80; the height follows.
    region : Region, optional
        What it is to fill in somebody's figure; its width and height are then the picture's.

    Returns
    -------
    matplotlib.figure.Figure
        A figure of its own, known to no window, or that of the region. Every mark stands at its
        date (days since 1970-01-01, a day's at its noon) and value, and says what it stands for
        (`figures.marking`).

    Raises
    ------
    CallError
        If the width, or the region, is too small.
    """
    if region is None:
        plan = trend_plan(picture, width_mm)
    else:
        picture, plan = _fitted(picture, region)
    with house_style():
        return _drawn(plan, picture, region)


def _fitted(picture: TrendPicture, region: Region) -> tuple[TrendPicture, Plan]:
    """Return what of a picture a region has space for; what is urgent is always of it.

    Drugs and signs stand above the first panel, in less space than their rows take below it.
    Where that is too much the newest value is left out, then the key but its footnotes, then the
    signs; of several panels then the levels, then the lowest panel, which is told of in place of
    the newest value.
    """
    whole = replace(picture, tracks=(), rows=())
    brief = replace(whole, newest="")
    for reduced, keyed in ((whole, True), (brief, True), (brief, False)):
        with suppress(CallError):
            return reduced, _filling(reduced, region, keyed, _LEAST_PANEL)
    for count in range(len(picture.panels), 1, -1):
        fewer = _first_panels(brief, count)
        unsigned = replace(fewer, signs=())
        bare = tuple(replace(panel, levels=(), guideline="") for panel in fewer.panels)
        unmarked = replace(unsigned, window=None, panels=bare)
        for reduced, lowest in (
            (fewer, _LOWEST_PANEL),
            (unsigned, _LOWEST_PANEL),
            (unmarked, _LOWEST_BARE),
        ):
            with suppress(CallError):
                return reduced, _filling(reduced, region, False, lowest)
    least = replace(_first_panels(brief, 1), signs=())
    return least, _filling(least, region, False, _LOWEST_PANEL)


def _first_panels(picture: TrendPicture, count: int) -> TrendPicture:
    """Return a picture without all but so many panels, which tells of the others."""
    left_out = [panel.heading for panel in picture.panels[count:]]
    note = picture.words.left_out_panels.format(panels="; ".join(left_out)) if left_out else ""
    return replace(picture, panels=picture.panels[:count], newest=note)


def _filling(picture: TrendPicture, region: Region, keyed: bool, least: float) -> Plan:
    """Return the plan of a picture whose first panel grows or gives way to fill a region."""

    def planned(more: float) -> Plan:
        plan = trend_plan(picture, region.width, more, low=least < _LEAST_PANEL)
        return plan if keyed else replace(plan, key=footnotes_alone(plan.key))

    more, plan = 0.0, planned(0.0)
    # Names at the right edge may ask for a higher panel: what is left over is looked at again.
    for _ in range(8):
        spare = region.spare(_tops(plan).bottom, plan.panels[0].height, least)
        if 0.0 <= spare < 0.5:
            return plan
        # A hair less than all of it: rather a gap below than too much.
        more += (spare - 0.2) / (1.75 if plan.near else 1.0)
        plan = planned(more)
    region.spare(_tops(plan).bottom, 0.0, 0.0)
    return plan


def caption(picture: TrendPicture, width_mm: float = FULL_WIDTH) -> str:
    """Return the picture's caption and, written out, what its drawing had to cut or leave out.

    Parameters
    ----------
    picture : TrendPicture
        What is shown.
    width_mm : float
        Width of the figure, mm: a narrow one shortens more.

    Returns
    -------
    str
        Sentences.
    """
    plan = trend_plan(picture, width_mm)
    parts = [picture.caption]
    if plan.unsaid:
        parts.append(picture.words.shortened.format(items="; ".join(plan.unsaid)))
    if plan.beyond:
        parts.append(picture.words.beyond.format(items="; ".join(plan.beyond)))
    return written(" ".join(parts))


@dataclass(frozen=True)
class _Tops:
    """Where each part begins, mm from the figure's top, and where the figure ends."""

    as_of: float
    urgent: float
    newest: float
    headings: tuple[float, ...]
    strip: float
    panels: tuple[float, ...]
    tracks: float
    rows: float
    key: float
    bottom: float


def _tops(plan: Plan) -> _Tops:
    top = EDGE + plan.title.height
    as_of = EDGE + (plan.title.height - plan.as_of.height) / 2
    if not _beside(plan):
        as_of, top = top, top + plan.as_of.height
    urgent = top + 0.8
    top += plan.urgent.height + 0.8 if plan.urgent.text else 0.0
    newest = top + 0.8
    top += plan.newest.height + 0.8 if plan.newest.text else 0.0
    headings, panels, strip, tracks, rows = [], [], 0.0, 0.0, 0.0
    for index, (panel, heading) in enumerate(zip(plan.panels, plan.headings, strict=True)):
        headings.append(top + (_BETWEEN_PANELS if index else 0.8))
        top = headings[-1] + heading.height + 2.0
        if index == 0:
            strip, top = top, top + plan.strip.height
        panels.append(top)
        top += panel.height + _dates_height(plan, index)
        if index == 0:  # on the dates of the pressure, and next to them
            tracks, rows = top, top + plan.tracks.height
            top = rows + plan.rows.height
    key = top + 0.5
    bottom = key + plan.key.height + EDGE
    heads, fields = tuple(headings), tuple(panels)
    return _Tops(as_of, urgent, newest, heads, strip, fields, tracks, rows, key, bottom)


def _dated(plan: Plan, index: int) -> bool:
    """Return whether a panel's dates are written under it: the last one's of each date axis."""
    last = index == len(plan.panels) - 1
    last = last or (index == 0 and bool(plan.tracks.height + plan.rows.height))
    return last or plan.panels[index].x != plan.panels[index + 1].x


def _dates_height(plan: Plan, index: int) -> float:
    if not _dated(plan, index):
        return 0.0
    ticks = date_ticks(plan.panels[index].x)
    return height_mm(max((tick.label.count("\n") + 1 for tick in ticks), default=1)) + 3.0


def _beside(plan: Plan) -> bool:
    """Return whether the date stands beside a title of one line."""
    together = plan.title.width + plan.as_of.width + 2 * EDGE + 4
    return len(plan.title.lines) == 1 and together <= plan.width


def _drawn(plan: Plan, picture: TrendPicture, region: Region | None) -> Figure:
    tops = _tops(plan)
    sheet = new_sheet(plan.width, tops.bottom, plan.title, region)
    sheet.page.set_zorder(1)
    across = plan.x.at_high - plan.x.at_low
    as_of_left = plan.width - EDGE - plan.as_of.width if _beside(plan) else EDGE
    sheet.words(as_of_left, tops.as_of, plan.as_of, color=WORDS_GREY)
    if plan.urgent.text:
        middle = tops.urgent + height_mm(1) / 2
        sheet.page.plot([EDGE + 1.2], [middle], marker="^", ms=6.0, mfc=INK, mec=INK, ls="none")
        sheet.words(EDGE + URGENT_MARK, tops.urgent, plan.urgent, weight="bold")
    if plan.newest.text:
        sheet.words(EDGE, tops.newest, plan.newest)
    for index, panel in enumerate(plan.panels):
        sheet.words(EDGE, tops.headings[index], plan.headings[index])
        axes = sheet.axes(panel.x.at_low, tops.panels[index], across, panel.height)
        draw_panel(panel, axes)
        _uprights(axes, plan, panel.x, panel.name, picture.words)
        labelled = _dated(plan, index)
        ticks = date_ticks(panel.x)
        # All labels get as many lines, so that they stand on one line.
        tall = any("\n" in tick.label for tick in ticks)
        texts = [tick.label + ("\n" if tall and "\n" not in tick.label else "") for tick in ticks]
        labels = texts if labelled else [""] * len(ticks)
        axes.set_xticks([tick.at for tick in ticks], labels)
        _margin(sheet, panel.margin, panel.x.at_high, tops.panels[index])
        _names(sheet, panel.names, tops.panels[index])
        if panel.name == "main" and plan.near is not None:
            # A bar on the date axis marks the weeks that the panel below enlarges.
            low, high = axes.get_ylim()
            bar: dict[str, Any] = {
                "color": GUIDE_GREY,
                "lw": 3.0,
                "solid_capstyle": "butt",
                "label": "enlarged below",
            }
            axes.plot(plan.near, [low + 0.012 * (high - low)] * 2, zorder=3.6, **bar)
    if plan.strip.height:
        strip = sheet.field(plan.x.at_low, tops.strip, across, plan.strip.height)
        draw_strip(plan.strip, strip, plan.x)
    draw_tracks(plan.tracks, sheet, plan.x, tops.tracks, picture.as_of, picture.words)
    for axes, quantity in draw_rows(plan.rows, sheet, plan.x, tops.rows, picture.words):
        _uprights(axes, plan, plan.x, quantity, picture.words)
    draw_key(plan.key, sheet.page, tops.key)
    return sheet.figure


def _uprights(axes: Axes, plan: Plan, x: Scale, name: str, words: TrendWords) -> None:
    """Carry treatment changes, and today, down through a panel."""
    for day in plan.uprights:
        if x.low < day < x.high:
            axes.axvline(day, color=GUIDE_GREY, lw=HAIRLINE, ls=CHANGE_DASHES, zorder=3.4)
    if x.low < plan.today < x.high:
        date = str(np.datetime64(int(plan.today), "D"))
        title = words.today_is.format(day=date_words(np.datetime64(date)))
        gid = Meaning("today", name, date, title=title).gid
        axes.axvline(plan.today, color=GUIDE_GREY, lw=HAIRLINE, zorder=3.4, gid=gid)


def _margin(sheet: Sheet, labels: tuple[MarginLabel, ...], edge: float, top: float) -> None:
    """Write the names at the right edge; one that had to move is led to its line."""
    for label in labels:
        left, middle = edge + TO_MARGIN, top + label.middle
        moved = abs(label.middle - label.points_at) > label.words.height / 2
        if label.kind == "line" or moved:
            ends = [edge, left - 0.8], [top + label.points_at, middle]
            sheet.page.plot(*ends, color=GUIDE_GREY, lw=HAIRLINE)
        colour = INK if label.kind == "line" else WORDS_GREY
        sheet.words(left, middle - label.words.height / 2, label.words, color=colour)


def _names(sheet: Sheet, labels: tuple[NearLabel, ...], top: float) -> None:
    """Write names of sessions inside the panel, each led to its mark."""
    for label in labels:
        x, y, end_x, end_y = leader(label.box, label.mark)
        sheet.page.plot([x, end_x], [top + y, top + end_y], color=GUIDE_GREY, lw=HAIRLINE)
        sheet.words(label.box.left, top + label.box.top, label.words, color=WORDS_GREY)
