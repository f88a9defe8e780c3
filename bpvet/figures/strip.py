"""The strip above the panels: treatments as labelled spans, signs and names as flags."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from bpvet.figures.axes import Scale, date_words, days
from bpvet.figures.lettering import Block, block
from bpvet.figures.pictures import CourseSpan, SignMark
from bpvet.figures.placing import flags, lanes
from bpvet.figures.style import (
    GUIDE_GREY,
    HAIRLINE,
    INK,
    PAPER,
    WORDS_GREY,
)

#: More lanes than these make a figure nobody reads; the rest is written in the caption.
MOST_COURSE_LANES = 14
MOST_FLAG_LANES = 10
_BAR = 1.9
_BELOW_BAR = 1.3
_TRIANGLE = 2.2
_ARROW = 2.0


@dataclass(frozen=True)
class Bar:
    """A course in its place; all lengths in mm, downwards from the strip's top."""

    span: CourseSpan
    words: Block
    words_left: float
    left: float
    right: float
    begins: bool
    ends: bool
    top: float

    @property
    def middle(self) -> float:
        """Height of the bar's middle, mm from the strip's top."""
        return self.top + self.words.height + _BAR / 2


@dataclass(frozen=True)
class Hung:
    """A flag in its place: pole, words and, for a session's name, the value it points to."""

    words: Block
    pole: float
    left: float
    top: float
    value: float | None


@dataclass(frozen=True)
class StripPlan:
    """The strip with everything in its place, its height in mm, and what it leaves unsaid."""

    bars: tuple[Bar, ...]
    hung: tuple[Hung, ...]
    height: float
    unsaid: tuple[str, ...]


def plan_strip(
    courses: Sequence[CourseSpan],
    signs: Sequence[tuple[float, str, float | None]],
    x: Scale,
    right: float,
) -> StripPlan:
    """Plan the strip.

    Parameters
    ----------
    courses : sequence of CourseSpan
        Treatments, in any order.
    signs : sequence of (day, label, value or None)
        Flags: a sign has no value, a session's name points down to the session's value.
    x : Scale
        The date axis, days to mm.
    right : float
        How far words may run to the right, mm.

    Returns
    -------
    StripPlan
        Everything placed; nothing is drawn yet.
    """
    bars, bars_height, unsaid = _plan_bars(courses, x, right)
    hung, height, unflagged = _plan_flags(signs, x, right, bars_height)
    return StripPlan(bars, hung, height, unsaid + unflagged)


def outside(courses: Sequence[CourseSpan], signs: Sequence[SignMark], x: Scale) -> list[str]:
    """Return the courses and signs that lie beyond the date axis, in words for the caption."""
    said = []
    for span in courses:
        started, stopped = _ends(span)
        if started > x.high or stopped < x.low:
            until = "" if np.isnat(span.stopped_on) else f" to {date_words(span.stopped_on)}"
            said.append(f"{span.label} (from {date_words(span.started_on)}{until})")
    said += [
        f"{sign.label} ({date_words(sign.date)})"
        for sign in signs
        if not x.low <= days(sign.date)[0] <= x.high
    ]
    return said


def draw_strip(plan: StripPlan, axes: Axes, x: Scale, colour: str) -> None:
    """Draw the strip on axes in days across and mm downwards; names of sessions have `colour`."""
    axes.set_xlim(x.low, x.high)
    axes.set_ylim(plan.height, 0.0)
    axes.set_axis_off()
    for bar in plan.bars:
        _draw_bar(axes, bar, x)
    for flag in plan.hung:
        _draw_flag(axes, flag, x, plan.height, colour)


def _ends(span: CourseSpan) -> tuple[float, float]:
    stopped = np.inf if np.isnat(span.stopped_on) else float(days(span.stopped_on)[0])
    return float(days(span.started_on)[0]), stopped


def _plan_bars(
    courses: Sequence[CourseSpan], x: Scale, right: float
) -> tuple[tuple[Bar, ...], float, tuple[str, ...]]:
    """Give every course in view a lane; courses of the model come nearest to the panels."""
    shown = [span for span in courses if _ends(span)[0] <= x.high and _ends(span)[1] >= x.low]
    shown.sort(key=lambda span: (not span.modelled, *_ends(span), span.label))
    rows = []
    for span in shown:
        started, stopped = _ends(span)
        begin, end = x.mm(max(started, x.low)), x.mm(min(stopped, x.high))
        end = max(end, begin + 1.0)
        words = block(span.label, right - x.at_low)
        words_left = min(begin, right - words.width)
        rows.append((span, words, words_left, begin, end, started >= x.low, stopped <= x.high))
    lane = lanes(
        [(row[3], row[4]) for row in rows],
        [(row[2], row[2] + row[1].width) for row in rows],
        [f"{span.modelled} {span.drug}" for span in shown],
    )
    unsaid = tuple(row[0].label for row, at in zip(rows, lane, strict=True) if not row[1].whole)
    kept = [(row, at) for row, at in zip(rows, lane, strict=True) if at < MOST_COURSE_LANES]
    unsaid += tuple(
        f"{row[0].label} (not drawn)"
        for row, at in zip(rows, lane, strict=True)
        if at >= MOST_COURSE_LANES
    )
    tall = [max(row[1].height for row, at in kept if at == i) for i in sorted({a for _, a in kept})]
    # Lane 0 is the lowest; tops are counted from the strip's top.
    tops = [sum(h + _BAR + _BELOW_BAR for h in tall[i + 1 :]) for i in range(len(tall))]
    bars = tuple(Bar(*row, tops[at] + tall[at] - row[1].height) for row, at in kept)
    height = sum(h + _BAR + _BELOW_BAR for h in tall)
    return bars, height + (0.8 if bars else 0.0), unsaid


def _plan_flags(
    signs: Sequence[tuple[float, str, float | None]], x: Scale, right: float, above: float
) -> tuple[tuple[Hung, ...], float, tuple[str, ...]]:
    shown = [sign for sign in signs if x.low <= sign[0] <= x.high]
    words = [block(label, min(60.0, right - x.at_low - 1)) for _, label, _ in shown]
    poles = [x.mm(day) for day, _, _ in shown]
    hung = flags(poles, [one.width for one in words], x.at_low, right)
    count = min(MOST_FLAG_LANES, 1 + max((flag.lane for flag in hung), default=-1))
    tall = [
        max(w.height for w, f in zip(words, hung, strict=True) if f.lane == lane)
        for lane in range(count)
    ]
    placed, unsaid = [], []
    for (day, label, value), block_, flag, pole in zip(shown, words, hung, poles, strict=True):
        if not block_.whole or flag.lane >= count:
            unsaid.append(f"{label} ({date_words(np.datetime64(int(day), 'D'))})")
        if flag.lane < count:
            top = above + sum(tall[flag.lane + 1 :]) + tall[flag.lane] - block_.height
            placed.append(Hung(block_, pole, flag.left, top, value))
    height = above + sum(tall) + (_TRIANGLE + 0.6 if shown else 0.0)
    return tuple(placed), height, tuple(unsaid)


def _draw_bar(axes: Axes, bar: Bar, x: Scale) -> None:
    half = _BAR / 2 if bar.span.modelled else _BAR / 2.4
    neck = bar.right if bar.ends else bar.right - min(_ARROW, bar.right - bar.left)
    top, middle, bottom = bar.middle - half, bar.middle, bar.middle + half
    tip = [] if bar.ends else [(bar.right, middle)]
    if bar.span.modelled:
        rim = [(bar.left, top), (neck, top), *tip, (neck, bottom), (bar.left, bottom)]
        style: dict[str, Any] = {"fc": WORDS_GREY, "ec": PAPER, "lw": 0.8}
        axes.add_patch(Polygon(_in_days(rim, x), label=bar.span.label, clip_on=False, **style))
    else:
        line: dict[str, Any] = {"color": GUIDE_GREY, "lw": HAIRLINE}
        across = [x.value(bar.left), x.value(neck)]
        axes.plot(across, [middle, middle], label=bar.span.label, **line)
        for end, shown in ((bar.left, bar.begins), (bar.right, bar.ends)):
            if shown:
                axes.plot([x.value(end)] * 2, [top, bottom], **line)
        if tip:
            head = _in_days([(neck, top), *tip, (neck, bottom)], x)
            axes.add_patch(Polygon(head, fc=GUIDE_GREY, ec="none", clip_on=False))
    axes.text(
        x.value(bar.words_left),
        bar.middle - _BAR / 2 - bar.words.height / 2 - 0.2,
        bar.words.text,
        ha="left",
        va="center",
        color=INK if bar.span.modelled else WORDS_GREY,
        parse_math=False,
    )


def _in_days(points: Sequence[tuple[float, float]], x: Scale) -> list[tuple[float, float]]:
    return [(x.value(across), down) for across, down in points]


def _draw_flag(axes: Axes, flag: Hung, x: Scale, foot: float, colour: str) -> None:
    pole = x.value(flag.pole)
    head = flag.top + 0.5
    if flag.value is None:
        half = x.value(flag.pole + _TRIANGLE / 2) - pole
        base = foot - _TRIANGLE
        axes.plot([pole, pole], [head, base], color=INK, lw=HAIRLINE, clip_on=False)
        points = [(pole - half, base), (pole + half, base), (pole, foot - 0.2)]
        axes.add_patch(Polygon(points, fc=INK, ec="none", clip_on=False, label="sign"))
    else:
        axes.plot([pole, pole], [head, foot], color=colour, lw=HAIRLINE, clip_on=False)
    axes.text(
        x.value(flag.left),
        flag.top + flag.words.height / 2,
        flag.words.text,
        ha="left",
        va="center",
        color=INK,
        zorder=4,
        parse_math=False,
        bbox={"fc": PAPER, "ec": "none", "pad": 0.4},
    )


def course_days(courses: Sequence[CourseSpan], x: Scale) -> list[float]:
    """Return the days, in order, on which modelled courses start or stop, for lines through panels.

    A stop and the next start a day later, closer than 1 mm, are one.
    """
    kept: list[float] = []
    for day in sorted({day for span in courses if span.modelled for day in _ends(span)}):
        if x.low < day < x.high and (not kept or x.mm(day) - x.mm(kept[-1]) > 1.0):
            kept.append(day)
    return kept


def draw_course_lines(axes: Axes, courses: Sequence[CourseSpan], x: Scale) -> None:
    """Carry start and stop of each modelled course down through a panel."""
    for day in course_days(courses, x):
        axes.axvline(day, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (1, 3)), zorder=3.4)
