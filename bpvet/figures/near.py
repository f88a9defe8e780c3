"""The crowded weeks of a long record, for a panel of their own that enlarges them.

So is a whole record that today lies far from, where it would be squeezed into a corner.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.figures.axes import Scale, date_words, days
from bpvet.figures.pictures import Band, Panel, ReadingMarks, SessionMarks
from bpvet.frozen import replace

#: So many dates with a session within so many days are a crowd.
CROWD, CROWD_DAYS = 10, 14.0
#: A crowd goes on while the next date is no further away than this, days.
_GOES_ON = 4.0
#: Where dates of the crowd lie this far apart in the panel itself, mm, nothing is enlarged.
_LEGIBLE = 3.0
#: A whole record that takes less than this share of the date axis is enlarged too.
_SHARE = 0.15


def crowded_weeks(panel: Panel, x: Scale) -> tuple[float, float] | None:
    """Return the first and last day of the newest crowded weeks, or None where there are none.

    Parameters
    ----------
    panel : Panel
    x : Scale
        The date axis of the panel.
    """
    groups = (panel.sessions, *panel.others)
    dates = np.unique(np.floor(np.concatenate([days(series.date) for series in groups])))
    newest = None
    for first in range(dates.size - CROWD + 1):
        if dates[first + CROWD - 1] - dates[first] < CROWD_DAYS:
            newest = first
    if newest is None:
        if dates.size < 2:
            return None
        low, high = float(dates[0]), float(dates[-1]) + 1.0
        squeezed = x.mm(high) - x.mm(low) < _SHARE * (x.at_high - x.at_low)
        return (low, high) if squeezed else None
    begin, end = newest, newest + CROWD - 1
    while end + 1 < dates.size and dates[end + 1] - dates[end] <= _GOES_ON:
        end += 1
    while begin > 0 and dates[begin] - dates[begin - 1] <= _GOES_ON:
        begin -= 1
    low, high = float(dates[begin]), float(dates[end]) + 1.0
    apart = (x.mm(high) - x.mm(low)) / (end - begin + 1)
    return None if apart >= _LEGIBLE else (low, high)


def enlarged(panel: Panel, low: float, high: float) -> Panel:
    """Return a panel with what lies from one day to another.

    Parameters
    ----------
    panel : Panel
    low, high : float
        Days since 1970-01-01.
    """
    first, last = (np.datetime64(int(edge), "D") for edge in (low, high - 1))
    inside = replace(
        panel,
        heading=panel.words.enlarged.format(first=date_words(first), last=date_words(last)),
        sessions=_sessions(panel.sessions, low, high),
        readings=_readings(panel.readings, low, high),
        others=tuple(_sessions(series, low, high) for series in panel.others),
        band=None if panel.band is None else _band(panel.band, low, high),
        note="",
    )
    return replace(inside, others=tuple(series for series in inside.others if series.date.size))


def near_scale(low: float, high: float, left: float, right: float) -> Scale:
    """Return the date axis of the crowded weeks from `left` to `right`, mm."""
    spare = max(1.0, 0.04 * (high - low))
    return Scale(low - spare, high + spare, left, right)


def _within(dates: NDArray[np.datetime64], low: float, high: float) -> NDArray[np.bool_]:
    at = days(dates)
    return (at >= low) & (at <= high)


def _sessions(marks: SessionMarks, low: float, high: float) -> SessionMarks:
    keep = _within(marks.date, low, high)
    arrays = {
        name: getattr(marks, name)[keep]
        for name in ("date", "mean", "low", "high", "n", "bound", "session")
    }
    return replace(marks, label=np.full(int(keep.sum()), "", dtype="<U1"), **arrays)


def _readings(marks: ReadingMarks, low: float, high: float) -> ReadingMarks:
    keep = _within(marks.date, low, high)
    names = ("date", "value", "fate", "bound", "session")
    return replace(marks, **{name: getattr(marks, name)[keep] for name in names})


def _band(band: Band, low: float, high: float) -> Band | None:
    keep = _within(band.date, low, high)
    if not keep.any():
        return None
    names = ("date", "centre", "low_inner", "high_inner", "low_outer", "high_outer")
    arrays = {name: getattr(band, name)[keep] for name in (*names, "doubtful", "unjoined")}
    return replace(band, **arrays)
