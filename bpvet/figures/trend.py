"""The figure of one animal through time: planned in millimetres from top to bottom, then drawn.

The width is given; the height follows from what there is to show, so nothing has to be squeezed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bpvet.figures.axes import (
    Scale,
    date_ticks,
    date_words,
    days,
    value_label,
    value_step,
    value_ticks,
)
from bpvet.figures.key import KeyPlan, draw_key, plan_key
from bpvet.figures.labels import MarginLabel, NearLabel, leader
from bpvet.figures.lettering import Block, block, height_mm, width_mm, written
from bpvet.figures.panel import PanelPlan, draw_panel, plan_panel, value_range
from bpvet.figures.pictures import Panel, TrendPicture
from bpvet.figures.sheet import (
    COLUMN_WIDTH,
    EDGE,
    FULL_WIDTH,
    LEAST_WIDTH,
    Sheet,
    new_sheet,
    refuse_width,
    title_block,
)
from bpvet.figures.strip import (
    StripPlan,
    course_days,
    draw_course_lines,
    draw_strip,
    outside,
    plan_strip,
)
from bpvet.figures.style import (
    GUIDE_GREY,
    HAIRLINE,
    INK,
    WORDS_GREY,
    house_style,
    method_style,
)

__all__ = ["COLUMN_WIDTH", "FULL_WIDTH", "LEAST_WIDTH", "caption", "draw"]

_TO_MARGIN = 1.8
_BETWEEN_PANELS = 3.0


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole figure with everything in its place, mm."""

    width: float
    x: Scale
    margin_room: float
    title: Block
    as_of: Block
    strip: StripPlan
    headings: tuple[Block, ...]
    panels: tuple[PanelPlan, ...]
    key: KeyPlan
    unsaid: tuple[str, ...]
    beyond: tuple[str, ...]


def draw(picture: TrendPicture, width_mm: float = FULL_WIDTH) -> Figure:
    """Draw a trend.

    Parameters
    ----------
    picture : TrendPicture
        What to show.
    width_mm : float
        Width, mm, at least 80; the height follows.

    Returns
    -------
    matplotlib.figure.Figure
        A figure of its own, known to no window. Marks keep their dates and values as data
        (days since 1970-01-01); where marks of one date stand side by side, only their place
        on the page is shifted.

    Raises
    ------
    CallError
        If the width is too small.
    """
    plan = _plan(picture, width_mm)
    with house_style():
        return _drawn(plan, picture)


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
    plan = _plan(picture, width_mm)
    parts = [picture.caption]
    if plan.unsaid:
        parts.append(f"Shortened or not legible in the figure: {'; '.join(plan.unsaid)}.")
    if plan.beyond:
        parts.append(f"Before or after the dates shown: {'; '.join(plan.beyond)}.")
    return written(" ".join(parts))


def _plan(picture: TrendPicture, width: float) -> Plan:
    refuse_width(width)
    heights = _heights(len(picture.panels), width)
    left = EDGE + 2.2 + max(map(_ticks_width, picture.panels, heights))
    room = _margin_room(picture, width)
    x = _date_scale(picture, left, width - EDGE - room - _TO_MARGIN)
    uprights = [x.mm(day) for day in course_days(picture.courses, x)]
    panels = tuple(
        plan_panel(panel, x, height, room, uprights)
        for panel, height in zip(picture.panels, heights, strict=True)
    )
    strip = plan_strip(picture.courses, list(_flags(picture, panels[0])), x, width - EDGE)
    headings = tuple(_heading(panel, width - 2 * EDGE) for panel in picture.panels)
    key = plan_key(picture, EDGE, width - EDGE)
    title = title_block(picture.title, width)
    as_of = block(f"Records as of {date_words(picture.as_of)}", width - 2 * EDGE)
    unsaid = [picture.title] if not title.whole else []
    unsaid += [*strip.unsaid, *key.unsaid, *_cut(panels, headings)]
    beyond = outside(picture.courses, picture.signs, x)
    words = tuple(dict.fromkeys(unsaid))
    return Plan(width, x, room, title, as_of, strip, headings, panels, key, words, tuple(beyond))


def _ticks_width(panel: Panel, height: float) -> float:
    low, high = value_range(panel, height)
    step = value_step(low, high, height)
    return max(width_mm(value_label(v, step)) for v in value_ticks(low, high, height))


def _margin_room(picture: TrendPicture, width: float) -> float:
    """Return the width of the right edge: what its names ask for, within a share of the figure."""
    names = [level.name for panel in picture.panels for level in panel.levels]
    for panel in picture.panels:
        names += [line.words for line in (panel.target, panel.floor) if line is not None]
    asked = max((block(name, width).width for name in names), default=0.0)
    return min(max(asked, 8.0), 0.19 * width if width >= 120 else 0.29 * width)


def _date_scale(picture: TrendPicture, left: float, right: float) -> Scale:
    """Return the date axis: all sessions, and courses and signs that are not too far from them."""
    parts = [days(picture.as_of)[:0]]
    for panel in picture.panels:
        parts += [days(marks.date) for marks in (panel.sessions, *panel.others)]
        parts.append(days(panel.readings.date))
        if panel.band is not None:
            parts.append(days(panel.band.date))
    found = np.concatenate(parts)
    if not found.size:
        found = days(picture.as_of)
    low, high = float(found.min()), float(found.max())
    span = high - low
    reach = 0.3 * span if 0 < span < 2 else max(30.0, 0.3 * span)
    near = [float(days(picture.as_of)[0])]
    near += [float(days(sign.date)[0]) for sign in picture.signs]
    for course in picture.courses:
        near += [float(days(date)[0]) for date in (course.started_on, course.stopped_on)]
    near = [day for day in near if low - reach <= day <= high + reach]
    low, high = min([low, *near]), max([high, *near])
    if span == 0:
        low, high = min(low, float(found[0]) - 7), max(high, float(found[0]) + 7)
    spare = (high - low) * 3.5 / (right - left - 7.0)
    return Scale(low - spare, high + spare, left, right)


def _flags(picture: TrendPicture, first: PanelPlan) -> Iterator[tuple[float, str, float | None]]:
    """Yield signs, sessions where no sound was heard, and names that found no place."""
    for sign in picture.signs:
        yield float(days(sign.date)[0]), sign.label, None
    readings = first.panel.readings
    silent = days(readings.date)[readings.fate == "no sound"]
    for day in np.unique(silent):
        yield float(day), "no sound", None
    for day, value, name in first.unnamed:
        yield day, name, value


def _heights(count: int, width: float) -> list[float]:
    """Return the least heights of `count` panels, mm: the more there are, the lower they are."""
    tallest, lower = (72.0, 34.0) if width >= 120 else (58.0, 30.0)
    return [tallest] + [max(20.0, lower - 4.0 * (count - 2))] * (count - 1)


def _heading(panel: Panel, room: float) -> Block:
    return block(f"{panel.heading} ({panel.unit})" if panel.unit else panel.heading, room, most=3)


def _cut(panels: tuple[PanelPlan, ...], headings: tuple[Block, ...]) -> Iterator[str]:
    """Yield in full what was shortened at the panels, and names without a place in lower ones."""
    for plan, heading in zip(panels, headings, strict=True):
        if not heading.whole:
            yield plan.panel.heading
        yield from (label.full for label in plan.margin if not label.words.whole)
    for plan in panels[1:]:
        for day, _, name in plan.unnamed:
            yield f"{name} ({date_words(np.datetime64(int(day), 'D'))})"


@dataclass(frozen=True)
class _Tops:
    """Where each part begins, mm from the figure's top, and where the figure ends."""

    as_of: float
    headings: tuple[float, ...]
    strip: float
    panels: tuple[float, ...]
    key: float
    bottom: float


def _tops(plan: Plan) -> _Tops:
    top = EDGE + plan.title.height
    as_of = EDGE + (plan.title.height - plan.as_of.height) / 2
    if not _beside(plan):
        as_of, top = top, top + plan.as_of.height
    headings, panels, strip = [], [], 0.0
    for index, (panel, heading) in enumerate(zip(plan.panels, plan.headings, strict=True)):
        headings.append(top + (_BETWEEN_PANELS if index else 0.8))
        top = headings[-1] + heading.height + 2.0
        if index == 0:
            strip, top = top, top + plan.strip.height
        panels.append(top)
        top += panel.height
    rows = max((tick.label.count("\n") + 1 for tick in date_ticks(plan.x)), default=1)
    key = top + height_mm(rows) + 3.5
    return _Tops(as_of, tuple(headings), strip, tuple(panels), key, key + plan.key.height + EDGE)


def _beside(plan: Plan) -> bool:
    """Return whether the date stands beside a title of one line."""
    together = plan.title.width + plan.as_of.width + 2 * EDGE + 4
    return len(plan.title.lines) == 1 and together <= plan.width


def _drawn(plan: Plan, picture: TrendPicture) -> Figure:
    tops = _tops(plan)
    sheet = new_sheet(plan.width, tops.bottom, plan.title)
    sheet.page.set_zorder(1)
    colour = method_style(picture.panels[0].sessions.method).colour
    across = plan.x.at_high - plan.x.at_low
    as_of_left = plan.width - EDGE - plan.as_of.width if _beside(plan) else EDGE
    sheet.words(as_of_left, tops.as_of, plan.as_of, color=WORDS_GREY)
    for index, panel in enumerate(plan.panels):
        sheet.words(EDGE, tops.headings[index], plan.headings[index])
        axes = sheet.axes(plan.x.at_low, tops.panels[index], across, panel.height)
        draw_panel(panel, axes)
        draw_course_lines(axes, picture.courses, plan.x)
        _date_axis(axes, plan.x, labelled=index == len(plan.panels) - 1)
        _margin(sheet, panel.margin, plan.x.at_high, tops.panels[index])
        _names(sheet, panel.names, tops.panels[index])
        if index == 0:
            _poles(axes, plan.strip, plan.x, panel.y.high, colour)
    if plan.strip.height:
        strip = sheet.axes(plan.x.at_low, tops.strip, across, plan.strip.height)
        draw_strip(plan.strip, strip, plan.x, colour)
    draw_key(plan.key, sheet.page, tops.key)
    return sheet.figure


def _date_axis(axes: Axes, x: Scale, labelled: bool) -> None:
    ticks = date_ticks(x)
    # All labels get as many lines, so that they stand on one line.
    tall = any("\n" in tick.label for tick in ticks)
    texts = [tick.label + ("\n" if tall and "\n" not in tick.label else "") for tick in ticks]
    labels = texts if labelled else [""] * len(ticks)
    axes.set_xticks([tick.at for tick in ticks], labels)


def _margin(sheet: Sheet, labels: tuple[MarginLabel, ...], edge: float, top: float) -> None:
    """Write the names at the right edge; a line's name is led to its line."""
    for label in labels:
        left, middle = edge + _TO_MARGIN, top + label.middle
        moved = abs(label.middle - label.points_at) > label.words.height / 2
        if label.kind == "line" or (label.kind == "level" and moved):
            ends = [edge, left - 0.4], [top + label.points_at, middle]
            sheet.page.plot(*ends, color=INK if label.kind == "line" else GUIDE_GREY, lw=HAIRLINE)
        colour = INK if label.kind == "line" else WORDS_GREY
        sheet.words(left, middle - label.words.height / 2, label.words, color=colour)


def _names(sheet: Sheet, labels: tuple[NearLabel, ...], top: float) -> None:
    """Write names of sessions inside the panel, each led to its mark."""
    for label in labels:
        x, y, end_x, end_y = leader(label.box, label.mark)
        sheet.page.plot([x, end_x], [top + y, top + end_y], color=GUIDE_GREY, lw=HAIRLINE)
        sheet.words(label.box.left, top + label.box.top, label.words)


def _poles(axes: Axes, strip: StripPlan, x: Scale, high: float, colour: str) -> None:
    """Carry the pole of a session's name down to the session."""
    for flag in strip.hung:
        if flag.value is not None:
            at = x.value(flag.pole)
            axes.plot([at, at], [flag.value, high], color=colour, lw=HAIRLINE, zorder=4.5)
