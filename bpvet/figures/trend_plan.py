"""The figure of one animal through time, planned: all in its place, mm, before it is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from bpvet.figures.axes import Scale, date_words, days, value_label, value_step, value_ticks
from bpvet.figures.key import KeyPlan, plan_key
from bpvet.figures.lettering import Block, block, width_mm
from bpvet.figures.marking import Meaning, iso
from bpvet.figures.near import crowded_weeks, enlarged, near_scale
from bpvet.figures.panel import PanelPlan, plan_panel, value_range
from bpvet.figures.pictures import Panel, TrendPicture
from bpvet.figures.rows import RowsPlan, ends_width, plan_rows
from bpvet.figures.sheet import EDGE, refuse_width, title_block
from bpvet.figures.strip import StripPlan, Wanted, course_days, outside, plan_strip
from bpvet.figures.tracks import TracksPlan, plan_tracks
from bpvet.frozen import dataclass

#: From the panels to the names at the right edge, mm.
TO_MARGIN = 1.8
#: Where something is urgent the drawing sends its reader to the words: what its mark takes, mm.
URGENT_MARK = 3.4
#: From this width on, mm, the words of tracks and rows stand at their right, below it above them.
_BESIDE = 120.0
#: Least height of a panel below the first, mm; and where space is scarce.
_LEAST_BELOW, _LOW = 20.0, 18.0
#: What those words may take of the width, and what they ask for at least, mm.
_SHARE, _LEAST_WORDS = 0.3, 44.0


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole figure with everything in its place, mm."""

    width: float
    x: Scale
    title: Block
    as_of: Block
    urgent: Block
    newest: Block
    strip: StripPlan
    headings: tuple[Block, ...]
    panels: tuple[PanelPlan, ...]
    uprights: tuple[float, ...]
    today: float
    near: tuple[float, float] | None
    tracks: TracksPlan
    rows: RowsPlan
    key: KeyPlan
    unsaid: tuple[str, ...]
    beyond: tuple[str, ...]


# A report's caption tells what its drawing had to shorten: both go by one plan.
@lru_cache(maxsize=1)
def trend_plan(
    picture: TrendPicture, width: float, more: float = 0.0, *, low: bool = False
) -> Plan:
    """Return the whole figure of a picture, so many mm wide, with everything in its place.

    Its first panel is `more` mm higher than it would be by itself; `low` ones stand below it.

    Raises
    ------
    CallError
        If the width is too small.
    """
    refuse_width(width)
    heights = _heights(len(picture.panels), width, bool(picture.rows))
    heights = [heights[0] + more, *(_LOW if low else height for height in heights[1:])]
    x, upright, crowd, panels = _placed(picture, width, heights)
    below = x.at_high + TO_MARGIN if width >= _BESIDE else EDGE
    tracks = plan_tracks(picture.tracks, x, below, width - EDGE, picture.as_of, picture.words)
    rows = plan_rows(picture.rows, x, below, width - EDGE)
    strip = plan_strip(
        () if picture.tracks else picture.courses,
        picture.window,
        list(_flags(picture)),
        x,
        width - EDGE,
        picture.as_of,
        picture.words,
    )
    headings = tuple(_heading(plan.panel, width - 2 * EDGE) for plan in panels)
    named = [label.full for plan in panels for label in plan.margin]
    key = plan_key(picture, EDGE, width - EDGE, panels[0].unkeyed, named)
    title, as_of, urgent, newest = _head(picture, width)
    heads = ((picture.title, title), (picture.newest, newest))
    unsaid = [text for text, words in heads if not words.whole]
    unsaid += [*strip.unsaid, *tracks.unsaid, *rows.unsaid, *key.unsaid, *_cut(panels, headings)]
    return Plan(
        width=width,
        x=x,
        title=title,
        as_of=as_of,
        urgent=urgent,
        newest=newest,
        strip=strip,
        headings=headings,
        panels=tuple(panels),
        uprights=upright[:-1],
        today=upright[-1],
        near=crowd,
        tracks=tracks,
        rows=rows,
        key=key,
        unsaid=tuple(dict.fromkeys(unsaid)),
        beyond=tuple(outside(picture.courses, picture.signs, x, picture.words)),
    )


def _head(picture: TrendPicture, width: float) -> tuple[Block, Block, Block, Block]:
    """Return what stands above the panels: title, date, what is urgent, the newest value."""
    words, inner = picture.words, width - 2 * EDGE
    return (
        title_block(picture.title, width),
        block(words.as_of.format(day=date_words(picture.as_of)), inner),
        block(words.urgent if picture.urgent else "", inner - URGENT_MARK, most=2, bold=True),
        block(picture.newest, inner, most=5),
    )


def _placed(
    picture: TrendPicture, width: float, heights: Sequence[float]
) -> tuple[Scale, tuple[float, ...], tuple[float, float] | None, list[PanelPlan]]:
    """Return the date axis, the days of lines, the crowded weeks, and the panels.

    A panel that has grown, or that enlarges some weeks, may have longer numbers at its left than
    it was given space for: it is then given more.
    """
    wider = max(map(_ticks_width, picture.panels, heights))
    space, ends = _margin_space(picture, width), min(ends_width(picture.rows), 0.16 * width)
    while True:
        ticks = wider
        left = EDGE + 2.2 + max(ticks, ends)
        x = date_scale(picture, left, width - EDGE - space - TO_MARGIN)
        upright = (*course_days(picture.courses, x), float(days(picture.as_of)[0]))
        crowd = crowded_weeks(picture.panels[0], x)
        panels = _panels(picture, x, heights, space, upright, crowd)
        wider = max(width_mm(label) for panel in panels for _, label in panel.ticks)
        if wider <= max(ticks, ends):
            return x, upright, crowd, panels


def _panels(
    picture: TrendPicture,
    x: Scale,
    heights: Sequence[float],
    space: float,
    upright: Sequence[float],
    crowd: tuple[float, float] | None,
) -> list[PanelPlan]:
    """Return the panels in their places, the crowded weeks enlarged below the first.

    Parameters
    ----------
    picture : TrendPicture
    x : Scale
    heights : sequence of float
        The least height of each panel, mm.
    space : float
        What the names at the right edge take, mm.
    upright : sequence of float
        Days of the lines through all panels.
    crowd : (float, float) or None
        First and last day of the crowded weeks.
    """
    lines = [x.mm(day) for day in upright]
    names = ["main", *(panel.quantity for panel in picture.panels[1:])]
    panels = [
        plan_panel(panel, x, height, space, lines, name)
        for panel, height, name in zip(picture.panels, heights, names, strict=True)
    ]
    if crowd is not None:
        scale = near_scale(*crowd, x.at_low, x.at_high)
        near = enlarged(picture.panels[0], *crowd)
        lines = [scale.mm(day) for day in upright]
        panels.insert(1, plan_panel(near, scale, 0.75 * heights[0], space, lines, "near"))
    return panels


def _ticks_width(panel: Panel, height: float) -> float:
    low, high = value_range(panel, height)
    step = value_step(low, high, height)
    return max(width_mm(value_label(v, step)) for v in value_ticks(low, high, height))


def _margin_space(picture: TrendPicture, width: float) -> float:
    """Return the width of the right edge: what its names ask for, within a share of the figure."""
    names = [level.name for panel in picture.panels for level in panel.levels]
    for panel in picture.panels:
        names += [line.words for line in (panel.target, panel.floor) if line is not None]
    asked = max((block(name, width).width for name in names), default=0.0)
    space = min(max(asked, 8.0), 0.19 * width if width >= _BESIDE else 0.29 * width)
    beside = [track.words for track in picture.tracks] + [row.lead for row in picture.rows]
    if width < _BESIDE or not beside:
        return space
    wanted = max(block(text, width, bold=True).width for text in beside)
    return max(space, min(max(wanted, _LEAST_WORDS), _SHARE * width))


def date_scale(picture: TrendPicture, left: float, right: float) -> Scale:
    """Return the date axis: all sessions, today, and what is not too far from them.

    Parameters
    ----------
    picture : TrendPicture
    left, right : float
        Ends of the axis, mm.
    """
    parts = [days(picture.as_of)[:0]]
    for panel in picture.panels:
        parts += [days(marks.date) for marks in (panel.sessions, *panel.others)]
        parts.append(days(panel.readings.date))
        if panel.band is not None:
            parts.append(days(panel.band.date))
    parts += [days(row.values.date) for row in picture.rows]
    found = np.concatenate(parts)
    today = float(days(picture.as_of)[0])
    if not found.size:
        found = np.array([today])
    low, high = float(found.min()), float(found.max())
    span = high - low
    reach = 0.3 * span if 0 < span < 2 else max(30.0, 0.3 * span)
    near = [float(days(sign.date)[0]) for sign in picture.signs]
    for course in picture.courses:
        near += [float(days(date)[0]) for date in (course.started_on, course.stopped_on)]
    near = [day for day in near if low - reach <= day <= min(high + reach, today)]
    low, high = min([low, *near]), max([high, *near])
    # A record that nobody has added to for long shows how long.
    low, high = min(low, today), max(high, today)
    if picture.window is not None:
        latest = float(days(picture.window.latest)[0])
        if latest <= high + max(60.0, 0.4 * (high - low)):
            high = max(high, latest)
    if high == low:
        low, high = low - 7, high + 7
    spare = (high - low) * 3.5 / (right - left - 7.0)
    return Scale(low - spare, high + spare, left, right)


def _flags(picture: TrendPicture) -> Iterator[Wanted]:
    """Yield signs, sessions where no sound was heard, and today."""
    for sign in picture.signs:
        meaning = Meaning(
            "sign", date=iso(sign.date), title=f"{date_words(sign.date)}: {sign.label}"
        )
        yield Wanted(float(days(sign.date)[0]), sign.label, "sign", meaning)
    readings, words = picture.panels[0].readings, picture.words
    silent = readings.date[readings.fate == "no sound"]
    for date in np.unique(silent):
        title = words.no_sound_on.format(day=date_words(date))
        meaning = Meaning("no_sound", date=iso(date), title=title)
        yield Wanted(float(days(date)[0]), words.no_sound, "no_sound", meaning)
    day = picture.as_of
    meaning = Meaning("today", date=iso(day), title=words.today_is.format(day=date_words(day)))
    yield Wanted(float(days(day)[0]), words.today, "today", meaning)


def _heights(count: int, width: float, rows: bool) -> list[float]:
    """Return the least heights of `count` panels, mm: the more there are, the lower they are.

    With rows under it the first leaves them some of its height: all is one page.
    """
    tallest, lower = (72.0, 34.0) if width >= _BESIDE else (58.0, 30.0)
    tallest -= 20.0 if rows and width >= _BESIDE else 0.0
    return [tallest] + [max(_LEAST_BELOW, lower - 4.0 * (count - 2))] * (count - 1)


def _heading(panel: Panel, space: float) -> Block:
    return block(f"{panel.heading} ({panel.unit})" if panel.unit else panel.heading, space, most=3)


def _cut(panels: Sequence[PanelPlan], headings: tuple[Block, ...]) -> Iterator[str]:
    """Yield in full what was shortened at the panels, and names that found no place."""
    for plan, heading in zip(panels, headings, strict=True):
        if not heading.whole:
            yield plan.panel.heading
        yield from (label.full for label in plan.margin if not label.words.whole)
        for day, _, name in plan.unnamed:
            yield f"{name} ({date_words(np.datetime64(int(day), 'D'))})"
