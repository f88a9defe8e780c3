"""Marks in a panel: levels, bands, readings and sessions, drawn where their values are.

Every mark stands on its own date and value, and is an artist of its own that says what it stands
for (`figures.marking`). Where sessions stand close, marks shrink and those that overlap are half
transparent; nothing is ever moved aside.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform, TransformedPath
from numpy.typing import NDArray

from bpvet.figures.axes import Scale, date_words, days
from bpvet.figures.marking import Meaning, bound_name, iso, plain_number
from bpvet.figures.pictures import Band, Panel, ReadingMarks, SessionMarks
from bpvet.figures.style import (
    BOUND_ARROWS,
    CENTRE_LINE,
    CONDITION_SIGNS,
    FAINT_GREY,
    GUIDE_GREY,
    HAIRLINE,
    LEVEL_DOTS,
    MEAN_SIZE,
    PAPER,
    READING_SIZE,
    TICK_SIZE,
    MethodStyle,
    method_style,
)
from bpvet.printing import number

#: Marks nearer to another session's than this overlap, mm, at their full size.
_OVERLAP = 2.0
_SEE_THROUGH = 0.6
_HATCH = "////"


def crowding(panel: Panel, x: Scale) -> float:
    """Return by how much marks shrink where sessions stand close, 0.6 to 1."""
    dates = np.concatenate([days(series.date) for series in (panel.sessions, *panel.others)])
    each = (x.at_high - x.at_low) / max(1, np.unique(dates).size)
    return float(np.clip(each / 2.8, 0.6, 1.0))


def overlapping(panel: Panel, x: Scale, y: Scale) -> list[NDArray[np.bool_]]:
    """Return, for the series and each of the others, which marks meet one of another date."""
    groups = (panel.sessions, *panel.others)
    points = np.array(
        [
            (x.mm(float(day)), y.mm(float(value)))
            for series in groups
            for day, value in zip(days(series.date), series.mean, strict=True)
        ]
    ).reshape(-1, 2)
    across, down = (np.abs(points[:, None, i] - points[None, :, i]) for i in (0, 1))
    least = _OVERLAP * crowding(panel, x)
    meets = ((across > 1e-9) & (across < least) & (down < least)).any(axis=1)
    return np.split(meets, np.cumsum([series.date.size for series in groups])[:-1])


def far_readings(panel: Panel, x: Scale, y: Scale) -> Iterator[tuple[float, float, float, str]]:
    """Yield day, value at the edge, mm from the left and words of excluded readings far off."""
    marks = panel.readings
    far = (marks.fate == "excluded") & np.isfinite(marks.value) & ~_in_view(marks, y)
    at = days(marks.date)
    for day in np.unique(at[far]):
        for beyond, edge in ((marks.value > y.high, 1.5), (marks.value < y.low, y.at_low - 1.5)):
            values = marks.value[far & beyond & (at == day)]
            if values.size:
                listed = ", ".join(f"{value:g}" for value in values)
                words = panel.words.excluded_far.format(values=listed)
                yield float(day), y.value(edge), x.mm(float(day)), words


def draw_levels(axes: Axes, panel: Panel, y: Scale) -> None:
    """Draw the bounds of the guideline's levels; their names stand at the right edge."""
    lines = [line.value for line in (panel.target, panel.floor) if line is not None]
    for level in panel.levels:
        if y.low < level.low < y.high and level.low not in lines:
            style: dict[str, Any] = {"color": GUIDE_GREY, "lw": HAIRLINE, "ls": LEVEL_DOTS}
            axes.axhline(level.low, zorder=3.5, label=level.name, **style)


def single_day(day: float, low: float, high: float) -> NDArray[np.float64]:
    """Return from where to where the band of one date is drawn: about as wide as a mark.

    Parameters
    ----------
    day : float
        The date, days; it has no width of its own.
    low, high : float
        Ends of the date axis, days.

    Returns
    -------
    (2,) float
        Days.
    """
    width = 0.018 * (high - low)
    return np.array([day - width, day + width])


def draw_band(axes: Axes, panel: Panel, name: str) -> None:
    """Draw the inner and outer band, each with its outline, and the centre.

    Where the band is doubtful it is hatched and has no inner part; where a session is known as a
    bound alone, no line runs through.

    Parameters
    ----------
    axes : Axes
    panel : Panel
        Its band is drawn, if it has one.
    name : str
        The panel's name in `figures.marking.Meaning`.
    """
    band = panel.band
    if band is None or not band.date.size:
        return
    style, at = method_style(panel.sessions.method), days(band.date)
    if at.size == 1:
        at = single_day(float(at[0]), *axes.get_xlim())
    gid = Meaning("band", name, title=band.words).gid
    for hatched, run in _runs(band.doubtful, at.size):
        _fill(axes, band, at, run, style, hatched, gid)
    for broken, run in _runs(band.unjoined, at.size):
        if not broken:
            centre = np.resize(band.centre, at.size)[run]
            line: dict[str, Any] = {"color": style.colour, "lw": CENTRE_LINE}
            axes.plot(at[run], centre, zorder=3.2, label="centre", **line)


def _runs(flags: NDArray[np.bool_], size: int) -> Iterator[tuple[bool, slice]]:
    """Yield stretches of dates between which both ends bear a flag, or not both, in order."""
    marked = np.resize(flags, size)
    between = marked[:-1] & marked[1:]
    at = 0
    for flag, group in groupby(between.tolist()):
        count = len(list(group))
        yield bool(flag), slice(at, at + count + 1)
        at += count


def _fill(
    axes: Axes,
    band: Band,
    at: NDArray[np.float64],
    run: slice,
    style: MethodStyle,
    hatched: bool,
    gid: str,
) -> None:
    ends = [(band.low_outer, band.high_outer, style.outer_tint, "outer band")]
    if not hatched:
        ends.append((band.low_inner, band.high_inner, style.inner_tint, "inner band"))
    for z, (low, high, tint, name) in enumerate(ends):
        below, above = np.resize(low, at.size)[run], np.resize(high, at.size)[run]
        fill: dict[str, Any] = {"color": tint}
        if hatched:
            fill = {"facecolor": "none", "edgecolor": style.inner_tint, "hatch": _HATCH}
        area = axes.fill_between(at[run], below, above, lw=0, zorder=1 + z, label=name, **fill)
        if name == "outer band":
            area.set_gid(gid)
        for edge in (below, above):
            axes.plot(at[run], edge, color=style.colour, lw=HAIRLINE, zorder=3)


def draw_readings(axes: Axes, panel: Panel, x: Scale, y: Scale, name: str) -> None:
    """Draw every reading on its session's own line: a tick, by its fate and bound another mark."""
    marks, size = panel.readings, crowding(panel, x)
    seen: dict[tuple[float, float, str], int] = {}
    for index, day in enumerate(days(marks.date)):
        value, status, bound = float(marks.value[index]), str(marks.fate[index]), marks.bound[index]
        if not np.isfinite(value) or not y.low <= value <= y.high:
            continue
        before = seen.get((float(day), value, status), 0)
        seen[float(day), value, status] = before + 1
        shape = _reading_shape(status, str(bound), before, size)
        if shape is None:
            continue
        kind = str(bound) if bound and status != "excluded" else status
        gid = _reading_meaning(panel, index, name).gid
        _mark(axes, float(day), value, f"readings {kind}", gid, zorder=5, mec=FAINT_GREY, **shape)
    for day, edge, _, words in far_readings(panel, x, y):
        shape = {"marker": "x", "ms": 4.2, "mec": FAINT_GREY, "mfc": "none"}
        # It stands at the panel's edge and not at its value, so it bears its words and no value.
        _mark(axes, day, edge, "readings excluded, beyond the scale", words, zorder=5, **shape)


def _reading_shape(status: str, bound: str, before: int, size: float) -> dict[str, Any] | None:
    """Return the mark of a reading; equal ones of one session have wider and wider ticks."""
    if status == "excluded":
        return {"marker": "x", "ms": 4.2, "mfc": "none"}
    if bound:
        return {"marker": BOUND_ARROWS[bound], "ms": 13, "mfc": "none"}
    if status == "used":
        return {"marker": "_", "mfc": "none", "ms": size * (TICK_SIZE + 2.6 * min(before, 3))}
    if status == "left out":
        return {"marker": "o", "ms": 1.25 * READING_SIZE, "mfc": PAPER}
    return None


def _reading_meaning(panel: Panel, index: int, name: str) -> Meaning:
    marks, words = panel.readings, panel.words
    value, bound = float(marks.value[index]), str(marks.bound[index])
    titles = {"left out": words.reading_left_out, "excluded": words.reading_excluded}
    return Meaning(
        "bound" if bound else "reading",
        name,
        iso(marks.date[index]),
        value=plain_number(value),
        unit=panel.unit,
        bound=bound_name(bound),
        title=titles.get(str(marks.fate[index]), words.reading).format(
            day=date_words(marks.date[index]),
            value=f"{words.bounds.get(bound, '')} {value:g} {panel.unit}".strip(),
        ),
        session=int(marks.session[index]),
    )


def draw_sessions(
    axes: Axes,
    panel: Panel,
    marks: SessionMarks,
    faint: NDArray[np.bool_],
    size: float,
    name: str,
) -> None:
    """Draw sessions with their spread: filled, or hollow with the sign of their condition.

    Parameters
    ----------
    axes : Axes
    panel : Panel
    marks : SessionMarks
        The panel's series, or one of its others: those are hollow.
    faint : (n,) bool
        Which of them overlap a mark of another date.
    size : float
        As `crowding` returns it.
    name : str
        The panel's name in `figures.marking.Meaning`.
    """
    hollow = marks is not panel.sessions
    style, label = method_style(marks.method), marks.name if hollow else "session means"
    sign = CONDITION_SIGNS.get(marks.condition) if hollow else None
    for index in np.flatnonzero(np.isfinite(marks.mean)):
        day, mean = float(days(marks.date[index])[0]), float(marks.mean[index])
        low, high = float(marks.low[index]), float(marks.high[index])
        if np.isfinite(low) and np.isfinite(high):
            line: dict[str, Any] = {"color": style.colour, "lw": HAIRLINE, "zorder": 4.8}
            axes.add_artist(Line2D([day, day], [low, high], label=f"{label}, spread", **line))
        meaning = _session_meaning(panel, marks, int(index), name)
        bound = str(marks.bound[index])
        if bound:
            arrow: dict[str, Any] = {"marker": BOUND_ARROWS[bound], "ms": 24, "mfc": "none"}
            gid = Meaning(**{**vars(meaning), "kind": "bound"}).gid
            _mark(axes, day, mean, bound, gid, zorder=6.5, mew=1.3, mec=style.colour, **arrow)
        shape: dict[str, Any] = {
            "marker": style.marker,
            "ms": MEAN_SIZE * size * (1.2 if hollow else 1.0),
            "mec": style.colour,
            "mfc": "none" if hollow else style.colour,
            "alpha": _SEE_THROUGH if faint[index] else None,
        }
        _mark(axes, day, mean, label, meaning.gid, zorder=7, **shape)
        if sign is not None:
            inside = {"marker": sign, "ms": 3.2 * size, "mec": style.colour, "mfc": style.colour}
            _mark(axes, day, mean, "", None, zorder=7.1, **inside)


def _session_meaning(panel: Panel, marks: SessionMarks, index: int, name: str) -> Meaning:
    mean, bound = float(marks.mean[index]), str(marks.bound[index])
    return Meaning(
        "session" if marks.method else "lab",
        name,
        iso(marks.date[index]),
        value=plain_number(mean),
        unit=panel.unit,
        bound=bound_name(bound),
        title=_session_words(panel, marks, index),
        session=int(marks.session[index]),
    )


def _session_words(panel: Panel, marks: SessionMarks, index: int) -> str:
    """Return what a pointer shows of a session: date, mean, readings, method."""
    words = panel.words
    mean, day = float(marks.mean[index]), date_words(marks.date[index])
    shown = number(mean, 0) if marks.method else f"{mean:g}"
    value = f"{words.bounds.get(str(marks.bound[index]), '')} {shown} {panel.unit}"
    if not marks.method:
        return f"{day}: {value.strip()}, {marks.name}"
    readings = panel.readings
    chosen = (readings.session == marks.session[index]) & (marks.session[index] > 0)
    chosen &= np.isin(readings.fate, ("used", "left out")) & np.isfinite(readings.value)
    listed = ", ".join(
        f"{words.bounds.get(str(bound), '')} {reading:g}".strip()
        for reading, bound in zip(readings.value[chosen], readings.bound[chosen], strict=True)
    )
    count = int(marks.n[index])
    of = (words.mean_of if count != 1 else words.mean_of_one).format(count=count)
    taken = words.readings.format(values=listed) if listed else ""
    return f"{day}: {value.strip()}, {of}{taken}; {words.methods.get(marks.method, '')}"


def _mark(axes: Axes, day: float, value: float, label: str, gid: str | None, **shape: Any) -> None:
    """Draw one mark as an artist of its own."""
    fixed: dict[str, Any] = {"ls": "none", "mew": HAIRLINE, **_UNCLIPPED, **shape}
    # Limits are fixed, so that nothing is to be learned from a mark: `add_line` would, at a cost.
    axes.add_artist(Line2D([day], [value], label=label or "_sign", gid=gid, **fixed))


#: Of what is drawn whole. The path is used nowhere; without one each mark is handed its axes' own.
_UNCLIPPED: dict[str, Any] = {
    "clip_on": False,
    "clip_path": TransformedPath(Path.unit_rectangle(), IdentityTransform()),
}


def _in_view(marks: ReadingMarks, y: Scale) -> NDArray[np.bool_]:
    return (marks.value >= y.low) & (marks.value <= y.high)
