"""Small panels of a clinic's animals on shared axes, planned in millimetres.

One panel of all animals on the first sheet, then an animal a panel, from left to right and down.
What lies beyond the shared axes stands at their edge as an arrow, with its value in letters.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from bpvet.figures.clinic.panels_picture import AnimalPanel, Overview, PanelsPicture
from bpvet.figures.lettering import Block, block, height_mm, width_mm
from bpvet.figures.marking import Meaning, bound_name, iso, plain_number
from bpvet.figures.sheet import (
    EDGE,
    FULL_WIDTH,
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
    BOUND_ARROWS,
    FAINT_GREY,
    FLOOR_DASHES,
    GUIDE_GREY,
    HAIRLINE,
    INK,
    PAPER,
    TARGET_DASHES,
    house_style,
    method_style,
)
from bpvet.figures.words import PanelsWords
from bpvet.frozen import dataclass

__all__ = ["draw_panels"]

#: Space for the letters of the vertical axis, between panels, and least width of one.
_LEFT, _GAP, _LEAST = 9.0, 4.0, 32.0
#: Height of a panel's axes, of the strip for what lies beyond them, of the panel of all.
_TALL, _STRIP, _ALL_TALL = 17.0, 6.0, 34.0
_TICKS, _BETWEEN = 5.6, 3.0
#: A mark on the end of an axis stays whole.
_INSIDE = 1.2
#: Space at the right of the panel of all, for the names of its lines.
_NAMES = 20.0
#: Days without a session from which on no line is drawn.
_LONGEST_GAP = 180 / 30.4375
#: From this many sessions on, an animal's marks are smaller.
_MANY = 40
_TINTS = {False: "#dcdcdc", True: "#bcbcbc"}
_DASHES: dict[bool, Any] = {False: "solid", True: (0, (5, 2))}


@dataclass(frozen=True)
class _Layout:
    """Where the panels of a sheet stand, mm, and what the strips at their edges take."""

    width: float
    all_panel: PanelBox | None
    places: tuple[PanelBox, ...]
    columns: int
    above: float
    below: float
    late: float
    bottom: float


def draw_panels(
    picture: PanelsPicture, width: float = FULL_WIDTH, region: Region | None = None
) -> Figure:
    """Draw a sheet of small panels.

    Parameters
    ----------
    picture : PanelsPicture
    width : float
        Width, mm, at least 80; the height follows.
    region : Region, optional
        What it is to lie in, at its top, in somebody's figure; its width is then the picture's.

    Raises
    ------
    CallError
        If the width is too small.
    """
    width = width if region is None else region.width
    refuse_width(width)
    with house_style():
        title = title_block(picture.title, width, most=3)
        layout = _layout(picture, width, EDGE + title.height + 1.5)
        rows = key_rows(_key(picture), width)
        top = layout.bottom + height_mm(1) + 2.5
        height = top + key_height(rows) + EDGE
        if region is not None:
            region.spare(height, 0.0, 0.0)
        sheet = new_sheet(width, height, title, region)
        if picture.overview is not None and layout.all_panel is not None:
            _draw_all(sheet, picture, picture.overview, layout.all_panel)
        last = len(picture.panels) - layout.columns
        for number, (panel, box) in enumerate(zip(picture.panels, layout.places, strict=True)):
            axes = _axes(sheet, picture, layout, box)
            axes.tick_params(labelleft=number % layout.columns == 0, labelbottom=number >= last)
            _head(sheet, panel, box, picture.words)
            _draw_animal(axes, picture, panel, box)
        axis = block(picture.words.axis, width - 2 * EDGE - _LEFT, most=1)
        sheet.words(EDGE + _LEFT, layout.bottom, axis)
        sheet.key(top, rows)
        return sheet.figure


def _layout(picture: PanelsPicture, width: float, top: float) -> _Layout:
    space = width - 2 * EDGE - _LEFT
    columns = max(1, int((space + _GAP) / (_LEAST + _GAP)))
    each = (space - (columns - 1) * _GAP) / columns
    above = _STRIP if any(_high(picture, panel).any() for panel in picture.panels) else 0.0
    below = _STRIP if any(_low(picture, panel).any() for panel in picture.panels) else 0.0
    late = 3.0 if any(_late(picture, panel).any() for panel in picture.panels) else 0.0
    if late and not above:
        above = _STRIP
    all_panel = None
    if picture.overview is not None:
        overview_box = PanelBox(EDGE + _LEFT, top + height_mm(1) + 1.0, space - _NAMES, _ALL_TALL)
        all_panel, top = overview_box, overview_box.top + _ALL_TALL + _TICKS + _BETWEEN
    head = height_mm(2) + 1.0
    tall = head + above + _TALL + below + _BETWEEN
    places = tuple(
        PanelBox(
            EDGE + _LEFT + (number % columns) * (each + _GAP),
            top + (number // columns) * tall + head,
            each,
            above + _TALL + below,
        )
        for number in range(len(picture.panels))
    )
    bottom = max(box.top + box.height for box in places) + _TICKS
    return _Layout(width, all_panel, places, columns, above, below, late, bottom)


def _high(picture: PanelsPicture, panel: AnimalPanel) -> np.ndarray:
    return panel.value > picture.high


def _low(picture: PanelsPicture, panel: AnimalPanel) -> np.ndarray:
    return panel.value < picture.low


def _late(picture: PanelsPicture, panel: AnimalPanel) -> np.ndarray:
    return panel.months > picture.longest


def _axes(sheet: Sheet, picture: PanelsPicture, layout: _Layout, box: PanelBox) -> Axes:
    """Return an animal's axes: the shared ones, with strips at their edges where needed."""
    axes = sheet.panel(box)
    per_mm = (picture.high - picture.low) / _TALL
    below, above = (max(space, _INSIDE) * per_mm for space in (layout.below, layout.above))
    axes.set_ylim(picture.low - below, picture.high + above)
    late = max(layout.late, _INSIDE)
    month = picture.longest / (box.width - late - _INSIDE)
    axes.set_xlim(-_INSIDE * month, picture.longest + late * month)
    axes.set_yticks(_ticks(picture.low, picture.high, 4))
    axes.set_xticks(_ticks(0.0, picture.longest, 3))
    for edge, space in ((picture.high, layout.above), (picture.low, layout.below)):
        if space:
            axes.axhline(edge, color=FAINT_GREY, lw=HAIRLINE, zorder=0.4)
    return axes


def _ticks(low: float, high: float, most: int) -> list[float]:
    found = MaxNLocator(most, steps=[1, 2, 3, 4, 6, 10]).tick_values(low, high)
    return [float(tick) for tick in found if low <= tick <= high]


def _head(sheet: Sheet, panel: AnimalPanel, box: PanelBox, words: PanelsWords) -> None:
    """Write who it is above a panel, and how it stands."""
    bold = panel.state == "urgent"
    first = block(panel.name, box.width, most=1, bold=bold)
    state = f"{words.states[panel.state]}; " if panel.state else ""
    endings = [f"{state}{ending}" for ending in panel.standing]
    fits = [ending for ending in endings if width_mm(ending, bold=bold) <= box.width]
    second = block((fits or endings[-1:])[0], box.width, most=1, bold=bold)
    top = box.top - height_mm(2) - 0.8
    for line, down in ((first, 0.0), (second, height_mm(1))):
        sheet.words(box.left, top + down, line, weight="bold" if bold else "normal")


def _draw_animal(axes: Axes, picture: PanelsPicture, panel: AnimalPanel, box: PanelBox) -> None:
    for kind, value, dashes in (
        ("target", panel.target, TARGET_DASHES),
        ("floor", panel.floor, FLOOR_DASHES),
    ):
        if value is not None and picture.low <= value <= picture.high:
            words = panel.target_is if kind == "target" else picture.words.floor
            axes.plot(
                [0.0, picture.longest],
                [value] * 2,
                color=GUIDE_GREY,
                lw=HAIRLINE,
                ls=dashes,
                zorder=1.2,
                label=kind,
                gid=_level(picture, panel.key, kind, value, words),
            )
    inside = ~(_high(picture, panel) | _low(picture, panel) | _late(picture, panel))
    for run in _joined(panel, inside):
        axes.plot(
            panel.months[run], panel.value[run], color=INK, lw=HAIRLINE, zorder=2, label="animal"
        )
    size = 2.8 if panel.value.size > _MANY else 4.0
    for index in range(panel.value.size):
        if inside[index]:
            _draw_session(axes, picture, panel, index, size)
        else:
            _draw_beyond(axes, picture, panel, index)
    _write_beyond(axes, picture, panel, box)


def _level(picture: PanelsPicture, key: str, kind: str, value: float, words: str) -> str:
    title = f"{words}: {value:g} {picture.unit}"
    meaning = Meaning(kind, panel=key, value=plain_number(value), unit=picture.unit, title=title)
    return meaning.gid


def _joined(panel: AnimalPanel, inside: np.ndarray) -> Iterator[list[int]]:
    """Yield runs of sessions that a line joins: by one method, near in time, no bound, in view."""
    for method in sorted(set(panel.method.tolist())):
        run: list[int] = []
        for index in np.flatnonzero(panel.method == method).tolist():
            plain = bool(inside[index]) and panel.bound[index] == ""
            far = run and panel.months[index] - panel.months[run[-1]] > _LONGEST_GAP
            if not plain or far:
                if len(run) > 1:
                    yield run
                run = []
            if plain:
                run.append(index)
        if len(run) > 1:
            yield run


def _meaning(picture: PanelsPicture, panel: AnimalPanel, index: int, kind: str) -> str:
    bound = str(panel.bound[index])
    return Meaning(
        kind=kind,
        panel=panel.key,
        date=iso(panel.date[index]),
        value=plain_number(float(panel.value[index])),
        unit=picture.unit,
        bound=bound_name(bound) if bound in BOUND_ARROWS else "",
        title=f"{panel.name}, {panel.words[index]}",
    ).gid


def _shape(panel: AnimalPanel, index: int, size: float) -> Style:
    style = method_style(str(panel.method[index]))
    face = style.colour if panel.treated[index] else PAPER
    return {"marker": style.marker, "ms": size, "mfc": face, "mec": style.colour, "mew": 1.0}


def _draw_session(
    axes: Axes, picture: PanelsPicture, panel: AnimalPanel, index: int, size: float
) -> None:
    at = [panel.months[index]], [panel.value[index]]
    bound = str(panel.bound[index])
    kind = "bound" if bound else "session"
    gid = _meaning(picture, panel, index, kind)
    shape = _shape(panel, index, size)
    if not bound:
        axes.plot(*at, ls="none", zorder=3, label="session", gid=gid, **shape)
        return
    for side in BOUND_ARROWS:
        if side in bound:
            arrow: Style = {"marker": BOUND_ARROWS[side], "ms": 11.0, "mfc": "none", "mew": 1.1}
            colour = shape["mec"]
            axes.plot(*at, ls="none", zorder=3, label="bound", gid=gid, mec=colour, **arrow)


def _draw_beyond(axes: Axes, picture: PanelsPicture, panel: AnimalPanel, index: int) -> None:
    """Draw a session at the edge of the axes, as an arrow that points to where it lies."""
    month, value = float(panel.months[index]), float(panel.value[index])
    marker = "^" if value > picture.high else "v" if value < picture.low else ">"
    x_end, y_low, y_high = axes.get_xlim()[1], picture.low, picture.high
    step = (y_high - y_low) / _TALL
    late = picture.longest + 0.5 * (x_end - picture.longest)
    x = month if month <= picture.longest else late
    y = y_high + 0.9 * step if marker == "^" else y_low - 0.9 * step if marker == "v" else value
    shape = _shape(panel, index, 3.6) | {"marker": marker}
    gid = _meaning(picture, panel, index, "beyond")
    axes.plot([x], [y], ls="none", zorder=3.2, label="beyond", gid=gid, clip_on=False, **shape)


def _write_beyond(axes: Axes, picture: PanelsPicture, panel: AnimalPanel, box: PanelBox) -> None:
    """Write the values of what lies beyond above and below its arrows, within the panel."""
    high, low, late = _high(picture, panel), _low(picture, panel), _late(picture, panel)
    above, below = [], []
    if high.any():
        above.append(_farthest(panel, high, int(np.argmax(panel.value)), picture.words))
    if late.any():
        above.append(picture.words.to_month.format(month=f"{panel.months.max():.0f}"))
    if low.any():
        below.append(_farthest(panel, low, int(np.argmin(panel.value)), picture.words))
    start, end = axes.get_xlim()
    for words, which, where in ((above, high if high.any() else late, 1), (below, low, 0)):
        if words:
            label = block("; ".join(words), box.width, most=1)
            middle = float(panel.months[which].clip(0, picture.longest).mean())
            half = 0.5 * label.width / box.width * (end - start)
            x = min(max(middle, start + half), end - half)
            text: Style = {"ha": "center", "va": ("bottom", "top")[where], "parse_math": False}
            axes.text(x, axes.get_ylim()[where], label.text, **text)


def _farthest(panel: AnimalPanel, which: np.ndarray, at: int, words: PanelsWords) -> str:
    sign = {"at least": "≥ ", "at most": "≤ "}.get(str(panel.bound[at]), "")
    count = int(which.sum())
    value = f"{sign}{panel.value[at]:.0f}"
    return value if count == 1 else words.and_more.format(value=value, count=count - 1)


def _draw_all(sheet: Sheet, picture: PanelsPicture, overview: Overview, box: PanelBox) -> None:
    heading = block(f"{overview.heading}, {picture.unit}", box.width + _NAMES, most=1)
    sheet.words(box.left, box.top - heading.height - 0.5, heading)
    axes = sheet.panel(box)
    names: list[tuple[float, str]] = []
    for line in overview.lines:
        tint, dash = _TINTS[line.treated], _DASHES[line.treated]
        axes.fill_between(line.months, line.low, line.high, color=tint, lw=0, zorder=0.5)
        for edge in (line.low, line.high):  # where bands overlap, each still shows its ends
            axes.plot(line.months, edge, zorder=0.6, color=GUIDE_GREY, lw=HAIRLINE, ls=dash)
        axes.plot(line.months, line.value, zorder=3, color=PAPER, lw=4.4)
        thick: Style = {"color": INK, "lw": 2.2, "ls": dash}
        axes.plot(line.months, line.value, zorder=3.1, label=line.words, **thick)
    deciles = overview.deciles
    if deciles is not None:
        for column in range(9):
            middle = column == 4
            style: Style = {"color": INK, "lw": 2.2 if middle else HAIRLINE}
            style |= {"marker": "o", "ms": 2.5} if deciles.months.size == 1 else {}
            axes.plot(deciles.months, deciles.value[:, column], zorder=3, label="decile", **style)
        names += [(float(deciles.value[-1, k]), f"{10 * (k + 1)} %") for k in (0, 4, 8)]
    reach = [line.months.max() for line in overview.lines]
    reach += [] if deciles is None else [deciles.months[-1]]
    end = float(max([picture.longest, *reach]))
    levels = [overview.target, overview.floor]
    for kind, name, value, dashes in (
        ("target", picture.words.target, overview.target, TARGET_DASHES),
        ("floor", picture.words.floor, overview.floor, FLOOR_DASHES),
    ):
        if value is not None:
            gid = _level(picture, "all", kind, value, name)
            axes.plot([0.0, end], [value] * 2, color=GUIDE_GREY, lw=HAIRLINE, ls=dashes, gid=gid)
            names.append((value, f"{name} {value:g}"))
    spread = [value for line in overview.lines for value in (*line.low, *line.high)]
    spread += [] if deciles is None else deciles.value.ravel().tolist()
    spread += [value for value in levels if value is not None] or [picture.low, picture.high]
    pad = 0.05 * (max(spread) - min(spread)) or 1.0
    axes.set_ylim(min(spread) - pad, max(spread) + pad)
    axes.set_xlim(-0.01 * end, end)
    axes.set_yticks(_ticks(*axes.get_ylim(), 5))
    axes.set_xticks(_ticks(0.0, end, 6))
    _name_lines(sheet, axes, box, names)


def _name_lines(sheet: Sheet, axes: Axes, box: PanelBox, names: list[tuple[float, str]]) -> None:
    """Write the names of lines at their right ends, moved apart where they would meet."""
    low, high = axes.get_ylim()
    step = height_mm(1)
    middles: list[tuple[float, Block]] = []
    for value, words in sorted(names, reverse=True):
        at = box.top + box.height * (high - value) / (high - low)
        if middles:
            at = max(at, middles[-1][0] + step)
        middles.append((at, block(words, _NAMES - 2.0, most=1)))
    over = middles[-1][0] + step / 2 - (box.top + box.height + 2.0) if middles else 0.0
    for at, name in middles:
        top = at - step / 2 - max(over, 0.0)
        sheet.words(box.left + box.width + 1.5, top, name)


def _key(picture: PanelsPicture) -> list[tuple[Style, str]]:
    """Return the key, of at most three entries; what is only on some panels is named there."""
    rows: list[tuple[Style, str]] = []
    words = picture.words
    filled = any(panel.treated.any() for panel in picture.panels)
    for method in sorted({str(method) for panel in picture.panels for method in panel.method}):
        style = method_style(method)
        mark: Style = {"ls": "none", "marker": style.marker, "ms": 4.0, "mew": 1.0}
        mark |= {"mec": style.colour, "mfc": PAPER}
        label = words.session.format(method=words.methods.get(method, method))
        if filled and not rows:
            label += words.filled
        rows.append((mark, label))
    lines = () if picture.overview is None else picture.overview.lines
    if lines:
        label = f"{lines[0].words}{words.dashed if len(lines) > 1 else ''}"
        label += words.interval.format(interval=picture.interval)
        rows.append(({"color": INK, "lw": 2.2, "ls": _DASHES[lines[0].treated]}, label))
    return rows
