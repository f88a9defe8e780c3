"""The key below the panels: only what is drawn, in rows that break where the room ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS
from bpvet.figures.lettering import Block, block, height_mm
from bpvet.figures.pictures import Panel, TrendPicture
from bpvet.figures.style import (
    BOUND_ARROWS,
    CENTRE_LINE,
    CONDITION_SIGNS,
    FAINT_GREY,
    GUIDE_GREY,
    HAIRLINE,
    INK,
    LEVEL_GREYS,
    MEAN_SIZE,
    PAPER,
    READING_SIZE,
    WORDS_GREY,
    MethodStyle,
    method_style,
)

_SAMPLE = 6.0
_TO_WORDS = 1.5
_BETWEEN = 5.0
_BETWEEN_ROWS = 0.7

#: Draws one sample at (x, y) mm, the middle of its room.
Swatch = Callable[[Axes, float, float], None]


@dataclass(frozen=True)
class Entry:
    """A line of the key: its sample, its words, its sample's width, mm; a wide one takes rows."""

    swatch: Swatch | None
    words: str
    room: float = 2.4
    wide: bool = False

    @property
    def indent(self) -> float:
        """From the entry's left edge to its words, mm."""
        return self.room + _TO_WORDS if self.swatch is not None else 0.0


@dataclass(frozen=True)
class KeyPlan:
    """Entries in their places: (entry, words, left, top), mm; height, mm; what was cut."""

    placed: tuple[tuple[Entry, Block, float, float], ...]
    height: float
    unsaid: tuple[str, ...]


def plan_key(picture: TrendPicture, left: float, right: float) -> KeyPlan:
    """Plan the key of what `picture` shows between `left` and `right`, mm."""
    placed: list[tuple[Entry, Block, float, float]] = []
    x, top, row = left, 0.0, 0.0
    for entry in _entries(picture):
        words = block(entry.words, right - left - entry.indent, most=8 if entry.wide else 3)
        if x > left and (entry.wide or x + entry.indent + words.width > right):
            x, top, row = left, top + row + _BETWEEN_ROWS, 0.0
        placed.append((entry, words, x, top))
        row = max(row, words.height)
        x = right if entry.wide else x + entry.indent + words.width + _BETWEEN
    unsaid = tuple(entry.words for entry, words, _, _ in placed if not words.whole)
    return KeyPlan(tuple(placed), top + row, unsaid)


def draw_key(plan: KeyPlan, page: Axes, top: float) -> None:
    """Draw the key on axes in mm, from `top` mm downwards."""
    for entry, words, left, down in plan.placed:
        first_line = top + down + height_mm(1) / 2
        if entry.swatch is not None:
            entry.swatch(page, left + entry.room / 2, first_line)
        page.text(
            left + entry.indent,
            top + down + words.height / 2,
            words.text,
            ha="left",
            va="center",
            color=WORDS_GREY,
            parse_math=False,
        )


def _entries(picture: TrendPicture) -> Iterator[Entry]:
    """Yield the entries in order of weight, none twice."""
    seen: set[str] = set()
    everything = [entry for panel in picture.panels for entry in _panel_entries(panel)]
    kinds = {span.modelled for span in picture.courses}
    if True in kinds:
        everything.append(Entry(_bar, "pressure drug (modelled)", _SAMPLE))
    if False in kinds:
        everything.append(Entry(_thin_bar, "other treatment", _SAMPLE))
    graded = [panel for panel in picture.panels if panel.levels and panel.guideline]
    for guideline in dict.fromkeys(panel.guideline for panel in graded):
        of = f" of {_listed(graded, guideline)}" if len(graded) > 1 else ""
        everything.append(Entry(_levels, f"levels{of}: {guideline}", _SAMPLE))
    if picture.signs:
        everything.append(Entry(_triangle, "sign seen"))
    for panel in picture.panels:
        if panel.band is not None and panel.band.date.size:
            style = method_style(panel.sessions.method)
            everything.append(Entry(_band(style), panel.band.words, _SAMPLE, wide=True))
    everything += [Entry(None, panel.note, wide=True) for panel in picture.panels if panel.note]
    for entry in everything:
        if entry.words and entry.words not in seen:
            seen.add(entry.words)
            yield entry


def _listed(panels: Sequence[Panel], guideline: str) -> str:
    """Return the quantities that `guideline` grades, as a sentence lists them."""
    named = dict.fromkeys(
        QUANTITY_WORDS.get(panel.quantity, panel.quantity)
        for panel in panels
        if panel.guideline == guideline
    )
    *before, last = named
    return f"{', '.join(before)} and {last}" if before else last


def _panel_entries(panel: Panel) -> Iterator[Entry]:
    shown, readings = panel.sessions, panel.readings
    if np.isfinite(shown.mean).any():
        spread = bool(np.isfinite(shown.low).any())
        method = METHOD_WORDS.get(shown.method, "")
        mean = "session mean, ± 1 SD of its readings" if spread else "session mean"
        name = f"{method} {mean}" if method else "value as recorded"
        yield Entry(_session(method_style(shown.method), spread), name)
    for fate, words in (
        ("used", "reading"),
        ("left out", "first reading, left out of the mean"),
        ("excluded", "reading excluded by the clinic"),
    ):
        drawn = (readings.fate == fate) & np.isfinite(readings.value)
        if fate != "excluded":
            drawn &= readings.bound == ""
        if drawn.any():
            yield Entry(_reading(fate), words)
    bounds = set(readings.bound.tolist())
    for marks in (shown, *panel.others):
        bounds |= set(marks.bound.tolist())
    for bound in BOUND_ARROWS:
        if bound in bounds:
            yield Entry(_arrow(bound), f"{bound} this value")
    for other in panel.others:
        if np.isfinite(other.mean).any():
            style = method_style(other.method)
            yield Entry(_hollow(style, other.condition), other.name)


def _session(style: MethodStyle, spread: bool) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        if spread:
            page.plot([x, x], [y - 1.5, y + 1.5], color=style.colour, lw=HAIRLINE)
        page.plot(x, y, marker=style.marker, ms=MEAN_SIZE, mfc=style.colour, mec=style.colour)

    return draw


def _hollow(style: MethodStyle, condition: str) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        page.plot(
            x, y, marker=style.marker, ms=MEAN_SIZE, mfc=PAPER, mec=style.colour, mew=HAIRLINE
        )
        sign = CONDITION_SIGNS.get(condition)
        if sign is not None:
            page.plot(x, y, marker=sign, ms=3.2, mfc=style.colour, mec=style.colour)

    return draw


def _reading(fate: str) -> Swatch:
    marker, size = ("x", 4.2) if fate == "excluded" else ("o", READING_SIZE)
    fill = FAINT_GREY if fate == "used" else PAPER

    def draw(page: Axes, x: float, y: float) -> None:
        page.plot(x, y, marker=marker, ms=size, mfc=fill, mec=FAINT_GREY, mew=HAIRLINE)

    return draw


def _arrow(bound: str) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        foot = y + 1.2 if bound == "at least" else y - 1.2
        page.plot(x, foot, marker=BOUND_ARROWS[bound], ms=13, mfc="none", mec=FAINT_GREY, mew=1.3)

    return draw


def _band(style: MethodStyle) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        left, right = x - _SAMPLE / 2, x + _SAMPLE / 2
        for half, tint, line in (
            (1.5, style.outer_tint, "solid"),
            (0.75, style.inner_tint, (0, (1, 1.5))),
        ):
            page.add_patch(Rectangle((left, y - half), _SAMPLE, 2 * half, fc=tint, ec="none"))
            for edge in (y - half, y + half):
                page.plot([left, right], [edge] * 2, color=style.colour, lw=HAIRLINE, ls=line)
        page.plot([left, right], [y, y], color=style.colour, lw=CENTRE_LINE, ls=style.line)

    return draw


def _levels(page: Axes, x: float, y: float) -> None:
    step = _SAMPLE / 4
    frame = Rectangle((x - _SAMPLE / 2, y - 1.1), _SAMPLE, 2.2, fc="none", ec=GUIDE_GREY, zorder=3)
    page.add_patch(frame)
    for index, grey in enumerate(LEVEL_GREYS[:4]):
        left = x - _SAMPLE / 2 + index * step
        page.add_patch(Rectangle((left, y - 1.1), step, 2.2, fc=grey, ec="none"))
        if index:
            line = [y - 1.1, y + 1.1]
            page.plot([left, left], line, color=GUIDE_GREY, lw=HAIRLINE, ls=(0, (1, 1.5)))


def _bar(page: Axes, x: float, y: float) -> None:
    left = (x - _SAMPLE / 2, y - 0.95)
    page.add_patch(Rectangle(left, _SAMPLE, 1.9, fc=WORDS_GREY, ec="none"))


def _thin_bar(page: Axes, x: float, y: float) -> None:
    page.plot([x - _SAMPLE / 2, x + _SAMPLE / 2], [y, y], color=GUIDE_GREY, lw=HAIRLINE)
    for end in (x - _SAMPLE / 2, x + _SAMPLE / 2):
        page.plot([end, end], [y - 0.95, y + 0.95], color=GUIDE_GREY, lw=HAIRLINE)


def _triangle(page: Axes, x: float, y: float) -> None:
    points = [(x - 1.1, y - 1.0), (x + 1.1, y - 1.0), (x, y + 1.0)]
    page.add_patch(Polygon(points, fc=INK, ec="none"))
