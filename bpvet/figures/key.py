"""The key below the panels: at most three entries, then notes; the rest is named in place."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from bpvet.facts.sources import footnotes
from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS
from bpvet.figures.lettering import Block, block, height_mm
from bpvet.figures.pictures import Panel, SessionMarks, TrendPicture
from bpvet.figures.style import (
    BOUND_ARROWS,
    CENTRE_LINE,
    FAINT_GREY,
    HAIRLINE,
    MEAN_SIZE,
    PAPER,
    READING_SIZE,
    TICK_SIZE,
    WORDS_GREY,
    MethodStyle,
    method_style,
)
from bpvet.frozen import dataclass

_SAMPLE = 6.0
_TO_WORDS = 1.5
_BETWEEN = 5.0
_BETWEEN_ROWS = 0.7

Style = dict[str, Any]
#: Draws one sample at (x, y) mm, the middle of its space.
Swatch = Callable[[Axes, float, float], None]


@dataclass(frozen=True)
class Entry:
    """A line of the key: its sample, its words, its sample's width, mm; a wide one takes rows."""

    swatch: Swatch | None
    words: str
    space: float = 2.4
    wide: bool = False

    @property
    def indent(self) -> float:
        """From the entry's left edge to its words, mm."""
        return self.space + _TO_WORDS if self.swatch is not None else 0.0


@dataclass(frozen=True)
class KeyPlan:
    """Entries in their places: (entry, words, left, top), mm; height, mm; what was cut."""

    placed: tuple[tuple[Entry, Block, float, float], ...]
    height: float
    unsaid: tuple[str, ...]


def plan_key(
    picture: TrendPicture,
    left: float,
    right: float,
    unkeyed: Sequence[SessionMarks] = (),
    named: Sequence[str] = (),
) -> KeyPlan:
    """Plan the key of what `picture` shows between `left` and `right`, mm.

    Series of `unkeyed` found no place for their name in the panel, and are named here; `named` is
    what stands at the right edge of the panels, whose marks may ask for a footnote.
    """
    placed: list[tuple[Entry, Block, float, float]] = []
    x, top, row = left, 0.0, 0.0
    for entry in _entries(picture, unkeyed, named):
        words = block(entry.words, right - left - entry.indent, most=8 if entry.wide else 3)
        if x > left and (entry.wide or x + entry.indent + words.width > right):
            x, top, row = left, top + row + _BETWEEN_ROWS, 0.0
        placed.append((entry, words, x, top))
        row = max(row, words.height)
        x = right if entry.wide else x + entry.indent + words.width + _BETWEEN
    unsaid = tuple(entry.words for entry, words, _, _ in placed if not words.whole)
    return KeyPlan(tuple(placed), top + row, unsaid)


def footnotes_alone(plan: KeyPlan) -> KeyPlan:
    """Return a key without all but its footnotes, for which the panel bears their signs."""
    kept = [row for row in plan.placed if row[0].words.startswith("†")]
    top = kept[0][3] if kept else plan.height
    placed = tuple((entry, words, left, down - top) for entry, words, left, down in kept)
    return KeyPlan(placed, plan.height - top, plan.unsaid)


def draw_key(plan: KeyPlan, page: Axes, top: float) -> None:
    """Draw the key on axes in mm, from `top` mm downwards."""
    for entry, words, left, down in plan.placed:
        first_line = top + down + height_mm(1) / 2
        if entry.swatch is not None:
            entry.swatch(page, left + entry.space / 2, first_line)
        page.text(
            left + entry.indent,
            top + down + words.height / 2,
            words.text,
            ha="left",
            va="center",
            color=WORDS_GREY,
            parse_math=False,
        )


def _entries(
    picture: TrendPicture, unkeyed: Sequence[SessionMarks], named: Sequence[str]
) -> Iterator[Entry]:
    """Yield at most three entries with a sample, then notes; all else is named where it stands."""
    for panel in picture.panels:
        if np.isfinite(panel.sessions.mean).any():
            yield _sessions_entry(panel)
            break
    apart = _apart_entry(picture.panels)
    if apart is not None:
        yield apart
    for panel in picture.panels:
        if panel.band is not None and panel.band.date.size:
            style = method_style(panel.sessions.method)
            yield Entry(_band(style), panel.band.words, _SAMPLE, wide=True)
            break
    notes = list(_notes(picture, unkeyed))
    for note in dict.fromkeys([*notes, *footnotes(*notes, *named, picture.newest)]):
        yield Entry(None, note, wide=True)


def _sessions_entry(panel: Panel) -> Entry:
    """Return the entry of the series: its mean, its spread, and the ticks of its readings."""
    shown, words = panel.sessions, panel.words
    what = QUANTITY_WORDS.get(panel.quantity, panel.quantity)
    if not shown.method:  # a laboratory value, or a weight
        recorded = words.as_recorded.format(what=what)
        return Entry(_session(method_style(""), False, False), recorded, 3.0)
    spread = bool(np.isfinite(shown.low).any())
    ticks = bool(((panel.readings.fate == "used") & (panel.readings.bound == "")).any())
    text = words.session_mean.format(method=METHOD_WORDS.get(shown.method, shown.method))
    text += "" if panel.quantity == "systolic" else words.of_quantity.format(what=what)
    text += words.spread if spread else ""
    text += words.ticks if ticks else ""
    return Entry(_session(method_style(shown.method), spread, ticks), text, 3.0)


def _apart_entry(panels: Sequence[Panel]) -> Entry | None:
    """Return the entry of readings that are no ticks; None where every reading is one."""
    fates = {
        str(status)
        for panel in panels
        for status in panel.readings.fate[np.isfinite(panel.readings.value)]
    }
    words = panels[0].words
    drawn: list[tuple[str, str]] = []
    if "left out" in fates:
        drawn.append(("left out", words.left_out))
    if any(((p.readings.bound != "") & (p.readings.fate != "excluded")).any() for p in panels):
        drawn.append(("bound", words.beyond_gauge))
    if "excluded" in fates:
        drawn.append(("excluded", words.excluded))
    if not drawn:
        return None
    text = "; ".join(text for _, text in drawn)
    text += "" if len(drawn) == 1 else words.in_order
    return Entry(_readings([kind for kind, _ in drawn]), text, 1.0 + 2.4 * len(drawn))


def _notes(picture: TrendPicture, unkeyed: Sequence[SessionMarks]) -> Iterator[str]:
    """Yield what needs no sample: whose the levels are, other series, what must be said."""
    words = picture.words
    graded = [panel for panel in picture.panels if panel.levels and panel.guideline]
    for guideline in dict.fromkeys(panel.guideline for panel in graded):
        if len(graded) > 1:
            of = _listed(graded, guideline, words.last_of)
            yield words.levels_of.format(panels=of, guideline=guideline)
        else:
            yield words.levels.format(guideline=guideline)
    for series in unkeyed:
        # What `style.CONDITION_SIGNS` puts inside of a shape has a name of its own.
        yield words.hollow.format(
            shape=words.shapes.get(method_style(series.method).marker, words.shapes[""]),
            inside=words.insides.get(series.condition, ""),
            name=series.name.rstrip("."),
        )
    for panel in picture.panels:
        if panel.note:
            yield panel.note


def _listed(panels: Sequence[Panel], guideline: str, last_of: str) -> str:
    """Return the quantities that `guideline` grades, as a sentence lists them."""
    named = dict.fromkeys(
        QUANTITY_WORDS.get(panel.quantity, panel.quantity)
        for panel in panels
        if panel.guideline == guideline
    )
    *before, last = named
    return f"{', '.join(before)}{last_of}{last}" if before else last


def _session(style: MethodStyle, spread: bool, ticks: bool) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        if spread:
            page.plot([x, x], [y - 1.5, y + 1.5], color=style.colour, lw=HAIRLINE)
        if ticks:
            for at in (y - 1.2, y + 1.2):
                tick: Style = {
                    "marker": "_",
                    "ms": TICK_SIZE,
                    "mfc": "none",
                    "mew": HAIRLINE,
                    "ls": "none",
                }
                page.plot(x, at, mec=FAINT_GREY, **tick)
        mark: Style = {"marker": style.marker, "ms": MEAN_SIZE, "mfc": style.colour, "ls": "none"}
        page.plot(x, y, mec=style.colour, **mark)

    return draw


def _readings(kinds: Sequence[str]) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        left = x - 1.2 * (len(kinds) - 1)
        for index, kind in enumerate(kinds):
            at = left + 2.4 * index
            style: Style = {"mec": FAINT_GREY, "mew": HAIRLINE, "mfc": PAPER, "ls": "none"}
            if kind == "left out":
                page.plot(at, y, marker="o", ms=1.25 * READING_SIZE, **style)
            elif kind == "excluded":
                page.plot(at, y, marker="x", ms=4.2, **style)
            else:
                arrow = BOUND_ARROWS["at least"]
                page.plot(at, y + 1.2, marker=arrow, ms=13, **{**style, "mfc": "none"})

    return draw


def _band(style: MethodStyle) -> Swatch:
    def draw(page: Axes, x: float, y: float) -> None:
        left, right = x - _SAMPLE / 2, x + _SAMPLE / 2
        for half, tint in ((1.5, style.outer_tint), (0.75, style.inner_tint)):
            page.add_patch(Rectangle((left, y - half), _SAMPLE, 2 * half, fc=tint, ec="none"))
            for edge in (y - half, y + half):
                page.plot([left, right], [edge] * 2, color=style.colour, lw=HAIRLINE)
        page.plot([left, right], [y, y], color=style.colour, lw=CENTRE_LINE)

    return draw
