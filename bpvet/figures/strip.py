"""The strip above the panels: treatments and the next visit as spans, signs and today as flags."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from bpvet.figures.axes import Scale, date_words, days
from bpvet.figures.lettering import Block, block
from bpvet.figures.marking import Meaning, iso
from bpvet.figures.pictures import CourseSpan, SignMark, Window
from bpvet.figures.placing import flags, lanes
from bpvet.figures.style import GUIDE_GREY, HAIRLINE, INK, PAPER, WORDS_GREY
from bpvet.figures.words import TrendWords
from bpvet.frozen import dataclass, replace

#: More lanes than these make a figure nobody reads; the rest is written in the caption.
MOST_COURSE_LANES = 14
MOST_FLAG_LANES = 10
_BAR = 1.9
_BELOW_BAR = 1.3
_TRIANGLE = 2.2
_ARROW = 2.0
#: Space between a flag's words and its own or another's pole, mm.
_GAP = 1.0
_DOSE = re.compile(r"(\d+(?:\.\d+)?) *([^\W\d_][^ ]*)?")


@dataclass(frozen=True)
class Bar:
    """A course or the window in its place; all lengths in mm, downwards from the strip's top.

    `kind` is ``drug`` (modelled), ``other`` or ``window``.
    """

    kind: str
    label: str
    meaning: Meaning
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
class Wanted:
    """A flag that is asked for: its day, its words, and ``sign``, ``no_sound`` or ``today``."""

    day: float
    label: str
    kind: str
    meaning: Meaning


@dataclass(frozen=True)
class PlacedFlag:
    """A flag in its place, mm."""

    wanted: Wanted
    words: Block
    pole: float
    left: float
    top: float


@dataclass(frozen=True)
class StripPlan:
    """The strip with everything in its place, its height in mm, and what it leaves unsaid."""

    bars: tuple[Bar, ...]
    flags: tuple[PlacedFlag, ...]
    height: float
    unsaid: tuple[str, ...]


def plan_strip(
    courses: Sequence[CourseSpan],
    window: Window | None,
    signs: Sequence[Wanted],
    x: Scale,
    right: float,
    as_of: np.datetime64,
    words: TrendWords,
) -> StripPlan:
    """Plan the strip.

    Parameters
    ----------
    courses : sequence of CourseSpan
        Treatments, in any order.
    window : Window or None
        When to measure again.
    signs : sequence of Wanted
        Signs, sessions where no sound was heard, and today.
    x : Scale
        The date axis, days to mm.
    right : float
        How far words may run to the right, mm.
    as_of : datetime64[D]
        Today: no course is drawn beyond it.
    words : TrendWords
        What is written of them.

    Returns
    -------
    StripPlan
        Everything placed; nothing is drawn yet.
    """
    bars, bars_height, unsaid = _plan_bars(courses, window, x, right, as_of, words)
    placed, height, unflagged = _plan_flags(signs, x, right, bars_height)
    return StripPlan(bars, placed, height, unsaid + unflagged)


def outside(
    courses: Sequence[CourseSpan], signs: Sequence[SignMark], x: Scale, words: TrendWords
) -> list[str]:
    """Return the courses and signs that lie beyond the date axis, in words for the caption."""
    texts = []
    for span in courses:
        started, stopped = _ends(span, np.inf)
        if started > x.high or stopped < x.low:
            texts.append(_lasting(span, words.began_outside, words.lasted_outside))
    texts += [
        f"{sign.label} ({date_words(sign.date)})"
        for sign in signs
        if not x.low <= days(sign.date)[0] <= x.high
    ]
    return texts


def draw_strip(plan: StripPlan, axes: Axes, x: Scale) -> None:
    """Draw the strip on axes in days across and mm downwards."""
    axes.set_xlim(x.low, x.high)
    axes.set_ylim(plan.height, 0.0)
    axes.set_axis_off()
    for bar in plan.bars:
        _draw_bar(axes, bar, x)
    for flag in plan.flags:
        _draw_flag(axes, flag, x, plan.height)


def course_ends(span: CourseSpan, as_of: np.datetime64) -> tuple[float, float]:
    """Return the first and the last day of a course; one that goes on lasts until `as_of`."""
    return _ends(span, float(days(as_of)[0]))


def dose_meaning(span: CourseSpan, words: TrendWords) -> Meaning:
    """Return what a course's mark stands for, and what a pointer shows of it."""
    number, unit = _dose(span)
    return Meaning(
        "dose",
        date=iso(span.started_on),
        until=iso(span.stopped_on),
        value=number,
        unit=unit,
        title=_lasting(span, words.began, words.lasted),
    )


def _lasting(span: CourseSpan, began: str, lasted: str) -> str:
    """Return a course with its first day and, where it ended, its last."""
    first = date_words(span.started_on)
    if np.isnat(span.stopped_on):
        return began.format(label=span.label, first=first)
    return lasted.format(label=span.label, first=first, last=date_words(span.stopped_on))


def _ends(span: CourseSpan, as_of: float) -> tuple[float, float]:
    """Return the first and the last day of a course; an ongoing one lasts until today."""
    started = float(days(span.started_on)[0])
    if np.isnat(span.stopped_on):
        return started, max(started, as_of)
    return started, float(days(span.stopped_on)[0])


def _dose(span: CourseSpan) -> tuple[str, str]:
    """Return a dose as a plain number and a unit where it begins with them, else blanks."""
    found = _DOSE.match(span.dose)
    return (found[1], found[2] or "") if found else ("", "")


_Row = tuple[str, str, Meaning, Block, float, float, float, bool, bool]


def _rows(
    courses: Sequence[CourseSpan],
    window: Window | None,
    x: Scale,
    right: float,
    as_of: float,
    words: TrendWords,
) -> Iterator[_Row]:
    """Yield what is to be drawn as a bar, the nearest to the panels first."""
    shown = [
        span
        for span in courses
        if _ends(span, as_of)[0] <= x.high and _ends(span, as_of)[1] >= x.low
    ]
    shown.sort(key=lambda span: (not span.modelled, *_ends(span, np.inf), span.label))
    if window is not None:
        first = window.latest if np.isnat(window.earliest) else window.earliest
        begin, end = float(days(first)[0]), float(days(window.latest)[0])
        meaning = Meaning("window", date=iso(first), until=iso(window.latest), title=window.words)
        if begin <= x.high and end >= x.low:
            yield _row("window", window.words, meaning, (begin, end), True, x, right)
    for span in shown:
        meaning = dose_meaning(span, words)
        kind = "drug" if span.modelled else "other"
        ends = _ends(span, as_of)
        yield _row(kind, span.label, meaning, ends, not np.isnat(span.stopped_on), x, right)


def _row(
    kind: str,
    label: str,
    meaning: Meaning,
    ends: tuple[float, float],
    stopped: bool,
    x: Scale,
    right: float,
) -> _Row:
    begin, end = x.mm(max(ends[0], x.low)), x.mm(min(ends[1], x.high))
    words = block(label, right - x.at_low)
    left = min(begin, right - words.width)
    closed = stopped and ends[1] <= x.high
    return (kind, label, meaning, words, left, begin, end, ends[0] >= x.low, closed)


def _plan_bars(
    courses: Sequence[CourseSpan],
    window: Window | None,
    x: Scale,
    right: float,
    as_of: np.datetime64,
    words: TrendWords,
) -> tuple[tuple[Bar, ...], float, tuple[str, ...]]:
    """Give every course in view a lane; the window and courses of the model come lowest."""
    rows = list(_rows(courses, window, x, right, float(days(as_of)[0]), words))
    lane = lanes(
        [(row[5], max(row[6], row[5] + 1.0)) for row in rows],
        [(row[4], row[4] + row[3].width) for row in rows],
        [f"{row[0]} {row[1].split(' ')[0]}" for row in rows],
    )
    unsaid = tuple(row[1] for row in rows if not row[3].whole)
    kept = [(row, at) for row, at in zip(rows, lane, strict=True) if at < MOST_COURSE_LANES]
    unsaid += tuple(
        words.not_drawn.format(label=row[1])
        for row, at in zip(rows, lane, strict=True)
        if at >= MOST_COURSE_LANES
    )
    tall = [max(row[3].height for row, at in kept if at == i) for i in sorted({a for _, a in kept})]
    # Lane 0 is the lowest; tops are counted from the strip's top.
    tops = [sum(h + _BAR + _BELOW_BAR for h in tall[i + 1 :]) for i in range(len(tall))]
    bars = tuple(Bar(*row, tops[at] + tall[at] - row[3].height) for row, at in kept)
    height = sum(h + _BAR + _BELOW_BAR for h in tall)
    return bars, height + (0.8 if bars else 0.0), unsaid


def _plan_flags(
    signs: Sequence[Wanted], x: Scale, right: float, above: float
) -> tuple[tuple[PlacedFlag, ...], float, tuple[str, ...]]:
    shown = [sign for sign in signs if x.low <= sign.day <= x.high]
    poles = [x.mm(sign.day) for sign in shown]
    # No wider than the broader side of the pole, so that no pole ever runs through its words.
    sides = [max(pole - x.at_low, right - pole) - 2 * _GAP for pole in poles]
    words = [block(sign.label, min(60.0, side)) for sign, side in zip(shown, sides, strict=True)]
    hanging = flags(poles, [block_.width for block_ in words], x.at_low, right, _GAP)
    count = min(MOST_FLAG_LANES, 1 + max((flag.lane for flag in hanging), default=-1))
    tall = [
        max(w.height for w, f in zip(words, hanging, strict=True) if f.lane == lane)
        for lane in range(count)
    ]
    placed, unsaid = [], []
    for sign, block_, flag, pole in zip(shown, words, hanging, poles, strict=True):
        if not block_.whole or flag.lane >= count:
            unsaid.append(f"{sign.label} ({_day_words(sign.day)})")
        if flag.lane < count:
            top = above + sum(tall[flag.lane + 1 :]) + tall[flag.lane] - block_.height
            placed.append(PlacedFlag(sign, block_, pole, flag.left, top))
    height = above + sum(tall) + (_TRIANGLE + 0.6 if shown else 0.0)
    crossed = [flag for flag in placed if any(_crosses(neighbour, flag) for neighbour in placed)]
    unsaid += [f"{flag.wanted.label} ({_day_words(flag.wanted.day)})" for flag in crossed]
    kept = (replace(flag, words=block("", 1.0)) if flag in crossed else flag for flag in placed)
    return tuple(kept), height, tuple(dict.fromkeys(unsaid))


def _day_words(day: float) -> str:
    return date_words(np.datetime64(int(day), "D"))


def _crosses(flag: PlacedFlag, neighbour: PlacedFlag) -> bool:
    """Return whether a flag's pole runs down through another's words: too dense to write both."""
    return (
        flag is not neighbour
        and neighbour.left - 0.3 < flag.pole < neighbour.left + neighbour.words.width + 0.3
        and flag.top < neighbour.top + neighbour.words.height
    )


def _draw_bar(axes: Axes, bar: Bar, x: Scale) -> None:
    half = _BAR / 2.4 if bar.kind == "other" else _BAR / 2
    begin, end = _at_least(bar)
    neck = end if bar.ends else end - min(_ARROW, end - begin)
    top, middle, bottom = bar.middle - half, bar.middle, bar.middle + half
    tip = [] if bar.ends else [(end, middle)]
    if bar.kind != "other":
        rim = [(begin, top), (neck, top), *tip, (neck, bottom), (begin, bottom)]
        style: dict[str, Any] = {"fc": WORDS_GREY, "ec": WORDS_GREY, "lw": 0.0}
        if bar.kind == "window":
            style = {"fc": PAPER, "ec": INK, "lw": HAIRLINE}
        shape = Polygon(_in_days(rim, x), label=bar.label, clip_on=False, **style)
        shape.set_gid(bar.meaning.gid)
        axes.add_patch(shape)
    else:
        line: dict[str, Any] = {"color": GUIDE_GREY, "lw": HAIRLINE}
        across = [x.value(begin), x.value(neck)]
        axes.plot(across, [middle] * 2, label=bar.label, gid=bar.meaning.gid, **line)
        for at, shown in ((begin, bar.begins), (end, bar.ends)):
            if shown:
                axes.plot([x.value(at)] * 2, [top, bottom], **line)
        if tip:
            head = _in_days([(neck, top), *tip, (neck, bottom)], x)
            axes.add_patch(Polygon(head, fc=GUIDE_GREY, ec="none", clip_on=False))
    axes.text(
        x.value(bar.words_left),
        bar.middle - _BAR / 2 - bar.words.height / 2 - 0.2,
        bar.words.text,
        ha="left",
        va="center",
        color=WORDS_GREY if bar.kind == "other" else INK,
        parse_math=False,
    )


def _at_least(bar: Bar) -> tuple[float, float]:
    """Return where a bar begins and ends, mm: a day of a long record is widened about itself."""
    short = max(0.0, 1.0 - (bar.right - bar.left))
    return bar.left - short / 2, bar.right + short / 2


def _in_days(points: Sequence[tuple[float, float]], x: Scale) -> list[tuple[float, float]]:
    return [(x.value(across), down) for across, down in points]


def _draw_flag(axes: Axes, flag: PlacedFlag, x: Scale, foot: float) -> None:
    pole, today = x.value(flag.pole), flag.wanted.kind == "today"
    # Words stand beside their pole, so that a pole runs up along them; it starts at their middle.
    head = flag.top + 0.5
    base = foot if today else foot - _TRIANGLE
    colour = GUIDE_GREY if today else INK
    axes.plot([pole, pole], [head, base], color=colour, lw=HAIRLINE, clip_on=False)
    half = x.value(flag.pole + _TRIANGLE / 2) - pole
    if flag.wanted.kind == "sign":
        points = [(pole - half, base), (pole + half, base), (pole, foot - 0.2)]
        shape = Polygon(points, fc=INK, ec="none", clip_on=False, label="sign")
        shape.set_gid(flag.wanted.meaning.gid)
        axes.add_patch(shape)
    elif flag.wanted.kind == "no_sound":
        gid = flag.wanted.meaning.gid
        style: dict[str, Any] = {"marker": "o", "ms": 4.5, "mfc": PAPER, "mec": INK, "ls": "none"}
        at = foot - _TRIANGLE / 2
        axes.add_line(Line2D([pole], [at], label="no sound", gid=gid, clip_on=False, **style))
    axes.text(
        x.value(flag.left),
        flag.top + flag.words.height / 2,
        flag.words.text,
        ha="left",
        va="center",
        color=INK,
        zorder=4,
        parse_math=False,
    )


def course_days(courses: Sequence[CourseSpan], x: Scale) -> list[float]:
    """Return the days, in order, on which modelled courses start or stop, for lines through panels.

    A stop and the next start a day later, closer than 1 mm, are one.
    """
    kept: list[float] = []
    ends = {day for span in courses if span.modelled for day in _ends(span, np.inf)}
    for day in sorted(ends):
        if x.low < day < x.high and (not kept or x.mm(day) - x.mm(kept[-1]) > 1.0):
            kept.append(day)
    return kept
